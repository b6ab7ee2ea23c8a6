"""Clearances by hand, their derivatives, open ends, and what must always hold."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from core.distances.clearance import (
    clearance,
    first_hit_along_axis,
    foramen_zone,
    length_beyond_floor,
)
from core.fixture import Fixture, FixtureSize
from core.structures import Course, Floor, Foramen, PointMarks, Tapered
from core.trust.uncertainty import budget


@dataclass(frozen=True)
class Side:
    m: np.ndarray
    b: np.ndarray


MESIAL_Y = Side(np.array([0.0, 1.0, 0.0]), np.array([1.0, 0.0, 0.0]))
CYLINDER = FixtureSize(diameter_mm=4.0, length_mm=10.0)
TAPERED = FixtureSize(
    diameter_mm=4.5, length_mm=8.0, platform_diameter_mm=4.2, apical_diameter_mm=3.2,
    taper_from_mm=4.0,
)  # fmt: skip


def fixture(size=CYLINDER, *, platform=(0, 0, 0), towards_apex=(0, 0, -1)):
    return Fixture(id="36", tooth="36", platform=platform, towards_apex=towards_apex, size=size)


def straight_canal(*, depth=14.0, x=0.0, reach=20.0, step=4.0, diameter=3.0, ident="canal-left"):
    y = np.arange(-reach, reach + 1e-9, step)
    marks = np.column_stack([np.full_like(y, x), y, np.full_like(y, -depth)])
    return Course(id=ident, kind="canal", points=marks, diameter_mm=diameter)


def bowed_canal(seed=0, count=7):
    rng = np.random.default_rng(seed)
    y = np.linspace(-12, 12, count)
    marks = np.column_stack([2 + 0.02 * y**2, y, -12 + 0.03 * y]) + rng.normal(0, 0.3, (count, 3))
    return Course(id="canal-left", kind="canal", points=marks, diameter_mm=2.6)


def root(seed=0):
    rng = np.random.default_rng(seed)
    marks = np.array([[0, 7, 4.0], [0.3, 6.8, -3], [0.5, 6.0, -9], [1, 5.5, -12]])
    return Tapered(
        id="root-35", kind="root", tooth="35", points=marks + rng.normal(0, 0.2, (4, 3)),
        diameters_mm=(6.0, 2.5),
    )  # fmt: skip


def grid_floor(height, *, reach=9.0, ident="sinus-left"):
    ticks = np.linspace(-reach, reach, 5)
    marks = [(x, y, height(x, y)) for x in ticks for y in ticks]
    return Floor(id=ident, of="sinus", points=marks)


def bowl_floor():
    return grid_floor(lambda x, y: 12.5 + 0.03 * (x - 1) ** 2 + 0.02 * y**2 - 0.1 * x)


UPPER = fixture(TAPERED, towards_apex=(0.1, -0.05, 1))
FORAMEN = Foramen(id="foramen-left", mesial=(4.0, 9.0, -7.0), distal=(4.4, 6.0, -7.2))
MARK = PointMarks(id="mark-1", kind="mark", points=[(5, 1, -3), (0, 0, -30)])


class TestByHand:
    def test_canal_below_the_apex(self):
        reading = clearance(fixture(), straight_canal(), frame=MESIAL_Y)
        assert reading.value == pytest.approx(2.5, abs=1e-6)
        np.testing.assert_allclose(reading.witness[0][2], -10, atol=1e-6)
        np.testing.assert_allclose(reading.witness[1][2], -12.5, atol=1e-6)
        assert reading.along_mm == pytest.approx(2.5, abs=1e-6)
        assert reading.across_mm == pytest.approx(0, abs=1e-6)
        assert not reading.upper_bound
        assert not reading.notes

    @pytest.mark.parametrize("kind", ["canal", "loop", "vessel"])
    def test_a_diameter_that_is_only_stated_counts_as_read_off_a_picture(self, kind):
        typed = replace(straight_canal(), id=f"{kind}-left", kind=kind)
        assert clearance(fixture(), typed).size_sd_mm == pytest.approx(0.35 / 2)
        fitted = replace(typed, diameter_sd_mm=0.21)
        assert clearance(fixture(), fitted).size_sd_mm == pytest.approx(0.105)
        of_typed, of_fitted = (budget(clearance(fixture(), c)) for c in (typed, fitted))
        assert of_typed.u > of_fitted.u
        assert {t.name: t.u for t in of_typed.terms}["size"] == pytest.approx(0.175)

    def test_a_curve_without_thickness_has_no_doubt_of_its_thickness(self):
        thin = Course(id="vessel-1", kind="vessel", points=[(0, 0, -14), (0, 5, -14)])
        assert clearance(fixture(), thin).size_sd_mm == 0

    def test_canal_beside_and_below_is_measured_in_3d(self):
        # Edge of the apex at x = 2, canal's middle 3 mm aside and 4 mm below: 5 - 1.5.
        reading = clearance(fixture(), straight_canal(x=5.0, depth=14.0))
        assert reading.value == pytest.approx(3.5, abs=1e-6)
        assert reading.along_mm == pytest.approx(3.5 * 0.8, abs=1e-6)
        assert reading.across_mm == pytest.approx(3.5 * 0.6, abs=1e-6)

    def test_overlap_is_the_depth_of_the_deepest_ball(self):
        reading = clearance(fixture(), straight_canal(depth=9.5))
        assert reading.value == pytest.approx(-0.5 - 1.5, abs=1e-6)

    def test_a_canal_without_a_diameter_says_so_and_carries_its_doubt(self):
        course = replace(straight_canal(), diameter_mm=None)
        reading = clearance(fixture(), course)
        assert reading.value == pytest.approx(2.5, abs=1e-6)
        assert reading.size_sd_mm == pytest.approx(0.175)
        assert [note.code for note in reading.notes] == ["canal_diameter_assumed"]
        assert "3.0 mm is assumed" in reading.notes[0].message

    def test_a_given_course_is_used_instead_of_the_marks(self):
        course = replace(straight_canal(), course=[(0, -30, -13), (0, 30, -13)], course_by="hand")
        reading = clearance(fixture(), course)
        assert reading.value == pytest.approx(1.5, abs=1e-9)
        assert [m.mark for m in reading.marks] == ["canal-left/course"]
        np.testing.assert_allclose(reading.marks[0].gradient, [0, 0, -1], atol=1e-6)

    def test_foramen_is_the_ball_between_its_edges(self):
        foramen = Foramen(id="foramen-left", mesial=(6, 1.5, -5), distal=(6, -1.5, -5))
        assert clearance(fixture(), foramen).value == pytest.approx(2.5, abs=1e-9)

    def test_root_radius_is_linear_in_length(self):
        # 6 mm wide at the top, 2 mm at the apex; the wide end stands above the platform.
        tooth = Tapered(
            id="root-35", kind="root", points=[(0, 6, 0), (0, 6, -20)], diameters_mm=(6.0, 2.0)
        )
        # Least over t of 4 - r(t), at the level of the platform: 4 - 3.
        assert clearance(fixture(), tooth).value == pytest.approx(1.0, abs=1e-9)
        deeper = clearance(fixture(), tooth, part_mm=(5.0, 10.0))
        # At depth 5 r is 2.5; the ball a little higher is a little wider: its cone's slope is 0.1.
        places = np.linspace(0, 5, 500001)
        brute = (np.hypot(4.0, 5 - places) - (3.0 - 0.1 * places)).min()
        assert deeper.value == pytest.approx(brute, abs=1e-7)

    def test_a_mark_is_a_point_and_the_nearest_one_counts(self):
        reading = clearance(fixture(), MARK)
        assert reading.value == pytest.approx(np.hypot(5, 1) - 2, abs=1e-9)
        assert [m.mark for m in reading.marks] == ["mark-1/0"]

    def test_level_floor_above_an_upper_fixture(self):
        upper = fixture(towards_apex=(0, 0, 1))
        reading = clearance(upper, grid_floor(lambda x, y: 11.5), frame=MESIAL_Y)
        assert reading.value == pytest.approx(1.5, abs=5e-4)
        assert not reading.upper_bound
        crossed = clearance(upper, grid_floor(lambda x, y: 9.0), frame=MESIAL_Y)
        assert crossed.value == pytest.approx(-1.0, abs=5e-4)

    def test_a_fixture_that_lies_wholly_beyond_the_floor_is_negative(self):
        upper = fixture(towards_apex=(0, 0, 1))
        reading = clearance(upper, grid_floor(lambda x, y: -1.0))
        assert reading.value == pytest.approx(-1.0, abs=5e-4)
        assert "wholly_beyond_floor" in [note.code for note in reading.notes]

    def test_the_tip_takes_its_height(self):
        assert clearance(fixture(), straight_canal(), tip_mm=1.5).value == pytest.approx(
            1.0, abs=1e-6
        )

    def test_a_wide_platform_says_that_its_hull_is_used(self):
        wide = fixture(FixtureSize(diameter_mm=4.0, length_mm=10.0, platform_diameter_mm=5.0))
        assert "hull_used" in [n.code for n in clearance(wide, straight_canal()).notes]

    def test_floor_with_too_few_marks_is_not_assessed(self):
        for marks in ([(0, 0, 12), (5, 0, 12)], [(x, 0, 12) for x in range(5)]):
            reading = clearance(UPPER, Floor(id="s", of="sinus", points=marks))
            assert reading.value is None
            assert [note.code for note in reading.notes] == ["floor_too_few_marks"]


class TestMarginArithmetic:
    """Room that fixtures need between teeth: n d + 2 x 1.5 + (n - 1) x 3.

    Sources: 1.5 mm to a root, as in `core.plans.limits`; 3 mm between
    fixtures, Tarnow et al. 2000 (J Periodontol 71:546).
    """

    @staticmethod
    def teeth(gap):
        return [
            Tapered(
                id=f"root-{k}", kind="root", diameters_mm=(5.0, 5.0),
                points=[(0, side, 5), (0, side, -15)],
            )
            for k, side in enumerate((-gap / 2 - 2.5, gap / 2 + 2.5))
        ]  # fmt: skip

    def test_one_of_4_1_mm_needs_7_1(self):
        size = FixtureSize(diameter_mm=4.1, length_mm=10.0)
        for tooth in self.teeth(7.1):
            assert clearance(fixture(size), tooth).value == pytest.approx(1.5, abs=1e-9)

    def test_two_of_4_1_mm_need_14_2(self):
        from core.distances.fixture_pair import between_fixtures

        size = FixtureSize(diameter_mm=4.1, length_mm=10.0)
        pair = [fixture(size, platform=(0, y, 0)) for y in (-3.55, 3.55)]
        for one, tooth in zip(pair, self.teeth(14.2), strict=True):
            assert clearance(one, tooth).value == pytest.approx(1.5, abs=1e-9)
        assert between_fixtures(*pair).value == pytest.approx(3.0, abs=1e-3)

    def test_a_gap_of_6_mm_leaves_1_mm_beside_a_fixture_of_4(self):
        for tooth in self.teeth(6.0):
            assert clearance(fixture(), tooth).value == pytest.approx(1.0, abs=1e-9)


CASES = [
    pytest.param(fixture(TAPERED, towards_apex=(0.1, 0.2, -1)), bowed_canal(), id="canal"),
    pytest.param(fixture(TAPERED), root(), id="root"),
    pytest.param(fixture(TAPERED), FORAMEN, id="foramen"),
    pytest.param(fixture(TAPERED), MARK, id="mark"),
    pytest.param(UPPER, bowl_floor(), id="floor"),
    pytest.param(fixture(CYLINDER, platform=(0, 0, -4)), bowed_canal(), id="canal overlapped"),
]


class TestAlways:
    @given(st.sampled_from([c.values for c in CASES]), st.integers(0, 10**6))
    @settings(max_examples=25, deadline=None)
    def test_rigid_motion_changes_nothing(self, case, seed):
        one, structure = case
        rng = np.random.default_rng(seed)
        turn = Rotation.random(random_state=rng).as_matrix()
        shift = rng.uniform(-50, 50, 3)

        def moved(points):
            return np.asarray(points) @ turn.T + shift

        there = replace(one, platform=moved(one.platform), towards_apex=turn @ one.towards_apex)
        if isinstance(structure, Foramen):
            structure_there = replace(
                structure, mesial=moved(structure.mesial), distal=moved(structure.distal)
            )
        else:
            structure_there = replace(structure, points=moved(structure.points))
        assert clearance(there, structure_there).value == pytest.approx(
            clearance(one, structure).value, abs=5e-4
        )

    @given(
        st.sampled_from([c.values for c in CASES]),
        st.tuples(*[st.floats(-1.5, 1.5)] * 3).map(np.array),
    )
    @settings(max_examples=30, deadline=None)
    def test_moving_the_fixture_changes_the_value_by_no_more_than_the_way(self, case, shift):
        one, structure = case
        moved = clearance(replace(one, platform=one.platform + shift), structure)
        assume("wholly_beyond_floor" not in [n.code for n in moved.notes])
        change = abs(moved.value - clearance(one, structure).value)
        assert change <= np.linalg.norm(shift) + 5e-4

    @given(
        st.sampled_from([bowed_canal(s) for s in range(3)] + [root(), MARK, FORAMEN]),
        st.tuples(*[st.floats(-0.3, 0.3)] * 2),
        st.tuples(*[st.floats(-3, 3)] * 2),
    )
    @settings(max_examples=40, deadline=None)
    def test_shortest_is_never_longer_than_the_gap_along_the_axis(self, structure, tilt, place):
        one = fixture(TAPERED, platform=(*place, 0), towards_apex=(*tilt, -1))
        gap = first_hit_along_axis(one.apex, one.towards_apex, 1.6, structure)
        assume(gap.value is not None and gap.value >= 0)
        assert clearance(one, structure).value <= gap.value + 1e-6

    @given(st.tuples(*[st.floats(-0.3, 0.3)] * 2), st.tuples(*[st.floats(-3, 3)] * 2))
    @settings(max_examples=15, deadline=None)
    def test_shortest_is_never_longer_than_the_gap_to_a_floor(self, tilt, place):
        one = fixture(TAPERED, platform=(*place, 0), towards_apex=(*tilt, 1))
        gap = first_hit_along_axis(one.apex, one.towards_apex, 1.6, bowl_floor())
        assume(gap.value is not None and gap.value >= 0)
        assert clearance(one, bowl_floor()).value <= gap.value + 2e-3

    @pytest.mark.parametrize(("one", "structure"), CASES)
    def test_witness_points_are_as_far_apart_as_the_value(self, one, structure):
        reading = clearance(one, structure)
        way = reading.witness[1] - reading.witness[0]
        assert np.linalg.norm(way) == pytest.approx(abs(reading.value), abs=1e-3)
        assert np.hypot(reading.along_mm, reading.across_mm) == pytest.approx(
            abs(reading.value), abs=1e-3
        )

    @pytest.mark.parametrize(
        ("one", "structure", "tolerance"),
        [
            # A curve's knots and a floor's plane are laid anew when a mark moves; the derivatives
            # hold them. What that makes is bounded here, in mm of value per mm of mark.
            (*CASES[0].values, 0.02),
            (*CASES[1].values, 1e-4),
            (*CASES[2].values, 1e-4),
            (*CASES[3].values, 1e-4),
            (*CASES[4].values, 0.02),
            (*CASES[5].values, 0.02),
        ],
        ids=[c.id for c in CASES],
    )
    def test_derivatives_by_every_mark_against_finite_differences(self, one, structure, tolerance):
        step = 0.02
        floor = isinstance(structure, Floor)
        for influence in clearance(one, structure).marks:
            name = influence.mark.split("/")[1]
            if floor and np.abs(influence.gradient).max() < 0.05:
                continue
            for k in range(3):
                shift = np.eye(3)[k] * step
                values = []
                for sign in (1, -1):
                    if isinstance(structure, Foramen):
                        other = replace(
                            structure, **{name: getattr(structure, name) + sign * shift}
                        )
                    else:
                        marks = np.array(structure.points)
                        marks[int(name)] += sign * shift
                        other = replace(structure, points=marks)
                    values.append(clearance(one, other).value)
                difference = (values[0] - values[1]) / (2 * step)
                assert influence.gradient[k] == pytest.approx(difference, abs=tolerance)

    def test_beside_a_steep_floor_less_of_a_marks_shift_is_a_change_of_the_distance(self):
        # A vault: the fixture is nearest to a flank of 50 degrees, not to the floor under its tip.
        vault = grid_floor(lambda x, _: 16.0 - 0.13 * x**2)
        one = fixture(CYLINDER, platform=(3.0, 0.0, 0.0), towards_apex=(0, 0, 1))
        reading = clearance(one, vault)
        way = reading.witness[1] - reading.witness[0]
        assert abs(way[2]) < 0.85 * reading.value
        up = sum(influence.gradient for influence in reading.marks)[2]
        raised = [np.array(vault.points) + dz * np.eye(3)[2] for dz in (-0.05, 0.05)]
        lower, higher = (clearance(one, replace(vault, points=points)).value for points in raised)
        assert up == pytest.approx((higher - lower) / 0.1, abs=0.02)
        assert up == pytest.approx(way[2] / reading.value, abs=0.02)

    @pytest.mark.parametrize(("one", "structure"), CASES)
    def test_shifting_all_marks_together_is_shifting_the_fixture_back(self, one, structure):
        total = sum(m.gradient for m in clearance(one, structure).marks)
        step = 0.01
        for k in range(3):
            shift = np.eye(3)[k] * step
            ahead, back = (
                clearance(replace(one, platform=one.platform - sign * shift), structure).value
                for sign in (1, -1)
            )
            # In a floor's plane the shares of its marks carry its slope only roughly.
            assert total[k] == pytest.approx((ahead - back) / (2 * step), abs=0.03)


class TestOpenEnds:
    def test_a_canal_that_stops_at_the_fixture_is_an_upper_bound(self):
        course = Course(
            id="canal-left", kind="canal", diameter_mm=3.0,
            points=[(0, -20, -14), (0, -15, -14), (0, -10, -14), (0, -6, -14)],
        )  # fmt: skip
        reading = clearance(fixture(), course)
        assert reading.upper_bound
        assert reading.notes[0].code == "traced_too_short"

    @pytest.mark.parametrize(("reach", "is_open"), [(6.9, True), (7.1, False)])
    def test_marks_must_go_on_5_mm_beyond_the_fixture(self, reach, is_open):
        course = straight_canal(reach=reach, step=reach / 4)
        assert clearance(fixture(), course, frame=MESIAL_Y).upper_bound is is_open

    def test_an_end_in_the_foramen_is_no_open_end(self):
        course = Course(
            id="canal-left", kind="canal", diameter_mm=3.0,
            points=[(0, -20, -14), (0, -15, -14), (0, -10, -14), (0, -4, -13)],
        )  # fmt: skip
        foramen = Foramen(id="foramen-left", mesial=(0, 0, -13), distal=(0, -3, -13))
        assert clearance(fixture(), course, frame=MESIAL_Y).upper_bound
        assert not clearance(fixture(), course, frame=MESIAL_Y, others=[foramen]).upper_bound
        far = Foramen(id="foramen-left", mesial=(0, 30, -13), distal=(0, 27, -13))
        assert clearance(fixture(), course, frame=MESIAL_Y, others=[far]).upper_bound

    def test_a_single_mark_is_all_end(self):
        course = Course(id="canal-left", kind="canal", points=[(0, 0, -14)], diameter_mm=3.0)
        reading = clearance(fixture(), course)
        assert reading.value == pytest.approx(2.5, abs=1e-9)
        assert reading.upper_bound

    def test_a_vessel_across_the_jaw_needs_no_marks_along_it(self):
        def vessel(*points):
            return Course(id="vessel-1", kind="vessel", points=points, diameter_mm=1.0)

        across = vessel((-9, 0, -14), (9, 0, -14))
        assert not clearance(fixture(), across, frame=MESIAL_Y).upper_bound
        short = vessel((-9, 0, -14), (-4, 0, -14))
        assert clearance(fixture(), short, frame=MESIAL_Y).upper_bound

    @pytest.mark.parametrize("kind", ["loop", "vessel"])
    def test_a_nerve_or_vessel_without_a_diameter_is_only_an_upper_bound(self, kind):
        line = Course(id="x", kind=kind, points=[(-9, 0, -14), (9, 0, -14)])
        reading = clearance(fixture(), line, frame=MESIAL_Y)
        assert reading.upper_bound
        assert "no_diameter" in [note.code for note in reading.notes]

    def test_a_roots_apex_is_no_open_end_but_its_crown_end_is(self):
        above = Tapered(id="r", kind="root", points=[(0, 6, 5), (0, 4, 0.5)], diameters_mm=(5, 2))
        assert not clearance(fixture(), above).upper_bound
        below = Tapered(id="r", kind="root", points=[(0, 5, -3), (0, 8, -12)], diameters_mm=(5, 2))
        assert clearance(fixture(), below).upper_bound
        assert clearance(fixture(), below).notes[0].code == "root_traced_too_short"
        metal = replace(below, kind="existing")
        assert not clearance(fixture(), metal).upper_bound

    def test_a_floor_needs_four_marks_around_the_axis_and_marks_beyond(self):
        upper = fixture(towards_apex=(0, 0, 1))
        whole = grid_floor(lambda x, y: 12.0)
        assert not clearance(upper, whole, frame=MESIAL_Y).upper_bound
        marks = whole.points
        one_side = replace(whole, points=marks[marks[:, 0] > 1], seen=())
        assert clearance(upper, one_side, frame=MESIAL_Y).upper_bound
        sparse = replace(whole, points=marks[np.abs(marks[:, :2]).max(axis=1) > 5], seen=())
        assert clearance(upper, sparse, frame=MESIAL_Y).upper_bound
        narrow = replace(whole, points=marks[np.abs(marks[:, 1]) < 6.5], seen=())
        assert clearance(upper, narrow, frame=MESIAL_Y).upper_bound
        triangle = Floor(id="s", of="sinus", points=[(-30, -30, 12), (30, -30, 12), (0, 30, 12)])
        assert clearance(upper, triangle, frame=MESIAL_Y).upper_bound


class TestWideSpacing:
    @pytest.mark.parametrize(
        "structure",
        [
            Tapered(id="r", kind="existing", points=[(0, 6, 0), (0, 6, -9)], diameters_mm=(4, 4)),
            FORAMEN,
            MARK,
        ],
    )
    def test_what_is_no_curve_has_no_marks_that_stand_too_far_apart(self, structure):
        reading = clearance(fixture(), structure, frame=MESIAL_Y)
        assert not reading.notes
        assert reading.extra_placement_sd_mm == 0.0

    def test_wide_spacing_near_the_fixture_asks_for_a_mark_and_adds_doubt(self):
        near = clearance(fixture(), straight_canal(step=5.0))
        assert near.extra_placement_sd_mm == 0
        wide = clearance(fixture(), straight_canal(reach=24, step=8.0))
        assert "marks_far_apart" in [n.code for n in wide.notes]
        wider = clearance(fixture(), straight_canal(reach=25, step=10.0))
        # The middle of a span of 10 mm: 0.25 sqrt(2³ - 1).
        assert wider.extra_placement_sd_mm == pytest.approx(0.25 * np.sqrt(7), abs=1e-3)
        assert 0 < wide.extra_placement_sd_mm < wider.extra_placement_sd_mm

    def test_wide_spacing_far_away_does_not_matter(self):
        reading = clearance(fixture(), straight_canal(depth=30, step=10.0, reach=20))
        assert reading.extra_placement_sd_mm == 0
        assert not reading.notes


@dataclass(frozen=True)
class StraightArch:
    """An arch along +y: station = y + 50, travel +y."""

    def station(self, point):
        return float(point[1]) + 50

    def frame(self, station):
        @dataclass(frozen=True)
        class Frame:
            travel: np.ndarray

        return Frame(np.array([0.0, 1.0, 0.0]))


class TestForamenZone:
    def test_distance_along_the_arch_from_the_mesial_edge(self):
        foramen = Foramen(id="foramen-left", mesial=(3, -8, -9), distal=(3, -11, -9))
        reading = foramen_zone(fixture(), foramen, StraightArch())
        assert reading.value == pytest.approx(6.0, abs=1e-9)
        np.testing.assert_allclose(reading.marks[0].gradient, [0, -1, 0])

    def test_across_the_edge_is_zero_and_distal_of_it_the_rule_is_silent(self):
        across = Foramen(id="f", mesial=(3, 0, -9), distal=(3, -3, -9))
        assert foramen_zone(fixture(), across, StraightArch()).value == 0.0
        ahead = Foramen(id="f", mesial=(3, 8, -9), distal=(3, 5, -9))
        assert foramen_zone(fixture(), ahead, StraightArch()) is None

    def test_on_the_other_side_mesial_is_the_other_way(self):
        foramen = Foramen(id="f", mesial=(3, 8, -9), distal=(3, 11, -9))
        assert foramen_zone(fixture(), foramen, StraightArch()).value == pytest.approx(6.0)


@pytest.mark.parametrize("side", [1, -1])
def test_foramen_zone_along_a_curved_arch_against_many_surface_points(side):
    from core.arch import Arch
    from core.distances.solid import FixtureSolid
    from core.level import Level

    x = np.linspace(-25, 25, 11)
    arch = Arch.trace(
        np.column_stack([x, 0.06 * x**2, 0 * x]), level=Level(origin=[0] * 3, up=[0, 0, 1])
    )
    one = fixture(TAPERED, platform=(side * 11, 7.5, 0), towards_apex=(side * 0.2, -0.1, -1))
    foramen = Foramen(id="f", mesial=(side * 18, 20, -8), distal=(side * 20, 24, -8))
    solid = FixtureSolid.of(one)
    ways = np.random.default_rng(3).normal(size=(1500, 3))
    edge = arch.station(foramen.mesial)
    away = min(abs(arch.station(p) - edge) for p in solid.support(ways))
    reading = foramen_zone(one, foramen, arch)
    assert reading.value == pytest.approx(away, abs=0.02)
    assert reading.value <= away + 1e-6
    assert (
        foramen_zone(one, replace(foramen, mesial=(0, 0, -8), distal=(side * 3, 1, -8)), arch)
        is None
    )


def test_length_beyond_a_floor():
    upper = fixture(towards_apex=(0, 0, 1))
    assert length_beyond_floor(upper, grid_floor(lambda x, y: 7.0)).value == pytest.approx(
        3.0, abs=2e-3
    )
    assert length_beyond_floor(upper, grid_floor(lambda x, y: 12.0)).value == 0.0


def test_every_note_has_its_sentence():
    from core.words import code_rooms, sentence

    fields = {
        "id": "canal-left", "diameter": 3.0, "sd": 0.35, "side": "mesial", "marks": 3,
        "short": "2.4",
    }  # fmt: skip
    codes = [
        "canal_diameter_assumed", "marks_far_apart", "traced_too_short", "floor_marked_too_narrow",
        "floor_marks_round_axis", "floor_stops_short", "floor_nearest_at_rim",
        "marks_stop_near_fixture", "root_traced_too_short",
        "floor_too_few_marks", "wholly_beyond_floor", "hull_used", "no_such_part",
        "nothing_below_footprint", "loop_unknown",
    ]  # fmt: skip
    assert set(codes) <= set(code_rooms())
    assert all(sentence(code, fields).endswith(".") for code in codes)
