"""A scan on a coarse grid that lies along the patient's axes, and the grey values that part it."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations, product

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import map_coordinates

from core.geometry import Array
from core.image.volume import Volume

EDGE_MM = 1.0
BINS = 48
CLIPPED = (0.5, 99.8)
"""Percentiles of grey values: what lies beyond is metal, or the fill of a field."""


@dataclass(frozen=True, eq=False)
class Coarse:
    """Grey values every `EDGE_MM` along x, y and z.

    Parameters
    ----------
    grey : (K, J, I) float32
    seen : (K, J, I) bool
        False where nothing was scanned.
    origin : (3,) patient LPS mm
        Of voxel (0, 0, 0).
    """

    grey: NDArray[np.float32]
    seen: NDArray[np.bool_]
    origin: Array


def coarse(volume: Volume) -> Coarse:
    """Mean grey values of blocks of voxels, on a grid along the patient's axes."""
    steps = np.array([max(1, round(0.9 * EDGE_MM / float(edge))) for edge in volume.voxel_mm])
    blocks = _means(volume, steps)
    corners = volume.mm(
        [
            [float(n - 1) * part for n, part in zip(volume.shape[::-1], parts, strict=True)]
            for parts in product((0.0, 1.0), repeat=3)
        ]
    )
    low, high = corners.min(axis=0), corners.max(axis=0)
    count = np.maximum(np.floor((high - low) / EDGE_MM).astype(int) + 1, 1)
    grey = np.empty(count[::-1], dtype=np.float32)
    seen = np.empty(count[::-1], dtype=bool)
    j, i = np.mgrid[0 : count[1], 0 : count[0]]
    for k in range(count[2]):
        at = low + EDGE_MM * np.stack([i.ravel(), j.ravel(), np.full(i.size, k)], axis=1)
        ijk = (volume.ijk(at) - (steps - 1) / 2) / steps
        here = map_coordinates(blocks, ijk[:, ::-1].T, order=1, mode="nearest")
        grey[k] = here.reshape(i.shape)
        seen[k] = volume.scanned_at(at).reshape(i.shape)
    return Coarse(grey=grey, seen=seen, origin=low)


def _means(volume: Volume, steps: NDArray[np.int_]) -> NDArray[np.float32]:
    i, j, k = (int(n) for n in steps)
    whole = [n - n % step for n, step in zip(volume.shape, (k, j, i), strict=True)]
    means = []
    for first in range(0, whole[0], k):
        slab = volume.voxels[first : first + k, : whole[1], : whole[2]].astype(np.float32)
        parts = slab.reshape(k, whole[1] // j, j, whole[2] // i, i)
        means.append(parts.mean(axis=(0, 2, 4)))
    return np.asarray(np.stack(means) * volume.slope + volume.intercept, dtype=np.float32)


def partings(scan: Coarse) -> list[float]:
    """Grey values that part the scan's tissues, the likely borders of hard tissue among them.

    The values of two, three and four classes with the least scatter inside (Otsu N, IEEE Trans
    Syst Man Cybern 1979;9:62, from memory). Which of them bounds bone depends on whether air,
    teeth or metal are in the field: nobody says so, hence all are tried.
    """
    values = scan.grey[scan.seen]
    if not len(values):
        return []
    low, high = np.percentile(values, CLIPPED)
    if not high > low:
        return []
    count, edges = np.histogram(np.clip(values, low, high), bins=BINS, range=(low, high))
    middle = (edges[:-1] + edges[1:]) / 2
    mass = np.concatenate([[0.0], np.cumsum(count)])
    lever = np.concatenate([[0.0], np.cumsum(count * middle)])

    def between(first: NDArray[np.int_], last: NDArray[np.int_]) -> Array:
        weight = mass[last] - mass[first]
        return np.asarray((lever[last] - lever[first]) ** 2 / np.maximum(weight, 1e-9))

    found: list[float] = []
    for classes in (2, 3, 4):
        cuts = np.array(list(combinations(range(1, BINS), classes - 1)))
        bounds = np.column_stack([np.zeros(len(cuts), int), cuts, np.full(len(cuts), BINS)])
        worth = sum(between(bounds[:, n], bounds[:, n + 1]) for n in range(classes))
        best = bounds[int(np.argmax(worth)), 1:-1]
        found += [float(edges[n]) for n in best]
    apart = 0.06 * float(high - low)
    kept: list[float] = []
    for value in sorted(found):
        if not kept or value - kept[-1] > apart:
            kept.append(value)
    return kept
