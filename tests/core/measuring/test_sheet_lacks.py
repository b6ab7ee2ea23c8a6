"""What the sheet will miss though no limit needs it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from core.measuring.sheet_lacks import SheetLack, sheet_lacks
from core.plans.edit import with_structure
from core.plans.side import arch_of
from core.structures import Foramen, PointMarks, Tapered
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
    assert lacks(made("36", [])) == ()


@pytest.mark.parametrize(("tooth", "needs"), [("33", True), ("34", False), ("36", False)])
def test_a_midline_is_needed_where_both_sides_are_near(tooth, needs):
    plan = replace(made(tooth, []), midline=None)
    assert lacks(plan) == ((SheetLack("midline"),) if needs else ())


def test_a_midline_is_needed_where_a_tooth_is_not_named():
    plan = replace(made("36", []), midline=None)
    nameless = replace(plan, fixtures=(replace(plan.fixtures[0], tooth=""),))
    assert lacks(nameless) == (SheetLack("midline"),)


@pytest.mark.parametrize(("away", "needs"), [(12.0, False), (25.0, True)])
def test_a_midline_is_needed_for_what_was_marked_out_of_reach(away, needs):
    plan = made("37", [])
    fixture, arch = plan.fixtures[0], arch_of(plan)
    place = arch.frame(arch.station(fixture.platform) - away).origin
    edges = place + np.array([[0.0, 0.0, 1.0], [0.0, 0.0, -1.0]])
    foramen = Foramen(id="foramen-left", mesial=edges[0], distal=edges[1])
    marked = with_structure(plan, foramen)
    assert lacks(marked) == (), "the midline is there"
    without = replace(marked, midline=None)
    assert lacks(without) == ((SheetLack("midline"),) if needs else ())


# Stations grow towards the patient's left: 35 stands before 36, 45 behind 46.
@pytest.mark.parametrize(
    ("tooth", "roots", "sides", "lacking"),
    [
        ("36", ["35", "37"], (-4.0, 4.0), False),
        ("36", ["35", "37"], (-4.0,), True),
        ("36", ["35", "37"], (4.0,), True),
        ("36", ["35"], (-4.0,), False),
        ("36", ["37"], (-4.0,), True),
        ("46", ["45", "47"], (4.0,), True),
        ("46", ["45"], (4.0,), False),
        ("46", ["47"], (4.0,), True),
    ],
)
def test_a_contact_is_missed_where_a_neighbour_stands(tooth, roots, sides, lacking):
    found = lacks(made(tooth, roots, sides))
    assert found == ((SheetLack("contacts"),) if lacking else ())
