"""Parts that every picture draws: fixture, axes, jaw plane, bar, hatch, words at the edges."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from core.distances.outline import fixture_outline
from core.drawing import Label, Line, Sides, hatch, patient_letters
from core.fixture import Fixture
from core.geometry import Array, PictureGrid
from core.identity import inner_side
from core.pictures.chart_desk import NEAR_PLANE_MM, ON_PLANE_MM
from core.plans.plan import Plan
from core.words.values import SIDES


def sides_of(
    grid: PictureGrid,
    buccal: Array | None,
    mesial: Array | None,
    *,
    jaw: str | None,
    named: bool,
) -> Sides:
    """Words and letters for a picture's four edges, from its directions in the patient.

    Parameters
    ----------
    grid : PictureGrid
    buccal, mesial : (3,) or None
        Unit directions at the place shown.
    jaw : {'lower', 'upper'} or None
        In the upper jaw *lingual* reads *palatal*.
    named : bool
        False where no tooth names mesial and distal.
    """
    inner = inner_side(jaw)

    def words(direction: Array) -> str:
        parts: list[str] = []
        for axis, names in ((buccal, ("buccal", inner)), (mesial, ("mesial", "distal"))):
            if axis is None or (axis is mesial and not named):
                continue
            share = float(direction @ axis)
            if abs(share) > np.sin(np.radians(22.5)):
                parts.append(str(SIDES[names[0] if share > 0 else names[1]]))
        letters = patient_letters(direction)
        named_part = "–".join(parts).capitalize()
        return f"{named_part} · {letters}" if named_part else letters

    return Sides(
        left=words(-grid.right), right=words(grid.right), top=words(grid.up), bottom=words(-grid.up)
    )


def other_in_place(fixture: Fixture) -> Fixture | None:
    """A fixture as its other size would stand in its place; None where it has none."""
    if fixture.other_size is None:
        return None
    return replace(fixture, size=fixture.other_size, other_size=None)


def fixture_lines(
    fixture: Fixture, grid: PictureGrid, *, seen_from_below: bool = False
) -> list[Line]:
    """A fixture's cut, its axis from 7 mm above the platform, and a tick each mm of depth.

    Axis and ticks only where the axis lies in the picture's plane. Seen from below: a ring of
    the fixture's diameter around the platform.

    Parameters
    ----------
    fixture : Fixture
    grid : PictureGrid
    seen_from_below : bool, optional
    """
    if seen_from_below:
        turn = np.linspace(0, 2 * np.pi, 48, endpoint=False)
        middle = grid.uv_mm(fixture.platform)[0, :2]
        ring = middle + fixture.size.diameter_mm / 2 * np.stack(
            [np.cos(turn), np.sin(turn)], axis=1
        )
        return [Line(style="fixture", points=ring, closed=True)]
    cuts = fixture_outline(fixture, grid)
    other = other_in_place(fixture)
    lines = (
        []
        if other is None
        else [
            Line(style="other size", points=cut, closed=True)
            for cut in fixture_outline(other, grid)
        ]
    )
    lines += [Line(style="fixture", points=c, closed=True) for c in cuts]
    ends = grid.uv_mm(np.stack([fixture.on_axis(-7.0), fixture.apex]))
    if not cuts or np.abs(ends[:, 2]).max() > NEAR_PLANE_MM:
        return lines
    lines.append(Line(style="fixture axis", points=ends[:, :2]))
    if np.abs(ends[:, 2]).max() > ON_PLANE_MM:
        return lines
    along = ends[1, :2] - ends[0, :2]
    along = along / np.linalg.norm(along)
    side = np.array([-along[1], along[0]])
    for depth in range(int(fixture.size.length_mm) + 1):
        at = grid.uv_mm(fixture.on_axis(float(depth)))[0, :2]
        reach = 0.8 if depth % 5 == 0 else 0.45
        points = np.stack([at - reach * side, at + reach * side])
        lines.append(Line(style="depth tick", points=points))
    return lines


def near_plane_line(
    grid: PictureGrid, first: Array, second: Array, *, style: str, most_off_mm: float = 1.5
) -> list[Line]:
    """A straight line between two patient points, where both lie near the picture's plane.

    Parameters
    ----------
    grid : PictureGrid
    first : (3,) patient LPS mm
    second : (3,) patient LPS mm
    style : str
        Key of `core.pictures.ink.STROKES`.
    most_off_mm : float, optional
        mm from the plane.
    """
    ends = grid.uv_mm(np.stack([first, second]))
    if np.abs(ends[:, 2]).max() > most_off_mm:
        return []
    return [Line(style=style, points=ends[:, :2])]


def jaw_plane(plan: Plan, grid: PictureGrid) -> list[Line]:
    """The jaw plane's trace, where the picture stands upright on it."""
    if plan.level is None or abs(float(grid.right @ plan.level.up)) > 0.5:
        return []
    half_width, half_height = grid.cols * grid.pixel_mm / 2, grid.rows * grid.pixel_mm / 2
    u = np.array([-half_width, half_width])
    rise = float(grid.up @ plan.level.up)
    if abs(rise) < 0.5:
        return []
    at_origin = float(plan.level.height_mm(grid.origin)[0])
    v = -(at_origin + u * float(grid.right @ plan.level.up)) / rise
    if (np.abs(v) > half_height).any():
        return []
    return [Line(style="jaw plane", points=np.stack([u, v], axis=1))]


def not_scanned(grey: NDArray[Any], pixel_mm: float) -> list[Line]:
    """Hatch over what was not scanned."""
    if not np.isnan(grey.sum()):
        return []
    rows, cols = grey.shape
    # Every second pixel: its lines stand far apart, and a window draws them at every step.
    segments = hatch(
        np.isnan(grey[::2, ::2]), pixel_mm=2 * pixel_mm, size_mm=(cols * pixel_mm, rows * pixel_mm),
        spacing_mm=1.6, rising=False,
    )  # fmt: skip
    return [Line(style="not scanned", points=s) for s in segments]


def bar(grid: PictureGrid) -> list[Line]:
    """A bar of 10 mm, low on the right of the picture."""
    right, low = grid.cols * grid.pixel_mm / 2 - 2.0, -grid.rows * grid.pixel_mm / 2 + 2.0
    lines = [Line(style="ruler", points=np.array([[right - 10.0, low], [right, low]]))]
    for n in range(11):
        u = right - 10.0 + n
        tick = 1.2 if n in (0, 5, 10) else 0.6
        lines.append(Line(style="ruler", points=np.array([[u, low], [u, low + tick]])))
    return lines


def bar_label(grid: PictureGrid) -> Label:
    """The word at the bar."""
    right, low = grid.cols * grid.pixel_mm / 2 - 2.0, -grid.rows * grid.pixel_mm / 2 + 2.0
    return Label(text="10 mm", at=(right - 5.0, low + 2.6), style="scale")
