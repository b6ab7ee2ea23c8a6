"""A surface of equal grey value as triangles: marching tetrahedra on a regular grid.

Each cell is cut into six tetrahedra about its long diagonal (Kuhn's triangulation), which fit
from cell to cell, so that the surface has no cracks; within a tetrahedron the grey value is
linear and the surface flat (Doi and Koide 1991, IEICE Trans E74:214-224, from memory).
"""

from __future__ import annotations

from itertools import permutations

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from core.geometry import Array

Whole = NDArray[np.int64]

_UNIT = np.eye(3, dtype=np.int64)
_TETRAHEDRA = tuple(
    np.cumsum(np.vstack([np.zeros((1, 3), dtype=np.int64), _UNIT[list(order)]]), axis=0)
    for order in permutations(range(3))
)
"""Six times four corners of the unit cell, from (0, 0, 0) to (1, 1, 1)."""


def iso_surface(values: Array, level: float) -> tuple[Array, Whole]:
    """Surface between what is above a level and what is not.

    Parameters
    ----------
    values : (nx, ny, nz) float
        NaN where nothing was scanned: cells that touch it have no surface.
    level : float

    Returns
    -------
    points : (n, 3) float
        In steps of the grid.
    triangles : (m, 3) int
        Their normals point to the lower values.
    """
    shape = np.array(values.shape)
    flat = np.asarray(values, dtype=np.float64).ravel()
    weights = np.array([shape[1] * shape[2], shape[2], 1])
    cells = _crossed(values, level)
    corners: list[Whole] = []
    for tetrahedron in _TETRAHEDRA:
        ids = (cells[:, None, :] + tetrahedron[None]) @ weights
        corners.append(ids)
    ids = np.concatenate(corners)
    inside = flat[ids] > level
    edges, toward = _triangles(ids, inside)
    # One number for both ends: sorting pairs lets no other thread run, not even the window’s.
    ends, index = np.unique(edges[..., 0] * flat.size + edges[..., 1], return_inverse=True)
    triangles = index.reshape(-1, 3)
    low, high = np.divmod(ends, flat.size)
    part = (level - flat[low]) / (flat[high] - flat[low])
    points = _places(low, shape) + part[:, None] * (_places(high, shape) - _places(low, shape))
    return points, _turned(points, triangles, _places(toward, shape))


def larger_pieces(points: Array, triangles: Whole, share: float) -> tuple[Array, Whole]:
    """Only the pieces that hold at least a share of all triangles; the rest is noise.

    Parameters
    ----------
    points : (n, 3)
    triangles : (m, 3) int
        Rows of `points`.
    share : float
        Of all triangles, 0 to 1.
    """
    if not len(triangles):
        return points, triangles
    pairs = np.concatenate([triangles[:, :2], triangles[:, 1:]])
    graph = coo_matrix((np.ones(len(pairs)), pairs.T), shape=(len(points), len(points)))
    _, piece = connected_components(graph, directed=False)
    of_triangle = piece[triangles[:, 0]]
    count = np.bincount(of_triangle)
    kept = triangles[count[of_triangle] >= share * len(triangles)]
    used, index = np.unique(kept, return_inverse=True)
    return points[used], index.reshape(-1, 3)


def _crossed(values: Array, level: float) -> Whole:
    """Lowest corners of the cells that the surface passes."""
    nx, ny, nz = values.shape
    low = np.full((nx - 1, ny - 1, nz - 1), np.inf)
    high = -low
    for corner in np.ndindex(2, 2, 2):
        i, j, k = corner
        block = values[i : nx - 1 + i, j : ny - 1 + j, k : nz - 1 + k]
        # NaN goes on through both, and then no comparison holds.
        low, high = np.minimum(low, block), np.maximum(high, block)
    return np.argwhere((low <= level) & (high > level))


def _triangles(ids: Whole, inside: NDArray[np.bool_]) -> tuple[Whole, Whole]:
    """(m, 3, 2) ends of the cut edges of each triangle, and (m,) a corner of it outside."""
    count = inside.sum(axis=1)
    edges: list[Whole] = []
    outer: list[Whole] = []
    # Sorted: corners inside first, the order among them kept.
    order = np.argsort(~inside, axis=1, kind="stable")
    sorted_ids = np.take_along_axis(ids, order, axis=1)

    def add(rows: NDArray[np.bool_], cuts: tuple[tuple[int, int], ...]) -> None:
        chosen = sorted_ids[rows]
        ends = np.stack([np.stack([chosen[:, a], chosen[:, b]], axis=1) for a, b in cuts], axis=1)
        edges.append(np.sort(ends, axis=2))
        outer.append(chosen[:, 3])

    add(count == 1, ((0, 1), (0, 2), (0, 3)))
    add(count == 3, ((0, 3), (1, 3), (2, 3)))
    two = count == 2
    add(two, ((0, 2), (0, 3), (1, 2)))
    add(two, ((0, 3), (1, 3), (1, 2)))
    return np.concatenate(edges), np.concatenate(outer)


def _places(ids: Whole, shape: Whole) -> Array:
    return np.stack(np.unravel_index(ids, tuple(int(n) for n in shape)), axis=1).astype(np.float64)


def _turned(points: Array, triangles: Whole, outside: Array) -> Whole:
    """Turned so that the corner outside lies before each triangle."""
    a, b, c = (points[triangles[:, n]] for n in range(3))
    normal = np.cross(b - a, c - a)
    wrong = np.einsum("ij,ij->i", normal, outside - a) < 0
    turned = triangles.copy()
    turned[wrong] = turned[wrong][:, ::-1]
    # A corner exactly on the level makes triangles of no area.
    kept = (turned[:, 0] != turned[:, 1]) & (turned[:, 1] != turned[:, 2])
    found: Whole = turned[kept & (turned[:, 0] != turned[:, 2])]
    return found
