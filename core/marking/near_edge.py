"""The edge nearest to a click in a picture: where grey values change fastest, between two tissues.

The fastest change of a blurred step lies on the step itself, whatever the levels on its two sides;
of a plate thinner than the blur it lies up to 0.1 mm outside. So no level of a tissue is needed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import gaussian_filter, map_coordinates

from core.geometry import Array, unit
from core.image import sampling
from core.image.volume import Volume

REACH_MM = 1.5
"""As far from a click an edge is looked for."""

_PITCH_MM, _SIGMA_MM = 0.1, 0.2
_LAYERS_MM = (-0.4, -0.2, 0.0, 0.2, 0.4)
_BESIDE_MM = 1.0
_LEAST_OF_RANGE, _LEAST_OF_STEEPEST = 0.12, 0.35
"""Least step across an edge, as a share of the grey values around; and least steepness, as a share
of the steepest edge within reach."""

_NOISES, _APART_MM = 5.0, 0.6
_WIDE_MM = 0.6


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class NearEdge:
    """An edge near a click.

    Parameters
    ----------
    point_mm : (3,) patient LPS mm
        On the edge, in the plane of the picture.
    off_mm : float
        From the click.
    """

    point_mm: Array
    off_mm: float


def edge_near(volume: Volume, click_mm: Array, right: Array, up: Array) -> NearEdge | None:
    """The nearest edge in a plane through a click.

    Parameters
    ----------
    volume : Volume
    click_mm : (3,) patient LPS mm
    right, up : (3,)
        Units that span the plane.

    Returns
    -------
    NearEdge or None
        None where no clear edge lies within `REACH_MM`, or where it was not scanned.
    """
    click = np.asarray(click_mm, dtype=np.float64)
    one, two = unit(right), unit(up)
    through = np.cross(one, two)
    half = round((REACH_MM + _BESIDE_MM + 0.5) / _PITCH_MM)
    steps = _PITCH_MM * np.arange(-half, half + 1)
    flat = click + steps[:, None, None] * one + steps[None, :, None] * two
    layers = [
        sampling.at_points(volume, (flat + layer * through).reshape(-1, 3)) for layer in _LAYERS_MM
    ]
    grey = np.mean(layers, axis=0, dtype=np.float64).reshape(len(steps), len(steps))
    if not np.isfinite(grey).all():
        return None
    # Along the edge more is averaged than across it: the picture itself stays as sharp as it is.
    smooth = gaussian_filter(grey, _SIGMA_MM / _PITCH_MM, mode="nearest")
    slope = np.stack(np.gradient(smooth, _PITCH_MM))
    steep = np.hypot(*slope)
    within = np.hypot(steps[:, None], steps[None, :]) <= REACH_MM
    spread = float(np.ptp(np.percentile(smooth, [1.0, 99.0])))
    # Over two voxels or so neighbours have nothing in common; edges are few among all of these.
    apart = round(_APART_MM / _PITCH_MM)
    noise = 1.4826 * float(np.median(np.abs(grey[apart:] - grey[:-apart]))) / np.sqrt(2.0)
    floor = max(_LEAST_OF_STEEPEST * float(steep[within].max()), 1e-9)
    order = np.argsort(np.hypot(steps[:, None], steps[None, :]), axis=None)
    for flat_index in order:
        a, b = np.unravel_index(int(flat_index), steep.shape)
        if not within[a, b]:
            return None
        if steep[a, b] < floor:
            continue
        found = _on_edge(smooth, slope, (int(a), int(b)))
        if found is None:
            continue
        at, step = found
        if step < max(_LEAST_OF_RANGE * spread, _NOISES * noise):
            continue
        u, v = (at - half) * _PITCH_MM
        off = float(np.hypot(u, v))
        if off <= REACH_MM:
            return NearEdge(point_mm=np.asarray(click + u * one + v * two), off_mm=off)
    return None


def _on_edge(smooth: Array, slope: Array, place: tuple[int, int]) -> tuple[Array, float] | None:
    """Where the steepest place lies across an edge, and how large its step is; None: elsewhere."""
    a, b = place
    way = slope[:, a, b] / max(float(np.hypot(*slope[:, a, b])), 1e-12)
    along = np.arange(-_WIDE_MM / _PITCH_MM, _WIDE_MM / _PITCH_MM + 1e-9, 0.25)
    line = np.array([a, b])[:, None] + way[:, None] * along
    values = [map_coordinates(part, line, order=1, mode="nearest") for part in slope]
    rise = way[0] * values[0] + way[1] * values[1]
    top = int(np.argmax(rise))
    # The nearest edge is the one that is steepest here, not the flank of another one.
    if top in (0, len(along) - 1) or abs(along[top]) > 1.5:
        return None
    before, here, after = rise[top - 1 : top + 2]
    bend = before - 2.0 * here + after
    part = 0.5 * (before - after) / bend if bend < 0 else 0.0
    at = np.array([a, b]) + way * (along[top] + 0.25 * float(np.clip(part, -1.0, 1.0)))
    beside = 0.5 / _PITCH_MM
    ends = at[:, None] + way[:, None] * np.array([-beside, beside])
    low, high = map_coordinates(smooth, ends, order=1, mode="nearest")
    return at, float(high - low)
