"""Hard tissue of a coarse scan with its crowns or crest turned upwards, and its upper surface."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import generate_binary_structure, label

from core.geometry import Array
from core.proposing.coarse import EDGE_MM, Coarse

LEAST_PIECE = 300
"""Voxels; a smaller piece of hard tissue is a splinter, noise or a filling alone."""
WIDEST_MARROW = 450
"""Voxels of a plane: an enclosed space up to this is marrow, a larger one the mouth."""
FREE = 3
"""Voxels without hard tissue that must lie over a surface."""


@dataclass(frozen=True, eq=False)
class Hard:
    """Hard tissue, seen so that crowns or crest look upwards.

    Places are *turned*: x and y of the patient, and z times `sign`.

    Parameters
    ----------
    solid, seen : (K, J, I) bool
    origin : (3,) turned mm
    sign : {1.0, -1.0}
        -1 where the scan was turned upside down, to look for an upper jaw.
    surface : (n, 3) turned mm
        Upper surface of hard tissue with nothing hard straight over it.
    grey : (K, J, I) float32
        The scan itself, turned.
    enamel : float
        Grey value over which a cap is enamel, or brighter still.
    """

    solid: NDArray[np.bool_]
    seen: NDArray[np.bool_]
    origin: Array
    sign: float
    surface: Array
    grey: NDArray[np.float32]
    enamel: float


def hard_tissue(scan: Coarse, threshold: float, sign: float, enamel: float) -> Hard | None:
    """What is brighter than a grey value, marrow filled; None where there is too little.

    Parameters
    ----------
    scan : Coarse
    threshold : float
    sign : {1.0, -1.0}
        -1: the scan is turned upside down.
    enamel : float
        Grey value over which a cap is enamel.
    """
    step = int(sign)
    grey, seen = scan.grey[::step], scan.seen[::step]
    origin = scan.origin.copy()
    if sign < 0:
        origin[2] = -(origin[2] + EDGE_MM * (len(scan.grey) - 1))
    bright = (grey > threshold) & seen
    pieces, count = label(bright, generate_binary_structure(3, 1))
    size = np.bincount(pieces.ravel(), minlength=count + 1)
    size[0] = 0
    bright = (size >= LEAST_PIECE)[pieces]
    if not bright.any():
        return None
    solid = bright | _enclosed(bright, across=1) | _enclosed(bright, across=2)
    empty = ~solid & seen
    free = np.ones(solid.shape, dtype=bool)
    for n in range(1, FREE + 1):
        over = np.zeros_like(free)
        over[:-n] = empty[n:]
        free &= over
    k, j, i = np.nonzero(solid & free)
    inside, outside = grey[k, j, i], grey[np.minimum(k + 1, len(grey) - 1), j, i]
    # Marrow that was filled is darker than the threshold: its surface is taken as the voxel's.
    part = np.clip((inside - threshold) / np.maximum(inside - outside, 1e-3), 0.0, 1.0)
    surface = np.stack([i, j, k + part], axis=1) * EDGE_MM + origin
    return Hard(
        solid=solid, seen=seen, origin=origin, sign=sign, surface=surface, grey=grey, enamel=enamel
    )


def _enclosed(bright: NDArray[np.bool_], *, across: int) -> NDArray[np.bool_]:
    """Small spaces that hard tissue encloses in upright planes; below the scan it is shut."""
    near = generate_binary_structure(3, 1)
    near[tuple(slice(None) if axis != across else [0, 2] for axis in range(3))] = False
    empty = ~np.pad(bright, ((1, 0), (0, 0), (0, 0)), constant_values=True)
    spaces, count = label(empty, near)
    size = np.bincount(spaces.ravel(), minlength=count + 1)
    shut = size <= WIDEST_MARROW
    shut[0] = False
    side = 3 - across
    for edge in (spaces[-1], spaces.take(0, axis=side), spaces.take(-1, axis=side)):
        shut[np.unique(edge)] = False
    return np.asarray(shut[spaces][1:])
