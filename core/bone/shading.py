"""Shading: the same soft tissue brighter at one place of the scan than at another.

A small field, whose rays also cross what lies outside it, and scatter shade a scan smoothly
(Barrett and Keat 2004, RadioGraphics 24:1679-1691). Where soft tissue comes to be as bright as
spongy bone, a ray from outside takes its border to air for the bone's.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from core.bone.tissue_classes import STEP_MM, Profiles, TissueClasses
from core.geometry import Array
from core.image.volume import Volume

_WINDOW = 7
_EVEN = 2.0
"""Spread of an even window, over the usual one of soft tissue."""

_STRONG = 0.5
_MARGIN_MM = 1.2
_BRIGHTEST = 0.5
_LENGTH_MM = 12.0
_NEAR = 0.06
_LEAST_PLACES = 1500


def shaded_share(
    volume: Volume, profiles: Profiles, classes: TissueClasses, cortical: float
) -> float:
    """By how much soft tissue changes smoothly over the scan, as a share of the rise to cortex.

    A polynomial through the even places that lie outside the first strong bone of each profile,
    from both sides, fitted so that single parts of another tissue have little weight; the range
    from its 5th to its 95th percentile. 0 where there are too few places.

    Parameters
    ----------
    volume : Volume
        Its axes: a scan is shaded around the axis of rotation, and along it.
    profiles : Profiles
        Across the arch.
    classes : TissueClasses
    cortical : float
        Level of cortex.
    """
    contrast = cortical - classes.soft
    level, spread = _windows(profiles.grey)
    air = classes.soft - 0.4 * contrast
    if classes.air is not None:
        air = 0.5 * (classes.air + classes.soft)
    with np.errstate(invalid="ignore"):
        soft = np.abs(level - classes.soft) < max(3.0 * classes.soft_sd, classes.noise_sd)
        if not soft.any():
            return 0.0
        even = spread < _EVEN * float(np.median(spread[soft])) + 1e-9
        even &= (level > air) & (level < classes.soft + _BRIGHTEST * contrast)
    even &= _before_bone(profiles.smooth, classes.soft + _STRONG * contrast)
    rows, samples = np.nonzero(even)
    if len(rows) < _LEAST_PLACES:
        return 0.0
    off = (level[rows, samples] - classes.soft) / contrast
    terms = _terms(volume, profiles.at(rows, samples.astype(np.float64)))
    weight = np.ones(len(off))
    for _ in range(4):
        gains, *_ = np.linalg.lstsq(terms * weight[:, None], off * weight, rcond=None)
        fitted = terms @ gains
        weight = 1.0 / (1.0 + ((off - fitted) / _NEAR) ** 2)
    low, high = np.percentile(fitted, [5.0, 95.0])
    return float(high - low)


def _windows(grey: Array) -> tuple[Array, Array]:
    """Mean and spread of the window around each sample; NaN where not all of it was scanned."""
    half = _WINDOW // 2
    padded = np.pad(grey, ((0, 0), (half, half)), constant_values=np.nan)
    around = np.lib.stride_tricks.sliding_window_view(padded, _WINDOW, axis=1)
    return around.mean(axis=2), around.std(axis=2, ddof=1)


def _before_bone(smooth: Array, level: float) -> NDArray[np.bool_]:
    """Samples outside the first that is brighter than a level, from either end; with a margin."""
    with np.errstate(invalid="ignore"):
        strong = smooth > level
    margin = round(_MARGIN_MM / STEP_MM)
    out = np.zeros_like(strong)
    for way in (slice(None), slice(None, None, -1)):
        met = np.logical_or.accumulate(strong[:, way], axis=1)
        near = np.ones_like(met)
        near[:, :-margin] = met[:, margin:]
        out[:, way] |= ~near & met[:, -1:]
    return out


def _terms(volume: Volume, points_mm: Array) -> Array:
    """(n, 13) terms of a polynomial in the slices' axes."""
    axes = volume.mm_from_ijk[:3, :3] / np.linalg.norm(volume.mm_from_ijk[:3, :3], axis=0)
    x, y, z = ((points_mm - points_mm.mean(axis=0)) @ axes / _LENGTH_MM).T
    square = x * x + y * y
    return np.stack(
        [
            np.ones(len(x)), x, y, z, x * x, y * y, z * z, x * y, x * z, y * z,
            x * square, y * square, square * square,
        ],
        axis=1,
    )  # fmt: skip
