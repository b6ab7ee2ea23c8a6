"""What blur takes off a curved surface: against spheres, cylinders and saddles."""

from __future__ import annotations

import numpy as np
import pytest

from core.bone.rounded import rounded_off

HALF_VARIANCE = 0.03
GRID = 0.4 * np.arange(-5, 6)


def surface(height, *, ways=(0.0, 0.0, 1.0)):
    """(11, 11) places of a surface over a lattice of 0.4 mm, rays coming down on it."""
    x, y = np.meshgrid(GRID, GRID, indexing="ij")
    points = np.stack([x, y, height(x, y)], axis=-1)
    return points, np.broadcast_to(np.asarray(ways), points.shape)


def shifts(points, ways, *, half=HALF_VARIANCE, reach=(4, 4), ring=False):
    return rounded_off(points, ways, np.full(points.shape[:2], half), reach, ring=ring)


@pytest.mark.parametrize(
    ("height", "bend"),
    [
        (lambda x, y: -(x**2 + y**2) / 12.0, 2 / 6.0),
        (lambda x, y: -(x**2) / 10.0 + 0 * y, 1 / 5.0),
        (lambda x, y: 0 * x - y**2 / 10.0, 1 / 5.0),
        (lambda x, y: (x**2 - y**2) / 8.0, 0.0),
        (lambda x, y: x * y / 3.0, 0.0),
        (lambda x, y: (x**2 + y**2) / 16.0, -2 / 8.0),
        (lambda x, y: 0 * x + 0 * y, 0.0),
    ],
    ids=["dome", "ridge", "other ridge", "saddle", "turned saddle", "hollow", "flat"],
)
def test_by_the_sum_of_its_curvatures(height, bend):
    shift, sd = shifts(*surface(height))
    assert shift[5, 5] == pytest.approx(HALF_VARIANCE * bend, abs=1e-9)
    assert sd[5, 5] == pytest.approx(0.8 * abs(HALF_VARIANCE * bend), abs=1e-9)


@pytest.mark.parametrize("lean", [(0.5, 0.0), (0.0, -0.7), (0.4, 0.6)])
def test_a_leaning_surface_is_met_further_off_along_the_ray(lean):
    """A cylinder of 6 mm around a leaning axis: 1 / 6 in all, seen along a slanting ray."""
    gradient = np.array(lean)
    axis = np.array([-gradient[1], gradient[0]]) / np.linalg.norm(gradient)
    normal = np.array([-gradient[0], -gradient[1], 1.0]) / np.sqrt(1 + gradient @ gradient)
    # Rays straight down: the cylinder touches the plane through the middle with this normal.
    axis = np.array([*axis, 0.0])
    across = np.cross(normal, axis)
    x, y = np.meshgrid(0.05 * GRID, 0.05 * GRID, indexing="ij")
    z = np.zeros_like(x)
    for _ in range(60):
        p = np.stack([x, y, z], axis=-1)
        a = p @ across
        drop = p @ normal - (np.sqrt(36.0 - a**2) - 6.0)
        z = z - drop / normal[2]
    points = np.stack([x, y, z], axis=-1)
    shift, _ = shifts(points, np.broadcast_to([0.0, 0.0, 1.0], points.shape))
    assert shift[5, 5] == pytest.approx(HALF_VARIANCE / 6.0 / normal[2], rel=2e-3)


def test_turned_in_space_it_is_the_same():
    points, ways = surface(lambda x, y: -(x**2) / 9.0 - y**2 / 14.0 + x * y / 20.0 + 0.2 * x)
    turn = np.linalg.qr(np.random.default_rng(3).normal(size=(3, 3)))[0]
    one, other = shifts(points, ways)[0], shifts(points @ turn.T + 5.0, ways @ turn.T)[0]
    assert other == pytest.approx(one, abs=1e-9)
    assert shifts(points[::-1], ways)[0][::-1] == pytest.approx(one, abs=1e-9)


def test_at_most_twelve_hundredths_and_three_times_that_where_it_leans():
    points, ways = surface(lambda x, y: -(x**2 + y**2) / 2.0)
    shift, _ = shifts(points, ways, half=0.5)
    assert shift[5, 5] == pytest.approx(0.12)
    hollow, _ = shifts(points * [1, 1, -1], ways, half=0.5)
    assert hollow[5, 5] == pytest.approx(-0.12)
    # A slope of 4, over which a ray runs sqrt(17) times as far.
    points, ways = surface(lambda x, y: 0.6 * x - y**2)
    steep, _ = shifts(points * [0.15, 1, 1], ways, half=9.0)
    assert steep[5, 5] == pytest.approx(3.0 * 0.12)


def test_places_further_off_than_the_patch_do_not_tell():
    points, ways = surface(lambda x, y: -(x**2 + y**2) / 12.0)
    x, y = np.meshgrid(GRID, GRID, indexing="ij")
    off = points.copy()
    off[..., 2] += np.where(np.hypot(x, y) > 1.61, 5.0, 0.0)
    assert shifts(off, ways)[0][5, 5] == pytest.approx(shifts(points, ways)[0][5, 5])
    # Nor those beyond the reach that is given.
    near = points.copy()
    near[:, [3, 7], 2] += 5.0
    narrow = shifts(near, ways, reach=(4, 1))[0][5, 5]
    assert narrow == pytest.approx(HALF_VARIANCE / 3.0, abs=1e-9)


@pytest.mark.parametrize(("count", "told"), [(7, False), (8, True)])
def test_eight_places_at_least(count, told):
    points, ways = surface(lambda x, y: -(x**2 + y**2) / 12.0)
    around = [(5, 5), (4, 5), (6, 5), (5, 4), (5, 6), (4, 4), (6, 6), (4, 6)][:count]
    few = np.full_like(points, np.nan)
    for at in around:
        few[at] = points[at]
    shift, sd = shifts(few, ways)
    assert bool(shift[5, 5] > 0.005) is told
    assert bool(sd[5, 5] > 0.004) is told
    assert shift[0, 0] == 0.0


def test_places_on_a_line_tell_nothing_of_what_lies_across_it():
    points, ways = surface(lambda x, y: -(x**2 + y**2) / 12.0)
    line = np.full_like(points, np.nan)
    line[5] = points[5]
    fine = points.copy()
    fine[..., 0] *= 1e-4
    assert not shifts(line, ways, reach=(0, 5))[0].any()
    assert not shifts(fine, ways)[0].any()


def test_round_a_ring_the_last_column_is_beside_the_first():
    """A cylinder of 5 mm met by rays from all around: 1 / 5 at each place."""
    turn = 2 * np.pi * np.arange(48) / 48
    ways = np.stack([np.cos(turn), np.sin(turn), 0 * turn], axis=-1)
    heights = 0.4 * np.arange(9)
    points = 5.0 * ways[None] + heights[:, None, None] * np.array([0.0, 0.0, 1.0])
    shift, _ = shifts(points, np.broadcast_to(ways, points.shape), reach=(4, 2), ring=True)
    assert shift == pytest.approx(np.full(shift.shape, HALF_VARIANCE / 5.0), rel=0.02)
    seam = shifts(points, np.broadcast_to(ways, points.shape), reach=(0, 2))[0]
    assert not seam.any(), "one row alone tells nothing"
