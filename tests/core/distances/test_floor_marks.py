"""Which marks of a floor a fixture lacks, and where: by hand for a cylinder under a level floor."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest

from core.distances.floor_marks import FloorLack, floor_lacks, side_of
from core.distances.solid import FixtureSolid
from core.fixture import Fixture, FixtureSize

SIZE = FixtureSize(diameter_mm=4.0, length_mm=10.0)
FIXTURE = Fixture(id="26", platform=(1, 2, 3), towards_apex=(0, 0, 1), size=SIZE)
SOLID = FixtureSolid.of(FIXTURE)
FLOOR_MM = 12.0


@dataclass(frozen=True)
class Frame:
    """Buccal +x, mesial +y."""

    b: np.ndarray
    m: np.ndarray


FRAME = Frame(np.array([1.0, 0, 0]), np.array([0, 1.0, 0]))


def marks(*places):
    """(n, 3) from (buccal, mesial) beside the axis."""
    return np.array([[1.0 + b, 2.0 + m, 3.0 + FLOOR_MM] for b, m in places])


SQUARE = [(3, 3), (3, -3), (-3, 3), (-3, -3)]
"""4.24 mm from the axis."""
ENDS = [(0, 7), (0, -7)]
"""5 mm beyond a radius of 2."""


def lacks(*places, frame=FRAME):
    return [
        (lack.code, side_of(lack.way, FRAME)) for lack in floor_lacks(SOLID, marks(*places), frame)
    ]


def test_four_around_the_axis_and_two_5_mm_beyond_are_enough():
    assert lacks(*SQUARE, *ENDS) == []


@pytest.mark.parametrize(("mesial", "distal"), [(0.2, 0.0), (0.0, 0.2), (1.23, 4.0)])
def test_marks_that_end_too_early_say_by_how_much_and_where(mesial, distal):
    found = floor_lacks(SOLID, marks(*SQUARE, (0, 7 - mesial), (0, -7 + distal)), FRAME)
    told = {side_of(lack.way, FRAME): lack for lack in found}
    assert set(told) == {s for s, mm in (("mesial", mesial), ("distal", distal)) if mm}
    for side, mm in (("mesial", mesial), ("distal", distal)):
        if mm:
            assert told[side].code == "floor_stops_short"
            assert told[side].short_mm == pytest.approx(min(mm, 4.0))
            assert told[side].marks == 0


def test_without_a_frame_only_the_ring_is_asked():
    assert lacks(*SQUARE, frame=None) == []
    assert lacks(*SQUARE[:2], frame=None) == [("floor_marks_round_axis", "palatal")]


def test_four_marks_are_the_fewest():
    ring = [(4, 0), (-2, 3.4), (-2, -3.4)]
    assert lacks(*ring, *ENDS) == [("floor_marks_round_axis", "mesial")]
    assert lacks(*ring, (3, 0.1), *ENDS) == []
    (lack,) = floor_lacks(SOLID, marks(*ring), None)
    assert lack.marks == 3


def test_marks_within_5_mm_of_the_axis_count():
    for away, enough in ((5.0, True), (5.001, False)):
        ring = [(away, 0), (-away, 0), (0, away), (0, -away)]
        assert (lacks(*ring, *ENDS) == []) is enough


def test_the_axis_lies_inside_the_ring():
    """Half a turn without a mark is too much, however many there are."""
    beside = [(1, 3), (1, -3), (2, 1), (2, -1), (3, 0)]
    for over, inside in ((0.01, False), (-0.01, True)):
        ring = [(over, 3), (over, -3), *beside]
        assert lacks(*ring, *ENDS) == ([] if inside else [("floor_marks_round_axis", "palatal")])


@pytest.mark.parametrize("turn_deg", [0, 50, 130, 222, 311])
def test_what_lacks_lies_in_the_middle_of_the_widest_gap(turn_deg):
    turns = np.radians(turn_deg + np.array([0, 30, 60, 90, 100]))
    (lack,) = floor_lacks(SOLID, marks(*np.stack([4 * np.cos(turns), 4 * np.sin(turns)], 1)), None)
    middle = np.radians(turn_deg + 230)
    assert lack.way == pytest.approx([np.cos(middle), np.sin(middle), 0.0], abs=1e-9)
    assert lack.marks == 5


def test_of_marks_that_stand_far_to_one_side_the_other_side_lacks():
    (lack,) = floor_lacks(SOLID, marks((9, 0), (9, 2), (9, -2)), None)
    assert lack.way == pytest.approx([-1, 0, 0])
    assert lack.marks == 0
    (lack,) = floor_lacks(SOLID, marks((9, 0), (-9, 0)), None)
    assert np.linalg.norm(lack.way) == pytest.approx(1.0)
    assert lack.way[2] == pytest.approx(0.0)


def test_where_a_mark_is_missing():
    round_axis = FloorLack(code="floor_marks_round_axis", way=FRAME.b)
    assert round_axis.place_mm(SOLID) == pytest.approx([1 + 2.5, 2, 13])
    short = FloorLack(code="floor_stops_short", way=-FRAME.m, short_mm=1.0)
    assert short.place_mm(SOLID) == pytest.approx([1, 2 - 7, 13])


def test_the_remark_names_side_count_and_what_lacks_rounded_up():
    lack = FloorLack(code="floor_stops_short", way=np.array([0.2, -0.9, 0.0]), short_mm=1.21)
    note = lack.note("sinus-left", FRAME)
    assert note.code == "floor_stops_short"
    assert note.fields == {"id": "sinus-left", "side": "distal", "marks": 0, "short": "1.3"}
    assert FloorLack(code="floor_marks_round_axis", way=FRAME.b, marks=3).note(
        "f", FRAME
    ).fields == {"id": "f", "side": "buccal", "marks": 3, "short": "0.0"}
