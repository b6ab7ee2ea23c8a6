"""What a tooth expects near it, and what has become of it; where each is to be looked for."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from core.measuring.expected_list import BESIDE_MM, expected_list
from core.plans.edit import with_declaration, with_structure
from core.plans.side import arch_of
from core.structures import Floor, Tapered
from tests.sheet_material import fixture_at, plan_with


def states(plan):
    found = expected_list(plan, arch_of(plan), plan.fixtures[0])
    return {item.expected.name: item.state for item in found}


def bare(tooth="36", station=15.0):
    return replace(plan_with(fixture_at(station, tooth)), structures=(), declared=())


def test_all_is_missing_where_nothing_was_done():
    assert states(bare()) == {
        "canal": "missing", "foramen": "missing", "root-35": "missing", "root-37": "missing",
    }  # fmt: skip


def test_what_is_marked_or_declared_is_missing_no_more():
    plan = bare()
    fixture = plan.fixtures[0]
    root = Tapered(
        id="root-37", kind="root", tooth="37", diameters_mm=(5, 2),
        points=[fixture.platform, fixture.apex],
    )  # fmt: skip
    plan = with_structure(plan, root)
    plan = with_declaration(
        plan, "foramen", "looked for, not visible", reason="", by="LM", at="2026-11-24"
    )
    assert states(plan) == {
        "canal": "missing", "foramen": "declared", "root-35": "missing", "root-37": "marked",
    }  # fmt: skip


def test_a_fixture_in_the_neighbours_place_stands_for_its_root():
    plan = bare()
    plan = replace(plan, fixtures=(*plan.fixtures, fixture_at(38.0, "35")))
    assert states(plan)["root-35"] == "marked"


@pytest.mark.parametrize(
    ("gap", "elevated", "state"),
    [(3.0, False, "marked"), (6.0, False, "sparse"), (6.0, True, "marked")],
)
def test_a_floor_marked_too_sparsely_for_the_fixture_is_not_done(gap, elevated, state):
    """Marks on a grid 4 mm over its apex; of one of 6 mm only one stands within 5 mm."""
    plan = replace(bare("16", 20.0), jaw="upper")
    arch, fixture = arch_of(plan), plan.fixtures[0]
    frame = arch.frame(arch.station(fixture.platform))
    steps = gap * np.arange(-3, 4)
    points = [
        fixture.apex + 4.0 * fixture.towards_apex + s * frame.travel + w * frame.buccal
        for s in steps for w in steps
    ]  # fmt: skip
    floor = Floor(id="sinus-right", of="sinus", points=points, elevation_intended=elevated)
    plan = with_structure(plan, floor)
    (found,) = [
        item for item in expected_list(plan, arch, fixture) if item.expected.name == "sinus"
    ]
    assert found.state == state


def test_neighbours_are_looked_for_on_their_own_side():
    """Stations grow towards the patient's left: behind 36 they grow, behind 46 they fall."""
    for tooth, mesial, distal in (("36", "root-35", "root-37"), ("46", "root-45", "root-47")):
        plan = bare(tooth)
        arch, fixture = arch_of(plan), plan.fixtures[0]
        at = {i.expected.name: i.station_mm for i in expected_list(plan, arch, fixture)}
        here = arch.station(fixture.platform)
        way = 1.0 if tooth == "36" else -1.0
        assert at[distal] - here == pytest.approx(way * BESIDE_MM)
        assert at[mesial] - here == pytest.approx(-way * BESIDE_MM)
        assert at["canal"] == pytest.approx(here)


def test_over_the_midline_the_neighbour_of_a_central_incisor_is_on_the_other_side():
    plan = bare("31")
    arch, fixture = arch_of(plan), plan.fixtures[0]
    at = {i.expected.name: i.station_mm for i in expected_list(plan, arch, fixture)}
    here = arch.station(fixture.platform)
    assert at["root-41"] < here < at["root-32"]
