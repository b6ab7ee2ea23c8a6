"""Placement by hand: the least clearance over the poses of a published series."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import sample_volumes
from core import load_plan
from core.arch import fixture_frame
from core.distances.freehand import (
    FREE_HAND,
    FULL_GUIDE,
    PILOT_GUIDE,
    _inside,
    _placed,
    least_clearance,
)
from core.distances.solid import FixtureSolid
from core.fixture import Fixture, FixtureSize
from core.measuring.basis import settled_arch
from core.measuring.rows_danger import ball_cloud
from core.structures import Course, Floor, Foramen

BUCCAL = np.array([1.0, 0.0, 0.0])
FIXTURE = Fixture(
    id="36",
    tooth="36",
    platform=np.array([24.0, 3.0, 1.0]),
    towards_apex=np.array([0.0, 0.0, -1.0]),
    size=FixtureSize(diameter_mm=4.0, length_mm=10.0),
)
COUNTED = {"n": 0}


def of_each(clearance):
    """A clearance of one fixture, asked of many poses."""

    def clearances_at(platforms, axes):
        poses = zip(platforms, axes, strict=True)
        return np.array([clearance(replace(FIXTURE, platform=p, towards_apex=a)) for p, a in poses])

    return clearances_at


def to_point(target):
    """Clearance of a thin rod of the fixture's length to a point."""
    target = np.asarray(target, dtype=float)

    def clearance(fixture: Fixture) -> float:
        COUNTED["n"] += 1
        depth = float(np.clip((target - fixture.platform) @ fixture.towards_apex, 0, 10.0))
        return float(np.linalg.norm(fixture.on_axis(depth) - target)) - 2.0

    return clearance


def test_published_means():
    # Schnutenhaus et al. 2021, Dent J 9:54: MD 0.87, BL 0.70, apico-coronal 0.95, 8.7 deg.
    assert (FREE_HAND.deeper_mm, FREE_HAND.mesiodistal_mm) == (0.95, 0.87)
    assert (FREE_HAND.buccolingual_mm, FREE_HAND.tilt_deg) == (0.70, 8.7)
    # The three together stay within the 3D deviation that the same series gives, 1.62 mm.
    assert math.hypot(0.95, 0.87, 0.70) < 1.62
    # Tahmaseb et al. 2018: 1.2 mm at the entry point, 3.5 deg.
    assert (FULL_GUIDE.deeper_mm, FULL_GUIDE.tilt_deg) == (1.2, 3.5)
    assert not FULL_GUIDE.together
    assert PILOT_GUIDE.tilt_deg == 7.79


def test_straight_below_the_apex_only_depth_counts():
    # A plane below the apex: the deepest point comes nearer by the depth deviation alone.
    def plane(fixture):
        return float(fixture.apex[2] - (1.0 - 10.0 - 3.0))

    found = least_clearance(FIXTURE, FREE_HAND, buccal=BUCCAL, clearances_at=of_each(plane))
    assert found.clearance_mm == pytest.approx(3.0 - 0.95)


def test_beside_the_apex_shift_and_tilt_add_up():
    # A wall on the buccal side: 0.70 mm of shift and 10 mm x sin 8.7 deg of tilt.
    def wall(fixture):
        return float(24.0 + 6.0 - fixture.apex[0])

    found = least_clearance(FIXTURE, FREE_HAND, buccal=BUCCAL, clearances_at=of_each(wall))
    assert found.clearance_mm == pytest.approx(6.0 - 0.70 - 10 * math.sin(math.radians(8.7)))

    def mesial_wall(fixture):
        return float(3.0 + 6.0 - fixture.apex[1])

    found = least_clearance(FIXTURE, FREE_HAND, buccal=BUCCAL, clearances_at=of_each(mesial_wall))
    assert found.clearance_mm == pytest.approx(6.0 - 0.87 - 10 * math.sin(math.radians(8.7)))


def test_a_guide_keeps_its_one_deviation_within_its_length():
    def wall(fixture):
        return float(np.array([1.0, 1.0, -1.0]) @ (np.array([34.0, 13.0, -9.0]) - fixture.platform))

    found = least_clearance(FIXTURE, FULL_GUIDE, buccal=BUCCAL, clearances_at=of_each(wall))
    moved = np.linalg.norm(found.fixture.platform - FIXTURE.platform)
    assert moved == pytest.approx(1.2, abs=1e-6)


def test_what_lies_between_the_extremes_is_found():
    # Straight buccal of the platform: the nearest pose has no mesial shift, so it is no corner of
    # the box; the axis leans towards the point, which is then 4.3 cos 8.7 deg away.
    target = [24.0 + 5.0, 3.0, 1.0]
    found = least_clearance(
        FIXTURE, FREE_HAND, buccal=BUCCAL, clearances_at=of_each(to_point(target))
    )
    assert found.clearance_mm == pytest.approx(
        (5.0 - 0.70) * math.cos(math.radians(8.7)) - 2.0, abs=1e-3
    )


@settings(max_examples=25)
@given(
    st.floats(-9, 9),
    st.floats(-9, 9),
    st.floats(-15, 3),
    st.sampled_from([FREE_HAND, PILOT_GUIDE, FULL_GUIDE]),
)
def test_never_above_the_plan_and_near_the_least_of_random_poses(x, y, z, series):
    target = FIXTURE.platform + np.array([x, y, z])
    clearance = to_point(target)
    found = least_clearance(FIXTURE, series, buccal=BUCCAL, clearances_at=of_each(clearance))
    assert found.clearance_mm <= clearance(FIXTURE)
    assert found.clearance_mm == pytest.approx(clearance(found.fixture), abs=1e-12)
    rng = np.random.default_rng(3)
    for _ in range(300):
        shift = rng.uniform((0, -1, -1), 1)
        if not series.together:
            shift /= max(1.0, np.linalg.norm(shift))
        turn, tilt = rng.uniform(0, 2 * np.pi), math.radians(series.tilt_deg) * rng.uniform()
        moved = Fixture(
            id="m",
            platform=FIXTURE.platform
            + np.array([0, 0, -1.0]) * shift[0] * series.deeper_mm
            + np.array([0, 1.0, 0]) * shift[1] * series.mesiodistal_mm
            + BUCCAL * shift[2] * series.buccolingual_mm,
            towards_apex=[
                math.sin(tilt) * math.cos(turn),
                math.sin(tilt) * math.sin(turn),
                -math.cos(tilt),
            ],
            size=FIXTURE.size,
        )
        assert found.clearance_mm <= clearance(moved) + 0.05


def test_few_enough_poses_to_be_quick():
    COUNTED["n"] = 0
    least_clearance(
        FIXTURE, FREE_HAND, buccal=BUCCAL, clearances_at=of_each(to_point([27.0, 6.0, -10.0]))
    )
    assert COUNTED["n"] < 260


@pytest.mark.parametrize("series", [FREE_HAND, PILOT_GUIDE, FULL_GUIDE])
@pytest.mark.parametrize("name", ["lower_left_36", "upper_right_15"])
def test_no_place_of_a_sample_makes_the_search_creep(name, series):
    """Poses were once tried by the ten thousand where the least lies on the rim of the tilts."""
    plan = load_plan(sample_volumes.path(f"{name}.plan.json"))
    arch = settled_arch(plan)
    # The first place is one at which the search crept.
    for way in ([0.4, 0.2, -0.3], [-0.5, 0.1, 0.2], [0.1, -0.6, 0.4]):
        fixture = replace(plan.fixtures[0], platform=plan.fixtures[0].platform + np.array(way))
        for structure in plan.structures:
            if not isinstance(structure, Course | Foramen | Floor):
                continue
            centres, radii = ball_cloud(structure, around=fixture.platform)
            if len(centres) == 0:
                continue
            solid, tried = FixtureSolid.of(fixture), []

            def at(platforms, axes, solid=solid, centres=centres, radii=radii, tried=tried):
                tried.append(len(platforms))
                return solid.least_at_poses(platforms, axes, centres, radii)

            buccal = fixture_frame(fixture, arch).b
            least_clearance(fixture, series, buccal=buccal, clearances_at=at)
            assert sum(tried) < 800, structure.id


class TestPoses:
    """Poses as parts of the full deviations: what brings them back in, and where they lie."""

    M = np.array([0.0, 1.0, 0.0])

    def test_each_part_is_held_within_its_bounds_and_a_tilt_within_the_whole(self):
        poses = np.array(
            [(-0.2, -1.5, 1.5, 0, 0), (1.2, 0.5, -0.5, 0.6, 0.8), (0.5, -0.7, 0, 1.0, -1.0),
             (0, 0, 0, 2.0, 0.5), (0.3, 0.2, -0.1, 0.3, -0.4)]
        )  # fmt: skip
        root = math.sqrt(0.5)
        expected = np.array(
            [(0, -1, 1, 0, 0), (1, 0.5, -0.5, 0.6, 0.8), (0.5, -0.7, 0, root, -root),
             (0, 0, 0, 1 / math.hypot(1, 0.5), 0.5 / math.hypot(1, 0.5)),
             (0.3, 0.2, -0.1, 0.3, -0.4)]
        )  # fmt: skip
        assert _inside(poses) == pytest.approx(expected)

    @pytest.mark.parametrize("part", [0.25, 0.5, 1.0])
    @pytest.mark.parametrize("turn", [0.0, 1.1, 4.0])
    def test_a_part_of_the_tilt_turns_the_axis_by_that_part(self, part, turn):
        pose = np.array([(0, 0, 0, part * math.cos(turn), part * math.sin(turn))])
        platforms, axes = _placed(FIXTURE, FREE_HAND, BUCCAL, self.M, pose)
        angle = math.radians(8.7 * part)
        way = math.cos(turn) * BUCCAL + math.sin(turn) * self.M
        assert platforms[0] == pytest.approx(FIXTURE.platform)
        assert axes[0] == pytest.approx(math.cos(angle) * FIXTURE.towards_apex
                                        + math.sin(angle) * way)  # fmt: skip

    def test_shifts_are_parts_of_each_mean_and_of_one_length_where_they_are_one_deviation(self):
        poses = np.array([(1.0, 0.5, -1.0, 0, 0)])
        platforms, axes = _placed(FIXTURE, FREE_HAND, BUCCAL, self.M, poses)
        assert platforms[0] - FIXTURE.platform == pytest.approx([-0.70, 0.435, -0.95])
        assert axes[0] == pytest.approx([0, 0, -1])
        platforms, _ = _placed(FIXTURE, FULL_GUIDE, BUCCAL, self.M, poses)
        assert platforms[0] - FIXTURE.platform == pytest.approx(
            1.2 / 1.5 * np.array([-1.0, 0.5, -1.0])
        )
        small = np.array([(0.3, 0.2, 0.1, 0, 0)])
        platforms, _ = _placed(FIXTURE, FULL_GUIDE, BUCCAL, self.M, small)
        assert platforms[0] - FIXTURE.platform == pytest.approx([0.12, 0.24, -0.36])
