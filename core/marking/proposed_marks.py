"""Marks that a followed course proposes, some mm apart, each with how its stretch was seen."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from core.curve import Curve
from core.geometry import Array
from core.marking.follow import STEP_MM, Followed
from core.structures import Seen

APART_MM = (4.5, 3.75, 3.0)
"""Between proposed marks, the widest first that gives the course again: less than the 5 mm from
which clearances ask for another mark."""
OFF_MM = 0.05
"""As far may the curve through the marks lie from the course, a fifth of a hand's own error."""

_WORSE: dict[Seen, int] = {"yes": 0, "faint": 1, "no": 2}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ProposedMark:
    """One mark to be confirmed, with the stretch that leads to it.

    Parameters
    ----------
    point_mm : (3,) patient LPS mm
    seen : {'yes', 'faint', 'no'}
        The worst of the stretch from the mark before, its end included.
    stretch_mm : (n, 3) patient LPS mm
        The course from the mark before to this one, both included; of the first only itself.
    diameter_mm : float
        About the lumen's.
    """

    point_mm: Array
    seen: Seen
    stretch_mm: Array
    diameter_mm: float


def proposed_marks(followed: Followed) -> tuple[ProposedMark, ...]:
    """Spread marks evenly over a followed course, both ends included.

    Parameters
    ----------
    followed : Followed
    """
    course = followed.points_mm
    spread = (_spread(course, apart_mm) for apart_mm in APART_MM)
    at = next((each for each in spread if _gives(course, each)), _spread(course, APART_MM[-1]))
    marks = []
    for n, last in enumerate(at):
        first = at[n - 1] + 1 if n else 0
        seen = max(followed.seen[first : last + 1], key=_WORSE.__getitem__)
        marks.append(
            ProposedMark(
                point_mm=course[last],
                seen=seen,
                stretch_mm=course[at[max(n - 1, 0)] : last + 1],
                diameter_mm=float(followed.lumen_mm[last]),
            )
        )
    return tuple(marks)


def marks_along(course_mm: Array, seen: Seen, diameter_mm: float) -> tuple[ProposedMark, ...]:
    """Spread marks evenly over a course that is seen alike all along.

    Parameters
    ----------
    course_mm : (n, 3) patient LPS mm
        Its places, one a millimetre.
    seen : {'yes', 'faint', 'no'}
    diameter_mm : float
        Of the ring that shows where a section is crossed.
    """
    count = max(math.ceil((len(course_mm) - 1) / APART_MM[0] - 0.1), 1)
    at = np.unique(np.round(np.linspace(0, len(course_mm) - 1, count + 1)).astype(int))
    return tuple(
        ProposedMark(
            point_mm=course_mm[last],
            seen=seen,
            stretch_mm=course_mm[at[max(n - 1, 0)] : last + 1],
            diameter_mm=diameter_mm,
        )
        for n, last in enumerate(at)
    )


def _spread(course: Array, apart_mm: float) -> NDArray[np.int_]:
    """Places of marks this far apart, about."""
    count = max(math.ceil((len(course) - 1) * STEP_MM / apart_mm - 0.1), 1)
    return np.unique(np.round(np.linspace(0, len(course) - 1, count + 1)).astype(int))


def _gives(course: Array, at: NDArray[np.int_]) -> bool:
    """True where the curve through the marks is the course."""
    if len(at) < 2:
        return True
    curve = Curve.through(course[at])
    off = course - curve.at(curve.nearest_stations(course))
    return float(np.linalg.norm(off, axis=1).max()) <= OFF_MM
