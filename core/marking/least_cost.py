"""The way through pictures across a course that costs least, picture by picture.

Dynamic programming (Bellman 1957, Dynamic Programming): the way goes once through each picture and
moves by at most one cell, in each direction, from one to the next.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

_MOVES = [(0, 0), *((a, b) for a in (-1, 0, 1) for b in (-1, 0, 1) if (a, b) != (0, 0))]


def least_way(cost: NDArray[np.float32], sideways: float) -> NDArray[np.intp]:
    """Find the cheapest way.

    Parameters
    ----------
    cost : (n, m, m) float32
        Of each cell; infinite where the way must not go.
    sideways : float
        Cost of a move by one cell to the side; a diagonal one costs the square root of two as much.

    Returns
    -------
    (n, 2) indices

    Raises
    ------
    ValueError
        Where no way is open.
    """
    count, width = len(cost), cost.shape[1]
    came = np.zeros(cost.shape, dtype=np.int8)
    total = cost[0].astype(np.float64)
    for n in range(1, count):
        padded = np.full((width + 2, width + 2), np.inf)
        padded[1:-1, 1:-1] = total
        best = np.full((width, width), np.inf)
        for index, (a, b) in enumerate(_MOVES):
            before = padded[1 - a : 1 - a + width, 1 - b : 1 - b + width]
            tried = before + sideways * np.hypot(a, b)
            better = tried < best
            best[better] = tried[better]
            came[n][better] = index
        total = best + cost[n]
    if not np.isfinite(total).any():
        raise ValueError("no way is open through all pictures")
    at = np.unravel_index(int(np.argmin(total)), total.shape)
    way = [(int(at[0]), int(at[1]))]
    for n in range(count - 1, 0, -1):
        a, b = _MOVES[came[n][way[-1]]]
        way.append((way[-1][0] - a, way[-1][1] - b))
    return np.array(way[::-1], dtype=np.intp)
