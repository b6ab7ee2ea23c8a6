"""Bone and teeth around the fixtures as a surface that a laboratory registers its scan to."""

from __future__ import annotations

import math

import numpy as np
import trimesh

from core.bone.bone_levels import BoneLevels
from core.errors import OutputError
from core.geometry import Array
from core.image.volume import Volume
from core.plans.plan import Plan
from core.sheet.iso_surface import iso_surface, larger_pieces

AROUND_MM = 16.0
"""How far the surface goes to all sides of every fixture: two teeth on either side."""

FINEST_MM = 0.5
MOST_PLACES = 300_000
"""Of the grid: keeps the file at a few megabytes however many fixtures there are."""

NOISE = 0.02
"""Pieces with a smaller share of all triangles are left out."""


def jaw_surface(
    plan: Plan, volume: Volume, levels: BoneLevels | None, *, finest_mm: float = FINEST_MM
) -> trimesh.Trimesh:
    """Open at the borders of its box and where nothing was scanned; patient LPS, mm.

    Parameters
    ----------
    plan : Plan
    volume : Volume
    levels : BoneLevels or None
    finest_mm : float, optional
        Step of the grid, where the box is not too large for it.

    Raises
    ------
    OutputError
        ``surface-unproven`` where the scan does not prove its tissue levels,
        ``surface-nothing-there``.
    """
    if levels is None or not levels.evidence.is_sound:
        raise OutputError("surface-unproven")
    ends = np.concatenate([np.stack([f.platform, f.apex]) for f in plan.fixtures])
    low, high = ends.min(axis=0) - AROUND_MM, ends.max(axis=0) + AROUND_MM
    step = step_mm(high - low, finest_mm)
    axes = [np.arange(a, b + step, step) for a, b in zip(low, high, strict=True)]
    grid = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1)
    grey: Array = volume.grey_at(grid.reshape(-1, 3)).reshape(grid.shape[:3]).astype(np.float64)
    points, triangles = larger_pieces(*iso_surface(grey, levels.bone_threshold), NOISE)
    if not len(triangles):
        raise OutputError("surface-nothing-there")
    return trimesh.Trimesh(vertices=low + step * points, faces=triangles, process=False)


def step_mm(extent: Array, finest_mm: float = FINEST_MM) -> float:
    """Step of the grid in a box of this extent, rounded up to 0.05 mm."""
    least = float(np.prod(extent) / MOST_PLACES) ** (1 / 3)
    return float(max(finest_mm, math.ceil(least * 20) / 20))
