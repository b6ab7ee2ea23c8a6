"""The jaw plane's line in a front or side cut: where it runs, what is taken, what it makes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np

from app.pictures.draft import Draft, Handle
from app.pictures.flat_view import FlatView
from app.pictures.hit import Hit
from app.tools.base import View
from core.drawing import Label, Line
from core.geometry import Array, vector
from core.level import Level
from core.trust.figures import nearest

LevelPart: TypeAlias = Literal["line", "left end", "right end"]

CUTS = ("front cut", "side cut")
REACH_OF_WIDTH = 0.36
"""Where the ends stand, as a part of the picture's width on either side of its middle."""


@dataclass(frozen=True, slots=True, eq=False)
class LevelLine:
    """The line of a jaw plane in one cut.

    Parameters
    ----------
    ends_uv : (2, 2) mm
        Its ends as they are drawn, left first.
    right : (3,)
        Horizontal direction of the cut.
    """

    view: FlatView
    level: Level
    ends_uv: Array
    right: Array

    @classmethod
    def of(cls, view: View, level: Level | None) -> LevelLine | None:
        """Line of a plane in a cut; None elsewhere, or where the plane runs along the cut."""
        if not isinstance(view, FlatView) or view.kind not in CUTS or level is None:
            return None
        if view.grid is None or abs(float(level.up @ view.grid.up)) < 1e-6:
            return None
        half = REACH_OF_WIDTH * view.grid.cols * view.grid.pixel_mm
        slope = float(level.up @ view.grid.right) / float(level.up @ view.grid.up)
        middle = float(level.height_mm(view.grid.origin)[0]) / float(level.up @ view.grid.up)
        ends = np.array([[u, -middle - slope * u] for u in (-half, half)])
        return cls(view, level, ends, view.grid.right)

    def part_at(self, hit: Hit) -> LevelPart | None:
        """What of it the mouse is at: an end, else the line; None beside it."""
        mouse = np.array(hit.uv_mm)
        left, right = (float(np.linalg.norm(end - mouse)) for end in self.ends_uv)
        if min(left, right) <= hit.reach_mm:
            return "left end" if left <= right else "right end"
        a, b = self.ends_uv
        along = (b - a) / float(np.linalg.norm(b - a))
        aside = (mouse - a) - along * float((mouse - a) @ along)
        return "line" if float(np.linalg.norm(aside)) <= hit.reach_mm else None

    def moved(self, part: LevelPart, shift_mm: Array) -> Level:
        """The plane after the mouse took a part by a way in the cut.

        Raises
        ------
        ValueError
            Where there is no such plane.
        """
        if part == "line":
            return Level(origin=self.level.origin + shift_mm, up=self.level.up)
        ends = [vector(self.view.point_mm(float(u), float(v))) for u, v in self.ends_uv]
        number = 0 if part == "left end" else 1
        ends[number] = vector(ends[number] + shift_mm)
        return self.level.with_line(ends[0], ends[1], right=self.right)

    def turned(self, degrees: float) -> Level:
        """The plane with its line turned about the middle, anticlockwise in the picture.

        Raises
        ------
        ValueError
            Where there is no such plane.
        """
        middle = self.ends_uv.mean(axis=0)
        angle = np.radians(self.lean_deg + degrees)
        way = np.array([np.cos(angle), np.sin(angle)])
        ends = [vector(self.view.point_mm(*(middle + s * way))) for s in (-10.0, 10.0)]
        return self.level.with_line(ends[0], ends[1], right=self.right)

    @property
    def lean_deg(self) -> float:
        """Its angle to the scanner's level in this cut, + where its right end is higher."""
        (u0, v0), (u1, v1) = self.ends_uv
        return float(np.degrees(np.arctan2(v1 - v0, u1 - u0)))

    def draft(self) -> Draft:
        """The line, its ends as handles, and its lean in words."""
        at = self.ends_uv[1] + np.array([0.0, 14.0]) * self.view.mm_per_pixel()
        return Draft(
            lines=(Line(style="jaw plane", points=self.ends_uv),),
            labels=(
                Label(
                    text=f"{nearest(abs(self.lean_deg), 1)}°",
                    at=(float(at[0]), float(at[1])),
                    style="numeral",
                ),
            ),
            handles=tuple(Handle(at=(float(u), float(v))) for u, v in self.ends_uv),
        )
