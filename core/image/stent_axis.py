"""The stent axis from one click on its radiopaque filling.

Axis: total least squares line through the middles, weighted by grey value above the halfway
threshold, of slices perpendicular to it. Its diameter only tells the filling from other bright
things: bright objects bloom by 9 to 100 per cent in the literature, so it is never a scale.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from core.geometry import Array, any_across, unit, vector
from core.image import sampling
from core.image.bright_object import BrightObject, Refusal, bright_object
from core.image.volume import Volume
from core.measurement import Note
from core.structures import StentAxis

REACH_MM = 19.5
LEAST_LENGTH_MM = 3.0
DIAMETERS_MM = (1.0, 5.0)
"""A filling as wide as seen, blooming included; 2 to 3 mm is usual (common practice, no source)."""

_SLICE_MM = 0.2
_PIXEL_MM = 0.2
_CLEAR_OF_ENDS_MM = 1.0
_AROUND_MM = 1.0
_MARGIN_MM = 0.9
_RING_MM = (0.8, 1.8)
_INDEPENDENT_MM = 1.0
SHADING_SD_MM = 0.03
"""What shading leaves in both directions across it, whatever the number of slices (see tests)."""

_MOST_SCATTER_MM = 0.35
_LEAST_SLICES = 6


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StentAxisFit:
    """What was found from a click.

    Parameters
    ----------
    axis : StentAxis or None
        With its standard deviations; None with the reason in `note`.
    note : Note or None
    length_mm : float
    end_sd_mm : float
        Standard deviation of its ends, across the axis.
    """

    axis: StentAxis | None
    note: Note | None = None
    length_mm: float = 0.0
    end_sd_mm: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Line:
    """A line with the stretch that the filling covers."""

    point: Array
    direction: Array
    low: float
    high: float


def stent_axis(
    volume: Volume, click_mm: ArrayLike, *, coronal: ArrayLike, name: str
) -> StentAxisFit:
    """Find the filling that was clicked on, and its axis.

    Parameters
    ----------
    volume : Volume
    click_mm : (3,) patient LPS mm
        Anywhere on the filling.
    coronal : (3,)
        Towards the crowns: tells the occlusal from the gingival end.
    name : str
        Id of the axis.

    Returns
    -------
    StentAxisFit
        Without an axis where there is no filling, where several lie at the click, where it
        touches metal or another bright thing, where it leaves the scan, or where it is no rod.
    """
    grown = bright_object(volume, click_mm, reach_mm=REACH_MM)
    if isinstance(grown, str):
        return StentAxisFit(axis=None, note=_of_stent(grown))
    line = _principal(grown)
    radius = _radius(volume, grown, line)
    if radius is None or not _is_rod(grown, line, radius):
        return StentAxisFit(axis=None, note=Note("stent-not-a-rod"))
    middles = scatter = None
    for _ in range(3):
        middles = _middles(volume, grown, line, radius)
        if len(middles) < _LEAST_SLICES:
            return StentAxisFit(axis=None, note=Note("stent-too-short"))
        line, scatter = _least_squares(middles, line)
        line = _ends(volume, grown, line, radius)
    length = line.high - line.low
    radius = _radius(volume, grown, line)
    if length < LEAST_LENGTH_MM:
        return StentAxisFit(axis=None, note=Note("stent-too-short"))
    if scatter is None or middles is None or radius is None or scatter > _MOST_SCATTER_MM:
        return StentAxisFit(axis=None, note=Note("stent-not-a-rod"))
    return _result(line, middles, scatter=scatter, radius=radius, coronal=unit(coronal), name=name)


def _of_stent(refusal: Refusal) -> Note:
    """Words for a filling in place of those for any bright object."""
    notes: dict[Refusal, Note] = {
        "not scanned": Note("stent-not-scanned"),
        "nothing there": Note("stent-no-filling"),
        "several": Note("stent-several"),
        "touches metal": Note("stent-touches-metal"),
        "not closed": Note("stent-not-closed"),
    }
    return notes[refusal]


def _result(
    line: _Line, middles: Array, *, scatter: float, radius: float, coronal: Array, name: str
) -> StentAxisFit:
    """Ends in their order, and the axis's own doubt.

    Slices nearer than about 1 mm share their blur and their streaks, so they count as one.
    Standard errors of a fitted line: s / sqrt(n) in its middle, s / sqrt(sum t²) in slope.
    """
    along = (middles - line.point) @ line.direction
    count = max(float(along[-1] - along[0]) / _INDEPENDENT_MM, 2.0)
    half = 0.5 * (line.high - line.low)
    offset_sd = math.hypot(scatter / math.sqrt(count), SHADING_SD_MM)
    slope_sd = math.hypot(scatter / (math.sqrt(count) * float(along.std())), SHADING_SD_MM / half)
    ends = (line.point + line.low * line.direction, line.point + line.high * line.direction)
    if float((ends[1] - ends[0]) @ coronal) > 0:
        ends = (ends[1], ends[0])
    return StentAxisFit(
        axis=StentAxis(
            id=name,
            occlusal=ends[0],
            gingival=ends[1],
            diameter_mm=2 * radius,
            offset_sd_mm=offset_sd,
            direction_sd_deg=math.degrees(slope_sd),
        ),
        length_mm=2 * half,
        end_sd_mm=math.hypot(offset_sd, half * slope_sd),
    )


def _principal(grown: BrightObject) -> _Line:
    """The longest direction of the grown points: a start only."""
    middle = grown.middle_mm
    direction = unit(np.linalg.svd(grown.points_mm - middle, full_matrices=False)[2][0])
    along = (grown.points_mm - middle) @ direction
    return _Line(point=middle, direction=direction, low=float(along.min()), high=float(along.max()))


def _is_rod(grown: BrightObject, line: _Line, radius: float) -> bool:
    """Longer than wide, of a filling's width, and nothing else grown on to it."""
    away = grown.points_mm - line.point
    off = np.linalg.norm(away - (away @ line.direction)[:, None] * line.direction, axis=1)
    return (
        DIAMETERS_MM[0] <= 2 * radius <= DIAMETERS_MM[1]
        and line.high - line.low > 1.2 * 2 * radius
        and float((off < radius + _MARGIN_MM).mean()) > 0.98
    )


def _across(direction: Array) -> tuple[Array, Array]:
    one = any_across(direction)
    return one, np.cross(direction, one)


def _rings(volume: Volume, line: _Line, along: Array, radii: Array) -> Array:
    """(slices, radii) mean grey value on circles around the line."""
    one, two = _across(line.direction)
    turns = np.radians(np.arange(0.0, 360.0, 10.0))
    round_mm = np.cos(turns)[:, None] * one + np.sin(turns)[:, None] * two
    p = (
        line.point
        + along[:, None, None, None] * line.direction
        + radii[None, :, None, None] * round_mm
    )
    grey = sampling.at_points(volume, p.reshape(-1, 3)).reshape(p.shape[:3])
    return np.asarray(grey.mean(axis=2), dtype=np.float64)


def _radius(volume: Volume, grown: BrightObject, line: _Line) -> float | None:
    """Half maximum of the mean radial profile, away from the ends."""
    clear = min(_CLEAR_OF_ENDS_MM, 0.25 * (line.high - line.low))
    along = np.arange(line.low + clear, line.high - clear + 1e-9, 0.5)
    radii = np.arange(0.0, 4.01, 0.05)
    profile = np.nanmean(_rings(volume, line, along, radii), axis=0)
    below = np.flatnonzero(profile < grown.threshold)
    if len(below) == 0 or below[0] == 0:
        return None
    at = int(below[0])
    share = (profile[at - 1] - grown.threshold) / (profile[at - 1] - profile[at])
    return float(radii[at - 1] + share * 0.05)


def _middles(volume: Volume, grown: BrightObject, line: _Line, radius: float) -> Array:
    """(n, 3) middles of slices across the line, clear of its ends.

    Shading by metal or the beam tilts the grey values across a filling and what lies around it,
    and would drag its middle along (by up to 0.16 mm in a reconstructed sample scan). So a plane
    through the grey values around the filling is taken off each slice first, and what stands
    well above halfway counts alike.
    """
    one, two = _across(line.direction)
    reach = radius + _RING_MM[1]
    u = np.arange(-reach, reach + 1e-9, _PIXEL_MM)
    u -= u.mean()
    uv = np.stack([g.ravel() for g in np.meshgrid(u, u, indexing="ij")], axis=1)
    away = np.linalg.norm(uv, axis=1)
    flat = uv @ np.stack([one, two])
    clear = min(_CLEAR_OF_ENDS_MM, 0.25 * (line.high - line.low))
    along = np.arange(line.low + clear, line.high - clear + 1e-9, _SLICE_MM)
    centres = line.point + along[:, None] * line.direction
    p = centres[:, None] + flat
    grey = sampling.at_points(volume, p.reshape(-1, 3)).reshape(p.shape[:2]).astype(np.float64)
    whole = np.isfinite(grey).all(axis=1)
    grey, centres = grey[whole], centres[whole]
    if len(grey) == 0:
        return centres
    above = grey - _plane_around(grey, uv, away > radius + _RING_MM[0])
    high = np.median(above[:, away < 0.7 * radius], axis=1, keepdims=True)
    kept = (high > 0.3 * (grown.inside - grown.around))[:, 0]
    share = above[kept] / high[kept]
    weight = np.clip((share - 0.25) / 0.5, 0.0, 1.0) * (away <= radius + _MARGIN_MM)
    return np.asarray(centres[kept] + (weight / weight.sum(axis=1, keepdims=True)) @ flat)


def _plane_around(grey: Array, uv: Array, ring: NDArray[np.bool_]) -> Array:
    """(slices, pixels) plane through the ring's grey values; far-off ones (a tooth) count less."""
    design = np.column_stack([np.ones(len(uv)), uv])
    planes = np.empty_like(grey)
    for row, plane in zip(grey, planes, strict=True):
        weight = np.ones(int(ring.sum()))
        for _ in range(5):
            fit = np.linalg.lstsq(design[ring] * weight[:, None], row[ring] * weight, rcond=None)[0]
            off = np.abs(row[ring] - design[ring] @ fit)
            usual = 1.5 * (1.4826 * float(np.median(off)) + 1.0)
            weight = 1.0 / np.sqrt(np.maximum(1.0, off / usual))
        plane[:] = design @ fit
    return planes


def _least_squares(middles: Array, line: _Line) -> tuple[_Line, float]:
    """Total least squares line, and the SD of the middles from it in each direction across."""
    point = middles.mean(axis=0)
    direction = unit(np.linalg.svd(middles - point, full_matrices=False)[2][0])
    if float(direction @ line.direction) < 0:
        direction = unit(-direction)
    away = middles - point
    off = away - (away @ direction)[:, None] * direction
    scatter = math.sqrt(float((off**2).sum()) / (2 * (len(middles) - 2)))
    shift = float((line.point - point) @ direction)
    return (
        _Line(point=vector(point), direction=direction, low=line.low + shift,
              high=line.high + shift),
        scatter,
    )  # fmt: skip


def _ends(volume: Volume, grown: BrightObject, line: _Line, radius: float) -> _Line:
    """Where the mean over the filling's inner half crosses halfway to the level beyond its end."""
    step = 0.05
    along = np.arange(line.low - 3.0, line.high + 3.0 + 1e-9, step)
    radii = np.linspace(0.1, 0.5, 4) * radius
    profile = (_rings(volume, line, along, radii) * radii).sum(axis=1) / radii.sum()
    middle = int(np.argmin(np.abs(along - 0.5 * (line.low + line.high))))
    high = middle + _first_end(profile[middle:], grown, round(_AROUND_MM / step))
    low = middle - _first_end(profile[middle::-1], grown, round(_AROUND_MM / step))
    return _Line(
        point=line.point,
        direction=line.direction,
        low=float(along[0] + low * step),
        high=float(along[0] + high * step),
    )


def _first_end(outward: Array, grown: BrightObject, beyond: int) -> float:
    """Samples from the middle to the end, to a part of a sample."""
    level = grown.threshold
    for _ in range(2):
        below = np.flatnonzero(~(outward >= level))
        if len(below) == 0:
            return float(len(outward) - 1)
        at = int(below[0])
        outside = outward[at + beyond : at + 2 * beyond]
        if np.isfinite(outside).any():
            level = 0.5 * (grown.inside + min(float(np.nanmean(outside)), grown.threshold))
    below = np.flatnonzero(~(outward >= level))
    if len(below) == 0 or below[0] == 0:
        return float(len(outward) - 1)
    at = int(below[0])
    if not np.isfinite(outward[at]):
        return float(at)
    return at - 1 + float((outward[at - 1] - level) / (outward[at - 1] - outward[at]))
