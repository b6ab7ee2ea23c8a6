"""How much bone the rays cross that show a plate: what dims its cortical level in a scan.

A cone-beam scan shows a plate by the rays that run along it: in a reconstruction by filtered
projections the contrast across a surface comes only from views whose rays are nearly at right
angles to its normal (the projection-slice theorem). Where these rays cross much bone, the beam
that is left is harder and scatter weighs more against it, so the same cortex is darker there
than where they cross little (Barrett and Keat 2004, RadioGraphics 24:1679-1691). A level taken
from the thick part of a plate is therefore too low for its thin part.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from core.bone.bone_levels import BoneLevels
from core.geometry import Array, unit
from core.image import sampling
from core.image.volume import Volume

_CELL_MM = 1.0
_REACH_MM = 30.0
_TAKEN_TO_A_CELL = 3
_SPREAD = 0.15
"""Sine of the angle to the surface up to which rays show it: a plate of 0.5 mm stays within a
blur of its tangent for 3 mm."""

_DIRECTIONS = np.array([-1.0, -0.5, 0.0, 0.5, 1.0])
_MOST_CORTEX = 2.0
_STORED = 1e-4


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BonePaths:
    """The scan as shares of cortex, coarse, and the paths through it.

    Parameters
    ----------
    shares : Volume
        0 soft tissue and less, 1 cortex, at most 2, in cells of about 1 mm.
    through : (3,)
        Unit direction of the axis that the source turned about: through the slices.
    """

    shares: Volume
    through: Array

    @classmethod
    def of(cls, volume: Volume, levels: BoneLevels) -> BonePaths:
        """Shares of cortex by the scan's own levels of soft tissue and cortex."""
        cells = [max(1, round(_CELL_MM / mm)) for mm in volume.voxel_mm[::-1]]
        cells = [min(cell, size // 2) for cell, size in zip(cells, volume.shape, strict=True)]
        thinned = [max(1, cell // _TAKEN_TO_A_CELL) for cell in cells]
        sizes = [size // cell for cell, size in zip(cells, volume.shape, strict=True)]
        contrast = levels.cortical - levels.soft
        # In the scan's own kind of words: another one would have the sampler compiled anew.
        shares = np.empty(sizes, dtype=volume.voxels.dtype)
        rows, columns = sizes[1] * cells[1], sizes[2] * cells[2]
        split = (-1, sizes[1], cells[1], sizes[2], cells[2])
        some = np.s_[:, :, :: thinned[1], :, :: thinned[2]]
        for k in range(sizes[0]):
            slab = volume.voxels[k * cells[0] : (k + 1) * cells[0] : thinned[0], :rows, :columns]
            stored = slab.reshape(split)[some]
            grey = stored.astype(np.float32) * volume.slope + volume.intercept
            share = np.clip((grey - levels.soft) / contrast, 0.0, _MOST_CORTEX)
            if volume.padding is not None:
                share[(stored >= volume.padding[0]) & (stored <= volume.padding[1])] = 0.0
            if volume.field is not None:
                share *= volume.field[:rows, :columns].reshape(split)[some]
            shares[k] = np.rint(share.mean(axis=(0, 2, 4)) / _STORED)
        affine = volume.mm_from_ijk.copy()
        ijk = np.array(cells[::-1], dtype=np.float64)
        affine[:3, 3] += volume.mm_from_ijk[:3, :3] @ (0.5 * (ijk - 1.0))
        affine[:3, :3] *= ijk
        return cls(
            shares=Volume(
                voxels=shares,
                mm_from_ijk=affine,
                slope=_STORED,
                made_up=np.zeros(sizes[0], dtype=bool),
            ),
            through=unit(volume.mm_from_ijk[:3, 2]),
        )

    def along(self, points_mm: Array, outward: Array, depth_mm: Array | float) -> Array:
        """Bone on the rays that show a plate, as mm of cortex, the mean over these rays.

        Parameters
        ----------
        points_mm, outward : (n, 3)
            Places on the outer surface and unit outward normals.
        depth_mm : (n,) or float
            Of the middle of the plate behind them.

        Returns
        -------
        (n,) mm
            Within 30 mm of the place and within the scan. A surface that lies in the plane of
            rotation is shown by rays of all directions.
        """
        along = np.cross(self.through, outward)
        size = np.linalg.norm(along, axis=1, keepdims=True)
        helper = np.cross(self.through, np.eye(3)[int(np.argmin(np.abs(self.through)))])
        along = np.where(size > 1e-6, along / np.maximum(size, 1e-6), unit(helper))
        across = np.cross(self.through, along)
        sine = _DIRECTIONS * np.minimum(1.0, _SPREAD / np.maximum(size, 1e-6))
        ways = (
            np.sqrt(1.0 - sine**2)[..., None] * along[:, None] + sine[..., None] * across[:, None]
        )
        depth = np.broadcast_to(depth_mm, len(points_mm))[:, None]
        starts = (points_mm - depth * outward)[:, None, :] - _REACH_MM * ways
        count = round(2.0 * _REACH_MM / _CELL_MM) + 1
        shares = sampling.lines(
            self.shares, starts.reshape(-1, 3), _CELL_MM * ways.reshape(-1, 3), count
        )
        paths = np.nansum(shares, axis=1, dtype=np.float64) * _CELL_MM
        return np.asarray(paths.reshape(len(points_mm), -1).mean(axis=1))
