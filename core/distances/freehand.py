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
from core.geometry import Array, across, unit
from core.words.catalogue import Words, message

DIRECTIONS = 8
"""Directions of tilt that are tried before the refinement."""

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
    clearance_at: Callable[[Fixture], float],
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
    clearance_at : callable
        Signed clearance of a fixture, mm, for one structure.
    """
    b = across(buccal, fixture.a)
    m = unit(np.cross(fixture.a, b))

    def at(pose: Array) -> tuple[float, Fixture]:
        moved = _moved(fixture, series, b, m, pose)
        return clearance_at(moved), moved

    turns = 2.0 * np.pi * np.arange(DIRECTIONS) / DIRECTIONS
    tilts = [(0.0, 0.0), *((math.cos(t), math.sin(t)) for t in turns)]
    best = np.zeros(5)
    least, placed = at(best)
    for deeper, mesial, buccally, tilt in product(
        (0.0, 1.0), (-1.0, 0.0, 1.0), (-1.0, 0.0, 1.0), tilts
    ):
        pose = np.array((deeper, mesial, buccally, *tilt))
        value, moved = at(pose)
        if value < least:
            least, placed, best = value, moved, pose
    step = 0.5
    while step > 0.02:
        improved = False
        for axis, sign in product(range(5), (-step, step)):
            pose = _inside(best + sign * np.eye(5)[axis])
            value, moved = at(pose)
            if value < least - _WORTH_A_STEP_MM:
                least, placed, best, improved = value, moved, pose, True
        if not improved:
            step /= 2
    return Placed(clearance_mm=least, fixture=placed, series=series)


def _inside(pose: Array) -> Array:
    """Bring a pose (deeper, mesial, buccal, two of tilt; parts of the full deviation) back in."""
    out = np.clip(pose, (0.0, -1.0, -1.0, -1.0, -1.0), 1.0)
    out[3:] /= max(1.0, float(np.hypot(out[3], out[4])))
    return out


def _moved(fixture: Fixture, series: Series, b: Array, m: Array, pose: Array) -> Fixture:
    shift = pose[:3]
    if not series.together:
        shift = shift / max(1.0, float(np.linalg.norm(shift)))
    amounts = shift * (series.deeper_mm, series.mesiodistal_mm, series.buccolingual_mm)
    platform = (
        fixture.platform + amounts[0] * fixture.towards_apex + amounts[1] * m + amounts[2] * b
    )
    part = float(np.hypot(pose[3], pose[4]))
    axis = fixture.towards_apex
    if part > 0:
        sideways = (pose[3] * b + pose[4] * m) / part
        tilt = math.radians(series.tilt_deg) * part
        axis = math.cos(tilt) * fixture.towards_apex + math.sin(tilt) * sideways
    return replace(fixture, platform=platform, towards_apex=axis)
