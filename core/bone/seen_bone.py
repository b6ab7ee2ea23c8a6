"""Where bone of some kind is seen along rays."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d

from core.bone.bone_levels import BoneLevels
from core.bone.edges import STEP_MM
from core.geometry import Array
from core.image import sampling
from core.image.volume import Volume

_SHORT_GAP_MM = 1.0
"""A darker stretch shorter than this is marrow, not a gap."""

_TOLD_APART = 0.15
"""Spongy bone must stand this share of the contrast above soft tissue to be told from it."""


def bone_along(
    grey: Array, levels: BoneLevels, *, down: int, around: int, share: float
) -> NDArray[np.bool_]:
    """Bone along rays from the fixture outwards; short darker stretches are marrow.

    The mean over neighbouring rays, so that the pattern of spongy bone is not taken for gaps.

    Parameters
    ----------
    grey : (rows, directions, samples)
        Directions go all the way round.
    down, around : int
        Odd numbers of rows and directions in a mean.
    share : float
        Of the way from soft tissue to spongy bone, above which it is bone.

    Returns
    -------
    (rows * directions, samples) bool
    """
    contrast = levels.cortical - levels.soft
    spongy = levels.spongy if _told_apart(levels) else levels.cortical
    threshold = min(levels.soft + share * (spongy - levels.soft), levels.soft + 0.3 * contrast)
    filled = np.nan_to_num(grey, nan=levels.soft)
    smooth = uniform_filter1d(filled, down, axis=0, mode="nearest")
    smooth = uniform_filter1d(smooth, around, axis=1, mode="wrap")
    smooth = uniform_filter1d(smooth, 5, axis=2, mode="nearest").reshape(-1, grey.shape[2])
    bright = smooth >= threshold
    run = round(_SHORT_GAP_MM / STEP_MM)
    out = bright.copy()
    for index in range(1, run + 1):
        # Bright before and after, at most `run` samples apart.
        for back in range(1, run + 2 - index):
            joined = np.zeros_like(bright)
            joined[:, back : bright.shape[1] - index] = (
                bright[:, : bright.shape[1] - index - back] & bright[:, index + back :]
            )
            out |= joined
    return out


def _told_apart(levels: BoneLevels) -> bool:
    return levels.spongy > levels.soft + _TOLD_APART * (levels.cortical - levels.soft)


def seen_bone(
    volume: Volume, levels: BoneLevels, starts: Array, ways: Array, reach_mm: float
) -> bool | None:
    """True where bone is seen along every ray up to a reach, None where not all was scanned.

    Never where spongy bone is not told from soft tissue: then nothing says what lies there.

    Parameters
    ----------
    starts, ways : (rows, directions, 3) patient LPS mm, unit
    """
    count = round(reach_mm / STEP_MM) + 1
    flat = np.broadcast_to(starts, ways.shape).reshape(-1, 3)
    raw = sampling.profiles(volume, flat, ways.reshape(-1, 3), STEP_MM, count)
    grey = raw.reshape(*ways.shape[:2], count).astype(np.float64)
    if not np.isfinite(grey).all():
        return None
    if not _told_apart(levels):
        return False
    return bool(bone_along(grey, levels, down=3, around=3, share=0.5).all())


def first_long_run(flags: NDArray[np.bool_], length: int) -> NDArray[np.intp]:
    """Where the first run of True of at least `length` begins in each row; −1 without one."""
    total = np.cumsum(np.pad(flags.astype(np.intp), ((0, 0), (1, 0))), axis=1)
    if flags.shape[1] < length or not len(flags):
        return np.full(len(flags), -1, dtype=np.intp)
    full = (total[:, length:] - total[:, :-length]) == length
    return np.where(full.any(axis=1), np.argmax(full, axis=1), -1)
