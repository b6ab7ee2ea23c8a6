"""Soft tissue and air are told apart by where they lie, and marrow is neither."""

import numpy as np
import pytest

from core.bone.bone_levels import USUAL_BLUR
from core.bone.cortex_level import CortexLevel, Places
from core.bone.level_proof import _soft_beside_bone
from core.bone.tissue_classes import (
    Profiles,
    TissueClasses,
    _bright,
    _climbing,
    _half_way,
    _layer_on_bone,
    _modes,
    _noise,
    _windows,
)

SOFT, MARROW, PLATE, NOISE = 40.0, 450.0, 800.0, 30.0


def line(*parts, samples=141):
    """A profile every 0.2 mm from (from mm, level) parts."""
    at = 0.2 * np.arange(samples)
    out = np.full(samples, SOFT)
    for start, level in parts:
        out[at >= start] = level
    return out


def test_marrow_behind_a_plate_lost_in_the_mean_is_no_layer_on_bone():
    rows = np.tile(line((8.0, PLATE), (8.4, MARROW), (19.0, 1300.0), (20.0, SOFT)), (5, 1))
    window = np.ones(7) / 7
    middle = np.apply_along_axis(np.convolve, 1, rows, window, mode="same")
    # The mean over 1.4 mm keeps nothing of the plate above the marrow.
    assert middle[:, 35:60].max() < MARROW + 3.0 * NOISE + 60.0
    climbing = _climbing(middle, rows, np.ones(rows.shape, dtype=bool), NOISE)
    assert not climbing[:, 48:90].any()
    gum = np.tile(line((8.0, MARROW), (10.0, 1300.0), (12.0, SOFT)), (5, 1))
    middle = np.apply_along_axis(np.convolve, 1, gum, window, mode="same")
    assert _climbing(middle, gum, np.ones(gum.shape, dtype=bool), NOISE)[:, 43:46].all()


@pytest.mark.parametrize(("beside", "held"), [(SOFT, True), (-1000.0, False)])
def test_soft_tissue_that_lies_hardly_anywhere_beside_the_bone_is_not_it(beside, held):
    n = 40
    grey = np.full((n, 141), beside)
    grey[: n // 5] = SOFT
    grey[:, 60:80] = 1300.0
    way = np.tile([1.0, 0.0, 0.0], (n, 1))
    profiles = Profiles(starts=np.zeros((n, 3)), ways=way, grey=grey, smooth=grey)
    places = Places(
        points_mm=np.zeros((2 * n, 3)),
        ways=np.vstack([way, -way]),
        buccal=np.repeat([True, False], n),
        summit=np.full(2 * n, 1300.0),
        rows=np.tile(np.arange(n), 2),
        samples=np.repeat([60.0, 79.0], n),
    )
    classes = TissueClasses(air=-1000.0, soft=SOFT, soft_sd=5.0, noise_sd=NOISE, bright=1300.0)
    level = CortexLevel(level=1300.0, sd=20.0, blur=USUAL_BLUR, apart=True, halves=(1300.0, 1300.0))
    assert _soft_beside_bone(profiles, classes, places, level.level - SOFT) == held


class TestSteps:
    """What tells classes apart, each on values drawn by hand."""

    def test_modes_reach_to_the_valleys_beside_them(self):
        rng = np.random.default_rng(1)
        levels = np.concatenate(
            [-1000 + 20 * rng.standard_normal(300), 40 + 20 * rng.standard_normal(700)]
        )
        low, high = _modes(levels, 20.0)
        assert low == pytest.approx((-1000, 0.3), abs=15)
        assert low[1] == pytest.approx(0.3, abs=0.005)
        assert high[0] == pytest.approx(40, abs=15)
        assert high[1] == pytest.approx(0.7, abs=0.005)
        assert _modes(np.full(50, 7.0), 1.0) == [(7.0, 1.0)]

    def test_the_brighter_profiles_reach_their_sixtieth_percentile(self):
        peaks = np.array([0.0, 99.0, 101.0, 200.0, 300.0, 400.0, 500.0])
        assert _bright(peaks, 0.0, 20.0) == pytest.approx(np.percentile(peaks[2:], 60))
        assert _bright(peaks, 600.0, 20.0) == 600.0

    @pytest.mark.parametrize(
        ("air", "bone", "noise", "far"),
        [
            (-1000.0, 2000.0, 20.0, 300.0),
            (None, 2000.0, 20.0, 600.0),
            (-3000.0, 2000.0, 20.0, 600.0),
            (-100.0, 2000.0, 20.0, 40.0),
        ],
    )
    def test_soft_tissue_ends_three_tenths_of_the_way_or_two_noises_off(
        self, air, bone, noise, far
    ):
        assert _half_way(0.0, air, np.full(5, bone), noise) == pytest.approx(far)

    def test_noise_is_that_of_differences_six_tenths_of_a_millimetre_apart(self):
        rng = np.random.default_rng(2)
        grey = 25.0 * rng.standard_normal((200, 100))
        assert _noise(grey, 0.0, 200.0) == pytest.approx(25.0, rel=0.03)
        clipped = np.concatenate([np.full((300, 100), -1000.0), grey])
        assert _noise(clipped, 0.0, 200.0) == pytest.approx(25.0, rel=0.03)
        grey[:, ::2] = np.nan
        assert np.isfinite(_noise(np.nan_to_num(grey), 1e9, 1.0))

    def test_windows_tell_mean_spread_and_ends(self):
        rng = np.random.default_rng(3)
        grey = 1000.0 + 30.0 * rng.standard_normal((3, 141))
        grey[1, :10] = np.nan
        grey[2, 70] = np.nan
        profiles = Profiles(
            starts=np.zeros((3, 3)), ways=np.tile([1.0, 0, 0], (3, 1)), grey=grey, smooth=grey
        )
        mean, spread, ends = _windows(profiles)
        assert mean[0, 50] == pytest.approx(grey[0, 47:54].mean())
        assert spread[0, 50] == pytest.approx(grey[0, 47:54].std(ddof=1))
        # The first and the last 4 mm that were scanned, where the whole window was.
        assert np.flatnonzero(ends[0]).tolist() == [*range(20), *range(121, 141)]
        assert np.flatnonzero(ends[1]).tolist() == [*range(13, 30), *range(121, 141)]
        assert np.flatnonzero(ends[2]).tolist() == [*range(20), *range(121, 141)]

    def test_a_layer_before_the_bone_is_told_by_where_it_lies(self):
        peaks = np.full(100, 1500.0)
        climbing = np.concatenate([np.full(30, -1000.0), np.full(70, 40.0)])
        assert _layer_on_bone(climbing, -1000.0, peaks, 20.0, 100) == pytest.approx(40.0, abs=15)
        assert _layer_on_bone(climbing[:89], -1000.0, peaks, 20.0, 100) is None, "59 windows"
        assert _layer_on_bone(climbing, -1000.0, peaks, 20.0, 141) is None, "half of all profiles"
        assert _layer_on_bone(climbing, -390.0, peaks, 20.0, 100) is None, "0.3 of the way to bone"
        cortex = np.where(climbing > 0, 1200.0, climbing)
        assert _layer_on_bone(cortex, -1000.0, peaks, 20.0, 100) is None, "nearly as bright"


class TestProfiles:
    def test_places_of_samples(self):
        profiles = Profiles(
            starts=np.array([(1.0, 2, 3), (0, 0, 0)]), ways=np.array([(0, 0, 1.0), (1, 0, 0)]),
            grey=np.zeros((2, 5)), smooth=np.zeros((2, 5)),
        )  # fmt: skip
        found = profiles.at(np.array([0, 1]), np.array([10.0, 2.5]))
        assert found == pytest.approx(np.array([(1, 2, 5), (0.5, 0, 0)]))
