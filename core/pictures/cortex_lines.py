"""The edges of the cortex on a picture across the ridge: for looking, no number is taken here."""

from __future__ import annotations

import numpy as np

from core.bone.bone_in_plane import Plane, outline
from core.bone.bone_levels import BoneLevels
from core.drawing import Line
from core.geometry import PictureGrid
from core.image.volume import Volume
from core.level import Level


def cortex_lines(
    volume: Volume, levels: BoneLevels, level: Level, grid: PictureGrid, *, upper: bool
) -> list[Line]:
    """Outer and inner edges of the jaw's bone, half-way between the scan's own grey levels.

    Parameters
    ----------
    levels : BoneLevels
    level : Level
        The jaw plane: beyond it lie crowns.
    grid : PictureGrid
        A picture that crosses the ridge, standing upright on the jaw plane.
    upper : bool
        True in the upper jaw, where hollows are sinus or nose.
    """
    coronal = -grid.up if upper else grid.up
    rise = float(coronal @ level.up)
    if levels.trouble is not None or abs(rise) < 0.5:
        return []
    plane = Plane(origin=grid.origin, across=grid.right, coronal=coronal)
    crown_level = -float(level.height_mm(grid.origin)[0]) / rise
    found = outline(volume, levels, plane, crown_level_mm=crown_level, upper=upper)
    half = np.array([grid.cols, grid.rows]) * grid.pixel_mm / 2
    turned = np.array([1.0, -1.0 if upper else 1.0])
    lines = [points * turned for points in found]
    return [
        Line(style="cortex", points=points)
        for points in lines
        if (np.abs(points) < half).all(axis=1).any()
    ]
