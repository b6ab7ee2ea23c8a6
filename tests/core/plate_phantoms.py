"""Analytic bones whose cortex has a known thickness: flat, cylindrical and doubly curved.

Painted at half a voxel as the share of each cell that is covered, blurred by a Gaussian, averaged
over the voxel, then noise; with or without sharpening. Distances to the surfaces are exact.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import gaussian_filter

from core.arch import Arch
from core.bone.edges import ScanEdges
from core.bone.half_maximum import HalfMaximum
from core.bone.level_learning import bone_levels
from core.bone.plate_fit import PlateFit
from core.bone.plates import thickness_at
from core.geometry import unit
from core.image.volume import Volume
from core.level import Level

AIR, SOFT, SPONGY, CORTEX = 200.0, 900.0, 1500.0, 2400.0
HALF_MM = 5.0


@dataclass(frozen=True, kw_only=True)
class Bone:
    """A bone around the z axis: ``box``, ``cylinder`` or ``ball``, 10 mm wide.

    `thin` within 3.2 mm of the middle of its height, else `thick`; `lingual` is the level of
    cortex where y > 0.
    """

    shape: str
    thin: float
    thick: float = 2.4
    turn_deg: float = 17.0
    lingual: float = 1.0

    def distance(self, p):
        """Signed distance to the outer surface, negative inside."""
        if self.shape == "ball":
            return np.linalg.norm(p, axis=-1) - HALF_MM
        if self.shape == "cylinder":
            return np.hypot(p[..., 0], p[..., 1]) - HALF_MM
        a = np.radians(self.turn_deg)
        along = np.cos(a) * p[..., 0] + np.sin(a) * p[..., 1]
        across = np.cos(a) * p[..., 1] - np.sin(a) * p[..., 0]
        return np.maximum(np.abs(along) - 7.5, np.abs(across) - HALF_MM)

    def cortex(self, p):
        """Thickness of the cortex at places."""
        return np.where(np.abs(p[..., 2]) < 3.2, self.thin, self.thick)

    def places(self, turns=24, heights=(-1.2, 0.0, 1.2)):
        """(points on the outer surface, outward normals, true thickness)."""
        a = np.radians(np.arange(turns) * 360.0 / turns)
        out, normal = [], []
        for z in (*heights, *(() if self.shape == "ball" else (-6.0, 6.0))):
            if self.shape == "box":
                t = np.radians(self.turn_deg)
                n = np.array([-np.sin(t), np.cos(t), 0.0])
                s = np.linspace(-4, 4, turns // 2)[:, None] * np.array([np.cos(t), np.sin(t), 0])
                for way in (1.0, -1.0):
                    out.append(s + way * HALF_MM * n + [0, 0, z])
                    normal.append(np.broadcast_to(way * n, s.shape))
                continue
            ring = np.stack([np.cos(a), np.sin(a), np.zeros_like(a)], 1)
            if self.shape == "ball":
                n = ring * np.sqrt(1 - (z / HALF_MM) ** 2) + [0, 0, z / HALF_MM]
                out.append(HALF_MM * n)
                normal.append(n)
            else:
                out.append(HALF_MM * ring + [0, 0, z])
                normal.append(ring)
        p, n = np.concatenate(out), np.concatenate(normal)
        return p, n, self.cortex(p)


def paint(bone, *, voxel, fwhm=0.5, noise=60.0, sharpen=0.0, outside=SOFT, seed=1):
    """A scan of a bone, 20 x 20 x 18 mm around its middle, turned against the grid in z."""
    n, rows = round(20.0 / voxel), round(18.0 / voxel)
    cell = voxel / 2
    x = (np.arange(2 * n) - (2 * n - 1) / 2) * cell
    z = (np.arange(2 * rows) - (2 * rows - 1) / 2) * cell
    p = np.stack(np.meshgrid(z, x, x, indexing="ij"), axis=-1)[..., ::-1]
    d = bone.distance(p)

    def cover(v):
        return np.clip(0.5 - v / cell, 0.0, 1.0)

    level = CORTEX * np.where(p[..., 1] > 0, bone.lingual, 1.0)
    grey = outside + cover(d) * (level - outside)
    grey += cover(d + bone.cortex(p)) * (SPONGY - level)
    grey = gaussian_filter(grey, fwhm / 2.3548 / cell)
    grey = grey.reshape(rows, 2, n, 2, n, 2).mean(axis=(1, 3, 5))
    grey += noise * np.random.default_rng(seed).standard_normal(grey.shape)
    if sharpen:
        grey += sharpen * (grey - gaussian_filter(grey, 0.35 / voxel))
    affine = np.diag([voxel, voxel, voxel, 1.0])
    affine[:3, 3] = [-(n - 1) / 2 * voxel, -(n - 1) / 2 * voxel, -(rows - 1) / 2 * voxel]
    return Volume(
        voxels=np.clip(np.rint(grey), 0, 32000).astype(np.int16),
        mm_from_ijk=affine,
        made_up=np.zeros(rows, bool),
    )


def learnt(volume, marks=((-8, 0), (-4, 0), (4, 0), (8, 0)), top=8.0):
    """(levels, fit, half maximum) of a scan, learnt from it alone on a line through its bones."""
    points = np.array([(*m, top) for m in marks], float)
    arch = Arch.trace(points, level=Level(origin=np.array([0, 0, top]), up=np.array([0, 0, 1.0])))
    levels = bone_levels(volume, arch)
    return levels, PlateFit.of(volume, arch, "lower", levels), HalfMaximum(levels=levels)


def read(volume, levels, finder, points, normals):
    """(thickness, its standard error, outer edge's error, its standard error) at places."""
    scan = ScanEdges(volume=volume, levels=levels, finder=finder)
    edges = finder.outer(volume, points + 2.0 * normals, -normals, 4.0)
    thickness, sd = np.full(len(points), np.nan), np.full(len(points), np.nan)
    for i, (p, n) in enumerate(zip(points, normals, strict=True)):
        coronal = unit(np.cross(n, np.eye(3)[int(np.argmin(np.abs(n)))]))
        reading = thickness_at(scan, p, -n, coronal)
        if reading.value is not None:
            thickness[i], sd[i] = reading.value, reading.edge_sd_mm[0]
            if len(reading.edge_sd_mm) > 1:
                sd[i] = float(np.hypot(*reading.edge_sd_mm))
    return thickness, sd, edges.distance_mm - 2.0, edges.sd_mm
