"""Learns the grey levels of a scan near a traced arch; see `core.bone.bone_levels`."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from core.arch import Arch
from core.bone.bone_levels import BoneLevels
from core.bone.cortex_level import Places, cortex_level, first_places
from core.bone.learnt_once import LearntOnce, arch_key, points_key, scan_key
from core.bone.level_proof import unproven
from core.bone.pointed_levels import pointed_levels
from core.bone.tissue_classes import STEP_MM, Profiles, TissueClasses, tissue_classes
from core.image.volume import Volume
from core.measurement import Note
from core.plans.plan import TISSUES, TissuePoint

_LEAST_PROFILES = 30
_SMALLEST_CONTRAST_TO_NOISE = 3.0
_MARGINS_MM = (3.0, 2.0, 1.4)
"""How far inside both outer edges spongy bone is looked for: as far as the ridge allows."""

_KNOWN: LearntOnce[BoneLevels] = LearntOnce()


def bone_levels(volume: Volume, arch: Arch, points: Sequence[TissuePoint] = ()) -> BoneLevels:
    """Estimate the scan's levels near an arch.

    Parameters
    ----------
    volume : Volume
    arch : Arch
    points : sequence of TissuePoint
        Where a person sees the tissues: they count only where the scan's own levels are not
        proven, and only if they pass the same test.

    Returns
    -------
    BoneLevels
        With `trouble` set where no bone can be told from its surroundings, and `unproven` where
        the levels do not agree with themselves. Learnt once for a scan and an arch.
    """
    key = (scan_key(volume), arch_key(arch), points_key(points))
    return _KNOWN.get(key, lambda: _learnt(volume, arch, points))


def _learnt(volume: Volume, arch: Arch, points: Sequence[TissuePoint]) -> BoneLevels:
    profiles = Profiles.across(volume, arch)
    upright = Profiles.upright(volume, arch)
    enough = len(profiles.grey) >= _LEAST_PROFILES
    classes = tissue_classes(profiles, upright) if enough else None
    own = _own_levels(volume, arch, profiles, classes)
    if not points:
        return own
    if own.evidence.is_sound:
        return replace(own, pointing=Note("tissue_points_not_needed"))
    if len({point.tissue for point in points}) < len(TISSUES):
        return replace(own, pointing=Note("tissue_points_incomplete"))
    if classes is None:
        return replace(own, pointing=Note("tissue_points_refused", {"why": _why(own)}))
    pointed = pointed_levels(volume, arch, profiles, classes, points)
    if isinstance(pointed, Note):
        return replace(own, pointing=Note("tissue_points_refused", {"why": pointed}))
    return pointed


def _own_levels(
    volume: Volume, arch: Arch, profiles: Profiles, classes: TissueClasses | None
) -> BoneLevels:
    """What the scan shows of its levels itself."""
    voxel_mm = float(volume.voxel_mm.max())
    if classes is None:
        return _useless(voxel_mm, "levels_not_scanned")
    places = first_places(profiles, classes)
    standing = Profiles.upright_closely(volume, arch)
    cortex = cortex_level(volume, profiles, standing, classes, places)
    if cortex is None:
        return _useless(voxel_mm, "levels_no_bone")
    contrast = cortex.level - classes.soft
    trouble = None
    if not contrast > _SMALLEST_CONTRAST_TO_NOISE * classes.noise_sd:
        trouble = Note("levels_no_bone")
    return BoneLevels(
        soft=classes.soft,
        spongy=_well_inside(profiles, places, classes, cortex.level),
        cortical=cortex.level,
        cortical_sd=cortex.sd,
        noise_sd=classes.noise_sd,
        voxel_mm=voxel_mm,
        trouble=trouble,
        unproven=unproven(profiles, classes, places, cortex),
        blur=cortex.blur,
        together=not cortex.apart,
    )


def _why(levels: BoneLevels) -> Note | str:
    note = levels.evidence.levels
    return "" if note is None else note


def _useless(voxel_mm: float, code: str) -> BoneLevels:
    return BoneLevels(
        soft=0.0,
        spongy=0.0,
        cortical=0.0,
        cortical_sd=0.0,
        noise_sd=0.0,
        voxel_mm=voxel_mm,
        trouble=Note(code),
    )


def _well_inside(
    profiles: Profiles, places: Places, classes: TissueClasses, fallback: float
) -> float:
    """Median level between the outer edges that a profile shows from both sides.

    Without air: a sinus or the nose lies between the plates of an upper jaw.
    """
    air = -np.inf if classes.air is None else 0.5 * (classes.air + classes.soft)
    count = len(profiles.smooth)
    first, last = np.full(count, np.nan), np.full(count, np.nan)
    first[places.rows[places.buccal]] = places.samples[places.buccal]
    last[places.rows[~places.buccal]] = places.samples[~places.buccal]
    column = np.arange(profiles.smooth.shape[1])
    for margin in _MARGINS_MM:
        with np.errstate(invalid="ignore"):
            inside = (column > first[:, None] + margin / STEP_MM) & (
                column < last[:, None] - margin / STEP_MM
            )
        values = profiles.smooth[inside & np.isfinite(profiles.smooth)]
        values = values[values > air]
        if len(values) >= _LEAST_PROFILES:
            return float(np.median(values))
    return fallback
