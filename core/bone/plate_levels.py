"""The blur of a scan and the grey level of its cortical plates, both from the scan alone."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from core.arch import Arch
from core.bone.bone_levels import BoneLevels
from core.bone.half_maximum import HalfMaximum
from core.bone.plate_kernels import LEVEL, MISFIT, OK, SIGMA, SINGLE, WIDTH
from core.bone.plate_profiles import Fits, fit_at, voxel_variance_mm2
from core.geometry import Array, unit
from core.image.volume import Volume
from core.plans.plan import Jaw

FWHM = 2.3548
"""Full width at half maximum of a Gaussian over its standard deviation."""

APART = 1.5
"""A plate shows its own level where it is wider than this many full widths of the blur."""

REACH_MM = 15.0
"""A level further away than this on the same plate is no longer its own."""

_SMOOTH_MM = 4.0
_SAME_PLATE = 0.5
_NEIGHBOURS = 64
_LEAST_NEIGHBOURS = 3
_LEAST_PROFILES = 15
_LEAST_STEEP = 8
_IN_SLICE, _THROUGH = 0.2, 0.6
"""Squares of the normal's part through the slices: below, a surface stands upright on them;
above, it lies along them."""

_STATION_STEP_MM = 1.5
_HEIGHTS_MM = np.arange(0.0, 36.1, 1.5)
_SIDE_MM = 14.0
_DEPTH_MM = 6.0

_MOST_MISFIT, _MOST_OFF = 0.06, 0.3
_LEAST_COSINE = 0.85
_OWN_SPREAD, _BORROWED_SPREAD = 0.02, 0.08
"""Least spread of a level, as shares of the contrast. Buccal and lingual cortex differ by 5 to
8 % in reconstructed scans: a borrowed level may be off by as much."""

_UNKNOWN_SPREAD = 0.2
"""The same where no plate of the scan shows its level: then all are thin, and look darker."""

_UNKNOWN_BLUR_MM, _UNKNOWN_BLUR_SD_MM = 0.22, 0.08
_LEAST_BLUR_SD_MM = 0.01


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlateLevels:
    """Blur of the scan, and levels of cortex where it is thick enough to show them.

    Parameters
    ----------
    blur_variance_mm2 : float
        Square of the Gaussian blur in the slices, without the voxel; may be a little below zero
        in a sharpened scan.
    through_variance_mm2 : float
        The same through the slices: a reconstruction filters across its axis of rotation and
        not along it.
    through : (3,)
        Unit direction through the slices.
    blur_sd_mm : float
        Standard deviation of the blur.
    apart_mm : float
        Thickness from which a plate shows its own level.
    points_mm, outward : (n, 3)
        Places that show their level, and their outward normals.
    level : (n,)
    level_all, spread_all : float
        Level and spread over the whole scan: what is borrowed.
    least_spread : float
    """

    blur_variance_mm2: float
    through_variance_mm2: float
    through: Array
    blur_sd_mm: float
    apart_mm: float
    points_mm: Array
    outward: Array
    level: Array
    level_all: float
    spread_all: float
    least_spread: float
    _tree: cKDTree = field(init=False, repr=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "_tree", cKDTree(self.points_mm.reshape(-1, 3)))

    @classmethod
    def of(cls, volume: Volume, arch: Arch, jaw: Jaw, levels: BoneLevels) -> PlateLevels:
        """Learn blur and levels from plates beside the arch.

        Rays go in from the cheek, from the tongue and from the crowns. The blur is the median
        of the profiles whose two edges stand apart, each fitted with a blur of its own.
        """
        known = _unknown(volume, levels)
        if levels.trouble is not None:
            return known
        points, directions = _places(volume, arch, jaw, levels)
        if not len(points):
            return known
        known = _with_blur(volume, points, directions, levels, known)
        fits = fit_at(volume, points, directions, levels, known, depth_mm=_DEPTH_MM)
        return _with_levels(points, fits, levels, known)

    def variance_mm2(self, directions: Array) -> Array:
        """(n,) square of the blur along directions: the parts' squares weigh both variances."""
        share = (directions @ self.through) ** 2
        return np.asarray(
            self.blur_variance_mm2 + share * (self.through_variance_mm2 - self.blur_variance_mm2)
        )

    def near(self, points_mm: Array, outward: Array) -> tuple[Array, Array, NDArray[np.bool_]]:
        """Level at places on plates.

        Parameters
        ----------
        points_mm, outward : (n, 3)

        Returns
        -------
        level, spread : (n,)
            Mean and spread of the levels on the same plate, the near ones weighing more.
        borrowed : (n,) bool
            None within 15 mm: the level of the whole scan, with a wider spread.
        """
        n = len(points_mm)
        level, spread = np.full(n, self.level_all), np.full(n, self.spread_all)
        if not len(self.level) or not n:
            return level, spread, np.ones(n, dtype=bool)
        distance, index = self._tree.query(
            points_mm, k=min(_NEIGHBOURS, len(self.level)), distance_upper_bound=REACH_MM
        )
        distance, index = np.reshape(distance, (n, -1)), np.reshape(index, (n, -1))
        there = np.isfinite(distance)
        index = np.where(there, index, 0)
        same = np.einsum("nkj,nj->nk", self.outward[index], outward) > _SAME_PLATE
        weight = np.where(there & same, np.exp(-0.5 * (distance / _SMOOTH_MM) ** 2) + 1e-6, 0.0)
        values = self.level[index]
        for _ in range(2):
            total = np.maximum(weight.sum(axis=1), 1e-12)
            mean = (weight * values).sum(axis=1) / total
            away = values - mean[:, None]
            sd = np.sqrt((weight * away**2).sum(axis=1) / total)
            weight = np.where(np.abs(away) <= 2.5 * sd[:, None] + 1e-9, weight, 0.0)
        borrowed = (weight > 0).sum(axis=1) < min(_LEAST_NEIGHBOURS, len(self.level))
        own = np.hypot(sd, self.least_spread)
        return (np.where(borrowed, level, mean), np.where(borrowed, spread, own), borrowed)


def _unknown(volume: Volume, levels: BoneLevels) -> PlateLevels:
    """Before anything was learnt: levels and blur that a fit can begin with."""
    contrast = levels.cortical - levels.soft
    variance = _UNKNOWN_BLUR_MM**2
    return PlateLevels(
        blur_variance_mm2=variance,
        through_variance_mm2=variance,
        through=unit(volume.mm_from_ijk[:3, 2]),
        blur_sd_mm=_UNKNOWN_BLUR_SD_MM,
        apart_mm=_apart(volume, variance),
        points_mm=np.empty((0, 3)),
        outward=np.empty((0, 3)),
        level=np.empty(0),
        level_all=levels.cortical,
        spread_all=max(_UNKNOWN_SPREAD * contrast, levels.cortical_sd, 1e-6),
        least_spread=max(_OWN_SPREAD * contrast, 1e-6),
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
    """Profiles that the model describes, met nearly at right angles, with two edges."""
    contrast = levels.cortical - levels.soft
    v = fits.values
    with np.errstate(invalid="ignore"):
        return np.asarray(
            (v[:, OK] > 0)
            & (v[:, SINGLE] == 0)
            & (v[:, MISFIT] < _MOST_MISFIT * contrast + 0.5 * levels.noise_sd)
            & (np.abs(v[:, LEVEL] - levels.cortical) < contrast)
            & (fits.cosine > _LEAST_COSINE)
        )


def _with_blur(
    volume: Volume, points: Array, directions: Array, levels: BoneLevels, known: PlateLevels
) -> PlateLevels:
    fits = fit_at(volume, points, directions, levels, known, depth_mm=_DEPTH_MM, free_blur=True)
    v = fits.values
    with np.errstate(invalid="ignore"):
        keep = _good(fits, levels) & (v[:, WIDTH] > APART * FWHM * v[:, SIGMA])
    if keep.sum() < _LEAST_PROFILES:
        return known
    variance = (v[keep, SIGMA] * fits.cosine[keep]) ** 2 - voxel_variance_mm2(
        volume, fits.outward[keep]
    )
    share = (fits.outward[keep] @ known.through) ** 2
    level, steep = share < _IN_SLICE, share > _THROUGH
    if level.sum() < _LEAST_PROFILES:
        level = np.ones_like(level)
    middle = through = float(np.median(variance[level]))
    if steep.sum() >= _LEAST_STEEP:
        # Two medians, each at the mean share of its group, give the line through both.
        rise = float(np.median(variance[steep])) - middle
        run = float(share[steep].mean() - share[level].mean())
        middle -= rise / run * float(share[level].mean())
        through = middle + rise / run
    spread = 1.4826 * float(np.median(np.abs(variance[level] - middle)))
    whole = max(middle + 0.25 * float(volume.voxel_mm.max()) ** 2, 1e-4)
    # Neighbouring profiles share their voxels: about one in ten counts.
    sd = spread / (2.0 * np.sqrt(whole)) / np.sqrt(max(level.sum() / 10.0, 1.0))
    return replace(
        known,
        blur_variance_mm2=middle,
        through_variance_mm2=through,
        blur_sd_mm=float(np.hypot(sd, _LEAST_BLUR_SD_MM)),
        apart_mm=_apart(volume, middle),
    )


def _with_levels(points: Array, fits: Fits, levels: BoneLevels, known: PlateLevels) -> PlateLevels:
    v = fits.values
    with np.errstate(invalid="ignore"):
        keep = _good(fits, levels) & (v[:, WIDTH] > APART * FWHM * v[:, SIGMA])
    level_all, spread_all = known.level_all, known.spread_all
    if keep.sum() >= _LEAST_PROFILES:
        # Enamel and metal are far off the middle; so is what only looked like a plate.
        middle = float(np.median(v[keep, LEVEL]))
        keep &= np.abs(v[:, LEVEL] - middle) < _MOST_OFF * (middle - levels.soft)
        level_all = float(np.median(v[keep, LEVEL]))
        spread = 1.4826 * float(np.median(np.abs(v[keep, LEVEL] - level_all)))
        contrast = levels.cortical - levels.soft
        spread_all = float(np.hypot(spread, _BORROWED_SPREAD * contrast))
    return replace(
        known,
        points_mm=points[keep],
        outward=fits.outward[keep],
        level=v[keep, LEVEL],
        level_all=level_all,
        spread_all=spread_all,
    )
