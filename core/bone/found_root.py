"""A root around one click: axis, length and diameters, with their doubt, as the image shows them.

A cone is laid through the edges of the root (`core.bone.root_edges`) on rays around its axis, ring
by ring from the click on, as far up and down as rings are seen; its apex is met by rays along the
axis. Metal, and roots that touch, are refused: there the edge is not the root's.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from core.arch import Arch
from core.bone.bone_levels import BoneLevels
from core.bone.level_learning import bone_levels
from core.bone.root_cone import (
    NARROW_MM,
    RING_MM,
    WIDE_MM,
    RootCone,
    RootRings,
    fitted_cone,
    rings_around,
    run_of,
)
from core.bone.root_edges import BEYOND_MM, INSIDE_MM, STEP_MM, RootLevels, root_edges
from core.bone.root_start import MOST_RADIUS_MM, root_start
from core.bone.streaks import NEAR_MM, Streaks
from core.geometry import Array, unit
from core.image import sampling
from core.image.volume import Volume
from core.measurement import Note
from core.plans.plan import Jaw, TissuePoint

_BEGIN_MM, _GROW_MM, _MOST_UP_MM, _MOST_DOWN_MM = 2.0, 1.5, 8.0, 20.0
_ROUNDS = 16
_LEAST_MM, _LEAST_RADIUS_MM = 4.0, 0.6
_MOST_SCATTER_MM, _MOST_SD_MM, _MOST_AXIS_SD_DEG = 0.45, 0.4, 4.0
_ALIKE, _BESIDE_MM = 0.3, 3.0
_METAL = 2.1
"""Enamel is up to 1.8 times as bright over soft tissue as dentine; more is metal (common practice,
no source)."""

_BEHIND_MM = np.array([0.2, 1.0])
_CROWN_MM, _SATURATED_MM3 = 12.0, 15.0
_OVAL_MM = 0.5
_SYSTEMATIC_MM, _SYSTEMATIC_DEG = 0.12, 0.2
"""Of a diameter: what the ligament's own width and a blur that is not quite known leave. Of the
axis: what bone that is brighter on one side leaves (by open draws of random jaws)."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FoundRoot:
    """A root as far as it is seen.

    Parameters
    ----------
    neck_mm, apex_mm : (3,) patient LPS mm
        On its axis: where it stops being a root towards the crown, and its tip.
    diameters_mm : (neck, apex)
        Of an oval root the larger ones.
    diameter_sd_mm, axis_sd_deg : float
        Standard deviations: of a diameter, and of the direction in each plane through the axis.
    oval_mm : float
        Larger minus smaller diameter.
    seen : float
        Share of the rays that show its edge.
    outline_mm : (n, 3) patient LPS mm
        The edges that were found.
    """

    neck_mm: Array
    apex_mm: Array
    diameters_mm: tuple[float, float]
    diameter_sd_mm: float
    axis_sd_deg: float
    oval_mm: float
    seen: float
    outline_mm: Array

    @property
    def is_oval(self) -> bool:
        """True where one diameter stands for two that differ."""
        return self.oval_mm > _OVAL_MM

    @property
    def length_mm(self) -> float:
        """From neck to apex."""
        return float(np.linalg.norm(self.apex_mm - self.neck_mm))

    @property
    def marks_mm(self) -> Array:
        """(2, 3) the marks that it is confirmed as, patient LPS mm.

        A marked root is a chain of balls. The one at the tip stands back by half of its radius:
        it goes beyond the tip by as much, and of a tip that is flat lacks at most 0.12 of it at
        the rim.
        """
        back = 0.25 * self.diameters_mm[1]
        return np.stack([self.neck_mm, self.apex_mm - back * self._way])

    @property
    def mark_diameters_mm(self) -> tuple[float, float]:
        """Diameters at the two marks: the cone's own there."""
        neck, apex = self.diameters_mm
        back = 0.25 * apex / max(self.length_mm, 1e-9)
        return neck, apex + back * (neck - apex)

    @property
    def _way(self) -> Array:
        return unit(self.apex_mm - self.neck_mm)


def root_around(
    volume: Volume,
    arch: Arch,
    jaw: Jaw,
    click_mm: Array,
    points: Sequence[TissuePoint] = (),
    *,
    cancelled: Callable[[], bool] = lambda: False,
) -> FoundRoot | Note:
    """Find the root around one click, on the scan's own levels.

    Parameters
    ----------
    volume : Volume
    arch : Arch
    jaw : {'lower', 'upper'}
    click_mm : (3,) patient LPS mm
        Inside the root, anywhere between neck and apex.
    points : sequence of TissuePoint
        Where a person sees the tissues.
    cancelled : callable
        Asked from time to time.

    Returns
    -------
    FoundRoot or Note
        `find_root`'s, or what stands against the scan's tissue levels.
    """
    levels = bone_levels(volume, arch, points)
    if levels.evidence.levels is not None:
        return levels.evidence.levels
    apical = unit(arch.level.up if jaw == "upper" else -arch.level.up)
    return find_root(volume, levels, click_mm, apical, cancelled=cancelled)


def find_root(
    volume: Volume,
    levels: BoneLevels,
    click_mm: Array,
    apical: Array,
    *,
    cancelled: Callable[[], bool] = lambda: False,
) -> FoundRoot | Note:
    """Find the root around one click.

    Parameters
    ----------
    volume : Volume
    levels : BoneLevels
    click_mm : (3,) patient LPS mm
        Inside the root.
    apical : (3,)
        About towards the apex, unit; within some 30 degrees.
    cancelled : callable
        Asked from time to time.

    Returns
    -------
    FoundRoot or Note
        ``root-not-found``: no closed edge around the click. ``root-touches``: a part of its edge
        cannot be told from what lies beside it. ``root-metal``: metal in or over it.
    """
    start = root_start(volume, levels, np.asarray(click_mm, dtype=np.float64), unit(apical))
    if isinstance(start, Note):
        return start
    known, cone = start
    low, high = -_BEGIN_MM, _BEGIN_MM
    rings = rings_around(volume, known, cone, (low, high), reach_mm=WIDE_MM, first_look=True)
    for n in range(_ROUNDS):
        if cancelled():
            return Note("root-not-found")
        good = rings.good
        if good.sum() < 3:
            return Note("root-not-found")
        fitted = fitted_cone(cone, rings)
        if not _LEAST_RADIUS_MM < fitted.radius_at(0.0) < MOST_RADIUS_MM + 0.5:
            return Note("root-not-found")
        cone = fitted
        first, last = run_of(rings, good)
        grown = (
            max(first - _GROW_MM, -_MOST_UP_MM) if first <= low + 0.6 else first,
            min(last + _GROW_MM, _MOST_DOWN_MM) if last >= high - 0.6 else last,
        )
        settled = abs(grown[0] - low) < 0.3 and abs(grown[1] - high) < 0.3
        low, high = grown
        if not rings.first_look:
            known = replace(known, dentine=rings.dentine(known.dentine))
        reach = WIDE_MM if n < 2 else NARROW_MM
        rings = rings_around(volume, known, cone, (low, high), reach_mm=reach)
        if settled and n > 3:
            break
    return _judged(volume, levels, known, cone, rings)


def _judged(
    volume: Volume, levels: BoneLevels, known: RootLevels, cone: RootCone, rings: RootRings
) -> FoundRoot | Note:
    good = rings.good
    if good.sum() < 3:
        return Note("root-not-found")
    cone = fitted_cone(cone, rings)
    neck, last = run_of(rings, good)
    if _touches(rings, known, neck, last):
        return Note("root-touches")
    apex = _apex(volume, known, cone, last)
    if _metal(volume, levels, cone, (neck, apex), known.dentine):
        return Note("root-metal")
    if apex - neck < _LEAST_MM or cone.sd is None or cone.scatter > _MOST_SCATTER_MM:
        return Note("root-not-found")
    # The radius varies by this to either side: the larger diameter less the smaller one is four.
    oval = 4.0 * float(np.hypot(*cone.oval))
    more = 0.5 * oval if oval > _OVAL_MM else 0.0
    half = 0.5 * (apex - neck)
    radius_sd = math.hypot(cone.sd[0], abs(half) * cone.sd[1])
    diameter_sd = math.hypot(2.0 * radius_sd, _SYSTEMATIC_MM)
    axis_sd = math.hypot(math.degrees(float(max(cone.sd[4], cone.sd[5]))), _SYSTEMATIC_DEG)
    if diameter_sd > _MOST_SD_MM or axis_sd > _MOST_AXIS_SD_DEG:
        return Note("root-not-found")
    ends = [max(2.0 * cone.radius_at(h) + more, 0.4) for h in (neck, apex)]
    _, ways = cone.around()
    use = good[:, None] & rings.seen
    outline = (
        cone.origin + rings.height[:, None, None] * cone.axis + rings.radius[..., None] * ways
    )[use]
    return FoundRoot(
        neck_mm=cone.origin + neck * cone.axis,
        apex_mm=cone.origin + apex * cone.axis,
        diameters_mm=(ends[0], ends[1]),
        diameter_sd_mm=diameter_sd,
        axis_sd_deg=axis_sd,
        oval_mm=oval,
        seen=float(rings.seen[good].mean()),
        outline_mm=outline,
    )


def _apex(volume: Volume, known: RootLevels, cone: RootCone, last: float) -> float:
    """Height of the tip, by rays along the axis.

    The first edge behind the last ring is the tip; a further one is of what lies beyond.
    """
    _, ways = cone.around()
    away = 0.35 * max(cone.radius_at(last), 0.6)
    beside = np.concatenate([np.zeros((1, 3)), away * ways[::4]]) + cone.origin
    count = round((INSIDE_MM + BEYOND_MM) / STEP_MM) + 1
    directions = np.broadcast_to(cone.axis, beside.shape)
    for expected in last + _BEHIND_MM:
        starts = beside + (expected - INSIDE_MM) * cone.axis
        grey = sampling.profiles(volume, starts, directions, STEP_MM, count).astype(np.float64)
        edges = root_edges(grey.mean(axis=0, keepdims=True), known, WIDE_MM)
        if bool(edges.seen[0]):
            return float(expected + edges.off_mm[0])
    return last + 0.5 * RING_MM


def _touches(rings: RootRings, known: RootLevels, neck: float, last: float) -> bool:
    """Whether a sector of the edge is not seen for some mm, as bright behind it as dentine."""
    within = (rings.height >= neck) & (rings.height <= last)
    bright = rings.beyond > known.dentine - _ALIKE * known.contrast
    lost = (~rings.seen & bright)[within]
    if not len(lost):
        return False
    sector = lost & np.roll(lost, 1, axis=1) & np.roll(lost, -1, axis=1)
    need = round(_BESIDE_MM / RING_MM)
    return bool(sector.sum(axis=0).max() >= need)


def _metal(
    volume: Volume, levels: BoneLevels, cone: RootCone, ends: tuple[float, float], dentine: float
) -> bool:
    """Whether metal stands in the root, over it, or sends streaks through it."""
    neck, apex = ends
    axis = cone.origin + np.array(ends)[:, None] * cone.axis
    if Streaks.of(volume, levels).nearest_mm(volume, axis) < NEAR_MM:
        return True
    # Thin plates may leave cortex too dark; dentine is as bright.
    step, contrast = 0.4, max(levels.cortical - levels.soft, dentine - levels.soft)
    reach = cone.radius_at(neck) + 1.5
    u = np.arange(-reach, reach + 1e-9, step)
    h = np.arange(neck - _CROWN_MM, apex, step)
    a, b, c = (g.ravel() for g in np.meshgrid(u, u, h, indexing="ij"))
    inside = np.hypot(a, b) < reach
    places = (
        cone.origin
        + a[inside, None] * cone.one
        + b[inside, None] * cone.two
        + c[inside, None] * cone.axis
    )
    grey = sampling.at_points(volume, places)
    grey = grey[np.isfinite(grey)]
    if not len(grey):
        return False
    bright = grey > levels.soft + _METAL * contrast
    top = float(volume.voxels.max()) * volume.slope + volume.intercept
    full = grey >= top - 1e-3 * contrast
    return float(np.sum(bright | full)) * step**3 > _SATURATED_MM3
