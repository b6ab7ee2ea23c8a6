"""Where a flat picture cuts what is marked: outlines, hatches, and lines of equal distance.

Everything is read from the true 3D distance to the structure, taken on a lattice of the
picture's plane, so that an outline is the cut itself and not a projection.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache

import numpy as np

from core.distances.plane_field import Lattice, distances_near, surface_of
from core.drawing import Line, hatch
from core.fixture import Fixture
from core.geometry import Array, PictureGrid
from core.structures import Floor, PointMarks, Structure, Tapered, kind_of


def style_of(structure: Structure) -> str | None:
    """Style of a structure's outline; None for what pictures do not draw."""
    drawn = kind_of(structure).drawn
    if isinstance(structure, Tapered) and structure.to_be_removed:
        return "root to be removed"
    return None if drawn is None else drawn.style


@lru_cache(maxsize=64)
def structure_lines(structures: tuple[Structure, ...], grid: PictureGrid) -> tuple[Line, ...]:
    """Outlines (and hatch, for nerves) of everything that the picture cuts.

    Remembered for the same structures and the same picture: while a fixture is dragged only the
    fixture's own lines change.
    """
    lines: list[Line] = []
    for structure in structures:
        style = style_of(structure)
        if style is None:
            continue
        if isinstance(structure, Floor):
            lines += _floor_lines(structure, grid, style)
        elif isinstance(structure, PointMarks):
            lines += _crosses(structure, grid, style)
        elif (found := distances_near((structure,), grid, 1.0)) is not None:
            drawn = kind_of(structure).drawn
            lines += _cut_lines(style, *found, hatched=drawn is not None and drawn.hatched)
    return tuple(lines)


def _cut_lines(style: str, lattice: Lattice, field: Array, *, hatched: bool) -> list[Line]:
    """Outline, and hatch for nerves, on the part of the picture that holds the structure."""
    lines = [Line(style=style, points=c, closed=_closes(c)) for c in lattice.contour(field, 0.0)]
    if hatched:
        step = float(lattice.u[1] - lattice.u[0])
        middle = np.array([lattice.u[0] + lattice.u[-1], lattice.v[0] + lattice.v[-1]]) / 2
        size = (step * len(lattice.u), step * len(lattice.v))
        segments = hatch(field[::-1] < 0, pixel_mm=step, size_mm=size, spacing_mm=0.7)
        lines += [Line(style="canal hatch", points=s + middle) for s in segments]
    return lines


@lru_cache(maxsize=16)
def distance_lines(
    structures: tuple[Structure, ...], grid: PictureGrid, levels_mm: tuple[float, ...]
) -> tuple[tuple[float, Array], ...]:
    """Lines of equal true distance to the nearest danger structure in the picture's plane.

    Remembered like `structure_lines`.

    Parameters
    ----------
    structures : tuple of Structure
    grid : PictureGrid
    levels_mm : tuple of float, mm

    Returns
    -------
    tuple of (distance in mm, (n, 2) uv_mm)
    """
    dangers = tuple(s for s in structures if kind_of(s).is_danger)
    found = distances_near(dangers, grid, max(levels_mm) + 0.5)
    if found is None:
        return ()
    lattice, field = found
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
    offset = lattice.points_mm(around) - fixture.platform
    t = offset @ fixture.towards_apex
    away = np.linalg.norm(offset - t[:, None] * fixture.towards_apex, axis=1)
    wall = away - np.interp(t, depth, radius)
    solid = np.maximum(wall, np.maximum(-t, t - fixture.size.length_mm))
    return [line + middle for line in lattice.contour(solid.reshape(len(lattice.v), -1), 0.0)]


def _closes(line: Array) -> bool:
    return len(line) > 2 and bool(np.allclose(line[0], line[-1]))


def _floor_lines(floor: Floor, grid: PictureGrid, style: str) -> list[Line]:
    surface = surface_of(floor)
    found = distances_near((floor,), grid, 1.0)
    if surface is None or found is None:
        return []
    lattice = found[0]
    local = (lattice.points_mm(grid) - surface.centre) @ surface.frame.T
    height = local[:, 2] - surface.weights(local[:, :2]) @ surface.heights

    def within(line: Array) -> Array:
        solid = grid.origin + line[:, :1] * grid.right + line[:, 1:] * grid.up
        places = ((solid - surface.centre) @ surface.frame.T)[:, :2]
        return np.array([surface.inside_rim_mm(p) >= 0 for p in places])

    return _kept(lattice.contour(height.reshape(len(lattice.v), -1), 0.0), within, style)


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


def _crosses(marks: PointMarks, grid: PictureGrid, style: str) -> list[Line]:
    lines: list[Line] = []
    for u, v, off in grid.uv_mm(marks.points):
        if abs(off) <= 0.5:
            for du, dv in ((0.8, 0.8), (0.8, -0.8)):
                ends = np.array([[u - du, v - dv], [u + du, v + dv]])
                lines.append(Line(style=style, points=ends))
    return lines
