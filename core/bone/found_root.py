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
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter, map_coordinates

from core.arch import Arch
from core.bone.bone_levels import BoneLevels
from core.bone.level_learning import bone_levels
from core.bone.root_edges import (
    BEYOND_MM,
    INSIDE_MM,
    STEP_MM,
    RootEdges,
    RootLevels,
    root_edges,
)
from core.bone.streaks import NEAR_MM, Streaks
from core.geometry import Array, any_across, unit
from core.image import sampling
from core.image.volume import Volume
from core.measurement import Note
from core.plans.plan import Jaw, TissuePoint

_RAYS, _RING_MM, _LAYERS_MM = 24, 0.5, (-0.3, 0.0, 0.3)
_BEGIN_MM, _GROW_MM, _MOST_UP_MM, _MOST_DOWN_MM = 2.0, 1.5, 8.0, 20.0
_WIDE, _NARROW = (-0.9, 0.9), (-0.6, 0.6)
_ROUNDS = 16
_RING_SEEN, _RING_OFF_MM, _RING_WIDER_MM = 0.55, 0.4, 0.25
_ENAMEL, _NO_DENTINE = 0.25, 0.3
"""Shares of the contrast: the ring's inside is brighter (enamel), or darker than dentine."""

_LEAST_MM, _LEAST_RADIUS_MM, _MOST_RADIUS_MM = 4.0, 0.6, 4.5
_MOST_SCATTER_MM, _MOST_SD_MM, _MOST_AXIS_SD_DEG = 0.45, 0.4, 4.0
_ALIKE = 0.3
_BESIDE_RAYS, _BESIDE_MM = 3, 3.0
_METAL = 2.1
"""Enamel is up to 1.7 times as bright over soft tissue as dentine; more is metal (common practice,
no source)."""

_CROWN_MM, _SATURATED_MM3 = 12.0, 15.0
_OVAL_MM = 0.5
_SYSTEMATIC_MM = 0.12
"""Of a diameter: what the ligament's own width and a blur that is not quite known leave."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FoundRoot:
    """A root as far as it is seen.

    Parameters
    ----------
    neck_mm, apex_mm : (3,) patient LPS mm
        On its axis: where it stops being a root towards the crown, and its tip.
    diameters_mm : (neck, apex)
        Of an oval root the larger ones.
    diameter_sd_mm, axis_sd_deg, apex_sd_mm : float
        Standard deviations: of a diameter, of the direction in each plane through the axis, and
        of the tip along it.
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
    apex_sd_mm: float
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
    start = _start(volume, levels, np.asarray(click_mm, dtype=np.float64), unit(apical))
    if isinstance(start, Note):
        return start
    known, cone = start
    low, high = -_BEGIN_MM, _BEGIN_MM
    rings = _rings(volume, known, cone, low, high, _WIDE, first_look=True)
    for n in range(_ROUNDS):
        if cancelled():
            return Note("root-not-found")
        good = rings.good
        if good.sum() < 3:
            return Note("root-not-found")
        fitted = _fitted(cone, rings)
        if not _LEAST_RADIUS_MM < fitted.radius_at(0.0) < _MOST_RADIUS_MM + 0.5:
            return Note("root-not-found")
        cone = fitted
        first, last = _run(rings, good)
        grown = (
            max(first - _GROW_MM, -_MOST_UP_MM) if first <= low + 0.6 else first,
            min(last + _GROW_MM, _MOST_DOWN_MM) if last >= high - 0.6 else last,
        )
        settled = abs(grown[0] - low) < 0.3 and abs(grown[1] - high) < 0.3
        low, high = grown
        if not rings.first_look:
            known = replace(known, dentine=rings.dentine(known.dentine))
        rings = _rings(volume, known, cone, low, high, _WIDE if n < 2 else _NARROW)
        if settled and n > 3:
            break
    return _judged(volume, levels, known, cone, rings)


# -- the cone ------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Cone:
    """An axis with a radius that is linear along it; heights run towards the apex.

    ``oval``: by the cosine and sine of twice the turn about the axis.
    """

    origin: Array
    axis: Array
    one: Array
    radius: float
    taper: float
    oval: tuple[float, float] = (0.0, 0.0)
    sd: Array | None = None
    scatter: float = 0.0

    @property
    def two(self) -> Array:
        return np.cross(self.axis, self.one)

    def radius_at(self, height: float) -> float:
        return self.radius + self.taper * height

    def around(self) -> tuple[Array, Array]:
        """(rays,) turns and (rays, 3) directions across the axis."""
        turn = 2.0 * np.pi * np.arange(_RAYS) / _RAYS
        ways = np.cos(turn)[:, None] * self.one + np.sin(turn)[:, None] * self.two
        return turn, ways


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Rings:
    """Edges on rays around an axis: (m,) heights, (m, rays) of everything else."""

    height: Array
    radius: Array
    sd: Array
    seen: NDArray[np.bool_]
    expected: Array
    inside: Array
    beyond: Array
    levels: RootLevels
    first_look: bool

    @property
    def off(self) -> Array:
        return self.radius - self.expected

    @property
    def good(self) -> NDArray[np.bool_]:
        """(m,) rings that show a root: mostly seen, where they are expected, of dentine.

        At the first look only seen: it may have begun at the lamina dura's outside.
        """
        if self.first_look:
            return np.asarray(self.seen.mean(axis=1) >= _RING_SEEN)
        near = self.seen & (np.abs(self.off) < _RING_OFF_MM)
        level = np.nanmedian(self.inside, axis=1)
        dentine = level > self.levels.dentine - _NO_DENTINE * self.levels.contrast
        dentine &= level < self.levels.dentine + _ENAMEL * self.levels.contrast
        off = np.where(self.seen, self.off, np.nan)
        usual = np.nanmedian(np.where(np.isfinite(off).any(axis=1)[:, None], off, 9.0), axis=1)
        return np.asarray((near.mean(axis=1) >= _RING_SEEN) & dentine & (usual < _RING_WIDER_MM))

    def dentine(self, before: float) -> float:
        """Level of dentine inside the good rings."""
        inside = self.inside[self.good]
        return float(np.nanmedian(inside)) if inside.size else before


def _rings(
    volume: Volume,
    levels: RootLevels,
    cone: _Cone,
    low: float,
    high: float,
    reach: tuple[float, float],
    *,
    first_look: bool = False,
) -> _Rings:
    turn, ways = cone.around()
    height = np.arange(round(low / _RING_MM), round(high / _RING_MM) + 1) * _RING_MM
    radius = np.maximum(cone.radius + cone.taper * height, 0.4)
    oval = cone.oval[0] * np.cos(2 * turn) + cone.oval[1] * np.sin(2 * turn)
    expected = radius[:, None] + oval
    centres = cone.origin + height[:, None] * cone.axis
    starts = centres[:, None] + (expected - INSIDE_MM)[..., None] * ways
    count = round((INSIDE_MM + BEYOND_MM) / STEP_MM) + 1
    grey = np.stack(
        [
            sampling.profiles(
                volume,
                (starts + layer * cone.axis).reshape(-1, 3),
                np.broadcast_to(ways, starts.shape).reshape(-1, 3),
                STEP_MM,
                count,
            )
            for layer in _LAYERS_MM
        ]
    ).astype(np.float64).mean(axis=0)  # fmt: skip
    edges: RootEdges = root_edges(grey, levels, reach)
    shape = expected.shape
    found = edges.off_mm.reshape(shape)
    near = slice(round((INSIDE_MM - 0.9) / STEP_MM), round((INSIDE_MM - 0.4) / STEP_MM))
    core = grey[:, near].reshape(*shape, -1)
    behind = grey[:, round((INSIDE_MM + 0.5) / STEP_MM) :].reshape(*shape, -1)
    return _Rings(
        height=height,
        radius=expected + np.nan_to_num(found, nan=9.0),
        sd=np.nan_to_num(edges.sd_mm.reshape(shape), nan=9.0),
        seen=np.asarray(edges.seen).reshape(shape),
        expected=expected,
        inside=np.median(core, axis=2),
        beyond=np.median(behind, axis=2),
        levels=levels,
        first_look=first_look,
    )


def _run(rings: _Rings, good: NDArray[np.bool_]) -> tuple[float, float]:
    """First and last height of the good rings that hang together around the click."""
    at = np.flatnonzero(good)
    middle = int(at[np.argmin(np.abs(rings.height[at]))])
    first = last = middle
    # One bad ring between good ones does not end a root.
    while any(good[max(first - 2, 0) : first]):
        first -= 1 if good[first - 1] else 2
    while any(good[last + 1 : last + 3]):
        last += 1 if good[last + 1] else 2
    return float(rings.height[first]), float(rings.height[last])


def _fitted(cone: _Cone, rings: _Rings) -> _Cone:
    """The cone through the good rings' edges, by least squares that far-off edges do not pull."""
    turn, _ = cone.around()
    use = rings.good[:, None] & rings.seen
    h = np.broadcast_to(rings.height[:, None], use.shape)[use]
    t = np.broadcast_to(turn, use.shape)[use]
    radius, sd = rings.radius[use], np.hypot(rings.sd[use], 0.05)
    c, s = np.cos(t), np.sin(t)
    middle = float(h.mean())
    x = h - middle
    columns = np.stack(
        [np.ones_like(c), x, c, s, x * c, x * s, np.cos(2 * t), np.sin(2 * t)], axis=1
    )
    # Nobody knows a root's shape from a few rings: it begins near what it was thought to be.
    likely = np.array([cone.radius_at(middle), cone.taper, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0])
    spread = np.array([2.0, 0.12, 2.0, 2.0, 0.4, 0.4, 0.25, 0.25])
    weight = 1.0 / sd**2
    for _ in range(6):
        normal = (columns * weight[:, None]).T @ columns + np.diag(1.0 / spread**2)
        fit = np.linalg.solve(
            normal, (columns * weight[:, None]).T @ radius + likely / spread**2
        )
        off = radius - columns @ fit
        usual = max(1.4826 * float(np.median(np.abs(off))), 0.05)
        weight = 1.0 / sd**2 * np.clip(1.0 - (off / (4.0 * usual)) ** 2, 0.0, 1.0) ** 2
    kept = weight > 0
    scatter = float(np.sqrt(np.mean(off[kept] ** 2))) if kept.any() else 9.0
    # Neighbouring rays share much of their image: about one of three tells something new.
    cover = np.linalg.inv(
        (columns[kept] / max(scatter, 0.03) ** 2).T @ columns[kept] / 3.0
        + np.diag(1.0 / spread**2)
    )
    one, two = cone.one, cone.two
    axis = unit(cone.axis + fit[4] * one + fit[5] * two)
    at_middle = cone.origin + middle * cone.axis + fit[2] * one + fit[3] * two
    # The origin stays at the click's height.
    origin = at_middle - middle * axis
    new_one = unit(one - (one @ axis) * axis)
    return _Cone(
        origin=origin,
        axis=axis,
        one=new_one,
        radius=float(fit[0] - middle * fit[1]),
        taper=float(fit[1]),
        oval=(float(fit[6]), float(fit[7])),
        sd=np.sqrt(np.diag(cover)),
        scatter=scatter,
    )


# -- begin ---------------------------------------------------------------------------------

_SEEK_MM, _PITCH_MM = 2.4, 0.2


def _start(
    volume: Volume, levels: BoneLevels, click: Array, apical: Array
) -> tuple[RootLevels, _Cone] | Note:
    """Dentine's level, and the circle around the click that is darker all round than inside."""
    one = any_across(apical)
    two = np.cross(apical, one)
    reach = _SEEK_MM + _MOST_RADIUS_MM + 0.6
    u = np.arange(-reach, reach + 1e-9, _PITCH_MM)
    u -= u.mean()
    flat = u[:, None, None] * one + u[None, :, None] * two
    layers = [-0.6, -0.3, 0.0, 0.3, 0.6]
    picture = np.mean(
        [
            sampling.at_points(volume, (click + layer * apical + flat).reshape(-1, 3))
            for layer in layers
        ],
        axis=0,
    ).reshape(len(u), len(u))
    near = np.hypot(*np.meshgrid(u, u, indexing="ij")) < 0.7
    if not np.isfinite(picture[near]).all():
        return Note("root-not-scanned")
    dentine = float(np.percentile(picture[near], 70))
    contrast = dentine - levels.soft
    if contrast < 0.5 * (levels.cortical - levels.soft):
        return Note("root-not-found")
    smooth = gaussian_filter(np.nan_to_num(picture, nan=levels.soft), 0.7)
    found = _circle(smooth, u, dentine, levels.soft)
    if found is None:
        return Note("root-not-found")
    (a, b), radius = found
    variance = max(levels.blur.variance_mm2, 0.0) + float(np.mean(volume.voxel_mm**2)) / 12.0
    samples = max(float(volume.voxel_mm.min()) / STEP_MM, 1.0)
    # Bone's texture is no noise of the scan, and is as large.
    noise = math.hypot(levels.noise_sd / math.sqrt(len(_LAYERS_MM)), 0.04 * contrast)
    known = RootLevels(
        dentine=dentine,
        soft=levels.soft,
        blur_mm=max(math.sqrt(variance), 0.12),
        noise=noise * math.sqrt(samples),
    )
    origin = click + a * one + b * two
    return known, _Cone(origin=origin, axis=apical, one=one, radius=radius, taper=-0.05)


def _circle(
    smooth: Array, u: Array, dentine: float, soft: float
) -> tuple[tuple[float, float], float] | None:
    """Middle and radius of the best circle in a picture across the root, around the click."""
    turn = 2.0 * np.pi * np.arange(16) / 16
    shift = np.arange(-_SEEK_MM, _SEEK_MM + 1e-9, 0.3)
    radii = np.arange(0.8, _MOST_RADIUS_MM + 1e-9, 0.2)
    a, b, r = (g.ravel() for g in np.meshgrid(shift, shift, radii, indexing="ij"))
    holds = np.hypot(a, b) < np.maximum(r - 0.1, 0.4)
    a, b, r = a[holds], b[holds], r[holds]

    def at(away: Array) -> Array:
        rows = a[:, None] + away[:, None] * np.cos(turn)
        cols = b[:, None] + away[:, None] * np.sin(turn)
        where = (np.stack([rows, cols]) - u[0]) / _PITCH_MM
        return np.asarray(map_coordinates(smooth, where, order=1, mode="nearest"))

    # Nothing dark within: beyond the lamina dura another circle would fit.
    rings = [at(np.maximum(r - within, 0.2)) for within in (0.4, 0.6, 0.8, 1.0)]
    inside = np.minimum(np.minimum.reduce(rings), dentine)
    edge = at(r + 0.12)
    drop = (inside - edge) / (dentine - soft)
    dentine_share = (dentine - at(np.maximum(0.5 * r, 0.2))) / (dentine - soft)
    score = np.percentile(drop, 25, axis=1) + 0.5 * drop.mean(axis=1)
    score -= 0.5 * np.clip(np.percentile(dentine_share, 75, axis=1), 0.0, 1.0)
    # Circles around the click are likelier than ones that hardly hold it.
    score -= 0.03 * np.hypot(a, b) / r
    best = int(np.argmax(score))
    if np.percentile(drop[best], 25) < 0.04:
        return None
    return (float(a[best]), float(b[best])), float(r[best])


# -- what it is ----------------------------------------------------------------------------


def _judged(
    volume: Volume, levels: BoneLevels, known: RootLevels, cone: _Cone, rings: _Rings
) -> FoundRoot | Note:
    good = rings.good
    if good.sum() < 3:
        return Note("root-not-found")
    cone = _fitted(cone, rings)
    neck, last = _run(rings, good)
    if _touches(rings, known, neck, last):
        return Note("root-touches")
    apex = _apex(volume, known, cone, last)
    if _metal(volume, levels, known, cone, neck, apex[0]):
        return Note("root-metal")
    if apex[0] - neck < _LEAST_MM or cone.sd is None or cone.scatter > _MOST_SCATTER_MM:
        return Note("root-not-found")
    # The radius varies by this to either side: the larger diameter less the smaller one is four.
    oval = 4.0 * float(np.hypot(*cone.oval))
    more = 0.5 * oval if oval > _OVAL_MM else 0.0
    half = 0.5 * (apex[0] - neck)
    radius_sd = math.hypot(cone.sd[0], abs(half) * cone.sd[1])
    diameter_sd = math.hypot(2.0 * radius_sd, _SYSTEMATIC_MM)
    axis_sd = math.degrees(float(max(cone.sd[4], cone.sd[5])))
    if diameter_sd > _MOST_SD_MM or axis_sd > _MOST_AXIS_SD_DEG:
        return Note("root-not-found")
    ends = [max(2.0 * cone.radius_at(h) + more, 0.4) for h in (neck, apex[0])]
    _, ways = cone.around()
    use = good[:, None] & rings.seen
    outline = (
        cone.origin
        + rings.height[:, None, None] * cone.axis
        + rings.radius[..., None] * ways
    )[use]
    return FoundRoot(
        neck_mm=cone.origin + neck * cone.axis,
        apex_mm=cone.origin + apex[0] * cone.axis,
        diameters_mm=(ends[0], ends[1]),
        diameter_sd_mm=diameter_sd,
        axis_sd_deg=axis_sd,
        apex_sd_mm=apex[1],
        oval_mm=oval,
        seen=float(rings.seen[good].mean()),
        outline_mm=outline,
    )


def _apex(volume: Volume, known: RootLevels, cone: _Cone, last: float) -> tuple[float, float]:
    """Height of the tip and its standard deviation, by rays along the axis."""
    inside, reach = 2.0, (-1.4, 3.0)
    _, ways = cone.around()
    away = 0.35 * max(cone.radius_at(last), 0.6)
    starts = np.concatenate([np.zeros((1, 3)), away * ways[::4]])
    starts = starts + cone.origin + (last - inside) * cone.axis
    count = round((inside + reach[1] + BEYOND_MM) / STEP_MM) + 1
    directions = np.broadcast_to(cone.axis, starts.shape)
    grey = sampling.profiles(volume, starts, directions, STEP_MM, count).astype(np.float64)
    mean = grey.mean(axis=0, keepdims=True)
    edges = root_edges(mean, known, reach, inside)
    if not bool(edges.seen[0]):
        return last + 0.5 * _RING_MM, 0.5
    return last + float(edges.off_mm[0]), math.hypot(float(edges.sd_mm[0]), 0.15)


def _touches(rings: _Rings, known: RootLevels, neck: float, last: float) -> bool:
    """Whether a sector of the edge is not seen for some mm, as bright behind it as dentine."""
    within = (rings.height >= neck) & (rings.height <= last)
    bright = rings.beyond > known.dentine - _ALIKE * known.contrast
    lost = (~rings.seen & bright)[within]
    if not len(lost):
        return False
    sector = lost & np.roll(lost, 1, axis=1) & np.roll(lost, -1, axis=1)
    need = round(_BESIDE_MM / _RING_MM)
    return bool(sector.sum(axis=0).max() >= need)


def _metal(
    volume: Volume, levels: BoneLevels, known: RootLevels, cone: _Cone, neck: float, apex: float
) -> bool:
    """Whether metal stands in the root, over it, or sends streaks through it."""
    axis = cone.origin + np.array([neck, apex])[:, None] * cone.axis
    if Streaks.of(volume, levels).nearest_mm(volume, axis) < NEAR_MM:
        return True
    step = 0.4
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
    bright = grey > levels.soft + _METAL * known.contrast
    top = float(volume.voxels.max()) * volume.slope + volume.intercept
    full = grey >= top - 1e-3 * known.contrast
    return float(np.sum(bright | full)) * step**3 > _SATURATED_MM3
