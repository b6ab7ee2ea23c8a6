"""What is drawn over a picture, apart from the picture: the same lines on paper and bench.

An overlay needs the plan and where the picture lies, never the voxels, so that a window can
lay it over a picture that it has cut by itself.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from core.arch import Arch, fixture_frame
from core.distances.outline import structure_lines, style_of
from core.distances.tubes import tubes_of
from core.drawing import Dot, Label, Line
from core.fixture import Fixture
from core.geometry import Array, PictureGrid
from core.image.ribbon import Ribbon
from core.measurement import Measurement
from core.measuring.rulers import ruler_ink
from core.pictures.chart_desk import Desk
from core.pictures.chart_parts import fixture_lines, jaw_plane, near_plane_line
from core.plans.plan import Plan
from core.structures import Course, Tapered

_BUCCAL_OF_TEETH_MM = (9.0, 7.0, 5.0, 3.6)
"""Where the arch's numbers may stand, beside the teeth first; nearer where the picture ends."""
_NUMBERS_UP_MM, _NUMBERS_RISE_MM = 3.2, 10.0
"""Where the numbers of a panorama stand above its foot, and how far they may give way."""
_NUMBER_MM = (2.2, 1.7)
"""Half width and half height of such a number on its plate, with a little room."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Overlay:
    """Lines, dots and labels in uv_mm, in the order in which they are drawn."""

    lines: tuple[Line, ...] = ()
    dots: tuple[Dot, ...] = ()
    labels: tuple[Label, ...] = ()


def section_overlay(
    plan: Plan,
    grid: PictureGrid,
    rows: Iterable[Measurement] = (),
    *,
    most_witnesses: int = 5,
    drawn_at: float = 1.0,
    bare: bool = False,
) -> Overlay:
    """Everything over a section or a plane through an axis.

    Parameters
    ----------
    plan : Plan
    grid : PictureGrid
    rows : iterable of Measurement
        Whose measured distances are drawn where they lie in or near the picture's plane.
    most_witnesses : int
        How many of them, the worst first.
    drawn_at : float
        Scale that labels are laid out for.
    bare : bool
        Without distance lines and numerals.
    """
    lines: list[Line] = [*jaw_plane(plan, grid), *structure_lines(plan.structures, grid)]
    for axis in plan.stent_axes:
        lines += near_plane_line(grid, axis.occlusal, axis.gingival, style="stent axis")
    for fixture in plan.fixtures:
        lines += fixture_lines(fixture, grid)
    rows = tuple(rows)
    withheld = frozenset(m.target for m in rows if m.value is None)
    by_hand = ruler_ink(plan, grid, withheld=withheld)
    lines += by_hand.lines
    desk = Desk(grid, drawn_at=drawn_at)
    # With a fixture its clearances count; without one the ridge.
    measured = [m for m in rows if m.kind.row.drawn == ("fixture" if m.fixture else "ridge")]
    desk.witnesses(measured, most=most_witnesses)
    if not bare:
        outlines = [line.points.mean(axis=0) for line in lines if line.style == "fixture"]
        lines += desk.distances(plan, outlines[0] if outlines else np.zeros(2))
        for label in by_hand.labels:
            desk.put(label.text, label.style, _around(label.at, 3.0 / drawn_at))
    return Overlay(
        lines=(*lines, *desk.lines),
        dots=(*desk.dots, *by_hand.dots),
        labels=tuple(desk.labels),
    )


def _around(at: tuple[float, float], off_mm: float) -> list[Array]:
    """A place, then the ones around it, nearest first."""
    turns = np.radians(np.arange(0.0, 360.0, 45.0))
    ways = np.stack([np.cos(turns), np.sin(turns)], axis=1)
    return [np.array(at), *(np.array(at) + r * off_mm * w for r in (1.0, 1.8, 2.6) for w in ways)]


def arch_map_overlay(plan: Plan, arch: Arch, grid: PictureGrid) -> Overlay:
    """The arch with its stations each 5 mm, numbered each 10 mm, and the fixtures from above.

    Parameters
    ----------
    plan : Plan
    arch : Arch
    grid : PictureGrid
    """
    lines = [Line(style="arch", points=grid.uv_mm(arch.curve.polyline(0.05)[1])[:, :2])]
    desk = Desk(grid)
    for station in np.arange(0.0, arch.length_mm + 1e-6, 5.0):
        frame = arch.frame(float(station))
        long = station % 10 == 0
        reach = 1.6 if long else 0.8
        ends = np.stack([frame.origin - reach * frame.buccal, frame.origin + reach * frame.buccal])
        lines.append(Line(style="station tick", points=grid.uv_mm(ends)[:, :2]))
        if long:
            off = np.array(_BUCCAL_OF_TEETH_MM)[:, None] * frame.buccal
            desk.put(f"{station:g}", "numeral", list(grid.uv_mm(frame.origin + off)[:, :2]))
    lines += [line for f in plan.fixtures for line in fixture_lines(f, grid, seen_from_below=True)]
    return Overlay(lines=tuple(lines), labels=tuple(desk.labels))


def panorama_overlay(plan: Plan, arch: Arch, ribbon: Ribbon) -> Overlay:
    """Stations each 10 mm, curves that were marked, and the fixtures, flattened along the arch.

    Parameters
    ----------
    plan : Plan
    arch : Arch
    ribbon : Ribbon
    """
    pixel_mm = ribbon.pixel_mm
    middle_mm = ribbon.station((ribbon.cols - 1) / 2)

    def flat(points_mm: Array) -> Array:
        row_col = ribbon.row_col(points_mm)
        u = (row_col[:, 1] - (ribbon.cols - 1) / 2) * pixel_mm
        v = ((ribbon.rows - 1) / 2 - row_col[:, 0]) * pixel_mm
        return np.stack([u, v], axis=1)

    half_width = ribbon.cols * pixel_mm / 2
    bottom = -ribbon.rows * pixel_mm / 2
    ticks: list[Line] = []
    lines: list[Line] = []
    numbers: dict[float, str] = {}
    for station in np.arange(0.0, arch.length_mm + 1e-6, 10.0):
        u = float(station) - middle_mm
        if abs(u) > half_width:
            continue
        ticks.append(Line(style="station tick", points=np.array([[u, bottom], [u, bottom + 1.5]])))
        if abs(u) < half_width - 2.5:
            numbers[u] = f"{station:g}"
    for structure in plan.structures:
        style = style_of(structure)
        if isinstance(structure, Course) and style is not None:
            for tube in tubes_of(structure):
                line = flat(tube.points)
                across = np.stack([np.zeros(len(line)), tube.radii], axis=1)
                lines += [
                    Line(style=style, points=part)
                    for s in (1.0, -1.0)
                    for part in within_width(line + s * across, half_width)
                ]
        if isinstance(structure, Tapered) and style is not None:
            outlines = [_tapered_outline(flat(t.points), t.radii) for t in tubes_of(structure)]
            lines += [
                Line(style=style, points=ring, closed=True)
                for ring in outlines
                if np.abs(ring[:, 0]).max() <= half_width
            ]
    lines += [
        Line(style=style, points=flat(ring), closed=True)
        for fixture in plan.fixtures
        for style, ring in _fixture_rings(fixture, fixture_frame(fixture, arch).m)
    ]
    v = _clear_height(numbers, lines, bottom + _NUMBERS_UP_MM)
    labels = [Label(text=text, at=(u, v), style="numeral") for u, text in numbers.items()]
    return Overlay(lines=(*ticks, *lines), labels=tuple(labels))


def _fixture_rings(fixture: Fixture, mesial: Array) -> list[tuple[str, Array]]:
    """Outlines (n, 3) mm of a fixture across the arch's own direction, with their styles."""
    found = []
    for style, size in (("other size", fixture.other_size), ("fixture", fixture.size)):
        if size is not None:
            depth, radius = size.profile.T
            middle = fixture.platform + depth[:, None] * fixture.towards_apex
            side = radius[:, None] * mesial
            found.append((style, np.vstack([middle + side, (middle - side)[::-1]])))
    return found


def _tapered_outline(line: Array, radii: Array) -> Array:
    """Outline (2 n, 2) mm of a root or existing implant along its own line (n, 2)."""
    way = np.gradient(line, axis=0)
    way /= np.maximum(np.linalg.norm(way, axis=1), 1e-9)[:, None]
    aside = radii[:, None] * np.stack([-way[:, 1], way[:, 0]], axis=1)
    return np.vstack([line + aside, (line - aside)[::-1]])


def _clear_height(places: Iterable[float], lines: Iterable[Line], lowest: float) -> float:
    """Height for a row of numbers at which none covers a line; the lowest one where none is."""
    u = np.array(list(places))
    parts = [line.points for line in lines if len(line.points) > 1]
    if not len(u) or not parts:
        return lowest
    starts = np.concatenate([part[:-1] for part in parts])
    ends = np.concatenate([part[1:] for part in parts])
    # Each piece of line, as far as it runs below or above a number: (numbers, pieces).
    first, last = np.minimum(starts[:, 0], ends[:, 0]), np.maximum(starts[:, 0], ends[:, 0])
    reach = np.stack([u - _NUMBER_MM[0], u + _NUMBER_MM[0]])[:, :, None]
    cut = np.clip(reach, first, last)
    run = ends[:, 0] - starts[:, 0]
    level = np.abs(run) < 1e-9
    rise = np.where(level, 0.0, (ends[:, 1] - starts[:, 1]) / np.where(level, 1.0, run))
    heights = starts[:, 1] + (cut - starts[:, 0]) * rise
    low = np.where(level, np.minimum(starts[:, 1], ends[:, 1]), heights.min(axis=0))
    high = np.where(level, np.maximum(starts[:, 1], ends[:, 1]), heights.max(axis=0))
    meets = (first <= reach[1]) & (last >= reach[0])
    low, high = low[meets] - _NUMBER_MM[1], high[meets] + _NUMBER_MM[1]
    wanted = np.arange(lowest, lowest + _NUMBERS_RISE_MM, 0.2)[:, None]
    covers = ((low < wanted) & (wanted < high)).any(axis=1)
    return float(wanted[np.argmin(covers), 0])


def within_width(line: Array, half_width_mm: float) -> list[Array]:
    """Parts of a line (n, 2) between the upright edges of a picture, cut exactly at them."""
    parts: list[list[Array]] = []
    open_part = False
    for a, b in pairwise(line):
        way = float(b[0] - a[0])
        if abs(way) < 1e-9:
            first, last = (0.0, 1.0) if abs(a[0]) <= half_width_mm else (1.0, 0.0)
        else:
            ends = sorted((edge - a[0]) / way for edge in (-half_width_mm, half_width_mm))
            first, last = max(float(ends[0]), 0.0), min(float(ends[1]), 1.0)
        if first > last:
            open_part = False
            continue
        if not open_part:
            parts.append([a + first * (b - a)])
        parts[-1].append(a + last * (b - a))
        open_part = last == 1.0
    return [np.array(part) for part in parts]


def picture_height_mm(plan: Plan, arch: Arch, station_mm: float) -> float:
    """Height of a section's middle over the jaw plane: between what was marked nearby.

    Parameters
    ----------
    plan : Plan
    arch : Arch
    station_mm : float
        Along the arch, mm.
    """
    origin = arch.frame(station_mm).origin
    near: list[Array] = []
    for fixture in plan.fixtures:
        near += [fixture.platform, fixture.apex]
    for structure in plan.structures:
        marks = getattr(structure, "points", None)
        if marks is not None:
            near += list(marks)
    close = [p for p in near if np.linalg.norm(arch.level.project(p)[0] - origin) < 15.0]
    if not close:
        return 15.0 if plan.known_jaw == "upper" else -15.0
    heights = arch.level.height_mm(np.stack(close))
    return float(heights.min() + heights.max()) / 2
