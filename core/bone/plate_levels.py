"""The blur of a scan and the grey level of its cortical plates, as learnt from the scan alone."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from core.bone.bone_paths import BonePaths
from core.bone.level_trend import LevelTrend
from core.geometry import Array

REACH_MM = 15.0
"""A level further away than this on the same plate is no longer its own."""

SAME_PLATE = 0.5
"""Least cosine between the normals of two places on the same plate."""

_THIN_MIDDLE_MM = 0.3
"""Depth of the middle of a plate that must be told its level: thicker ones show their own."""

_SMOOTH_MM = 4.0
_NEIGHBOURS = 64
_LEAST_NEIGHBOURS = 3


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
    misfit : float
        Share of the contrast that neither the model nor noise explains in thick plates.
    points_mm, outward : (n, 3)
        Places that show their level, and their outward normals.
    level, weight : (n,)
    terms : (n, 3)
        What the trend says that their levels depend on.
    level_all, spread_all : float
        Level and spread over the whole scan: what is borrowed.
    terms_all : (3,)
        Terms that go with it.
    least_spread : float
    paths : BonePaths or None
        Bone on the rays that show a place; None where the scan has no levels.
    trend : LevelTrend
    """

    blur_variance_mm2: float
    through_variance_mm2: float
    through: Array
    blur_sd_mm: float
    apart_mm: float
    misfit: float
    points_mm: Array
    outward: Array
    level: Array
    weight: Array
    terms: Array
    level_all: float
    spread_all: float
    terms_all: Array
    least_spread: float
    paths: BonePaths | None
    trend: LevelTrend
    _tree: cKDTree = field(init=False, repr=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "_tree", cKDTree(self.points_mm.reshape(-1, 3)))

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
            Mean and spread of the levels on the same plate, the near ones weighing more, carried
            along the scan's trend to where the places are; with the doubt of that.
        borrowed : (n,) bool
            None within 15 mm: the level of the whole scan, with a wider spread.
        """
        n = len(points_mm)
        if not len(self.level) or not n or self.paths is None:
            return np.full(n, self.level_all), np.full(n, self.spread_all), np.ones(n, dtype=bool)
        level, sd, of_terms, count = self._around(points_mm, outward)
        borrowed = count < min(_LEAST_NEIGHBOURS, len(self.level))
        level = np.where(borrowed, self.level_all, level)
        spread = np.where(borrowed, self.spread_all, np.hypot(sd, self.least_spread))
        of_terms = np.where(borrowed[:, None], self.terms_all, of_terms)
        path = self.paths.along(points_mm, outward, _THIN_MIDDLE_MM)
        apart = self.trend.terms(points_mm, path) - of_terms
        level = level + apart @ self.trend.gains
        return level, np.hypot(spread, self.trend.doubt(apart)), borrowed

    def _around(
        self, points_mm: Array, outward: Array
    ) -> tuple[Array, Array, Array, NDArray[np.intp]]:
        """Mean level, its spread off the trend, mean terms and number of places around places."""
        n = len(points_mm)
        distance, index = self._tree.query(
            points_mm, k=min(_NEIGHBOURS, len(self.level)), distance_upper_bound=REACH_MM
        )
        distance, index = np.reshape(distance, (n, -1)), np.reshape(index, (n, -1))
        there = np.isfinite(distance)
        index = np.where(there, index, 0)
        same = np.einsum("nkj,nj->nk", self.outward[index], outward) > SAME_PLATE
        near = (np.exp(-0.5 * (distance / _SMOOTH_MM) ** 2) + 1e-6) * self.weight[index]
        weight = np.where(there & same, near, 0.0)
        values = (self.level - self.terms @ self.trend.gains)[index]
        for _ in range(2):
            total = np.maximum(weight.sum(axis=1), 1e-12)
            mean = (weight * values).sum(axis=1) / total
            away = values - mean[:, None]
            sd = np.sqrt((weight * away**2).sum(axis=1) / total)
            weight = np.where(np.abs(away) <= 2.5 * sd[:, None] + 1e-9, weight, 0.0)
        total = np.maximum(weight.sum(axis=1), 1e-12)
        terms = np.einsum("nk,nkj->nj", weight, self.terms[index]) / total[:, None]
        mean = (weight * values).sum(axis=1) / total
        return mean + terms @ self.trend.gains, sd, terms, (weight > 0).sum(axis=1)
