"""A straight wall of hard tissue, 40 mm long, whose top is a ridge: the easiest jaw there is."""

from __future__ import annotations

import numpy as np

from core.geometry import unit
from core.proposing.find import along
from core.proposing.hard import Hard

UP = np.array([0.0, 0.0, 1.0])
SHAPE = (40, 60, 60)
"""Planes, rows and columns of the coarse grid around it, 1 mm each."""
ORIGIN = np.array([-10.0, -30.0, -25.0])
"""Of the grid's first voxel; the wall stands on the x axis, from 0 to 40, with its top at 0."""


def wall(width_mm=6.0, *, rise=lambda x: 0.0 * x, beside=(), seen=None, normal=UP):
    """The ridge on top of the wall.

    `rise` lifts the top along x; `beside` holds more upper surface, (n, 3); `seen` is what was
    scanned.
    """
    x, y = np.meshgrid(np.arange(41.0), np.arange(-width_mm / 2, width_mm / 2 + 0.1))
    surface = np.stack([x.ravel(), y.ravel(), rise(x).ravel()], axis=1)
    nothing = np.zeros(SHAPE, dtype=bool)
    hard = Hard(
        solid=nothing, seen=~nothing if seen is None else seen, origin=ORIGIN, sign=1.0,
        surface=np.vstack([surface, *beside]), grey=np.zeros(SHAPE, dtype=np.float32),
        enamel=np.inf,
    )  # fmt: skip
    ridge = along(hard, surface.mean(axis=0), unit(normal), UP)
    assert ridge is not None
    return ridge
