"""Whether learnt levels are those of this scan's tissues: they must agree with themselves.

Levels that fail are kept, so that pictures can still be drawn, but no edge found by them is a
measurement.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from core.bone.cortex_level import MOST_DOUBT, CortexLevel, Places
from core.bone.tissue_classes import STEP_MM, Profiles, TissueClasses
from core.measurement import Note

_LEAST_NOISES = 3.0
_SIDES_APART = 0.3
_BESIDE_MM = (1.0, 1.8)
_MOST_OFF = 0.25
_LEAST_BESIDE = 40
_LEAST_SOFT = 0.3
"""Of what lies beside the bone at least this share is soft tissue, or air is not what was taken for
air: then marrow was taken for soft tissue, and soft tissue for air."""
_LEAST_TO_AIR, _MOST_TO_AIR = 0.6, 4.5
"""Rise from soft tissue to cortex, over the rise from air to soft tissue. By attenuation (NIST
tables, from memory) cortical bone lies 1 to 2 times as far above water as water above air; wide of
that something else was taken for one of them, or the scale was cut."""

_ABOVE_CORTEX, _AT_TOP, _MOST_AT_TOP = 0.15, 0.002, 0.1

_RIDGE_MM = (1.5, 22.0)


def unproven(
    profiles: Profiles, classes: TissueClasses, places: Places, cortex: CortexLevel
) -> Note | None:
    """Why these levels are not proven; None where nothing speaks against them.

    Soft tissue apart from air and from bone; the same soft tissue beside the bone as further out;
    buccal and lingual places, each half of all, agreeing on cortex; a ridge of a possible width.

    Parameters
    ----------
    profiles : Profiles
    classes : TissueClasses
    places : Places
    cortex : CortexLevel
    """
    contrast = cortex.level - classes.soft
    if _cut_at_the_top(profiles, classes, places, cortex.level):
        return Note("levels_cut")
    to_air = None if classes.air is None else classes.soft - classes.air
    if not contrast > _LEAST_NOISES * classes.noise_sd or (
        to_air is not None and not to_air > _LEAST_NOISES * classes.noise_sd
    ):
        return Note("levels_soft_unclear")
    if to_air is not None and not _LEAST_TO_AIR < contrast / to_air < _MOST_TO_AIR:
        return Note("levels_soft_unclear")
    if not _soft_beside_bone(profiles, classes, places, contrast):
        return Note("levels_soft_unclear")
    apart = abs(cortex.halves[0] - cortex.halves[1])
    if cortex.sd > MOST_DOUBT * contrast or apart > max(_SIDES_APART * contrast, 2.5 * cortex.sd):
        return Note("levels_cortex_unclear")
    if not _ridge_possible(places, len(profiles.grey)):
        return Note("levels_ridge_unlikely")
    return None


def _cut_at_the_top(
    profiles: Profiles, classes: TissueClasses, places: Places, cortex_level: float
) -> bool:
    """Many plates end at the brightest value of all: the scale was cut under their level.

    Then each edge's half way lies too low, and the edge too far out. Metal and enamel that are
    cut do no harm: few plates are as bright.
    """
    top = float(np.nanmax(profiles.grey))
    if top > cortex_level + _ABOVE_CORTEX * (cortex_level - classes.soft):
        return False
    at_top = places.summit > top - _AT_TOP * (top - classes.soft)
    return bool(at_top.mean() > _MOST_AT_TOP)


def _soft_beside_bone(
    profiles: Profiles, classes: TissueClasses, places: Places, contrast: float
) -> bool:
    """What lies just outside the bone is air, or the soft tissue that was learnt."""
    back = np.arange(*(round(mm / STEP_MM) for mm in _BESIDE_MM))
    way = np.where(places.buccal, -1, 1)[:, None]
    at = places.samples.astype(np.intp)[:, None] + way * back
    inside = (at >= 0) & (at < profiles.smooth.shape[1])
    grey = profiles.smooth[places.rows[:, None], np.clip(at, 0, profiles.smooth.shape[1] - 1)]
    keep: NDArray[np.bool_] = inside & np.isfinite(grey)
    if classes.air is not None:
        is_soft = grey[keep] > 0.5 * (classes.air + classes.soft)
        if len(is_soft) >= _LEAST_BESIDE and is_soft.mean() < _LEAST_SOFT:
            return False
        keep &= grey > 0.5 * (classes.air + classes.soft)
    for side in (True, False):
        beside = grey[keep & (places.buccal == side)[:, None]]
        if len(beside) >= _LEAST_BESIDE:
            off = abs(float(np.median(beside)) - classes.soft)
            if off > _MOST_OFF * contrast + classes.noise_sd:
                return False
    return True


def _ridge_possible(places: Places, profiles: int) -> bool:
    """The usual breadth between the first edges from both sides is one that a jaw can have."""
    first, last = np.full(profiles, np.nan), np.full(profiles, np.nan)
    first[places.rows[places.buccal]] = places.samples[places.buccal]
    last[places.rows[~places.buccal]] = places.samples[~places.buccal]
    breadth = STEP_MM * (last - first)
    breadth = breadth[np.isfinite(breadth)]
    if not len(breadth):
        return True
    return bool(_RIDGE_MM[0] < float(np.median(breadth)) < _RIDGE_MM[1])
