"""Gum under air that is hardly thicker than the blur: a third step before the plate.

Between air and bone always lies gum. Where it is thin no level of its own shows in the profile,
so that two steps, from air to cortex and inwards, are fitted to three, and the edge is taken in
the middle of the gum. Such a profile is described poorly, and far better once the step from air
to soft tissue, whose levels both are known, is taken out of it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from core.bone.bone_levels import BoneLevels
from core.bone.edges import STEP_MM
from core.bone.plate_kernels import EDGE, MISFIT, OK
from core.bone.plate_profiles import LEAD_MM, Bundles, Fits, PlateKnowledge
from core.geometry import Array

_AIR, _ONE_LEVEL = 0.25, 0.15
"""Shares of the contrast: what lies this far below soft tissue has air in it; samples this near to
the lowest one are air."""

_POORLY, _BETTER = 1.5, 0.8
"""Gum is thought of where a profile is left unexplained by this much more than is usual; it is
there where that leaves less than this share of the misfit."""

_STEPS_MM = np.linspace(-0.2, 0.3, 11)
"""Where the gum may begin, from where the profile comes half-way up to soft tissue: the plate
behind it lifts that place a little outwards. Half as far apart they moved the edge of
the upper sample that had moved most by less than 0.001 mm."""

_THINNEST_MM = 0.4
"""Thinner gum cannot be told from none (common practice, no source)."""

_OF_CHANGE = 0.5
"""Share of what an edge moves by that stays in doubt, for as much of the misfit as is left."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ThroughGum:
    """Fits, of which some see a plate through gum.

    Parameters
    ----------
    fits : Fits
    sd_mm : (n,)
        What gum adds to the standard errors of edges; 0 where there is none.
    closely : (n,) bool
        False where gum explains a profile better, yet not as well as is usual: that tells where
        the bone begins, and not how thick its plate is.
    """

    fits: Fits
    sd_mm: Array
    closely: NDArray[np.bool_]


def through_gum(
    bundles: Bundles,
    fits: Fits,
    levels: BoneLevels,
    known: PlateKnowledge,
    *,
    contrast: float,
    usual: float,
) -> ThroughGum:
    """Fit poorly described profiles under air again, with gum before the plate.

    Parameters
    ----------
    bundles : Bundles
    fits : Fits
        Of the same bundles.
    levels : BoneLevels
    known : PlateKnowledge
    contrast : float
        Of cortex and soft tissue.
    usual : float
        Root mean square misfit that profiles of this scan have, in grey values.
    """
    values, sd = fits.values.copy(), np.zeros(len(fits.values))
    closely = np.ones(len(values), dtype=bool)
    before = bundles.mean[:, : round(LEAD_MM / STEP_MM)]
    with np.errstate(invalid="ignore"):
        airy = np.min(before, axis=1) < levels.soft - _AIR * contrast
        rows = np.flatnonzero(airy & (values[:, MISFIT] > _POORLY * usual))
    if not len(rows):
        return ThroughGum(fits=fits, sd_mm=sd, closely=closely)
    mean, before = bundles.mean[rows], before[rows]
    near_lowest = before < np.min(before, axis=1, keepdims=True) + _ONE_LEVEL * contrast
    air = np.nanmedian(np.where(near_lowest, before, np.nan), axis=1)
    half_up = 0.5 * (air + levels.soft)[:, None]
    after = np.maximum(np.argmax(mean > half_up, axis=1), 1)
    every = np.arange(len(rows))
    low, high = mean[every, after - 1], mean[every, after]
    begins = STEP_MM * (after - (high - half_up[:, 0]) / np.maximum(high - low, 1e-9))
    gum_at = begins[:, None] + _STEPS_MM
    away = STEP_MM * np.arange(mean.shape[1]) - gum_at[:, :, None]
    sigma = bundles.sigma_mm(known)[rows, None, None]
    step = (levels.soft - air)[:, None, None] * (1.0 - ndtr(away / sigma))
    without_air = (mean[:, None, :] + step).reshape(-1, mean.shape[1])
    each = np.repeat(rows, len(_STEPS_MM))
    again = bundles.with_profiles(each, without_air)
    tried = again.fitted(levels, known, expected=fits.expected(each)).values
    tried = tried.reshape(len(rows), len(_STEPS_MM), -1)
    with np.errstate(invalid="ignore"):
        there = (tried[:, :, OK] > 0) & (tried[:, :, EDGE] - gum_at >= _THINNEST_MM)
    misfit = np.where(there, tried[:, :, MISFIT], np.inf)
    best = np.argmin(misfit, axis=1)
    left = misfit[every, best] / values[rows, MISFIT]
    better = left < _BETTER
    moved = np.abs(tried[every, best, EDGE] - values[rows, EDGE])
    sd[rows[better]] = _OF_CHANGE * (left * moved)[better]
    values[rows[better]] = tried[every, best][better]
    closely[rows[better]] = (misfit[every, best] <= _POORLY * usual)[better]
    return ThroughGum(fits=replace(fits, values=values), sd_mm=sd, closely=closely)
