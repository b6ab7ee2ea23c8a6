"""What a plan may state: sizes no canal and no fixture has, and marks out of order, are refused.

A slip of a key makes a canal of 30 mm or one of 0.3 mm, and every clearance to it wrong. Values
that exist but are rare are taken with a reason, which stays in the plan (`Plan.reasons`).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from core.errors import PlanError
from core.fixture import FixtureSize
from core.geometry import Array
from core.identity import thing_words
from core.plans.plan import Plan
from core.structures import Course, kind_of
from core.words.catalogue import Words, message

MOST_TURN_DEG = 120.0
"""A canal's course turns by less between two marks (common practice, no source)."""

_SHORT_MM = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """What a value can be, and what it usually is, mm (common practice, no source)."""

    what: Words
    least: float
    most: float
    usual_least: float
    usual_most: float

    def refusal(self, value_mm: float, where: Words, *, reason: str = "") -> PlanError | None:
        """Why the value is not taken; None where it is.

        Parameters
        ----------
        where : Words
            Place in the plan, or the name of what has the value.
        reason : str
            Why the plan has an unusual value all the same.
        """
        fields = {"where": where, "what": self.what, "found": f"{value_mm:g}"}
        if not self.least <= value_mm <= self.most:
            return PlanError(
                "plan-impossible-size", **fields, least=f"{self.least:g}", most=f"{self.most:g}"
            )
        if not self.usual_least <= value_mm <= self.usual_most and not reason.strip():
            least, most = f"{self.usual_least:g}", f"{self.usual_most:g}"
            return PlanError("plan-unusual-size", **fields, least=least, most=most)
        return None


CANAL_DIAMETER = Span(
    what=message("plans.span.canal-diameter"), least=0.5, most=6.0, usual_least=1.5, usual_most=5.0
)
FIXTURE_DIAMETER = Span(
    what=message("plans.span.fixture-diameter"),
    least=1.5,
    most=8.0,
    usual_least=2.5,
    usual_most=6.5,
)
FIXTURE_LENGTH = Span(
    what=message("plans.span.fixture-length"),
    least=4.0,
    most=30.0,
    usual_least=5.0,
    usual_most=20.0,
)


UNUSUAL = "plan-unusual-size"
"""Code of a refusal that a reason lifts."""


def size_refusal(size: FixtureSize, name: Words) -> PlanError | None:
    """Why a size that a person gives a fixture is not taken; None where it is.

    Parameters
    ----------
    size : FixtureSize
    name : Words
        What the fixture is called.
    """
    return FIXTURE_DIAMETER.refusal(size.diameter_mm, name) or FIXTURE_LENGTH.refusal(
        size.length_mm, name
    )


def _size_in_file(size: FixtureSize, where: str, reason: str) -> PlanError | None:
    """The same for the size at a place of a plan file, which may hold a reason for it."""
    return FIXTURE_DIAMETER.refusal(
        size.diameter_mm, f"{where}.diameter_mm", reason=reason
    ) or FIXTURE_LENGTH.refusal(size.length_mm, f"{where}.length_mm", reason=reason)


def refuse_implausible(plan: Plan) -> None:
    """Refuse what cannot be, and what is rare and has no reason.

    Raises
    ------
    PlanError
        ``plan-impossible-size``, ``plan-unusual-size`` or ``plan-marks-out-of-order``, with the
        place in the file, the value, and what to do.
    """
    for refusal in _refusals(plan):
        raise refusal


def _refusals(plan: Plan) -> Iterator[PlanError]:
    for i, structure in enumerate(plan.structures):
        if not isinstance(structure, Course):
            continue
        where, reason = f"structures[{i}]", plan.reasons.get(structure.id, "")
        if kind_of(structure).canal_sized and structure.diameter_mm is not None:
            found = CANAL_DIAMETER.refusal(
                structure.diameter_mm, f"{where}.diameter_mm", reason=reason
            )
            if found is not None:
                yield found
        # A loop turns back by its nature; everything else that is traced goes on.
        turned = None if kind_of(structure).turns_back else turned_back_at(structure.points)
        if turned is not None:
            yield PlanError(
                "plan-marks-out-of-order",
                where=f"{where}.points[{turned}]",
                id=thing_words(structure.id),
            )
    for i, fixture in enumerate(plan.fixtures):
        reason = plan.reasons.get(fixture.id, "")
        for name, size in (("size", fixture.size), ("other_size", fixture.other_size)):
            where = f"fixtures[{i}].{name}"
            found = None if size is None else _size_in_file(size, where, reason)
            if found is not None:
                yield found


def turned_back_at(points_mm: Array) -> int | None:
    """Index of the first mark at which a course turns back on itself; None where it goes on.

    Parameters
    ----------
    points_mm : (n, 3)
    """
    steps = np.diff(points_mm, axis=0)
    lengths = np.linalg.norm(steps, axis=1)
    # Marks close together scatter by the hand's own error: no order can be read off them.
    kept = np.flatnonzero(lengths > _SHORT_MM)
    ways = steps[kept] / lengths[kept, None]
    cosine = np.einsum("ij,ij->i", ways[:-1], ways[1:])
    back = np.flatnonzero(cosine < np.cos(np.radians(MOST_TURN_DEG)))
    return None if not len(back) else int(kept[back[0] + 1])
