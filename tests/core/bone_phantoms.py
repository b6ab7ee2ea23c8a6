"""Analytic jaws for the bone tests: exact outlines, blurred by a Gaussian, with noise.

A jaw is a cross-section swept along an arc of 26 mm radius in the jaw plane (the arch), so that
stations, sides and turns are those of a real arch. Levels are invented and not HU on purpose.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from scipy.ndimage import gaussian_filter, map_coordinates
from scipy.special import ndtr

from core.arch import Arch
from core.bone.bone_levels import BoneLevels
from core.image.volume import Volume
from core.level import Level

AIR, SOFT, SPONGY, CORTEX, METAL = 200.0, 900.0, 1500.0, 2400.0, 6000.0
FWHM_MM = 0.5
NOISE = 90.0
RADIUS_MM = 26.0


def polygon_distance(w, h, outline):
    """Signed distance (negative inside) of points to a closed polygon."""
    best = np.full(w.shape, np.inf)
    inside = np.zeros(w.shape, bool)
    for (x0, y0), (x1, y1) in zip(outline, np.roll(outline, -1, axis=0), strict=True):
        dx, dy = x1 - x0, y1 - y0
        t = np.clip(((w - x0) * dx + (h - y0) * dy) / (dx * dx + dy * dy), 0, 1)
        best = np.minimum(best, np.hypot(w - x0 - t * dx, h - y0 - t * dy))
        if dy != 0:
            crosses = ((y0 <= h) != (y1 <= h)) & (w < x0 + (h - y0) * dx / dy)
            inside ^= crosses
    return np.where(inside, -best, best)


@dataclass
class Jaw:
    """A swept section: `outline` is (n, 2) of (w towards the cheek, h towards the crowns).

    `cortex` is the thickness of its shell, a number or a function of (w, h); `outside` the level
    around it, a number or a function of (distance, w, h). `holes` are discs (w, h, radius,
    level); `solids` functions of (station, w, h) that give a signed distance, each with a level.
    """

    outline: np.ndarray
    cortex: object = 2.0
    holes: list = field(default_factory=list)
    solids: list = field(default_factory=list)
    upper: bool = False
    outside: object = SOFT
    spongy: float = SPONGY

    def grey(self, w, h):
        d = polygon_distance(w, h, self.outline)
        shell = self.cortex(w, h) if callable(self.cortex) else self.cortex
        out = self.outside(d, w, h) if callable(self.outside) else np.full(w.shape, self.outside)
        out = np.where(d < 0, CORTEX, out)
        out = np.where(d < -shell, self.spongy, out)
        for hw, hh, r, level in self.holes:
            out = np.where((w - hw) ** 2 + (h - hh) ** 2 < r * r, level, out)
        return out.astype(np.float64)


def scan_of(
    jaw,
    *,
    voxel=0.25,
    noise=NOISE,
    fwhm=FWHM_MM,
    seed=1,
    station=22.0,
    reach=17.0,
    heights=(-34.0, 6.0),
    turn_deg=0.0,
):
    """Voxelise the part of a jaw around a station of the arch.

    The section is drawn at 0.06 mm, blurred in its plane (blur and voxel as one Gaussian) and
    swept. Returns (volume, arch). In the upper jaw heights are mirrored (crowns down). The grid
    may be turned about z against the patient's axes.
    """
    arch = arc_arch()
    frame = arch.frame(station)
    turn = np.radians(turn_deg)
    rot = np.array([[np.cos(turn), -np.sin(turn), 0], [np.sin(turn), np.cos(turn), 0], [0, 0, 1]])
    sign = -1.0 if jaw.upper else 1.0
    low, high = sorted((sign * heights[0], sign * heights[1]))
    n = np.ceil(np.array([2 * reach, 2 * reach, high - low]) / voxel).astype(int)
    corner = frame.origin - rot @ (0.5 * voxel * (n * [1, 1, 0])) + [0, 0, low]
    affine = np.eye(4)
    affine[:3, :3] = rot * voxel
    affine[:3, 3] = corner
    fine = 0.06
    sigma = np.hypot(fwhm / 2.3548, voxel / np.sqrt(12))
    sw = np.arange(-18.0, 18.0, fine)
    sh = np.arange(heights[0] - 1, heights[1] + 1, fine)
    section = gaussian_filter(jaw.grey(*np.meshgrid(sw, sh)), sigma / fine)
    j, i = np.meshgrid(np.arange(n[1]), np.arange(n[0]), indexing="ij")
    x, y = corner[:2, None, None] + np.einsum("ab,bji->aji", affine[:2, :2], np.stack([i, j]))
    w = np.hypot(x, y - RADIUS_MM) - RADIUS_MM
    s = RADIUS_MM * (np.arctan2(x, RADIUS_MM - y) + np.radians(75))
    h = sign * (corner[2] + voxel * np.arange(n[2]))
    at = np.meshgrid((h - sh[0]) / fine, np.ravel((w - sw[0]) / fine), indexing="ij")
    out = map_coordinates(section, at, order=1, mode="nearest").reshape(n[2], n[1], n[0])
    for distance, level in jaw.solids:
        d = distance(s[None], w[None], h[:, None, None])
        out = out + (level - out) * ndtr(-d / sigma)
    out = out + noise * np.random.default_rng(seed).standard_normal(out.shape)
    volume = Volume(
        voxels=np.clip(np.rint(out), 0, 32000).astype(np.int16),
        mm_from_ijk=affine,
        made_up=np.zeros(out.shape[0], bool),
    )
    return volume, arch


def arc_arch(level_up=(0.0, 0.0, 1.0)):
    """Arc of 26 mm over ± 75°, traced through nine marks."""
    angle = np.radians(np.linspace(-75, 75, 9))
    marks = np.stack(
        [RADIUS_MM * np.sin(angle), RADIUS_MM * (1 - np.cos(angle)), np.zeros(9)], axis=1
    )
    return Arch.trace(marks, level=Level(origin=np.zeros(3), up=np.array(level_up)))


def true_levels(voxel=0.25, noise=NOISE):
    """The phantom's own levels, for tests of what comes after their estimation."""
    return BoneLevels(
        soft=SOFT, spongy=SPONGY, cortical=CORTEX, cortical_sd=40.0, noise_sd=noise, voxel_mm=voxel
    )


def rounded(width, height, top, radius=None):
    """Outline of a ridge `width` wide with a round top and a round base; crest at h = top."""
    r = width / 2 if radius is None else radius
    angle = np.radians(np.linspace(0, 180, 61))
    flat = width / 2 - r
    upper = np.stack(
        [np.cos(angle) * r + np.where(np.cos(angle) > 0, flat, -flat), top - r + r * np.sin(angle)],
        axis=1,
    )
    lower = np.stack(
        [
            -(np.cos(angle) * r + np.where(np.cos(angle) > 0, flat, -flat)),
            top - height + r - r * np.sin(angle),
        ],
        axis=1,
    )
    return np.concatenate([upper, lower])


def width_at(outline, h):
    """Exact outer width of a polygon at a height, and its ends (lingual, buccal)."""
    x = []
    for (x0, y0), (x1, y1) in zip(outline, np.roll(outline, -1, axis=0), strict=True):
        if (y0 <= h) != (y1 <= h):
            x.append(x0 + (h - y0) * (x1 - x0) / (y1 - y0))
    return max(x) - min(x), min(x), max(x)
