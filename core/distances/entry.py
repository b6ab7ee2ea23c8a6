"""The entry point for free-hand work, by distances that can be measured in the mouth.

Definition: distances of the platform's centre from the neighbours' facing surfaces and from the
line through their central grooves; depth below the planned gum margin and below the neighbours'
enamel border, along the axis.
"""

from __future__ import annotations

from typing import Protocol

import numpy as np

from core.fixture import Fixture
from core.geometry import Array
from core.measurement import MARKED, MarkInfluence, Note, Reading
from core.structures import PointMarks

_LEVEL_COSINE = 0.2


class CrownFrame(Protocol):
    """What is needed of a fixture's frame."""

    @property
    def b(self) -> Array:
        """Unit vector, buccal."""
        ...

    @property
    def m(self) -> Array:
        """Unit vector, mesial."""
        ...


def entry_from_neighbour(fixture: Fixture, contact: PointMarks, frame: CrownFrame) -> Reading:
    """Mesio-distal distance of the platform's centre from a neighbour's facing surface.

    Parameters
    ----------
    fixture : Fixture
    contact : PointMarks
    frame : CrownFrame
    """
    parts = (contact.points - fixture.platform) @ frame.m
    index = int(np.argmin(np.abs(parts)))
    value = float(parts[index])
    gradient = frame.m * (1.0 if value >= 0 else -1.0)
    return Reading(
        value=abs(value),
        witness=(fixture.platform, contact.points[index]),
        marks=(MarkInfluence(mark=f"{contact.id}/{index}", gradient=gradient),),
        evidence=MARKED,
    )


def entry_from_grooves(
    fixture: Fixture, first: PointMarks, second: PointMarks, frame: CrownFrame
) -> Reading:
    """Bucco-lingual offset of the platform's centre from the line through the neighbours' grooves.

    The first mark of each neighbour counts; positive is buccal. Measured in the direction buccal,
    at the place of the line that stands beside the platform.

    Parameters
    ----------
    fixture : Fixture
    first : PointMarks
    second : PointMarks
    frame : CrownFrame
    """
    start, end = first.points[0], second.points[0]
    way = end - start
    along = float(way @ frame.m)
    if abs(along) < _LEVEL_COSINE * float(np.linalg.norm(way)) or along == 0.0:
        return Reading(value=None, notes=(Note("grooves_not_on_both_sides"),))
    share = float((fixture.platform - start) @ frame.m) / along
    point = start + share * way
    # Sliding along the line keeps the mesial place: only the part of a shift off the line counts.
    slant = frame.b - frame.m * float(way @ frame.b) / along
    return Reading(
        value=float((fixture.platform - point) @ frame.b),
        witness=(fixture.platform, point),
        marks=(
            MarkInfluence(mark=f"{first.id}/0", gradient=-(1 - share) * slant),
            MarkInfluence(mark=f"{second.id}/0", gradient=-share * slant),
        ),
        evidence=MARKED,
    )


def depth_below(fixture: Fixture, marks: PointMarks) -> Reading:
    """Depth of the platform below a mark (planned gum margin, a neighbour's enamel border).

    Along the axis; of several marks the one nearest to the axis counts.
    """
    height, index = height_over_platform(fixture, marks)
    return Reading(
        value=height,
        witness=(fixture.platform, fixture.on_axis(-height)),
        marks=(MarkInfluence(mark=f"{marks.id}/{index}", gradient=fixture.a),),
        evidence=MARKED,
    )


def height_over_platform(fixture: Fixture, marks: PointMarks) -> tuple[float, int]:
    """Height of the mark nearest to the axis over the platform, along the axis, and its index."""
    offset = marks.points - fixture.platform
    heights = offset @ fixture.a
    away = np.linalg.norm(offset - np.outer(heights, fixture.a), axis=1)
    index = int(np.argmin(away))
    return float(heights[index]), index
