from __future__ import annotations

from itertools import permutations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from core.errors import PlanError
from core.geometry import angle_deg
from core.level import Level

CUSPS = np.array([(-22, 10, 1), (23, 11, 2), (0, -24, 3)], dtype=float)


def test_the_plane_goes_through_its_points_and_up_is_to_the_head():
    level = Level.through(CUSPS)
    assert level.height_mm(CUSPS) == pytest.approx(0, abs=1e-12)
    assert level.up[2] > 0.9
    assert level.origin == pytest.approx(CUSPS.mean(axis=0))


def test_the_order_of_the_points_does_not_matter():
    for order in permutations(range(3)):
        level = Level.through(CUSPS[list(order)])
        assert level.up == pytest.approx(Level.through(CUSPS).up, abs=1e-12)


@given(st.integers(0, 10_000))
def test_the_plane_moves_with_the_patient(seed):
    rng = np.random.default_rng(seed)
    turn = Rotation.from_euler("xyz", rng.uniform(-25, 25, 3), degrees=True)
    shift = rng.uniform(-50, 50, 3)
    here, there = Level.through(CUSPS), Level.through(turn.apply(CUSPS) + shift)
    probe = rng.uniform(-40, 40, (5, 3))
    assert there.height_mm(turn.apply(probe) + shift) == pytest.approx(
        here.height_mm(probe), abs=1e-9
    )


def test_points_nearly_on_a_line_are_refused_with_that_reason():
    for off, refused in ((0.0, True), (4.9, True), (5.1, False)):
        row = np.array([(0, 0, 0), (20, 0, 0), (10, off, 0)], dtype=float)
        if not refused:
            assert Level.through(row).up == pytest.approx((0, 0, 1))
            continue
        with pytest.raises(PlanError, match="nearly on one line") as refusal:
            Level.through(row)
        assert refusal.value.code == "level-points-in-line"
    with pytest.raises(PlanError, match="nearly on one line"):
        Level.through(np.zeros((3, 3)))


def test_an_upright_plane_does_not_tell_which_way_is_up():
    with pytest.raises(PlanError, match="which way is up"):
        Level.through([(0, 0, 0), (20, 0, 0), (10, 0, 20)])
    with pytest.raises(PlanError, match="which way is up"):
        Level.from_axes([(0, 0, 1), (1, 0, 0.1)], origin=(0, 0, 0))


def test_three_points_are_needed():
    with pytest.raises(ValueError, match="three points"):
        Level.through(CUSPS[:2])


def test_up_from_long_axes_whichever_way_round_they_were_marked():
    lean = Rotation.from_euler("x", 10, degrees=True)
    first, second = lean.apply((0, 0, 1)), lean.inv().apply((0, 0, 1))
    for axes in ((first, second), (-first, second), (3 * first, -0.5 * second)):
        level = Level.from_axes(axes, origin=(1, 2, 3))
        assert level.up == pytest.approx((0, 0, 1), abs=1e-12)
        assert level.origin == pytest.approx((1, 2, 3))
    assert angle_deg(Level.from_axes([first], origin=(0, 0, 0)).up, first) < 1e-6


@given(st.integers(0, 10_000))
def test_feet_lie_on_the_plane_at_the_height_of_the_point(seed):
    rng = np.random.default_rng(seed)
    level = Level(origin=rng.uniform(-30, 30, 3), up=rng.normal(size=3))
    probe = rng.uniform(-60, 60, (6, 3))
    feet = level.project(probe)
    assert level.height_mm(feet) == pytest.approx(0, abs=1e-9)
    assert feet + level.height_mm(probe)[:, None] * level.up == pytest.approx(probe)


# -- by a line in an upright cut ---------------------------------------------------------------

X, Y = np.eye(3)[0], np.eye(3)[1]
LEANS = st.floats(-25, 25)


def leaning(front_deg, side_deg):
    """Plane whose lines in the front and the side cut lean by these angles (formula: slopes)."""
    a, b = np.tan(np.radians([front_deg, side_deg]))
    return Level(origin=(3, -4, 20), up=(-a, -b, 1))


def lean_in(level, right):
    """Angle of the plane's line in an upright cut: where the cut's own height changes with u."""
    return np.degrees(np.arctan2(-(level.up @ right), level.up[2]))


@given(old=st.tuples(LEANS, LEANS), new=LEANS, up_mm=st.floats(-20, 20), swap=st.booleans())
def test_a_line_in_one_cut_sets_its_lean_and_keeps_that_of_the_other(old, new, up_mm, swap):
    before = leaning(*old)
    for right, other in ((X, Y), (Y, X)):
        first = np.array([10.0, 7.0, 20.0 + up_mm])
        second = first + 30 * (right + np.tan(np.radians(new)) * np.array([0, 0, 1]))
        ends = (second, first) if swap else (first, second)
        after = before.with_line(*ends, right=right)
        assert after.height_mm(np.stack(ends)) == pytest.approx(0, abs=1e-9)
        assert lean_in(after, right) == pytest.approx(new, abs=1e-7)
        assert lean_in(after, other) == pytest.approx(lean_in(before, other), abs=1e-7)
        assert after.up[2] > 0


def test_a_line_that_stands_upright_or_has_no_length_gives_no_plane():
    for second in ((0, 0, 0), (0, 0, 10), (1, 0, 10)):
        with pytest.raises(ValueError, match="no jaw plane"):
            leaning(0, 0).with_line((0, 0, 0), second, right=X)
