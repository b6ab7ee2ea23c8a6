"""Streaks of metal in the slices of a place: metal there, and soft tissue that is no longer even.

A bright thing alone is no fault: enamel and a stent's filling are as bright. Metal is told by what
it does to soft tissue in its own slices, against slices of the same scan without it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import uniform_filter

from core.bone.bone_levels import BoneLevels
from core.geometry import Array
from core.image.volume import Volume

_SLICE_STEP_MM, _PIXEL_MM = 1.0, 0.6
_BRIGHT = 1.6
"""Metal lies above soft tissue by more than this share of what cortex does; so does enamel."""

_LEAST_BRIGHT_MM2 = 3.0
_SOFT_WITHIN = 0.45
_LEAST_PIXELS = 150
_USUAL, _UNEVEN = 0.06, 1.5
"""Spread of the levels of soft tissue in a usual slice, as a share of the contrast, and how much
more of it is no more by chance."""

NEAR_MM, REACH_MM = 6.0, 15.0
FAR_SD_MM = 0.15


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Streaks:
    """By slice: how uneven soft tissue is, and where bright things stand.

    Parameters
    ----------
    slices : (m,)
        Indices of the slices that were looked at.
    spread : (m,)
        Of the levels of soft tissue, as a share of the contrast; NaN where little lies there.
    bright_ijk : (n, 3)
        Places of bright pixels.
    usual : float
        Spread in slices without bright things.
    """

    slices: Array
    spread: Array
    bright_ijk: Array
    usual: float

    @classmethod
    def of(cls, volume: Volume, levels: BoneLevels) -> Streaks:
        """Look at a slice each millimetre."""
        contrast = levels.cortical - levels.soft
        through, across = float(volume.voxel_mm[2]), float(volume.voxel_mm[:2].mean())
        every, pixel = max(1, round(_SLICE_STEP_MM / through)), max(1, round(_PIXEL_MM / across))
        slices = np.arange(0, volume.shape[0], every)
        area = (pixel * across) ** 2
        spread, bright, with_bright = [], [], []
        for k in slices:
            plane = volume.voxels[k, ::pixel, ::pixel].astype(np.float64)
            grey = plane * volume.slope + volume.intercept
            jj, ii = np.nonzero(grey > levels.soft + _BRIGHT * contrast)
            there = len(jj) * area > _LEAST_BRIGHT_MM2
            with_bright.append(there)
            if there:
                bright.append(
                    np.stack([ii * pixel, jj * pixel, np.full(len(ii), k)], axis=1).astype(float)
                )
            spread.append(_spread(grey, levels, contrast))
        clean = np.array(spread)[~np.array(with_bright, dtype=bool)]
        usual = float(np.nanmedian(clean)) if np.isfinite(clean).any() else _USUAL
        return cls(
            slices=slices.astype(np.float64),
            spread=np.array(spread),
            bright_ijk=np.concatenate(bright) if bright else np.empty((0, 3)),
            usual=max(usual, _USUAL),
        )

    def nearest_mm(self, volume: Volume, points_mm: Array) -> float:
        """Distance in its slices from a place to metal that makes streaks there; infinite if none.

        Parameters
        ----------
        points_mm : (n, 3) patient LPS mm
            Along the place: a fixture's axis, a ridge from the crest down.
        """
        ijk = volume.ijk(points_mm)
        low, high = ijk[:, 2].min() - 1.0, ijk[:, 2].max() + 1.0
        here = (self.slices >= low) & (self.slices <= high)
        uneven = here & (self.spread > _UNEVEN * self.usual)
        if not uneven.any():
            return float("inf")
        metal = self.bright_ijk[np.isin(self.bright_ijk[:, 2], self.slices[uneven])]
        if not len(metal):
            return float("inf")
        middle = ijk.mean(axis=0)
        off = (metal[:, :2] - middle[:2]) * volume.voxel_mm[:2]
        return float(np.hypot(off[:, 0], off[:, 1]).min())


def _spread(grey: Array, levels: BoneLevels, contrast: float) -> float:
    """Spread of the means over small patches of soft tissue."""
    mean = uniform_filter(grey, 3)
    soft = np.abs(mean - levels.soft) < _SOFT_WITHIN * contrast
    square = uniform_filter(grey**2, 3)
    even = np.sqrt(np.maximum(square - mean**2, 0.0)) < 2.0 * levels.noise_sd + 0.05 * contrast
    values = mean[soft & even]
    if len(values) < _LEAST_PIXELS:
        return float("nan")
    return 1.4826 * float(np.median(np.abs(values - np.median(values)))) / contrast
