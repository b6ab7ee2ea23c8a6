"""The jaw plane: the plane that heights are counted from, and its *up*.

Set from three occlusal points, from the stent axis, or from the neighbours' long axes.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from core.errors import PlanError
from core.geometry import Array, points, unit, vector
from core.words.numbers import Figure

MIN_SPREAD_MM = 5.0
"""Least height of the triangle of three points: a click that is 0.25 mm off then already tilts
the plane by 3 degrees. Own choice, no source."""

MIN_SUPERIOR = 0.2
"""Least part of *up* along the patient's head-to-foot axis (12 degrees); less does not tell
which way is up. Own choice, no source."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Level:
    """Jaw plane.

    Parameters
    ----------
    origin : (3,) patient LPS mm
    up : (3,)
        Unit normal towards the patient's head (superior), in both jaws.
    """

    origin: Array
    up: Array

    def __post_init__(self) -> None:
        object.__setattr__(self, "origin", vector(self.origin))
        object.__setattr__(self, "up", unit(self.up))

    @classmethod
    def through(cls, points_mm: ArrayLike) -> Level:
        """Plane through three occlusal points; its origin is their centre.

        Parameters
        ----------
        points_mm : (3, 3) patient LPS mm
            In any order.

        Raises
        ------
        PlanError
            ``level-points-in-line`` when they lie nearly on one line, ``level-up-unclear`` when
            the plane stands nearly upright in the patient.
        ValueError
            Unless there are three points.
        """
        p = points(points_mm)
        if len(p) != 3:
            raise ValueError(f"three points expected, found {len(p)}")
        longest = max(float(np.linalg.norm(p[i] - p[i - 1])) for i in range(3))
        normal = np.cross(p[1] - p[0], p[2] - p[0])
        spread = float(np.linalg.norm(normal)) / longest if longest > 0 else 0.0
        if spread < MIN_SPREAD_MM:
            raise PlanError(
                "level-points-in-line",
                found_mm=Figure(f"{spread:.1f}"),
                least_mm=f"{MIN_SPREAD_MM:.0f}",
            )
        return cls(origin=p.mean(axis=0), up=_superior(normal))

    @classmethod
    def from_axes(cls, axes: ArrayLike, *, origin: ArrayLike) -> Level:
        """Plane across the mean of one or more long axes: stent axis or neighbouring teeth.

        Parameters
        ----------
        axes : (n, 3)
            Directions, either way round, of any length.
        origin : (3,) patient LPS mm
            Where height is 0.

        Raises
        ------
        PlanError
            ``level-up-unclear`` when an axis lies nearly level in the patient.
        """
        mean = np.sum([_superior(axis) for axis in points(axes)], axis=0)
        return cls(origin=vector(origin), up=unit(mean))

    def with_line(self, first: ArrayLike, second: ArrayLike, *, right: ArrayLike) -> Level:
        """Plane that holds a line drawn in an upright cut and keeps its lean across that cut.

        The normal is square to the line and to the direction in the old plane that has no part
        along the cut's horizontal: a second cut, square to the first and through the same upright
        line, still shows the plane at the same angle.

        Parameters
        ----------
        first, second : (3,) patient LPS mm
            Two places of the line, in either order.
        right : (3,)
            Unit horizontal direction of the cut.

        Raises
        ------
        ValueError
            When the line has no length, or stands so steeply that *up* would be unclear.
        """
        a, b = vector(first), vector(second)
        across_cut = np.cross(self.up, vector(right))
        normal = np.cross(b - a, across_cut)
        length = float(np.linalg.norm(normal))
        if length < 1e-9 or abs(normal[2]) / length < MIN_SUPERIOR:
            raise ValueError("this line gives no jaw plane")
        up = normal / length if normal[2] > 0 else -normal / length
        return Level(origin=self.origin + up * float((a - self.origin) @ up), up=up)

    def height_mm(self, points_mm: ArrayLike) -> Array:
        """(n, 3) points → (n,) signed heights over the plane along *up*, mm."""
        p = np.atleast_2d(np.asarray(points_mm, dtype=np.float64))
        return np.asarray((p - self.origin) @ self.up)

    def project(self, points_mm: ArrayLike) -> Array:
        """(n, 3) points → (n, 3) their feet on the plane."""
        p = np.atleast_2d(np.asarray(points_mm, dtype=np.float64))
        return np.asarray(p - self.height_mm(p)[:, None] * self.up)


def _superior(direction: ArrayLike) -> Array:
    """The unit direction or its opposite, whichever points to the patient's head (LPS +z)."""
    up = unit(direction)
    if abs(up[2]) < MIN_SUPERIOR:
        raise PlanError("level-up-unclear")
    return up if up[2] > 0 else vector(-up)
