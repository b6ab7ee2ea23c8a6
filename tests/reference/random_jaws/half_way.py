"""An independent reading of single edges: half-way between what is outside and the plate's peak.

Nothing of `core` but trilinear sampling is used. It tells whether an edge that the program refused
could have been read at all: it knows where to look, which the program does not.
"""

from __future__ import annotations

import numpy as np

_STEP_MM = 0.05
_OUT_MM, _IN_MM = 2.2, 3.4
_SPREAD_MM = 0.25
_LEAST_CONTRAST_TO_NOISE = 4.0


def readable(volume, row, edges, true_mm):
    """True where each edge of a row, and a plate's thickness, can be read to about half a voxel."""
    close = max(0.15, 0.5 * float(volume.voxel_mm.max()))
    if not edges:
        return False
    for point, outwards in edges:
        t, profile = _profile(volume, point, outwards)
        if not np.isfinite(profile).all():
            return False
        outer = _outer(t, profile)
        if outer is None or abs(t[outer[0]]) > close:
            return False
        if "/plate_thickness/" in row:
            inner = _inner(t, profile, *outer)
            if inner is None or abs(t[inner] - t[outer[0]] - true_mm) > 1.5 * close:
                return False
    return True


def _profile(volume, point, outwards):
    """Places from outside inwards (0 at the true edge), and the mean of five lines."""
    t = np.arange(-_OUT_MM, _IN_MM, _STEP_MM)
    one = np.cross(outwards, np.eye(3)[np.argmin(np.abs(outwards))])
    one /= np.linalg.norm(one)
    two = np.cross(outwards, one)
    beside = _SPREAD_MM * np.stack([0 * one, one, -one, two, -two])
    rays = point + beside[:, None] - t[:, None] * outwards
    grey = np.asarray(volume.grey_at(rays.reshape(-1, 3)), float).reshape(5, -1)
    return t, grey.mean(axis=0)


def _outer(t, profile):
    """(index of the outer edge, of the peak, the outside's level); None without contrast."""
    outside = profile[(t > -_OUT_MM) & (t < -1.0)]
    level = float(np.median(outside))
    noise = float(np.median(np.abs(np.diff(profile[:: round(0.5 / _STEP_MM)])))) + 1e-9
    inside = np.flatnonzero((t > -0.4) & (t < 1.6))
    peak = inside[int(np.argmax(profile[inside]))]
    if profile[peak] - level < _LEAST_CONTRAST_TO_NOISE * max(noise, float(outside.std())):
        return None
    below = np.flatnonzero(profile[:peak] < 0.5 * (profile[peak] + level))
    return None if not len(below) else (int(below[-1]) + 1, int(peak), level)


def _inner(t, profile, edge, peak, level):
    """Index of the inner edge: half-way to the level two to three millimetres further in."""
    far = profile[(t > t[peak] + 0.8)]
    if not len(far):
        return None
    inside = float(np.median(far[: round(1.2 / _STEP_MM)]))
    if profile[peak] - inside < 0.25 * (profile[peak] - level):
        return None
    below = np.flatnonzero(profile[peak:] < 0.5 * (profile[peak] + inside))
    return int(peak + below[0]) if len(below) else None
