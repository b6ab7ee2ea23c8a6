"""From tissues to grey values: coverage of voxels, blur, noise."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter

from sample_volumes.shapes import Array, Tissue

GREY = {
    "air": -1000.0, "soft": 40.0, "acrylic": 120.0, "filling": 2400.0, "cortex": 1500.0,
    "spongy": 330.0, "wall": 900.0, "nerve": 60.0, "lamina": 1150.0, "ligament": 120.0,
    "dentine": 1550.0, "pulp": 80.0, "enamel": 2450.0, "metal": 6000.0, "septum": 1300.0,
}  # fmt: skip
"""Levels that look like a cone-beam scan of a jaw; invented, and no Hounsfield units."""


class Jaw(Protocol):
    """What can be voxelised."""

    def tissues(self, points: Array) -> Iterator[Tissue]:
        """Yield (tissue, indices, signed distances) in painting order."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Pose:
    """Rigid transform from the jaw frame to patient space (LPS): p = rotation @ q + shift."""

    rotation: Array
    shift: Array

    @classmethod
    def tilted(cls, *, pitch_deg: float, roll_deg: float, yaw_deg: float, shift: Array) -> Pose:
        """Turned about x (pitch), y (roll), z (yaw), in this order."""
        a, b, c = np.radians([pitch_deg, roll_deg, yaw_deg])
        rx = np.array([[1, 0, 0], [0, np.cos(a), -np.sin(a)], [0, np.sin(a), np.cos(a)]])
        ry = np.array([[np.cos(b), 0, np.sin(b)], [0, 1, 0], [-np.sin(b), 0, np.cos(b)]])
        rz = np.array([[np.cos(c), -np.sin(c), 0], [np.sin(c), np.cos(c), 0], [0, 0, 1]])
        return cls(rotation=rz @ ry @ rx, shift=np.asarray(shift, float))

    def patient(self, jaw_points: Array) -> Array:
        """(n, 3) jaw-frame points in LPS mm."""
        return np.asarray(jaw_points @ self.rotation.T + self.shift)

    def jaw(self, points_mm: Array) -> Array:
        """(n, 3) LPS mm points in the jaw frame."""
        return np.asarray((points_mm - self.shift) @ self.rotation)


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """A voxel grid along the axes of patient space; `first_mm` is the first voxel's centre."""

    first_mm: tuple[float, float, float]
    shape: tuple[int, int, int]
    voxel_mm: float

    @property
    def affine(self) -> Array:
        """(4, 4) from (i, j, k, 1) to LPS mm."""
        out = np.diag([self.voxel_mm] * 3 + [1.0])
        out[:3, 3] = self.first_mm
        return out

    def slice_points(self, k: int, count: int) -> Array:
        """(count * rows * columns, 3) LPS mm of slices k to k + count, columns fastest."""
        _, rows, cols = self.shape
        v, (x, y, z) = self.voxel_mm, self.first_mm
        kk, jj, ii = np.meshgrid(
            np.arange(k, k + count), np.arange(rows), np.arange(cols), indexing="ij"
        )
        return np.stack([x + v * ii, y + v * jj, z + v * kk], axis=-1).reshape(-1, 3)


def paint(
    jaw: Jaw, pose: Pose, grid: Grid, *values: Mapping[str, float], slices_at_once: int = 12
) -> NDArray[np.float32]:
    """Values of the tissues, each voxel weighted by how far the tissue covers it.

    Coverage is a ramp of one voxel across the surface: the mean over the voxel of a flat edge.

    Parameters
    ----------
    values : one mapping from tissue to value a channel

    Returns
    -------
    (channels, K, J, I) float32
    """
    out = np.empty((len(values), *grid.shape), dtype=np.float32)
    for k in range(0, grid.shape[0], slices_at_once):
        count = min(slices_at_once, grid.shape[0] - k)
        points = pose.jaw(grid.slice_points(k, count))
        flat = [np.full(len(points), v["air"]) for v in values]
        for tissue, where, distance in jaw.tissues(points):
            touched = distance < 0.5 * grid.voxel_mm
            at = where[touched]
            cover = np.minimum(0.5 - distance[touched] / grid.voxel_mm, 1.0)
            for channel, value in zip(flat, values, strict=True):
                channel[at] += cover * (value[tissue] - channel[at])
        out[:, k : k + count] = np.reshape(flat, (len(values), count, *grid.shape[1:]))
    return out


def texture(grid: Grid, *, seed: int, grain_mm: float) -> NDArray[np.float32]:
    """(K, J, I) band-passed noise of unit variance: spongy bone's pattern."""
    noise = np.random.default_rng(seed).standard_normal(grid.shape).astype(np.float32)
    fine = gaussian_filter(noise, grain_mm / grid.voxel_mm / 2)
    coarse = gaussian_filter(fine, grain_mm / grid.voxel_mm)
    band = fine - coarse
    return np.asarray(band / band.std(), dtype=np.float32)


def simple_scan(
    jaw: Jaw,
    pose: Pose,
    grid: Grid,
    *,
    seed: int,
    blur_fwhm_mm: float = 0.5,
    noise_sd: float = 35.0,
    texture_sd: float = 120.0,
) -> NDArray[np.int16]:
    """(K, J, I) grey values: tissues, spongy texture, Gaussian blur, noise."""
    marrow = {tissue: float(tissue == "spongy") for tissue in GREY}
    grey, spongy = paint(jaw, pose, grid, GREY, marrow)
    grey += texture_sd * spongy * texture(grid, seed=seed, grain_mm=0.9)
    grey = gaussian_filter(grey, blur_fwhm_mm / 2.354820045 / grid.voxel_mm)
    noise = np.random.default_rng(seed + 1).standard_normal(grid.shape).astype(np.float32)
    grey += noise_sd * noise
    return np.asarray(np.clip(np.rint(grey), -1200, 2895), dtype=np.int16)
