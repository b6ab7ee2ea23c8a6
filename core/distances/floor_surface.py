"""A sinus or nasal floor as a surface through its marks.

Definition: thin-plate spline of the marks' heights over their best-fit plane, bounded by the
hull of the marks; three marks give the triangle. (Triangles between more marks would over-read
the clearance under a bowl-shaped floor by 0.4 to 0.9 mm.)
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.spatial import ConvexHull, Delaunay

from core.geometry import Array, unit

MERGE_MM = 0.05
"""Marks whose feet on the plane are closer than this cannot be told apart by a surface."""

_COARSE_MM = 1.0
_FINEST_MM = 0.002
_WAVE = 0.1
"""Height of a wave between the marks, by its width, that a coarse triangle might hide."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FloorSurface:
    """Interpolating thin-plate surface over a plane.

    Parameters
    ----------
    centre : (3,) patient LPS mm
        Mean of the marks.
    frame : (3, 3)
        Rows: two directions in the best-fit plane and its normal.
    marks_uv : (n, 2) mm
        Feet of the marks in the plane.
    heights : (n,) mm
    """

    centre: Array
    frame: Array
    marks_uv: Array
    heights: Array
    _solve: Array
    _triangles: Array
    _rim: Array

    @classmethod
    def through(cls, marks: Array) -> FloorSurface | None:
        """Lay the surface through (n, 3) marks; None when they do not span a surface.

        Fewer than three marks, marks nearly on one line, or two marks (almost) above each other.

        Notes
        -----
        Duchon J 1977, Splines minimizing rotation-invariant semi-norms in Sobolev spaces, in
        Constructive Theory of Functions of Several Variables: kernel r² log r and a plane.
        """
        if len(marks) < 3:
            return None
        centre = marks.mean(axis=0)
        _, sizes, frame = np.linalg.svd(marks - centre)
        if sizes[1] < 0.1 * np.sqrt(len(marks)):
            return None
        uv = (marks - centre) @ frame[:2].T
        apart = np.linalg.norm(uv[:, None] - uv, axis=2) + np.eye(len(uv)) * 1e9
        if apart.min() < MERGE_MM:
            return None
        count = len(marks)
        system = np.zeros((count + 3, count + 3))
        system[:count, :count] = _kernel(uv, uv)
        system[:count, count:] = _plane(uv)
        system[count:, :count] = _plane(uv).T
        hull = ConvexHull(uv)
        return cls(
            centre=centre,
            frame=frame,
            marks_uv=uv,
            heights=(marks - centre) @ frame[2],
            _solve=np.asarray(np.linalg.inv(system)[:, :count], dtype=np.float64),
            _triangles=uv[Delaunay(uv).simplices],
            _rim=hull.equations,
        )

    def weights(self, uv_mm: Array) -> Array:
        """(m, 2) places in the plane → (m, n) share of each mark's height in the surface's."""
        return np.hstack([_kernel(uv_mm, self.marks_uv), _plane(uv_mm)]) @ self._solve

    def at(self, uv_mm: Array) -> Array:
        """(m, 2) places in the plane → (m, 3) points of the surface, patient LPS mm."""
        count = len(self.heights)
        factors = self._solve @ self.heights
        height = _kernel(uv_mm, self.marks_uv) @ factors[:count] + _plane(uv_mm) @ factors[count:]
        return np.asarray(self.centre + np.column_stack([uv_mm, height]) @ self.frame)

    def normal(self, place_uv: Array) -> Array:
        """Unit normal (3,) of the surface at a place (2,), on the side of the plane's normal."""
        slope = self._slopes(place_uv[None, :])[0]
        return unit(self.frame[2] - slope @ self.frame[:2])

    def foot(self, point_mm: Array) -> tuple[Array, float]:
        """A patient point → its place (2,) in the plane and its height over the surface."""
        local = self.frame @ (point_mm - self.centre)
        surface = float(self.weights(local[None, :2])[0] @ self.heights)
        return local[:2], float(local[2]) - surface

    def inside_rim_mm(self, uv_mm: Array) -> float:
        """How far a place (2,) lies inside the hull of the marks; negative outside."""
        return float(-(self._rim[:, :2] @ uv_mm + self._rim[:, 2]).max())

    def rim_way(self, uv_mm: Array) -> Array:
        """Unit direction (3,), in the plane, from a place (2,) to the nearest edge of the hull."""
        nearest = int(np.argmax(self._rim[:, :2] @ uv_mm + self._rim[:, 2]))
        return unit(self._rim[nearest, :2] @ self.frame[:2])

    def samples(self, step_mm: float) -> Array:
        """(m, 3) points of the bounded surface on a grid over its plane; the marks at least."""
        low, high = self.marks_uv.min(axis=0), self.marks_uv.max(axis=0)
        a, b = (np.arange(lo, hi + step_mm, step_mm) for lo, hi in zip(low, high, strict=True))
        places = np.stack(np.meshgrid(a, b), axis=-1).reshape(-1, 2)
        outside = (places @ self._rim[:, :2].T + self._rim[:, 2]).max(axis=1)
        return self.at(np.concatenate([places[outside <= 0], self.marks_uv]))

    def mark_directions(self) -> Array:
        """(n, 3) how a mark's shift raises the surface: plane normal less its slope there.

        A shift d of a mark is a change ``d · direction`` of the height that it prescribes
        where it stood.
        """
        return np.asarray(self.frame[2] - self._slopes(self.marks_uv) @ self.frame[:2])

    def _slopes(self, uv_mm: Array) -> Array:
        """(m, 2) places → (m, 2) slope of the heights, by central differences."""
        step = 1e-4
        slope = np.zeros((len(uv_mm), 2))
        for k in range(2):
            delta = np.eye(2)[k] * step
            rise = self.weights(uv_mm + delta) - self.weights(uv_mm - delta)
            slope[:, k] = rise @ self.heights / (2 * step)
        return slope

    def least(
        self,
        value: Callable[[Array], Array],
        bound: Callable[[Array, Array], Array],
        *,
        tolerance_mm: float,
    ) -> tuple[float, Array] | None:
        """Least value over the whole bounded surface, by division of its triangles.

        Parameters
        ----------
        value : (m, 3) points → (m,); infinite where a point does not count
        bound : ((k, 3, 3) corner points, (k,) sag) → (k,)
            A lower bound of `value` over the surface above a triangle that departs from the
            flat one by no more than `sag`.
        tolerance_mm : float
            The least value is met to within this.

        Returns
        -------
        (value, place (2,)) or None where no point counts
        """
        triangles = self._triangles
        corners = self.at(triangles.reshape(-1, 2)).reshape(-1, 3, 3)
        values = value(corners.reshape(-1, 3))
        lowest = int(np.argmin(values))
        best, place = float(values[lowest]), triangles.reshape(-1, 2)[lowest]
        size = np.inf
        while len(triangles) and size > _FINEST_MM:
            halves = (triangles + np.roll(triangles, -1, axis=1)) / 2
            middles = self.at(halves.reshape(-1, 2)).reshape(-1, 3, 3)
            values = value(middles.reshape(-1, 3))
            lowest = int(np.argmin(values))
            if values[lowest] < best:
                best, place = float(values[lowest]), halves.reshape(-1, 2)[lowest]
            flat = (corners + np.roll(corners, -1, axis=1)) / 2
            # The middles of the sides show 3/4 of a quadratic surface's greatest departure.
            sag = 2 * np.linalg.norm(middles - flat, axis=2).max(axis=1)
            edges = triangles - np.roll(triangles, -1, axis=1)
            sizes = np.linalg.norm(edges, axis=2).max(axis=1)
            size = float(sizes.max())
            # On a coarse triangle three middles may miss a wave: be generous there.
            sag += np.where(sizes > _COARSE_MM, sag + _WAVE * sizes, 0.0)
            keep = bound(corners, sag) < best - tolerance_mm
            triangles = _quarters(triangles[keep], halves[keep])
            corners = _quarters(corners[keep], middles[keep])
        return None if not np.isfinite(best) else (best, place)


def _quarters(triangles: Array, middles: Array) -> Array:
    a, b, c = triangles[:, 0], triangles[:, 1], triangles[:, 2]
    ab, bc, ca = middles[:, 0], middles[:, 1], middles[:, 2]
    parts = [(a, ab, ca), (ab, b, bc), (ca, bc, c), (ab, bc, ca)]
    return np.concatenate([np.stack(part, axis=1) for part in parts])


def _kernel(places: Array, marks: Array) -> Array:
    """r² log r, 0 at r = 0."""
    square = np.zeros((len(places), len(marks)))
    for k in range(2):
        square += np.subtract.outer(places[:, k], marks[:, k]) ** 2
    return np.asarray(0.5 * square * np.log(square + 1e-300))


def _plane(places: Array) -> Array:
    return np.column_stack([np.ones(len(places)), places])
