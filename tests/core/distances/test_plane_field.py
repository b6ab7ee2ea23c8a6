"""Distances on a picture's plane agree with distances in space, and stay near what is marked."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.distance import cdist

from core.distances.plane_field import Lattice, balls_of, distances_near
from core.geometry import PictureGrid, unit
from core.structures import Course, Floor, KnownObject, Tapered

CANAL = Course(
    id="c", kind="canal", points=[(-12, 2, -3), (-6, 0, 0), (7, 1, 2), (12, -2, 1)], diameter_mm=3.0
)
ROOT = Tapered(id="r", kind="root", points=[(1, 4, 8), (2, 5, -6)], diameters_mm=(6.0, 2.0))
FLOOR = Floor(id="f", of="sinus", points=[(x, y, 6 + 0.1 * x) for x in (-5, 5) for y in (-4, 6)])
REACH_MM = 3.5

turns = st.floats(-np.pi, np.pi, allow_nan=False)


def plane(turn: float, tilt: float, middle=(0.0, 0.0, 0.0)) -> PictureGrid:
    right = np.array([np.cos(turn), np.sin(turn), 0.0])
    up = unit(np.array([-np.sin(turn) * np.sin(tilt), np.cos(turn) * np.sin(tilt), np.cos(tilt)]))
    return PictureGrid.of_size(
        origin=middle, right=right, up=up, size_mm=(18.0, 14.0), pixel_mm=0.2
    )


@settings(max_examples=30)
@given(turns, turns, st.sampled_from([(CANAL,), (ROOT,), (FLOOR,), (CANAL, ROOT, FLOOR)]))
def test_distances_are_those_to_the_nearest_ball_in_space(turn, tilt, structures):
    grid = plane(turn, tilt)
    found = distances_near(structures, grid, REACH_MM)
    whole = Lattice.of(grid)
    expected = np.full(len(whole.u) * len(whole.v), np.inf)
    points = whole.points_mm(grid)
    for structure in structures:
        centres, radii = balls_of(structure)
        # SciPy, one distance after the other.
        expected = np.minimum(expected, (cdist(points, centres) - radii).min(axis=1))
    near = expected <= REACH_MM - 1e-9
    if found is None:
        assert not near.any()
        return
    lattice, field = found
    rows = np.searchsorted(whole.v, lattice.v[0] - 1e-9) + np.arange(len(lattice.v))
    cols = np.searchsorted(whole.u, lattice.u[0] - 1e-9) + np.arange(len(lattice.u))
    there = np.ix_(rows, cols)
    inside = np.zeros((len(whole.v), len(whole.u)), dtype=bool)
    inside[there] = True
    assert not near[~inside.ravel()].any()  # nothing near is left out
    true = expected.reshape(inside.shape)[there]
    assert field[true <= REACH_MM - 1e-9] == pytest.approx(true[true <= REACH_MM - 1e-9], abs=1e-9)
    assert (field[true > REACH_MM + 1e-9] > REACH_MM).all()


def test_a_picture_far_from_everything_has_no_distances():
    assert distances_near((CANAL, ROOT), plane(0.0, 0.0, (0.0, 40.0, 0.0)), REACH_MM) is None
    assert distances_near((), plane(0.0, 0.0), REACH_MM) is None


def test_a_floor_with_too_few_marks_is_near_nothing():
    floor = Floor(id="f", of="sinus", points=[(0, 0, 0), (1, 0, 0)])
    assert len(balls_of(floor)[0]) == 0
    assert distances_near((floor,), plane(0.0, 0.0), REACH_MM) is None


def test_an_object_of_known_size_is_near_nothing():
    known = KnownObject(id="k", points=[(0, 0, 0), (9, 0, 0)], size_mm=9.0)
    centres, radii = balls_of(known)
    assert (centres.shape, radii.shape) == ((0, 3), (0,))
    assert distances_near((known,), plane(0.0, 0.0), REACH_MM) is None
