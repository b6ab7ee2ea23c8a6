"""The remaining bone laid out flat: depth downwards, direction across, lines of equal bone.

Directions run lingual, distal, buccal (in the middle), mesial, lingual. A line of equal bone is
where linear interpolation between the rays of a `RemainingBoneMap` meets its value (contourpy); it
is drawn, never measured on.
"""

from __future__ import annotations

from dataclasses import dataclass

import contourpy
import numpy as np
from numpy.typing import NDArray

from core.bone.remaining_bone import RemainingBoneMap
from core.bone.remaining_bone_rays import NOT_FOUND, NOT_SCANNED
from core.fixture import Fixture
from core.geometry import Array
from core.identity import Tooth
from core.plans.limits import limit_for, zone_key
from core.plans.plan import Plan
from core.trust.figures import plain
from core.trust.verdict import least_allowed
from core.words.catalogue import say

LEVELS_MM = (1.0, 2.0, 3.0, 4.0)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RemainingBoneLine:
    """A line on the picture.

    Parameters
    ----------
    points : (n, 2)
        Turn in degrees and depth in mm.
    label : str
        Its numeral.
    is_limit : bool
        The border of where the bone is below its limit.
    """

    points: Array
    label: str
    is_limit: bool = False


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RemainingBonePicture:
    """What is drawn of the remaining bone; arrays are (depths, turns), the last turn is 180.

    Parameters
    ----------
    depths_mm : (D,)
    turns_deg : (P + 1,)
    bone_mm : (D, P + 1)
        NaN where it is not known.
    unknown : (D, P + 1) bool
        Not found or not scanned: hatched.
    below : (D, P + 1) bool
        Under the limit of its side and depth.
    lines : tuple of RemainingBoneLine
    """

    depths_mm: Array
    turns_deg: Array
    bone_mm: Array
    unknown: NDArray[np.bool_]
    below: NDArray[np.bool_]
    lines: tuple[RemainingBoneLine, ...]


def remaining_bone_picture(
    remaining: RemainingBoneMap, plan: Plan, fixture: Fixture
) -> RemainingBonePicture:
    """Lay out the remaining bone of a fixture with the limits of its plan.

    Parameters
    ----------
    remaining : RemainingBoneMap
    plan : Plan
    fixture : Fixture
    """
    turns = np.append(remaining.turns_deg, 180.0)
    bone = _closed(remaining.bone_mm)
    state = _closed(remaining.state)
    limit = _closed(_limits(remaining, plan, fixture))
    lines = [
        RemainingBoneLine(points=points, label=plain(level).removesuffix(".0"))
        for level in LEVELS_MM
        for points in _contours(turns, remaining.depths_mm, bone, level)
    ]
    lines += [
        RemainingBoneLine(points=points, label=say("pictures.wall.limit"), is_limit=True)
        for points in _contours(turns, remaining.depths_mm, bone - limit, 0.0)
    ]
    with np.errstate(invalid="ignore"):
        below = bone < limit
    return RemainingBonePicture(
        depths_mm=remaining.depths_mm,
        turns_deg=turns,
        bone_mm=bone,
        unknown=(state == NOT_FOUND) | (state == NOT_SCANNED),
        below=below,
        lines=tuple(lines),
    )


def _limits(remaining: RemainingBoneMap, plan: Plan, fixture: Fixture) -> Array:
    """(D, P) limit by depth and direction; NaN towards the neighbours, where none applies."""
    tooth = Tooth.of(fixture.tooth) if fixture.tooth else None
    limits = np.full(remaining.bone_mm.shape, np.nan)
    lingual = least_allowed(limit_for("wall-lingual", plan, tooth=tooth))
    limits[:, remaining.sector("lingual")] = lingual
    for row, depth in enumerate(remaining.depths_mm):
        key = zone_key("wall-buccal", float(depth))
        limit = least_allowed(limit_for(key, plan, tooth=tooth))
        limits[row, remaining.sector("buccal")] = limit
    return limits


def _closed(values: NDArray[np.generic]) -> Array:
    """With the first direction once more at the end: -180 and 180 are the same."""
    return np.asarray(np.concatenate([values, values[:, :1]], axis=1))


def _contours(turns: Array, depths: Array, values: Array, level: float) -> list[Array]:
    if len(depths) < 2:
        return []
    known = np.ma.masked_invalid(values)
    found = contourpy.contour_generator(turns, depths, known).lines(level)
    return [np.asarray(line, dtype=np.float64) for line in found if len(line) > 1]
