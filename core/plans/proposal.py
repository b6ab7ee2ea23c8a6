"""A first jaw plane and arch from the image, so that pictures are there before anybody clicked.

It is shown as *proposed* and never measured on: a person confirms or edits it. Bone is what is
brighter than halfway through the volume's own window; the arch is the middle of the bone seen
from below, as a radius by angle about the circle that fits it best (algebraic least squares:
Kasa I, IEEE Trans Instrum Meas 1976;25:8, from memory); *up* is the patient's own axis. The jaw
is guessed from the palate: bone inside the arch. None of these choices has a source.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.polynomial import Polynomial

from core.drawing import window_of_volume
from core.geometry import Array
from core.image.volume import Volume
from core.level import Level
from core.plans.plan import Jaw, Plan

STEP_MM = 0.8
BAND_MM = 9.0
"""Half width of the ring around the circle in which the arch's bone is looked for."""
PALATE_SHARE = 0.3
POINTS = 9
LEAST_SPAN_MM = 15.0
CELL_DEG = 2.0


def propose(volume: Volume, *, cancelled: Callable[[], bool] | None = None) -> Plan | None:
    """Jaw, jaw plane and arch from the image.

    Parameters
    ----------
    volume : Volume
    cancelled : callable, optional

    Returns
    -------
    Plan or None
        With `jaw`, `level` and `arch_points` only; None where no arch is recognised.
    """
    bone, weight = _bone_points(volume)
    if len(bone) < 200 or (cancelled is not None and cancelled()):
        return None
    circle = _circle(bone[:, :2], weight)
    if circle is None:
        return None
    centre, radius = circle
    off = bone[:, :2] - centre
    away = np.hypot(off[:, 0], off[:, 1])
    ring = np.abs(away - radius) <= BAND_MM
    if ring.sum() < 100:
        return None
    flat = _middle(off[ring], weight[ring])
    if flat is None:
        return None
    inside = float(weight[away < radius - BAND_MM].sum())
    jaw: Jaw = "upper" if inside > PALATE_SHARE * float(weight[ring].sum()) else "lower"
    height = float(np.percentile(bone[ring, 2], 96.0 if jaw == "lower" else 4.0))
    arch = np.column_stack([flat + centre, np.full(len(flat), height)])
    level = Level(origin=arch.mean(axis=0), up=np.array([0.0, 0.0, 1.0]))
    return Plan(jaw=jaw, level=level, arch_points=arch)


def _bone_points(volume: Volume) -> tuple[Array, Array]:
    """(n, 3) patient points of bone, thinned, and (n,) how bright each is over the threshold."""
    steps = [max(1, round(STEP_MM / float(edge))) for edge in volume.voxel_mm]
    grey = volume.voxels[:: steps[2], :: steps[1], :: steps[0]].astype(np.float64)
    grey = grey * volume.slope + volume.intercept
    low, high = window_of_volume(volume)
    threshold = (low + high) / 2
    k, j, i = np.nonzero(grey > threshold)
    bright = np.minimum(grey[k, j, i] - threshold, high - threshold)
    at = np.stack([i * steps[0], j * steps[1], k * steps[2]], axis=1)
    points_mm = volume.mm(at)
    scanned = volume.scanned_at(points_mm)
    return points_mm[scanned], bright[scanned]


def _circle(xy: Array, weight: Array) -> tuple[Array, float] | None:
    """Centre and radius of the circle that fits weighted points best."""
    middle = np.average(xy, axis=0, weights=weight)
    p = xy - middle
    root = np.sqrt(weight)
    equations = np.column_stack([2 * p, np.ones(len(p))]) * root[:, None]
    found, _, rank, _ = np.linalg.lstsq(equations, (p**2).sum(axis=1) * root, rcond=None)
    if rank < 3:
        return None
    square = float(found[2] + found[:2] @ found[:2])
    if not 0 < square < 150.0**2:
        return None
    return middle + found[:2], float(np.sqrt(square))


def _middle(off: Array, weight: Array) -> Array | None:
    """(n, 2) points along the middle of the bone, from one end to the other, about the centre."""
    away = np.hypot(off[:, 0], off[:, 1])
    main = np.average(off, axis=0, weights=weight)
    # Angles are counted from the middle of the bone, so that the gap lies at ±180 degrees.
    angle = np.degrees(np.arctan2(off[:, 1], off[:, 0]) - np.arctan2(main[1], main[0]))
    angle = (angle + 180.0) % 360.0 - 180.0
    cell = np.floor((angle + 180.0) / CELL_DEG).astype(int)
    count = round(360.0 / CELL_DEG)
    mass = np.bincount(cell, weights=weight, minlength=count)
    lever = np.bincount(cell, weights=weight * away, minlength=count)
    held = mass > 0.25 * float(np.median(mass[mass > 0]))
    first, last = _longest(held)
    angles = (np.arange(first, last + 1) + 0.5) * CELL_DEG - 180.0
    if len(angles) < 4:
        return None
    used = held[first : last + 1]
    radii = lever[first : last + 1][used] / mass[first : last + 1][used]
    if float(np.radians(np.ptp(angles)) * radii.mean()) < LEAST_SPAN_MM:
        return None
    smooth = Polynomial.fit(angles[used], radii, deg=min(4, int(used.sum()) - 2))
    at = np.linspace(angles[0], angles[-1], POINTS)
    turn = np.radians(at) + np.arctan2(main[1], main[0])
    return np.asarray(np.stack([np.cos(turn), np.sin(turn)], axis=1) * smooth(at)[:, None])


def _longest(held: np.ndarray[tuple[int], np.dtype[np.bool_]]) -> tuple[int, int]:
    """First and last cell of the longest run; gaps of up to 4 cells (a missing tooth) are kept."""
    on = np.flatnonzero(held)
    breaks = np.flatnonzero(np.diff(on) > 5)
    starts = np.concatenate([[0], breaks + 1])
    ends = np.concatenate([breaks, [len(on) - 1]])
    best = int(np.argmax(on[ends] - on[starts]))
    return int(on[starts[best]]), int(on[ends[best]])
