"""Where a structure is first met along a line: worked out by hand, and what must hold."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from core.distances.first_hit import first_hit_along_axis
from core.structures import Course, Floor, Foramen, PointMarks, Tapered

DOWN = (0, 0, -1)


def canal(x=0.0, depth=14.0, tilt=0.0):
    marks = [(x, y, -depth + tilt * y) for y in (-20, -10, 0, 10, 20)]
    return Course(id="canal-left", kind="canal", points=marks, diameter_mm=3.0)


def hit(structure, radius=4.0, origin=(0, 0, 0)):
    return first_hit_along_axis(origin, DOWN, radius, structure)


def test_a_canal_below_is_met_at_its_upper_wall():
    reading = hit(canal())
    assert reading.value == pytest.approx(12.5, abs=1e-6)
    assert reading.witness[1][2] == pytest.approx(-12.5, abs=1e-6)
    assert reading.witness[0][2] == pytest.approx(0, abs=1e-9)


def test_a_canal_that_reaches_into_the_widened_footprint_counts():
    # Middle 5 mm aside, footprint 4 mm: met where its wall crosses the cylinder.
    assert hit(canal(x=5.0)).value == pytest.approx(14 - np.sqrt(1.5**2 - 1), abs=1e-6)


def test_a_canal_beside_the_footprint_is_never_run_past_as_a_height():
    reading = hit(canal(x=5.6))
    assert reading.value is None
    assert [n.code for n in reading.notes] == ["nothing_below_footprint"]


def test_a_rising_canal_is_met_where_the_cylinder_ends():
    # Rises 1 mm in 4; the highest met point lies 4 mm along it.
    reading = hit(canal(tilt=0.25))
    rise = np.sqrt(1 + 0.25**2)
    assert reading.value == pytest.approx(14 - 4 * 0.25 - 1.5 * rise, abs=5e-3)


def test_a_steep_root_is_met_before_it_leaves_the_cylinder_at_its_very_end():
    # Rises 4 mm in 1 and ends 0.1 mm after it left: 20 - 4 x 4 - r sqrt(1 + 4²).
    root = Tapered(id="r", kind="root", points=[(0, 0, -20), (0, 4.6, -1.6)], diameters_mm=(1, 1))
    assert hit(root).value == pytest.approx(4 - 0.5 * np.sqrt(17), abs=1e-3)


def test_what_only_touches_the_footprint_is_met():
    marks = [(0.1 + 0.2, y, -14) for y in (-20, -10, 0, 10, 20)]
    touching = Course(id="canal-left", kind="canal", points=marks, diameter_mm=0.2)
    assert hit(touching, radius=0.2).value == pytest.approx(14.0, abs=1e-6)


def test_behind_the_plane_is_negative():
    assert hit(canal(depth=-3.0)).value == pytest.approx(-4.5, abs=1e-6)


def test_foramen_root_and_marks():
    foramen = Foramen(id="f", mesial=(0, 1.5, -9), distal=(0, -1.5, -9))
    assert hit(foramen).value == pytest.approx(7.5, abs=1e-9)
    root = Tapered(id="r", kind="root", points=[(0, 5, 0), (0, 5, -12)], diameters_mm=(1, 1))
    assert hit(root).value is None
    assert hit(root, radius=4.6).value == pytest.approx(-np.sqrt(0.25 - 0.16), abs=1e-6)
    marks = PointMarks(id="m", kind="mark", points=[(0, 3, -5), (0, 9, -1)])
    assert hit(marks).value == pytest.approx(5.0, abs=1e-9)


def test_a_sloping_floor_is_met_at_the_rim_of_the_footprint():
    marks = [(x, y, -12 + 0.3 * x) for x in (-9, -3, 3, 9) for y in (-9, -3, 3, 9)]
    floor = Floor(id="s", of="sinus", points=marks)
    assert hit(floor).value == pytest.approx(12 - 0.3 * 4, abs=2e-3)
    assert hit(floor, radius=0.0).value == pytest.approx(12.0, abs=3e-3)
    assert hit(floor, origin=(20, 0, 0)).value is None
    assert not hit(floor).upper_bound
    assert hit(floor, origin=(8, 0, 0)).upper_bound


def test_an_open_end_in_the_footprint_is_an_upper_bound():
    marks = [(0, y, -14 - 0.2 * y) for y in (-20, -10, -2)]
    short = Course(id="canal-left", kind="canal", points=marks, diameter_mm=3.0)
    falling = Course(id="canal-left", kind="canal", points=-np.array(marks), diameter_mm=3.0)
    assert hit(short).value is not None
    assert not hit(short).upper_bound
    assert hit(falling).value is not None
    marks = [(0, y, -14 + 0.2 * y) for y in (-20, -10, -2)]
    rising = Course(id="canal-left", kind="canal", points=marks, diameter_mm=3.0)
    assert hit(rising).upper_bound
    foramen = Foramen(id="f", mesial=(0, 1, -14), distal=(0, -1, -14))
    joined = first_hit_along_axis((0, 0, 0), DOWN, 4.0, rising, others=[foramen])
    assert not joined.upper_bound


@given(st.floats(0, 8), st.floats(0, 3), st.floats(-0.3, 0.3))
@settings(max_examples=40, deadline=None)
def test_a_wider_footprint_never_meets_later(radius, more, tilt):
    narrow, wide = hit(canal(x=3.0, tilt=tilt), radius), hit(canal(x=3.0, tilt=tilt), radius + more)
    if narrow.value is not None:
        assert wide.value is not None
        assert wide.value <= narrow.value + 1e-6


@pytest.mark.parametrize(
    ("structure", "radius"),
    [(canal(x=5.0, tilt=0.1), 4.0), (canal(x=1.0, tilt=0.1), 4.0)],
)
def test_derivatives_against_finite_differences(structure, radius):
    from dataclasses import replace

    step = 0.02
    for influence in hit(structure, radius).marks:
        index = int(influence.mark.split("/")[1])
        for k in range(3):
            values = []
            for sign in (1, -1):
                marks = np.array(structure.points)
                marks[index, k] += sign * step
                values.append(hit(replace(structure, points=marks), radius).value)
            slope = (values[0] - values[1]) / (2 * step)
            # The knots are laid anew when a mark moves; the derivative holds them.
            assert influence.gradient[k] == pytest.approx(slope, abs=0.03)


def test_a_negative_radius_is_refused():
    with pytest.raises(ValueError, match="radius"):
        hit(canal(), radius=-1.0)


class TestReading:
    """What comes with the height: place, size, ends and each mark's part, by hand."""

    def test_the_witness_stands_on_the_plane_above_the_place_that_is_met(self):
        reading = hit(canal(x=5.0))
        fall = np.sqrt(1.5**2 - 1)
        assert reading.witness[0] == pytest.approx([4, 0, 0], abs=1e-3)
        assert reading.witness[1] == pytest.approx([4, 0, fall - 14], abs=1e-3)
        # Met on a slope: dz/dx of the middle is 1 / fall, dz/dr is -r / fall.
        total = sum(m.gradient for m in reading.marks)
        assert total[[0, 2]] == pytest.approx([1 / fall, -1.0], abs=1e-3)
        assert reading.size_sd_mm == pytest.approx(0.175 * 1.5 / fall, abs=1e-3)
        assert reading.evidence.rests_on == "marks"

    def test_below_the_middle_of_the_footprint_the_size_counts_once(self):
        reading = hit(canal(x=1.0))
        assert reading.witness[0][[0, 2]] == pytest.approx([1, 0], abs=1e-6)
        assert reading.size_sd_mm == pytest.approx(0.175, abs=1e-9)
        assert sum(m.gradient for m in reading.marks) == pytest.approx([0, 0, -1], abs=1e-6)

    @pytest.mark.parametrize(("x", "steep"), [(5.45, False), (5.485, True)])
    def test_near_the_very_side_of_a_ball_the_derivative_is_held(self, x, steep):
        """dz/dr = r / sqrt(r² - outside²), never more than 5."""
        reading = hit(canal(x=x))
        fall = np.sqrt(1.5**2 - (x - 4) ** 2)
        assert bool(fall < 0.3) is steep
        expected = 0.175 * (5.0 if steep else 1.5 / fall)
        assert reading.size_sd_mm == pytest.approx(expected, rel=2e-3)

    def test_a_mark_has_no_size(self):
        marks = PointMarks(id="m", kind="mark", points=[(0, 3, -5)])
        reading = hit(marks)
        assert reading.size_sd_mm == 0.0
        assert reading.marks[0].gradient == pytest.approx([0, 0, -1])
        assert reading.witness[1] == pytest.approx([0, 3, -5])

    def test_of_several_marks_the_one_met_first(self):
        marks = PointMarks(id="m", kind="mark", points=[(0, 3, -7), (1, 0, -5), (0, 0, -6)])
        assert [m.mark for m in hit(marks).marks] == ["m/1"]
        assert hit(marks, radius=0.5).value == pytest.approx(6.0, abs=1e-9)

    def test_along_a_slanting_line(self):
        way = np.array([0.6, 0.0, -0.8])
        marks = PointMarks(id="m", kind="mark", points=[5 * way + (0, 2, 0)])
        reading = first_hit_along_axis((0, 0, 0), 3 * way, 2.5, marks)
        assert reading.value == pytest.approx(5.0)
        assert reading.witness[0] == pytest.approx([0, 2, 0])

    def test_an_assumed_diameter_is_told(self):
        from dataclasses import replace

        assert [n.code for n in hit(replace(canal(), diameter_mm=None)).notes] == [
            "canal_diameter_assumed"
        ]

    def test_a_radius_that_is_no_number_is_refused(self):
        with pytest.raises(ValueError, match="radius"):
            hit(canal(), radius=float("nan"))


class TestFloor:
    @staticmethod
    def floor(slope=0.0, reach=9.0):
        ticks = np.linspace(-reach, reach, 4)
        return Floor(
            id="s", of="sinus", points=[(x, y, -12 + slope * x) for x in ticks for y in ticks]
        )

    @pytest.mark.parametrize("slope", [0.0, 0.3, -0.6])
    def test_shifting_it_whole_shifts_the_height_along_the_line_and_down_its_slope(self, slope):
        reading = hit(self.floor(slope))
        total = sum(m.gradient for m in reading.marks)
        # The rim of the footprint is held: d height = - dz + slope dx.
        assert total == pytest.approx([slope, 0, -1], abs=1e-4)
        assert reading.value == pytest.approx(12 - 4 * abs(slope), abs=2e-3)
        assert [m.mark for m in reading.marks[:2]] == ["s/0", "s/1"]

    def test_a_steep_one_has_its_derivative_held(self):
        """cos of line and surface 0.1: as for 0.2."""
        steep = np.sqrt(0.99) / 0.1
        ticks = np.linspace(-1, 1, 4)
        floor = Floor(
            id="s", of="sinus", points=[(x, y, -30 + steep * x) for x in ticks for y in ticks]
        )
        reading = first_hit_along_axis((0, 0, 0), DOWN, 0.1, floor)
        total = sum(m.gradient for m in reading.marks)
        normal = np.array([-steep, 0, 1.0]) * 0.1
        assert total == pytest.approx(-normal / 0.2, abs=1e-3)

    @pytest.mark.parametrize(("x", "narrow"), [(4.9, False), (4.97, True), (5.2, True)])
    def test_met_at_the_rim_of_its_marks_it_is_an_upper_bound(self, x, narrow):
        # Highest at the footprint's rim at x + 4, which the marks cover to 9.
        reading = hit(self.floor(0.3), origin=(x, 0, 0))
        assert reading.upper_bound is narrow
        assert bool(reading.notes) is narrow
        if narrow:
            assert reading.notes[0].code == "floor_marked_too_narrow"
            assert reading.notes[0].fields["id"] == "s"

    def test_with_too_few_marks_it_is_not_met(self):
        two = Floor(id="s", of="sinus", points=[(0, 0, -5), (3, 0, -5)])
        assert [n.code for n in hit(two).notes] == ["floor_too_few_marks"]
        assert hit(two).value is None


@given(
    st.lists(st.tuples(*[st.floats(-9, 9)] * 3), min_size=2, max_size=2),
    st.floats(0.5, 5),
    st.floats(0.5, 5),
    st.floats(0.0, 5),
)
@settings(max_examples=60, deadline=None)
def test_a_tapered_piece_against_many_balls(ends, first, last, radius):
    """The first of 4001 balls' own first points within the cylinder, one after the other."""
    points = np.array(ends)
    if np.linalg.norm(points[1] - points[0]) < 0.5:
        points[1] += 1.0
    root = Tapered(id="r", kind="existing", points=points, diameters_mm=(first, last))
    share = np.linspace(0, 1, 4001)[:, None]
    centres = points[0] + share * (points[1] - points[0])
    radii = (first + share[:, 0] * (last - first)) / 2
    outside = np.maximum(np.hypot(centres[:, 0], centres[:, 1]) - radius, 0.0)
    met = outside <= radii
    reading = hit(root, radius)
    if not met.any():
        assert reading.value is None or (outside - radii).min() < 1e-3
        return
    brute = -centres[met, 2] - np.sqrt(radii[met] ** 2 - outside[met] ** 2)
    assert reading.value <= brute.min() + 1e-6
    assert reading.value == pytest.approx(brute.min(), abs=0.05)
