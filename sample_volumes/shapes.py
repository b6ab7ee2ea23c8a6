"""Primitive shapes as signed distances (negative inside), all in mm."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import CubicSpline, PchipInterpolator
from scipy.spatial import cKDTree

Array: TypeAlias = NDArray[np.float64]
Tissue: TypeAlias = tuple[str, NDArray[np.intp], Array]
"""A tissue's name, the indices of the points near it, and the signed distances there."""


class Profile:
    """An outline by height: monotone cubic through knots, tabulated every 0.005 mm.

    Parameters
    ----------
    knots : sequence of (height, offset)
        In mm; held constant beyond the ends.
    """

    STEP = 0.005

    def __init__(self, *knots: tuple[float, float]) -> None:
        heights, offsets = np.array(sorted(knots)).T
        curve = PchipInterpolator(heights, offsets)
        grid = np.arange(heights[0], heights[-1] + self.STEP, self.STEP)
        self.low = float(heights[0])
        self.last = len(grid) - 1.000001
        self.table = np.stack([curve(grid), curve(grid, 1)])

    def __call__(self, height: Array) -> tuple[Array, Array]:
        """Offset and slope at heights."""
        at = np.clip((height - self.low) / self.STEP, 0.0, self.last)
        index = at.astype(np.intp)
        part = at - index
        value, slope = self.table[:, index] * (1 - part) + self.table[:, index + 1] * part
        return value, slope


def both(first: Array, second: Array, radius_mm: float) -> Array:
    """Intersection of two solids; a right-angled edge is rounded with the radius exactly."""
    a, b = np.maximum(first + radius_mm, 0.0), np.maximum(second + radius_mm, 0.0)
    return np.minimum(-radius_mm, np.maximum(first, second)) + np.hypot(a, b)


def step(x: ArrayLike, low: float, high: float) -> Array:
    """Smooth step from 0 at `low` to 1 at `high` (3t^2 - 2t^3)."""
    t = np.clip((np.asarray(x, dtype=np.float64) - low) / (high - low), 0.0, 1.0)
    return np.asarray(t * t * (3.0 - 2.0 * t))


def bump(x: ArrayLike, low: float, high: float, soft: float) -> Array:
    """Smooth window: near 1 between low and high, near 0 outside."""
    v = np.asarray(x, dtype=np.float64)
    return np.asarray(0.5 * (np.tanh((v - low) / soft) - np.tanh((v - high) / soft)))


@dataclass(frozen=True, slots=True, kw_only=True)
class ArchLine:
    """A dental arch as two circle arcs a side that share a tangent; the midline is x = 0.

    The front lies at y = 0 and the arch opens to +y. Stations run from the patient's right
    (negative) to the left (positive); offsets are positive outwards (buccal).
    """

    front_radius: float = 21.0
    turn_deg: float = 60.0
    side_radius: float = 70.0

    @property
    def turn(self) -> float:
        """Angle at which the front arc meets the side arc, radians."""
        return float(np.radians(self.turn_deg))

    @property
    def _side_centre(self) -> tuple[float, float]:
        d = self.front_radius - self.side_radius
        return d * float(np.sin(self.turn)), self.front_radius - d * float(np.cos(self.turn))

    def stations(self, x: Array, y: Array) -> tuple[Array, Array]:
        """Station and buccal offset of points of the jaw plane; exact distances to the arch."""
        ax = np.abs(x)
        front = self.front_radius
        sin, cos = float(np.sin(self.turn)), float(np.cos(self.turn))
        cx, cy = self._side_centre
        side = (ax - front * sin) * cos + (y - front * (1.0 - cos)) * sin > 0.0
        dx, dy = np.where(side, ax - cx, ax), np.where(side, y - cy, y - front)
        radius = np.where(side, self.side_radius, front)
        angle = np.arctan2(dx, -dy)
        s = np.where(
            side, front * self.turn + self.side_radius * (angle - self.turn), front * angle
        )
        return np.where(x < 0.0, -s, s), np.hypot(dx, dy) - radius

    def place(self, station: ArrayLike, offset: ArrayLike = 0.0, height: ArrayLike = 0.0) -> Array:
        """(..., 3) jaw-frame points of stations, buccal offsets and heights."""
        s, r, z = np.broadcast_arrays(*(np.asarray(v, float) for v in (station, offset, height)))
        a = np.abs(s)
        front_end = self.front_radius * self.turn
        side = a > front_end
        angle = np.where(
            side, self.turn + (a - front_end) / self.side_radius, a / self.front_radius
        )
        cx, cy = self._side_centre
        radius = np.where(side, self.side_radius, self.front_radius) + r
        x = np.where(side, cx, 0.0) + radius * np.sin(angle)
        y = np.where(side, cy, self.front_radius) - radius * np.cos(angle)
        return np.stack([np.where(s < 0.0, -x, x), y, z], axis=-1)

    def frame(self, station: float) -> tuple[Array, Array]:
        """Unit travel (patient's right to left) and buccal direction at a station."""
        a = abs(station)
        end = self.front_radius * self.turn
        angle = (self.turn + (a - end) / self.side_radius) if a > end else a / self.front_radius
        sign = -1.0 if station < 0 else 1.0
        travel = np.array([np.cos(angle), sign * np.sin(angle), 0.0])
        return travel, np.array([sign * np.sin(angle), -np.cos(angle), 0.0])


def through(marks: ArrayLike, step_mm: float = 0.02) -> Array:
    """(m, 3) dense polyline of the cubic spline through marks (centripetal, not-a-knot)."""
    p = np.asarray(marks, dtype=np.float64)
    if len(p) == 2:
        n = int(np.ceil(np.linalg.norm(p[1] - p[0]) / step_mm)) + 1
        return np.asarray(np.linspace(p[0], p[1], n), dtype=np.float64)
    knots = np.concatenate([[0.0], np.cumsum(np.sqrt(np.linalg.norm(np.diff(p, axis=0), axis=1)))])
    if len(p) == 3:
        curve = np.polynomial.polynomial.polyfit(knots, p, 2)
        length = np.linalg.norm(np.diff(p, axis=0), axis=1).sum()
        u = np.linspace(0.0, knots[-1], int(np.ceil(2 * length / step_mm)))
        return np.asarray(np.polynomial.polynomial.polyval(u, curve).T, dtype=np.float64)
    spline = CubicSpline(knots, p, bc_type="not-a-knot")
    length = np.linalg.norm(np.diff(p, axis=0), axis=1).sum()
    return np.asarray(spline(np.linspace(0.0, knots[-1], int(np.ceil(2 * length / step_mm)))))


def tube(points: Array, line: Array, radius_mm: float, reach_mm: float) -> Array:
    """Distance of points to a tube along a dense polyline; `reach_mm` where further away."""
    near, _ = cKDTree(line).query(points, distance_upper_bound=reach_mm + radius_mm)
    return np.where(np.isfinite(near), near - radius_mm, reach_mm)


def round_cone(points: Array, line: Array, first_mm: float, last_mm: float) -> Array:
    """Distance to balls along a polyline whose diameter goes linearly from first to last."""
    lengths = np.linalg.norm(np.diff(line, axis=0), axis=1)
    at = np.concatenate([[0.0], np.cumsum(lengths)]) / lengths.sum()
    radii = 0.5 * (first_mm + (last_mm - first_mm) * at)
    best = np.full(len(points), np.inf)
    for (p, q), length, (r0, r1) in zip(pairwise(line), lengths, pairwise(radii), strict=True):
        axis = (q - p) / length
        d = points - p
        along = d @ axis
        off = np.sqrt(np.maximum(np.einsum("ij,ij->i", d, d) - along**2, 0.0))
        slope = (r0 - r1) / length
        # The nearest ball lies where the surface normal meets the axis, not at the foot.
        t = np.clip(along - off * slope / np.sqrt(1.0 - slope**2), 0.0, length)
        best = np.minimum(best, np.hypot(off, along - t) - (r0 - slope * t))
    return best
