"""The compiled kernel of `core.distances.plane_field`: distances of a plane's lattice to balls.

Everything it calls stands in this file: numba's cache does not see changes in another one.
"""

from __future__ import annotations

import math

import numpy as np

from core import kernel_cache
from core.geometry import Array

kernel_cache.prepare()

from numba import njit  # noqa: E402  the cache folder must be named first


@njit(cache=True, nogil=True)
def lower_to_balls(
    field: Array, u: Array, v: Array, centres_uvw: Array, radii: Array, reach_mm: float
) -> None:
    """Lower a field to the least of (distance to a ball's centre less its radius), in place.

    Parameters
    ----------
    field : (len(v), len(u)) mm
    u, v : (n,), (m,) mm
        Rising, evenly spaced places of the lattice in the plane.
    centres_uvw : (k, 3) mm
        Along u, along v, off the plane.
    radii : (k,) mm
    reach_mm : float
        Places further than this from a ball are left as they are.
    """
    step_u = u[1] - u[0]
    step_v = v[1] - v[0]
    for k in range(len(radii)):
        bound = radii[k] + reach_mm
        off = centres_uvw[k, 2] * centres_uvw[k, 2]
        wide = bound * bound - off
        if bound <= 0.0 or wide < 0.0:
            continue
        half = math.sqrt(wide)
        at_u = centres_uvw[k, 0] - u[0]
        at_v = centres_uvw[k, 1] - v[0]
        first_col = max(0, math.ceil((at_u - half) / step_u))
        last_col = min(len(u) - 1, math.floor((at_u + half) / step_u))
        first_row = max(0, math.ceil((at_v - half) / step_v))
        last_row = min(len(v) - 1, math.floor((at_v + half) / step_v))
        for row in range(first_row, last_row + 1):
            across = v[row] - centres_uvw[k, 1]
            base = off + across * across
            for col in range(first_col, last_col + 1):
                along = u[col] - centres_uvw[k, 0]
                apart = math.sqrt(base + along * along) - radii[k]
                field[row, col] = min(field[row, col], apart)


def prepare() -> None:
    """Compile, or load from the cache, what distances on a plane need."""
    two = np.array([0.0, 1.0])
    lower_to_balls(np.zeros((2, 2)), two, two, np.zeros((1, 3)), np.zeros(1), 1.0)
