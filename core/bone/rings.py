"""Rings: circles around the axis of rotation, from cells of the detector that answer otherwise.

In polar coordinates they are lines (Sijbers and Postnov 2004, Phys Med Biol 49:N247). They are
told from anatomy by running all the way round: what one half of a circle's directions shows at a
radius the other half shows too.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import median_filter, uniform_filter

from core.bone.bone_levels import BoneLevels
from core.geometry import Array
from core.image.volume import Volume

_SLICE_STEP_MM = 1.0
_SECTORS = 12
_BESIDE = 9
"""Radii over which rings are told from what changes slowly: they are one to three pixels broad."""

_LEAST_RADIUS = 4
_LEAST_PIXELS = 6
_LEAST_RADII = 200
_SOFT_WITHIN = 0.4
_SHOWN = 0.75
"""Share of rings that is left when what is slow along the radius is taken off: 0.70 in scans with
uneven detector cells, 0.89 where each circle is drawn a voxel broad."""

_LAGS = range(4, 12)
"""Shifts of one half of the directions against the other at which no ring fits another."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Rings:
    """How strong rings are.

    Parameters
    ----------
    sd : float
        Root mean square of the rings in soft tissue, grey values of this scan.
    chance : float
        What would look so by chance, the same measure.
    """

    sd: float
    chance: float


def rings_of(volume: Volume, levels: BoneLevels) -> Rings:
    """Look for rings around the middle of the slices, and of the round field where one is known.

    A piece that was cut out of a scan off its middle shows none of its rings here.

    Parameters
    ----------
    volume : Volume
    levels : BoneLevels
    """
    found = [_around(volume, levels, middle) for middle in _middles(volume)]
    return max(found, key=lambda rings: rings.sd / max(rings.chance, 1e-9))


def _middles(volume: Volume) -> list[tuple[float, float]]:
    """(row, column) of the axis of rotation: the slices' middle, and that of the field."""
    rows, columns = volume.shape[1:]
    middles = [(0.5 * (rows - 1), 0.5 * (columns - 1))]
    if volume.field is not None and volume.field.any():
        jj, ii = np.nonzero(volume.field)
        field = (0.5 * float(jj.min() + jj.max()), 0.5 * float(ii.min() + ii.max()))
        if np.hypot(field[0] - middles[0][0], field[1] - middles[0][1]) > 0.4:
            middles.append(field)
    return middles


def _around(volume: Volume, levels: BoneLevels, middle: tuple[float, float]) -> Rings:
    contrast = levels.cortical - levels.soft
    every = max(1, round(_SLICE_STEP_MM / float(volume.voxel_mm[2])))
    jj, ii = np.indices(volume.shape[1:])
    y, x = jj - middle[0], ii - middle[1]
    radius = np.rint(np.hypot(y, x)).astype(np.intp)
    sector = ((np.arctan2(y, x) + np.pi) / (2.0 * np.pi) * _SECTORS).astype(np.intp) % 2
    count = int(radius.max()) + 1
    cell = (sector * count + radius).ravel()
    same: list[Array] = []
    apart: list[list[Array]] = [[] for _ in _LAGS]
    for k in range(0, volume.shape[0], every):
        grey = volume.voxels[k].astype(np.float64) * volume.slope + volume.intercept
        odd, even, there = _halves(grey, levels, contrast, cell, count)
        both = odd * even
        same.append(both[there])
        for lag, into in zip(_LAGS, apart, strict=True):
            shifted = there[:-lag] & there[lag:]
            into.append((odd[:-lag] * even[lag:])[shifted])
    products = np.concatenate(same)
    if len(products) < _LEAST_RADII:
        return Rings(sd=0.0, chance=np.inf)
    means = [float(np.mean(np.concatenate(into))) for into in apart]
    chance = float(np.sqrt(np.mean(np.square(means)))) + 1e-12
    sd = float(np.sqrt(max(products.mean(), 0.0)))
    return Rings(sd=sd / _SHOWN, chance=float(np.sqrt(chance)) / _SHOWN)


def _halves(
    grey: Array, levels: BoneLevels, contrast: float, cell: NDArray[np.intp], count: int
) -> tuple[Array, Array, NDArray[np.bool_]]:
    """(radii,) soft tissue by radius in both halves of the directions, without what is slow."""
    mean = uniform_filter(grey, 5)
    spread = np.sqrt(np.maximum(uniform_filter(grey**2, 5) - mean**2, 0.0))
    usual = 2.0 * levels.noise_sd + 0.08 * contrast
    soft = (np.abs(mean - levels.soft) < _SOFT_WITHIN * contrast) & (spread < usual)
    weight = soft.ravel().astype(np.float64)
    number = np.bincount(cell, weight, 2 * count).reshape(2, count)
    # Less its own neighbourhood: what is slow in the picture is no ring.
    total = np.bincount(cell, weight * (grey - mean).ravel(), 2 * count).reshape(2, count)
    level = total / np.maximum(number, 1.0)
    there = np.min(number, axis=0) >= _LEAST_PIXELS
    there &= np.arange(count) >= _LEAST_RADIUS
    level -= median_filter(level, size=(1, _BESIDE), mode="nearest")
    return level[0], level[1], np.asarray(there)
