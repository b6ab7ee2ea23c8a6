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
