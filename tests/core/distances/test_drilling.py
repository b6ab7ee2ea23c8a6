"""Depths for the drills: by hand, rounded down, with and without a tip."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from core.distances.drilling import (
    drill_depths,
    round_down_to_mark,
    tip_allowance_mm,
)
from core.fixture import Fixture, FixtureSize
from core.measurement import Note, Reading
from core.structures import PointMarks

FIXTURE = Fixture(
    id="36",
    platform=(10, 5, -3),
    towards_apex=(0, 0, -1),
    size=FixtureSize(diameter_mm=4.0, length_mm=10.0),
)
RIMS = {
    "buccal": Reading(value=0.3),
    "lingual": Reading(value=-0.4),
    "mesial": Reading(value=1.2),
    "distal": Reading(value=0.0),
}


def depths(**kwargs):
    found = drill_depths(FIXTURE, **{"platform_depths": RIMS, **kwargs})
    return {d.counted_from: d for d in found}


def test_depths_from_the_four_places():
    gum = PointMarks(id="gum-36", kind="gum", points=[(14, 5, 3), (10.5, 5, -0.8)])
    top = PointMarks(id="top-36", kind="stent_top", points=[(10, 5, 7.04)])
    found = depths(gum=gum, stent_top=top)
    assert found["buccal rim"].reading.value == pytest.approx(10.3)
    assert found["buccal rim"].mark_mm == 10.0
    assert found["highest rim"].reading.value == pytest.approx(11.2)
    assert found["highest rim"].mark_mm == 11.0
    # The gum mark nearer to the axis is used: 2.2 mm above the platform.
    assert found["gum"].reading.value == pytest.approx(12.2)
    assert found["gum"].reading.marks[0].mark == "gum-36/1"
    np.testing.assert_allclose(found["gum"].reading.marks[0].gradient, [0, 0, 1])
    assert found["stent top"].reading.value == pytest.approx(20.04)
    assert found["stent top"].mark_mm == 20.0
    for depth in found.values():
        start, apex = depth.reading.witness
        np.testing.assert_allclose(apex, FIXTURE.apex)
        assert np.linalg.norm(apex - start) == pytest.approx(depth.reading.value)


def test_along_the_tilted_axis():
    tilted = Fixture(id="f", platform=(0, 0, 0), towards_apex=(0.6, 0, -0.8), size=FIXTURE.size)
    top = PointMarks(id="t", kind="stent_top", points=[(-6, 0, 8)])
    found = drill_depths(tilted, platform_depths=RIMS, stent_top=top)[3]
    assert found.reading.value == pytest.approx(20.0)
    assert found.mark_mm == 20.0


def test_what_was_not_found_or_marked_has_no_depth():
    rims = {**RIMS, "mesial": Reading(value=None, notes=(Note("rim_not_found"),))}
    found = depths(platform_depths=rims)
    assert found["buccal rim"].mark_mm == 10.0
    for name, code in (
        ("highest rim", "rim_not_found"),
        ("gum", "gum_not_marked"),
        ("stent top", "stent_top_not_marked"),
    ):
        assert found[name].reading.value is None
        assert found[name].mark_mm is None
        assert [n.code for n in found[name].reading.notes] == [code]
        assert found[name].reading.notes[0].message.endswith(".")


@pytest.mark.parametrize(
    ("depth", "step", "mark"),
    [(10.49, 0.5, 10.0), (10.5, 0.5, 10.5), (10.5 - 1e-9, 0.5, 10.5), (9.99, 2.0, 8.0),
     (0.3 / 0.1 * 1.0, 1.0, 3.0), (10.4999, 0.5, 10.0)],
)  # fmt: skip
def test_rounded_down_never_up(depth, step, mark):
    assert round_down_to_mark(depth, step) == pytest.approx(mark)


@given(st.floats(0, 30), st.sampled_from([0.5, 1.0, 2.0]))
def test_the_mark_is_the_last_that_is_not_deeper(depth, step):
    mark = round_down_to_mark(depth, step)
    assert mark <= depth + 2e-6 * step
    assert mark + step > depth


def test_tip_allowance():
    assert tip_allowance_mm("yes", 0.8) == 0.0
    assert tip_allowance_mm("no", 0.8) == 0.8
    assert tip_allowance_mm("no") == 1.5
    assert tip_allowance_mm("don't know") == 1.5
    assert tip_allowance_mm("don't know", 0.8) == 1.5
    assert tip_allowance_mm("don't know", 2.1) == 2.1


def test_nonsense_is_refused():
    with pytest.raises(ValueError, match="one of yes"):
        tip_allowance_mm("perhaps")
    with pytest.raises(ValueError, match="height"):
        tip_allowance_mm("no", -0.1)
    with pytest.raises(ValueError, match="step"):
        round_down_to_mark(3.0, 0.0)


@pytest.mark.parametrize("step_mm", [0.0, -0.5, float("nan")])
def test_marks_without_a_positive_step_are_refused(step_mm):
    with pytest.raises(ValueError, match="positive step"):
        round_down_to_mark(10.0, step_mm)
