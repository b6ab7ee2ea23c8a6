"""Where a flat picture cuts what is marked: outlines, hatches, and lines of equal distance.

Everything is read from the true 3D distance to the structure, taken on a lattice of the
picture's plane, so that an outline is the cut itself and not a projection.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import contourpy
import numpy as np
from scipy.spatial import cKDTree

from core.distances.floor_surface import FloorSurface
from core.distances.tubes import tubes_of
from core.drawing import Line, hatch
from core.fixture import Fixture
from core.geometry import Array, PictureGrid
from core.structures import Course, Floor, Foramen, PointMarks, Structure, Tapered

DANGER_KINDS = ("canal", "loop", "foramen", "vessel", "floor")
"""Kinds around which lines of equal distance are drawn."""

_STEP_MM = 0.2
_ALONG_MM = 0.1
_SURFACE_MM = 0.25


@dataclass(frozen=True, slots=True, eq=False)
class Lattice:
    """Points of a picture's plane, `_STEP_MM` apart or closer, its edges included."""

    u: Array
    v: Array
    points_mm: Array

    @classmethod
    def of(cls, grid: PictureGrid, step_mm: float = _STEP_MM) -> Lattice:
        """Lattice over a whole picture."""
        half = np.array([grid.cols, grid.rows]) * grid.pixel_mm / 2
        counts = np.ceil(2 * half / step_mm).astype(int) + 1
        u, v = (np.linspace(-h, h, n) for h, n in zip(half, counts, strict=True))
        uu, vv = np.meshgrid(u, v)
        plane = grid.origin + uu.reshape(-1, 1) * grid.right + vv.reshape(-1, 1) * grid.up
        return cls(u, v, plane)

    def within(self, low_uv: Array, high_uv: Array) -> Lattice | None:
        """The part inside a box and one step around it; None where the box misses the picture.

        A structure is a few mm wide and a picture tens of mm: distances are needed only there.
        """
        cuts = [
            slice(max(int(np.searchsorted(axis, lo)) - 1, 0), int(np.searchsorted(axis, hi)) + 1)
            for axis, lo, hi in zip((self.u, self.v), low_uv, high_uv, strict=True)
        ]
        u, v = self.u[cuts[0]], self.v[cuts[1]]
        if len(u) < 2 or len(v) < 2:
            return None
        plane = self.points_mm.reshape(len(self.v), len(self.u), 3)[cuts[1], cuts[0]]
        return Lattice(u, v, plane.reshape(-1, 3))

    def shaped(self, values: Array) -> Array:
        """(n,) values at the points → (len(v), len(u))."""
        return values.reshape(len(self.v), len(self.u))

    def contour(self, field: Array, level: float) -> list[Array]:
        """Lines of one level, each (n, 2) uv_mm."""
        made = contourpy.contour_generator(self.u, self.v, self.shaped(field))
        return [np.asarray(line) for line in made.lines(level)]


def kind_of(structure: Structure) -> str:
    """Name of a structure's kind, as in plan files."""
    if isinstance(structure, Course | Tapered | PointMarks):
        return structure.kind
    if isinstance(structure, Foramen):
        return "foramen"
    return "floor" if isinstance(structure, Floor) else "object"


def style_of(structure: Structure) -> str | None:
    """Style of a structure's outline; None for what pictures do not draw."""
    kind = kind_of(structure)
    if isinstance(structure, Tapered) and structure.to_be_removed:
        return "root to be removed"
    drawn = ("canal", "loop", "foramen", "vessel", "root", "existing", "floor", "border", "mark")
    return kind if kind in drawn else None


def distance_field(structure: Structure, points_mm: Array, *, reach_mm: float = np.inf) -> Array:
    """Distance of many points to a structure, negative inside; the definition of a clearance.

    Parameters
    ----------
    structure : Structure
    points_mm : (n, 3) patient LPS mm
    reach_mm : float
        Distances beyond it may be given as larger than they are.

    Returns
    -------
    (n,) mm; infinite everywhere for a floor with too few marks. The sign of a floor's distance
    is always positive.
    """
    if isinstance(structure, Floor):
        surface = FloorSurface.through(structure.points)
        if surface is None:
            return np.full(len(points_mm), np.inf)
        return np.asarray(cKDTree(surface.samples(_SURFACE_MM)).query(points_mm)[0])
    if not isinstance(structure, Course | Foramen | Tapered | PointMarks):
        return np.full(len(points_mm), np.inf)
    out = np.full(len(points_mm), np.inf)
    for tube in tubes_of(structure):
        count = max(1, int(np.ceil(tube.length_mm / _ALONG_MM)) + 1)
        centres, radii = tube.straight_at(np.linspace(0.0, tube.length_mm, count))
        out = np.minimum(out, _to_balls(points_mm, centres, radii, reach_mm))
    return out


@lru_cache(maxsize=64)
def structure_lines(structures: tuple[Structure, ...], grid: PictureGrid) -> tuple[Line, ...]:
    """Outlines (and hatch, for nerves) of everything that the picture cuts.

    Remembered for the same structures and the same picture: while a fixture is dragged only the
    fixture's own lines change.
    """
    lattice = Lattice.of(grid)
    lines: list[Line] = []
    for structure in structures:
        style = style_of(structure)
        if style is None or not _may_meet(structure, grid):
            continue
        if isinstance(structure, Floor):
            lines += _floor_lines(structure, grid, lattice)
        elif isinstance(structure, PointMarks):
            lines += _crosses(structure, grid)
        elif (part := _near(structure, grid, lattice, 1.0)) is not None:
            lines += _cut_lines(structure, style, part)
    return tuple(lines)


def _cut_lines(structure: Structure, style: str, lattice: Lattice) -> list[Line]:
    """Outline, and hatch for nerves, on the part of the picture that holds the structure."""
    field = distance_field(structure, lattice.points_mm, reach_mm=1.0)
    lines = [Line(style=style, points=c, closed=_closes(c)) for c in lattice.contour(field, 0.0)]
    if style in ("canal", "loop"):
        inside = lattice.shaped(field)[::-1] < 0
        step = float(lattice.u[1] - lattice.u[0])
        middle = np.array([lattice.u[0] + lattice.u[-1], lattice.v[0] + lattice.v[-1]]) / 2
        size = (step * len(lattice.u), step * len(lattice.v))
        segments = hatch(inside, pixel_mm=step, size_mm=size, spacing_mm=0.7)
        lines += [Line(style="canal hatch", points=s + middle) for s in segments]
    return lines


def _near(
    structure: Structure, grid: PictureGrid, lattice: Lattice, reach_mm: float
) -> Lattice | None:
    """The part of a picture that lies within `reach_mm` of a tubular structure."""
    if not isinstance(structure, Course | Foramen | Tapered):
        return lattice
    lows, highs = [], []
    for tube in tubes_of(structure):
        count = max(2, int(np.ceil(tube.length_mm)) + 1)
        centres, radii = tube.straight_at(np.linspace(0.0, tube.length_mm, count))
        uv = grid.uv_mm(centres)
        # Centres stand at most 1 mm apart, so between two of them half a mm is added.
        reach = radii + reach_mm + 0.5
        near = np.abs(uv[:, 2]) <= reach
        if near.any():
            lows.append((uv[near, :2] - reach[near, None]).min(axis=0))
            highs.append((uv[near, :2] + reach[near, None]).max(axis=0))
    if not lows:
        return None
    return lattice.within(np.min(lows, axis=0), np.max(highs, axis=0))


@lru_cache(maxsize=16)
def distance_lines(
    structures: tuple[Structure, ...], grid: PictureGrid, levels_mm: tuple[float, ...]
) -> tuple[tuple[float, Array], ...]:
    """Lines of equal true distance to the nearest danger structure in the picture's plane.

    Remembered like `structure_lines`.

    Returns
    -------
    tuple of (distance in mm, (n, 2) uv_mm)
    """
    reach = max(levels_mm) + 0.5
    lattice = Lattice.of(grid)
    field = np.full((len(lattice.v), len(lattice.u)), 4 * reach)
    for structure in structures:
        if kind_of(structure) not in DANGER_KINDS or not _may_meet(structure, grid, reach):
            continue
        part = _near(structure, grid, lattice, reach)
        if part is not None:
            found = part.shaped(distance_field(structure, part.points_mm, reach_mm=reach))
            row, col = np.searchsorted(lattice.v, part.v[0]), np.searchsorted(lattice.u, part.u[0])
            place = field[row : row + len(part.v), col : col + len(part.u)]
            np.minimum(place, found, out=place)
    return tuple((level, line) for level in levels_mm for line in lattice.contour(field, level))


def fixture_outline(fixture: Fixture, grid: PictureGrid) -> list[Array]:
    """Cut of a fixture's own profile (not its hull) by the picture's plane, (n, 2) uv_mm each."""
    depth, radius = fixture.size.profile.T
    ends = grid.uv_mm(np.stack([fixture.platform, fixture.apex]))
    if np.abs(ends[:, 2]).max() < 1e-6:
        axis = ends[1, :2] - ends[0, :2]
        along = axis / np.linalg.norm(axis)
        side = np.array([-along[1], along[0]])
        middle = ends[0, :2] + depth[:, None] * along
        half = radius[:, None] * side
        return [np.vstack([middle + half, (middle - half)[::-1]])]
    reach = float(radius.max()) + 0.5
    half = np.array([grid.cols, grid.rows, 0]) * grid.pixel_mm / 2 + reach
    if (ends.min(axis=0) > half).any() or (ends.max(axis=0) < -half).any():
        return []
    # The lattice covers the fixture only: it is finer than the one of the structures.
    middle = ends[:, :2].mean(axis=0)
    around = PictureGrid.of_size(
        origin=grid.origin + middle[0] * grid.right + middle[1] * grid.up,
        right=grid.right,
        up=grid.up,
        size_mm=tuple(np.ptp(ends[:, :2], axis=0) + 2 * reach),
        pixel_mm=0.1,
    )
    lattice = Lattice.of(around, 0.1)
    offset = lattice.points_mm - fixture.platform
    t = offset @ fixture.towards_apex
    away = np.linalg.norm(offset - t[:, None] * fixture.towards_apex, axis=1)
    wall = away - np.interp(t, depth, radius)
    solid = np.maximum(wall, np.maximum(-t, t - fixture.size.length_mm))
    return [line + middle for line in lattice.contour(solid, 0.0)]


def _to_balls(points_mm: Array, centres: Array, radii: Array, reach_mm: float) -> Array:
    """Least of (distance to a centre less its radius)."""
    if float(np.ptp(radii)) < 1e-9:
        bound = reach_mm + float(radii[0])
        found = cKDTree(centres).query(points_mm, distance_upper_bound=bound)[0]
        return np.asarray(np.asarray(found) - radii[0])
    # Radius varies: a ball is a cone in (x, y, z, r); look at the centres near each point only.
    out = np.full(len(points_mm), np.inf)
    near = np.asarray(cKDTree(centres).query(points_mm)[0] < reach_mm + float(radii.max()))
    if near.any():
        chosen = points_mm[near]
        best = np.full(len(chosen), np.inf)
        for centre, radius in zip(centres[::2], radii[::2], strict=True):
            best = np.minimum(best, np.linalg.norm(chosen - centre, axis=1) - radius)
        out[near] = best
    return out


def _may_meet(structure: Structure, grid: PictureGrid, margin_mm: float = 0.5) -> bool:
    """False where a structure certainly lies outside the picture and its margin."""
    if isinstance(structure, Foramen):
        marks = np.stack([structure.mesial, structure.distal])
    else:
        marks = structure.points
    spare = margin_mm + 4.0 + 0.25 * float(np.linalg.norm(np.ptp(marks, axis=0)))
    uv = grid.uv_mm(marks)
    half = np.array([grid.cols, grid.rows, 0]) * grid.pixel_mm / 2 + spare
    return bool((uv.min(axis=0) <= half).all() and (uv.max(axis=0) >= -half).all())


def _closes(line: Array) -> bool:
    return len(line) > 2 and bool(np.allclose(line[0], line[-1]))


def _floor_lines(floor: Floor, grid: PictureGrid, lattice: Lattice) -> list[Line]:
    surface = FloorSurface.through(floor.points)
    if surface is None:
        return []
    local = (lattice.points_mm - surface.centre) @ surface.frame.T
    height = local[:, 2] - surface.weights(local[:, :2]) @ surface.heights

    def within(line: Array) -> Array:
        solid = grid.origin + line[:, :1] * grid.right + line[:, 1:] * grid.up
        places = ((solid - surface.centre) @ surface.frame.T)[:, :2]
        return np.array([surface.inside_rim_mm(p) >= 0 for p in places])

    return _kept(lattice.contour(height, 0.0), within, "floor")


def _kept(lines: list[Array], within: Callable[[Array], Array], style: str) -> list[Line]:
    """The parts of lines whose points are within something."""
    out: list[Line] = []
    for line in lines:
        on = np.concatenate([[False], within(line), [False]]).astype(np.int8)
        change = np.flatnonzero(np.diff(on))
        out += [
            Line(style=style, points=line[start:stop])
            for start, stop in zip(change[::2], change[1::2], strict=True)
            if stop - start > 1
        ]
    return out


def _crosses(marks: PointMarks, grid: PictureGrid) -> list[Line]:
    lines: list[Line] = []
    for u, v, off in grid.uv_mm(marks.points):
        if abs(off) <= 0.5:
            for du, dv in ((0.8, 0.8), (0.8, -0.8)):
                ends = np.array([[u - du, v - dv], [u + du, v + dv]])
                lines.append(Line(style="mark", points=ends))
    return lines
