"""Random canals in image space whose outside and lumen are known, drawn by functions of their own.

A tube along a straight line that lies oblique to the voxels: lumen, bony wall, spongy bone with
uneven texture. Drawn on a grid about 0.1 mm fine, blurred, averaged over voxels, noise added. The
wall may be missing along a part of the circumference, weaker than cortex, or beside a cortical
plate.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import gaussian_filter

from core.image.volume import Volume

HALF_MM = 5.6
CORTEX = 1550.0


@dataclass(frozen=True)
class RandomCanal:
    """A drawn canal, a click near its middle, and what is true of it."""

    volume: Volume
    mark_mm: np.ndarray
    along: np.ndarray
    outside_mm: float
    lumen_mm: float
    words: str


def unit(v):
    return np.asarray(v) / np.linalg.norm(v)


def random_canal(seed: int, *, lumen_mm: float | None = None, wall_mm: float | None = None,
                 voxel_mm: float | None = None, gap: float | None = None,
                 noise: float | None = None) -> RandomCanal:  # fmt: skip
    """One canal; what is not given is drawn.

    Parameters
    ----------
    lumen_mm : 2 to 4
    wall_mm : 0.2 to 0.8
    voxel_mm : 0.2 to 0.4
    gap : share of the circumference without a wall, 0 to 0.35
    noise : standard deviation of the voxels' noise, 15 to 80
    """
    rng = np.random.default_rng([4711, seed])
    lumen = float(rng.uniform(2.0, 4.0)) if lumen_mm is None else lumen_mm
    wall = float(rng.uniform(0.2, 0.8)) if wall_mm is None else wall_mm
    voxel = float(rng.choice([0.2, 0.25, 0.3, 0.4])) if voxel_mm is None else voxel_mm
    missing = float(rng.choice([0.0, rng.uniform(0.0, 0.35)])) if gap is None else gap
    spread = float(rng.uniform(15.0, 80.0)) if noise is None else noise
    contrast = float(rng.uniform(0.45, 1.0))
    inner, spongy = float(rng.uniform(40.0, 330.0)), float(rng.uniform(420.0, 850.0))
    blur_fwhm = float(rng.uniform(0.3, 0.7))
    texture = float(rng.uniform(0.0, 90.0))
    axis = unit([rng.normal(0, 0.3), 1.0, rng.normal(0, 0.3)])
    middle = rng.uniform(-0.3, 0.3, 3)

    count = round(2 * HALF_MM / voxel)
    fine = max(2, round(voxel / 0.1))
    step = voxel / fine
    line = (np.arange(count * fine) - (count * fine - 1) / 2) * step
    z, y, x = np.meshgrid(line, line, line, indexing="ij", sparse=True)
    px, py, pz = x - middle[0], y - middle[1], z - middle[2]
    first = unit(np.cross(axis, [0.0, 0.0, 1.0]))
    second = np.cross(axis, first)
    u = px * first[0] + py * first[1] + pz * first[2]
    v = px * second[0] + py * second[1] + pz * second[2]
    away = np.hypot(u, v)
    share = np.clip((lumen / 2 + wall - away) / step + 0.5, 0, 1)
    core_share = np.clip((lumen / 2 - away) / step + 0.5, 0, 1)
    turn = np.arctan2(v, u) - rng.uniform(-np.pi, np.pi)
    there = np.abs((turn + np.pi) % (2 * np.pi) - np.pi) >= np.pi * missing
    around = spongy + texture * _texture(rng, line.size)
    if rng.random() < 0.35:
        # A cortical plate beside the canal, at least 1 mm from its outside.
        off = lumen / 2 + wall + rng.uniform(1.0, 3.0)
        way = rng.uniform(-np.pi, np.pi)
        around = np.where(u * np.cos(way) + v * np.sin(way) > off, CORTEX, around)
    walls = np.where(there, spongy + contrast * (CORTEX - spongy), around)
    grey = around + (walls - around) * share
    grey = grey + (inner - grey) * core_share
    grey = gaussian_filter(grey, blur_fwhm / 2.3548 / step, mode="nearest")
    grey = grey.reshape(count, fine, count, fine, count, fine).mean(axis=(1, 3, 5))
    grey = grey + rng.normal(0, spread, grey.shape)
    affine = np.diag([voxel, voxel, voxel, 1.0])
    affine[:3, 3] = -(count - 1) / 2 * voxel
    across = rng.normal(0, 1, 2)
    across *= rng.uniform(0.0, 0.5) / np.linalg.norm(across)
    lean = rng.normal(0, np.radians(5.0), 2)
    return RandomCanal(
        volume=Volume(voxels=np.round(grey).astype(np.int16), mm_from_ijk=affine,
                      made_up=np.zeros(count, dtype=bool)),
        mark_mm=middle + across[0] * first + across[1] * second,
        along=unit(axis + lean[0] * first + lean[1] * second),
        outside_mm=lumen + 2 * wall,
        lumen_mm=lumen,
        words=(f"lumen {lumen:.2f}, wall {wall:.2f} x {contrast:.2f}, gap {missing:.2f}, "
               f"voxel {voxel:.2f}, blur {blur_fwhm:.2f}, noise {spread:.0f}, "
               f"texture {texture:.0f}, {inner:.0f}|{spongy:.0f}"),
    )  # fmt: skip


def _texture(rng: np.random.Generator, count: int) -> np.ndarray:
    """Uneven bone of unit variance, alike over about 1 mm: drawn coarsely and enlarged."""
    coarse = gaussian_filter(rng.normal(size=(14, 14, 14)), 0.8)
    coarse /= coarse.std()
    place = np.linspace(0, 13.999, count).astype(int)
    return coarse[np.ix_(place, place, place)]
