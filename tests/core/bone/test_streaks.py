"""Streaks of metal by slice, on slices that are drawn."""

from __future__ import annotations

import numpy as np
import pytest

from core.bone.bone_levels import BoneLevels
from core.bone.streaks import Streaks
from core.image.volume import Volume

LEVELS = BoneLevels(
    soft=100.0, spongy=400.0, cortical=1100.0, cortical_sd=40.0, noise_sd=10.0, voxel_mm=0.3
)


def scan(draw, *, voxel=(0.3, 0.3, 0.5), shape=(10, 120, 120), slope=1.0, intercept=0.0):
    rng = np.random.default_rng(1)
    grey = 100.0 + rng.normal(0.0, 3.0, shape)
    draw(grey)
    return Volume(
        voxels=np.rint((grey - intercept) / slope).astype(np.int16),
        mm_from_ijk=np.diag([*voxel, 1.0]), made_up=np.zeros(shape[0], bool),
        slope=slope, intercept=intercept,
    )  # fmt: skip


def waves(grey, k, size):
    grey[k] += size * np.sin(np.arange(grey.shape[2]) / 9.0)


def test_a_slice_each_millimetre_and_each_second_pixel():
    found = Streaks.of(scan(lambda _: None), LEVELS)
    assert found.slices.tolist() == [0.0, 2.0, 4.0, 6.0, 8.0]
    assert found.bright_ijk.shape == (0, 3)
    assert found.usual == 0.06
    assert (found.spread < 0.01).all()
    thick = Streaks.of(scan(lambda _: None, voxel=(0.6, 0.6, 1.2)), LEVELS)
    assert thick.slices.tolist() == list(range(10))


def test_places_are_voxels_of_the_scan():
    def bright(grey):
        grey[4, 20:40, 60:90] = 5000.0

    found = Streaks.of(scan(bright), LEVELS)
    assert set(found.bright_ijk[:, 2]) == {4.0}
    assert found.bright_ijk[:, :2].min(axis=0).tolist() == [60.0, 20.0]
    assert found.bright_ijk[:, :2].max(axis=0).tolist() == [88.0, 38.0]
    assert len(found.bright_ijk) == 15 * 10


@pytest.mark.parametrize(("level", "bright"), [(1690.0, False), (1710.0, True)])
def test_metal_is_1_6_times_as_bright_over_soft_tissue_as_cortex(level, bright):
    def part(grey):
        grey[4, 20:40, 60:90] = level

    assert bool(len(Streaks.of(scan(part), LEVELS).bright_ijk)) is bright


@pytest.mark.parametrize(("count", "bright"), [(8, False), (9, True)])
def test_three_square_millimetres_at_least(count, bright):
    """Pixels of 0.6 mm: 0.36 mm² each."""

    def part(grey):
        for n in range(count):
            grey[4, 2 * (n // 4) : 2 * (n // 4) + 2, 2 * (n % 4) : 2 * (n % 4) + 2] = 5000.0

    assert bool(len(Streaks.of(scan(part), LEVELS).bright_ijk)) is bright


@pytest.mark.parametrize("how", [{}, {"slope": 0.5, "intercept": -1000.0}])
def test_the_spread_of_soft_tissue_is_a_share_of_the_contrast(how):
    """A sine of 200 has a median deviation of its amplitude over the root of two."""
    found = Streaks.of(scan(lambda grey: waves(grey, 6, 200.0), **how), LEVELS)
    assert found.spread[3] == pytest.approx(1.4826 * 0.2 / np.sqrt(2), rel=0.12)
    assert (found.spread[[0, 1, 2, 4]] < 0.01).all()


def test_what_is_no_soft_tissue_or_uneven_in_small_does_not_count():
    def bone(grey):
        waves(grey, 6, 200.0)
        grey[6, :60] += 900.0

    found = Streaks.of(scan(bone), LEVELS)
    assert found.spread[3] == pytest.approx(1.4826 * 0.2 / np.sqrt(2), rel=0.15)

    def rough(grey):
        rng = np.random.default_rng(2)
        grey[6] += rng.normal(0, 400.0, grey[6].shape)

    assert np.isnan(Streaks.of(scan(rough), LEVELS).spread[3])


@pytest.mark.parametrize(("rows", "told"), [(6, False), (8, True)])
def test_a_hundred_and_fifty_places_of_soft_tissue_at_least(rows, told):
    """60 pixels in each second row, less the row beside what lies around: 120 and 180."""

    def some(grey):
        keep = grey[6, :rows].copy()
        grey[6] = 900.0
        grey[6, :rows] = keep

    assert bool(np.isfinite(Streaks.of(scan(some), LEVELS).spread[3])) is told


def test_usual_is_the_middle_of_slices_without_metal():
    def draw(grey):
        for k, size in ((0, 120.0), (2, 140.0), (4, 160.0), (6, 330.0), (8, 330.0)):
            waves(grey, k, size)
        for k in (6, 8):
            grey[k, :20, :20] = 5000.0

    found = Streaks.of(scan(draw), LEVELS)
    assert found.usual == pytest.approx(1.4826 * 0.14 / np.sqrt(2), rel=0.12)
    assert found.usual == pytest.approx(float(found.spread[1]))
    everywhere = Streaks.of(scan(lambda grey: grey.__setitem__((slice(None), slice(0, 20)), 5e3)),
                            LEVELS)  # fmt: skip
    assert everywhere.usual == 0.06


def test_metal_with_streaks_is_as_far_as_it_is():
    def draw(grey):
        waves(grey, 4, 250.0)
        grey[4, 20:40, 60:90] = 5000.0

    volume = scan(draw)
    found = Streaks.of(volume, LEVELS)
    place = np.array([[3.0, 6.0, 2.0]])
    # From column 10 to column 60, at a row of the metal: 50 pixels.
    assert found.nearest_mm(volume, place) == pytest.approx(15.0)
    assert found.nearest_mm(volume, np.add(place, (0, 0, 1.4))) == float("inf")
    calm = Streaks(slices=found.slices, spread=np.full(5, 0.01), bright_ijk=found.bright_ijk,
                   usual=0.06)  # fmt: skip
    assert calm.nearest_mm(volume, place) == float("inf")
    bare = Streaks(slices=found.slices, spread=found.spread, bright_ijk=np.empty((0, 3)),
                   usual=0.06)  # fmt: skip
    assert bare.nearest_mm(volume, place) == float("inf")
