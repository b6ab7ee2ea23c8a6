"""The floor as a thin-plate surface, against SciPy's and by hand."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import RBFInterpolator
from scipy.spatial import Delaunay

from core.distances.floor_surface import FloorSurface


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
