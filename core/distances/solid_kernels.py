"""The compiled kernel of `core.distances.solid`: distances to a solid of revolution.

Everything it calls stands in this file: numba's cache does not see changes in another one.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from core import kernel_cache
from core.geometry import Array

kernel_cache.prepare()

from numba import njit  # noqa: E402  the cache folder must be named first

ON_SURFACE_MM = 1e-9
"""Nearer than this a point counts as on the axis, or on the surface."""
GOLDEN = (math.sqrt(5.0) - 1.0) / 2.0
SHARE = 1e-8
"""Of a piece: how closely its least place is found."""
_INNER: dict[str, Any] = {"no_cpython_wrapper": True, "no_cfunc_wrapper": True}
"""What only compiled code calls needs no door that Python would enter by."""


@njit(**_INNER)
def _nearest_piece(outline: Any, depth: float, away: float) -> tuple[int, float, float, bool]:
    # Piece of the outline that is nearest in the half-plane, the way from it, and whether inside.
    least, best, gap_d, gap_r = np.inf, 0, 0.0, 0.0
    inside = True
    for k in range(len(outline) - 1):
        sd = outline[k + 1, 0] - outline[k, 0]
        sr = outline[k + 1, 1] - outline[k, 1]
        rd = depth - outline[k, 0]
        rr = away - outline[k, 1]
        square = sd * sd + sr * sr
        share = min(max((rd * sd + rr * sr) / square, 0.0), 1.0)
        d = rd - share * sd
        r = rr - share * sr
        apart = d * d + r * r
        if apart < least:
            least, best, gap_d, gap_r = apart, k, d, r
        if rr * sd - rd * sr > 0.0:
            inside = False
    return best, gap_d, gap_r, inside


@njit(**_INNER)
def _signed(outline: Any, depth: float, away: float) -> float:
    _, d, r, inside = _nearest_piece(outline, depth, away)
    apart = math.hypot(d, r)
    return -apart if inside else apart


@njit(**_INNER)
def _distance(outline: Any, origin: Any, axis: Any, x: float, y: float, z: float) -> Any:
    ox, oy, oz = x - origin[0], y - origin[1], z - origin[2]
    depth = ox * axis[0] + oy * axis[1] + oz * axis[2]
    lx, ly, lz = ox - depth * axis[0], oy - depth * axis[1], oz - depth * axis[2]
    away = math.sqrt(lx * lx + ly * ly + lz * lz)
    return _signed(outline, depth, 0.0 if away < ON_SURFACE_MM else away)


@njit(cache=True, nogil=True)
def distances(outline: Array, origin: Array, axis: Array, points: Array) -> Array:
    """(n, 3) points → (n,) signed distances, mm, negative inside.

    Parameters
    ----------
    outline : (m, 2) depth and radius, mm
        Closed by the axis; no piece without length.
    origin, axis : (3,)
    points : (n, 3) patient LPS mm
    """
    out = np.empty(len(points))
    for i in range(len(points)):
        out[i] = _distance(outline, origin, axis, points[i, 0], points[i, 1], points[i, 2])
    return out


@njit(cache=True, nogil=True)
def least_at_poses(
    outline: Array, origins: Array, axes: Array, points: Array, radii: Array
) -> Array:
    """Least (signed distance - radius) over balls, for one solid in many poses.

    Parameters
    ----------
    outline : (m, 2) depth and radius, mm
        As in `distances`.
    origins, axes : (n, 3)
    points : (k, 3) patient LPS mm
        Centres of the balls.
    radii : (k,) mm

    Returns
    -------
    (n,) mm
    """
    out = np.empty(len(origins))
    for n in range(len(origins)):
        least = np.inf
        for i in range(len(points)):
            gap = _distance(outline, origins[n], axes[n], points[i, 0], points[i, 1], points[i, 2])
            least = min(least, gap - radii[i])
        out[n] = least
    return out


@njit(cache=True, nogil=True)
def contacts(
    outline: Array, origin: Array, axis: Array, side: Array, points: Array
) -> tuple[Array, Array, Array]:
    """Signed distance, nearest surface point and outward direction of many points.

    Parameters
    ----------
    outline, origin, axis, points
        As in `distances`.
    side : (3,)
        Direction across the axis that is taken for points on it.

    Returns
    -------
    (n,) mm, (n, 3) patient LPS mm, (n, 3)
    """
    count = len(points)
    distance = np.empty(count)
    nearest = np.empty((count, 3))
    outward = np.empty((count, 3))
    radial = np.empty(3)
    for i in range(count):
        depth = 0.0
        for c in range(3):
            depth += (points[i, c] - origin[c]) * axis[c]
        away = 0.0
        for c in range(3):
            radial[c] = points[i, c] - origin[c] - depth * axis[c]
            away += radial[c] * radial[c]
        away = math.sqrt(away)
        if away < ON_SURFACE_MM:
            away = 0.0
            for c in range(3):
                radial[c] = side[c]
        else:
            for c in range(3):
                radial[c] /= away
        piece, gap_d, gap_r, inside = _nearest_piece(outline, depth, away)
        apart = math.hypot(gap_d, gap_r)
        signed = -apart if inside else apart
        if apart < ON_SURFACE_MM:
            # On the surface the way has no direction: that of the piece's normal is taken.
            sd = outline[piece + 1, 0] - outline[piece, 0]
            sr = outline[piece + 1, 1] - outline[piece, 1]
            length = math.hypot(sd, sr)
            out_d, out_r = -sr / length, sd / length
        else:
            out_d, out_r = gap_d / signed, gap_r / signed
        distance[i] = signed
        for c in range(3):
            nearest[i, c] = origin[c] + (depth - gap_d) * axis[c] + (away - gap_r) * radial[c]
            outward[i, c] = out_d * axis[c] + out_r * radial[c]
    return distance, nearest, outward


@njit(cache=True, nogil=True)
def least_on_pieces(
    outline: Array, origin: Array, axis: Array, points: Array, radii: Array, kept: Any
) -> Array:
    """Least place of (signed distance - radius) on each straight piece, as its share from 0 to 1.

    Parameters
    ----------
    outline, origin, axis
        As in `distances`.
    points : (m, 3) patient LPS mm
        Ends of the pieces.
    radii : (m,) mm
        Linear in between.
    kept : (k,) int
        Which pieces are searched.

    Returns
    -------
    (k,)

    Notes
    -----
    Golden-section search: the signed distance of a convex solid is convex, so with a linear
    radius there is one least place on a piece.
    """
    out = np.empty(len(kept))
    for n in range(len(kept)):
        k = kept[n]
        x, y, z, radius = points[k, 0], points[k, 1], points[k, 2], radii[k]
        dx, dy, dz = points[k + 1, 0] - x, points[k + 1, 1] - y, points[k + 1, 2] - z
        grow = radii[k + 1] - radius
        low, high = 0.0, 1.0
        s = high - GOLDEN * (high - low)
        t = low + GOLDEN * (high - low)
        at_s = _distance(outline, origin, axis, x + s * dx, y + s * dy, z + s * dz) - s * grow
        at_t = _distance(outline, origin, axis, x + t * dx, y + t * dy, z + t * dz) - t * grow
        while high - low > SHARE:
            if at_s <= at_t:
                high, t, at_t = t, s, at_s
                s = high - GOLDEN * (high - low)
                at_s = (
                    _distance(outline, origin, axis, x + s * dx, y + s * dy, z + s * dz) - s * grow
                )
            else:
                low, s, at_s = s, t, at_t
                t = low + GOLDEN * (high - low)
                at_t = (
                    _distance(outline, origin, axis, x + t * dx, y + t * dy, z + t * dz) - t * grow
                )
        out[n] = (low + high) / 2.0
    return out
