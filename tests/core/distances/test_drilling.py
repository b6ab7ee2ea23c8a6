"""Depths for the drills: by hand, rounded down, with and without a tip."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from core.distances.drilling import (
    drill_depths,
    marks_at,
    off_axis_mm,
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


def test_depths_keep_what_the_rim_rests_on():
    rims = {**RIMS, "mesial": Reading(value=1.2, edge_sd_mm=(0.17,))}
    found = depths(platform_depths=rims)
    assert found["highest rim"].reading.edge_sd_mm == (0.17,)
    assert found["highest rim"].reading.witness[0] == pytest.approx([10, 5, -1.8])
    assert found["buccal rim"].reading.witness[0] == pytest.approx([10, 5, -2.7])
    assert [d.counted_from for d in drill_depths(FIXTURE, platform_depths=RIMS)] == [
        "buccal rim", "highest rim", "gum", "stent top",
    ]  # fmt: skip


def test_no_marks_is_no_depth_and_a_rim_that_is_missing_neither():
    empty = PointMarks(id="g", kind="gum", points=np.empty((0, 3)))
    assert depths(gum=empty)["gum"].reading.notes[0].code == "gum_not_marked"
    found = depths(platform_depths={"lingual": RIMS["lingual"]})
    assert [found[k].reading.notes[0].code for k in ("buccal rim", "highest rim")] == [
        "rim_not_found", "rim_not_found",
    ]  # fmt: skip


def test_the_users_own_marks_are_rounded_to():
    assert depths(step_mm=2.0)["highest rim"].mark_mm == 10.0
    assert depths(step_mm=1.0)["highest rim"].mark_mm == 11.0


def test_how_far_a_mark_lies_off_the_axis():
    points = np.array([(13, 9, 40), (10, 5.5, -90), (10, 12, -3)])
    assert off_axis_mm(FIXTURE, points[:1]) == pytest.approx(5.0)
    assert off_axis_mm(FIXTURE, points) == pytest.approx(0.5)


def gum_at(aside, ident="g", tooth=""):
    return PointMarks(id=ident, kind="gum", points=[(10 + aside, 5, 2)], tooth=tooth)


@pytest.mark.parametrize(("aside", "counts"), [(9.99, True), (10.01, False)])
def test_unnamed_marks_count_within_10_mm_of_the_axis(aside, counts):
    mark = gum_at(aside)
    assert marks_at(FIXTURE, (mark,), "gum") is (mark if counts else None)
    assert marks_at(FIXTURE, (mark,), "stent_top") is None


def test_marks_of_its_own_tooth_go_before_nearer_unnamed_ones():
    named = Fixture(
        id="36", tooth="36", platform=FIXTURE.platform, towards_apex=(0, 0, -1), size=FIXTURE.size
    )
    own, near, foreign = gum_at(30, "a", "36"), gum_at(1, "b"), gum_at(0, "c", "37")
    assert marks_at(named, (near, own, foreign), "gum") is own
    assert marks_at(named, (near, foreign), "gum") is near
    assert marks_at(FIXTURE, (own, foreign), "gum") is None
    nearer = gum_at(2, "d", "36")
    assert marks_at(named, (own, nearer), "gum") is nearer


def test_a_height_of_nothing_is_a_tip_too():
    assert tip_allowance_mm("no", 0.0) == 0.0
    assert tip_allowance_mm("yes") == 0.0
    for nonsense in (float("nan"), float("inf")):
        with pytest.raises(ValueError, match="height"):
            tip_allowance_mm("no", nonsense)
