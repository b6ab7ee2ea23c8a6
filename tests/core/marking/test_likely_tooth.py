"""The tooth that a click is about, beside teeth that were named; silence where it is not plain."""

from __future__ import annotations

from dataclasses import replace

import pytest

from core.fixture import Fixture, FixtureSize
from core.identity import Tooth
from core.level import Level
from core.marking.likely_tooth import CROWN_MM, facing_tooth, likely_tooth
from core.plans.plan import Plan
from core.plans.side import arch_of
from core.structures import Tapered

LEVEL = Level(origin=(0, 0, 0), up=(0, 0, 1))
ARCH = [(-25, 25, 0), (-18, 5, 0), (0, -5, 0), (18, 5, 0), (25, 25, 0)]
SIZE = FixtureSize(diameter_mm=4.0, length_mm=10.0)
HERE = 14.0


def arch_and_plan(*, fixture="", roots=(), jaw="lower"):
    plan = Plan(level=LEVEL, arch_points=ARCH, jaw=jaw)
    at = arch_of(plan).frame
    if fixture:
        platform = at(HERE).origin
        made = Fixture(id=fixture, tooth=fixture, platform=platform, towards_apex=(0, 0, -1),
                       size=SIZE)  # fmt: skip
        plan = replace(plan, fixtures=(made,))
    for tooth, station in roots:
        origin = at(station).origin
        root = Tapered(id=f"root-{tooth}", kind="root", tooth=tooth, diameters_mm=(5.0, 2.0),
                       points=[origin, origin - (0, 0, 9.0)])  # fmt: skip
        plan = replace(plan, structures=(*plan.structures, root))
    arch = arch_of(plan)
    return plan, arch


def found(station, **what):
    plan, arch = arch_and_plan(**what)
    likely = likely_tooth(plan, arch, arch.frame(station).origin)
    return None if likely is None else (likely.tooth.iso, likely.beside.iso)


@pytest.mark.parametrize(
    ("fixture", "jaw", "off", "tooth"),
    [
        # Stations grow to the patient's left: on the right side that is forwards.
        ("46", "lower", 9.0, "45"),
        ("46", "lower", -10.75, "47"),
        ("46", "lower", 6.0, "45"),
        ("46", "lower", -7.0, "47"),
        ("16", "upper", 8.5, "15"),
        ("16", "upper", -9.5, "17"),
    ],
)
def test_beside_a_named_tooth_the_neighbour_is_proposed(fixture, jaw, off, tooth):
    assert found(HERE + off, fixture=fixture, jaw=jaw) == (tooth, fixture)


@pytest.mark.parametrize("off", [0.0, 2.0, 4.0, 14.0, 19.0, -4.0, -14.0, -21.0])
def test_nearer_or_further_than_a_neighbour_nothing_is_proposed(off):
    assert found(HERE + off, fixture="46") is None


def test_on_the_left_side_stations_grow_backwards():
    length = arch_and_plan()[1].length_mm
    roots = [("35", length - 23.0)]
    assert found(length - 14.0, roots=roots) == ("36", "35")
    assert found(length - 30.0, roots=roots) == ("34", "35")


def test_a_gap_between_two_named_roots_is_the_tooth_that_both_tell():
    assert found(14.0, roots=[("45", 23.0), ("47", 4.0)]) == ("46", "45")
    # Named wrongly, two neighbours tell two teeth: then neither is proposed.
    assert found(14.0, roots=[("45", 23.0), ("46", 4.0)]) is None
    assert found(14.0, roots=[("44", 23.0), ("47", 4.0)]) is None


def test_what_is_named_already_is_never_proposed_again():
    assert found(23.0, fixture="46", roots=[("45", 23.0)]) is None


def test_nothing_is_proposed_without_a_name_a_jaw_or_a_side():
    assert found(14.0) is None
    plan, arch = arch_and_plan(fixture="46")
    assert likely_tooth(replace(plan, jaw=None, fixtures=()), arch, arch.frame(5.0).origin) is None
    short = replace(plan, arch_points=[(-25, 25, 0), (-22, 15, 0), (-18, 5, 0)], fixtures=())
    open_arch = arch_of(short)
    assert open_arch.side_is_open
    at = open_arch.frame(5.0).origin
    assert likely_tooth(plan, open_arch, at) is facing_tooth(plan, open_arch, at) is None


def test_a_facing_surface_belongs_to_the_neighbour_on_its_side():
    plan, arch = arch_and_plan(fixture="46")

    def facing(off):
        likely = facing_tooth(plan, arch, arch.frame(HERE + off).origin)
        return None if likely is None else likely.tooth.iso

    assert [facing(off) for off in (5.5, 3.0, -5.5, -9.0)] == ["45", "45", "47", "47"]
    assert [facing(off) for off in (0.0, 1.0, -1.0, 12.0, -13.0)] == [None] * 5


def test_mean_crowns_are_those_of_the_table():
    """Sums printed beside the table: upper six front teeth 45.0, lower 35.0; quadrants 1 to 7."""
    assert 2 * sum(CROWN_MM["upper"][:3]) == 45.0
    assert 2 * sum(CROWN_MM["lower"][:3]) == 35.0
    assert (sum(CROWN_MM["upper"][:7]), sum(CROWN_MM["lower"][:7])) == (55.5, 53.0)
    assert all(CROWN_MM[Tooth.of(t).jaw][Tooth.of(t).position - 1] == w
               for t, w in (("11", 8.5), ("12", 6.5), ("26", 10.0), ("25", 7.0)))  # fmt: skip
