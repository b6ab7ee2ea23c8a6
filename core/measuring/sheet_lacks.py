"""What no limit needs, but the sheet of a fixture will miss: asked for before it is signed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from core.arch import Arch, fixture_frame
from core.distances.neighbour_marks import side_marks
from core.errors import PlanError
from core.fixture import Fixture
from core.identity import Tooth, expected_structures
from core.measuring.expected_list import KnownHere, expected_list
from core.plans.plan import Plan
from core.structures import Tapered

FRONT = 3
"""Incisors and canine."""


@dataclass(frozen=True, slots=True)
class SheetLack:
    """One thing that the sheet will miss.

    Parameters
    ----------
    name : {'midline', 'contacts'}
        What tells the sides apart; what the drill card gives the entry point from.
    """

    name: Literal["midline", "contacts"]


def sheet_lacks(plan: Plan, arch: Arch, fixture: Fixture) -> tuple[SheetLack, ...]:
    """What a fixture's sheet will miss.

    Contacts are missed on each side whose neighbour was marked: where a tooth stands. The midline
    see `needs_midline`.

    Parameters
    ----------
    plan : Plan
    arch : Arch
    fixture : Fixture
    """
    found = [SheetLack("midline")] if needs_midline(plan, arch, fixture) else []
    try:
        frame = fixture_frame(fixture, arch)
    except PlanError:
        return tuple(found)
    contacts = side_marks(fixture, frame, plan.structures, lambda s: s.kind == "contact")
    here = arch.station(fixture.platform)
    mesial_is_on = float(frame.m @ frame.station.travel) > 0
    for each in expected_list(plan, arch, fixture):
        if not each.expected.name.startswith("root-") or each.state != "marked":
            continue
        side = "mesial" if (each.station_mm > here) == mesial_is_on else "distal"
        if side not in contacts:
            found.append(SheetLack("contacts"))
            break
    return tuple(found)


def needs_midline(plan: Plan, arch: Arch, fixture: Fixture) -> bool:
    """True where left and right are not plain without a midline, and none is marked.

    In front both sides lie within reach of a fixture. Further back only what was marked out of
    reach leaves open whose side it belongs to, and a fixture whose tooth nobody named.

    Parameters
    ----------
    plan : Plan
    arch : Arch
    fixture : Fixture
    """
    if plan.midline is not None:
        return False
    if not fixture.tooth or Tooth.of(fixture.tooth).position <= FRONT:
        return True
    known = KnownHere(plan=plan, arch=arch, fixture=fixture)
    return any(
        each.is_marked_by(s) and not isinstance(s, Tapered) and not known.same_side(s)
        for each in expected_structures(Tooth.of(fixture.tooth))
        for s in plan.structures
    )
