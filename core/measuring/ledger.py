"""The ledger: every measurement of a plan on a scan, as one value; its JSON and its summary."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field

from core.findings import Finding
from core.geometry import Array
from core.identity import Tooth
from core.image.volume import ScanIdentity
from core.measurement import Measurement
from core.plans.history import sign_off_state
from core.plans.plan import Plan
from core.trust.verdict import Hindrance, summary_sentence
from core.words.catalogue import SOURCE, Message, speaking

LEDGER_VERSION = 2
"""2: undercuts are called so; they were ``hollow_depth``, ``hollow-level`` and so on."""

LEDGER_FILE = "sheet.ledger.json"
"""In every folder, whatever else is asked for: it tells which scan and plan the rest is of."""

_RANK = {"below limit": 0, "not assessed": 1, "too near to tell": 2, "meets limit": 3, None: 4}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ledger:
    """What was measured, on what, by which program.

    Parameters
    ----------
    program : str
        Name and version.
    made_at : str
        ISO 8601 with offset.
    plan : Plan
    plan_fingerprint : str
    scan : ScanIdentity
    scan_fingerprint : str
        Empty until it was computed (it is when a ledger leaves the program).
    voxel_mm : (3,)
        Column step, row step, slice step.
    findings : tuple of Finding
        Of the scan, the plan, and both together (side, tooth, tie).
    measurements : tuple of Measurement
        Danger, roots, bone, information; what is not met first inside each.
    hindrances : mapping of str to tuple of Hindrance
        What stopped the rows of each fixture and site, by its id.
    """

    program: str
    made_at: str
    plan: Plan
    plan_fingerprint: str
    scan: ScanIdentity
    scan_fingerprint: str = ""
    voxel_mm: Array
    findings: tuple[Finding, ...]
    measurements: tuple[Measurement, ...]
    hindrances: Mapping[str, tuple[Hindrance, ...]] = field(default_factory=dict)

    def of(self, subject: str) -> tuple[Measurement, ...]:
        """Measurements of one fixture or site, in ledger order."""
        return tuple(m for m in self.measurements if subject in (m.fixture, m.site))

    def get(self, measurement_id: str) -> Measurement:
        """The measurement with an id.

        Raises
        ------
        KeyError
            When the ledger has no such row.
        """
        for m in self.measurements:
            if m.id == measurement_id:
                return m
        raise KeyError(measurement_id)

    @property
    def summary(self) -> str:
        """One sentence that counts the verdicts; never one word, never a clearance."""
        return summary_sentence(self.measurements, jaw=self.plan.known_jaw)

    def subjects(self) -> list[dict[str, object]]:
        """What the rows belong to: fixtures and sites with tooth in both systems and size."""
        found: list[dict[str, object]] = [
            {"id": f.id, "is": "fixture", **_tooth(f.tooth),
             "diameter_mm": _number(f.size.diameter_mm), "length_mm": _number(f.size.length_mm)}
            for f in self.plan.fixtures
        ]  # fmt: skip
        return found + [{"id": s.id, "is": "site", **_tooth(s.tooth)} for s in self.plan.sites]

    def to_json(self) -> str:
        """The ledger file: UTF-8 JSON, numbers with four decimals, in English wherever it is."""
        with speaking(SOURCE):
            return self._as_json()

    def _as_json(self) -> str:
        document: dict[str, object] = {
            "format": "sounding-ledger",
            "version": LEDGER_VERSION,
            "program": self.program,
            "made_at": self.made_at,
            "scan": {
                "series_uid": self.scan.series_uid,
                "fingerprint": self.scan_fingerprint,
                "voxel_mm": _numbers(self.voxel_mm),
                "findings": [
                    {"code": f.code, "severity": f.severity, "message": f.message}
                    for f in self.findings
                ],
            },
            "plan": {
                "fingerprint": self.plan_fingerprint,
                "revision": self.plan.revision,
                "signed": sign_off_state(self.plan) == "signed",
            },
            "subjects": self.subjects(),
            "summary": self.summary,
            "measurements": [_row(m) for m in self.measurements],
        }
        return json.dumps(document, ensure_ascii=False, indent=1, allow_nan=False)


def worst_first(measurement: Measurement) -> int:
    """Sort key: below limit, not assessed, too near to tell, meets limit, no limit."""
    return _RANK[measurement.verdict]


def _tooth(iso: str) -> dict[str, int | None]:
    """A tooth's number in both systems; None where the plan names none."""
    if not iso:
        return {"tooth_fdi": None, "tooth_universal": None}
    tooth = Tooth.of(iso)
    return {"tooth_fdi": int(tooth.iso), "tooth_universal": tooth.number_1_to_32}


def _number(value: float | None) -> float | None:
    return None if value is None else round(float(value), 4) + 0.0


def _numbers(values: Array) -> list[float]:
    return [round(float(v), 4) + 0.0 for v in values]


def _row(m: Measurement) -> dict[str, object]:
    """One measurement as the ledger file writes it."""
    row: dict[str, object] = {"id": m.id}
    row["fixture" if m.fixture else "site"] = m.fixture or m.site
    row |= {"group": m.group, "kind": m.kind, "target": m.target}
    suffix = "deg" if m.reading.unit == "deg" else "mm"
    expanded = None if m.budget is None else m.budget.expanded
    row |= {f"value_{suffix}": _number(m.value), "value_kind": m.reading.value_kind}
    row |= {f"uncertainty_{suffix}": _number(expanded), "coverage": 2}
    row |= {f"at_least_{suffix}": _number(m.at_least)}
    row |= {"limit_mm": None, "limit_source": None}
    if m.limit is not None:
        row |= {"limit_mm": _number(m.limit.value), "limit_source": str(m.limit.source)}
        row |= {"limit_key": m.limit.key, "lower_line_mm": m.limit.lower_line}
        if m.limit.changed:
            row["limit_changed"] = {
                "default_mm": m.limit.default,
                "by": m.limit.changed_by,
                "at": m.limit.changed_at,
                "reason": m.limit.reason,
            }
    row["verdict"] = m.verdict
    witness = m.reading.witness
    row["witness"] = None if witness is None else [_numbers(witness[0]), _numbers(witness[1])]
    if m.reading.along_mm is not None:
        row["along_mm"] = _number(m.reading.along_mm)
    if m.reading.across_mm is not None:
        row["across_mm"] = _number(m.reading.across_mm)
    row["definition"] = m.kind
    row |= _details(m.details.by_key())
    row["budget"] = (
        None
        if m.budget is None
        else [{"term": t.name, "u": _number(t.u), "source": str(t.source)} for t in m.budget.terms]
    )
    row["notes"] = [n.code for n in m.reading.notes]
    row["note"] = " ".join(n.message for n in m.reading.notes)
    return row


def _details(details: Mapping[str, object]) -> dict[str, object]:
    return {k: _in_file(v) for k, v in details.items()}


def _in_file(value: object) -> object:
    if isinstance(value, Message):
        return str(value)
    return _number(value) if isinstance(value, float) else value
