"""What the way of placing would make of a clearance: mean deviations of published series.

Mean deviations, not a worst case: half of the fixtures in such a series end up further away.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import product

import numpy as np
from numpy.typing import ArrayLike

from core.fixture import Fixture
from core.geometry import Array, across, cross, lengths, unit
from core.words.catalogue import Words, message

DIRECTIONS = 8
"""Directions of tilt that are tried before the refinement."""

_MOVES = np.repeat(np.eye(5), 2, axis=0) * np.tile((-1.0, 1.0), 5)[:, None]
"""One step of the refinement either way along each of the five deviations."""

_LEAST = np.array([0.0, -1.0, -1.0, -1.0, -1.0])

_WORTH_A_STEP_MM = 1e-5
"""A smaller gain never repeats a step of the refinement: along the rim of the reached tilts it
would creep on for thousands of poses, to move the result by less than a thousandth of a mm."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Series:
    """Mean deviations of placed from planned fixtures.

    Parameters
    ----------
    key : str
        Code of the way of placing, as in keys of files.
    name : Words
    deeper_mm, mesiodistal_mm, buccolingual_mm : float
        At the platform.
    tilt_deg : float
        Any way, about the centre of the platform.
    together : bool
        True: the three were published one by one and may come together. False: they are one 3D
        deviation, so their joint length stays within it.
    source : Words
    """

    key: str
    name: Words
    deeper_mm: float
    mesiodistal_mm: float
    buccolingual_mm: float
    tilt_deg: float
    together: bool
    source: Words


FREE_HAND = Series(
    key="free_hand",
    name=message("sources.series.free-hand"),
    deeper_mm=0.95,
    mesiodistal_mm=0.87,
    buccolingual_mm=0.70,
    tilt_deg=8.7,
    together=True,
    source=message("sources.free-hand"),
)

PILOT_GUIDE = Series(
    key="pilot_guide",
    name=message("sources.series.pilot-guide"),
    # The series gives no depth for a pilot guide: drilling after it is free-hand, and so is this.
    deeper_mm=0.95,
    mesiodistal_mm=1.14,
    buccolingual_mm=1.14,
    tilt_deg=7.79,
    together=True,
    source=message("sources.pilot-guide"),
)

FULL_GUIDE = Series(
    key="full_guide",
    name=message("sources.series.full-guide"),
    deeper_mm=1.2,
    mesiodistal_mm=1.2,
    buccolingual_mm=1.2,
    tilt_deg=3.5,
    together=False,
    source=message("sources.full-guide"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Placed:
    """The least clearance over the poses of a series, and the pose that has it."""

    clearance_mm: float
    fixture: Fixture
    series: Series


def least_clearance(
    fixture: Fixture,
    series: Series,
    *,
    buccal: ArrayLike,
    clearances_at: Callable[[Array, Array], Array],
) -> Placed:
    """Least clearance over the poses that a series of placements reaches.

    Poses: the platform moved along the planned axis by 0 to `deeper_mm` towards the apex, and by
    up to the two shifts either way across it; the axis then turned about the moved platform by 0
    to `tilt_deg` in any direction. All deviations may come together (see `Series.together`). The
    planned pose is one of them, so the result is never above the planned clearance.

    Tried on a grid of the extremes and the middle, then refined around the best of them; the
    result is a clearance of a pose that was tried, at most a few hundredths of a mm above the
    least one.

    Parameters
    ----------
    buccal : (3,)
        Buccal direction of the fixture frame; mesial is perpendicular to it and the axis.
    clearances_at : callable
        Centres of the platform (n, 3) patient LPS mm and unit axes towards the apex (n, 3) of
        poses → (n,) signed clearances to one structure, mm.
    """
    b = across(buccal, fixture.a)
    m = unit(cross(fixture.a, b))

    def at(poses: Array) -> Array:
        return clearances_at(*_placed(fixture, series, b, m, poses))

    values = at(_FIRST)
    number = int(np.argmin(values))
    least, best = float(values[number]), _FIRST[number]
    step = 0.5
    while step > 0.02:
        improved, tried = False, 0
        while tried < len(_MOVES):
            # All moves left are tried at once, and the first that gains is taken.
            poses = _inside(best + step * _MOVES[tried:])
            values = at(poses)
            gains = np.flatnonzero(values < least - _WORTH_A_STEP_MM)
            if len(gains) == 0:
                break
            first = int(gains[0])
            least, best, improved = float(values[first]), poses[first], True
            tried += first + 1
        if not improved:
            step /= 2
    (platform,), (towards_apex,) = _placed(fixture, series, b, m, best[None])
    placed = replace(fixture, platform=platform, towards_apex=towards_apex)
    return Placed(clearance_mm=least, fixture=placed, series=series)


def _first_poses() -> Array:
    """(n, 5) the planned pose, then the extremes and the middle of each deviation."""
    turns = 2.0 * np.pi * np.arange(DIRECTIONS) / DIRECTIONS
    tilts = [(0.0, 0.0), *((math.cos(t), math.sin(t)) for t in turns)]
    extremes = product((0.0, 1.0), (-1.0, 0.0, 1.0), (-1.0, 0.0, 1.0), tilts)
    return np.array([np.zeros(5), *((*shift, *tilt) for *shift, tilt in extremes)])


_FIRST = _first_poses()


def _inside(poses: Array) -> Array:
    """Bring poses (deeper, mesial, buccal, two of tilt; parts of the full deviation) back in."""
    out = poses.clip(_LEAST, 1.0)
    out[:, 3:] /= np.maximum(1.0, np.hypot(out[:, 3], out[:, 4]))[:, None]
    return out


def _placed(
    fixture: Fixture, series: Series, b: Array, m: Array, poses: Array
) -> tuple[Array, Array]:
    """Platforms and unit axes, (n, 3) each, of poses (n, 5) as `_inside` has them."""
    shifts, (first, second) = poses[:, :3], poses[:, 3:].T
    if not series.together:
        shifts = shifts / np.maximum(1.0, lengths(shifts))[:, None]
    most = np.array([series.deeper_mm, series.mesiodistal_mm, series.buccolingual_mm])
    deeper, mesial, buccal = (shifts * most).T[..., None]
    ahead = fixture.towards_apex
    platforms = fixture.platform + deeper * ahead + mesial * m + buccal * b
    parts = np.hypot(first, second)
    sideways = first[:, None] * b + second[:, None] * m
    sideways /= np.where(parts > 0, parts, 1.0)[:, None]
    tilts = (math.radians(series.tilt_deg) * parts)[:, None]
    axes = np.cos(tilts) * ahead + np.sin(tilts) * sideways
    return platforms, axes / lengths(axes)[:, None]
