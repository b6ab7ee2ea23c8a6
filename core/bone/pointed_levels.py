"""Tissue levels from places that a person pointed at, for a scan that does not show its own.

Each tissue's level is a robust mean around its places. Pointing does not lift the proof: levels
that were pointed at pass the same test as those that a scan shows (`core.bone.level_proof`), and
must not speak against what the scan's own plates show.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from core.arch import Arch
from core.bone.bone_levels import BoneLevels
from core.bone.cortex_level import CortexLevel, Places, cortex_level, first_places
from core.bone.level_proof import unproven
from core.bone.tissue_classes import Profiles, TissueClasses
from core.geometry import Array
from core.image.volume import Volume
from core.measurement import Note
from core.plans.plan import TISSUES, Tissue, TissuePoint

_RADIUS_MM: dict[Tissue, float] = {"soft tissue": 1.0, "cortex": 0.4, "marrow": 0.8}
"""A plate is thin, marrow is crossed by trabeculae, soft tissue is wide."""

_STEP_MM = 0.2
_ASIDE_MM = 0.6
"""A hand that means the middle of a plate lies beside it by up to this."""

_UNEVEN = 0.35
"""Spread around a place, as a share of the contrast, beyond which it lies on a border."""

_LEAST_SD = 0.04
"""Of a level that was pointed at, as a share of the contrast: cortex differs by 5 to 8 % between
the two sides of reconstructed scans."""

_LEAST_FALL = 0.1
_AIR_GAP = 0.3
_OFF_COUNTS, _MOST_OFF = 0.3, 0.3
_BRIGHTER = 0.15
"""Usual first summits of bone above what was pointed at as cortex, as a share of the contrast."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Patch:
    """Level around the places of one tissue, and how far the values there spread."""

    level: float
    sd: float


def pointed_levels(
    volume: Volume,
    arch: Arch,
    profiles: Profiles,
    seen: TissueClasses,
    points: Sequence[TissuePoint],
) -> BoneLevels | Note:
    """Levels from pointing, or why they are not taken.

    Parameters
    ----------
    volume : Volume
    arch : Arch
    profiles : Profiles
        Across the arch.
    seen : TissueClasses
        What the scan shows of itself: air and noise are taken from it.
    points : sequence of TissuePoint
        At least one of each tissue.
    """
    patches: dict[Tissue, _Patch] = {}
    for tissue in TISSUES:
        places = np.array([p.at for p in points if p.tissue == tissue])
        patch = None if not len(places) else _patch(volume, places, tissue)
        if patch is None:
            return Note("tissue_point_unusable", {"tissue": tissue})
        patches[tissue] = patch
    soft, cortex, marrow = (patches[tissue] for tissue in TISSUES)
    contrast = cortex.level - soft.level
    noise = seen.noise_sd
    if not contrast > 3.0 * noise or not marrow.level < cortex.level - _LEAST_FALL * contrast:
        return Note("tissue_points_alike")
    for tissue, patch in patches.items():
        if patch.sd > _UNEVEN * contrast + noise:
            return Note("tissue_point_uneven", {"tissue": tissue})
    classes = replace(
        seen,
        air=_air(seen, soft.level, contrast),
        soft=soft.level,
        soft_sd=soft.sd,
        bright=cortex.level,
    )
    first = first_places(profiles, classes)
    standing = Profiles.upright_closely(volume, arch)
    fitted = cortex_level(volume, profiles, standing, classes, first)
    if fitted is None:
        return Note("levels_no_bone")
    refusal = _against_the_scan(fitted, first, cortex, contrast, noise)
    if refusal is not None:
        return refusal
    off = abs(fitted.level - cortex.level)
    sd = float(np.hypot.reduce([cortex.sd, _LEAST_SD * contrast, _OFF_COUNTS * off]))
    pointed = replace(fitted, level=cortex.level, sd=sd, halves=(cortex.level, cortex.level))
    failed = unproven(profiles, classes, first, pointed)
    if failed is not None:
        return failed
    return BoneLevels(
        soft=soft.level,
        spongy=marrow.level,
        cortical=cortex.level,
        cortical_sd=sd,
        noise_sd=noise,
        voxel_mm=float(volume.voxel_mm.max()),
        blur=fitted.blur,
        pointed_sd=float(np.hypot(sd, soft.sd)),
    )


def _against_the_scan(
    fitted: CortexLevel, places: Places, cortex: _Patch, contrast: float, noise: float
) -> Note | None:
    """What the scan's plates say against the level that was pointed at; None where nothing does."""
    off = abs(fitted.level - cortex.level)
    if off > max(_MOST_OFF * contrast, 2.5 * float(np.hypot(fitted.sd, cortex.sd))):
        return Note("tissue_points_against_scan")
    # Too dark a cortex puts every edge too far out, and bone looks thicker than it is.
    if float(np.median(places.summit)) - noise > cortex.level + _BRIGHTER * contrast:
        return Note("tissue_points_against_scan")
    return None


def _air(seen: TissueClasses, soft: float, contrast: float) -> float | None:
    """The darkest class that the scan shows, where it lies well below soft tissue."""
    darkest = seen.soft if seen.air is None else seen.air
    return darkest if soft - darkest > _AIR_GAP * contrast else None


def _patch(volume: Volume, places: Array, tissue: Tissue) -> _Patch | None:
    """Robust mean around places of one tissue; None where one lies outside the scan.

    Several places: the mean of their levels, with what they differ by.
    """
    radius = _RADIUS_MM[tissue]
    levels, spreads = [], []
    for place in places:
        middle = _brightest(volume, place, radius) if tissue == "cortex" else place
        grey = volume.grey_at(middle + _ball(radius)).astype(np.float64)
        if not np.isfinite(grey).all():
            return None
        level = float(np.median(grey))
        spread = 1.4826 * float(np.median(np.abs(grey - level)))
        kept = grey[np.abs(grey - level) <= 3.0 * spread + 1e-9]
        levels.append(float(kept.mean()))
        spreads.append(spread)
    apart = float(np.std(levels, ddof=1)) if len(levels) > 1 else 0.0
    return _Patch(level=float(np.mean(levels)), sd=float(np.hypot(np.mean(spreads), apart)))


def _brightest(volume: Volume, place: Array, radius_mm: float) -> Array:
    """The place near a click whose surroundings are brightest: the middle of the plate."""
    centres = place + _ball(_ASIDE_MM)
    around = volume.grey_at((centres[:, None] + _ball(radius_mm)).reshape(-1, 3))
    mean = around.reshape(len(centres), -1).mean(axis=1)
    return np.asarray(centres[int(np.argmax(np.where(np.isfinite(mean), mean, -np.inf)))])


def _ball(radius_mm: float) -> Array:
    """(n, 3) offsets of a lattice within a radius."""
    steps = np.arange(-radius_mm, radius_mm + 1e-9, _STEP_MM)
    grid = np.stack(np.meshgrid(steps, steps, steps), axis=-1).reshape(-1, 3)
    return np.asarray(grid[np.linalg.norm(grid, axis=1) <= radius_mm + 1e-9])
