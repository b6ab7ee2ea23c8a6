"""Edges that rays meet from outside the bone, told from those that they meet from within it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from core.bone.edges import EdgeSet
from core.bone.outside import Outside
from core.geometry import Array

_STEP_MM = 0.3
_BEFORE_MM, _FAR_PLATE_MM, _GUM_MM = 1.2, 3.5, 5.0
"""Just before the surface lies the outside, within the first. A plate that is met from its inner
side has the outside behind it within the second: cortex is up to about 3 mm thick. What a ray runs
through for longer than the third is no gum but bone (all common practice, no source)."""


def met_from_outside(outside: Outside, starts: Array, way: Array, edges: EdgeSet) -> EdgeSet:
    """The edges without those that rays meet from within the bone.

    A ray that passes a plate too thin or too faint to be found goes on through marrow and ends at
    the inner side of another plate. Where it left the outside something that may be bone begins;
    one that never was outside starts inside.

    Parameters
    ----------
    outside : Outside
    starts : (n, 3) patient LPS mm
    way : (3,) unit direction, patient LPS
    edges : EdgeSet
    """
    rows = np.flatnonzero(edges.found)
    if not len(rows) or not outside.mouth.any():
        return edges
    distance = edges.distance_mm[rows, None]
    t = np.arange(0.0, float(distance.max()) + _FAR_PLATE_MM, _STEP_MM)
    places = (starts[rows, None, :] + t[:, None] * way).reshape(-1, 3)
    cells = outside.cells(places)
    mouth, hollow = outside.widened().in_cells(cells)
    near: NDArray[np.bool_] = (mouth | hollow).reshape(len(rows), -1)
    marrow = outside.in_marrow(cells).reshape(len(rows), -1)
    before = t < distance
    at_edge = (t > distance - _BEFORE_MM) & (t < distance + _STEP_MM)
    was_out = np.asarray((near & before).any(axis=1))
    left_at = np.where(near & before, t, 0.0).max(axis=1)
    through = (marrow & before & (t > left_at[:, None])).any(axis=1)
    behind = (near & ~before & (t < distance + _FAR_PLATE_MM)).any(axis=1)
    # What lies behind alone may be the far side of a thin ridge under gum: it stays in doubt.
    told = through | (distance[:, 0] - left_at > _GUM_MM)
    gone = np.asarray(np.where(was_out, told | behind, through) & ~(near & at_edge).any(axis=1))
    begins = np.where(told, left_at, distance[:, 0])
    at = rows[gone]
    found, reason, hint = edges.found.copy(), edges.reason.copy(), edges.hint_mm.copy()
    apart, sd = edges.distance_mm.copy(), edges.sd_mm.copy()
    found[at], apart[at], sd[at] = False, np.nan, np.nan
    reason[at] = np.where(was_out[gone], "weak", "starts inside")
    hint[at] = np.where(was_out[gone], begins[gone], np.nan)
    return replace(edges, distance_mm=apart, sd_mm=sd, found=found, reason=reason, hint_mm=hint)
