"""What blur takes off a curved surface, from the shape of the surface around each place.

The half-way surface of a blurred body lies s² k / 2 inside a surface whose curvatures sum to k
(s: standard deviation of the blur; first term of the known shift for disc and ball, Bouma et al.
2005, IEEE Trans Pattern Anal Mach Intell 27:1501, cited from memory). Near the crest of a narrow
ridge that is up to a tenth of a millimetre, always towards less bone.
"""

from __future__ import annotations

import numpy as np

from core.geometry import Array

PATCH_MM = 1.6
"""A place's shape is that of the surface this far around it."""

_LEAST_PLACES = 8
_MOST_MM = 0.12
_STEEPEST = 3.0
_SHAPE_DOUBT = 0.8
"""Share of the shift that stays in doubt: a surface may bend within the patch."""


def rounded_off(
    points: Array, outward: Array, half_variance_mm2: Array, reach: tuple[int, int], *, ring: bool
) -> tuple[Array, Array]:
    """How far further out along its ray each place of a read surface truly lies.

    Parameters
    ----------
    points : (rows, columns, 3) patient LPS mm
        Where rays of a grid met the surface; NaN where they did not.
    outward : (rows, columns, 3)
        Unit directions out of the bone, against the rays.
    half_variance_mm2 : (rows, columns)
        Half the square of the blur along each ray; see `EdgeFinder.rounding_mm2`.
    reach : (rows, columns)
        Neighbours on each side that belong to a place's patch, as far as `PATCH_MM`.
    ring : bool
        True where the columns go all the way round.

    Returns
    -------
    shift, sd : (rows, columns) mm
        Zero where too little of the surface was found around a place.
    """
    rows, columns = points.shape[:2]
    wide = np.pad(points, ((reach[0],) * 2, (0, 0), (0, 0)), constant_values=np.nan)
    beside = ((0, 0), (reach[1],) * 2, (0, 0))
    if ring:
        wide = np.pad(wide, beside, mode="wrap")
    else:
        wide = np.pad(wide, beside, constant_values=np.nan)
    around = np.stack(
        [
            wide[r : r + rows, c : c + columns]
            for r in range(2 * reach[0] + 1)
            for c in range(2 * reach[1] + 1)
        ],
        axis=2,
    )
    flat = points.reshape(-1, 3)
    found = np.flatnonzero(np.isfinite(flat).all(axis=1))
    shift, sd = np.zeros(rows * columns), np.zeros(rows * columns)
    if len(found):
        shift[found], sd[found] = _by_quadric(
            around.reshape(rows * columns, -1, 3)[found] - flat[found][:, None],
            np.broadcast_to(outward, points.shape).reshape(-1, 3)[found],
            half_variance_mm2.ravel()[found],
        )
    return shift.reshape(rows, columns), sd.reshape(rows, columns)


def _by_quadric(local: Array, outward: Array, half_variance_mm2: Array) -> tuple[Array, Array]:
    """Shifts of n places by the quadrics through the m points around each, (n, m, 3)."""
    counted = np.asarray(np.isfinite(local).all(axis=2))
    local = np.where(counted[..., None], local, 0.0)
    counted = counted & (np.einsum("nmi,nmi->nm", local, local) < PATCH_MM**2)
    one = np.cross(outward, np.eye(3)[np.argmin(np.abs(outward), axis=1)])
    one /= np.linalg.norm(one, axis=1, keepdims=True)
    two = np.cross(outward, one)
    x, y, z = (np.einsum("nmi,ni->nm", local, way) for way in (one, two, outward))
    terms = np.stack([np.ones_like(x), x, y, 0.5 * x * x, x * y, 0.5 * y * y], axis=2)
    terms *= counted[..., None]
    normal = np.einsum("nmi,nmj->nij", terms, terms)
    enough = (counted.sum(axis=1) >= _LEAST_PLACES) & (np.linalg.cond(normal) < 1e7)
    normal[~enough] = np.eye(6)
    fit = np.linalg.solve(normal, np.einsum("nmi,nm->ni", terms, z)[..., None])[..., 0]
    _, p, q, xx, xy, yy = fit.T
    lean = 1.0 + p * p + q * q
    bend = -((1.0 + q * q) * xx - 2.0 * p * q * xy + (1.0 + p * p) * yy) / lean**1.5
    shift = np.clip(half_variance_mm2 * bend, -_MOST_MM, _MOST_MM)
    shift *= np.where(enough, np.minimum(np.sqrt(lean), _STEEPEST), 0.0)
    return np.asarray(shift), np.asarray(_SHAPE_DOUBT * np.abs(shift))
