"""Marks that are proposed on a floor for a fixture: as many as its own rule of density asks for."""

from __future__ import annotations

import numpy as np
import pytest

from core.bone.found_floor import ROOM_MM, FloorSite, FoundFloor
from core.fixture import Fixture, FixtureSize
from core.geometry import unit
from tests.core.bone_phantoms import RADIUS_MM, arc_arch

ARCH = arc_arch()
HERE = 0.5 * ARCH.length_mm
FRAME = ARCH.frame(HERE)
FLOOR_MM = 12.0


def fixture(*, off=0.0, out=0.0, lean=(0.0, 0.0), diameter=4.0, length=10.0):
    """Upwards, so far along and across the arch, leaning towards the cheek and along."""
    up = unit(FRAME.up + lean[0] * FRAME.buccal + lean[1] * FRAME.travel)
    return Fixture(
        id="16", platform=FRAME.origin + off * FRAME.travel + out * FRAME.buccal,
        towards_apex=up, size=FixtureSize(diameter_mm=diameter, length_mm=length),
    )  # fmt: skip


def found(seen=lambda s, out: np.ones_like(s, dtype=bool), *, along=11.0):
    """A level floor, seen where a test says."""
    stations = HERE + np.arange(-along, along + 0.5)
    across = np.arange(-8.0, 8.5)
    frames = [ARCH.frame(s) for s in stations]
    feet = np.stack([f.origin + across[:, None] * f.buccal for f in frames])
    s, out = np.meshgrid(stations - HERE, across, indexing="ij")
    height = np.where(seen(s, out), FLOOR_MM, np.nan)
    return FoundFloor(
        feet_mm=feet, apical=FRAME.up, station_mm=stations, height_mm=height,
        sd_mm=np.where(np.isfinite(height), 0.1, np.nan),
    )  # fmt: skip


def marks_of(floor, at):
    return np.concatenate([line.points_mm for line in floor.lines(site(at))])


def site(at):
    return FloorSite.of(at, ARCH, tip_mm=1.5)


FIXTURES = {
    "upright": {},
    "wide": {"diameter": 5.0},
    "beside the click": {"off": 1.6, "out": -1.5},
    "leaning to the cheek": {"lean": (0.25, 0.0)},
    "leaning along": {"lean": (0.0, 0.2)},
}


@pytest.mark.parametrize("name", FIXTURES)
@pytest.mark.parametrize("move", [(0, 0), (1, 0), (-1, 0), (0, 1), (0, -1), (0.7, 0.7)])
def test_no_mark_is_lacking_for_the_fixture_nor_for_one_that_was_moved(name, move):
    made = FIXTURES[name]
    marks = marks_of(found(along=14.0), fixture(**made))
    off, out = made.get("off", 0.0), made.get("out", 0.0)
    moved = {**made, "off": off + ROOM_MM * move[0], "out": out + ROOM_MM * move[1]}
    assert site(fixture(**moved)).lacks(marks) == ()


def test_without_a_fixture_marks_of_five_sections_are_too_sparse_for_one():
    """What they were before, and why: the sections stand 5 mm apart."""
    marks = np.concatenate([line.points_mm for line in found().lines()])
    lacks = site(fixture(off=1.0)).lacks(marks)
    assert [lack.code for lack in lacks] == ["floor_marks_round_axis"]


def test_marks_stand_on_seen_places_alone_once_each_section_after_section():
    floor = found(lambda s, out: np.abs(out) < 4.5)
    lines = floor.lines(site(fixture()))
    seen = floor.points_mm[floor.seen]
    stations = [line.station_mm for line in lines]
    assert stations == sorted(set(stations))
    for line in lines:
        assert len(np.unique(line.points_mm, axis=0)) == len(line.points_mm)
        near = np.linalg.norm(line.points_mm[:, None] - seen, axis=2).min(axis=1)
        assert near == pytest.approx(np.zeros(len(near)))
    assert sum(len(line.points_mm) for line in lines) < 60


@pytest.mark.parametrize(("sign", "lost"), [(1.0, "on"), (-1.0, "back")])
def test_where_the_floor_is_not_seen_it_is_told_by_how_much_and_where(sign, lost):
    """The fixture reaches 2 mm to both sides; the floor is seen for 4 mm of 7 on one side.

    Towards the cheek, 8 mm outside of the arch, 4 mm along it are more: the arc's own geometry.
    """
    floor = found(lambda s, out: sign * s < 4.5)
    at = fixture()
    (lack,) = site(at).lacks(marks_of(floor, at))
    assert lack.code == "floor_stops_short"
    assert float(lack.way @ FRAME.travel) * sign > 0.9, lost
    seen_to = (RADIUS_MM + 8.0) * np.sin(4.0 / RADIUS_MM)
    assert lack.short_mm == pytest.approx(7.0 - seen_to, abs=0.01)
    away = ARCH.station(lack.place_mm(site(at).solid)) - HERE
    assert away == pytest.approx(sign * 7.0, abs=0.3)


def test_a_click_far_from_the_axis_is_not_meant_for_the_fixture():
    at = site(fixture())
    on = FRAME.origin + FLOOR_MM * FRAME.up
    assert at.is_beside(on + 7.9 * FRAME.travel)
    assert not at.is_beside(on + 8.1 * FRAME.travel)
    assert at.axis_at(on + 3.0 * FRAME.buccal) == pytest.approx(on)
