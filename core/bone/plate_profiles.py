"""Bundles of profiles through a plate, and the model fitted to each."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from typing import Protocol, TypeAlias

import numpy as np
from numpy.typing import NDArray

from core.bone.bone_levels import BoneLevels
from core.bone.edges import STEP_MM
from core.bone.plate_kernels import COLUMNS, fit_profiles
from core.geometry import Array
from core.image import sampling
from core.image.in_threads import shared
from core.image.volume import Volume

LEAD_MM = 3.0
"""A profile begins this far outside the place where bone was seen to begin."""

_BUNDLE_MM = 0.35
BUNDLE_VARIANCE_MM2 = 6.0 / 7.0 * _BUNDLE_MM**2 / 2.0
"""Mean square of the bundle's rays from its middle in one direction across."""

_SUMMIT_MM = 1.2
_SLOPE_MM = 0.4
_LEAST_COSINE = 0.2
_LEAST_BLUR_MM = 0.05


Expected: TypeAlias = tuple[Array, Array, NDArray[np.bool_]]
"""(n,) level, its spread, and whether it is borrowed."""


class PlateKnowledge(Protocol):
    """What is known of the scan's blur and of the level of its plates."""

    def variance_mm2(self, directions: Array) -> Array:
        """(n,) square of the scan's Gaussian blur along directions, without the voxel."""

    @property
    def blur_sd_mm(self) -> float:
        """Standard deviation of the blur."""

    def near(self, points_mm: Array, outward: Array) -> Expected:
        """Level, its spread, and whether it is borrowed, by place and outward normal."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Fits:
    """Fitted profiles.

    Parameters
    ----------
    values : (n, COLUMNS)
        Columns of `core.bone.plate_kernels`; distances from `LEAD_MM` before the given point.
    cosine : (n,)
        Of the angle between ray and normal.
    outward : (n, 3)
        Outward normals.
    level, level_sd : (n,)
        Cortical level that was expected, and its spread.
    borrowed : (n,) bool
    """

    values: Array
    cosine: Array
    outward: Array
    level: Array
    level_sd: Array
    borrowed: NDArray[np.bool_]

    def expected(self, rows: NDArray[np.intp]) -> Expected:
        """What was expected of chosen ones; see `PlateKnowledge.near`."""
        return self.level[rows], self.level_sd[rows], self.borrowed[rows]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Bundles:
    """Profiles around places where bone begins, sampled once for as many fits as are wanted.

    The rays of a bundle start on a small disc in the surface, so that all meet it alike.

    Parameters
    ----------
    points_mm : (n, 3) patient LPS mm
    outward : (n, 3)
        Outward normals.
    cosine : (n,)
        Of the angle between ray and normal.
    mean : (n, count)
        Mean grey values of each bundle's rays, from `LEAD_MM` before the point.
    voxel_variance_mm2 : (n,)
        Of the voxel along the normal.
    """

    points_mm: Array
    outward: Array
    cosine: Array
    mean: Array
    voxel_variance_mm2: Array

    @classmethod
    def at(cls, volume: Volume, points_mm: Array, directions: Array, *, depth_mm: float) -> Bundles:
        """Sample bundles.

        Parameters
        ----------
        volume : Volume
        points_mm : (n, 3) patient LPS mm
        directions : (n, 3)
            Unit, into the bone.
        depth_mm : float
            Length of the profiles behind the points.
        """
        outward = _outward(volume, points_mm, directions)
        count = round((LEAD_MM + depth_mm) / STEP_MM) + 1
        offsets = _disc(outward, _BUNDLE_MM)
        starts = (points_mm - LEAD_MM * directions)[:, None, :] + offsets
        along = np.repeat(directions, offsets.shape[1], axis=0)
        grey = sampling.profiles(volume, starts.reshape(-1, 3), along, STEP_MM, count)
        # float64 first: a sum of seven in float32 would cost digits of air and metal.
        mean = grey.reshape(*offsets.shape[:2], count).astype(np.float64).mean(axis=1)
        return cls(
            points_mm=points_mm,
            outward=outward,
            cosine=np.clip(-np.einsum("ij,ij->i", outward, directions), _LEAST_COSINE, 1.0),
            mean=np.ascontiguousarray(mean),
            voxel_variance_mm2=voxel_variance_mm2(volume, outward),
        )

    def every(self, step: int) -> Bundles:
        """The first and then each `step`-th of them."""
        return Bundles(
            points_mm=self.points_mm[::step],
            outward=self.outward[::step],
            cosine=self.cosine[::step],
            mean=np.ascontiguousarray(self.mean[::step]),
            voxel_variance_mm2=self.voxel_variance_mm2[::step],
        )

    def summits(self) -> Array:
        """(n,) brightest value of each within 1.2 mm behind where bone begins; NaN if none."""
        behind = self.mean[:, round(LEAD_MM / STEP_MM) : round((LEAD_MM + _SUMMIT_MM) / STEP_MM)]
        return np.asarray(np.max(behind, axis=1))

    def with_profiles(self, rows: NDArray[np.intp], mean: Array) -> Bundles:
        """Chosen ones, in any order and number, with other profiles of them."""
        return Bundles(
            points_mm=self.points_mm[rows],
            outward=self.outward[rows],
            cosine=self.cosine[rows],
            mean=np.ascontiguousarray(mean),
            voxel_variance_mm2=self.voxel_variance_mm2[rows],
        )

    def sigma_mm(self, known: PlateKnowledge) -> Array:
        """(n,) blur of scan and voxel along each profile."""
        variance = known.variance_mm2(self.outward) + self.voxel_variance_mm2
        return np.asarray(np.sqrt(np.maximum(variance, _LEAST_BLUR_MM**2)) / self.cosine)

    def fitted(
        self,
        levels: BoneLevels,
        known: PlateKnowledge,
        *,
        free_blur: bool = False,
        expected: Expected | None = None,
    ) -> Fits:
        """Fit the plate model to each.

        Parameters
        ----------
        levels : BoneLevels
        known : PlateKnowledge
        free_blur : bool
            Fit the blur of each profile too.
        expected : optional
            What `known` says of the levels at these places, where it was asked before.
        """
        if expected is None:
            expected = known.near(self.points_mm, self.outward)
        level, level_sd, borrowed = expected
        contrast = levels.cortical - levels.soft
        values = np.empty((len(self.mean), COLUMNS))
        fit = partial(
            fit_profiles,
            self.mean,
            np.full(len(self.mean), round(LEAD_MM / STEP_MM)),
            STEP_MM,
            self.sigma_mm(known),
            known.blur_sd_mm / self.cosine,
            level,
            level_sd,
            contrast,
            max(0.5 * levels.noise_sd, 0.015 * contrast),
            max(1.0, levels.voxel_mm / STEP_MM),
            free_blur,
            values,
        )
        shared(fit, len(values))
        return Fits(
            values=values,
            cosine=self.cosine,
            outward=self.outward,
            level=level,
            level_sd=level_sd,
            borrowed=borrowed,
        )


def prepare() -> None:
    """Compile, or load from the cache, what fitting a plate needs."""
    one = np.ones(1)
    fit_profiles(
        np.zeros((1, 2)), np.zeros(1, dtype=np.intp), 1.0, one, one, one, one, 1.0, 1.0, 1.0,
        False, np.empty((1, COLUMNS)), 0, 1,
    )  # fmt: skip


def fit_at(
    volume: Volume,
    points_mm: Array,
    directions: Array,
    levels: BoneLevels,
    known: PlateKnowledge,
    *,
    depth_mm: float,
    free_blur: bool = False,
) -> Fits:
    """Fit the plate model once around places where bone begins; see `Bundles`.

    Parameters
    ----------
    points_mm : (n, 3) patient LPS mm
    directions : (n, 3)
        Unit, into the bone.
    depth_mm : float
        Length of the profiles behind the points.
    free_blur : bool
        Fit the blur of each profile too.
    """
    bundles = Bundles.at(volume, points_mm, directions, depth_mm=depth_mm)
    return bundles.fitted(levels, known, free_blur=free_blur)


def voxel_variance_mm2(volume: Volume, directions: Array) -> Array:
    """(n,) variance along directions of the voxel's box and of the linear interpolation.

    A box of width h has the variance h²/12, the triangle of linear interpolation h²/6; both are
    separable, so along a direction the squares of its parts weigh those of the three axes.
    """
    axes = volume.mm_from_ijk[:3, :3]
    parts = directions @ (axes / np.linalg.norm(axes, axis=0))
    return np.asarray((parts**2) @ (volume.voxel_mm**2) * (1.0 / 12.0 + 1.0 / 6.0))


def _outward(volume: Volume, points_mm: Array, directions: Array) -> Array:
    """Unit outward normals from the slope of the grey values, just inside and just outside."""
    arms = _SLOPE_MM * np.concatenate([np.eye(3), -np.eye(3)])
    slope = np.zeros_like(points_mm)
    for shift in (-0.2, 0.0, 0.2):
        places = (points_mm + shift * directions)[:, None, :] + arms
        grey = sampling.at_points(volume, places.reshape(-1, 3)).reshape(-1, 6)
        slope += grey[:, :3].astype(np.float64) - grey[:, 3:]
    length = np.linalg.norm(slope, axis=1, keepdims=True)
    with np.errstate(invalid="ignore"):
        usable = (length > 0) & (np.einsum("ij,ij->i", slope, directions)[:, None] > 0)
        return np.where(usable, -slope / np.where(usable, length, 1.0), -directions)


def _disc(outward: Array, radius_mm: float) -> Array:
    """(n, 7, 3) offsets in the surface: its middle and six places around it."""
    helper = np.eye(3)[np.argmin(np.abs(outward), axis=1)]
    one = np.cross(outward, helper)
    one /= np.linalg.norm(one, axis=1, keepdims=True)
    two = np.cross(outward, one)
    angle = np.arange(6) * np.pi / 3
    ring = np.cos(angle)[:, None] * one[:, None, :] + np.sin(angle)[:, None] * two[:, None, :]
    return np.concatenate([np.zeros((len(outward), 1, 3)), radius_mm * ring], axis=1)
