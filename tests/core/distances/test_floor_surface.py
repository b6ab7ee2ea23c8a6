"""The floor as a thin-plate surface, against SciPy's and by hand."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import RBFInterpolator
from scipy.spatial import ConvexHull, Delaunay

from core.distances.floor_surface import FloorSurface
from core.geometry import unit


def marks(seed=0, count=14):
    rng = np.random.default_rng(seed)
    xy = rng.uniform(-10, 10, (count, 2))
    return np.column_stack(
        [xy, 0.03 * xy[:, 0] ** 2 - 0.02 * xy[:, 1] ** 2 + rng.normal(0, 0.3, count)]
    )


def test_same_surface_as_scipys_thin_plate_interpolator():
    """Reference: scipy.interpolate.RBFInterpolator, kernel thin_plate_spline, degree 1."""
    surface = FloorSurface.through(marks())
    scipys = RBFInterpolator(
        surface.marks_uv, surface.heights, kernel="thin_plate_spline", degree=1
    )
    places = np.random.default_rng(1).uniform(-10, 10, (200, 2))
    ours = (surface.at(places) - surface.centre) @ surface.frame[2]
    np.testing.assert_allclose(ours, scipys(places), atol=1e-8)
    np.testing.assert_allclose(surface.weights(places) @ surface.heights, ours, atol=1e-8)


def test_passes_through_its_marks_and_shares_sum_to_one():
    points = marks()
    surface = FloorSurface.through(points)
    np.testing.assert_allclose(surface.at(surface.marks_uv), points, atol=1e-8)
    np.testing.assert_allclose(surface.weights(np.array([[1.0, 2.0]])).sum(), 1.0, atol=1e-9)


def test_three_marks_give_the_triangle():
    corners = np.array([[0, 0, 1.0], [9, 0, 2], [0, 9, 4]])
    surface = FloorSurface.through(corners)
    share = np.array([0.2, 0.3, 0.5])
    place = share @ surface.marks_uv
    np.testing.assert_allclose(surface.at(place[None])[0], share @ corners, atol=1e-9)


def test_a_bowl_is_not_over_read_as_triangles_would():
    ticks = np.linspace(-8, 8, 5)
    points = np.array([(x, y, 0.04 * (x * x + y * y)) for x in ticks for y in ticks])
    surface = FloorSurface.through(points)
    foot, height = surface.foot(np.array([2.0, 2.0, 0.04 * 8]))
    # The bowl itself at the middle of four marks; flat pieces there are 0.32 mm off.
    assert abs(height) < 0.05
    assert surface.inside_rim_mm(foot) > 5


@pytest.mark.parametrize(
    "points",
    [
        [(0, 0, 0), (5, 0, 0)],
        [(0, 0, 0), (5, 0, 0), (10, 0.01, 0)],
        [(0, 0, 0), (5, 0, 0), (0, 5, 0), (5, 0.01, 0.3)],
    ],
)
def test_marks_that_span_no_surface(points):
    assert FloorSurface.through(np.array(points, dtype=float)) is None


@pytest.mark.parametrize("seed", range(6))
def test_least_over_the_surface_against_a_dense_grid(seed):
    """A wavy function of the point: the least place is found, not a neighbour's."""
    surface = FloorSurface.through(marks(seed))
    target = np.random.default_rng(seed).uniform(-8, 8, 3)

    def value(points):
        return np.linalg.norm(points - target, axis=1)

    def bound(corners, sag):
        middle = corners.mean(axis=1)
        reach = np.linalg.norm(corners - middle[:, None], axis=2).max(axis=1)
        return value(middle) - reach - sag

    least, place = surface.least(value, bound, tolerance_mm=1e-3)
    axis = np.linspace(-12, 12, 241)
    grid = np.stack(np.meshgrid(axis, axis), axis=-1).reshape(-1, 2)
    grid = grid[Delaunay(surface.marks_uv).find_simplex(grid) >= 0]
    dense = value(surface.at(grid))
    assert least <= dense.min() + 1e-3
    assert least == pytest.approx(dense.min(), abs=0.05)
    assert value(surface.at(place[None]))[0] == pytest.approx(least, abs=1e-9)


def sloping(seed=2, count=9, slope=(0.3, -0.2)):
    """Marks on the plane z = 5 + slope · (x, y), and that plane's unit normal."""
    xy = np.random.default_rng(seed).uniform(-8, 8, (count, 2))
    return np.column_stack([xy, 5 + xy @ slope]), unit((-slope[0], -slope[1], 1.0))


def test_a_plane_through_its_marks_has_its_normal_foot_and_height():
    points, normal = sloping()
    surface = FloorSurface.through(points)
    sense = np.sign(surface.frame[2] @ normal)
    for place in ([0.0, 0.0], [3.0, -2.0]):
        assert surface.normal(np.array(place)) == pytest.approx(sense * normal, abs=1e-7)
    on_plane = np.array([2.0, 1.0, 5 + 0.6 - 0.2])
    foot, height = surface.foot(on_plane + 1.5 * normal)
    assert height == pytest.approx(sense * 1.5, abs=1e-9)
    assert surface.at(foot[None])[0] == pytest.approx(on_plane, abs=1e-9)
    assert surface.mark_directions() == pytest.approx(np.tile(sense * normal, (9, 1)), abs=1e-7)


def test_the_normal_of_a_curved_one_is_that_of_its_tangents():
    surface = FloorSurface.through(marks(3))
    step = 1e-5
    for place in np.random.default_rng(4).uniform(-5, 5, (6, 2)):
        tangents = [
            surface.at(np.array([place + step * way]))[0]
            - surface.at(np.array([place - step * way]))[0]
            for way in np.eye(2)
        ]
        across = unit(np.cross(*tangents))
        across = across * np.sign(across @ surface.frame[2])
        assert surface.normal(place) == pytest.approx(across, abs=1e-6)


def test_how_far_inside_the_rim_of_a_square():
    square = [(x, y, 0.01 * x * y) for x in (-6.0, 6.0) for y in (-4.0, 4.0)]
    surface = FloorSurface.through(np.array(square))
    for point, expected in (((0, 0), 4.0), ((5, 0), 1.0), ((0, -3.5), 0.5), ((7, 0), -1.0)):
        foot, _ = surface.foot(np.array([*point, 0.0]))
        assert surface.inside_rim_mm(foot) == pytest.approx(expected, abs=1e-3)


def test_samples_cover_the_bounded_surface_and_hold_its_marks():
    points, normal = sloping()
    surface = FloorSurface.through(points)
    found = surface.samples(0.5)
    assert (found - points.mean(axis=0)) @ normal == pytest.approx(np.zeros(len(found)), abs=1e-9)
    assert found[-len(points) :] == pytest.approx(points, abs=1e-9)
    places = (found - surface.centre) @ surface.frame[:2].T
    assert min(surface.inside_rim_mm(place) for place in places) > -1e-9
    area = 0.25 * (len(found) - len(points))
    hull = ConvexHull(surface.marks_uv)
    assert area == pytest.approx(hull.volume, rel=0.05)


@pytest.mark.parametrize(("apart", "lies"), [(0.06, True), (0.04, False)])
def test_marks_that_a_surface_can_tell_apart(apart, lies):
    points = np.array([(0, 0, 0), (9, 0, 0), (0, 9, 0), (9, 9, 0), (9, 9 - apart, 0.0)])
    assert (FloorSurface.through(points) is not None) is lies


@pytest.mark.parametrize(("aside", "lies"), [(0.22, True), (0.20, False)])
def test_three_marks_nearly_on_one_line(aside, lies):
    """One at `aside` from the line of two: they spread by aside sqrt(2/3), against 0.1 sqrt(3)."""
    points = np.array([(0, 0, 0), (12, 0, 0), (6, aside * 0.6, aside * 0.8)])
    assert (FloorSurface.through(points) is not None) is lies
