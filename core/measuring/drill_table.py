"""The user's own drills, and how deep each of them goes at a fixture.

Definition: the exact depth to the apex from each place that can be seen, rounded *down* to the
last mark of that drill; and the clearances once more with what its tip reaches beyond its mark.
No drill is shipped: names, diameters and marks are the user's.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import cast

from core.arch import Arch
from core.distances.drilling import (
    MARK_STEP_MM,
    DrillDepth,
    MarksIncludeTip,
    drill_depths,
    marks_at,
    round_down_to_mark,
    tip_allowance_mm,
)
from core.errors import PlanError
from core.fixture import Fixture
from core.image.volume import Volume
from core.measurement import Measurement, Note, Reading
from core.measuring.depth_rule import DepthRule, bars_drilling, depth_rule, names_of
from core.measuring.drill_tips import misses_more, tip_rows
from core.measuring.ledger import Ledger
from core.plans.outside import within_scan
from core.plans.plan import Jaw, Plan
from core.plans.side import contradictions
from core.words.catalogue import Words, message

COLUMNS = ("name", "diameter_mm", "marks_mm", "marks_include_tip", "tip_mm")
MOST_DRILLS = 20
EVERY = "every"
"""Before one number in ``marks_mm``: a mark at each multiple of it."""

_LARGEST_MM = 60.0
_WIDEST_STEP_MM = 5.0
_PLACES = {"left": "mesial", "right": "distal"}
_ANSWERS = {"yes": "yes", "no": "no", "don't know": "don't know", "": "don't know"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Drill:
    """One drill of the user's table.

    Parameters
    ----------
    name : Words
    diameter_mm : float or None
        None where a table was kept without it.
    marks_mm : tuple of float
        Depths of its marks, growing; empty: a mark each `step_mm` (a drill with a stop).
    step_mm : float
    marks_include_tip : {'yes', 'no', "don't know"}
    tip_mm : float or None
        Height of the tip beyond the last full diameter, where known.
    """

    name: Words
    diameter_mm: float | None = None
    marks_mm: tuple[float, ...] = ()
    step_mm: float = MARK_STEP_MM
    marks_include_tip: MarksIncludeTip = "don't know"
    tip_mm: float | None = None

    @property
    def beyond_mm(self) -> float:
        """How far it is counted to reach beyond its mark."""
        return tip_allowance_mm(self.marks_include_tip, self.tip_mm)

    def mark_for(self, depth_mm: float) -> float | None:
        """The last mark that is not deeper than a depth.

        None where all marks are deeper, and where the depth lies beyond the marks: the drill
        cannot tell it.
        """
        if not self.marks_mm:
            return round_down_to_mark(depth_mm, self.step_mm)
        if self.is_too_short(depth_mm):
            return None
        shallower = [m for m in self.marks_mm if m <= depth_mm + 1e-6]
        return max(shallower, default=None)

    @property
    def marks_words(self) -> str:
        """Its marks as they stand in a table: ``6 8 10 12``, or ``every 0.5``."""
        if not self.marks_mm:
            return f"{EVERY} {self.step_mm:g}"
        return " ".join(f"{mark:g}" for mark in self.marks_mm)

    def is_too_short(self, depth_mm: float) -> bool:
        """True where a depth lies a whole step of the marks, or more, beyond the last of them."""
        if not self.marks_mm:
            return False
        step = self.marks_mm[-1] - self.marks_mm[-2] if len(self.marks_mm) > 1 else 2.0
        return depth_mm >= self.marks_mm[-1] + step - 1e-6


ANY_DRILL = Drill(name=message("measuring.drill.any"))
"""Stands on the card while no table was given: marks each 0.5 mm, tip not known."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DrillPlan:
    """One drill at one fixture.

    Parameters
    ----------
    drill : Drill
    depths : tuple of DrillDepth
        In the order buccal rim, highest rim, gum, stent top, rounded to this drill's marks; without
        a value where the rule for depths refuses them, or this drill's tip misses a limit.
    rule : DepthRule
        Of the fixture.
    tip_rows : tuple of Measurement
        Clearances with the tip; empty where the marks include it.
    worse : tuple of Measurement
        Those of them that miss a limit which the fixture itself meets.
    """

    drill: Drill
    depths: tuple[DrillDepth, ...]
    rule: DepthRule
    tip_rows: tuple[Measurement, ...]
    worse: tuple[Measurement, ...]

    @property
    def barred(self) -> tuple[Measurement, ...]:
        """What this drill's tip comes too close to: no depth is given for it."""
        return tuple(m for m in self.worse if bars_drilling(m))

    @property
    def has_depths(self) -> bool:
        """True where this drill may be used to the planned apex."""
        return not self.rule.refused and not self.barred


def read_drills(text: str) -> tuple[Drill, ...]:
    """Drills of a CSV file: comma or semicolon; marks parted by blanks.

    Raises
    ------
    PlanError
        ``drills-column``, ``drills-row``, ``drills-empty``, ``drills-too-many``.
    """
    text = text.removeprefix("\ufeff")
    first = text.splitlines()[0] if text.strip() else ""
    rows = csv.reader(io.StringIO(text), delimiter=";" if ";" in first else ",")
    names = [name.strip().lower() for name in next(rows, [])]
    if not {"name", "diameter_mm"} <= set(names):
        raise PlanError("drills-column", needed=", ".join(COLUMNS))
    found: list[Drill] = []
    for number, cells in enumerate(rows, start=2):
        if not any(cell.strip() for cell in cells):
            continue
        if len(found) == MOST_DRILLS:
            raise PlanError("drills-too-many", most=MOST_DRILLS)
        values = dict(zip(names, (cell.strip() for cell in cells), strict=False))
        found.append(drill_of(values, number))
    if not found:
        raise PlanError("drills-empty")
    return tuple(found)


def read_drills_file(path: str | Path) -> tuple[Drill, ...]:
    """Drills of a CSV file in UTF-8.

    Raises
    ------
    PlanError
        ``drills-file`` where it cannot be read as text, and those of `read_drills`.
    """
    try:
        text = Path(path).read_text("utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise PlanError("drills-file", path=path) from error
    return read_drills(text)


def drill_of(values: Mapping[str, str], row: int) -> Drill:
    """One drill from the texts of its row, by the names in `COLUMNS`.

    Raises
    ------
    PlanError
        ``drills-row``.
    """
    name = values.get("name", "")
    if not name or len(name) > 60:
        raise PlanError("drills-row", row=row, reason=message("measuring.drill.name"))
    answer = (
        values.get("marks_include_tip", "").lower().replace("\N{RIGHT SINGLE QUOTATION MARK}", "'")
    )
    if answer not in _ANSWERS:
        reason = message("measuring.drill.tip-answer", found=repr(answer))
        raise PlanError("drills-row", row=row, reason=reason)
    diameter, tip = values.get("diameter_mm", ""), values.get("tip_mm", "")
    marks, step = _marks(values.get("marks_mm", ""), row)
    return Drill(
        name=name,
        diameter_mm=_mm("diameter_mm", diameter, row, most=12.0) if diameter else None,
        marks_mm=marks,
        step_mm=step,
        marks_include_tip=cast(MarksIncludeTip, _ANSWERS[answer]),
        tip_mm=_mm("tip_mm", tip, row, most=5.0, zero=True) if tip else None,
    )


def _marks(text: str, row: int) -> tuple[tuple[float, ...], float]:
    words = text.replace(",", ".").split()
    if words[:1] == [EVERY]:
        if len(words) != 2:
            reason = message("measuring.drill.marks-every", found=repr(text), every=repr(EVERY))
            raise PlanError("drills-row", row=row, reason=reason)
        return (), _mm("marks_mm", words[1], row, most=_WIDEST_STEP_MM)
    marks = tuple(_mm("marks_mm", m, row) for m in words)
    if list(marks) != sorted(set(marks)):
        raise PlanError("drills-row", row=row, reason=message("measuring.drill.marks-order"))
    return marks, MARK_STEP_MM


def _mm(
    column: str, text: str, row: int, *, most: float = _LARGEST_MM, zero: bool = False
) -> float:
    try:
        value = float(text.replace(",", "."))
    except ValueError:
        value = math.nan
    good = math.isfinite(value) and value <= most and (value > 0 or (zero and value == 0))
    if not good:
        reason = message("measuring.drill.number", column=column, found=repr(text), most=most)
        raise PlanError("drills-row", row=row, reason=reason)
    return value


def drilling_plan(  # noqa: PLR0917 - the order is that of the chain plan → scan → ledger
    fixture: Fixture,
    plan: Plan,
    volume: Volume,
    ledger: Ledger,
    arch: Arch,
    drills: Sequence[Drill] = (),
) -> tuple[DrillPlan, ...]:
    """Depths and tip clearances of every drill at one fixture.

    Platform depths at the rim come from the ledger's rows, so that card and sheet agree.

    Parameters
    ----------
    fixture : Fixture
    plan : Plan
    volume : Volume
    ledger : Ledger
    arch : Arch
    drills : sequence of Drill, optional
    """
    rims = {
        # Without a tooth the ledger names the patient's sides; m then runs towards the left.
        _PLACES.get(m.details.side, m.details.side): m.reading
        for m in ledger.measurements
        if m.fixture == fixture.id and m.id.startswith(f"{fixture.id}/depth/platform/")
    }
    exact = drill_depths(
        fixture,
        platform_depths=rims,
        gum=marks_at(fixture, plan.structures, "gum"),
        stent_top=marks_at(fixture, plan.structures, "stent_top"),
        step_mm=MARK_STEP_MM,
    )
    depths = [replace(d, reading=within_scan(d.reading, plan, volume)) for d in exact]
    rule = depth_rule(ledger.of(fixture.id), side_contradicted=bool(contradictions(plan, arch)))
    found: list[DrillPlan] = []
    # Most drills of a table reach equally far beyond their marks: each reach is measured once.
    by_reach: dict[float, tuple[Measurement, ...]] = {}
    for drill in drills or (ANY_DRILL,):
        reach = drill.beyond_mm
        if reach not in by_reach:
            by_reach[reach] = tip_rows(fixture, plan, volume, ledger, arch, reach)
        rows = by_reach[reach]
        made = DrillPlan(
            drill=drill,
            depths=tuple(_rounded(depth, drill) for depth in depths),
            rule=rule,
            tip_rows=rows,
            worse=tuple(m for m in rows if misses_more(m, ledger)),
        )
        found.append(_withheld(made, plan.known_jaw))
    return tuple(found)


def _withheld(plan: DrillPlan, jaw: Jaw | None) -> DrillPlan:
    """Without depths where the rule refuses them, or the drill's own tip does."""
    if plan.has_depths:
        return plan
    note = Note("depth-drill-tip", {"what": names_of(plan.barred, jaw)})
    missing = Reading(value=None, notes=(plan.rule.reason(jaw) if plan.rule.refused else note,))
    return replace(
        plan, depths=tuple(replace(d, reading=missing, mark_mm=None) for d in plan.depths)
    )


def _rounded(depth: DrillDepth, drill: Drill) -> DrillDepth:
    value = depth.reading.value
    return replace(depth, mark_mm=None if value is None else drill.mark_for(value))
