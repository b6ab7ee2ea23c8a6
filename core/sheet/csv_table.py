"""The ledger as CSV (RFC 4180): one row a measurement, the figures of the ledger file.

UTF-8 with a byte-order mark, since spreadsheets otherwise take "≥" and names for another
encoding; CRLF; decimal point; nothing rounded beyond the ledger file's four decimals. Text that
a spreadsheet would run as a formula gets an apostrophe in front.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Mapping

from core.measuring.ledger import Ledger
from core.words.rows import row_words

COLUMNS = (
    "patient_id", "birth_date", "study_date", "series_uid", "plan_fingerprint", "plan_revision",
    "signed", "id", "subject", "group", "kind", "target", "side", "at_depth_mm", "along", "name",
    "unit", "value", "uncertainty", "coverage", "at_least", "limit", "limit_key", "limit_default",
    "limit_changed_by", "limit_source", "verdict", "from_x_mm", "from_y_mm", "from_z_mm", "to_x_mm",
    "to_y_mm", "to_z_mm", "budget", "note",
)  # fmt: skip


def ledger_csv(ledger: Ledger, *, signed: bool) -> bytes:
    """The ledger as CSV."""
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, COLUMNS, lineterminator="\r\n")
    writer.writeheader()
    scan = ledger.scan
    head: dict[str, object] = {
        "patient_id": scan.patient_id,
        "birth_date": scan.birth_date,
        "study_date": scan.study_date,
        "series_uid": scan.series_uid,
        "plan_fingerprint": ledger.plan_fingerprint,
        "plan_revision": ledger.plan.revision,
        "signed": "yes" if signed else "no",
    }
    rows = json.loads(ledger.to_json())["measurements"]
    for measurement, row in zip(ledger.measurements, rows, strict=True):
        cells = head | _cells(row) | {"name": row_words(measurement, jaw=ledger.plan.known_jaw)}
        writer.writerow({key: _safe(cells.get(key)) for key in COLUMNS})
    return out.getvalue().encode("utf-8-sig")


def _cells(row: Mapping[str, object]) -> dict[str, object]:
    cells = {k: v for k, v in row.items() if k in COLUMNS}
    unit = "deg" if "value_deg" in row else "mm"
    cells["unit"] = unit
    cells["subject"] = row.get("fixture") or row.get("site")
    for name in ("value", "uncertainty", "at_least"):
        cells[name] = row.get(f"{name}_{unit}")
    cells["limit"] = row.get("limit_mm")
    changed = row.get("limit_changed")
    if isinstance(changed, dict):
        cells["limit_default"] = changed["default_mm"]
        cells["limit_changed_by"] = changed["by"]
    # One cell: the parts of u, each with its name, in the value's unit.
    parts = row.get("budget")
    terms = parts if isinstance(parts, list) else []
    cells["budget"] = "; ".join(f"{t['term']} {t['u']}" for t in terms) or None
    witness = row.get("witness")
    if isinstance(witness, list):
        for end, point in zip(("from", "to"), witness, strict=True):
            for axis, value in zip("xyz", point, strict=True):
                cells[f"{end}_{axis}_mm"] = value
    return cells


def _safe(value: object) -> object:
    if isinstance(value, str) and value[:1] in ("=", "+", "-", "@", "\t", "\r"):
        return f"'{value}"
    return "" if value is None else value
