from __future__ import annotations

import subprocess
import sys

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from core.geometry import PictureGrid
from core.image import sampling
from core.image.volume import Volume
from tests.watchdog import PATIENCE


def affine(seed=0, spacing=(0.3, 0.25, 0.4), shear=0.0):
    matrix = np.eye(4)
    matrix[:3, :3] = Rotation.random(random_state=seed).as_matrix() @ np.diag(spacing)
    matrix[:3, 2] += shear * matrix[:3, 1]
    matrix[:3, 3] = (-20, 11, 5)
    return matrix


def volume(dtype=np.int16, shape=(7, 8, 9), seed=0, **more):
    rng = np.random.default_rng(seed)
    low, high = (0, 4000) if dtype == np.uint16 else (-1000, 3000)
    voxels = rng.integers(low, high, shape).astype(dtype)
    made = {"mm_from_ijk": affine(seed), "made_up": np.zeros(shape[0], bool), "slope": 1.5}
    return Volume(voxels=voxels, **(made | {"intercept": -100.0} | more))


def naive(vol, ijk):
    """One sample at a time, straight from the definition."""
    nk, nj, ni = vol.shape
    out = np.empty(len(ijk))
    for n, (x, y, z) in enumerate(ijk):
        limits = ((x, ni), (y, nj), (z, nk))
        if not all(-1e-6 <= c <= size - 1 + 1e-6 for c, size in limits):
            out[n] = np.nan
            continue
        total = 0.0
        for dk in (0, 1):
            for dj in (0, 1):
                for di in (0, 1):
                    cell = [min(int(np.floor(max(c, 0))), size - 2) for c, size in limits]
                    weight = 1.0
                    for c, base, d in zip((x, y, z), cell, (di, dj, dk), strict=True):
                        share = min(max(c - base, 0.0), 1.0)
                        weight *= share if d else 1 - share
                    i, j, k = cell[0] + di, cell[1] + dj, cell[2] + dk
                    value = float(vol.voxels[k, j, i])
                    if weight > 0:
                        if vol.padding and vol.padding[0] <= value <= vol.padding[1]:
                            total = np.nan
                        if vol.field is not None and not vol.field[j, i]:
                            total = np.nan
                    total += weight * value
        out[n] = total * vol.slope + vol.intercept
    return out


def cloud(vol, count=400, seed=1, margin=1.0):
    """Voxel places inside and a little outside."""
    rng = np.random.default_rng(seed)
    return rng.uniform(-margin, np.array(vol.shape[::-1]) - 1 + margin, (count, 3))


@pytest.mark.parametrize("dtype", [np.int16, np.uint16, np.int32, np.float32])
def test_points_against_the_definition(dtype):
    vol = volume(dtype)
    ijk = cloud(vol)
    expected = naive(vol, ijk)
    assert 0 < np.isnan(expected).sum() < len(ijk)
    assert sampling.at_points(vol, vol.mm(ijk)) == pytest.approx(expected, abs=0.01, nan_ok=True)


@pytest.mark.parametrize("seed", range(3))
def test_padding_and_field_against_the_definition(seed):
    rng = np.random.default_rng(seed)
    vol = volume(seed=seed)
    voxels = vol.voxels.copy()
    voxels[rng.random(vol.shape) < 0.02] = -2000
    voxels[rng.random(vol.shape) < 0.02] = -1990
    field = (rng.random(vol.shape[1:]) > 0.05).astype(np.uint8)
    for more in (
        {"padding": (-2000, -1990)},
        {"field": field},
        {"padding": (-2000, -1990), "field": field},
    ):
        holed = volume(seed=seed, **more)
        holed = Volume(
            voxels=voxels,
            mm_from_ijk=holed.mm_from_ijk,
            slope=1.5,
            intercept=-100,
            made_up=holed.made_up,
            **more,
        )
        ijk = cloud(holed, 600, margin=0.3)
        expected = naive(holed, ijk)
        assert 50 < np.isnan(expected).sum() < 550
        found = sampling.at_points(holed, holed.mm(ijk))
        assert found == pytest.approx(expected, abs=0.01, nan_ok=True)


def test_padding_is_an_inclusive_range():
    voxels = np.zeros((2, 2, 4), np.int16)
    voxels[:, :, 2] = 10
    points = [(0.5, 0, 0), (1.5, 0, 0)]
    for padding, scanned in (((10, 12), False), ((8, 10), False), ((11, 12), True), ((8, 9), True)):
        vol = Volume(
            voxels=voxels, mm_from_ijk=np.eye(4), made_up=np.zeros(2, bool), padding=padding
        )
        assert np.isfinite(vol.grey_at(points)).tolist() == [True, scanned]


def test_a_neighbour_without_weight_does_not_count():
    # On a voxel's own centre the value is that voxel's; rounding of 1e-9 voxel on either side
    # must not decide whether it was scanned.
    voxels = np.zeros((3, 3, 5), np.int16)
    voxels[:, :, 3] = -2000
    field = np.ones((3, 5), np.uint8)
    field[:, 0] = 0
    vol = Volume(
        voxels=voxels,
        mm_from_ijk=np.eye(4),
        made_up=np.zeros(3, bool),
        padding=(-2000, -2000),
        field=field,
    )
    across = np.array([1 - 1e-3, 1 - 1e-9, 1, 1 + 1e-9, 1.5, 2, 2 + 1e-9, 2 + 1e-3, 3, 4])
    found = vol.grey_at(np.stack([across, 0 * across + 1, 0 * across + 1], axis=1))
    assert np.isfinite(found).tolist() == [False] + [True] * 6 + [False, False, True]
    assert (found[np.isfinite(found)] == 0).all()


def test_the_hull_has_a_tolerance_of_a_millionth_voxel():
    vol = volume(np.float32)
    nk, nj, ni = vol.shape
    for axis, last in enumerate((ni - 1, nj - 1, nk - 1)):
        for edge, outwards in ((0, -1), (last, 1)):
            middle = np.array([2.0, 2.0, 2.0])
            for step, scanned in ((0, True), (5e-7, True), (2e-6, False)):
                place = middle.copy()
                place[axis] = edge + outwards * step
                assert bool(vol.scanned_at(vol.mm(place))[0]) is scanned
                if scanned:
                    place[axis] = edge
                    assert vol.grey_at(vol.mm(place)) == pytest.approx(
                        naive(vol, [place]), abs=0.01
                    )


@given(st.integers(0, 10_000), st.floats(0, 0.5))
def test_a_linear_field_is_read_exactly_on_any_grid(seed, shear):
    # Trilinear interpolation reproduces a linear field, whatever turn, spacing, or gantry tilt.
    rng = np.random.default_rng(seed)
    matrix = affine(seed, rng.uniform(0.1, 0.6, 3), shear)
    shape = tuple(rng.integers(2, 9, 3))
    k, j, i = np.indices(shape)
    points = np.stack([i, j, k], axis=-1).reshape(-1, 3) @ matrix[:3, :3].T + matrix[:3, 3]
    slopes = rng.uniform(-50, 50, 3)
    vol = Volume(
        voxels=(points @ slopes).reshape(shape).astype(np.float32),
        mm_from_ijk=matrix,
        made_up=np.zeros(shape[0], bool),
    )
    inside = vol.mm(rng.uniform(0, 1, (30, 3)) * (np.array(shape[::-1]) - 1))
    assert vol.grey_at(inside) == pytest.approx(inside @ slopes, abs=0.01)


def grid_of(vol, seed=0, rows=40, cols=50, pixel=0.11):
    turn = Rotation.random(random_state=seed + 7).as_matrix()
    centre = vol.mm((np.array(vol.shape[::-1]) - 1) / 2)[0]
    return PictureGrid(
        origin=centre, right=turn[0], up=turn[1], rows=rows, cols=cols, pixel_mm=pixel
    )


def pixel_points(grid):
    return np.array([[grid.point(r, c) for c in range(grid.cols)] for r in range(grid.rows)])


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("holes", [{}, {"padding": (-1000, -950)}])
def test_a_picture_is_its_points(seed, holes):
    vol = volume(seed=seed, **holes)
    grid = grid_of(vol, seed)
    picture = sampling.picture(vol, grid)
    points = pixel_points(grid)
    expected = sampling.at_points(vol, points.reshape(-1, 3)).reshape(picture.shape)
    assert 0.02 < np.isfinite(expected).mean() < 0.98
    # Rounding may decide a pixel that lies on the hull itself, but none of these does.
    assert picture == pytest.approx(expected, abs=0.02, nan_ok=True)


def test_pictures_along_the_voxel_rows_reach_both_ends():
    # The run without tests must stop before the last voxel, and the last column still be read.
    vol = Volume(
        voxels=np.arange(3 * 4 * 5, dtype=np.int16).reshape(3, 4, 5),
        mm_from_ijk=np.eye(4),
        made_up=np.zeros(3, bool),
    )
    for right in ((1, 0, 0), (-1, 0, 0)):
        grid = PictureGrid(
            origin=(2, 1.5, 1), right=right, up=(0, -1, 0), rows=4, cols=7, pixel_mm=1
        )
        row = vol.voxels[1] if right[0] > 0 else vol.voxels[1][:, ::-1]
        expected = np.pad(row.astype(float), ((0, 0), (1, 1)), constant_values=np.nan)
        assert np.array_equal(vol.picture(grid), expected, equal_nan=True)


@pytest.mark.parametrize(
    ("slab_mm", "edge_mm", "count"),
    [
        (0, 0.25, 1),
        (0.1, 0.25, 3),
        (0.25, 0.25, 3),
        (0.26, 0.25, 5),
        (0.5, 0.25, 5),
        (0.9, 0.3, 7),
        (1.0, 0.4, 7),
        (3.0, 0.1, 61),
    ],
)
def test_samples_through_a_slab(slab_mm, edge_mm, count):
    # n = 2 ceil(slab / (2 · half the smallest voxel edge)) + 1
    matrix = np.diag([edge_mm, edge_mm * 1.5, edge_mm * 2, 1])
    vol = volume(mm_from_ijk=matrix)
    assert sampling.slab_samples(vol, slab_mm) == count


@pytest.mark.parametrize("maximum", [False, True])
@pytest.mark.parametrize("slope", [1.5, -1.5])
def test_a_slab_is_the_mean_or_the_greatest_of_its_samples(maximum, slope):
    vol = volume(slope=slope)
    grid = grid_of(vol)
    slab = 0.6
    count = sampling.slab_samples(vol, slab)
    shifts = np.linspace(-slab / 2, slab / 2, count)
    points = pixel_points(grid).reshape(-1, 3)
    layers = np.stack([sampling.at_points(vol, points + s * grid.toward_viewer) for s in shifts])
    expected = layers.max(axis=0) if maximum else layers.mean(axis=0)
    found = sampling.picture(vol, grid, slab_mm=slab, maximum=maximum)
    # One sample that was not scanned leaves the pixel empty.
    assert np.isnan(expected).sum() == np.isnan(layers).any(axis=0).sum()
    assert np.isfinite(expected).sum() > 100
    assert found.ravel() == pytest.approx(expected, abs=0.02, nan_ok=True)


def test_a_slab_cannot_be_negative():
    vol = volume()
    with pytest.raises(ValueError, match="slab"):
        sampling.picture(vol, grid_of(vol), slab_mm=-1)


def test_profiles_are_points_along_rays():
    vol = volume()
    rng = np.random.default_rng(5)
    starts = vol.mm(cloud(vol, 20))
    directions = rng.normal(size=(20, 3))
    directions /= np.linalg.norm(directions, axis=1, keepdims=True)
    found = sampling.profiles(vol, starts, directions, 0.17, 12)
    points = starts[:, None] + 0.17 * np.arange(12)[:, None] * directions[:, None]
    expected = sampling.at_points(vol, points.reshape(-1, 3)).reshape(20, 12)
    assert np.isnan(expected).any()
    assert found == pytest.approx(expected, abs=0.02, nan_ok=True)


def test_a_point_that_is_no_number_was_not_scanned():
    vol = volume()
    assert np.isnan(sampling.at_points(vol, np.array([(np.nan, 0, 0), (np.inf, 0, 0)]))).all()


def test_no_points_give_no_values():
    assert sampling.at_points(volume(), np.zeros((0, 3))).shape == (0,)


def test_made_up_slices_are_told():
    made_up = np.zeros(7, bool)
    made_up[3] = True
    vol = volume(made_up=made_up)
    heights = np.array([1.9, 2, 2 + 1e-9, 2.01, 3, 3.9, 4 - 1e-9, 4, 4.5, -1, 9])
    points = vol.mm(np.stack([heights * 0 + 2, heights * 0 + 2, heights], axis=1))
    expected = [False, False, False, True, True, True, False, False, False, False, False]
    assert sampling.touches_made_up(vol, points).tolist() == expected


@pytest.mark.parametrize("kind", ["plain", "padding", "field", "both"])
@pytest.mark.parametrize("dtype", [np.int16, np.uint16, np.int32, np.float32])
def test_long_lines_are_what_their_places_are_one_by_one(dtype, kind):
    """Lines longer than two blocks, some through holes, some leaving the scan, with a slab."""
    rng = np.random.default_rng(5)
    more = {}
    field = np.ones((60, 70), np.uint8)
    field[:9] = field[:, 61:] = 0
    if kind in ("field", "both"):
        more["field"] = field
    if kind in ("padding", "both"):
        more["padding"] = (2900.0, 2920.0)
    vol = volume(dtype, (50, 60, 70), **more)
    starts = vol.mm(rng.uniform(-3, (72, 62, 52), (60, 3)))
    steps = rng.normal(0, 1, (60, 3)) * 0.06
    through = rng.normal(0, 1, (60, 3)) * 0.2
    count, slab = 300, 3
    found = sampling.lines(vol, starts, steps, count, slab_steps_mm=through, slab_count=slab)
    where = (
        starts[:, None, None]
        + np.arange(count)[:, None, None] * steps[:, None, None]
        + (np.arange(slab) - 1)[:, None] * through[:, None, None]
    )
    alone = sampling.at_points(vol, where.reshape(-1, 3)).reshape(60, count, slab)
    expected = alone.astype(np.float64).mean(axis=2)
    # At the very edge of the hull or of a cell, rounding of the place may decide otherwise.
    same = np.isnan(found) == np.isnan(expected)
    assert (~same).mean() < 1e-3
    both = same & np.isfinite(found)
    assert 0.1 < both.mean() < 0.9
    np.testing.assert_allclose(found[both], expected[both], atol=2e-3)


TWO_THREADS = """
import threading, numpy as np
from core.image import sampling
from core.geometry import PictureGrid
from core.image.volume import Volume
empty = np.zeros((40, 40, 40), np.int16)
vol = Volume(voxels=empty, mm_from_ijk=np.eye(4), made_up=np.zeros(40, bool))
grid = PictureGrid(
    origin=(20, 20, 20), right=(1, 0, 0), up=(0, 0, 1), rows=60, cols=60, pixel_mm=0.5
)
sums = []
def work():
    for _ in range(300):
        picture = sampling.picture(vol, grid, slab_mm=2)
    sums.append(float(picture.sum()))
threads = [threading.Thread(target=work) for _ in range(4)]
[t.start() for t in threads]
[t.join() for t in threads]
print("finished", sums)
"""


def test_threads_that_sample_at_once_do_not_abort_the_process():
    # Without the lock numba's portable threading layer ends the process here with SIGABRT.
    child = subprocess.run(
        [sys.executable, "-c", TWO_THREADS],
        check=False,
        capture_output=True,
        text=True,
        timeout=100 * PATIENCE,
    )
    assert child.returncode == 0, child.stderr[-800:]
    assert child.stdout.strip() == "finished [0.0, 0.0, 0.0, 0.0]"
