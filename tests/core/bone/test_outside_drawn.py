"""What is outside of the bone, in a block drawn by hand; and levels that a person pointed at."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from core.bone.bone_levels import Blur, BoneLevels
from core.bone.cortex_level import CortexLevel
from core.bone.outside import Outside, _highest, _joined, _without_specks
from core.bone.pointed_levels import (
    _against_the_scan,
    _air,
    _ball,
    _brightest,
    _Patch,
    _patch,
)
from core.bone.tissue_classes import TissueClasses
from core.image.volume import Volume

LEVELS = BoneLevels(
    soft=100.0, spongy=400.0, cortical=1100.0, cortical_sd=40.0, noise_sd=5.0, voxel_mm=0.3
)
VOXEL = 0.3
FRAME = SimpleNamespace(b=np.array([1.0, 0, 0]), m=np.array([0, 1.0, 0]), a=np.array([0, 0, 1.0]))
REACH, DEPTH = 9.0, 12.0


def scan(draw, *, reach=14.0, top=12.0, deep=22.0):
    """Soft tissue with what is drawn in it; places count from the platform."""
    n = np.rint(np.array([2 * reach, 2 * reach, top + deep]) / VOXEL).astype(int)
    kk, jj, ii = np.mgrid[: n[2], : n[1], : n[0]]
    x, y, z = (
        VOXEL * g - shift for g, shift in zip((ii, jj, kk), (reach, reach, deep), strict=True)
    )
    grey = draw(x, y, z, np.full(x.shape, 100.0))
    affine = np.diag([VOXEL] * 3 + [1.0])
    affine[:3, 3] = (-reach, -reach, -deep)
    return Volume(
        voxels=np.rint(grey).astype(np.int16), mm_from_ijk=affine, made_up=np.zeros(n[2], bool)
    )


def around(draw, **how):
    levels = how.pop("levels", LEVELS)
    return Outside.around(
        scan(draw, **how), np.zeros(3), FRAME, levels, reach_mm=REACH, depth_mm=DEPTH
    )


def ridge(x, y, z, grey, *, inside=400.0, wide=5.0, wall=1.5):
    depth = np.minimum(wide - np.abs(x), -z)
    return np.where(depth > wall, inside, np.where(depth > 0, 1100.0, grey))


def state(outside, *place):
    """Mouth, hollow and marrow at a place."""
    at = np.array([place], dtype=float)
    mouth, hollow = outside.at(at)
    return bool(mouth[0]), bool(hollow[0]), bool(outside.in_marrow(outside.cells(at))[0])


class TestBlock:
    def test_soft_tissue_around_a_ridge_is_joined_to_the_mouth(self):
        found = around(ridge)
        assert state(found, 7, 0, -5) == (True, False, False)
        assert state(found, -7, 3, -11) == (True, False, False)
        assert state(found, 0, 0, 3) == (True, False, False)
        assert state(found, 4.3, 0, -5) == (False, False, False)
        assert state(found, 0, 0, -8) == (False, False, False)

    def test_dark_marrow_is_closed_in(self):
        found = around(lambda *a: ridge(*a, inside=80.0))
        assert state(found, 0, 0, -8) == (False, False, True)
        assert state(found, 7, 0, -8) == (True, False, False)

    def test_air_that_is_not_the_mouths_is_a_sinus_with_what_is_joined_to_it(self):
        def hollow(x, y, z, grey):
            grey = ridge(x, y, z, grey, inside=80.0)
            return np.where((np.abs(x) < 2.0) & (z < -9.0), -800.0, grey)

        found = around(hollow)
        assert state(found, 0, 0, -11) == (False, True, False)
        assert state(found, 0, 0, -5) == (False, True, False), "the lining over it"
        assert state(found, 7, 0, -11) == (True, False, False)

    def test_air_in_front_of_a_thin_plate_does_not_draw_it_down(self):
        def thin(x, y, z, grey):
            return ridge(x, y, z, np.full(grey.shape, -900.0), inside=80.0, wall=0.6)

        assert state(around(thin), 0, 0, -8) == (False, False, True)

    def test_beyond_the_block_nothing_is_said(self):
        found = around(ridge)
        assert state(found, 9.5, 0, -5) == (False, False, False)
        assert state(found, 8.9, 0, -5) == (True, False, False)
        assert state(found, 7, 0, -12.9) == (False, False, False)

    def test_what_was_not_scanned_lets_nobody_through(self):
        """The field ends above the ridge's own top: on the one side nothing was scanned."""
        found = around(lambda *a: ridge(*a, inside=80.0), reach=6.5)
        assert state(found, 0, 0, -8) == (False, False, True)
        assert state(found, 8, 0, -5) == (False, False, False)

    @pytest.mark.parametrize(
        ("spongy", "level", "dark"),
        [(400.0, 240.0, True), (400.0, 260.0, False), (110.0, 170.0, True), (110.0, 190.0, False),
         (1000.0, 290.0, True), (1000.0, 310.0, False)],
    )  # fmt: skip
    def test_dark_is_below_the_middle_to_spongy_bone_within_limits(self, spongy, level, dark):
        """Half of the rise to spongy bone, 0.08 of the contrast at least and 0.2 at most."""
        found = around(lambda *a: ridge(*a, inside=level), levels=replace(LEVELS, spongy=spongy))
        assert state(found, 0, 0, -8)[2] is dark


class TestParts:
    def test_a_pinhole_is_no_way_in(self):
        size = (15, 15, 15)
        dark = np.zeros(size, bool)
        dark[:, :, :5], dark[:, :, 9:] = True, True
        scanned = np.ones(size, bool)
        seeds = np.zeros(size, bool)
        seeds[:, :, 0] = True
        for half, through in ((0, False), (1, True)):
            hole = dark.copy()
            hole[7 - half : 8 + half, 7 - half : 8 + half, 5:9] = True
            assert bool(_joined(seeds, hole, scanned)[7, 7, 14]) is through
            assert _joined(seeds, hole, scanned)[0, 0, 4]

    def test_at_the_end_of_the_field_a_narrow_way_counts_as_it_goes_on(self):
        size = (9, 9, 12)
        dark = np.zeros(size, bool)
        dark[:3] = True
        scanned = np.ones(size, bool)
        seeds = np.zeros(size, bool)
        seeds[:, :, 0] = True
        assert _joined(seeds, dark, scanned)[0, 4, 11]

    def test_specks_are_filled_and_larger_parts_left(self):
        part = np.ones((20, 20, 20), bool)
        part[3, 3, 3] = False
        part[10:16, 10:16, 10:16] = False
        found = _without_specks(part)
        assert found[3, 3, 3]
        assert not found[12, 12, 12]

    def test_the_highest_that_was_scanned_of_each_column(self):
        scanned = np.ones((5, 41, 60), bool)
        scanned[1, :, :3] = False
        scanned[2] = False
        found = _highest(scanned)
        middle = 20
        assert np.argwhere(found[0, middle]).ravel().tolist() == [0]
        assert np.argwhere(found[1, middle]).ravel().tolist() == [3]
        assert not found[2].any()
        assert found.sum(axis=2).max() == 1


BLUR = Blur(variance_mm2=0.05, sd_mm=0.02, seen=True)


class TestPointed:
    CORTEX = _Patch(level=1100.0, sd=30.0)

    def against(self, *, level=1100.0, sd=40.0, summit=1150.0):
        fitted = CortexLevel(level=level, sd=sd, blur=BLUR, apart=True, halves=(level, level))
        places = SimpleNamespace(summit=np.full(9, summit))
        return _against_the_scan(fitted, places, self.CORTEX, 1000.0, 10.0)

    @pytest.mark.parametrize(
        ("level", "sd", "told"),
        [(1399.0, 40.0, False), (1401.0, 40.0, True), (801.0, 40.0, False), (799.0, 40.0, True),
         (1490.0, 160.0, False), (1520.0, 160.0, True)],
    )  # fmt: skip
    def test_three_tenths_off_or_two_and_a_half_doubts(self, level, sd, told):
        assert (self.against(level=level, sd=sd) is not None) is told

    @pytest.mark.parametrize(("summit", "told"), [(1259.0, False), (1261.0, True)])
    def test_summits_above_it(self, summit, told):
        """By 0.15 of the contrast and the noise."""
        assert (self.against(summit=summit) is not None) is told

    @pytest.mark.parametrize(
        ("air", "own", "found"),
        [(-250.0, 100.0, -250.0), (-150.0, 100.0, None), (None, -250.0, -250.0),
         (None, -150.0, None)],
    )  # fmt: skip
    def test_the_darkest_class_well_below_it_is_air(self, air, own, found):
        seen = TissueClasses(air=air, soft=own, soft_sd=5.0, noise_sd=10.0, bright=1100.0)
        assert _air(seen, 100.0, 1000.0) == found

    def test_a_ball_of_places(self):
        ball = _ball(0.6)
        assert np.linalg.norm(ball, axis=1).max() == pytest.approx(0.6)
        assert ball.sum(axis=0) == pytest.approx(np.zeros(3), abs=1e-9)
        steps = np.unique(np.round(ball[:, 0], 6))
        assert np.diff(steps) == pytest.approx(np.full(len(steps) - 1, 0.2))

    def volume(self, draw):
        return scan(draw, reach=6.0, top=6.0, deep=6.0)

    def test_the_level_around_places_and_how_far_they_differ(self):
        def halves(x, y, z, grey):
            return np.where(x > 0, 200.0, grey) + 0 * y

        volume = self.volume(halves)
        one = _patch(volume, np.array([[-3.0, 0, 0]]), "soft tissue")
        assert (one.level, one.sd) == (pytest.approx(100.0), pytest.approx(0.0))
        both = _patch(volume, np.array([[-3.0, 0, 0], [3.0, 0, 0]]), "soft tissue")
        assert both.level == pytest.approx(150.0)
        assert both.sd == pytest.approx(np.std([100, 200], ddof=1))
        assert _patch(volume, np.array([[-30.0, 0, 0]]), "soft tissue") is None

    def test_noise_is_their_spread_and_what_is_far_off_does_not_count(self):
        rng = np.random.default_rng(2)

        def noisy(x, y, z, grey):
            out = grey + 30.0 * rng.standard_normal(grey.shape)
            return np.where(rng.random(grey.shape) < 0.03, 3000.0, out)

        found = _patch(self.volume(noisy), np.array([[0.0, 0, 0]]), "soft tissue")
        assert found.level == pytest.approx(100.0, abs=12)
        assert 8.0 < found.sd < 40.0

    def test_a_plate_is_met_in_its_middle(self):
        def plate(x, y, z, grey):
            return grey + 1000.0 * np.exp(-0.5 * ((x - 0.45) / 0.35) ** 2)

        volume = self.volume(plate)
        middle = _brightest(volume, np.zeros(3), 0.3)
        assert middle[0] == pytest.approx(0.45, abs=0.16)
        aside = _patch(volume, np.array([[0.0, 0, 0]]), "cortex")
        straight = _patch(volume, np.array([[0.45, 0, 0]]), "cortex")
        assert aside.level == pytest.approx(straight.level, abs=100)
        assert aside.level > 850.0
