"""A first jaw plane and arch from the image, so that pictures are there before anybody clicked.

It is shown as *proposed* and never measured on: a person confirms or edits it. Bone is what is
brighter than halfway through the volume's own window. It is looked at in slabs, because only
some levels of a jaw show a plain horseshoe: palate, sinus and rami fill or close it. In each slab
the arch is the middle of the bone seen from below, as a radius by angle about the circle that
fits it best (algebraic least squares: Kasa I, IEEE Trans Instrum Meas 1976;25:8, from memory);
the slab whose bone lies best along an open arch is taken. The jaw is guessed from the palate:
bone inside the arch above it. The plane lies along the chewing surfaces: the plane through the
outermost bright places along the arch from which most of them are little away (reweighted squares;
gaps, roots alone and metal are outliers); where that fails, *up* is the patient's own axis. None
of these choices has a source.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.polynomial import Polynomial
from scipy.spatial import cKDTree

from core.drawing import window_of_volume
from core.geometry import Array, unit
from core.image.volume import Volume
from core.level import Level
from core.plans.plan import Jaw, Plan

STEP_MM = 0.8
SLAB_MM = 6.0
BAND_MM = 9.0
"""Half width of the ring around the circle in which the arch's bone is looked for."""
ALONG_MM = 6.0
"""Bone nearer to the arch's line than this lies along it."""
LEAST_ALONG = 0.75
WIDEST_DEG = 260.0
"""An arch that goes further round is a ring: walls of a sinus, or a cut through the palate."""
WIDEST_MM = 48.0
"""Radius of the widest circle that can be a jaw's: arches of teeth are 50 to 65 mm wide behind
(common practice, no source); the vault of a skull is wider than this."""
PALATE_SHARE = 0.3
PALATE_ABOVE_MM = 30.0
REACH_MM = 15.0
"""How far from the slab the chewing surfaces are looked for."""
CHEWING_MM = 5.0
"""How far from the arch's line chewing surfaces are looked for."""
STEEPEST_DEG = 15.0
ON_PLANE_MM = 1.5
LEAST_ON_PLANE = 0.6
"""Share of the places along the arch that must lie on the plane."""
LEAST_HELD, LEAST_PLACES = 10, 12
POINTS = 9
LEAST_SPAN_MM = 15.0
CELL_DEG = 2.0


@dataclass(frozen=True)
class _Arch:
    """An arch found in one slab: where it begins (mm), its circle, its points, how good it is."""

    bottom: float
    centre: Array
    radius: float
    points: Array
    worth: float


def propose(volume: Volume, *, cancelled: Callable[[], bool] | None = None) -> Plan:
    """Jaw, jaw plane and arch from the image.

    Parameters
    ----------
    volume : Volume
    cancelled : callable, optional

    Returns
    -------
    Plan
        With `jaw`, `level` and `arch_points` only. Where no arch is recognised a level plane
        through the middle of the scan alone: somebody must see something to trace the arch on.
    """
    bone, weight = _bone_points(volume)
    if len(bone) < 200 or (cancelled is not None and cancelled()):
        return _plane_alone(volume)
    bottoms = np.arange(bone[:, 2].min(), bone[:, 2].max(), SLAB_MM / 2)
    found = [one for bottom in bottoms if (one := _in_slab(bone, weight, float(bottom)))]
    if not found:
        return _plane_alone(volume)
    best = max(found, key=lambda one: one.worth)
    away = np.hypot(*(bone[:, :2] - best.centre).T)
    over = bone[:, 2] - best.bottom
    inside = (away < best.radius - BAND_MM) & (over > 0) & (over < PALATE_ABOVE_MM)
    ring = np.abs(away - best.radius) <= BAND_MM
    held = ring & (over > 0) & (over < PALATE_ABOVE_MM)
    jaw: Jaw = "lower"
    if float(weight[inside].sum()) > PALATE_SHARE * float(weight[held].sum()):
        jaw = "upper"
    near = ring & (over > -REACH_MM) & (over < SLAB_MM + REACH_MM)
    height = float(np.percentile(bone[near, 2], 96.0 if jaw == "lower" else 4.0))
    arch = np.column_stack([best.points, np.full(len(best.points), height)])
    level = Level(origin=arch.mean(axis=0), up=np.array([0.0, 0.0, 1.0]))
    level = _along_chewing(bone, arch, jaw) or level
    return Plan(jaw=jaw, level=level, arch_points=level.project(arch))


def _along_chewing(bone: Array, arch: Array, jaw: Jaw) -> Level | None:
    """The plane along the chewing surfaces; None where too few of them lie on one."""
    places = np.linspace(0, len(arch) - 1, 60)
    line = np.stack([np.interp(places, np.arange(len(arch)), side) for side in arch.T], axis=1)
    crownwards = 1.0 if jaw == "lower" else -1.0
    gap, at = cKDTree(line[:, :2]).query(bone[:, :2])
    near = (gap < CHEWING_MM) & (np.abs(bone[:, 2] - arch[0, 2]) < REACH_MM)
    tops = np.full(len(line), np.nan)
    for place in range(len(line)):
        heights = bone[near & (at == place), 2]
        if len(heights) >= LEAST_HELD:
            tops[place] = crownwards * float(np.percentile(crownwards * heights, 99.0))
    held = np.isfinite(tops)
    if held.sum() < LEAST_PLACES:
        return None
    middle = line[held, :2].mean(axis=0)
    sides = np.column_stack([line[held, :2] - middle, np.ones(int(held.sum()))])
    heights = tops[held]
    plane = np.array([0.0, 0.0, float(np.median(heights))])
    for scale in np.geomspace(2 * ON_PLANE_MM, ON_PLANE_MM / 3, 30):
        # What lies off counts for less and less.
        weight = 1.0 / (1.0 + ((sides @ plane - heights) / scale) ** 2) ** 2
        root = np.sqrt(weight)
        plane = np.linalg.lstsq(sides * root[:, None], heights * root, rcond=None)[0]
    off = np.abs(sides @ plane - heights)
    steep = np.degrees(np.arctan(np.hypot(plane[0], plane[1])))
    if steep > STEEPEST_DEG or float((off < ON_PLANE_MM).mean()) < LEAST_ON_PLANE:
        return None
    up = unit(np.array([-plane[0], -plane[1], 1.0]))
    return Level(origin=np.array([*middle, plane[2]]), up=up)


def _plane_alone(volume: Volume) -> Plan:
    middle = volume.mm((np.array(volume.shape[::-1]) - 1) / 2)[0]
    return Plan(level=Level(origin=middle, up=np.array([0.0, 0.0, 1.0])))


def _in_slab(bone: Array, weight: Array, bottom: float) -> _Arch | None:
    """The arch of one slab, or None where its bone does not lie along an open arch."""
    within = (bone[:, 2] >= bottom) & (bone[:, 2] < bottom + SLAB_MM)
    xy, mass = bone[within, :2], weight[within]
    if len(xy) < 100:
        return None
    ring = np.ones(len(xy), dtype=bool)
    for _ in range(4):
        circle = _circle(xy[ring], mass[ring])
        if circle is None:
            return None
        centre, radius = circle
        if radius > WIDEST_MM:
            return None
        ring = np.abs(np.hypot(*(xy - centre).T) - radius) <= BAND_MM
        if ring.sum() < 100:
            return None
    off = xy - centre
    points = _middle(off[ring], mass[ring])
    if points is None:
        return None
    span = np.degrees(np.ptp(np.unwrap(np.arctan2(points[:, 1], points[:, 0]))))
    parts = np.linspace(0, len(points) - 1, 20 * len(points))
    line = np.stack([np.interp(parts, np.arange(len(points)), side) for side in points.T], axis=1)
    gap, _ = cKDTree(line).query(off)
    share = float(mass[gap < ALONG_MM].sum() / mass.sum())
    if span > WIDEST_DEG or share < LEAST_ALONG:
        return None
    length = float(np.linalg.norm(np.diff(line, axis=0), axis=1).sum())
    return _Arch(bottom, centre, radius, points + centre, share**2 * length)


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
