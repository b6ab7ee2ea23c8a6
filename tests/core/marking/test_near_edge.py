"""The edge nearest to a click, on blurred edges whose place is exact."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import ndtr

from core.image.volume import Volume
from core.marking.near_edge import edge_near

VOXEL, BLUR = 0.3, 0.25
RIGHT, UP = np.array([1.0, 0, 0]), np.array([0, 0, 1.0])


def scan(grey_at, *, noise=30.0):
    """A block of 12 mm around the origin."""
    rng = np.random.default_rng(3)
    n = 41
    k, j, i = np.indices((n, n, n))
    x, y, z = ((a - 20) * VOXEL for a in (i, j, k))
    grey = grey_at(x, y, z) + rng.normal(0.0, noise, (n, n, n))
    affine = np.diag([VOXEL, VOXEL, VOXEL, 1.0])
    affine[:3, 3] = -20 * VOXEL
    return Volume(
        voxels=np.rint(grey).astype(np.int16), mm_from_ijk=affine, made_up=np.zeros(n, bool)
    )


def step(off, low, high):
    return low + (high - low) * ndtr(off / BLUR)


TILT = np.radians(25.0)
NORMAL = np.array([np.sin(TILT), 0.0, np.cos(TILT)])


def gum(x, y, z):
    """Gum under air: the surface tilted by 25 degrees; bone 2 mm below it."""
    off = -(NORMAL[0] * x + NORMAL[2] * z)
    return step(off, -1000.0, 50.0) + step(off - 2.0, 0.0, 1400.0)


@pytest.mark.parametrize("off_mm", [-0.8, -0.4, 0.0, 0.5, 0.9])
def test_the_gums_surface_is_found_from_either_side(off_mm):
    click = off_mm * NORMAL + np.array([0.4, 0.0, 0.3])
    click = click - ((click - off_mm * NORMAL) @ NORMAL) * NORMAL
    edge = edge_near(scan(gum), click, RIGHT, UP)
    assert edge is not None
    assert abs(float(edge.point_mm @ NORMAL)) < 0.08
    assert edge.off_mm == pytest.approx(abs(off_mm), abs=0.12)
    assert abs(edge.point_mm[1]) < 1e-9, "in the picture's plane"


def test_a_thin_plate_is_met_on_its_outside():
    def plate(x, y, z):
        return 50.0 + step(-z, 0.0, 1400.0) - step(-z - 0.6, 0.0, 1100.0)

    edge = edge_near(scan(plate), np.array([0.3, 0.2, 0.6]), RIGHT, UP)
    assert edge is not None
    assert edge.point_mm[2] == pytest.approx(0.0, abs=0.12)


def test_a_round_contact_is_found_where_it_is_nearest():
    def tooth(x, y, z):
        return step(3.0 - np.hypot(x + 3.0, z), -1000.0, 2400.0)

    edge = edge_near(scan(tooth), np.array([0.7, 0.0, 0.5]), RIGHT, UP)
    assert edge is not None
    assert np.hypot(edge.point_mm[0] + 3.0, edge.point_mm[2]) == pytest.approx(3.0, abs=0.1)
    way = np.array([3.7, 0.5]) / np.hypot(3.7, 0.5)
    assert (edge.point_mm[[0, 2]] - [-3.0, 0.0]) @ way > 2.9


@pytest.mark.parametrize(
    ("why", "grey"),
    [
        ("soft tissue and its noise", lambda x, y, z: 50.0 + 0.0 * x),
        ("a slow change", lambda x, y, z: 60.0 * x),
        ("an edge too far away", lambda x, y, z: step(x - 2.6, 0.0, 1400.0)),
    ],
)
def test_where_no_edge_is_near_none_is_found(why, grey):
    assert edge_near(scan(grey), np.zeros(3), RIGHT, UP) is None, why


def test_beyond_the_scan_there_is_none():
    assert edge_near(scan(gum), np.array([0.0, 0.0, 5.5]), RIGHT, UP) is None
