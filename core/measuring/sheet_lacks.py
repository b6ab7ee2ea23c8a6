"""What no limit needs, but the sheet of a fixture will miss: asked for before it is signed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from core.arch import Arch, fixture_frame
from core.distances.neighbour_marks import side_marks
from core.errors import PlanError
from core.fixture import Fixture
from core.measuring.expected_list import BESIDE_MM, expected_list
from core.plans.plan import Plan


@dataclass(frozen=True, slots=True)
class SheetLack:
    """One thing that the sheet will miss.

    Parameters
    ----------
    name : {'midline', 'contacts'}
        What places are counted from; what the drill card gives the entry point from.
    station_mm : float or None
        About where along the arch it is marked; None where nobody can tell.
    """

    name: Literal["midline", "contacts"]
    station_mm: float | None = None


def sheet_lacks(plan: Plan, arch: Arch, fixture: Fixture) -> tuple[SheetLack, ...]:
    """What a fixture's sheet will miss.

    Contacts are missed on each side whose neighbour was marked: where a tooth stands.

    Parameters
    ----------
    plan : Plan
    arch : Arch
    fixture : Fixture
    """
    found = [SheetLack("midline")] if plan.midline is None else []
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
            away = BESIDE_MM / 2 if each.station_mm > here else -BESIDE_MM / 2
            found.append(SheetLack("contacts", here + away))
            break
    return tuple(found)
