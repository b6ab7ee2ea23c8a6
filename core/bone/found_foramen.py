"""The mental foramen around one click: where the cheek's plate has a dark opening.

The plate's surface is met by rays from the cheek, a lattice of them along and up the jaw, and a
smooth surface is laid through them, which spans the opening. What lies right behind that surface
is bright where the plate is whole and dark where it is open; the opening is told half way between,
its edges along the jaw and its upper one with it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import binary_fill_holes, gaussian_filter, label, map_coordinates, median_filter

from core.arch import Arch
from core.bone.bone_levels import BoneLevels
from core.bone.level_learning import bone_levels
from core.geometry import Array
from core.image import sampling
from core.image.volume import Volume
from core.measurement import Note
from core.plans.plan import TissuePoint

STEP_MM, REACH_MM = 0.4, 6.8
_OUT_MM, _IN_MM, _RAY_MM = 7.0, 7.0, 0.1
_NEAR_MM = 3.0
"""As near to the opening's middle, on the surface, a click must lie."""

_BEHIND_MM = (0.2, 1.8)
_AREA_MM2 = (2.0, 28.0)
"""Of an opening: diameters of 1.6 to 6 mm (foramina of 2 to 5 mm in anatomy, from memory)."""

_LEAST_SURFACE, _LEAST_DARK, _LEAST_CONTRAST = 0.6, 0.6, 0.25
_SMOOTH_MM, _OWN = 0.35, 15
"""Blur of what lies behind the surface; steps over which the surface's own shape is kept, about
twice as many as an opening has."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FoundForamen:
    """An opening of the cheek's plate.

    Parameters
    ----------
    edges_mm : (2, 3) patient LPS mm
        Along the jaw, towards the patient's right first, on the bone's surface.
    upper_mm : (3,) patient LPS mm
    middle_mm : (3,) patient LPS mm
    outline_mm : (n, 3) patient LPS mm
        Its rim on the surface, closed.
    station_mm : float
        Of its middle.
    """

    edges_mm: Array
    upper_mm: Array
    middle_mm: Array
    outline_mm: Array
    station_mm: float

    @property
    def width_mm(self) -> float:
        """From edge to edge."""
        return float(np.linalg.norm(self.edges_mm[1] - self.edges_mm[0]))

    @property
    def marks_mm(self) -> Array:
        """(3, 3): both edges and the upper one."""
        return np.vstack([self.edges_mm, self.upper_mm])


def foramen_around(
    volume: Volume,
    arch: Arch,
    click_mm: Array,
    points: Sequence[TissuePoint] = (),
    *,
    cancelled: Callable[[], bool] = lambda: False,
) -> FoundForamen | Note:
    """Find the foramen around one click, on the scan's own levels.

    Parameters
    ----------
    volume : Volume
    arch : Arch
        Of the lower jaw.
    click_mm : (3,) patient LPS mm
        On the opening, within 3 mm of its middle.
    points : sequence of TissuePoint
        Where a person sees the tissues.
    cancelled : callable
        Asked before the work.

    Returns
    -------
    FoundForamen or Note
        ``foramen-not-found``, or what stands against the scan's tissue levels.
    """
    levels = bone_levels(volume, arch, points)
    if levels.evidence.levels is not None:
        return levels.evidence.levels
    if cancelled():
        return Note("foramen-not-found")
    return find_foramen(volume, levels, arch, np.asarray(click_mm, dtype=np.float64))


def find_foramen(
    volume: Volume, levels: BoneLevels, arch: Arch, click_mm: Array
) -> FoundForamen | Note:
    """Find the foramen around one click.

    Parameters
    ----------
    volume : Volume
    levels : BoneLevels
    arch : Arch
        Of the lower jaw.
    click_mm : (3,) patient LPS mm
        On the opening, within 3 mm of its middle.

    Returns
    -------
    FoundForamen or Note
        ``foramen-not-found``: no plate there, or no closed dark opening in it.
    """
    nothing = Note("foramen-not-found")
    plate = _Plate.around(volume, levels, arch, click_mm)
    if plate is None:
        return nothing
    dark = plate.darkness(volume, levels)
    if dark is None:
        return nothing
    inside = _opening(dark)
    if inside is None:
        return nothing
    along, up = (STEP_MM * (np.arange(n) - n // 2) for n in dark.shape)
    weight = np.where(inside, dark, 0.0)
    middle = (
        float((weight.sum(axis=1) * along).sum() / weight.sum()),
        float((weight.sum(axis=0) * up).sum() / weight.sum()),
    )
    place = plate.at(np.array([middle[0]]), np.array([middle[1]]))[0]
    if float(np.linalg.norm(place - click_mm)) > _NEAR_MM:
        return nothing
    ends = _ends(dark, along, up, middle)
    if ends is None:
        return nothing
    first, last, upper = ends
    rim = np.argwhere(inside & ~_eroded(inside))
    turn = np.arctan2(up[rim[:, 1]] - middle[1], along[rim[:, 0]] - middle[0])
    rim = rim[np.argsort(turn)]
    outline = plate.at(along[rim[:, 0]], up[rim[:, 1]])
    return FoundForamen(
        edges_mm=plate.at(np.array([first, last]), np.array([middle[1], middle[1]])),
        upper_mm=plate.at(np.array([middle[0]]), np.array([upper]))[0],
        middle_mm=place,
        outline_mm=np.vstack([outline, outline[:1]]),
        station_mm=plate.station_mm + middle[0],
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Plate:
    """The cheek's plate as a smooth surface over a lattice along and up the jaw.

    ``out``: (n, n) how far out of the feet it lies, by steps along and up.
    """

    station_mm: float
    feet: Array
    up: Array
    buccal: Array
    out: Array

    @classmethod
    def around(
        cls, volume: Volume, levels: BoneLevels, arch: Arch, click_mm: Array
    ) -> _Plate | None:
        station = arch.station(click_mm)
        steps = STEP_MM * np.arange(-round(REACH_MM / STEP_MM), round(REACH_MM / STEP_MM) + 1)
        origin, _, buccal = arch.directions(station + steps)
        here = arch.frame(station)
        out, height = (float((click_mm - here.origin) @ way) for way in (here.buccal, here.up))
        # Feet at the click's height and distance out, along the curve of the jaw.
        feet = origin + out * buccal + height * here.up
        starts = feet[:, None] + steps[:, None] * here.up + _OUT_MM * buccal[:, None]
        count = round((_OUT_MM + _IN_MM) / _RAY_MM) + 1
        ways = np.broadcast_to(-buccal[:, None], starts.shape)
        grey = sampling.profiles(
            volume, starts.reshape(-1, 3), ways.reshape(-1, 3), _RAY_MM, count
        ).astype(np.float64)
        half = 0.5 * (levels.soft + levels.cortical)
        bone = grey > half
        met = bone.any(axis=1) & (grey[:, 0] < half)
        off = np.where(met, _OUT_MM - _RAY_MM * np.argmax(bone, axis=1), np.nan)
        a, u = (g.ravel() for g in np.meshgrid(steps, steps, indexing="ij"))
        if met.mean() < _LEAST_SURFACE:
            return None
        even = _terms(a, u) @ _quadric(a[met], u[met], off[met])
        # What is uneven over more than an opening is the surface's own.
        rest = np.where(met, off - even, 0.0).reshape(len(steps), len(steps))
        rest = gaussian_filter(median_filter(rest, _OWN, mode="nearest"), 1.0, mode="nearest")
        surface = even.reshape(rest.shape) + rest
        return cls(station_mm=station, feet=feet, up=here.up, buccal=buccal, out=surface)

    def at(self, along: Array, up: Array) -> Array:
        """(n, 3) patient LPS mm: places of the surface."""
        half = len(self.feet) // 2
        n, m = along / STEP_MM + half, up / STEP_MM + half
        out = map_coordinates(self.out, np.stack([n, m]), order=1, mode="nearest")
        grid = np.arange(len(self.feet))
        feet = np.stack([np.interp(n, grid, column) for column in self.feet.T], axis=1)
        buccal = np.stack([np.interp(n, grid, column) for column in self.buccal.T], axis=1)
        return np.asarray(feet + up[:, None] * self.up + out[:, None] * buccal)

    def darkness(self, volume: Volume, levels: BoneLevels) -> Array | None:
        """(n, n) 0 where the plate is whole and 1 where it is open; None where it is too faint."""
        steps = STEP_MM * (np.arange(len(self.feet)) - len(self.feet) // 2)
        a, u = (g.ravel() for g in np.meshgrid(steps, steps, indexing="ij"))
        surface = self.at(a, u)
        n = np.clip(np.rint(a / STEP_MM).astype(int) + len(self.feet) // 2, 0, len(self.feet) - 1)
        count = round((_BEHIND_MM[1] - _BEHIND_MM[0]) / _RAY_MM) + 1
        ways = -self.buccal[n]
        grey = sampling.profiles(volume, surface + _BEHIND_MM[0] * ways, ways, _RAY_MM, count)
        bright = np.nanpercentile(grey.astype(np.float64), 75, axis=1)
        bright = np.where(np.isfinite(bright), bright, levels.soft)
        picture = bright.reshape(len(steps), len(steps))
        picture = gaussian_filter(picture, _SMOOTH_MM / STEP_MM, mode="nearest")
        whole = float(np.median(picture))
        if whole - levels.soft < _LEAST_CONTRAST * (levels.cortical - levels.soft):
            return None
        return np.asarray((whole - picture) / (whole - levels.soft))


def _terms(a: Array, u: Array) -> Array:
    return np.stack([np.ones_like(a), a, u, a * a, a * u, u * u], axis=1)


def _quadric(a: Array, u: Array, off: Array) -> Array:
    """The smooth surface that most of the rays met."""
    columns = _terms(a, u)
    weight: Array = np.ones(len(a))
    fit: Array = np.zeros(6)
    for _ in range(12):
        fit = np.asarray(np.linalg.lstsq(columns * weight[:, None], off * weight, rcond=None)[0])
        left = np.abs(off - columns @ fit)
        usual = max(1.4826 * float(np.median(left)), 0.1)
        weight = np.clip(1.0 - (left / (4.0 * usual)) ** 2, 0.0, 1.0)
    return np.asarray(fit, dtype=np.float64)


def _opening(dark: Array) -> NDArray[np.bool_] | None:
    """The closed dark piece nearest to the middle; None where there is none."""
    pieces, count = label(dark > 0.5)
    rows, columns = np.indices(dark.shape)
    middle = dark.shape[0] // 2
    away = STEP_MM * np.hypot(rows - middle, columns - middle)
    best: tuple[float, NDArray[np.bool_]] | None = None
    for n in range(1, count + 1):
        inside = pieces == n
        edge = inside[[0, -1]].any() or inside[:, [0, -1]].any()
        area = float(inside.sum()) * STEP_MM**2
        if edge or not _AREA_MM2[0] <= area <= _AREA_MM2[1] or dark[inside].max() < _LEAST_DARK:
            continue
        near = float(away[inside].min())
        if near <= _NEAR_MM and (best is None or near < best[0]):
            best = near, inside
    return None if best is None else np.asarray(binary_fill_holes(best[1]))


def _eroded(inside: NDArray[np.bool_]) -> NDArray[np.bool_]:
    full = np.pad(inside, 1)
    return np.asarray(full[:-2, 1:-1] & full[2:, 1:-1] & full[1:-1, :-2] & full[1:-1, 2:])


def _ends(
    dark: Array, along: Array, up: Array, middle: tuple[float, float]
) -> tuple[float, float, float] | None:
    """Where the opening ends along the jaw, to both sides, and upwards: half way."""
    row = np.array([np.interp(middle[1], up, line) for line in dark])
    column = np.array([np.interp(middle[0], along, line) for line in dark.T])
    ends = [
        _crossing(along, row, middle[0], -1),
        _crossing(along, row, middle[0], 1),
        _crossing(up, column, middle[1], 1),
    ]
    first, last, upper = ends
    if first is None or last is None or upper is None:
        return None
    return first, last, upper


def _crossing(places: Array, values: Array, start: float, way: int) -> float | None:
    """Nearest place from the start on where values fall under one half."""
    fine = np.asarray(start + way * np.arange(0.0, REACH_MM, 0.02), dtype=np.float64)
    under = np.flatnonzero(np.interp(fine, places, values) < 0.5)
    return float(fine[under[0]]) if len(under) else None
