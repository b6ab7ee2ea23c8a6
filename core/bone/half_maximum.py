"""Half-maximum edges: the comparison for the fit, and where it begins.

The edge is the first crossing, from outside, of the mean of the local outside and the scan's
cortical level. A peak that stays below it is *not found*: a thin plate whose blurred peak is too
low is never skipped in favour of something behind it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d, minimum_filter1d

from core.bone.bone_levels import BoneLevels
from core.bone.edges import STEP_MM, EdgeSet, PlateEdges
from core.geometry import Array
from core.image import sampling
from core.image.volume import Volume

METHOD_SD_MM = 0.05
"""Standard deviation of the half-maximum edge itself on cortex thick enough to show its level:
the spread of its errors on blurred slabs and curved ridges (tests of this module and of
`ridge`)."""

_NEAR, _FAR = 6, 11
"""The local level is the mean of the samples 0.6 to 1.1 mm beyond the edge: past a usual blur,
and near enough for thin gum."""

_HELD = 4
_PEAK = 8
_WEAK_MM = 1.0
"""An edge that begins this far before it is crossed is no edge but something fainter in front."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class HalfMaximum:
    """Half-maximum edges, each on the mean of a small bundle of parallel rays.

    Parameters
    ----------
    levels : BoneLevels
    bundle_mm : float
        Radius of the bundle; 0 for a single ray.
    """

    levels: BoneLevels
    bundle_mm: float = 0.3

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
        return self.search(self.profiles(volume, starts_mm, directions, max_mm))[0]

    def plate(
        self, volume: Volume, starts_mm: Array, directions: Array, max_mm: float
    ) -> PlateEdges:
        """Outer and inner edges; see `EdgeFinder.plate`.

        The inner edge is the mean of the scan's cortical level and the local inside.

        Parameters
        ----------
        volume : Volume
        starts_mm : (n, 3) patient LPS mm
        directions : (n, 3) unit directions, patient LPS
        max_mm : float
            How far is looked, mm.
        """
        profiles = self.profiles(volume, starts_mm, directions, max_mm + 2.0)
        outer, first = self.search(profiles)
        inner = self._inner(profiles, outer, first)
        return PlateEdges(
            outer=outer,
            inner=inner,
            thickness_mm=inner.distance_mm - outer.distance_mm,
            sd_mm=np.hypot(inner.sd_mm, outer.sd_mm),
            borrowed=np.zeros(len(profiles), dtype=bool),
            reads_thin=False,
        )

    def rounding_mm2(self, volume: Volume, direction: Array) -> float:  # noqa: ARG002
        """Not known: it has no blur of the scan."""
        return 0.0

    def profiles(self, volume: Volume, starts_mm: Array, directions: Array, max_mm: float) -> Array:
        """(n, count) mean profiles of the bundles; NaN where one ray was not scanned.

        Parameters
        ----------
        volume : Volume
        starts_mm : (n, 3) patient LPS mm
        directions : (n, 3) unit directions, patient LPS
        max_mm : float
            How far is looked, mm.
        """
        count = round(max_mm / STEP_MM) + 1 + _FAR
        starts = np.atleast_2d(np.asarray(starts_mm, dtype=np.float64))
        directions = np.broadcast_to(np.asarray(directions, dtype=np.float64), starts.shape)
        offsets = _bundle(directions, self.bundle_mm)
        rays = (starts[:, None, :] + offsets).reshape(-1, 3)
        along = np.repeat(directions, offsets.shape[1], axis=0)
        grey = sampling.profiles(volume, rays, along, STEP_MM, count)
        shaped = grey.reshape(len(starts), offsets.shape[1], count).astype(np.float64)
        return np.asarray(shaped.mean(axis=1))

    def search(self, profiles: Array) -> tuple[EdgeSet, NDArray[np.intp]]:
        """Outer edges of profiles that start outside, and the index of each crossing."""
        levels = self.levels
        n, count = profiles.shape
        none = np.full(n, -1, dtype=np.intp)
        if levels.trouble is not None:
            return _not_found(np.full(n, "levels")), none
        threshold = levels.bone_threshold
        finite = np.isfinite(profiles)
        v = np.where(finite, profiles, -np.inf)
        begin = np.where(finite.any(axis=1), np.argmax(finite, axis=1), count)
        column = np.arange(count)
        gap = ~finite & (column > begin[:, None])
        end = np.where(gap.any(axis=1), np.argmax(gap, axis=1), count)

        outside = _mean_before(profiles)
        half = 0.5 * (outside + levels.cortical)
        ahead_low = _ahead(v, _HELD, lowest=True)
        ahead_high = _ahead(v, _PEAK, lowest=False)
        reached = ahead_high >= outside + 0.85 * (levels.cortical - outside)
        with np.errstate(invalid="ignore"):
            above = v >= half
            crossing = (
                above
                & ~np.concatenate([np.ones((n, 1), bool), above[:, :-1]], axis=1)
                & ((ahead_low >= half) | reached)
                & (ahead_high >= threshold + 0.05 * (levels.cortical - levels.soft))
            )
        crossing &= (column > begin[:, None]) & (column < end[:, None])
        first = np.where(crossing.any(axis=1), np.argmax(crossing, axis=1), -1)

        begins = _ahead(v, 3, lowest=True) >= threshold
        hint = np.where(begins.any(axis=1), np.argmax(begins, axis=1), -1)
        inside = (hint >= 0) & (hint - begin < _NEAR) & (begin < count)
        early = (hint >= 0) & (first >= 0) & ((first - hint) * STEP_MM > _WEAK_MM)
        reason = np.full(n, "", dtype="<U16")
        reason[first < 0] = "nothing"
        reason[(first < 0) & (end < count)] = "not scanned"
        reason[((first < 0) & (hint >= 0)) | early] = "weak"
        reason[inside] = "starts inside"
        reason[(inside & (begin > 0)) | (begin >= count)] = "not scanned"
        found = reason == ""

        rows = np.flatnonzero(found)
        at = first[rows]
        level = half[rows, at]
        low, high = v[rows, at - 1], v[rows, at]
        distance = np.full(n, np.nan)
        # Each sample has its own half level, so the one before may lie a little above this one.
        share = np.clip((level - low) / np.maximum(high - low, 1e-9), 0.0, 1.0)
        distance[rows] = (at - 1 + share) * STEP_MM
        sd = np.full(n, np.nan)
        sd[rows] = self._sd(v, rows, at)
        hinted = np.where(hint >= 0, hint * STEP_MM, np.nan)
        edges = EdgeSet(distance_mm=distance, sd_mm=sd, found=found, reason=reason, hint_mm=hinted)
        return edges, np.where(found, first, -1)

    def _inner(self, profiles: Array, outer: EdgeSet, first: NDArray[np.intp]) -> EdgeSet:
        """Inner edges behind outer edges: half of the cortical level and the local inside."""
        levels = self.levels
        n, count = profiles.shape
        v = np.where(np.isfinite(profiles), profiles, np.inf)
        inside = _mean_before(profiles[:, ::-1])[:, ::-1]
        half = 0.5 * (inside + levels.cortical)
        # From the plate's own peak on: a thin plate that stays below the half level ends at its
        # peak, and is never taken for the far plate behind it.
        column = np.arange(count)
        near = (column >= first[:, None]) & (column <= first[:, None] + _PEAK)
        peak = np.argmax(np.where(near & np.isfinite(v), v, -np.inf), axis=1)
        with np.errstate(invalid="ignore"):
            crossing = (
                (v <= half)
                & (inside < levels.cortical - 0.25 * (levels.cortical - levels.soft))
                & (column >= peak[:, None])
            )
        crossing &= outer.found[:, None]
        at = np.where(crossing.any(axis=1), np.argmax(crossing, axis=1), -1)
        found = at > 0
        reason = np.where(found, "", np.where(outer.found, "no inner edge", outer.reason))
        rows = np.flatnonzero(found)
        high, low, level = v[rows, at[rows] - 1], v[rows, at[rows]], half[rows, at[rows]]
        distance = np.full(n, np.nan)
        share = np.clip((high - level) / np.where(high > low, high - low, 1.0), 0.0, 1.0)
        distance[rows] = (at[rows] - 1 + share) * STEP_MM
        sd = np.full(n, np.nan)
        sd[rows] = self._sd(v, rows, at[rows])
        return EdgeSet(
            distance_mm=distance,
            sd_mm=sd,
            found=found,
            reason=reason.astype("<U16"),
            hint_mm=distance.copy(),
        )

    def _sd(self, v: Array, rows: NDArray[np.intp], at: NDArray[np.intp]) -> Array:
        """Noise and doubt of the cortical level over the slope, and the method's own term."""
        after = np.minimum(at + 1, v.shape[1] - 1)
        slope = np.abs(v[rows, after] - v[rows, at - 2]) / ((after - at + 2) * STEP_MM)
        slope = np.where(np.isfinite(slope) & (slope > 0), slope, np.inf)
        grey = np.hypot(self.levels.noise_sd, 0.5 * self.levels.cortical_sd)
        return np.asarray(np.hypot(grey / slope, METHOD_SD_MM))


def _not_found(reason: NDArray[np.str_]) -> EdgeSet:
    nan = np.full(len(reason), np.nan)
    return EdgeSet(
        distance_mm=nan,
        sd_mm=nan,
        found=np.zeros(len(reason), dtype=bool),
        reason=reason,
        hint_mm=nan,
    )


def _bundle(directions: Array, radius_mm: float) -> Array:
    """(n, k, 3) offsets across each ray: the ray itself and six on a circle around it."""
    if radius_mm <= 0:
        return np.zeros((len(directions), 1, 3))
    helper = np.eye(3)[np.argmin(np.abs(directions), axis=1)]
    one = np.cross(directions, helper)
    one /= np.linalg.norm(one, axis=1, keepdims=True)
    two = np.cross(directions, one)
    angle = np.arange(6) * np.pi / 3
    ring = np.cos(angle)[:, None] * one[:, None, :] + np.sin(angle)[:, None] * two[:, None, :]
    return np.concatenate([np.zeros((len(directions), 1, 3)), radius_mm * ring], axis=1)


def _mean_before(profiles: Array) -> Array:
    """(n, count) mean of the samples `_NEAR` to `_FAR` before each one; NaN near the start.

    Within `_FAR` of the start the mean takes what is there, as long as `_NEAR` samples lie
    between.
    """
    finite = np.isfinite(profiles)
    total = np.cumsum(np.where(finite, profiles, 0.0), axis=1)
    number = np.cumsum(finite, axis=1)
    out = np.full(profiles.shape, np.nan)
    last = np.arange(profiles.shape[1]) - _NEAR
    first = last - (_FAR - _NEAR) - 1
    usable = last >= 0
    columns = np.flatnonzero(usable)
    upper_sum, upper_n = total[:, last[usable]], number[:, last[usable]]
    start = np.maximum(first[usable], 0)
    lower_sum = np.where(first[usable] >= 0, total[:, start], 0.0)
    lower_n = np.where(first[usable] >= 0, number[:, start], 0)
    size = upper_n - lower_n
    with np.errstate(invalid="ignore", divide="ignore"):
        out[:, columns] = np.where(size > 0, (upper_sum - lower_sum) / size, np.nan)
    return out


def _ahead(v: Array, samples: int, *, lowest: bool) -> Array:
    """Lowest or highest of each sample and those after it, `samples` in all."""
    window = minimum_filter1d if lowest else maximum_filter1d
    fill = np.inf if lowest else -np.inf
    return np.asarray(
        window(v, samples, axis=1, origin=-(samples // 2), mode="constant", cval=fill)
    )
