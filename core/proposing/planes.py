"""Planes that much of the upper surface of hard tissue lies on, near the scanner's axis."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.ndimage import maximum_filter1d
from scipy.spatial import cKDTree

from core.geometry import Array, unit

STEEPEST_DEG = 30.0
"""Furthest that a jaw lies from the scanner's axis. Own choice, no source."""
STEP_DEG = 3.0
NEAR_MM = 6.0
"""A ridge's surface within this counts once, however wide the ridge is."""
ON_PLANE_MM = 1.5
CANDIDATES = 8
SLOPE_MM, RISE_MM = 4.0, 2.0
"""A surface that rises by more within this distance is a flank: a tilt of 27 degrees."""
APART_DEG, APART_MM = 5.0, 3.0
MOST_POINTS = 6000


@dataclass(frozen=True, eq=False)
class Plane:
    """Turned mm: a place on it, its unit normal with z > 0, how much surface lies on it."""

    origin: Array
    normal: Array
    worth: float


def planes(surface: Array) -> list[Plane]:
    """Best planes through an upper surface, the best first.

    Parameters
    ----------
    surface : (n, 3) turned mm
    """
    if len(surface) > MOST_POINTS:
        surface = surface[:: len(surface) // MOST_POINTS + 1]
    surface = _tops(surface)
    if len(surface) < 30:
        return []
    near = cKDTree(surface).query_ball_point(surface, NEAR_MM, return_length=True)
    weight = 1.0 / np.asarray(near, dtype=np.float64)
    pivot = np.average(surface, axis=0, weights=weight)
    found = _peaks(surface - pivot, weight)
    kept: list[Plane] = []
    for worth, normal, height in found:
        plane = _settled(surface, weight, Plane(pivot + height * normal, normal, worth))
        if plane is not None and not any(_same(plane, other) for other in kept):
            kept.append(plane)
        if len(kept) == CANDIDATES:
            break
    return sorted(kept, key=lambda plane: -plane.worth)


def _tops(surface: Array) -> Array:
    """Without the flanks: where the surface close by is clearly higher, it is no ridge's top."""
    pairs = cKDTree(surface).query_pairs(SLOPE_MM + RISE_MM, output_type="ndarray")
    step = surface[pairs[:, 1]] - surface[pairs[:, 0]]
    beside = np.hypot(step[:, 0], step[:, 1]) < SLOPE_MM
    flank = np.zeros(len(surface), dtype=bool)
    flank[pairs[beside & (step[:, 2] > RISE_MM), 0]] = True
    flank[pairs[beside & (step[:, 2] < -RISE_MM), 1]] = True
    return surface[~flank]


@lru_cache(maxsize=1)
def _normals() -> Array:
    """Unit vectors within `STEEPEST_DEG` of z, about `STEP_DEG` apart."""
    found = []
    for tilt in np.arange(0.0, STEEPEST_DEG + 0.1, STEP_DEG):
        turns = max(1, round(360.0 * np.sin(np.radians(tilt)) / STEP_DEG))
        for turn in np.arange(turns) * 2 * np.pi / turns:
            s = np.sin(np.radians(tilt))
            found.append((s * np.cos(turn), s * np.sin(turn), np.cos(np.radians(tilt))))
    return np.array(found)


def _peaks(points: Array, weight: Array) -> list[tuple[float, Array, float]]:
    """(worth, normal, height) of the places where most surface lies in one level, best first."""
    normals = _normals()
    heights = points @ normals.T
    low, bins = heights.min() - 2.0, int(np.ptp(heights)) + 5
    peaks = []
    for n, normal in enumerate(normals):
        bin_of = (heights[:, n] - low).astype(int)
        held = np.bincount(bin_of, weights=weight, minlength=bins)
        level = np.convolve(held, [0.5, 1.0, 0.5], mode="same")
        top = np.flatnonzero((level == maximum_filter1d(level, 5)) & (level > 0))
        peaks += [(float(level[k]), normal, float(low + k + 0.5)) for k in top]
    peaks.sort(key=lambda peak: -peak[0])
    kept: list[tuple[float, Array, float]] = []
    for worth, normal, height in peaks:
        if all(
            normal @ other < np.cos(np.radians(APART_DEG)) or abs(height - at) > APART_MM
            for _, other, at in kept
        ):
            kept.append((worth, normal, height))
        if len(kept) == 4 * CANDIDATES:
            break
    return kept


def _settled(surface: Array, weight: Array, plane: Plane) -> Plane | None:
    """The plane moved onto the surface near it; None where it turns too steep."""
    origin, normal = plane.origin, plane.normal
    held = weight
    for scale in (2.5, 2.0, 1.5, 1.2, 1.0, 1.0):
        off = (surface - origin) @ normal
        held = weight / (1.0 + (off / scale) ** 2) ** 2 * (np.abs(off) < 3 * scale)
        origin = np.average(surface, axis=0, weights=held)
        sides = np.column_stack([surface[:, :2] - origin[:2], np.ones(len(surface))])
        root = np.sqrt(held)
        # A little stiffness: a narrow strip of surface does not tell how the plane lies across it.
        lean, *_ = np.linalg.lstsq(
            np.vstack([sides * root[:, None], np.diag([1.0, 1.0, 0.0])]),
            np.concatenate([(surface[:, 2] - origin[2]) * root, -normal[:2] / normal[2], [0.0]]),
            rcond=None,
        )
        normal = unit(np.array([-lean[0], -lean[1], 1.0]))
    if normal[2] < np.cos(np.radians(STEEPEST_DEG)):
        return None
    worth = float(weight[np.abs((surface - origin) @ normal) < ON_PLANE_MM].sum())
    return Plane(origin, normal, worth)


def _same(one: Plane, other: Plane) -> bool:
    apart = abs(float((one.origin - other.origin) @ other.normal))
    return bool(one.normal @ other.normal > np.cos(np.radians(2.0)) and apart < 1.5)
