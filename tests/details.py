"""Details of a row from the keys that the ledger file writes."""

from __future__ import annotations

from core.measurement_kinds import Details, MeasurementKind

FIELDS = {"from": "counted_from"}


def details_of(kind: str, keys: dict[str, object]) -> Details:
    by_hand = {k: v for k, v in keys.items() if k.endswith("_at_least_mm")}
    values = {FIELDS.get(k, k): v for k, v in keys.items() if k not in by_hand}
    if by_hand:
        values["by_hand_mm"] = by_hand
    return MeasurementKind(kind).row.details(**values)
