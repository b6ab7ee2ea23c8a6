"""Blocks of acrylic with bright balls and rods in them, as exact distances painted on voxels."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from scipy.ndimage import gaussian_filter

from core.image.volume import Volume
from core.structures import KnownObject
from core.trust.scale_check import Deviation, deviation

Distance = Callable[[np.ndarray], np.ndarray]


def ball(middle, diameter: float) -> Distance:
    """Signed distance to a ball."""
    return lambda p: np.linalg.norm(p - np.asarray(middle), axis=-1) - diameter / 2


def rod(first, last, diameter: float) -> Distance:
    """Signed distance to a flat-ended rod."""
    a, b = np.asarray(first, float), np.asarray(last, float)
    length = np.linalg.norm(b - a)
    way = (b - a) / length

    def distance(p):
        along = (p - a) @ way
        off = np.linalg.norm(p - a - along[..., None] * way, axis=-1)
        return np.maximum(off - diameter / 2, np.abs(along - length / 2) - length / 2)

    return distance


def block(
    parts: list[tuple[Distance, float]],
    *,
    size_mm=(20.0, 20.0, 20.0),
    voxel_mm: float = 0.3,
    around: float = 120.0,
    blur_fwhm_mm: float = 0.5,
    noise_sd: float = 40.0,
    shading_per_mm=(0.0, 0.0, 0.0),
    stretch=(1.0, 1.0, 1.0),
    seed: int = 1,
    most: float = 1e9,
) -> Volume:
    """A scan of a block whose middle is the origin.

    Parameters
    ----------
    parts : list of (distance, grey)
        Later ones over earlier ones.
    stretch : (3,)
        By how much too long the scan says each axis is: a wrong scale.
    most : float
        Grey value that the scan cannot exceed.
    """
    shape = np.round(np.array(size_mm)[::-1] / voxel_mm).astype(int)
    axes = [(np.arange(n) - (n - 1) / 2) * voxel_mm for n in shape]
    z, y, x = np.meshgrid(*axes, indexing="ij")
    p = np.stack([x, y, z], axis=-1)
    grey = np.full(tuple(shape), around)
    for distance, level in parts:
        covered = np.clip(0.5 - distance(p) / voxel_mm, 0.0, 1.0)
        grey = covered * level + (1 - covered) * grey
    grey = gaussian_filter(grey, blur_fwhm_mm / 2.3548 / voxel_mm)
    grey += p @ np.asarray(shading_per_mm)
    grey += np.random.default_rng(seed).normal(0, noise_sd, grey.shape)
    affine = np.eye(4)
    for i in range(3):
        affine[i, i] = voxel_mm * stretch[i]
        affine[i, 3] = -(shape[2 - i] - 1) / 2 * voxel_mm * stretch[i]
    return Volume(
        voxels=np.round(np.minimum(grey, most)).astype(np.int16),
        mm_from_ijk=affine,
        made_up=np.zeros(shape[0], dtype=bool),
    )


def pair(scale: float, seed: int) -> Deviation:
    """Two balls 20 mm apart, in a random direction of a random scan; marks 0.25 mm off."""
    rng = np.random.default_rng(seed)
    way = rng.normal(size=3)
    way /= np.linalg.norm(way)
    middle = rng.uniform(-0.3, 0.3, 3)
    first, last = middle - 10 * way, middle + 10 * way
    width = rng.uniform(2, 4)
    volume = block(
        [(ball(first, width), 2400.0), (ball(last, width), 2400.0)],
        size_mm=np.abs(20 * way) + 9, voxel_mm=rng.uniform(0.2, 0.4),
        blur_fwhm_mm=rng.uniform(0.4, 0.7), noise_sd=rng.uniform(20, 80),
        shading_per_mm=rng.normal(0, 20, 3), stretch=(scale,) * 3, seed=seed,
    )  # fmt: skip
    marks = np.array([first, last]) * scale + rng.normal(0, 0.25, (2, 3))
    # The caliper's own reading is off by up to 0.05 mm.
    true = 20 + rng.uniform(-0.05, 0.05)
    return deviation(volume, KnownObject(id="balls", points=marks, size_mm=true))
