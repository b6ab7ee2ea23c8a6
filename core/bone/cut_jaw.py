"""Where bone of the jaw reaches the edge of what was scanned: there the jaw was cut off."""

from __future__ import annotations

from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from core.arch import Arch
from core.bone.bone_levels import BoneLevels
from core.geometry import Array
from core.image.volume import Volume
from core.plans.plan import Jaw

Flags: TypeAlias = NDArray[np.bool_]

_STEP_MM = 1.0
_BEYOND_ENDS_MM, _BESIDE_MM = 25.0, 12.0
_DEPTH_MM: dict[Jaw, float] = {"lower": 45.0, "upper": 25.0}
"""What belongs to the jaw, from the jaw plane on; higher up the face is no jaw any more."""

_INWARD = 3
"""Bone at the edge and twice behind it, so that grain alone never makes a cut."""

_LEAST_MM2 = 10.0
"""Less than the rim of one cut through a plate: nothing to tell of."""

_BONE_SHARE = 0.5


def cut_bone_mm(volume: Volume, arch: Arch, jaw: Jaw, levels: BoneLevels) -> Array:
    """Places where the jaw's bone runs out of what was scanned.

    Parameters
    ----------
    volume : Volume
    arch : Arch
        Followed 25 mm beyond its ends, straight on.
    jaw : {'lower', 'upper'}
    levels : BoneLevels
        Bone is what is nearer to cortex than to soft tissue.

    Returns
    -------
    (n, 3) patient LPS mm
        One place a square millimetre of cut bone, on a grid along the arch; none where less than
        10 mm² is cut, or where the levels cannot be used.
    """
    if levels.trouble is not None or levels.cortical == levels.soft:
        return np.empty((0, 3))
    stations = np.arange(-_BEYOND_ENDS_MM, arch.length_mm + _BEYOND_ENDS_MM, _STEP_MM)
    beside = np.arange(-_BESIDE_MM, _BESIDE_MM + 0.1, _STEP_MM)
    down = arch.level.up * (-1.0 if jaw == "lower" else 1.0)
    depths = np.arange(0.0, _DEPTH_MM[jaw] + 0.1, _STEP_MM)
    origin, _, buccal = arch.directions(stations)
    places = (
        origin[:, None, None]
        + beside[:, None, None] * buccal[:, None, None]
        + depths[:, None] * down
    )
    grey = volume.grey_at(places.reshape(-1, 3)).reshape(places.shape[:3])
    share = (grey - levels.soft) / (levels.cortical - levels.soft)
    bone, scanned = share >= _BONE_SHARE, np.isfinite(grey)
    cut = np.zeros_like(bone)
    for axis in range(3):
        for way in (-1, 1):
            cut |= _ends(bone, scanned, axis, way)
    found = places[cut]
    return found if len(found) * _STEP_MM**2 >= _LEAST_MM2 else np.empty((0, 3))


def _ends(bone: Flags, scanned: Flags, axis: int, way: int) -> Flags:
    """Bone whose next place in one direction was not scanned, with bone behind it."""
    bone, scanned = (np.moveaxis(each, axis, 0)[::way] for each in (bone, scanned))
    found = np.zeros_like(bone)
    last = len(bone) - 1
    found[_INWARD - 1 : last] = ~scanned[_INWARD:]
    for behind in range(_INWARD):
        found[_INWARD - 1 : last] &= bone[_INWARD - 1 - behind : last - behind]
    return np.moveaxis(found[::way], 0, axis)
