"""Marks of the two neighbours: which side, how far they may stand off, and their own keys."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest

from core.distances.neighbour_marks import side_marks, with_plan_keys
from core.distances.restorative import mesiodistal_room
from core.fixture import Fixture, FixtureSize
from core.measurement import MarkInfluence, Reading
from core.structures import Course, PointMarks

FIXTURE = Fixture(
    id="36", platform=(1, 1, 1), towards_apex=(0, 0, -1),
    size=FixtureSize(diameter_mm=4.0, length_mm=10.0),
)  # fmt: skip


@dataclass(frozen=True)
class Frame:
    """Buccal +x, mesial +y."""

    b: np.ndarray
    m: np.ndarray


FRAME = Frame(np.array([1.0, 0, 0]), np.array([0, 1.0, 0]))


def contacts(ident, *offsets, kind="contact"):
    """Marks at offsets (buccal, mesial, up) from the platform."""
    return PointMarks(id=ident, kind=kind, points=np.array(offsets) + FIXTURE.platform)


def any_mark(_marks):
    return True


def test_each_side_has_its_marks_with_the_keys_of_the_plan():
    found = side_marks(
        FIXTURE,
        FRAME,
        [contacts("a", (0, 5, 6), (2, -4, 6)), contacts("b", (1, 6, 5))],
        any_mark,
    )
    assert set(found) == {"mesial", "distal"}
    assert found["mesial"].keys == ("a/0", "b/0")
    assert found["distal"].keys == ("a/1",)
    assert found["mesial"].marks.points == pytest.approx(np.array([(1, 6, 7), (2, 7, 6)]))
    assert found["mesial"].marks.id == "mesial"


def test_what_is_not_wanted_or_no_mark_is_left_out():
    cusp = contacts("c", (0, 5, 6), kind="cusp")
    course = Course(id="k", kind="canal", points=[(0, 5, 6), (0, 9, 6)])
    assert side_marks(FIXTURE, FRAME, [cusp, course], lambda m: m.kind == "contact") == {}


@pytest.mark.parametrize(
    ("offset", "side"),
    [
        ((0, 12.0, 0), "mesial"),
        ((0, 12.01, 0), None),
        ((0, -12.0, 40), "distal"),
        ((0, -12.01, 0), None),
        ((8.0, 3, 0), "mesial"),
        ((8.01, 3, 0), None),
        ((-8.0, -3, 0), "distal"),
        ((-8.01, -3, 0), None),
        ((0, 0.2, 0), "mesial"),
        ((0, -0.2, 0), "distal"),
    ],
)
def test_how_far_a_mark_may_stand_off(offset, side):
    """12 mm along the arch and 8 mm across it; its height does not count."""
    found = side_marks(FIXTURE, FRAME, [contacts("a", offset)], any_mark)
    assert set(found) == ({side} if side else set())


def test_a_reading_gets_the_keys_of_the_plan_back():
    found = side_marks(
        FIXTURE, FRAME, [contacts("a", (0, -4, 6), (0, 5, 6)), contacts("b", (0, 7, 6))], any_mark
    )
    reading = mesiodistal_room(found["mesial"].marks, found["distal"].marks)
    assert reading.value == pytest.approx(9.0)
    told = with_plan_keys(reading, found["mesial"], found["distal"])
    assert [m.mark for m in told.marks] == ["a/1", "a/0"]
    assert told.value == reading.value
    foreign = Reading(value=1.0, marks=(MarkInfluence(mark="x/0", gradient=(0, 0, 1)),))
    assert [m.mark for m in with_plan_keys(foreign, found["mesial"]).marks] == ["x/0"]
