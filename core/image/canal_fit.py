"""The diameter of a canal, from the image around one mark where it is clearly seen.

Definition: outside of the bony wall. In the plane across the canal, rays run outwards from the
mark; on each, the inner edge is where the grey value first rises through the mean of the lumen
and the wall's peak. Where the wall stands out from what lies around it, its outer edge is where
the value falls through the mean of the peak and the surroundings. A circle is laid through the
outer edges; its diameter is the fit. Where no wall stands out, the bright bone begins at the
lumen's edge, and the circle goes through that edge: the note says so.

A thin wall that is blurred reads thicker than it is: the diameter errs to the large side, so that
a clearance errs to the small one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from core.geometry import Array, any_across, unit, vector
from core.image import sampling
from core.image.volume import Volume
from core.measurement import Note

RAYS = 36
STEP_MM = 0.05
REACH_MM = 4.0
"""A canal with a wall is 2 to 5 mm wide; edges further out belong to something else."""

METHOD_SD_MM = 0.2
"""Spread of the diameter's own error on blurred tubes with and without a wall (see tests)."""

_LAYERS_MM = (-0.6, -0.3, 0.0, 0.3, 0.6)
_CORE_MM = 0.4
_LEAST_RAYS = 0.6
_LEAST_WALLS = 0.5
_MOST_SCATTER_MM = 0.35
_CONTRAST = 4.0
_DROP = 0.25


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CanalFit:
    """What was found around a mark.

    Parameters
    ----------
    diameter_mm : float or None
        None with the reason in `note`.
    sd_mm : float
        Standard deviation of the diameter; 0 without one.
    middle_mm : (3,) patient LPS mm
        Middle of the circle; the mark itself without one.
    note : Note or None
        Why there is no diameter, or what it was taken from.
    """

    diameter_mm: float | None = None
    sd_mm: float = 0.0
    middle_mm: Array
    note: Note | None = None


def fit_canal(volume: Volume, mark_mm: ArrayLike, along: ArrayLike) -> CanalFit:
    """Fit a canal's diameter around a mark on its middle.

    Parameters
    ----------
    volume : Volume
    mark_mm : (3,) patient LPS mm
        Inside the canal, within about half a mm of its middle.
    along : (3,)
        Direction of the canal there.

    Returns
    -------
    CanalFit
    """
    mark = vector(mark_mm)
    profiles, rays = _profiles(volume, mark, unit(along))
    if not np.isfinite(profiles).all():
        return CanalFit(diameter_mm=None, middle_mm=mark, note=Note("canal-fit-not-scanned"))
    inner, outer = _edges(profiles)
    clear = np.isfinite(inner)
    if clear.mean() < _LEAST_RAYS:
        return CanalFit(diameter_mm=None, middle_mm=mark, note=Note("canal-fit-not-clear"))
    walled = np.isfinite(outer)
    has_wall = bool(walled.sum() >= _LEAST_WALLS * clear.sum())
    radius, used = (outer, walled) if has_wall else (inner, clear)
    centre, size, scatter, kept = _circle(radius[used, None] * rays[used])
    if scatter > _MOST_SCATTER_MM or kept < _LEAST_WALLS * RAYS * _LEAST_RAYS:
        return CanalFit(diameter_mm=None, middle_mm=mark, note=Note("canal-fit-not-round"))
    across = _across(unit(along))
    # Neighbouring rays share voxels: about one in three is independent.
    sd = float(np.hypot(2.0 * scatter / np.sqrt(max(kept / 3.0, 1.0)), METHOD_SD_MM))
    return CanalFit(
        diameter_mm=2.0 * size,
        sd_mm=sd,
        middle_mm=vector(mark + centre @ across),
        note=None if has_wall else Note("canal-fit-no-wall"),
    )


def _across(along: Array) -> Array:
    """(2, 3) unit vectors across a direction and each other."""
    one = any_across(along)
    return np.stack([one, np.cross(along, one)])


def _profiles(volume: Volume, mark: Array, along: Array) -> tuple[Array, Array]:
    """(RAYS, count) grey values outwards, and the rays' directions in the plane, (RAYS, 2).

    Each profile is the mean of a few layers along the canal.
    """
    angle = np.arange(RAYS) * 2 * np.pi / RAYS
    rays = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    directions = rays @ _across(along)
    count = round(REACH_MM / STEP_MM) + 1
    starts = mark + np.asarray(_LAYERS_MM)[:, None] * along
    grey = sampling.profiles(
        volume,
        np.repeat(starts, RAYS, axis=0),
        np.tile(directions, (len(starts), 1)),
        STEP_MM,
        count,
    )
    mean = grey.reshape(len(starts), RAYS, count).astype(np.float64).mean(axis=0)
    return np.asarray(mean), rays


def _edges(profiles: Array) -> tuple[Array, Array]:
    """Inner and outer edge of the wall on each ray, mm from the mark; NaN where not found."""
    lumen_values = profiles[:, : round(_CORE_MM / STEP_MM) + 1]
    lumen = float(np.median(lumen_values))
    noise = float(np.std(lumen_values)) + 1e-9
    inner = np.full(RAYS, np.nan)
    outer = np.full(RAYS, np.nan)
    for i, ray in enumerate(profiles):
        top = _first_top(ray, lumen, noise)
        if top is None:
            continue
        rise = ray[top] - lumen
        inner[i] = _crossing(ray, 0, top, lumen + rise / 2, rising=True)
        behind = ray[top : min(top + round(1.5 / STEP_MM), len(ray))]
        around = float(behind.min())
        if ray[top] - around >= _DROP * rise:
            last = top + int(np.argmin(behind))
            outer[i] = _crossing(ray, top, last, (ray[top] + around) / 2, rising=False)
    return inner, outer


def _first_top(ray: Array, lumen: float, noise: float) -> int | None:
    """Index of the first maximum that rises well out of the lumen; a plateau's first tenth."""
    high = lumen + _CONTRAST * noise
    above = np.flatnonzero(ray > high)
    if len(above) == 0:
        return None
    start = int(above[0])
    reach = min(start + round(1.2 / STEP_MM), len(ray))
    return start + int(np.argmax(ray[start:reach]))


def _crossing(ray: Array, first: int, last: int, level: float, *, rising: bool) -> float:
    """Where a profile first crosses a level between two samples, mm; NaN where it does not."""
    part = ray[first : last + 1]
    past = part >= level if rising else part <= level
    found = np.flatnonzero(past)
    if len(found) == 0 or found[0] == 0:
        return float("nan")
    j = int(found[0])
    low, high = part[j - 1], part[j]
    return float((first + j - 1 + (level - low) / (high - low)) * STEP_MM)


def _circle(edge_uv: Array) -> tuple[Array, float, float, int]:
    """Circle through points: centre, radius, robust scatter of the points, how many were kept.

    Algebraic least squares (Kåsa, IEEE Trans Instrum Meas 1976;25:8), twice: the second time
    without points further off than 2.5 times the scatter.
    """
    kept = np.ones(len(edge_uv), dtype=bool)
    centre, radius, scatter = np.zeros(2), 0.0, np.inf
    for _ in range(3):
        p = edge_uv[kept]
        system = np.column_stack([2 * p, np.ones(len(p))])
        solution, *_ = np.linalg.lstsq(system, (p**2).sum(axis=1), rcond=None)
        centre = np.asarray(solution[:2])
        radius = float(np.sqrt(max(solution[2] + centre @ centre, 0.0)))
        off = np.linalg.norm(edge_uv - centre, axis=1) - radius
        scatter = float(1.4826 * np.median(np.abs(off[kept])))
        kept = np.abs(off) <= 2.5 * max(scatter, 0.05)
        if kept.sum() < 6:
            break
    return centre, radius, scatter, int(kept.sum())
