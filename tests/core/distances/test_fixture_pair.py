"""Two fixtures: distances and depths worked out by hand, and what must hold for every pair."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from core.distances.fixture_pair import angle_between, between_fixtures, zones_and_tip
from core.fixture import Fixture, FixtureSize

CYLINDER = FixtureSize(diameter_mm=4.0, length_mm=10.0)
TAPERED = FixtureSize(
    diameter_mm=4.5, length_mm=8.0, platform_diameter_mm=4.2, apical_diameter_mm=3.2,
    taper_from_mm=4.0,
)  # fmt: skip


def fixture(platform, towards_apex=(0, 0, -1), size=CYLINDER):
    return Fixture(id="f", platform=platform, towards_apex=towards_apex, size=size)


ORIGIN = fixture((0, 0, 0))
shift = st.tuples(*[st.floats(-9, 9)] * 3).map(np.array)
tilt = st.tuples(st.floats(-1, 1), st.floats(-1, 1)).map(lambda t: (*t, -1.0))


@pytest.mark.parametrize(
    ("other", "expected"),
    [
        (fixture((0, 7, 0)), 3.0),  # side by side
        (fixture((0, 7, 3)), 3.0),  # side by side, one higher
        (fixture((0, 7, 14)), 5.0),  # edge to edge: 3 aside, 4 along
        (fixture((0, 0, 12)), 2.0),  # one above the other
        (fixture((0, 3, 0)), -1.0),  # overlapping sides
        (fixture((0, 0, 9.5)), -0.5),  # overlapping ends
        (fixture((-5, 6, -5), (1, 0, 0)), 2.0),  # crossing at a right angle
        (fixture((0, 0, 0)), -4.0),  # one in the other: parted sideways
    ],
)
def test_by_hand(other, expected):
    reading = between_fixtures(ORIGIN, other)
    assert reading.value == pytest.approx(expected, abs=2.5e-3)
    way = reading.witness[1] - reading.witness[0]
    assert np.linalg.norm(way) == pytest.approx(abs(expected), abs=2.5e-3)
    assert np.hypot(reading.along_mm, reading.across_mm) == pytest.approx(abs(expected), abs=2.5e-3)


def test_a_zone_of_each_fixture():
    # Axes lean apart: the shoulders are nearer than the deeper parts.
    other = fixture((0, 7, 0), (0, 0.2, -1))
    whole = between_fixtures(ORIGIN, other).value
    shoulder = between_fixtures(ORIGIN, other, first_part_mm=(0, 2), second_part_mm=(0, 2)).value
    deeper = between_fixtures(ORIGIN, other, first_part_mm=(2, 10), second_part_mm=(2, 10)).value
    assert whole == pytest.approx(shoulder, abs=1e-3)
    assert deeper > shoulder + 0.3
    nothing = between_fixtures(ORIGIN, other, first_part_mm=(11, 12))
    assert nothing.value is None
    assert [n.code for n in nothing.notes] == ["no_such_part"]


def test_angle_between_axes():
    assert angle_between(ORIGIN, fixture((0, 0, 0), (0, 1, -1))).value == pytest.approx(45)
    assert angle_between(ORIGIN, fixture((0, 0, 0), (0, 0, 1))).value == pytest.approx(180)
    assert angle_between(ORIGIN, ORIGIN).unit == "deg"


@given(shift, tilt)
@settings(max_examples=40, deadline=None)
def test_same_both_ways_with_witnesses_on_both_solids(place, axis):
    from core.distances.solid import FixtureSolid

    other = fixture(place, axis, TAPERED)
    reading, back = between_fixtures(ORIGIN, other), between_fixtures(other, ORIGIN)
    assert reading.value == pytest.approx(back.value, abs=4e-3)
    for point, one in zip(reading.witness, (ORIGIN, other), strict=True):
        assert FixtureSolid.of(one).signed_distance([point])[0] == pytest.approx(0, abs=5e-3)
    way = np.linalg.norm(reading.witness[1] - reading.witness[0])
    assert way == pytest.approx(abs(reading.value), abs=5e-3)


@given(shift, tilt)
@settings(max_examples=25, deadline=None)
def test_an_overlap_is_parted_by_its_depth_and_by_no_less(place, axis):
    other = fixture(place / 4, axis, TAPERED)
    reading = between_fixtures(ORIGIN, other)
    if reading.value > -0.1:
        return
    way = (reading.witness[0] - reading.witness[1]) / abs(reading.value)
    moved = fixture(other.platform + way * (abs(reading.value) + 0.01), axis, TAPERED)
    assert between_fixtures(ORIGIN, moved).value > 0
    rng = np.random.default_rng(0)
    for direction in rng.normal(size=(8, 3)):
        part = direction / np.linalg.norm(direction) * (abs(reading.value) - 0.01)
        assert between_fixtures(ORIGIN, fixture(other.platform + part, axis, TAPERED)).value < 0


@given(shift, tilt, st.tuples(*[st.floats(-1, 1)] * 3).map(np.array))
@settings(max_examples=30, deadline=None)
def test_moving_one_changes_the_value_by_no_more_than_the_way(place, axis, move):
    before = between_fixtures(ORIGIN, fixture(place, axis)).value
    after = between_fixtures(ORIGIN, fixture(place + move, axis)).value
    assert abs(after - before) <= np.linalg.norm(move) + 4e-3


@given(shift, tilt, tilt)
@settings(max_examples=60, deadline=None)
def test_zones_and_tip_together_are_what_each_is_alone(place, axis, own):
    first, other = fixture((0, 0, 0), own, TAPERED), fixture(place, axis)
    zones = [(0.0, 3.0), (3.0, 8.0)]
    readings, with_tip = zones_and_tip(first, other, zones, tip_mm=1.5, nearer_by_mm=0.005)
    for zone, reading in zip(zones, readings, strict=True):
        alone = between_fixtures(first, other, first_part_mm=zone)
        assert reading.value == alone.value
        np.testing.assert_array_equal(reading.witness, alone.witness)
    bare, tipped = between_fixtures(first, other), between_fixtures(first, other, tip_mm=1.5)
    if tipped.value > bare.value - 0.005:
        assert with_tip is None
    else:
        assert with_tip.value == tipped.value


@pytest.mark.parametrize(
    ("other", "expected"),
    [
        (fixture((0, 7, 0)), None),  # side by side
        (fixture((0, 0, -16)), 4.5),  # below: 6 without
        (fixture((0, 9, -7), (0, -1, 0)), None),  # its end at the side, above the apex
        (fixture((0, 4, -17), (0, -1, 0)), 3.5),  # across, 2 below the point of the tip and more
    ],
)
def test_a_tip_counts_where_it_comes_nearer(other, expected):
    _, with_tip = zones_and_tip(ORIGIN, other, [(0, 3), (3, 10)], tip_mm=1.5, nearer_by_mm=0.005)
    assert (None if with_tip is None else with_tip.value) == pytest.approx(expected, abs=2.5e-3)
