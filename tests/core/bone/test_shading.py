"""Shading as a share of the contrast, on profiles that are drawn along a scan's axes."""

from __future__ import annotations

import numpy as np
import pytest

from core.bone.shading import _before_bone, _terms, _windows, shaded_share
from core.bone.tissue_classes import Profiles, TissueClasses
from core.image.volume import Volume

STEP = 0.2
CLASSES = TissueClasses(air=-900.0, soft=100.0, soft_sd=15.0, noise_sd=10.0, bright=1100.0)
TURN = np.linalg.qr(np.random.default_rng(5).normal(size=(3, 3)))[0]
VOLUME = Volume(
    voxels=np.zeros((4, 4, 4), np.int16),
    mm_from_ijk=np.block([[TURN * 0.3, np.array([[5.0], [6.0], [7.0]])], [0, 0, 0, 1]]),
    made_up=np.zeros(4, bool),
)


def lines(grey_at, *, rows=30, count=141, noise=3.0):
    """Rows along the second axis of a turned scan, 1 mm apart along the first."""
    starts = np.stack([np.arange(rows) - rows / 2, np.full(rows, -14.0), 0 * np.arange(rows)], 1)
    ways = np.tile([0.0, 1.0, 0.0], (rows, 1))
    t = STEP * np.arange(count)
    places = starts[:, None] + t[:, None] * ways[:, None]
    grey = grey_at(*np.moveaxis(places, -1, 0))
    grey = grey + np.random.default_rng(1).normal(0, noise, grey.shape)
    return Profiles(starts=starts @ TURN.T, ways=ways @ TURN.T, grey=grey, smooth=grey)


def with_bone(grey, y):
    return np.where(np.abs(y) < 3.0, 1100.0, grey)


@pytest.mark.parametrize(
    "shade",
    [
        lambda x, y: 0 * x,
        lambda x, y: 20.0 * x,
        lambda x, y: -10.0 * y,
        lambda x, y: 0.3 * (x**2 + y**2),
        lambda x, y: 0.4 * x * y,
        lambda x, y: 0.015 * x * (x**2 + y**2),
    ],
    ids=["none", "across", "along", "round", "turned", "lop-sided"],
)
def test_the_range_of_what_changes_smoothly(shade):
    profiles = lines(lambda x, y, z: with_bone(100.0 + shade(x, y), y))
    found = shaded_share(VOLUME, profiles, CLASSES, 1100.0)
    # What it is at the places outside the bone, without the outermost twentieths.
    places = np.stack(np.meshgrid(np.arange(30.0) - 15, STEP * np.arange(3, 138) - 14,
                                  indexing="ij"))  # fmt: skip
    outside = np.abs(places[1]) > 4.2
    values = shade(*places)[outside]
    level = 100.0 + values
    # Nothing brighter than half of the contrast, or nearer to air than to soft tissue, counts.
    values = values[(level < 600.0) & (level > -400.0)]
    wanted = np.ptp(np.percentile(values, [5, 95])) / 1000.0
    assert found == pytest.approx(wanted, abs=0.012)


def test_a_part_of_another_tissue_has_little_weight():
    def grey(x, y, z):
        shaded = 100.0 + 15.0 * x
        return with_bone(np.where((np.abs(x - 4) < 3) & (y > 6), shaded + 250.0, shaded), y)

    plain = shaded_share(
        VOLUME, lines(lambda x, y, z: with_bone(100.0 + 15.0 * x, y)), CLASSES, 1100.0
    )
    found = shaded_share(VOLUME, lines(grey), CLASSES, 1100.0)
    assert found == pytest.approx(plain, abs=0.03)


def test_behind_bone_and_in_air_nothing_counts():
    """Between two plates marrow is as bright as one likes; far outside lies air."""

    def grey(x, y, z):
        out = np.where(np.abs(y) < 6.0, 300.0, 100.0)
        out = np.where((np.abs(y) > 5.0) & (np.abs(y) < 7.0), 1100.0, out)
        return np.where(np.abs(y) > 12.0, -900.0, out)

    assert shaded_share(VOLUME, lines(grey), CLASSES, 1100.0) < 0.02


def test_profiles_without_bone_have_no_outside():
    assert shaded_share(VOLUME, lines(lambda x, y, z: 100.0 + 10 * x), CLASSES, 1100.0) == 0.0


@pytest.mark.parametrize(("rows", "told"), [(12, False), (16, True)])
def test_fifteen_hundred_places_at_least(rows, told):
    """106 samples of a row lie even outside the bone, so far as windows reach."""
    profiles = lines(lambda x, y, z: with_bone(100.0 + 30.0 * x, y), rows=rows)
    assert (shaded_share(VOLUME, profiles, CLASSES, 1100.0) > 0.0) is told


def test_without_any_soft_tissue_nothing_is_told():
    assert shaded_share(VOLUME, lines(lambda x, y, z: 900.0 + 0 * x), CLASSES, 1100.0) == 0.0


def test_without_air_two_fifths_of_the_contrast_below_soft_tissue_is_its_end():
    """Half of the places lie 0.38 or 0.42 of it lower, evenly: a wide shade, or air."""
    classes = TissueClasses(air=None, soft=100.0, soft_sd=15.0, noise_sd=10.0, bright=1100.0)
    found = [
        shaded_share(
            VOLUME,
            lines(lambda x, y, z, low=low: with_bone(np.where(x < -8.0, 100.0 - low, 100.0), y)),
            classes,
            1100.0,
        )
        for low in (380.0, 420.0)
    ]
    assert found[0] > found[1] + 0.01
    assert found[1] < 0.01


class TestParts:
    def test_windows_of_seven_samples(self):
        rng = np.random.default_rng(2)
        grey = rng.normal(size=(2, 20))
        grey[1, 10] = np.nan
        level, spread = _windows(grey)
        assert level.shape == spread.shape == (2, 20)
        assert level[0, 9] == pytest.approx(grey[0, 6:13].mean())
        assert spread[0, 9] == pytest.approx(grey[0, 6:13].std(ddof=1))
        assert np.isnan(level[0, [0, 1, 2, 17, 18, 19]]).all()
        assert np.isfinite(level[0, 3:17]).all()
        assert np.isnan(level[1, 7:14]).all()
        assert np.isfinite(level[1, [3, 4, 5, 6, 14, 15, 16]]).all()

    def test_outside_the_first_bone_from_either_end_by_1_2_mm(self):
        smooth = np.zeros((2, 40))
        smooth[0, [15, 25]] = 10.0
        smooth[0, 20] = np.nan
        outside = np.flatnonzero(_before_bone(smooth, 5.0)[0])
        assert outside.tolist() == [*range(9), *range(32, 40)]
        assert not _before_bone(smooth, 5.0)[1].any()

    def test_terms_are_counted_along_the_scans_own_axes(self):
        rng = np.random.default_rng(3)
        inside = rng.normal(0, 10, (50, 3))
        inside -= inside.mean(axis=0)
        terms = _terms(VOLUME, inside @ TURN.T + 40.0)
        x, y, z = (inside / 12.0).T
        r = x * x + y * y
        wanted = [1 + 0 * x, x, y, z, x * x, y * y, z * z, x * y, x * z, y * z, x * r, y * r, r * r]
        assert terms == pytest.approx(np.stack(wanted, axis=1))
