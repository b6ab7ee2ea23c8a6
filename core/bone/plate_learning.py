"""Learns the blur of a scan and the levels of its plates from places beside the arch."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from core.arch import Arch
from core.bone.bone_levels import BoneLevels
from core.bone.bone_paths import BonePaths
from core.bone.cortex_level import APART, FWHM, LEAST_OF_BLUR, before_marrow, speak_against
from core.bone.half_maximum import HalfMaximum
from core.bone.level_trend import fitted_trend, usual_trend
from core.bone.plate_kernels import LEVEL, MISFIT, OK, SD_WIDTH, SIGMA, SINGLE, WIDTH
from core.bone.plate_levels import SAME_PLATE, PlateLevels
from core.bone.plate_profiles import Bundles, Fits, voxel_variance_mm2
from core.bone.thin_gum import through_gum
from core.bone.tissue_classes import TissueClasses
from core.geometry import Array, unit
from core.image.volume import Volume
from core.plans.plan import Jaw

_LEAST_PROFILES = 15
_LEAST_STEEP = 8
_LEAST_RUN = 0.1
"""Of the share along the slices' normal: groups closer together give no line."""
_AROUND_MM, _DARKER, _WORST = 6.0, 0.05, 2.5
_IN_SLICE, _THROUGH = 0.2, 0.6
"""Squares of the normal's part through the slices: below, a surface stands upright on them;
above, it lies along them."""

_STATION_STEP_MM = 1.5
_HEIGHTS_MM = np.arange(0.0, 36.1, 1.5)
_SIDE_MM = 14.0
_DEPTH_MM = 6.0

_MOST_MISFIT, _MOST_OFF = 0.06, 0.3
_WALL_MISFIT = 0.012
"""The same for walls before air. Where they taught what was false, 0.02 to 0.05; true, 0.006."""

_MOST_FROM_CORTEX = 0.5
_LEAST_COSINE = 0.85
_OWN_SPREAD, _BORROWED_SPREAD = 0.02, 0.08
"""Least spread of a level, as shares of the contrast. Buccal and lingual cortex differ by 5 to
8 % in reconstructed scans: a borrowed level may be off by as much."""

_UNKNOWN_SPREAD = 0.06
"""The same where no plate of the scan shows its level by itself, beside the doubt of what they
show together."""

_SEEMING_SD, _AT_ODDS = 0.12, 1.5
"""Share of the contrast by which the level is off that plates seem to show where all are thin: too
low by 0.1 on average among drawn scans. What lies further than so many standard errors from the
one that describes all plates together does not count."""

_UNKNOWN_MISFIT, _LEAST_MISFIT = 0.02, 0.006
_NOISE_OF_BUNDLE = 0.25
"""Noise of the mean of a bundle's profiles, as a share of that of one sample in soft tissue: how
misfit grew with noise, in drawn scans (0.29) and in reconstructed ones with further noise
(0.24)."""

_LEAST_BLUR_SD_MM = 0.01
_LOOKED_AT = 250
"""Places that tell whether a blur is theirs: enough, and soon fitted."""


def learn_plates(volume: Volume, arch: Arch, jaw: Jaw, levels: BoneLevels) -> PlateLevels:
    """Learn blur and levels from plates beside the arch.

    Rays go in from the cheek, from the tongue and from the crowns. The blur is the median of the
    profiles whose two edges stand apart, each fitted with a blur of its own.

    Parameters
    ----------
    volume : Volume
    arch : Arch
    jaw : {'lower', 'upper'}
    levels : BoneLevels
    """
    known = _unknown(volume, levels)
    if levels.trouble is not None:
        return known
    points, directions = _places(volume, arch, jaw, levels)
    if not len(points):
        return known
    bundles = Bundles.at(volume, points, directions, depth_mm=_DEPTH_MM)
    # Where all plates are thin, one that seems wide owes it to noise: with less blur than there is.
    all_thin = levels.together and levels.blur.seen
    if not all_thin:
        known = _with_blur(volume, bundles, levels, known)
    known = replace(known, paths=BonePaths.of(volume, levels))
    contrast = levels.cortical - levels.soft
    # Plates of a whole side may lie behind thin gum: their level is that of cortex all the same.
    seen = through_gum(
        bundles,
        bundles.fitted(levels, known),
        levels,
        known,
        contrast=contrast,
        usual=float(np.hypot(_UNKNOWN_MISFIT * contrast, 0.5 * levels.noise_sd)),
    )
    found = _with_levels(points, seen.fits, levels, known)
    return _of_all_plates(found, levels, known) if all_thin else found


def _of_all_plates(found: PlateLevels, levels: BoneLevels, known: PlateLevels) -> PlateLevels:
    """One level for all plates, where they are thin, by what they say together and one by one.

    Those that seem to show a level of their own are taken for wider and darker than they are.
    """
    if not len(found.level):
        return known
    contrast = levels.cortical - levels.soft
    variances = np.array([levels.cortical_sd**2, (_SEEMING_SD * contrast) ** 2])
    if abs(found.level_all - levels.cortical) > _AT_ODDS * np.sqrt(variances.sum()):
        # Noise taken for plates, or teeth.
        return known
    shares = variances[::-1] / variances.sum()
    level = float(shares @ [levels.cortical, found.level_all])
    sd = float(np.sqrt(variances.prod() / variances.sum()))
    return replace(
        known,
        misfit=found.misfit,
        level_all=level,
        spread_all=float(np.hypot(_UNKNOWN_SPREAD * contrast, sd)),
    )


def _unknown(volume: Volume, levels: BoneLevels) -> PlateLevels:
    """Before anything was learnt: levels and blur that a fit can begin with."""
    contrast = levels.cortical - levels.soft
    variance, along = levels.blur.variance_mm2, levels.blur.through_mm2
    through = unit(volume.mm_from_ijk[:3, 2])
    return PlateLevels(
        blur_variance_mm2=variance,
        through_variance_mm2=variance if along is None else along,
        through=through,
        blur_sd_mm=levels.blur.sd_mm,
        apart_mm=_apart(volume, variance),
        misfit=_UNKNOWN_MISFIT,
        points_mm=np.empty((0, 3)),
        outward=np.empty((0, 3)),
        level=np.empty(0),
        weight=np.empty(0),
        terms=np.empty((0, 3)),
        terms_all=np.zeros(3),
        level_all=levels.cortical,
        spread_all=max(float(np.hypot(_UNKNOWN_SPREAD * contrast, levels.cortical_sd)), 1e-6),
        least_spread=max(_OWN_SPREAD * contrast, 1e-6),
        paths=None,
        trend=usual_trend(through, contrast),
    )


def _apart(volume: Volume, variance: float) -> float:
    whole = max(variance + 0.25 * float(volume.voxel_mm.max()) ** 2, 0.0)
    return APART * FWHM * float(np.sqrt(whole))


def _places(volume: Volume, arch: Arch, jaw: Jaw, levels: BoneLevels) -> tuple[Array, Array]:
    """Places where rays from three sides first meet bone, and the rays' directions."""
    sign = -1.0 if jaw == "lower" else 1.0
    finder = HalfMaximum(levels=levels)
    starts, directions = [], []
    for station in np.arange(0.5, max(arch.length_mm, 1.0), _STATION_STEP_MM):
        frame = arch.frame(float(station))
        rows = frame.origin + sign * _HEIGHTS_MM[:, None] * frame.up
        for way in (1.0, -1.0):
            starts.append(rows + way * _SIDE_MM * frame.buccal)
            directions.append(np.broadcast_to(-way * frame.buccal, rows.shape))
        across = np.arange(-4.0, 4.1, 1.0)[:, None] * frame.buccal
        starts.append(frame.origin + across)
        directions.append(np.broadcast_to(sign * frame.up, across.shape))
    origins, ways = np.concatenate(starts), np.concatenate(directions)
    edges = finder.outer(volume, origins, ways, _SIDE_MM + 4.0)
    keep = edges.found
    return origins[keep] + edges.distance_mm[keep, None] * ways[keep], ways[keep]


def _good(fits: Fits, levels: BoneLevels) -> NDArray[np.bool_]:
    """Profiles that the model describes, met nearly at right angles, with two edges.

    Those with air behind them only if they are described closely: without a lining and without
    marrow in it the wall of a sinus is a plate as any other.
    """
    contrast = levels.cortical - levels.soft
    v = fits.values
    with np.errstate(invalid="ignore"):
        plate = before_marrow(v, levels.soft, contrast)
        closely = _WALL_MISFIT * contrast + _NOISE_OF_BUNDLE * levels.noise_sd
        plate |= (v[:, SINGLE] == 0) & (v[:, MISFIT] < closely)
        return np.asarray(
            (v[:, OK] > 0)
            & plate
            & (v[:, MISFIT] < _MOST_MISFIT * contrast + 0.5 * levels.noise_sd)
            & (np.abs(v[:, LEVEL] - levels.cortical) < _MOST_FROM_CORTEX * contrast)
            & (fits.cosine > _LEAST_COSINE)
        )


def _as_blurred(
    volume: Volume, fits: Fits, levels: BoneLevels, known: PlateLevels
) -> NDArray[np.bool_]:
    """Profiles with no less blur than the scan shows.

    Less of it is noise, or a thin plate and the marrow behind it taken for one wide plate.
    """
    if not levels.blur.seen:
        return np.ones(len(fits.cosine), dtype=bool)
    whole = np.maximum(known.variance_mm2(fits.outward), 0.0)
    whole = whole + voxel_variance_mm2(volume, fits.outward)
    return np.asarray(fits.values[:, SIGMA] * fits.cosine > LEAST_OF_BLUR * np.sqrt(whole))


def _by_direction(variance: Array, share: Array) -> tuple[NDArray[np.bool_], float, float]:
    """Profiles that stand for the slices; the blur's variance in and through them, mm²."""
    level, steep = share < _IN_SLICE, share > _THROUGH
    if level.sum() < _LEAST_PROFILES:
        level = np.ones_like(level)
    middle = through = float(np.median(variance[level]))
    run = float(share[steep].mean() - share[level].mean()) if steep.any() else 0.0
    if steep.sum() >= _LEAST_STEEP and run > _LEAST_RUN:
        # Two medians, each at the mean share of its group, give the line through both.
        rise = float(np.median(variance[steep])) - middle
        middle -= rise / run * float(share[level].mean())
        through = middle + rise / run
    return level, middle, through


def _with_blur(
    volume: Volume, bundles: Bundles, levels: BoneLevels, known: PlateLevels
) -> PlateLevels:
    fits = bundles.fitted(levels, known, free_blur=True)
    v = fits.values
    with np.errstate(invalid="ignore"):
        wide = v[:, WIDTH] > APART * FWHM * v[:, SIGMA]
        wide &= _as_blurred(volume, fits, levels, known)
    keep = _good(fits, levels) & wide
    if keep.sum() < _LEAST_PROFILES:
        return known
    variance = (v[keep, SIGMA] * fits.cosine[keep]) ** 2 - voxel_variance_mm2(
        volume, fits.outward[keep]
    )
    share = (fits.outward[keep] @ known.through) ** 2
    level, middle, through = _by_direction(variance, share)
    spread = 1.4826 * float(np.median(np.abs(variance[level] - middle)))
    whole = max(middle + 0.25 * float(volume.voxel_mm.max()) ** 2, 1e-4)
    # Neighbouring profiles share their voxels: about one in ten counts.
    sd = spread / (2.0 * np.sqrt(whole)) / np.sqrt(max(level.sum() / 10.0, 1.0))
    if levels.blur.seen and _against(volume, bundles, levels, middle):
        return known
    return replace(
        known,
        blur_variance_mm2=middle,
        through_variance_mm2=through,
        blur_sd_mm=float(np.hypot(sd, _LEAST_BLUR_SD_MM)),
        apart_mm=_apart(volume, middle),
    )


def _against(volume: Volume, bundles: Bundles, levels: BoneLevels, variance: float) -> bool:
    """True where the few wide plates show a blur that all others deny: that of walls, or bends."""
    classes = TissueClasses(
        air=None,
        soft=levels.soft,
        soft_sd=0.0,
        noise_sd=levels.noise_sd,
        bright=levels.cortical,
    )
    some = bundles.every(max(len(bundles.mean) // _LOOKED_AT, 1))
    wide = replace(levels.blur, variance_mm2=variance)
    return speak_against(volume, classes, some, wide, levels.blur)


def _with_levels(points: Array, fits: Fits, levels: BoneLevels, known: PlateLevels) -> PlateLevels:
    v = fits.values
    with np.errstate(invalid="ignore"):
        keep = _good(fits, levels) & (v[:, WIDTH] > APART * FWHM * v[:, SIGMA])
    if keep.sum() < _LEAST_PROFILES or known.paths is None:
        return known
    # Enamel and metal are far off the middle; so is what only looked like a plate.
    contrast = levels.cortical - levels.soft
    middle = float(np.median(v[keep, LEVEL]))
    keep &= np.abs(v[:, LEVEL] - middle) < _MOST_OFF * (middle - levels.soft)
    # Where two plates run together, as at a corner, the model fits, but badly.
    usual = float(np.median(v[keep, SD_WIDTH]))
    keep &= v[:, SD_WIDTH] < _WORST * usual
    weight = 1.0 / np.maximum(v[:, SD_WIDTH], usual) ** 2
    path = np.zeros(len(points))
    path[keep] = known.paths.along(points[keep], fits.outward[keep], 0.5 * v[keep, WIDTH])
    for last in (False, True):
        trend = fitted_trend(
            points[keep],
            path[keep],
            v[keep, LEVEL],
            weight[keep],
            through=known.through,
            contrast=contrast,
        )
        if last:
            break
        left = v[keep, LEVEL] - trend.terms(points[keep], path[keep]) @ trend.gains
        dark = _darker_than_beside(points[keep], fits.outward[keep], left, contrast)
        keep[np.flatnonzero(keep)[dark]] = False
    terms = trend.terms(points[keep], path[keep])
    left = v[keep, LEVEL] - terms @ trend.gains
    spread = 1.4826 * float(np.median(np.abs(left - np.median(left))))
    terms_all = np.median(terms, axis=0)
    return replace(
        known,
        misfit=max(_without_noise(v[keep, MISFIT], levels) / contrast, _LEAST_MISFIT),
        points_mm=points[keep],
        outward=fits.outward[keep],
        level=v[keep, LEVEL],
        weight=weight[keep] / weight[keep].max(),
        terms=terms,
        level_all=float(np.median(left) + terms_all @ trend.gains),
        terms_all=terms_all,
        spread_all=float(np.hypot(spread, _BORROWED_SPREAD * contrast)),
        trend=trend,
    )


def _without_noise(misfit: Array, levels: BoneLevels) -> float:
    """Median misfit less what noise leaves: the fit's own error knows of that already."""
    noise = _NOISE_OF_BUNDLE * levels.noise_sd
    return float(np.sqrt(max(np.median(misfit) ** 2 - noise**2, 0.0)))


def _darker_than_beside(
    points: Array, outward: Array, level: Array, contrast: float
) -> NDArray[np.bool_]:
    """Places much darker than the middle of their plate around them.

    Blur has mixed them with something: a thinner part of the plate beside them, a hollow. It
    darkens cortex and never brightens it, so only the dark ones are left out.
    """
    out = np.zeros(len(points), dtype=bool)
    tree = cKDTree(points)
    for i, near in enumerate(tree.query_ball_point(points, _AROUND_MM)):
        beside = np.array(near)[outward[near] @ outward[i] > SAME_PLATE]
        middle = np.median(level[beside])
        spread = 1.4826 * np.median(np.abs(level[beside] - middle))
        out[i] = level[i] < middle - max(2.5 * spread, _DARKER * contrast)
    return out
