"""The fixture as a convex solid of revolution: exact signed distances to its surface.

Definition (clearances): the solid is the convex hull of the fixture's profile, turned about
its axis, with flat ends; with a drill's tip, a cone over the apical end is added. By its
symmetry the distance of a point is the distance, in the half-plane (depth, distance from the
axis), to the outline: a handful of straight pieces.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from core.fixture import Fixture
from core.geometry import Array, unit, vector

_ON_SURFACE_MM = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FixtureSolid:
    """A convex solid of revolution in patient space.

    Parameters
    ----------
    origin : (3,) patient LPS mm
        Where depth is 0: centre of the platform.
    axis : (3,)
        Unit direction of growing depth, towards the apex.
    profile : (n, 2) mm
        Depth and radius, depths growing, the outline convex (see `of`).
    """

    origin: Array
    axis: Array
    profile: Array

    def __post_init__(self) -> None:
        object.__setattr__(self, "origin", vector(self.origin))
        object.__setattr__(self, "axis", unit(self.axis))
        profile = np.array(self.profile, dtype=np.float64)
        profile.flags.writeable = False
        object.__setattr__(self, "profile", profile)

    @classmethod
    def of(cls, fixture: Fixture) -> FixtureSolid:
        """Solid of a fixture: the convex hull of its profile, never smaller than the fixture."""
        return cls(
            origin=fixture.platform,
            axis=fixture.towards_apex,
            profile=_upper_hull(fixture.size.profile),
        )

    def with_tip(self, tip_mm: float) -> FixtureSolid:
        """The solid with a cone of height `tip_mm` on its apical end (the drill's tip).

        Where a slender tip on a steep taper would leave a notch, the hull fills it.

        Raises
        ------
        ValueError
            When the height is negative or not finite.
        """
        if not (np.isfinite(tip_mm) and tip_mm >= 0):
            raise ValueError("the height of a tip is zero or a positive number of mm")
        if tip_mm == 0:
            return self
        point = (self.profile[-1, 0] + tip_mm, 0.0)
        return replace(self, profile=_upper_hull(np.vstack([self.profile, point])))

    def part(self, from_mm: float, to_mm: float) -> FixtureSolid | None:
        """The slice between two depths, or None where the solid has nothing there."""
        depths, radii = self.profile.T
        low, high = max(from_mm, float(depths[0])), min(to_mm, float(depths[-1]))
        if high - low < 1e-9:
            return None
        inner = (depths > low) & (depths < high)
        cut = np.concatenate([[low], depths[inner], [high]])
        return replace(self, profile=np.stack([cut, np.interp(cut, depths, radii)], axis=1))

    def contact(self, points_mm: ArrayLike) -> tuple[Array, Array, Array]:
        """Signed distance, nearest surface point and outward direction for many points.

        Parameters
        ----------
        points_mm : (n, 3) patient LPS mm

        Returns
        -------
        distance : (n,) mm, negative inside
        nearest : (n, 3) patient LPS mm, on the surface
        outward : (n, 3)
            Unit gradient of the signed distance; ``point = nearest + distance * outward``.
        """
        offset = np.atleast_2d(np.asarray(points_mm, dtype=np.float64)) - self.origin
        depth = offset @ self.axis
        lateral = offset - depth[:, None] * self.axis
        away = np.linalg.norm(lateral, axis=1)
        on_axis = away < _ON_SURFACE_MM
        radial = lateral / np.where(on_axis, 1.0, away)[:, None]
        if on_axis.any():
            radial[on_axis] = self._some_perpendicular()
        flat = np.stack([depth, np.where(on_axis, 0.0, away)], axis=1)

        outline = self._outline
        start, step = outline[:-1], np.diff(outline, axis=0)
        length = np.linalg.norm(step, axis=1)
        normal = np.stack([-step[:, 1], step[:, 0]], axis=1) / length[:, None]
        relative = flat[:, None, :] - start
        along = np.clip((relative * step).sum(axis=2) / length**2, 0.0, 1.0)
        gap = relative - along[:, :, None] * step
        apart = np.hypot(gap[:, :, 0], gap[:, :, 1])
        piece = np.argmin(apart, axis=1)
        rows = np.arange(len(flat))
        inside = ((relative * normal).sum(axis=2) <= 0).all(axis=1)

        distance = np.where(inside, -1.0, 1.0) * apart[rows, piece]
        near = flat - gap[rows, piece]
        close = np.abs(distance) < _ON_SURFACE_MM
        direction = np.where(
            close[:, None],
            normal[piece],
            gap[rows, piece] / np.where(close, 1.0, distance)[:, None],
        )

        def lift(v: Array) -> Array:
            return np.asarray(v[:, :1] * self.axis + v[:, 1:] * radial)

        return distance, self.origin + lift(near), lift(direction)

    def signed_distance(self, points_mm: ArrayLike) -> Array:
        """(n, 3) patient points → (n,) mm, negative inside; a convex function of the point."""
        return self.contact(points_mm)[0]

    def nearest(self, point_mm: ArrayLike) -> Array:
        """Surface point nearest to one point, patient LPS mm."""
        return vector(self.contact(point_mm)[1][0])

    def support(self, directions: ArrayLike) -> Array:
        """Furthest point of the solid in each direction: (n, 3) → (n, 3) patient LPS mm."""
        d = np.atleast_2d(np.asarray(directions, dtype=np.float64))
        along = d @ self.axis
        lateral = d - along[:, None] * self.axis
        size = np.linalg.norm(lateral, axis=1)
        none = size < 1e-12
        radial = lateral / np.where(none, 1.0, size)[:, None]
        if none.any():
            radial[none] = self._some_perpendicular()
        reach = np.outer(along, self.profile[:, 0]) + np.outer(size, self.profile[:, 1])
        depth, radius = self.profile[np.argmax(reach, axis=1)].T
        return np.asarray(self.origin + depth[:, None] * self.axis + radius[:, None] * radial)

    @property
    def _outline(self) -> Array:
        """(m, 2) closed by the axis: flat platform, sides, flat apex; no piece without length."""
        first, last = self.profile[0], self.profile[-1]
        line = np.vstack([(first[0], 0.0), self.profile, (last[0], 0.0)])
        keep = np.append(True, np.linalg.norm(np.diff(line, axis=0), axis=1) > 1e-12)
        return np.asarray(line[keep])

    def _some_perpendicular(self) -> Array:
        """Any unit direction across the axis: where a point on the axis leaves the choice open."""
        helper = np.eye(3)[int(np.argmin(np.abs(self.axis)))]
        return unit(np.cross(self.axis, helper))


def _upper_hull(profile: Array) -> Array:
    """(n, 2) depth and radius → the points of its upper convex hull."""
    hull: list[Array] = []
    for point in profile:
        while len(hull) >= 2:
            one, two = hull[-1] - hull[-2], point - hull[-2]
            if one[0] * two[1] - one[1] * two[0] < 0:
                break
            hull.pop()
        hull.append(point)
    return np.array(hull)
