"""The fixture as a solid: distances worked out by hand, and what must hold for every solid."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from core.distances.solid import FixtureSolid
from core.fixture import Fixture, FixtureSize

CYLINDER = FixtureSize(diameter_mm=4.0, length_mm=10.0)
TAPERED = FixtureSize(
    diameter_mm=4.5,
    length_mm=8.0,
    platform_diameter_mm=4.2,
    apical_diameter_mm=3.2,
    taper_from_mm=4.0,
)
WIDE_PLATFORM = FixtureSize(diameter_mm=4.0, length_mm=10.0, platform_diameter_mm=5.0)

coordinate = st.floats(-15, 15, allow_nan=False)
point = st.tuples(coordinate, coordinate, coordinate).map(np.array)
size = st.sampled_from([CYLINDER, TAPERED, WIDE_PLATFORM])
direction = (
    st.tuples(*[st.floats(-1, 1)] * 3).map(np.array).filter(lambda v: np.linalg.norm(v) > 0.1)
)


def solid(size=CYLINDER, *, platform=(0, 0, 0), towards_apex=(0, 0, -1)):
    return FixtureSolid.of(Fixture(id="f", platform=platform, towards_apex=towards_apex, size=size))


@pytest.mark.parametrize(
    ("place", "expected"),
    [
        ((5, 0, -5), 3.0),  # beside
        ((0, 0, -13), 3.0),  # below the apex, on the axis
        ((0, 0, 2), 2.0),  # above the platform
        ((5, 0, -14), 5.0),  # off the apical edge: 3-4-5
        ((0, 0, -9), -1.0),  # inside, near the apical face
        ((0, 0, -5), -2.0),  # inside, on the axis
        ((1.5, 0, -5), -0.5),  # inside, near the side
        ((2, 0, -5), 0.0),  # on the side
        ((0, 1.99, -5), -0.01),  # just inside the side
        ((1, 0, -0.01), -0.01),  # just inside the platform
        ((-1, 0, -9.99), -0.01),  # just inside the apex
    ],
)
def test_distances_to_a_cylinder_by_hand(place, expected):
    assert solid().signed_distance([place])[0] == pytest.approx(expected, abs=1e-12)


def test_tapered_side_by_hand():
    # The side from (4, 2.25) to (8, 1.6) in (depth, radius); 1 mm along its normal.
    normal = np.array([0.65, 4.0]) / np.hypot(0.65, 4.0)
    depth, radius = np.array([6.0, 1.925]) + normal
    assert solid(TAPERED).signed_distance([(radius, 0, -depth)])[0] == pytest.approx(1.0, abs=1e-12)


def test_a_platform_wider_than_the_body_is_taken_as_its_hull():
    # The hull runs straight from (0, 2.5) to (10, 2.0).
    body = solid(WIDE_PLATFORM)
    assert body.signed_distance([(2.25, 0, -5)])[0] == pytest.approx(0.0, abs=1e-12)
    assert (body.profile[:, 1] + 1e-12 >= WIDE_PLATFORM.radius_at(body.profile[:, 0])).all()


def test_tip_is_a_cone_on_the_apex():
    # 4 mm wide, 90 degrees: the cone is 2 mm high (h = (d/2)/tan(s/2)).
    body = solid().with_tip(2.0)
    assert body.signed_distance([(0, 0, -13)])[0] == pytest.approx(1.0, abs=1e-12)
    # One mm off the middle of the cone's side, along its normal (45 degrees).
    place = np.array([1.0, 0, -11.0]) + np.array([1, 0, -1]) / np.sqrt(2)
    assert body.signed_distance([place])[0] == pytest.approx(1.0, abs=1e-12)
    assert body.with_tip(0.0) is body
    with pytest.raises(ValueError, match="tip"):
        solid().with_tip(-0.1)


@pytest.mark.parametrize(
    ("diameter", "angle_deg", "height"),
    [(2.0, 90, 1.00), (2.0, 118, 0.60), (2.8, 120, 0.81), (3.5, 118, 1.05), (4.2, 140, 0.76)],
)
def test_tip_heights_reach_beyond_the_apex_by_the_tabled_height(diameter, angle_deg, height):
    """Heights of a conical drill point, h = (d/2)/tan(s/2): plain trigonometry, to 0.01 mm."""
    exact = diameter / 2 / np.tan(np.radians(angle_deg) / 2)
    assert exact == pytest.approx(height, abs=0.006)
    drill = solid(FixtureSize(diameter_mm=diameter, length_mm=10.0))
    place = [(0, 0, -15)]
    gained = drill.signed_distance(place)[0] - drill.with_tip(height).signed_distance(place)[0]
    assert gained == pytest.approx(height, abs=1e-9)


def test_a_part_lies_between_its_depths():
    part = solid(TAPERED).part(0.0, 2.0)
    assert part is not None
    assert part.signed_distance([(0, 0, -7)])[0] == pytest.approx(5.0, abs=1e-12)
    assert part.signed_distance([(3.25, 0, -1)])[0] == pytest.approx(1.0, abs=1e-12)
    assert solid(TAPERED).part(9.0, 12.0) is None


@given(size, point, point, st.floats(0, 1))
def test_signed_distance_is_convex_and_never_faster_than_the_way(size, p, q, share):
    body = solid(size)
    at_p, at_q, between = body.signed_distance([p, q, p + share * (q - p)])
    assert between <= (1 - share) * at_p + share * at_q + 1e-9
    assert abs(at_p - at_q) <= np.linalg.norm(p - q) + 1e-9


@given(size, point, direction)
def test_nearest_point_lies_on_the_surface_along_the_outward_direction(size, p, axis):
    body = solid(size, platform=(1, 2, 3), towards_apex=axis)
    distance, nearest, outward = body.contact([p])
    assert np.linalg.norm(outward[0]) == pytest.approx(1.0, abs=1e-9)
    np.testing.assert_allclose(nearest[0] + distance[0] * outward[0], p, atol=1e-8)
    assert body.signed_distance(nearest)[0] == pytest.approx(0.0, abs=1e-8)
    np.testing.assert_allclose(body.nearest(p), nearest[0])


@given(size, point, direction, direction)
@settings(max_examples=50)
def test_rigid_motion_changes_nothing(size, p, axis, shift):
    from scipy.spatial.transform import Rotation

    turn = Rotation.from_rotvec(shift * 2).as_matrix()
    here = solid(size, towards_apex=axis).signed_distance([p])
    there = solid(size, platform=shift, towards_apex=turn @ axis).signed_distance(
        [turn @ p + shift]
    )
    np.testing.assert_allclose(here, there, atol=1e-9)


@given(
    size, st.lists(st.tuples(point, direction), min_size=1, max_size=4), st.lists(point, min_size=1)
)
def test_the_least_at_many_poses_is_that_of_each_solid_put_there(size, poses, places):
    places = np.array(places)
    radii = np.linspace(0.0, 1.5, len(places))
    placed = [solid(size, platform=at, towards_apex=axis) for at, axis in poses]
    found = solid(size).least_at_poses(
        np.array([p.origin for p in placed]), np.array([p.axis for p in placed]), places, radii
    )
    alone = [float((p.signed_distance(places) - radii).min()) for p in placed]
    np.testing.assert_allclose(found, alone, rtol=0, atol=1e-12)


@given(size, direction, direction)
def test_support_is_the_furthest_surface_point(size, axis, way):
    body = solid(size, towards_apex=axis)
    furthest = body.support(way)[0]
    assert body.signed_distance([furthest])[0] == pytest.approx(0.0, abs=1e-9)
    beyond = furthest + 3 * way / np.linalg.norm(way)
    assert body.signed_distance([beyond])[0] == pytest.approx(3.0, abs=1e-9)
