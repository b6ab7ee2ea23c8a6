"""The kernels of distances, run as plain Python against SciPy and dense search."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from scipy.spatial.distance import cdist

from core.distances import plane_field_kernels, solid_kernels
from core.distances.solid import FixtureSolid
from core.fixture import Fixture, FixtureSize

SIZE = FixtureSize(
    diameter_mm=4.5, length_mm=8.0, platform_diameter_mm=4.2, apical_diameter_mm=3.2,
    taper_from_mm=4.0,
)  # fmt: skip
SOLID = FixtureSolid.of(
    Fixture(id="f", platform=(1, 2, 3), towards_apex=(0.2, -0.1, -1), size=SIZE)
)
OUTLINE, ORIGIN, AXIS = SOLID._placed
RNG = np.random.default_rng(5)


@pytest.fixture(autouse=True)
def plain(monkeypatch):
    """Every function by its own source."""
    for name in (
        "_nearest_piece", "_signed", "_distance", "distances", "least_at_poses", "contacts",
        "least_on_pieces",
    ):  # fmt: skip
        monkeypatch.setattr(solid_kernels, name, getattr(solid_kernels, name).py_func)


def dense():
    """Points of the outline, 0.005 mm apart, in the half-plane."""
    parts = []
    for a, b in pairwise(OUTLINE):
        n = max(2, int(np.linalg.norm(b - a) / 0.005))
        parts.append(a + np.linspace(0, 1, n)[:, None] * (b - a))
    return np.vstack(parts)


def half_plane(points):
    offset = points - ORIGIN
    depth = offset @ AXIS
    return np.stack([depth, np.linalg.norm(offset - depth[:, None] * AXIS, axis=1)], axis=1)


POINTS = np.vstack([ORIGIN + RNG.uniform(-9, 9, (60, 3)), ORIGIN + RNG.uniform(-2, 2, (30, 3))])


def brute(points):
    flat = half_plane(points)
    apart = cdist(flat, dense()).min(axis=1)
    radius = np.interp(flat[:, 0], *SOLID.profile.T)
    inside = (flat[:, 0] > 0) & (flat[:, 0] < 8.0) & (flat[:, 1] < radius)
    return np.where(inside, -apart, apart)


def test_signed_distances_against_a_dense_outline():
    found = solid_kernels.distances(OUTLINE, ORIGIN, AXIS, POINTS)
    assert (found < 0).any()
    assert found == pytest.approx(brute(POINTS), abs=0.003)


def test_contacts_lie_on_the_surface_along_the_way_out():
    side = SOLID._side
    distance, nearest, outward = solid_kernels.contacts(OUTLINE, ORIGIN, AXIS, side, POINTS)
    assert distance == pytest.approx(solid_kernels.distances(OUTLINE, ORIGIN, AXIS, POINTS))
    assert nearest + distance[:, None] * outward == pytest.approx(POINTS)
    assert np.linalg.norm(outward, axis=1) == pytest.approx(np.ones(len(POINTS)))
    assert solid_kernels.distances(OUTLINE, ORIGIN, AXIS, nearest) == pytest.approx(
        np.zeros(len(POINTS)), abs=1e-9
    )


def test_on_the_surface_the_normal_of_its_piece_and_on_the_axis_the_side_that_is_given():
    side = SOLID._side
    # Half way down the straight part, on the side: radius 2.25 at depth 2.
    on_side = ORIGIN + 2.0 * AXIS + 2.25 * side
    _, nearest, outward = solid_kernels.contacts(OUTLINE, ORIGIN, AXIS, side, on_side[None])
    assert outward[0] == pytest.approx(side)
    assert nearest[0] == pytest.approx(on_side)
    on_face = ORIGIN + 1.0 * side
    assert solid_kernels.contacts(OUTLINE, ORIGIN, AXIS, side, on_face[None])[2][0] == (
        pytest.approx(-AXIS)
    )
    below = ORIGIN + 10.0 * AXIS
    distance, nearest, outward = solid_kernels.contacts(OUTLINE, ORIGIN, AXIS, side, below[None])
    assert distance == pytest.approx([2.0])
    assert outward[0] == pytest.approx(AXIS)
    middle = ORIGIN + 4.0 * AXIS
    distance, nearest, outward = solid_kernels.contacts(OUTLINE, ORIGIN, AXIS, side, middle[None])
    assert distance[0] == pytest.approx(brute(middle[None])[0], abs=0.003)
    assert (nearest[0] - middle) @ side > 2.0


def test_the_least_over_poses_is_that_of_each():
    origins = np.add(ORIGIN, [(0, 0, 0), (1.0, 0, 0)])
    axes = np.array([AXIS, (0, 0, -1.0)])
    radii = RNG.uniform(0.2, 1.0, len(POINTS))
    found = solid_kernels.least_at_poses(OUTLINE, origins, axes, POINTS, radii)
    for n in range(2):
        each = solid_kernels.distances(OUTLINE, origins[n], axes[n], POINTS) - radii
        assert found[n] == pytest.approx(each.min())


def test_the_least_place_of_each_piece():
    ends = ORIGIN + np.array([(6.0, -5, -2), (5, 4, -9), (-4, 6, -3), (-6, 5, 2)])
    radii = np.array([1.0, 2.0, 0.5, 0.7])
    kept = np.array([0, 2, 1])
    found = solid_kernels.least_on_pieces(OUTLINE, ORIGIN, AXIS, ends, radii, kept)
    share = np.linspace(0, 1, 4001)
    for place, piece in zip(found, kept, strict=True):
        line = ends[piece] + share[:, None] * (ends[piece + 1] - ends[piece])
        radius = radii[piece] + share * (radii[piece + 1] - radii[piece])
        gap = solid_kernels.distances(OUTLINE, ORIGIN, AXIS, line) - radius
        assert place == pytest.approx(share[int(np.argmin(gap))], abs=5e-4)


class TestPlane:
    """A lattice 0.2 mm apart, lowered to balls as far as they reach."""

    U, V = np.linspace(-4, 4, 41), np.linspace(-3, 3, 31)

    def lowered(self, centres, radii, reach=2.0):
        field = np.full((31, 41), 50.0)
        plane_field_kernels.lower_to_balls.py_func(
            field, self.U, self.V, np.array(centres, float), np.array(radii, float), reach
        )
        return field

    @pytest.mark.parametrize(
        ("centre", "radius"),
        [((0, 0, 0), 1.0), ((1.23, -0.77, 1.5), 0.6), ((3.9, 2.9, 0.3), 1.0), ((-6, 0, 0), 1.5)],
    )
    def test_places_within_reach_and_no_others(self, centre, radius):
        uu, vv = np.meshgrid(self.U, self.V)
        off = np.stack([uu - centre[0], vv - centre[1], np.full(uu.shape, -float(centre[2]))])
        apart = np.linalg.norm(off, axis=0) - radius
        found = self.lowered([centre], [radius])
        near = apart < 2.0 - 1e-9
        assert near.any()
        assert found[near] == pytest.approx(apart[near])
        # A square around what is near is looked at; beyond it all is as it was.
        assert (found[apart > 2.0] > 2.0).all()
        half = np.sqrt((radius + 2.0) ** 2 - centre[2] ** 2)
        beyond = (np.abs(uu - centre[0]) > half) | (np.abs(vv - centre[1]) > half)
        assert (found[beyond] == 50.0).all()

    def test_the_nearest_of_several_counts_and_what_is_out_of_reach_nothing(self):
        one, two = self.lowered([(0, 0, 0)], [1.0]), self.lowered([(1, 0, 1)], [0.5])
        both = self.lowered([(0, 0, 0), (1, 0, 1)], [1.0, 0.5])
        assert both == pytest.approx(np.minimum(one, two))
        assert (self.lowered([(0, 0, 3.01)], [1.0]) == 50.0).all()
        assert (self.lowered([(0, 0, 0)], [-2.0]) == 50.0).all()
