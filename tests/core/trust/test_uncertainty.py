"""The uncertainty budget: its terms, one mark counted once, angles, scale, and Monte Carlo."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from core.distances.clearance import clearance
from core.distances.restorative import axis_angle
from core.fixture import Fixture, FixtureSize
from core.geometry import angle_deg
from core.measurement import MarkInfluence, Note, Reading
from core.structures import Course, StentAxis
from core.trust.uncertainty import (
    COURSE_SD_MM,
    DEFAULT_SCALE,
    Placement,
    Scale,
    budget,
    course_u,
    placement_u,
    rectangular_sd,
    scale_lever_mm,
    voxel_extent_mm,
)

NO_SCALE = Scale(relative_u=0.0, source="a perfect scan")
X = np.array([1.0, 0.0, 0.0])


def term(found, name):
    return next((t.u for t in found.terms if t.name == name), 0.0)


def distance_reading(**more) -> Reading:
    marks = (MarkInfluence(mark="a/0", gradient=-X), MarkInfluence(mark="b/0", gradient=X))
    return Reading(value=10.0, marks=marks, **more)


def test_no_value_no_budget():
    assert budget(Reading(value=None, notes=(Note("x"),))) is None


def test_the_spread_of_a_distance_is_the_published_one():
    # Tomasi et al. 2011, Dentomaxillofac Radiol 40:244: repeated distances, SD 0.36 mm in a level
    # jaw and 0.48 mm in a tilted one.
    level = budget(distance_reading(), scale=NO_SCALE)
    assert level.u == pytest.approx(0.36, abs=0.01)
    tilted = budget(distance_reading(), scale=NO_SCALE, placement=Placement().tilted())
    assert tilted.u == pytest.approx(0.48, abs=0.01)


def test_scale_without_a_check_is_1_2_per_cent_rectangular_rounded_up():
    # Ludlow et al. 2007: less than 1.2 %. JCGM 100:2008, 4.3.7: a / sqrt(3).
    assert rectangular_sd(0.012) <= DEFAULT_SCALE < rectangular_sd(0.012) + 1e-4
    found = budget(Reading(value=20.0))
    assert term(found, "scale") == pytest.approx(0.14)
    assert "Ludlow" in str(found.terms[0].source)


def test_every_term_says_where_it_comes_from():
    full = budget(
        distance_reading(edge_sd_mm=(0.1,), size_sd_mm=0.17), voxel_extents_mm=(0.25, 0.25)
    )
    assert {t.name for t in full.terms} == {"placement", "edge", "size", "voxel", "scale"}
    assert all(t.source for t in full.terms)


def test_terms_combine_as_root_sum_of_squares():
    found = budget(
        distance_reading(edge_sd_mm=(0.03, 0.04), size_sd_mm=0.175, extra_placement_sd_mm=0.3),
        voxel_extents_mm=(0.25, 0.4),
    )
    assert term(found, "placement") == pytest.approx(math.hypot(0.25, 0.25, 0.3))
    assert term(found, "edge") == pytest.approx(0.05)
    assert term(found, "voxel") == pytest.approx(math.hypot(0.25, 0.4) / math.sqrt(12))
    assert term(found, "scale") == pytest.approx(0.07)
    assert found.u == pytest.approx(math.hypot(*(t.u for t in found.terms)))
    assert found.expanded == 2 * found.u


@pytest.mark.parametrize(("seen", "sd"), [("yes", 0.25), ("faint", 0.5), ("no", 1.0)])
def test_a_mark_weighs_as_it_was_seen(seen, sd):
    mark = MarkInfluence(mark="canal/0", gradient=X * 0.6, seen=seen)
    assert placement_u([mark], Placement()) == pytest.approx(0.6 * sd)


def test_one_mark_that_enters_twice_is_one_error():
    half = MarkInfluence(mark="a/0", gradient=X / 2)
    assert placement_u([half, half], Placement()) == pytest.approx(0.25)
    against = MarkInfluence(mark="a/0", gradient=-X / 2)
    assert placement_u([half, against], Placement()) == pytest.approx(0.0)
    other = MarkInfluence(mark="a/1", gradient=X / 2)
    assert placement_u([half, other], Placement()) == pytest.approx(0.25 / math.sqrt(2))


def test_what_the_marks_of_a_course_have_in_common_is_added_before_it_is_squared():
    """JCGM 100:2008, 5.2.2: four marks with a quarter each err as one; two courses do not."""
    quarters = [MarkInfluence(mark=f"c/{i}", gradient=X / 4, course="c") for i in range(4)]
    assert course_u(quarters) == pytest.approx(COURSE_SD_MM)
    assert placement_u(quarters, Placement()) == pytest.approx(0.25 / 2)
    other = MarkInfluence(mark="d/0", gradient=X, course="d")
    assert course_u([*quarters, other]) == pytest.approx(COURSE_SD_MM * math.sqrt(2))
    assert course_u([MarkInfluence(mark="a/0", gradient=X)]) == 0.0


def test_the_common_part_of_a_course_is_a_term_of_its_own_and_says_where_it_comes_from():
    canal = Course(id="c", kind="canal", points=[[-5, 0, -14], [0, 0, -14], [5, 0, -14]])
    size = FixtureSize(diameter_mm=4.0, length_mm=10.0)
    fixture = Fixture(id="36", platform=np.zeros(3), towards_apex=-X[[2, 1, 0]], size=size)
    found = budget(clearance(fixture, canal))
    assert term(found, "course") == pytest.approx(COURSE_SD_MM, rel=0.01)
    source = next(str(t.source) for t in found.terms if t.name == "course")
    assert "common practice, no source" in source
    assert "Dent Med Probl" in source


def test_one_mark_called_seen_and_faint_counts_as_faint():
    marks = [MarkInfluence(mark="a/0", gradient=X / 2, seen=s) for s in ("yes", "faint")]
    assert placement_u(marks, Placement()) == pytest.approx(0.5)


def test_a_persons_own_spread_replaces_the_voxel_term_and_has_a_floor():
    own = Placement.of_person(0.31, source="LM, 20 repeats")
    found = budget(distance_reading(), voxel_extents_mm=(0.4, 0.4), placement=own, scale=NO_SCALE)
    assert found.u == pytest.approx(0.31 * math.sqrt(2))
    assert "LM" in str(found.terms[0].source)
    assert Placement.of_person(0.02, source="x").seen_mm == 0.2
    assert Placement.of_person(0.7, source="x").sd_mm("faint") == 0.7
    assert Placement.of_person(0.7, source="x").sd_mm("no") == 1.0


def test_voxel_extent_along_axes_diagonals_and_a_sheared_stack():
    affine = np.diag([0.2, 0.3, 0.4, 1.0])
    assert voxel_extent_mm(affine, [1, 0, 0]) == pytest.approx(0.2)
    assert voxel_extent_mm(affine, [0, 0, -7]) == pytest.approx(0.4)
    assert voxel_extent_mm(affine, [1, 1, 1]) == pytest.approx(0.9 / math.sqrt(3))
    affine[1, 2] = 0.1
    assert voxel_extent_mm(affine, [0, 1, 0]) == pytest.approx(0.4)


@given(st.tuples(*[st.floats(-1, 1)] * 3).filter(lambda v: np.linalg.norm(v) > 0.1))
def test_voxel_extent_is_the_shadow_of_its_corners(direction):
    edges = np.array([[0.2, 0.05, 0.0], [0.0, 0.3, 0.1], [0.02, 0.0, 0.4]])
    affine = np.eye(4)
    affine[:3, :3] = edges
    corners = np.array(np.meshgrid([0, 1], [0, 1], [0, 1])).reshape(3, -1)
    along = np.asarray(direction) / np.linalg.norm(direction) @ edges @ corners
    assert voxel_extent_mm(affine, direction) == pytest.approx(np.ptp(along), abs=1e-12)


def test_a_wrong_scale_stretches_from_the_platform_not_only_the_gap():
    platform = np.zeros(3)
    below_apex = (np.array([0.0, 0, -10]), np.array([0.0, 0, -12.5]))
    assert scale_lever_mm(below_apex, platform) == pytest.approx(12.5)
    beside = (np.array([2.0, 0, -5]), np.array([3.5, 0, -5]))
    assert scale_lever_mm(beside, platform) == pytest.approx(3.5)
    # However small a gap is, it has a direction, and what lies across it stretches nothing.
    narrow = (np.array([2.0, 0, -5]), np.array([2.3, 0, -5]))
    assert scale_lever_mm(narrow, platform) == pytest.approx(2.3)
    touching = (np.array([0.0, 0, -10]), np.array([0.0, 0, -10]))
    assert scale_lever_mm(touching, platform) == pytest.approx(10.0)
    found = budget(Reading(value=2.5), scale_length_mm=scale_lever_mm(below_apex, platform))
    assert term(found, "scale") == pytest.approx(0.0875)


def test_an_angle_turns_lengths_into_degrees_and_has_no_scale_term():
    found = budget(
        Reading(value=12.0, unit="deg"), voxel_extents_mm=(0.25, 0.25), base_length_mm=6.0
    )
    assert [t.name for t in found.terms] == ["voxel"]
    assert found.u == pytest.approx(math.degrees(0.25 * math.sqrt(2 / 12) / 6.0))
    with pytest.raises(ValueError, match="length between"):
        budget(Reading(value=12.0, unit="deg"), voxel_extents_mm=(0.25,))
    with pytest.raises(ValueError, match="positive"):
        budget(Reading(value=1.0, unit="deg"), voxel_extents_mm=(0.25,), base_length_mm=0.0)


ENDS = (np.array([0.3, -0.2, 8.0]), np.array([1.5, 1.8, -3.0]))


def turned_by(ends, towards_apex):
    size = FixtureSize(diameter_mm=4.0, length_mm=10.0)
    fixture = Fixture(id="36", platform=(0, 0, 0), towards_apex=towards_apex, size=size)
    return axis_angle(fixture, StentAxis(id="s", occlusal=ends[0], gingival=ends[1]))


def test_a_line_along_its_reference_still_has_a_doubt():
    marks = turned_by(ENDS, ENDS[1] - ENDS[0]).marks
    length = float(np.linalg.norm(ENDS[1] - ENDS[0]))
    expected = math.degrees(0.25 * math.sqrt(2) / length)
    assert placement_u(marks, Placement()) == pytest.approx(expected)


# Monte Carlo after JCGM 101:2008: draw every input from its own distribution, compute the value
# anew by plain geometry, and compare the standard deviation with the budget.
DRAWS = 200_000


def test_monte_carlo_of_a_distance_between_two_marks():
    rng = np.random.default_rng(7)
    first, second = np.array([1.0, 2.0, 3.0]), np.array([7.0, -2.0, 9.0])
    away = second - first
    length = float(np.linalg.norm(away))
    along = away / length
    extent = voxel_extent_mm(np.diag([0.25, 0.25, 0.4, 1]), along)
    marks = (
        MarkInfluence(mark="a/0", gradient=-along),
        MarkInfluence(mark="b/0", gradient=along, seen="faint"),
    )
    found = budget(
        Reading(value=length, marks=marks, edge_sd_mm=(0.08,), size_sd_mm=0.1),
        voxel_extents_mm=(extent, extent),
    )
    voxels = rng.uniform(-extent / 2, extent / 2, (2, DRAWS))
    ends = (
        first + rng.normal(0, 0.25, (DRAWS, 3)) + np.outer(voxels[0], along),
        second + rng.normal(0, 0.5, (DRAWS, 3)) + np.outer(voxels[1], along),
    )
    values = np.linalg.norm(ends[1] - ends[0], axis=1)
    values *= 1 + rng.uniform(-0.012, 0.012, DRAWS)
    values += rng.normal(0, 0.08, DRAWS) + rng.normal(0, 0.1, DRAWS)
    assert found.u == pytest.approx(values.std(), rel=0.01)


def test_monte_carlo_of_a_clearance_to_a_tube_between_two_marks():
    # Both marks move the nearest point, each by its share of the way; one enters twice.
    rng = np.random.default_rng(11)
    point, radius = np.array([0.0, 0.0, 0.0]), 1.5
    first, second = np.array([-3.0, 4.0, -3.0]), np.array([7.0, 5.0, -4.0])

    def clearance(a, b):
        t = np.clip(((point - a) * (b - a)).sum(-1) / ((b - a) ** 2).sum(-1), 0, 1)
        return np.linalg.norm(a + t[..., None] * (b - a) - point, axis=-1) - radius

    t = float((point - first) @ (second - first) / ((second - first) @ (second - first)))
    away = first + t * (second - first) - point
    n = away / np.linalg.norm(away)
    marks = (
        MarkInfluence(mark="c/0", gradient=(1 - t) / 2 * n),
        MarkInfluence(mark="c/0", gradient=(1 - t) / 2 * n),
        MarkInfluence(mark="c/1", gradient=t * n, seen="faint"),
    )
    value = float(clearance(first, second))
    found = budget(Reading(value=value, marks=marks, size_sd_mm=0.175), scale=NO_SCALE)
    values = clearance(
        first + rng.normal(0, 0.25, (DRAWS, 3)), second + rng.normal(0, 0.5, (DRAWS, 3))
    )
    values = values - rng.normal(0, 0.175, DRAWS)
    assert found.u == pytest.approx(values.std(), rel=0.03)


def test_monte_carlo_of_an_angle_between_a_line_of_two_marks_and_an_axis():
    rng = np.random.default_rng(13)
    first, second = np.array([0.0, 0.0, 0.0]), np.array([4.0, 1.0, -11.0])
    reading = turned_by((first, second), [0, 0, -1])
    assert reading.value == pytest.approx(angle_deg(second - first, [0, 0, -1]))
    found = budget(replace(reading, edge_sd_mm=()))
    lines = second - first + rng.normal(0, 0.25 * math.sqrt(2), (DRAWS, 3))
    values = np.degrees(np.arctan2(np.hypot(lines[:, 0], lines[:, 1]), -lines[:, 2]))
    assert found.u == pytest.approx(values.std(), rel=0.02)
