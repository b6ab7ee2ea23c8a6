"""Balls along a line: places, radii and what each mark moves, worked out by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from core.distances.tubes import balls_along, diameter_sd_mm, least_places, tubes_of
from core.structures import Course, Foramen, PointMarks, Tapered

ROOT = Tapered(
    id="r", kind="root", points=[(0, 0, 0), (3, 4, 0), (3, 4, 5)], diameters_mm=(6.0, 2.0),
    seen=("yes", "faint", "no"),
)  # fmt: skip
"""Pieces of 5 and 5 mm; the radius falls from 3 to 1 mm over 10 mm."""


def the_tube(structure):
    (tube,) = tubes_of(structure)
    return tube


class TestRoot:
    def test_its_pieces_and_radii_follow_the_length_of_the_line(self):
        tube = the_tube(ROOT)
        assert tube.stations == pytest.approx([0, 5, 10])
        assert tube.radii == pytest.approx([3, 2, 1])
        assert tube.length_mm == 10.0
        centres, radii = tube.at(np.array([0.0, 2.5, 7.0, 10.0]))
        assert centres == pytest.approx(
            np.array([(0, 0, 0), (1.5, 2, 0), (3, 4, 2), (3, 4, 5)], dtype=float)
        )
        assert radii == pytest.approx([3.0, 2.5, 1.6, 1.0])

    def test_each_mark_has_its_share_of_the_centre_and_its_own_key(self):
        moved = the_tube(ROOT).influences(7.0, np.array([1.0, 0, 0]), 0.0)
        assert [m.mark for m in moved] == ["r/0", "r/1", "r/2"]
        assert [m.seen for m in moved] == ["yes", "faint", "no"]
        assert [m.gradient[0] for m in moved] == pytest.approx([0.0, 0.6, 0.4])
        assert {m.course for m in moved} == {""}

    @pytest.mark.parametrize("share", [0.1, 0.37, 0.5, 0.81])
    @pytest.mark.parametrize("index", [0, 1, 2])
    def test_a_marks_shift_moves_centre_and_radius_at_a_held_share_of_its_piece(self, share, index):
        """Finite differences at the same place of the same piece."""
        step = 1e-6
        for piece in (0, 1):
            tube = the_tube(ROOT)
            station = float(tube.stations[piece] + share * np.diff(tube.stations)[piece])
            for by_centre, by_radius in ((np.array([0.3, -0.7, 0.2]), 0.0), (np.zeros(3), 1.0)):
                gradient = tube.influences(station, by_centre, by_radius)[index].gradient
                for k in range(3):
                    values = []
                    for sign in (1, -1):
                        points = np.array(ROOT.points)
                        points[index, k] += sign * step
                        other = the_tube(replace(ROOT, points=points))
                        there = other.stations[piece] + share * np.diff(other.stations)[piece]
                        centre, radius = (row[0] for row in other.at(np.array([there])))
                        values.append(centre @ by_centre + by_radius * radius)
                    slope = (values[0] - values[1]) / (2 * step)
                    assert gradient[k] == pytest.approx(slope, abs=1e-6)


class TestCourse:
    POINTS = ((0, 0, 0), (4, 1, 0), (8, 0, 1), (12, -2, 0))

    def test_the_line_is_the_curve_itself_and_its_pieces_stay_within_two_thousandths(self):
        tube = the_tube(Course(id="c", kind="canal", points=self.POINTS, diameter_mm=2.6))
        assert tube.radii == pytest.approx(np.full(len(tube.stations), 1.3))
        places = np.linspace(0, tube.length_mm, 501)
        curved, radii = tube.at(places)
        straight, same = tube.straight_at(places)
        assert np.linalg.norm(curved - straight, axis=1).max() < 0.0021
        assert np.linalg.norm(curved - straight, axis=1).max() > 1e-6
        assert radii == pytest.approx(same)
        on_marks = tube.curve.at(tube.curve.mark_stations)
        assert on_marks == pytest.approx(np.array(self.POINTS, dtype=float), abs=1e-9)

    def test_all_its_marks_share_what_one_person_gets_wrong(self):
        tube = the_tube(Course(id="c", kind="canal", points=self.POINTS, diameter_mm=2.6))
        moved = tube.influences(5.0, np.array([0, 0, 1.0]), -1.0)
        assert {m.course for m in moved} == {"c"}
        assert sum(m.gradient[2] for m in moved) == pytest.approx(1.0)
        assert tube.curve.weights([5.0])[0] == pytest.approx([m.gradient[2] for m in moved])

    def test_a_traced_line_is_one_mark_with_the_worst_of_what_was_seen(self):
        traced = Course(
            id="c", kind="canal", points=self.POINTS, diameter_mm=2.0,
            seen=("yes", "faint", "no", "faint"), course=[(0, 0, 0), (0, 3, 4)],
        )  # fmt: skip
        tube = the_tube(traced)
        assert tube.length_mm == pytest.approx(5.0)
        assert (tube.keys, tube.seen) == (("c/course",), ("no",))
        assert tube.radii == pytest.approx([1.0, 1.0])
        (only,) = tube.influences(2.0, np.array([0, 1.0, 0]), -1.0)
        assert only.gradient == pytest.approx([0, 1, 0])

    def test_marks_on_one_place_are_one_ball_and_share_it(self):
        close = Course(
            id="c", kind="canal", points=[(0, 0, 0), (0.02, 0, 0), (0.04, 0, 0)], diameter_mm=3.0
        )
        tube = the_tube(close)
        assert tube.length_mm == 0.0
        assert tube.points[0] == pytest.approx([0.02, 0, 0])
        assert tube.radii == pytest.approx([1.5])
        assert [m.gradient[0] for m in tube.influences(0.0, np.array([3.0, 0, 0]), -1.0)] == (
            pytest.approx([1.0, 1.0, 1.0])
        )
        apart = replace(close, points=[(0, 0, 0), (0.06, 0, 0)], seen=())
        assert the_tube(apart).length_mm == pytest.approx(0.06)

    @pytest.mark.parametrize(
        ("stated", "spread", "expected"), [(None, None, 0.0), (2.0, None, 0.35), (2.0, 0.1, 0.1)]
    )
    def test_doubt_of_a_diameter(self, stated, spread, expected):
        vessel = Course(
            id="v", kind="vessel", points=self.POINTS, diameter_mm=stated, diameter_sd_mm=spread
        )
        assert diameter_sd_mm(vessel) == expected
        assert the_tube(vessel).radius_sd_mm == pytest.approx(expected / 2)
        assert the_tube(vessel).notes == ()

    def test_a_canal_nobody_measured_is_taken_as_3_mm_and_only_a_canal(self):
        tube = the_tube(Course(id="c", kind="canal", points=self.POINTS))
        assert tube.radii[0] == 1.5
        assert tube.radius_sd_mm == pytest.approx(0.175)
        assert [(n.code, dict(n.fields)) for n in tube.notes] == [
            ("canal_diameter_assumed", {"diameter": 3.0, "sd": 0.35})
        ]
        for kind in ("loop", "vessel", "border"):
            bare = the_tube(Course(id="x", kind=kind, points=self.POINTS))
            assert bare.radii[0] == 0.0
            assert bare.radius_sd_mm == 0.0
            assert not bare.notes


def test_balls_along_a_tube_stand_evenly_and_are_remembered():
    tube = the_tube(ROOT)
    centres, radii = balls_along(tube, 0.5)
    assert centres[::5] == pytest.approx(
        np.array([(0, 0, 0), (1.5, 2, 0), (3, 4, 0), (3, 4, 2.5), (3, 4, 5.0)])
    )
    assert radii == pytest.approx(np.linspace(3.0, 1.0, 21))
    assert balls_along(tube, 0.5)[0] is centres
    assert not centres.flags.writeable
    assert len(balls_along(tube, 9.0)[0]) == 2


def test_a_foramens_ball_follows_both_of_its_edges():
    foramen = Foramen(id="f", mesial=(0, 0, 3), distal=(4, 0, 0))
    tube = the_tube(foramen)
    assert tube.points[0] == pytest.approx([2, 0, 1.5])
    assert tube.radii == pytest.approx([2.5])
    # Moving the mesial edge outwards along the span by d widens the radius by d / 2.
    mesial, distal = tube.influences(0.0, np.array([0, 1.0, 0]), -1.0)
    assert (mesial.mark, distal.mark) == ("f/mesial", "f/distal")
    assert mesial.gradient == pytest.approx([0.4, 0.5, -0.3])
    assert distal.gradient == pytest.approx([-0.4, 0.5, 0.3])
    flat = the_tube(Foramen(id="f", mesial=(1, 1, 1), distal=(1, 1, 1)))
    for influence in flat.influences(0.0, np.array([0, 1.0, 0]), -1.0):
        assert influence.gradient == pytest.approx([0, 0.5, 0])


def test_marks_are_balls_without_size_each_with_its_own_key():
    tubes = tubes_of(PointMarks(id="m", kind="mark", points=[(1, 2, 3), (4, 5, 6)]))
    assert [t.keys for t in tubes] == [("m/0",), ("m/1",)]
    assert [t.points[0].tolist() for t in tubes] == [[1, 2, 3], [4, 5, 6]]
    assert {float(t.radii[0]) for t in tubes} == {0.0}
    (only,) = tubes[1].influences(0.0, np.array([1.0, 2.0, 3.0]), -1.0)
    assert only.gradient == pytest.approx([1, 2, 3])


@given(st.lists(st.tuples(st.floats(-5, 5), st.floats(0.1, 4)), min_size=1, max_size=5))
def test_least_places_of_many_functions_at_once(wells):
    places, widths = (np.array(x) for x in zip(*wells, strict=True))

    def values(x):
        return np.abs(x.reshape(len(places), -1) - places[:, None]).ravel()

    found = least_places(values, places - widths, places + 2 * widths)
    assert found == pytest.approx(places, abs=3 * 4 * (2 / 32) ** 6)
    # A well beyond the bracket is met at its end.
    beyond = least_places(values, places + 1.0, places + 3.0)
    assert beyond == pytest.approx(places + 1.0, abs=2 * (2 / 32) ** 5)
