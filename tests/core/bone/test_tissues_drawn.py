"""Air, soft tissue and marrow told from one another, on profiles that are drawn by hand."""

from __future__ import annotations

import numpy as np
import pytest

from core.bone.tissue_classes import (
    Profiles,
    _climbing,
    _marrow_taken_for_soft,
    _meetings,
    _runs,
    tissue_classes,
)
from core.image.volume import Volume
from tests.core.bone_phantoms import RADIUS_MM, arc_arch

AIR, SOFT, MARROW, BONE, NOISE = -900.0, 50.0, 400.0, 1500.0, 20.0
SAMPLES = 141
AT = 0.2 * np.arange(SAMPLES)


def lines(*rows, count=60, noise=NOISE, seed=1):
    """Each row (from mm, level) parts, in turn."""
    grey = np.empty((count, SAMPLES))
    for n in range(count):
        for start, level in rows[n % len(rows)]:
            grey[n, start <= AT] = level
    grey = grey + noise * np.random.default_rng(seed).standard_normal(grey.shape)
    padded = np.pad(grey, ((0, 0), (1, 1)), mode="edge")
    return Profiles(
        starts=np.zeros((count, 3)), ways=np.tile([1.0, 0, 0], (count, 1)), grey=grey,
        smooth=(padded[:, :-2] + padded[:, 1:-1] + padded[:, 2:]) / 3,
    )  # fmt: skip


RIDGE = ((0.0, SOFT), (10.0, BONE), (12.0, MARROW), (16.0, BONE), (18.0, SOFT))
IN_AIR = ((0.0, AIR), (6.0, SOFT), (10.0, BONE), (12.0, MARROW), (16.0, BONE), (18.0, SOFT),
          (22.0, AIR))  # fmt: skip
TONGUE = ((0.0, AIR), (6.0, SOFT), (22.0, AIR))


def told(*rows, upright=None, **how):
    return tissue_classes(lines(*rows, **how), upright or lines(*rows, **how))


class TestClasses:
    def test_soft_tissue_alone(self):
        found = told(RIDGE)
        assert found.air is None
        assert found.soft == pytest.approx(SOFT, abs=4)
        assert found.soft_sd == pytest.approx(NOISE / np.sqrt(7), rel=0.25)
        assert found.noise_sd == pytest.approx(NOISE, rel=0.1)
        # Of three samples' mean the highest of many: noise lifts it a little.
        assert found.bright == pytest.approx(BONE, abs=2.5 * NOISE)

    @pytest.mark.parametrize("far", [0.5, 3.0])
    def test_in_open_air(self, far):
        """With cheek that lies at the ends of some profiles, and with air at the ends of all."""
        cheek = ((0.0, SOFT), (10.0, BONE), (18.0, SOFT))
        found = told(IN_AIR, TONGUE, cheek) if far < 1 else told(IN_AIR, TONGUE)
        assert found.air == pytest.approx(AIR, abs=15)
        assert found.soft == pytest.approx(SOFT, abs=6)
        assert found.bright == pytest.approx(BONE, abs=2.5 * NOISE)

    def test_grey_values_have_no_unit(self):
        one = told(IN_AIR, TONGUE, RIDGE)
        scaled = lines(*(tuple((s, 0.4 * v + 700.0) for s, v in row)
                         for row in (IN_AIR, TONGUE, RIDGE)), noise=0.4 * NOISE)  # fmt: skip
        other = tissue_classes(scaled, scaled)
        for name in ("air", "soft", "bright"):
            assert getattr(other, name) == pytest.approx(0.4 * getattr(one, name) + 700.0, abs=1.0)
        for name in ("soft_sd", "noise_sd"):
            assert getattr(other, name) == pytest.approx(0.4 * getattr(one, name), rel=0.02)

    @pytest.mark.parametrize(("step", "air"), [(0.27, False), (0.35, True)])
    def test_air_lies_three_tenths_of_the_rise_to_bone_below_soft_tissue(self, step, air):
        dark = SOFT - step * (BONE - SOFT)
        rows = (((0.0, dark), (8.0, SOFT), (10.0, BONE), (18.0, SOFT)),
                ((0.0, dark), (6.0, SOFT)), RIDGE)  # fmt: skip
        found = told(*rows)
        assert (found.air is not None) is air

    @pytest.mark.parametrize(("every", "seen"), [(24, False), (6, True)])
    def test_a_class_is_seen_from_six_hundredths_of_the_even_ends_on(self, every, seen):
        """One of so many profiles has air at both ends."""
        found = told(IN_AIR, *[RIDGE] * (every - 1), count=120)
        assert (found.air is not None) is seen
        assert found.soft == pytest.approx(SOFT, abs=8)

    def test_gum_on_bone_in_open_air_is_the_soft_tissue(self):
        """At the ends there is nothing but air."""
        gum = ((0.0, AIR), (8.0, SOFT), (10.0, BONE), (16.0, SOFT), (18.0, AIR))
        found = told(gum)
        assert found.air == pytest.approx(AIR, abs=10)
        assert found.soft == pytest.approx(SOFT, abs=25)

    def test_marrow_that_runs_out_of_the_field_is_no_soft_tissue(self):
        """The bone runs out of the scan at one end; soft tissue lies beside it, and no air."""
        out = ((0.0, SOFT), (8.0, BONE), (10.0, MARROW + 400))
        found = told(out, ((0.0, SOFT),), ((0.0, MARROW + 400), (18.0, BONE), (20.0, SOFT)))
        assert found.air is None
        assert found.soft == pytest.approx(SOFT, abs=6)

    def test_hardly_anything_even_tells_nothing(self):
        assert told(RIDGE, count=1) is None
        assert told(RIDGE, count=2) is not None
        empty = lines(RIDGE)
        empty.grey[:] = np.nan
        empty.smooth[:] = np.nan
        assert tissue_classes(empty, empty) is None


class TestMeetings:
    def line(self, *parts):
        out = np.full(SAMPLES, 999.0)
        for low, high, level in parts:
            out[(low - 1e-9 <= AT) & (high - 1e-9 > AT)] = level
        return out[None]

    def met(self, *parts):
        return _meetings(self.line(*parts), 0.0, 100.0, 10.0, 300.0)

    def test_directly_and_over_a_plate(self):
        assert self.met((0, 5, 0.0), (5, 10, 100.0)) == (1, 0)
        assert self.met((0, 5, 100.0), (5, 10, 0.0)) == (1, 0)
        assert self.met((0, 5, 0.0), (5, 6, 400.0), (6, 10, 100.0)) == (0, 1)
        assert self.met((0, 5, 0.0), (5, 6, 299.0), (6, 10, 100.0)) == (1, 0)
        assert self.met((0, 5, 0.0), (5, 6, 400.0), (6, 10, 0.0)) == (0, 0)
        all_of_it = ((0, 5, 0.0), (5, 6, 400.0), (6, 10, 100.0), (10, 15, 0.0), (16, 20, 100.0))
        assert self.met(*all_of_it) == (1, 2)

    @pytest.mark.parametrize(("gap", "met"), [(3.0, True), (3.2, False)])
    def test_within_three_millimetres(self, gap, met):
        assert self.met((0, 5, 0.0), (5 + gap, 12, 100.0)) == (0, int(met))

    @pytest.mark.parametrize(("long", "counts"), [(0.8, False), (1.0, True)])
    def test_even_for_a_millimetre(self, long, counts):
        assert self.met((0, 5, 0.0), (5, 5 + long, 100.0)) == (int(counts), 0)

    @pytest.mark.parametrize(("off", "alike"), [(9.0, True), (11.0, False)])
    def test_as_far_from_a_level_as_is_given(self, off, alike):
        assert self.met((0, 5, off), (5, 10, 100.0 - off)) == (int(alike), 0)

    def test_runs(self):
        flags = np.array([1, 1, 0, 1, 1, 1, 0, 0, 1], bool)
        assert _runs(flags, 1) == [(0, 2), (3, 6), (8, 9)]
        assert _runs(flags, 2) == [(0, 2), (3, 6)]
        assert _runs(flags, 3) == [(3, 6)]
        assert _runs(~flags, 5) == []


class TestMarrow:
    """Levels of 0 and 400 under bone of 1400: alike within 100, a plate from 600 on."""

    PARTED = ((0.0, 0.0), (8.0, 1400.0), (9.0, 400.0), (19.0, 1400.0), (20.0, 0.0))
    BARE = ((0.0, 0.0),)
    DIRECT = ((0.0, 0.0), (8.0, 1400.0), (9.0, 400.0), (19.0, 0.0))

    def taken(self, *rows, count=60, noise=0.0):
        return _marrow_taken_for_soft(
            (lines(*rows, count=count, noise=noise),), 0.0, 400.0, 1400.0, NOISE
        )

    def test_parted_from_all_else_by_a_plate(self):
        assert self.taken(self.PARTED, self.BARE)
        assert not self.taken(self.PARTED), "of soft tissue a tenth lies on lines without a plate"

    @pytest.mark.parametrize(("rows", "taken"), [(9, False), (10, True)])
    def test_at_twenty_places(self, rows, taken):
        assert self.taken(*[self.PARTED] * rows, *[self.BARE] * (20 - rows), count=20) is taken

    @pytest.mark.parametrize(("direct", "taken"), [(4, True), (6, False)])
    def test_with_less_than_fifteen_hundredths_that_meet_without_one(self, direct, taken):
        """Of 40 places: each row has two, and of some rows one is without a plate."""
        rows = [self.DIRECT] * direct + [self.PARTED] * (16 - direct) + [self.BARE] * 4
        assert self.taken(*rows, count=20) is taken

    @pytest.mark.parametrize(("open_", "taken"), [(0.6, True), (1.0, False)])
    def test_of_marrow_hardly_any_lies_on_lines_that_cross_no_plate(self, open_, taken):
        """Two hundredths of it at most: of 50 rows of 10 mm that is 10 mm."""
        bare = ((0.0, 0.0), (5.0, 400.0), (5.0 + 15.0 * open_, 0.0))
        rows = [self.PARTED] * 50 + [bare] + [self.BARE] * 9
        assert self.taken(*rows, count=60) is taken

    @pytest.mark.parametrize(("level", "plate"), [(590.0, False), (610.0, True)])
    def test_a_plate_rises_by_a_fifth_of_what_bone_does(self, level, plate):
        row = tuple((at, level if grey == 1400.0 else grey) for at, grey in self.PARTED)
        assert self.taken(row, self.BARE) is plate


class TestClimbing:
    def climbing(self, *parts, even=None):
        row = np.full((1, SAMPLES), 0.0)
        for start, level in parts:
            row[0, start - 1e-9 <= AT] = level
        flags = np.ones(row.shape, bool) if even is None else even
        return np.flatnonzero(_climbing(row, row, flags, 10.0)[0])

    def test_nothing_brighter_outside_and_something_brighter_within_five_millimetres(self):
        found = self.climbing((14.0, 100.0), (15.0, 0.0))
        # From 5 mm before the bone on, from either end; not the bone itself.
        assert found.tolist() == [*range(45, 70), *range(75, 100)]

    @pytest.mark.parametrize(("rise", "counts"), [(59.0, False), (61.0, True)])
    def test_by_six_noises(self, rise, counts):
        assert bool(len(self.climbing((14.0, rise), (15.0, 0.0)))) is counts

    @pytest.mark.parametrize(("fall", "counts"), [(29.0, True), (31.0, False)])
    def test_less_than_three_noises_darker_than_what_lies_outside(self, fall, counts):
        found = self.climbing((0.0, fall), (4.0, 0.0), (14.0, 200.0))
        assert (60 in found.tolist()) is counts

    def test_only_even_places(self):
        even = np.zeros((1, SAMPLES), bool)
        even[0, 60] = True
        assert self.climbing((14.0, 100.0), even=even).tolist() == [60]


class TestLines:
    """A scan whose grey value is ten times the height, or the place along x."""

    ARCH = arc_arch()

    def scan(self, axis, *, size=(60.0, 70.0, 90.0), first=(-30.0, -20.0, -45.0)):
        n = np.array(size).astype(int) + 1
        grid = np.meshgrid(*(np.arange(m) for m in n[::-1]), indexing="ij")[::-1]
        affine = np.eye(4)
        affine[:3, 3] = first
        grey = 10.0 * (grid[axis] + first[axis])
        return Volume(
            voxels=np.rint(grey).astype(np.int16), mm_from_ijk=affine, made_up=np.zeros(n[2], bool)
        )

    @pytest.mark.parametrize("axis", [0, 1, 2])
    def test_across_from_the_cheek_14_mm_to_both_sides(self, axis):
        found = Profiles.across(self.scan(axis), self.ARCH)
        assert found.grey.shape[1] == 141
        assert np.linalg.norm(found.ways, axis=1) == pytest.approx(np.ones(len(found.ways)))
        places = found.starts[:, None] + 0.2 * np.arange(141)[:, None] * found.ways[:, None]
        seen = np.isfinite(found.grey)
        assert found.grey[seen] == pytest.approx(10.0 * places[..., axis][seen], abs=0.6)
        # From the cheek, 14 mm outside the arc, to the tongue.
        away = np.hypot(found.starts[:, 0], found.starts[:, 1] - RADIUS_MM)
        assert away == pytest.approx(np.full(len(away), RADIUS_MM + 14.0), abs=0.02)
        turn = np.arctan2(found.starts[:, 0], RADIUS_MM - found.starts[:, 1])
        stations = np.unique(np.round(RADIUS_MM * (turn + np.radians(75)), 1))
        assert set(stations) <= set(np.round(np.arange(1.0, 69.0, 2.0), 1))
        assert set(np.unique(found.starts[:, 2])) <= set(np.arange(-40.0, 40.5, 1.5))
        inner = found.smooth[:, 1:-1]
        three = (found.grey[:, :-2] + found.grey[:, 1:-1] + found.grey[:, 2:]) / 3
        assert inner == pytest.approx(three, nan_ok=True)

    def test_upright_beside_the_arch(self):
        found = Profiles.upright(self.scan(2), self.ARCH)
        assert found.ways.tolist() == [[0.0, 0.0, 1.0]] * len(found.ways)
        assert found.grey.shape[1] == 401
        at = 10.0 * (found.starts[:, 2:] + 0.2 * np.arange(401))
        seen = np.isfinite(found.grey)
        assert found.grey[seen] == pytest.approx(at[seen], abs=0.6)
        assert (found.starts[:, 2] == -40.0).all()
        away = np.hypot(found.starts[:, 0], found.starts[:, 1] - RADIUS_MM) - RADIUS_MM
        assert set(np.round(away)) <= {-13.0, -10.0, -7.0, 7.0, 10.0, 13.0}
        assert np.abs(away - np.round(away)).max() < 0.05

    def test_lines_of_which_six_tenths_were_scanned(self):
        """84 of 140 samples and one more."""
        found = Profiles.across(self.scan(1, size=(60.0, 26.0, 90.0), first=(-30, 0, -45)),
                                self.ARCH)  # fmt: skip
        scanned = np.isfinite(found.grey).sum(axis=1)
        assert scanned.min() >= 85
        assert 0 < len(scanned) < len(Profiles.across(self.scan(1), self.ARCH).grey)
