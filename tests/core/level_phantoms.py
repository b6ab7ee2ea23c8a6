"""Jaws painted on any grey scale, with thin plates, air, teeth and fatty marrow, and spoilt scans.

A section is drawn at 0.06 mm, blurred and swept along an arch of 26 mm radius, as in
`bone_phantoms`; here each tissue's level, each plate and what a scanner does to the picture can
be chosen. Nothing of it comes from the program.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.ndimage import gaussian_filter, map_coordinates
from scipy.special import ndtr

from core.image.volume import Volume
from tests.core.bone_phantoms import RADIUS_MM, arc_arch, polygon_distance, rounded

FINE_MM = 0.06


@dataclass(frozen=True, kw_only=True)
class Greys:
    """Level of each tissue, and the noise of a voxel."""

    air: float = -1000.0
    soft: float = 60.0
    marrow: float = 350.0
    cortex: float = 1450.0
    dentine: float = 1600.0
    enamel: float = 2600.0
    noise: float = 60.0

    def on(self, slope, intercept):
        """The same tissues on another linear scale."""
        names = ("air", "soft", "marrow", "cortex", "dentine", "enamel")
        moved = {n: slope * getattr(self, n) + intercept for n in names}
        return replace(self, noise=abs(slope) * self.noise, **moved)


@dataclass(frozen=True, kw_only=True)
class Ridge:
    """A ridge of one section: crest at `crest` mm below the jaw plane.

    `gum` is the soft tissue's thickness over the crest; air is above it where `air_above`. Cheek
    and tongue lie against the bone from `fold` mm below the crest on.
    """

    width: float = 9.15
    height: float = 26.0
    crest: float = 5.0
    buccal: float = 0.45
    lingual: float = 0.45
    top: float = 0.45
    base: float = 0.6
    gum: float = 1.5
    fold: float = 3.0
    air_above: bool = True
    teeth_mm: tuple[float, ...] = ()
    dry: bool = False

    @property
    def outline(self):
        return rounded(self.width, self.height, -self.crest, radius=min(4.0, self.width / 2))

    def cortex(self, w, h):
        side = np.where(w > 0, self.buccal, self.lingual)
        top = h > -self.crest - 1.5
        base = h < -self.crest - self.height + 4.0
        return np.where(top, self.top, np.where(base, self.base, side))

    def grey(self, w, h, greys):
        d = polygon_distance(w, h, self.outline)
        out = np.full(w.shape, greys.air if self.dry else greys.soft)
        if self.air_above and not self.dry:
            out[(h > -self.crest - self.fold) & (d > self.gum)] = greys.air
        out[d < 0] = greys.cortex
        out[d < -self.cortex(w, h)] = greys.marrow
        return out


def scan(
    ridge,
    greys=None,
    *,
    voxel=0.25,
    fwhm=0.5,
    smooth=0.0,
    sharpen=0.0,
    station=22.0,
    reach=17.0,
    heights=(-33.0, 6.0),
    upper=False,
    seed=1,
    stored=None,
    turn_deg=11.0,
):
    """(volume, arch): `smooth`, `sharpen` are filters after the noise, sigma in mm and share.

    `stored` takes the grey values to what is stored (clipping, few levels); else they are rounded
    to whole numbers of an int16.
    """
    greys = greys or Greys()
    arch = arc_arch()
    frame = arch.frame(station)
    a = np.radians(turn_deg)
    rot = np.array([[np.cos(a), -np.sin(a), 0], [np.sin(a), np.cos(a), 0], [0, 0, 1]])
    sign = -1.0 if upper else 1.0
    low, high = sorted((sign * heights[0], sign * heights[1]))
    n = np.ceil(np.array([2 * reach, 2 * reach, high - low]) / voxel).astype(int)
    corner = frame.origin - rot @ (0.5 * voxel * (n * [1, 1, 0])) + [0, 0, low]
    affine = np.eye(4)
    affine[:3, :3], affine[:3, 3] = rot * voxel, corner
    sigma = np.hypot(fwhm / 2.3548, voxel / np.sqrt(12))
    far = max(18.0, reach + 4.0)
    sw = np.arange(-far, far, FINE_MM)
    sh = np.arange(heights[0] - 1, heights[1] + 1, FINE_MM)
    section = gaussian_filter(ridge.grey(*np.meshgrid(sw, sh), greys), sigma / FINE_MM)
    j, i = np.meshgrid(np.arange(n[1]), np.arange(n[0]), indexing="ij")
    x, y = corner[:2, None, None] + np.einsum("ab,bji->aji", affine[:2, :2], np.stack([i, j]))
    w = np.hypot(x, y - RADIUS_MM) - RADIUS_MM
    s = RADIUS_MM * (np.arctan2(x, RADIUS_MM - y) + np.radians(75))
    h = sign * (corner[2] + voxel * np.arange(n[2]))
    at = np.meshgrid((h - sh[0]) / FINE_MM, np.ravel((w - sw[0]) / FINE_MM), indexing="ij")
    out = map_coordinates(section, at, order=1, mode="nearest").reshape(n[2], n[1], n[0])
    for tooth in ridge.teeth_mm:
        out = _with_tooth(out, s[None] - tooth, w[None], h[:, None, None], ridge, greys, sigma)
    out = out + greys.noise * np.random.default_rng(seed).standard_normal(out.shape)
    if smooth:
        out = gaussian_filter(out, smooth / voxel)
    if sharpen:
        out = out + sharpen * (out - gaussian_filter(out, 0.35 / voxel))
    kept = np.rint(out).astype(np.int16) if stored is None else stored(out)
    return Volume(voxels=kept, mm_from_ijk=affine, made_up=np.zeros(n[2], bool)), arch


def _with_tooth(out, s, w, h, ridge, greys, sigma):
    """A root of dentine from 12 mm inside the bone, and a crown whose outer 1 mm is enamel."""
    across = np.hypot(s, w)
    root = np.maximum(across - 2.2, np.abs(h + ridge.crest + 4.0) - 8.0)
    crown = np.maximum(across - 4.0, np.abs(h + ridge.crest - 7.0) - 4.0)
    out = out + (greys.dentine - out) * ndtr(-root / sigma)
    out = out + (greys.enamel - out) * ndtr(-crown / sigma)
    return out + (greys.dentine - out) * ndtr(-(crown + 1.0) / sigma)
