"""What was not marked: rows of what a tooth expects, of an unseen loop, of what was declared."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from core.arch import FixtureFrame
from core.distances.clearance import foramen_zone
from core.fixture import Fixture
from core.identity import Expected
from core.measurement import Measurement, Note, Reading
from core.measurement_kinds import ClearanceDetails, MeasurementKind
from core.measuring.basis import Basis, RowMaker
from core.measuring.expected_list import KnownHere, expected_of, is_settled
from core.plans.plan import MISSING, Declaration, Plan
from core.structures import Course, Foramen, Structure
from core.words.catalogue import Words, message

_NOT_MET = {
    "looked for, not visible": "declared-not-visible",
    "outside the scanned region": "declared-outside",
}
"""Declared states that count as not met, and their sentences."""


def as_declared(plan: Plan, structure: Structure, reading: Reading) -> Reading:
    """A marked structure that is declared not visible, or outside, counts as not met.

    Parameters
    ----------
    plan : Plan
    structure : Structure
    reading : Reading
    """
    for declared in plan.declared:
        if declared.structure == structure.id and declared.state in _NOT_MET:
            fields = _declared_fields(declared, declared.structure)
            note = Note(_NOT_MET[declared.state], fields)
            return replace(reading, upper_bound=True, notes=(*reading.notes, note))
    return reading


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class UnmarkedRows:
    """Makes the rows of what is not known near one fixture.

    Parameters
    ----------
    plan : Plan
    basis : Basis
    fixture : Fixture
    frame : FixtureFrame
    maker : RowMaker
    """

    plan: Plan
    basis: Basis
    fixture: Fixture
    frame: FixtureFrame
    maker: RowMaker

    @property
    def _known(self) -> KnownHere:
        return KnownHere(plan=self.plan, arch=self.basis.arch, fixture=self.fixture)

    def unseen_loop(self) -> Iterator[Measurement]:
        """Parts mesial of a foramen need 5 mm along the arch while the loop is not known."""
        known = self._known
        if any(
            isinstance(s, Course) and s.kind == "loop" and known.same_side(s)
            for s in self.plan.structures
        ):
            return
        declared = known.declaration(("loop",))
        if declared is not None and is_settled(declared):
            return
        for foramen in self.plan.structures:
            if not isinstance(foramen, Foramen) or not known.concerns(foramen):
                continue
            reading = foramen_zone(self.fixture, foramen, self.basis.arch, mesial=self._mesial)
            if reading is not None:
                yield self.maker.row(
                    group="danger",
                    kind=MeasurementKind.CLEARANCE,
                    target=foramen.id,
                    parts=("loop-unseen",),
                    reading=reading,
                    limit_key="loop-unseen",
                    details=ClearanceDetails(along="arch"),
                )

    @property
    def _mesial(self) -> float | None:
        """Sense of mesial along the arch's travel; None where no tooth tells it."""
        if not self.frame.named_by_tooth:
            return None
        return float(np.sign(self.frame.m @ self.frame.station.travel))

    def expected(self) -> Iterator[Measurement]:
        """What must be marked or settled at this tooth, and is neither."""
        for each in expected_of(self.maker.tooth, self.basis.jaw):
            if not self._known.is_marked(each):
                yield self._missing(each)

    def _missing(self, expected: Expected) -> Measurement:
        what = expected.words()
        note = Note("not-marked", {"what": what})
        declared = self._known.declaration(expected.any_of)
        settled = False
        state = ""
        if declared is not None:
            state = declared.state
            settled = is_settled(declared)
            otherwise = "declared-missing" if state == MISSING else "declared-not-near"
            code = _NOT_MET.get(declared.state, otherwise)
            note = Note(code, _declared_fields(declared, what))
            if declared.state == "not near this site" and not settled:
                note = Note("declared-without-reason", {"what": what})
        row = self.maker.row(
            group="roots" if expected.name.startswith("root-") else "danger",
            kind=MeasurementKind.CLEARANCE,
            target=expected.name.replace(" ", "-"),
            reading=Reading(value=None, notes=(note,)),
            details=ClearanceDetails(expected=True, declared=state),
        )
        return replace(row, verdict=None) if settled else row


def _declared_fields(declared: Declaration, what: Words) -> dict[str, object]:
    by = declared.by or message("measuring.said.nobody-named")
    reason = declared.reason or message("measuring.said.no-reason")
    return {"what": what, "by": by, "reason": reason}


def is_expected(row: Measurement) -> bool:
    """True for a row that is there because something must be marked, and is not."""
    return isinstance(row.details, ClearanceDetails) and row.details.expected


def is_open(row: Measurement) -> bool:
    """True for what must be marked and was neither marked nor declared."""
    details = row.details
    return isinstance(details, ClearanceDetails) and details.expected and not details.declared
