"""What the sheet will miss though no limit needs it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from core.measuring.expected_list import BESIDE_MM
from core.measuring.sheet_lacks import SheetLack, sheet_lacks
from core.plans.edit import with_structure
from core.plans.side import arch_of
from core.structures import PointMarks, Tapered
from tests.sheet_material import fixture_at, plan_with


def made(tooth, roots, sides=()):
    """A plan with a fixture, roots of some neighbours, and contacts so far along the arch."""
    plan = replace(plan_with(fixture_at(15.0, tooth)), structures=(), declared=())
    plan = replace(plan, midline=plan.arch_points[0])
    fixture, arch = plan.fixtures[0], arch_of(plan)
    for root in roots:
        place = [fixture.platform, fixture.apex]
        plan = with_structure(
            plan,
            Tapered(id=f"root-{root}", kind="root", tooth=root, points=place, diameters_mm=(5, 2)),
        )
    if sides:
        here = arch.station(fixture.platform)
        points = np.stack([arch.frame(here + side).origin for side in sides])
        plan = with_structure(plan, PointMarks(id="contact-1", kind="contact", points=points))
    return plan


def lacks(plan):
    return sheet_lacks(plan, arch_of(plan), plan.fixtures[0])


def test_a_midline_and_no_neighbour_lack_nothing():
    plan = made("36", [])
    assert lacks(plan) == ()
    assert lacks(replace(plan, midline=None)) == (SheetLack("midline"),)


# Stations grow towards the patient's left: 35 stands before 36, 45 behind 46.
@pytest.mark.parametrize(
    ("tooth", "roots", "sides", "towards"),
    [
        ("36", ["35", "37"], (-4.0, 4.0), None),
        ("36", ["35", "37"], (-4.0,), +1),
        ("36", ["35", "37"], (4.0,), -1),
        ("36", ["35"], (-4.0,), None),
        ("36", ["37"], (-4.0,), +1),
        ("46", ["45", "47"], (4.0,), -1),
        ("46", ["45"], (4.0,), None),
        ("46", ["47"], (4.0,), -1),
    ],
)
def test_a_contact_is_missed_where_a_neighbour_stands(tooth, roots, sides, towards):
    plan = made(tooth, roots, sides)
    found = lacks(plan)
    if towards is None:
        assert found == ()
        return
    (lack,) = found
    here = arch_of(plan).station(plan.fixtures[0].platform)
    assert lack.name == "contacts"
    assert lack.station_mm - here == pytest.approx(towards * BESIDE_MM / 2)
