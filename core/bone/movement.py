"""Movement during the scan, by edges that are broader one way than across it.

A jaw that moved by d between two halves of a scan shows each edge twice, d apart along the way it
moved: there the blur's variance grows by d²/4, and across it not at all.
"""

from __future__ import annotations

import numpy as np

from core.arch import Arch
from core.bone.bone_levels import BoneLevels
from core.bone.cortex_level import FixedLevel, first_places
from core.bone.plate_kernels import MISFIT, OK, SIGMA
from core.bone.plate_profiles import fit_at, voxel_variance_mm2
from core.bone.tissue_classes import Profiles, tissue_classes
from core.image.volume import Volume

_LEAST_PLACES = 60
_LEAST_COSINE = 0.85
_MOST_THROUGH = 0.3
"""Largest part through the slices of a normal that still tells of the slices' plane."""


def doubled_mm(volume: Volume, arch: Arch, levels: BoneLevels) -> tuple[float, float]:
    """How far edges stand double in the slices' plane, and what would look so by chance.

    Parameters
    ----------
    volume : Volume
    arch : Arch
    levels : BoneLevels

    Returns
    -------
    size, chance : float
        mm; the square of their ratio is that of what was found to its standard error. (0,
        infinite) where too few edges face all ways.
    """
    profiles = Profiles.across(volume, arch)
    classes = tissue_classes(profiles, Profiles.upright(volume, arch))
    if classes is None or levels.trouble is not None:
        return 0.0, np.inf
    places = first_places(profiles, classes)
    contrast = levels.cortical - levels.soft
    known = FixedLevel(blur=levels.blur, level=levels.cortical, level_sd=0.1 * contrast)
    fits = fit_at(
        volume, places.points_mm, places.ways, levels, known, depth_mm=3.0, free_blur=True
    )
    v, n = fits.values, fits.outward
    axes = volume.mm_from_ijk[:3, :3] / np.linalg.norm(volume.mm_from_ijk[:3, :3], axis=0)
    with np.errstate(invalid="ignore"):
        good = (v[:, OK] > 0) & (fits.cosine > _LEAST_COSINE)
        good &= v[:, MISFIT] < 0.06 * contrast + 0.5 * levels.noise_sd
        good &= np.abs(n @ axes[:, 2]) < _MOST_THROUGH
    if good.sum() < _LEAST_PLACES:
        return 0.0, np.inf
    variance = (v[good, SIGMA] * fits.cosine[good]) ** 2 - voxel_variance_mm2(volume, n[good])
    x, y = n[good] @ axes[:, 0], n[good] @ axes[:, 1]
    terms = np.stack([np.ones(len(x)), x**2 - y**2, 2.0 * x * y], axis=1)
    weight = np.ones(len(x))
    for _ in range(6):
        root = np.sqrt(weight)[:, None]
        gains, *_ = np.linalg.lstsq(terms * root, variance * root[:, 0], rcond=None)
        left = variance - terms @ gains
        scatter = max(1.4826 * float(np.median(np.abs(left))), 1e-6)
        weight = np.maximum(1.0 - (left / (4.0 * scatter)) ** 2, 1e-6) ** 2
    # Neighbouring profiles share their voxels: about one in ten counts.
    inverse = np.linalg.inv((terms * weight[:, None]).T @ terms)
    sd = scatter * float(np.sqrt(10.0 * max(inverse[1, 1], inverse[2, 2])))
    grown = 2.0 * float(np.hypot(gains[1], gains[2]))
    return 2.0 * float(np.sqrt(grown)), 2.0 * float(np.sqrt(2.0 * sd))
