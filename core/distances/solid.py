"""The fixture as a convex solid of revolution: exact signed distances to its surface.

Definition (clearances): the solid is the convex hull of the fixture's profile, turned about
its axis, with flat ends; with a drill's tip, a cone over the apical end is added. By its
symmetry the distance of a point is the distance, in the half-plane (depth, distance from the
axis), to the outline: a handful of straight pieces.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

from core.distances.solid_kernels import contacts, distances, least_at_poses, least_on_pieces
from core.fixture import Fixture
from core.geometry import Array, cross, lengths, unit, vector


@dataclass(frozen=True, kw_only=True, eq=False)
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
        return contacts(*self._placed, self._side, _plain(np.atleast_2d(points_mm)))

    def signed_distance(self, points_mm: ArrayLike) -> Array:
        """(n, 3) patient points → (n,) mm, negative inside; a convex function of the point."""
        return distances(*self._placed, _plain(np.atleast_2d(points_mm)))

    def least_on_pieces(self, line_mm: Array, radii_mm: Array, pieces: NDArray[np.intp]) -> Array:
        """Where (signed distance - radius) is least on straight pieces of a line, each as a share.

        Parameters
        ----------
        line_mm : (m, 3) patient LPS mm
        radii_mm : (m,) mm
            At the line's points, linear in between.
        pieces : (k,) int
            Which of the m - 1 pieces.

        Returns
        -------
        (k,)
            0 at the beginning of a piece, 1 at its end.
        """
        return least_on_pieces(*self._placed, _plain(line_mm), _plain(radii_mm), pieces)

    def least_at_poses(
        self, origins_mm: Array, axes: Array, centres_mm: Array, radii_mm: Array
    ) -> Array:
        """Least signed distance to the surface of balls, for this solid in other poses.

        Parameters
        ----------
        origins_mm : (n, 3) patient LPS mm
            Where depth is 0.
        axes : (n, 3)
            Unit directions of growing depth.
        centres_mm : (k, 3) patient LPS mm
        radii_mm : (k,) mm

        Returns
        -------
        (n,) mm
        """
        outline, _, _ = self._placed
        return least_at_poses(
            outline, _plain(origins_mm), _plain(axes), _plain(centres_mm), _plain(radii_mm)
        )

    def nearest(self, point_mm: ArrayLike) -> Array:
        """Surface point nearest to one point, patient LPS mm."""
        return vector(self.contact(point_mm)[1][0])

    def support(self, directions: ArrayLike) -> Array:
        """Furthest point of the solid in each direction: (n, 3) → (n, 3) patient LPS mm."""
        d = np.atleast_2d(np.asarray(directions, dtype=np.float64))
        along = d @ self.axis
        lateral = d - along[:, None] * self.axis
        size = lengths(lateral)
        none = size < 1e-12
        if none.any():
            radial = lateral / np.where(none, 1.0, size)[:, None]
            radial[none] = self._side
        else:
            radial = lateral / size[:, None]
        depths, radii = self.profile.T
        furthest = (along[:, None] * depths + size[:, None] * radii).argmax(axis=1)
        depth, radius = depths[furthest], radii[furthest]
        return np.asarray(self.origin + depth[:, None] * self.axis + radius[:, None] * radial)

    @cached_property
    def _placed(self) -> tuple[Array, Array, Array]:
        """What every kernel begins with: outline, origin, axis.

        The outline is (m, 2), closed by the axis: flat platform, sides, flat apex; no piece
        without length.
        """
        first, last = self.profile[0], self.profile[-1]
        line = np.vstack([(first[0], 0.0), self.profile, (last[0], 0.0)])
        keep = np.append(True, np.linalg.norm(np.diff(line, axis=0), axis=1) > 1e-12)
        return _plain(line[keep]), _plain(self.origin), _plain(self.axis)

    @cached_property
    def _side(self) -> Array:
        """Any unit direction across the axis: where a point on the axis leaves the choice open."""
        helper = np.eye(3)[int(np.argmin(np.abs(self.axis)))]
        return _plain(unit(cross(self.axis, helper)))


def prepare() -> None:
    """Compile, or load from the cache, what distances to a fixture need."""
    outline = np.array([[0.0, 1.0], [1.0, 1.0], [1.0, 0.0]])
    origin, axis, side = np.zeros(3), np.array([0.0, 0.0, 1.0]), np.array([1.0, 0.0, 0.0])
    points, radii = np.zeros((2, 3)), np.zeros(2)
    contacts(outline, origin, axis, side, points)
    distances(outline, origin, axis, points)
    least_on_pieces(outline, origin, axis, points, radii, np.zeros(1, dtype=np.intp))
    least_at_poses(outline, origin[None], axis[None], points, radii)


def _plain(values: ArrayLike) -> Array:
    """A writable, contiguous copy: a kernel is compiled anew for every other kind of array."""
    return np.array(values, dtype=np.float64, order="C")


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
