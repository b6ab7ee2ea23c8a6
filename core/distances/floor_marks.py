"""Where a floor's marks are too few or end too early for a fixture, and on which side of it.

The rule of density and width: four marks within 5 mm of the fixture's axis with the axis inside
their ring, and marks 5 mm beyond the fixture mesially and distally (common practice, no source).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, Protocol, TypeAlias

import numpy as np

from core.distances.solid import FixtureSolid
from core.geometry import Array
from core.measurement import Note

BEYOND_MM = 5.0
"""Marks must go on this far beyond the fixture, mesially and distally (common practice)."""

AXIS_MARKS_MM = 5.0
AXIS_MARKS = 4
"""A floor needs this many marks around the fixture's axis within this distance of it."""

FloorSide: TypeAlias = Literal["mesial", "distal", "buccal", "palatal"]


class SideFrame(Protocol):
    """What is needed of a fixture's frame, both perpendicular to the axis."""

    @property
    def m(self) -> Array:
        """Unit vector, mesial."""
        ...

    @property
    def b(self) -> Array:
        """Unit vector, buccal."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FloorLack:
    """What one part of the rule finds lacking.

    Parameters
    ----------
    code : {'floor_marks_round_axis', 'floor_stops_short'}
    way : (3,)
        Unit direction from the axis towards where marks are missing.
    marks : int
        How many stand within 5 mm of the axis.
    short_mm : float
        By how much they end too early; 0 where that is not what lacks.
    """

    code: Literal["floor_marks_round_axis", "floor_stops_short"]
    way: Array
    marks: int = 0
    short_mm: float = 0.0

    def note(self, floor_id: str, frame: SideFrame) -> Note:
        """The remark on a floor, with the side in words.

        Parameters
        ----------
        floor_id : str
        frame : SideFrame
        """
        fields = {
            "id": floor_id,
            "side": side_of(self.way, frame),
            "marks": self.marks,
            "short": f"{np.ceil(10 * self.short_mm) / 10:.1f}",
        }
        return Note(self.code, fields)

    def place_mm(self, solid: FixtureSolid) -> Array:
        """(3,) about where a mark is missing, beside the fixture's apical end.

        Parameters
        ----------
        solid : FixtureSolid
        """
        end = solid.origin + float(solid.profile[-1, 0]) * solid.axis
        away = AXIS_MARKS_MM / 2
        if self.short_mm > 0:
            away = float((solid.support(self.way)[0] - end) @ self.way) + BEYOND_MM
        return np.asarray(end + away * self.way)


def floor_lacks(
    solid: FixtureSolid, marks: Array, frame: SideFrame | None
) -> tuple[FloorLack, ...]:
    """What a floor's marks lack for a fixture; empty where they are dense and wide enough.

    Parameters
    ----------
    solid : FixtureSolid
    marks : (n, 3) patient LPS mm
    frame : SideFrame or None
        Without it how far they reach mesially and distally is not asked.
    """
    ways = () if frame is None else (frame.m, -frame.m)
    short = [(_short_mm(solid, marks, way), way) for way in ways]
    return (
        *_around(solid, marks),
        *(
            FloorLack(code="floor_stops_short", way=way, short_mm=lack)
            for lack, way in short
            if lack > 0
        ),
    )


def side_of(way: Array, frame: SideFrame) -> FloorSide:
    """The side of a fixture that a direction points to most.

    Parameters
    ----------
    way : (3,)
    frame : SideFrame
    """
    named: tuple[tuple[FloorSide, Array], ...] = (
        ("mesial", frame.m),
        ("distal", -frame.m),
        ("buccal", frame.b),
        ("palatal", -frame.b),
    )
    return max(named, key=lambda each: float(way @ each[1]))[0]


def _short_mm(solid: FixtureSolid, marks: Array, way: Array) -> float:
    extent = float(solid.support(way)[0] @ way)
    return extent + BEYOND_MM - float((marks @ way).max())


def _around(solid: FixtureSolid, marks: Array) -> tuple[FloorLack, ...]:
    """The widest part of the ring around the axis that holds no mark, where that is too wide."""
    offset = marks - solid.origin
    lateral = offset - np.outer(offset @ solid.axis, solid.axis)
    away = np.linalg.norm(lateral, axis=1)
    ring = lateral[away <= AXIS_MARKS_MM]
    first = np.linalg.svd(np.outer(solid.axis, solid.axis))[2][1]
    second = np.cross(solid.axis, first)
    if len(ring) == 0:
        # All marks stand to one side, or none does: what lacks is where they do not stand.
        way = -lateral.mean(axis=0)
        size = float(np.linalg.norm(way))
        return (FloorLack(code="floor_marks_round_axis", way=first if size < 1e-9 else way / size),)
    angles = np.sort(np.arctan2(ring @ second, ring @ first))
    gaps = np.diff(np.append(angles, angles[0] + 2 * np.pi))
    widest = int(np.argmax(gaps))
    if len(ring) >= AXIS_MARKS and gaps[widest] < np.pi:
        return ()
    middle = angles[widest] + gaps[widest] / 2
    way = np.cos(middle) * first + np.sin(middle) * second
    return (FloorLack(code="floor_marks_round_axis", way=way, marks=len(ring)),)
