"""True 3D distance to what is marked, on a lattice of a picture's plane."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import contourpy
import numpy as np

from core.distances.floor_surface import FloorSurface
from core.distances.plane_field_kernels import lower_to_balls
from core.distances.tubes import tubes_of
from core.geometry import Array, PictureGrid
from core.structures import Course, Floor, Foramen, PointMarks, Structure, Tapered

_STEP_MM = 0.2
_ALONG_MM = 0.1
_SURFACE_MM = 0.25


@dataclass(frozen=True, slots=True, eq=False)
class Lattice:
    """Places of a picture's plane, `_STEP_MM` apart or closer, its edges included.

    Parameters
    ----------
    u, v : (n,), (m,) uv_mm
        Rising and evenly spaced.
    """

    u: Array
    v: Array

    @classmethod
    def of(cls, grid: PictureGrid, step_mm: float = _STEP_MM) -> Lattice:
        """Lattice over a whole picture."""
        half = np.array([grid.cols, grid.rows]) * grid.pixel_mm / 2
        counts = np.ceil(2 * half / step_mm).astype(int) + 1
        u, v = (np.linspace(-h, h, n) for h, n in zip(half, counts, strict=True))
        return cls(u, v)

    def points_mm(self, grid: PictureGrid) -> Array:
        """(len(v) · len(u), 3) patient LPS mm of the places, u running fastest."""
        uu, vv = np.meshgrid(self.u, self.v)
        return np.asarray(
            grid.origin + uu.reshape(-1, 1) * grid.right + vv.reshape(-1, 1) * grid.up
        )

    def within(self, low_uv: Array, high_uv: Array) -> Lattice | None:
        """The part inside a box and one step around it; None where the box misses the picture.

        A structure is a few mm wide and a picture tens of mm: distances are needed only there.
        """
        cuts = [
            slice(max(int(np.searchsorted(axis, lo)) - 1, 0), int(np.searchsorted(axis, hi)) + 1)
            for axis, lo, hi in zip((self.u, self.v), low_uv, high_uv, strict=True)
        ]
        u, v = self.u[cuts[0]], self.v[cuts[1]]
        return Lattice(u, v) if len(u) > 1 and len(v) > 1 else None

    def contour(self, field: Array, level: float) -> list[Array]:
        """Lines of one level of a (len(v), len(u)) field, each (n, 2) uv_mm."""
        made = contourpy.contour_generator(self.u, self.v, field)
        return [np.asarray(line) for line in made.lines(level)]


@lru_cache(maxsize=32)
def surface_of(floor: Floor) -> FloorSurface | None:
    """A floor's surface, remembered by its identity; None with too few marks."""
    return FloorSurface.through(floor.points)


@lru_cache(maxsize=256)
def balls_of(structure: Structure) -> tuple[Array, Array]:
    """A structure as balls close to each other.

    Remembered by the structure's identity, which is frozen: every picture asks for them.

    Returns
    -------
    centres : (n, 3) patient LPS mm
    radii : (n,) mm
        None of either for a floor with too few marks, and for objects of the scale check.
    """
    if isinstance(structure, Floor):
        surface = surface_of(structure)
        centres = np.empty((0, 3)) if surface is None else surface.samples(_SURFACE_MM)
        return centres, np.zeros(len(centres))
    if not isinstance(structure, Course | Foramen | Tapered | PointMarks):
        return np.empty((0, 3)), np.empty(0)
    parts = []
    for tube in tubes_of(structure):
        count = max(1, int(np.ceil(tube.length_mm / _ALONG_MM)) + 1)
        parts.append(tube.straight_at(np.linspace(0.0, tube.length_mm, count)))
    return np.concatenate([c for c, _ in parts]), np.concatenate([r for _, r in parts])


def distances_near(
    structures: tuple[Structure, ...], grid: PictureGrid, reach_mm: float
) -> tuple[Lattice, Array] | None:
    """Distance to the nearest of some structures, on the part of a picture's plane near them.

    Parameters
    ----------
    structures : tuple of Structure
    grid : PictureGrid
    reach_mm : float
        Distances beyond it may be given as larger than they are, never as smaller.

    Returns
    -------
    Lattice and (len(v), len(u)) mm, negative inside (a floor's is never negative); the
    definition of a clearance. None where the picture comes near none of them.
    """
    near: list[tuple[Array, Array]] = []
    for structure in structures:
        centres, radii = balls_of(structure)
        uvw = grid.uv_mm(centres)
        close = np.abs(uvw[:, 2]) <= radii + reach_mm
        if close.any():
            near.append((np.ascontiguousarray(uvw[close]), radii[close]))
    if not near:
        return None
    low = np.min([(c[:, :2] - r[:, None]).min(axis=0) for c, r in near], axis=0)
    high = np.max([(c[:, :2] + r[:, None]).max(axis=0) for c, r in near], axis=0)
    part = Lattice.of(grid).within(low - reach_mm, high + reach_mm)
    if part is None:
        return None
    field = np.full((len(part.v), len(part.u)), 4 * (reach_mm + 1.0))
    for centres_uvw, radii in near:
        lower_to_balls(field, part.u, part.v, centres_uvw, radii, reach_mm)
    return part, field
