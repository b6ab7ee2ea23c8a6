"""Edges of cortex by a fitted model of the blurred plate: the way edges are found by default.

Definition (cortical plates): outside | cortex of width w | inside, three levels joined by two
steps, convolved with the scan's blur (Gaussian) and the voxel, fitted to the mean of a small
bundle of parallel profiles. The outside level is free in every profile; the blur is the scan's;
the cortical level is free where both edges stand apart, else it is what the same plate shows
nearby. A ray at angle θ to the surface's normal fits with σ / cos θ.

Prevrhal et al. 1999 (Phys Med Biol 44:751) on the over-reading of thin layers; Treece et al.
2010 (Med Image Anal 14:276) on the deconvolving fit.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from core.arch import Arch
from core.bone.bone_levels import BoneLevels
from core.bone.edges import EdgeSet, PlateEdges
from core.bone.half_maximum import HalfMaximum
from core.bone.learnt_once import LearntOnce, arch_key, scan_key
from core.bone.plate_kernels import EDGE as EDGE_AT
from core.bone.plate_kernels import INSIDE, MISFIT, OK, OUTSIDE, SD_EDGE, SD_INNER, SD_WIDTH, SINGLE
from core.bone.plate_kernels import LEVEL as LEVEL_AT
from core.bone.plate_kernels import WIDTH as WIDTH_AT
from core.bone.plate_learning import learn_plates
from core.bone.plate_levels import PlateLevels
from core.bone.plate_profiles import (
    BUNDLE_VARIANCE_MM2,
    LEAD_MM,
    Bundles,
    Fits,
    voxel_variance_mm2,
)
from core.bone.thin_gum import ThroughGum, through_gum
from core.geometry import Array
from core.image.volume import Volume
from core.plans.plan import Jaw

_OUTER_DEPTH_MM = 4.0
_PLATE_DEPTH_MM = 7.5
_FURTHEST_MM = 1.3
"""An edge further than this from where bone begins belongs to something else."""

_NARROWEST_MM = 0.12
"""A narrower plate cannot be told from bone without cortex."""

_LEAST_RISE, _MOST_BRIGHT, _MOST_MISFIT = 0.35, 0.5, 0.10
"""Shares of the scan's contrast between soft tissue and cortex: least rise at the outer edge,
most that a level may lie above cortex (metal, enamel), most root-mean-square misfit."""

_OUTER_BY_MISFIT_MM, _PLATE_BY_MISFIT_MM = 1.0, 3.2
"""What bone's texture and a blur that is not quite Gaussian add to the errors of an outer edge,
and of an inner edge or a thickness, by the share of the contrast that the scan's plates leave
unexplained beyond noise. The first so that single edges of the sample scans as they are lie inside
in at least 92 % (0.5 would do for widths under more noise, and leave those at 89 %), the second
from the first 120 scans of the study of edges in noisy scans."""

_PLATE_MISFIT, _LEAST_FALL, _OF_USUAL_FALL = 0.04, 0.35, 0.6
"""For a thickness: most misfit, and least fall at the inner edge, as shares of the contrast; where
the scan's spongy bone itself is nearly as bright as cortex, this share of its usual fall."""

_TOLD_APART = 0.22
"""Spongy bone nearer to cortex than this share of the contrast cannot be told from it: the end of
a plate before it is shown by texture alone (2 mm and more for 0.5 on open draws of random jaws)."""

_STEEPEST_COSINE = 0.25
_DIFFER_MM, _OF_DIFFERENCE = 0.12, 0.7
"""Fit and half-way level differ by this much on thin plates that both read as they should; of what
they differ by beyond it, this share is a standard error."""

_BY_HALF_MM = 0.08
"""What an edge by the half-way level may be off where the fit finds no plate, beyond what it says
itself: on curved ridges whose plate is thin or whose marrow is nearly as bright."""

_LARGEST_SD_MM = 0.4


_KNOWN: LearntOnce[PlateFit] = LearntOnce()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlateFit:
    """Fitted edges; begins where half maximum, or the first trace of bone, lies.

    Parameters
    ----------
    levels : BoneLevels
    plates : PlateLevels
        The scan's blur and what its plates show of their level.
    """

    levels: BoneLevels
    plates: PlateLevels

    @classmethod
    def of(cls, volume: Volume, arch: Arch, jaw: Jaw, levels: BoneLevels) -> PlateFit:
        """Learn the blur and the plates' levels along an arch; then find edges anywhere.

        Parameters
        ----------
        volume : Volume
        arch : Arch
        jaw : {'lower', 'upper'}
        levels : BoneLevels

        Returns
        -------
        PlateFit
            Learnt once for a scan, an arch and these very levels.
        """
        # What is remembered holds its levels, so no other ones can have their identity.
        key = (scan_key(volume), arch_key(arch), jaw, id(levels))
        return _KNOWN.get(
            key, lambda: cls(levels=levels, plates=learn_plates(volume, arch, jaw, levels))
        )

    def outer(self, volume: Volume, starts_mm: Array, directions: Array, max_mm: float) -> EdgeSet:
        """Outer edges; see `EdgeFinder.outer`.

        Parameters
        ----------
        starts_mm : (n, 3) patient LPS mm
        directions : (n, 3)
            Unit vectors, into the bone.
        max_mm : float
            Furthest edge that is looked for.
        """
        return self._found(volume, starts_mm, directions, max_mm, _OUTER_DEPTH_MM).outer

    def plate(
        self, volume: Volume, starts_mm: Array, directions: Array, max_mm: float
    ) -> PlateEdges:
        """Outer and inner edges; see `EdgeFinder.plate`.

        Parameters
        ----------
        volume : Volume
        starts_mm : (n, 3) patient LPS mm
        directions : (n, 3) unit directions, patient LPS
        max_mm : float
            How far is looked, mm.
        """
        return self._found(volume, starts_mm, directions, max_mm, _PLATE_DEPTH_MM)

    def rounding_mm2(self, volume: Volume, direction: Array) -> float:
        """Half the variance of blur, voxel and bundle: see `EdgeFinder.rounding_mm2`."""
        along = np.reshape(direction, (1, 3))
        blur = float((self.plates.variance_mm2(along) + voxel_variance_mm2(volume, along))[0])
        return max(0.5 * (blur + BUNDLE_VARIANCE_MM2), 0.0)

    def _found(
        self, volume: Volume, starts_mm: Array, directions: Array, max_mm: float, depth_mm: float
    ) -> PlateEdges:
        coarse_finder = HalfMaximum(levels=self.levels)
        starts = np.atleast_2d(np.asarray(starts_mm, dtype=np.float64))
        rays = np.broadcast_to(np.asarray(directions, dtype=np.float64), starts.shape)
        coarse = coarse_finder.outer(volume, starts, rays, max_mm)
        begin = np.where(coarse.found, coarse.distance_mm, coarse.hint_mm)
        rows = np.flatnonzero((coarse.found | (coarse.reason == "weak")) & np.isfinite(begin))
        points = starts[rows] + begin[rows, None] * rays[rows]
        bundles = Bundles.at(volume, points, rays[rows], depth_mm=depth_mm)
        seen = through_gum(
            bundles,
            bundles.fitted(self.levels, self.plates),
            self.levels,
            self.plates,
            contrast=self._contrast,
            usual=float(np.hypot(self.plates.misfit * self._contrast, 0.5 * self.levels.noise_sd)),
        )
        return self._edges(coarse, rows, begin, seen)

    def _edges(
        self, coarse: EdgeSet, rows: NDArray[np.intp], begin: Array, seen: ThroughGum
    ) -> PlateEdges:
        n, fits = len(begin), seen.fits
        gum_sd = np.zeros(n)
        gum_sd[rows] = seen.sd_mm
        reason = coarse.reason.astype("<U16")
        reason[rows] = self._reasons(fits)
        good = reason[rows] == ""
        # Where no plate is told from the bone behind it, the half-way level still tells where the
        # bone ends.
        half = (reason == "weak") & coarse.found
        reason[half] = ""
        found = reason == ""
        outer_more, plate_more = (
            k * self.plates.misfit for k in (_OUTER_BY_MISFIT_MM, _PLATE_BY_MISFIT_MM)
        )
        outer, sd = np.full(n, np.nan), np.full(n, np.nan)
        shift = begin[rows] - LEAD_MM
        outer[rows] = np.where(good, shift + fits.values[:, EDGE_AT], np.nan)
        sd[rows] = np.where(good, np.hypot(fits.values[:, SD_EDGE], outer_more), np.nan)
        # Two ways of reading an edge that disagree are not both right: beyond what they differ by
        # on a thin plate, the difference is doubt (air over thin gum, a streak, a second layer).
        with np.errstate(invalid="ignore"):
            differ = np.abs(outer - coarse.distance_mm) - _DIFFER_MM
            unsure = np.where(coarse.found & (differ > 0.0), _OF_DIFFERENCE * differ, 0.0)
        # Through thin gum the half-way level is known to be wrong.
        sd = np.hypot(sd, np.where(gum_sd > 0.0, gum_sd, unsure))
        outer[half] = coarse.distance_mm[half]
        sd[half] = np.hypot(coarse.sd_mm[half], _BY_HALF_MM)
        two = np.zeros(n, dtype=bool)
        apart = self._two_edges(fits) & seen.closely
        two[rows] = good & apart
        width, width_sd, inner_sd = (np.full(n, np.nan) for _ in range(3))
        for out, column in ((width, WIDTH_AT), (width_sd, SD_WIDTH), (inner_sd, SD_INNER)):
            out[rows] = fits.values[:, column]
            out[~two] = np.nan
        width_sd, inner_sd = (
            np.hypot(x, np.hypot(plate_more, gum_sd)) for x in (width_sd, inner_sd)
        )
        borrowed = np.zeros(n, dtype=bool)
        borrowed[rows] = fits.borrowed & (fits.values[:, WIDTH_AT] < self.plates.apart_mm)
        edges = replace(coarse, distance_mm=outer, sd_mm=sd, found=found, reason=reason)
        inner_reason = np.where(two, "", np.where(found, "no inner edge", reason)).astype("<U16")
        touched = good & ~apart & (fits.values[:, SINGLE] == 0)
        inner_reason[rows[touched]] = "not described"
        inner = EdgeSet(
            distance_mm=outer + width,
            sd_mm=inner_sd,
            found=two,
            reason=inner_reason,
            hint_mm=outer + width,
        )
        return PlateEdges(
            outer=edges,
            inner=inner,
            thickness_mm=width,
            sd_mm=width_sd,
            borrowed=borrowed,
            reads_thin=True,
        )

    def _two_edges(self, fits: Fits) -> NDArray[np.bool_]:
        """True where a plate with something fainter behind it describes the profile closely.

        A root, a canal's wall or a second plate that touches the first looks like a thicker
        plate, or like one with something nearly as bright behind it.
        """
        v = fits.values
        contrast = self._contrast
        usual = min(self.plates.level_all, self.levels.cortical) - self.levels.spongy
        if usual < _TOLD_APART * contrast:
            return np.zeros(len(v), dtype=bool)
        with np.errstate(invalid="ignore"):
            return np.asarray(
                (v[:, SINGLE] == 0)
                & (v[:, MISFIT] < np.hypot(_PLATE_MISFIT * contrast, self.levels.noise_sd))
                & (
                    v[:, LEVEL_AT] - v[:, INSIDE]
                    > min(_LEAST_FALL * contrast, _OF_USUAL_FALL * usual)
                )
            )

    @property
    def _contrast(self) -> float:
        return max(self.plates.level_all, self.levels.cortical) - self.levels.soft

    def _reasons(self, fits: Fits) -> NDArray[np.str_]:
        """Empty where the model describes the profile; else why there is no edge."""
        v = fits.values
        contrast = self._contrast
        single = v[:, SINGLE] > 0
        out = np.full(len(v), "", dtype="<U16")
        with np.errstate(invalid="ignore"):
            misfit = _MOST_MISFIT * contrast + self.levels.noise_sd
            out[(v[:, MISFIT] > misfit) | (v[:, SD_EDGE] > _LARGEST_SD_MM)] = "not described"
            out[v[:, LEVEL_AT] > fits.level + _MOST_BRIGHT * contrast] = "not cortex"
            rise = v[:, LEVEL_AT] - v[:, OUTSIDE]
            faint = ~single & (v[:, WIDTH_AT] < _NARROWEST_MM)
            # A step that ends below cortex is bone without a plate, or gum.
            faint |= single & (v[:, LEVEL_AT] < fits.level - 0.4 * contrast)
            faint |= ~single & (v[:, INSIDE] > v[:, LEVEL_AT])
            out[faint | (rise < _LEAST_RISE * contrast)] = "weak"
            out[np.abs(v[:, EDGE_AT] - LEAD_MM) > _FURTHEST_MM] = "weak"
        out[fits.cosine < _STEEPEST_COSINE] = "graze"
        out[v[:, OK] == 0] = "not described"
        return out
