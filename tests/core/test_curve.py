from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.interpolate import CubicSpline
from scipy.spatial.transform import Rotation

from core.curve import Curve

NUMBERS = st.floats(-30, 30, allow_nan=False).map(lambda v: round(v, 3))
MARKS = st.lists(st.tuples(NUMBERS, NUMBERS, NUMBERS), min_size=2, max_size=7).map(np.array)


def apart(marks, least=2.0):
    """Marks as a hand places them: not two on one spot, not straight back over the last."""
    steps = np.diff(marks, axis=0)
    lengths = np.linalg.norm(steps, axis=1)
    if (lengths < least).any():
        return False
    turns = np.einsum("ij,ij->i", steps[:-1], steps[1:]) / (lengths[:-1] * lengths[1:])
    return bool((turns > -0.9).all())


def jaw_marks(count=6):
    turn = np.radians(np.linspace(-70, 70, count))
    return np.stack([24 * np.sin(turn), -28 * np.cos(turn), 0.03 * turn * 20], axis=1)


def circle_marks(count, degrees, radius=26.0):
    turn = np.radians(np.linspace(0, degrees, count))
    return radius * np.stack([np.cos(turn), np.sin(turn), 0 * turn], axis=1)


def off_circle(places, tangents, radius=26.0):
    """Largest error in mm of the radius and in degrees of the tangent."""
    radial = np.linalg.norm(places, axis=1)
    t = tangents / np.linalg.norm(tangents, axis=1, keepdims=True)
    lean = np.arcsin(np.abs(np.einsum("ij,ij->i", places / radial[:, None], t)))
    return np.abs(radial - radius).max(), np.degrees(lean).max()


def test_not_a_knot_ends_follow_a_circle_where_natural_ends_do_not():
    # The figure of the definitions: circle of 26 mm, five marks over 71 degrees; not-a-knot
    # 0.006 mm and 0.3 degrees, natural ends 0.12 mm and 5 degrees.
    marks = circle_marks(5, 71)
    curve = Curve.through(marks)
    stations = np.linspace(0, curve.length_mm, 3001)
    off_mm, off_deg = off_circle(curve.at(stations), curve.tangent(stations))
    assert off_mm == pytest.approx(0.0062, abs=0.0002)
    assert off_deg == pytest.approx(0.278, abs=0.005)

    u = np.concatenate([[0], np.cumsum(np.sqrt(np.linalg.norm(np.diff(marks, axis=0), axis=1)))])
    natural = CubicSpline(u, marks, bc_type="natural")
    fine = np.linspace(0, u[-1], 3001)
    off_mm, off_deg = off_circle(natural(fine), natural(fine, 1))
    assert off_mm == pytest.approx(0.122, abs=0.002)
    assert off_deg == pytest.approx(5.13, abs=0.05)


def test_two_marks_make_a_line_and_three_a_parabola():
    line = Curve.through([(0, 0, 0), (3, 4, 0)])
    assert line.length_mm == pytest.approx(5, abs=1e-12)
    assert line.at([1.0, 2.5]) == pytest.approx(np.array([(0.6, 0.8, 0), (1.5, 2, 0)]))

    # Equal chords give equal knots, so the curve is y = x² / 20 itself.
    parabola = Curve.through([(-10, 5, 1), (0, 0, 1), (10, 5, 1)])
    places = parabola.at(np.linspace(0, parabola.length_mm, 50))
    assert places[:, 1] == pytest.approx(places[:, 0] ** 2 / 20, abs=1e-10)


def test_the_curve_passes_through_its_marks_at_their_stations():
    marks = jaw_marks()
    curve = Curve.through(marks)
    assert curve.at(curve.mark_stations) == pytest.approx(marks, abs=1e-9)
    assert curve.mark_stations[0] == 0
    assert curve.mark_stations[-1] == curve.length_mm


def test_second_derivative_is_continuous_at_the_inner_marks():
    curve = Curve.through(jaw_marks())
    step = 1e-3
    for station in curve.mark_stations[1:-1]:
        before, after = (
            np.diff(curve.tangent(station + side * np.array([step, 2 * step])), axis=0) * side
            for side in (-1, 1)
        )
        assert after == pytest.approx(before, abs=2e-3 * step)


@pytest.mark.parametrize("end", [0, 1])
def test_beyond_the_ends_it_goes_straight_on(end):
    curve = Curve.through(jaw_marks())
    edge, sign = ((0.0, -1), (curve.length_mm, 1))[end]
    tangent = curve.tangent(edge)[0]
    beyond = edge + sign * np.array([0.5, 3.0, 12.0])
    assert curve.tangent(beyond) == pytest.approx(np.tile(tangent, (3, 1)), abs=1e-12)
    expected = curve.at(edge) + np.outer(beyond - edge, tangent)
    assert curve.at(beyond) == pytest.approx(expected, abs=1e-9)
    for station, place in zip(beyond, expected, strict=True):
        assert curve.nearest(place) == pytest.approx(station, abs=1e-9)


@given(MARKS)
def test_stations_measure_arc_length(marks):
    assume(apart(marks))
    curve = Curve.through(marks)
    stations = np.linspace(0, curve.length_mm, 4001)
    chords = np.linalg.norm(np.diff(curve.at(stations), axis=0), axis=1)
    # A chord is never longer than its arc, and the sum falls short of it only to second order.
    assert (chords <= curve.length_mm / 4000 + 1e-8).all()
    assert chords.sum() == pytest.approx(curve.length_mm, rel=1e-3, abs=1e-3)


@given(MARKS, st.integers(0, 1000), st.booleans())
def test_moving_or_mirroring_the_marks_moves_or_mirrors_the_curve(marks, seed, mirrored):
    assume(apart(marks))
    rng = np.random.default_rng(seed)
    turn = Rotation.random(random_state=seed).as_matrix()
    if mirrored:
        turn = turn @ np.diag([-1.0, 1.0, 1.0])
    shift = rng.uniform(-50, 50, 3)
    here, there = Curve.through(marks), Curve.through(marks @ turn.T + shift)
    stations = np.linspace(-3, here.length_mm + 3, 40)
    assert there.length_mm == pytest.approx(here.length_mm, abs=1e-6)
    assert there.at(stations) == pytest.approx(here.at(stations) @ turn.T + shift, abs=1e-6)


@given(MARKS)
def test_the_order_of_the_marks_only_turns_the_curve_round(marks):
    assume(apart(marks))
    forth, back = Curve.through(marks), Curve.through(marks[::-1])
    stations = np.linspace(-2, forth.length_mm + 2, 30)
    assert back.length_mm == pytest.approx(forth.length_mm, abs=1e-7)
    assert back.at(back.length_mm - stations) == pytest.approx(forth.at(stations), abs=1e-6)


@given(MARKS, st.tuples(NUMBERS, NUMBERS, NUMBERS))
def test_nearest_is_no_farther_than_any_place_on_the_curve(marks, point):
    assume(apart(marks))
    curve = Curve.through(marks)
    found = curve.at(curve.nearest(point))[0]
    everywhere = curve.at(np.linspace(-60, curve.length_mm + 60, 6000))
    best = np.linalg.norm(everywhere - point, axis=1).min()
    assert np.linalg.norm(found - point) <= best + 1e-9


def test_nearest_of_many_is_nearest_of_each():
    curve = Curve.through(jaw_marks())
    rng = np.random.default_rng(3)
    cloud = rng.uniform(-40, 40, (50, 3))
    assert curve.nearest_stations(cloud) == pytest.approx([curve.nearest(p) for p in cloud])


@given(MARKS)
def test_weights_rebuild_every_place_and_sum_to_one(marks):
    assume(apart(marks))
    curve = Curve.through(marks)
    stations = np.linspace(-4, curve.length_mm + 4, 25)
    weights = curve.weights(stations)
    assert weights.sum(axis=1) == pytest.approx(1, abs=1e-9)
    assert weights @ curve.points_mm == pytest.approx(curve.at(stations), abs=1e-7)


def test_weights_are_the_derivative_by_each_mark():
    # With equal knots a small shift across the curve leaves the centripetal parameter as it is
    # to first order, so the influence can be seen on the whole construction.
    marks = np.array([(0, 0, 0), (5, 0, 0), (10, 0, 0), (15, 0, 0), (20, 0, 0)], dtype=float)
    curve = Curve.through(marks)
    stations = np.array([2.0, 7.5, 13.0, 20.0])
    weights = curve.weights(stations)
    for index in range(5):
        moved = marks.copy()
        moved[index, 2] += 1e-5
        shift = (Curve.through(moved).at(stations) - curve.at(stations))[:, 2] / 1e-5
        assert shift == pytest.approx(weights[:, index], abs=1e-4)


@given(MARKS, st.sampled_from([0.05, 0.002]))
def test_polyline_stays_within_its_sagitta(marks, sagitta):
    assume(apart(marks))
    curve = Curve.through(marks)
    stations, line = curve.polyline(sagitta)
    assert curve.at(stations) == pytest.approx(line, abs=1e-8)
    assert (np.diff(stations) > 0).all()
    for share in (0.3, 0.5, 0.7):
        arc = curve.at(stations[:-1] + share * np.diff(stations))
        chord = np.diff(line, axis=0)
        along = np.einsum("ij,ij->i", arc - line[:-1], chord) / np.einsum("ij,ij->i", chord, chord)
        off = np.linalg.norm(arc - line[:-1] - np.clip(along, 0, 1)[:, None] * chord, axis=1)
        assert (off <= sagitta + 1e-9).all()


def test_polyline_holds_every_mark():
    curve = Curve.through(jaw_marks())
    stations, _ = curve.polyline(0.01)
    assert np.abs(stations[:, None] - curve.mark_stations).min(axis=0) == pytest.approx(0, abs=1e-9)


def test_marks_on_one_spot_are_merged_and_share_their_influence():
    marks = np.array([(0, 0, 0), (10, 0, 0), (10.02, 0.02, 0), (20, 3, 0), (30, 9, 0)])
    curve = Curve.through(marks)
    merged = np.vstack([marks[:1], marks[1:3].mean(axis=0), marks[3:]])
    plain = Curve.through(merged)
    stations = np.linspace(0, plain.length_mm, 20)
    assert curve.at(stations) == pytest.approx(plain.at(stations), abs=1e-12)
    assert curve.mark_stations[1] == curve.mark_stations[2]
    assert curve.weights(stations).shape == (20, 5)
    assert curve.weights(stations)[:, 1] == pytest.approx(curve.weights(stations)[:, 2])
    assert 2 * curve.weights(stations)[:, 1] == pytest.approx(plain.weights(stations)[:, 1])


def test_marks_just_apart_are_kept():
    curve = Curve.through([(0, 0, 0), (0.06, 0, 0), (10, 0, 0)])
    assert curve.mark_stations == pytest.approx([0, 0.06, 10])


@pytest.mark.parametrize("marks", [[], [(1, 2, 3)], [(1, 2, 3), (1.01, 2, 3)]])
def test_a_curve_needs_two_marks_that_stand_apart(marks):
    with pytest.raises(ValueError, match="two marks"):
        Curve.through(np.array(marks, dtype=float).reshape(-1, 3))


def test_marks_cannot_be_changed_from_outside():
    marks = jaw_marks()
    curve = Curve.through(marks)
    marks[0] = 99
    assert curve.points_mm[0] == pytest.approx(jaw_marks()[0])
    with pytest.raises(ValueError, match="read-only"):
        curve.points_mm[0] = 0
