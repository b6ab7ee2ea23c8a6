"""Where the bone around a fixture is below its limit, and how much is lacking by depth."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from core.arch import FixtureFrame
from core.bone.field_edge import REMAINING_BONE_REACH_MM, scan_ends_beside
from core.bone.remaining_bone import RemainingBoneMap, Side
from core.bone.remaining_bone_minima import Opening, openings
from core.bone.remaining_bone_rays import NOT_SCANNED
from core.fixture import Fixture
from core.identity import Tooth, inner_side
from core.image.volume import Volume
from core.measurement import Note
from core.plans.limits import limit_for, zone_key
from core.plans.plan import Plan
from core.trust.figures import plain, up
from core.trust.verdict import least_allowed
from core.words.catalogue import message
from core.words.values import row_of

_SIDES: tuple[Side, ...] = ("buccal", "lingual")

_KINDS = {
    "possible dehiscence": message("measuring.lacking.possible-dehiscence"),
    "possible fenestration": message("measuring.lacking.possible-fenestration"),
    "open at the apex": message("measuring.lacking.open-at-the-apex"),
}

_EVERY_MM = 1.0
"""Depths that are named one by one."""


def remaining_bone_limit(plan: Plan, fixture: Fixture, side: Side) -> Callable[[float], float]:
    """Depth from the platform → limit in force on a side, mm.

    Parameters
    ----------
    plan : Plan
    fixture : Fixture
    side : Side
    """
    tooth = Tooth.of(fixture.tooth) if fixture.tooth else None

    def at(depth_mm: float) -> float:
        key = zone_key("wall-buccal", depth_mm) if side == "buccal" else "wall-lingual"
        return least_allowed(limit_for(key, plan, tooth=tooth))

    return at


def as_told(
    remaining: RemainingBoneMap, volume: Volume, fixture: Fixture, frame: FixtureFrame
) -> RemainingBoneMap:
    """The map with no bone told on a side beside which the scan ends, as in the ledger's rows.

    Bone that was cut off there would pass for its outside.

    Parameters
    ----------
    remaining : RemainingBoneMap
    volume : Volume
    fixture : Fixture
    frame : FixtureFrame
    """
    bone, state = remaining.bone_mm.copy(), remaining.state.copy()
    for side in _SIDES:
        if scan_ends_beside(volume, fixture, frame, side, REMAINING_BONE_REACH_MM):
            bone[:, remaining.sector(side)] = np.nan
            state[:, remaining.sector(side)] = NOT_SCANNED
    return replace(remaining, bone_mm=bone, state=state)


def lacking_notes(remaining: RemainingBoneMap, plan: Plan, fixture: Fixture) -> tuple[Note, ...]:
    """A sentence for each stretch below the limit, buccal ones first; none without such.

    Parameters
    ----------
    remaining : RemainingBoneMap
    plan : Plan
    fixture : Fixture
    """
    inner = inner_side(plan.known_jaw)
    return tuple(
        _note(opening, "buccal" if side == "buccal" else inner)
        for side in _SIDES
        for opening in openings(remaining, side, remaining_bone_limit(plan, fixture, side))
    )


def _note(opening: Opening, side: str) -> Note:
    most, kind = up(opening.lacking_mm, 1), _KINDS[opening.kind]
    top, end = plain(opening.from_mm), plain(opening.to_mm)
    if top == end:
        return Note("wall-lacking-at", {"side": side, "most": most, "kind": kind, "at": top})
    whole = [(d, short) for d, short in opening.by_depth if d % _EVERY_MM < 1e-6]
    each = row_of(
        [
            message("measuring.lacking.at-depth", mm=up(short, 1), depth=f"{d:g}")
            for d, short in whole or opening.by_depth
        ]
    )
    return Note(
        "wall-lacking",
        {"side": side, "most": most, "kind": kind, "top": top, "end": end, "each": each},
    )
