"""Places between rays: those of a surface, told from a bridge between two surfaces.

Where one ray ends at a near surface and its neighbour at a far one, a straight line between both
ends runs through bone, and nothing lies on it. A surface has the outside beside it; where that
shows nowhere, the place is not a value, and stays in doubt.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from core.bone.outside import Outside
from core.geometry import Array

_FROM_RAYS_MM = 1.2
"""Rays lie 0.75 mm apart: on a surface that they meet at 60° and less no place is further than
this from all ends of rays."""

_OUTSIDE_WITHIN_MM = 0.6
_LOOKED_AT = _OUTSIDE_WITHIN_MM * np.vstack([np.zeros((1, 3)), np.eye(3), -np.eye(3)])


def on_a_surface(places_mm: Array, met_mm: Array, outside: Outside) -> NDArray[np.bool_]:
    """(n,) False for places far from all ends of rays that have no outside beside them.

    Parameters
    ----------
    places_mm : (n, 3) patient LPS mm
        Between ends of rays; NaN counts as on none.
    met_mm : (m, 3) patient LPS mm
        Ends of rays; NaN where a ray met nothing.
    outside : Outside
    """
    there: NDArray[np.bool_] = np.asarray(np.isfinite(places_mm).all(axis=1))
    met = met_mm[np.isfinite(met_mm).all(axis=1)]
    if not there.any() or not len(met):
        return there
    away = np.full(len(places_mm), np.inf)
    away[there], _ = cKDTree(met).query(places_mm[there])
    bridging = np.flatnonzero(there & (away > _FROM_RAYS_MM))
    if len(bridging):
        around = places_mm[bridging][:, None, :] + _LOOKED_AT
        mouth, hollow = outside.widened().at(around.reshape(-1, 3))
        there[bridging] = (mouth | hollow).reshape(len(bridging), -1).any(axis=1)
    return there
