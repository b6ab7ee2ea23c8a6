"""Each row that the program made of a case, beside its truth; and what many of them come to."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any
from unittest.mock import patch

import numpy as np
from scipy.stats import beta

from core import measure
from core.arch import fixture_frame
from core.bone.ridge import section_plane
from core.bone.ridge_height import height_along_axis, height_in_section
from core.bone.ridge_section import Crest
from core.errors import SoundingError
from core.measurement_kinds import ClearanceDetails
from core.measuring.rows_danger import DangerRows
from core.plans.side import arch_of
from tests.reference.random_jaws.half_way import readable
from tests.reference.random_jaws.plan import SITE, marked_exactly
from tests.reference.random_jaws.truth import LIMITS_MM

KINDS = {
    "wall": "remaining bone",
    "clearance/bone surface": "bone surface",
    "clearance/canal": "clearance to the canal",
    "clearance/root": "clearance to a root",
    "clearance/floor": "clearance to the floor",
    "ridge_width": "ridge width",
    "plate_thickness": "plate thickness",
    "ridge_height": "ridge height",
    "depth/platform": "platform depth",
}
FALSE_BY_MM = 0.1
"""A limit that is said to be met while the truth lies further under it than this is a false one."""

Row = Mapping[str, Any]


def kind_of(row_id: str) -> str:
    """The kind under which a row is counted."""
    rest = row_id.split("/", 1)[1]
    return next(name for start, name in KINDS.items() if rest.startswith(start))


def scored(case: Any) -> tuple[list[dict[str, Any]], str]:
    """Rows of a case that have a truth, and why the program refused the whole case, or nothing.

    The lines "if placed by hand" are left out: they are no rows, and take a third of the time.
    """
    try:
        with patch.object(DangerRows, "_by_hand", lambda _self, _structure: ClearanceDetails()):
            ledger = measure(case.plan, case.volume)
    except SoundingError as error:
        return [], error.code
    made = {m.id: m for m in ledger.measurements}
    out = []
    for row_id, truth in case.truth.items():
        m = made.get(row_id)
        if m is None:
            continue
        out.append(
            {
                "id": row_id,
                "truth": round(truth, 4),
                "value": None if m.value is None else round(float(m.value), 4),
                "U": None if m.budget is None else round(m.budget.expanded, 4),
                "limit": None if m.limit is None else m.limit.value,
                "verdict": m.verdict,
                "bound": "lower"
                if m.reading.lower_bound
                else "upper"
                if m.reading.upper_bound
                else "",
                "readable": readable(case.volume, row_id, case.edges[row_id], truth),
                "steady": row_id not in case.unsteady,
                "notes": [n.code for n in m.reading.notes],
                "crest_off": _crest_off(row_id, m.reading, case.edges[row_id]),
                "marked_exactly": _marked_exactly(row_id, m.reading, case),
            }
        )
    return out, ""


def _crest_off(row_id: str, reading: Any, edges: Any) -> float | None:
    """How far a height's crest lies from the true one along the direction used, mm.

    The rest of a height's error is that of the marks it ends at, which a hand has set.
    """
    if "/ridge_height/" not in row_id or reading.value is None or reading.witness is None:
        return None
    (crest, coronal), *_ = edges
    return round(float((reading.witness[0] - crest) @ coronal), 4)


def _marked_exactly(row_id: str, reading: Any, case: Any) -> float | None:
    """A height from the crest that was found to marks that lie where they belong, mm.

    What is left of its error is the program's alone: the crest, and the surface through the marks.
    """
    if "/ridge_height/" not in row_id or reading.value is None or reading.witness is None:
        return None
    subject, _, target, along = row_id.split("/")
    there = [s for s in marked_exactly(case.shape, case.choices) if s.id == target]
    crest = Crest(point_mm=reading.witness[0])
    arch, fixture = arch_of(case.plan), case.plan.fixtures[0]
    if along == "axis":
        height = height_along_axis(fixture, crest, there, lambda s: LIMITS_MM[s.id])
    else:
        frame, origin = fixture_frame(fixture, arch).station, fixture.platform
        if subject == SITE:
            frame, origin = arch.frame(case.plan.sites[0].station_mm), None
        plane = section_plane(frame, case.choices.jaw, origin=origin)
        height = height_in_section(plane, crest, there)
    value = height.reading.value
    return None if value is None else round(float(value), 4)


@dataclass(frozen=True)
class Tally:
    """What many rows of one kind come to; lengths in mm.

    ``within`` of ``valued`` values hold the truth inside ± U; bounds (at least, at most) are
    apart: ``bounds_kept`` of ``bounds``. ``refused`` of ``readable`` rows whose edges an
    independent reading finds have no value. ``false_meets``: (row, mm under the limit).
    """

    valued: int
    within: int
    errors: np.ndarray
    bounds: int
    bounds_kept: int
    readable: int
    refused: int
    met: int
    false_meets: tuple[tuple[Row, float], ...]

    @property
    def share(self) -> float:
        """Share of truths inside ± U."""
        return self.within / self.valued if self.valued else float("nan")

    @property
    def refused_share(self) -> float:
        """Share refused of what could be read."""
        return self.refused / self.readable if self.readable else float("nan")


def interval(count: int, of: int) -> tuple[float, float]:
    """95 % interval of a share, exact (Clopper, Pearson 1934, Biometrika 26:404)."""
    if of == 0:
        return 0.0, 1.0
    low = beta.ppf(0.025, count, of - count + 1) if count else 0.0
    high = beta.ppf(0.975, count + 1, of - count) if count < of else 1.0
    return float(low), float(high)


def is_false(row: Row) -> bool:
    """True for a limit that is said to be met and is not."""
    return row["verdict"] == "meets limit" and row["truth"] < row["limit"] - FALSE_BY_MM


def tally(rows: Iterable[Row]) -> Tally:
    """Count rows; those of scans with a known fault may be among them."""
    whole = list(rows)
    # Where the truth jumps, only a limit that is said to be met is judged.
    rows = [r for r in whole if r.get("steady", True)]
    valued = [r for r in rows if r["value"] is not None and not r["bound"]]
    errors = np.array([r["value"] - r["truth"] for r in valued])
    doubts = np.array([r["U"] for r in valued])
    bounds = [r for r in rows if r["value"] is not None and r["bound"]]
    kept = [
        r["truth"] >= r["value"] - r["U"]
        if r["bound"] == "lower"
        else r["truth"] <= r["value"] + r["U"]
        for r in bounds
    ]
    could = [r for r in rows if r["readable"]]
    return Tally(
        valued=len(valued),
        within=int((np.abs(errors) <= doubts).sum()),
        errors=errors,
        bounds=len(bounds),
        bounds_kept=int(np.sum(kept)),
        readable=len(could),
        refused=sum(r["value"] is None for r in could),
        met=sum(r["verdict"] == "meets limit" for r in whole),
        false_meets=tuple((r, r["limit"] - r["truth"]) for r in whole if is_false(r)),
    )
