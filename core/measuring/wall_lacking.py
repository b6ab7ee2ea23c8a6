"""Where the bone around a fixture is below its limit, and how much is lacking by depth."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from core.arch import FixtureFrame
from core.bone.field_edge import WALL_REACH_MM, scan_ends_beside
from core.bone.wall import Side, WallMap
from core.bone.wall_minima import Opening, openings
from core.bone.wall_rays import NOT_SCANNED
from core.fixture import Fixture
from core.identity import Tooth, inner_side
from core.image.volume import Volume
from core.measurement import Note
from core.plans.limits import limit_for, zone_key
from core.plans.plan import Plan
from core.trust.figures import plain, up
from core.trust.verdict import least_allowed

_SIDES: tuple[Side, ...] = ("buccal", "lingual")

_EVERY_MM = 1.0
"""Depths that are named one by one."""


def wall_limit(plan: Plan, fixture: Fixture, side: Side) -> Callable[[float], float]:
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


def as_told(wall: WallMap, volume: Volume, fixture: Fixture, frame: FixtureFrame) -> WallMap:
    """The map with no bone told on a side beside which the scan ends, as in the ledger's rows.

    Bone that was cut off there would pass for its outside.

    Parameters
    ----------
    wall : WallMap
    volume : Volume
    fixture : Fixture
    frame : FixtureFrame
    """
    bone, state = wall.bone_mm.copy(), wall.state.copy()
    for side in _SIDES:
        if scan_ends_beside(volume, fixture, frame, side, WALL_REACH_MM):
            bone[:, wall.sector(side)] = np.nan
            state[:, wall.sector(side)] = NOT_SCANNED
    return replace(wall, bone_mm=bone, state=state)


def lacking_notes(wall: WallMap, plan: Plan, fixture: Fixture) -> tuple[Note, ...]:
    """A sentence for each stretch below the limit, buccal ones first; none without such.

    Parameters
    ----------
    wall : WallMap
    plan : Plan
    fixture : Fixture
    """
    inner = inner_side(plan.known_jaw)
    return tuple(
        _note(opening, "buccal" if side == "buccal" else inner)
        for side in _SIDES
        for opening in openings(wall, side, wall_limit(plan, fixture, side))
    )


def _note(opening: Opening, side: str) -> Note:
    name, most, kind = side.capitalize(), up(opening.lacking_mm, 1), opening.kind
    top, end = plain(opening.from_mm), plain(opening.to_mm)
    if top == end:
        return Note("wall-lacking-at", {"side": name, "most": most, "kind": kind, "at": top})
    whole = [(d, short) for d, short in opening.by_depth if d % _EVERY_MM < 1e-6]
    each = ", ".join(f"{up(short, 1)} at {d:g}" for d, short in whole or opening.by_depth)
    return Note(
        "wall-lacking",
        {"side": name, "most": most, "kind": kind, "top": top, "end": end, "each": each},
    )
