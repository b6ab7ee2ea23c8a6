"""Levels of cortex by wide plates, and blur by steps of air, from fits that are written by hand."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from core.bone import cortex_level
from core.bone.bone_levels import USUAL_BLUR, Blur
from core.bone.cortex_level import (
    CortexLevel,
    Places,
    _air_steps,
    _blur_of_steps,
    _by_wide_plates,
    before_marrow,
)
from core.bone.plate_kernels import COLUMNS, INSIDE, LEVEL, MISFIT, OK, SIGMA, SINGLE, WIDTH
from core.bone.tissue_classes import Profiles, TissueClasses
from core.image.volume import Volume

SOFT, TRUE, NOISE = 100.0, 1100.0, 10.0
CLASSES = TissueClasses(air=-900.0, soft=SOFT, soft_sd=5.0, noise_sd=NOISE, bright=1200.0)
VOLUME = Volume(
    voxels=np.zeros((4, 4, 4), np.int16), mm_from_ijk=np.diag([0.2, 0.2, 0.2, 1.0]),
    made_up=np.zeros(4, bool),
)  # fmt: skip
VOXEL = 0.2**2 / 4
"""Variance of a voxel's box and of the interpolation: a twelfth and a sixth of its square."""

BLUR = 0.05
WHOLE = np.sqrt(BLUR + VOXEL)


def known(*, seen=True, level=TRUE, sd=100.0):
    blur = Blur(variance_mm2=BLUR, sd_mm=0.02, seen=seen)
    return CortexLevel(level=level, sd=sd, blur=blur, apart=False, halves=(level, level))


def places(count):
    return Places(
        points_mm=np.zeros((count, 3)), ways=np.tile([1.0, 0, 0], (count, 1)),
        buccal=np.arange(count) % 2 == 0, summit=np.full(count, 1200.0), rows=np.arange(count),
        samples=np.zeros(count),
    )  # fmt: skip


def fits(count, **columns):
    """Wide plates before marrow, exactly described; columns that are other by name."""
    values = np.zeros((count, COLUMNS))
    names = {"ok": OK, "misfit": MISFIT, "single": SINGLE, "level": LEVEL, "inside": INSIDE,
             "sigma": SIGMA, "width": WIDTH}  # fmt: skip
    plain = {"ok": 1.0, "misfit": 20.0, "single": 0.0, "level": TRUE, "inside": 400.0,
             "sigma": WHOLE, "width": 2.0}  # fmt: skip
    cosine = np.broadcast_to(columns.pop("cosine", 1.0), (count,))
    for name, value in (plain | columns).items():
        values[:, names[name]] = value
    return SimpleNamespace(values=values, cosine=cosine, outward=np.tile([-1.0, 0, 0], (count, 1)))


def by_wide(monkeypatch, *answers, count=60, of=None, solid=False, prior=None):
    """`answers`: what is fitted with a free blur, then with the scan's own."""
    given = list(answers if len(answers) > 1 else answers * 2)
    monkeypatch.setattr(cortex_level, "fit_at", lambda *_, **__: given.pop(0))
    return _by_wide_plates(
        VOLUME, CLASSES, of or places(count), prior or known(), TRUE, solid=solid
    )


class TestWidePlates:
    def test_they_show_their_level_and_the_blur(self, monkeypatch):
        rng = np.random.default_rng(1)
        level = TRUE + 15.0 * rng.standard_normal(200)
        found = by_wide(monkeypatch, fits(200, level=level, sigma=np.sqrt(0.06 + VOXEL)), count=200)
        assert found.apart
        # The lowest of the frequent ones: among levels that scatter, a little under their middle.
        assert found.level == pytest.approx(TRUE, abs=20)
        assert 20.0 <= found.sd < 30.0
        assert found.blur.variance_mm2 == pytest.approx(0.06)
        assert (found.blur.sd_mm, found.blur.seen) == (0.02, True)
        assert found.halves == pytest.approx((TRUE, TRUE), abs=10)

    def test_each_side_has_its_own(self, monkeypatch):
        level = np.where(np.arange(60) % 2 == 0, TRUE + 20.0, TRUE - 20.0)
        found = by_wide(monkeypatch, fits(60, level=level))
        assert found.halves == pytest.approx((TRUE + 20, TRUE - 20))

    def test_what_all_plates_together_say_otherwise_is_doubt(self, monkeypatch):
        found = by_wide(monkeypatch, fits(60), prior=known(level=1300.0))
        assert found.level == pytest.approx(TRUE)
        assert found.sd == pytest.approx(np.hypot(0.02 * 1000, 0.3 * 200))

    @pytest.mark.parametrize(
        ("otherwise", "counts"),
        [
            ({}, True),
            ({"ok": 0.0}, False),
            ({"cosine": 0.84}, False),
            ({"cosine": 0.86, "sigma": WHOLE / 0.86}, True),
            ({"misfit": 64.9}, True),
            ({"misfit": 65.1}, False),
            ({"sigma": 0.79 * WHOLE}, False),
            ({"sigma": 0.81 * WHOLE}, True),
            ({"width": 1.5 * 2.3548 * WHOLE * 0.99}, False),
            ({"width": 1.5 * 2.3548 * WHOLE * 1.01}, True),
            ({"inside": 790.0}, True),
            ({"inside": 810.0}, False),
            ({"inside": -149.0}, True),
            ({"inside": -151.0}, False),
            ({"single": 1.0}, True),
            ({"level": TRUE + 349.0}, True),
            ({"level": TRUE + 351.0}, False),
            ({"level": TRUE - 349.0, "inside": 300.0}, True),
            ({"level": TRUE - 351.0, "inside": 300.0}, False),
        ],
    )
    def test_which_fits_count(self, monkeypatch, otherwise, counts):
        found = by_wide(monkeypatch, fits(60, **otherwise), fits(60))
        assert (found is not None) is counts

    def test_with_the_scans_own_blur_they_must_be_wide_too(self, monkeypatch):
        thin = fits(60, width=0.9 * 1.5 * 2.3548 * WHOLE)
        assert by_wide(monkeypatch, fits(60), thin) is None
        assert by_wide(monkeypatch, fits(60), thin, prior=known(seen=False)) is not None

    def test_while_the_blur_is_not_seen_narrower_ones_count(self, monkeypatch):
        sharp = fits(60, sigma=0.5 * WHOLE)
        assert by_wide(monkeypatch, sharp) is None
        found = by_wide(monkeypatch, sharp, prior=known(seen=False))
        assert found.blur.variance_mm2 == pytest.approx((0.5 * WHOLE) ** 2 - VOXEL)

    @pytest.mark.parametrize(
        ("count", "of", "told"),
        [(24, 60, False), (25, 60, True), (31, 400, False), (33, 400, True)],
    )
    def test_twenty_five_and_eight_hundredths_of_all(self, monkeypatch, count, of, told):
        ok = (np.arange(of) < count).astype(float)
        assert (by_wide(monkeypatch, fits(of, ok=ok), count=of) is not None) is told

    @pytest.mark.parametrize(("share", "told"), [(0.39, False), (0.41, True)])
    def test_solid_bone_is_four_tenths_of_all_places(self, monkeypatch, share, told):
        single = (np.arange(200) < share * 200).astype(float)
        found = by_wide(monkeypatch, fits(200, single=single), count=200, solid=True)
        assert (found is not None) is told
        if told:
            assert found.sd == pytest.approx(20.0)
            assert found.blur == known().blur

    def test_fewer_than_fifteen_plates_leave_the_blur_as_it_was(self, monkeypatch):
        for plates, own in ((14, False), (15, True)):
            single = (np.arange(60) >= plates).astype(float)
            found = by_wide(monkeypatch, fits(60, single=single, sigma=np.sqrt(0.07 + VOXEL)))
            assert found.blur.variance_mm2 == pytest.approx(0.07 if own else BLUR)

    def test_a_level_far_from_the_frequent_one_tells_nothing_of_a_side(self, monkeypatch):
        level = np.full(60, TRUE)
        level[:20:2] = TRUE + 340.0
        found = by_wide(monkeypatch, fits(60, level=level))
        assert found.halves == pytest.approx((TRUE, TRUE), abs=1)


def test_air_behind_a_plate_is_a_quarter_of_the_contrast_below_soft_tissue():
    values = np.zeros((4, COLUMNS))
    values[:, INSIDE] = [-149.0, -151.0, 300.0, 300.0]
    values[3, SINGLE] = 1.0
    assert before_marrow(values, SOFT, 1000.0).tolist() == [True, False, True, False]


class TestBlurOfSteps:
    def blur(self, monkeypatch, answer, *, count=40, classes=CLASSES):
        step = np.zeros((count // 2, 3)), np.tile([1.0, 0, 0], (count // 2, 1))
        monkeypatch.setattr(cortex_level, "_air_steps", lambda *_: step)
        asked = {}

        def fit_at(volume, points, ways, levels, prior, *, depth_mm, free_blur):
            asked.update(levels=levels, prior=prior, count=len(points))
            return answer

        monkeypatch.setattr(cortex_level, "fit_at", fit_at)
        return _blur_of_steps(VOLUME, (None, None), classes), asked

    def steps(self, count=40, **other):
        variance = other.pop("variance", BLUR)
        plain = {"single": 1.0, "level": SOFT, "sigma": np.sqrt(variance + VOXEL), "misfit": 20.0}
        return fits(count, **(plain | other))

    def test_the_median_of_clean_steps(self, monkeypatch):
        rng = np.random.default_rng(3)
        variance = BLUR + 0.01 * rng.standard_normal(400)
        found, asked = self.blur(monkeypatch, self.steps(400, variance=variance), count=400)
        assert found.seen
        assert found.variance_mm2 == pytest.approx(np.median(variance))
        # Of the square of the size 0.01; of the size that over twice it; one in ten counts.
        size = np.sqrt(BLUR + 0.25 * 0.04)
        assert found.sd_mm == pytest.approx(np.hypot(0.01 / (2 * size) / np.sqrt(40), 0.01),
                                            rel=0.1)  # fmt: skip
        assert asked["levels"].soft == -900.0
        assert asked["levels"].cortical == SOFT
        assert asked["prior"].level == SOFT
        assert asked["prior"].level_sd == pytest.approx(300.0)
        assert asked["count"] == 400

    @pytest.mark.parametrize(
        ("otherwise", "counts"),
        [({}, True), ({"ok": 0.0}, False), ({"single": 0.0}, False), ({"cosine": 0.84}, False),
         ({"cosine": 0.86}, True), ({"misfit": 64.0}, True), ({"misfit": 66.0}, False)],
    )  # fmt: skip
    def test_which_count(self, monkeypatch, otherwise, counts):
        """Within 0.06 of the step of 1000 and half of the noise."""
        found, _ = self.blur(monkeypatch, self.steps(**otherwise))
        assert found.seen is counts
        if not counts:
            assert found is USUAL_BLUR

    def test_fifteen_at_least_and_air(self, monkeypatch):
        for good, seen in ((14, False), (15, True)):
            ok = (np.arange(40) < good).astype(float)
            assert self.blur(monkeypatch, self.steps(ok=ok))[0].seen is seen
        assert self.blur(monkeypatch, self.steps(14), count=14)[0] is USUAL_BLUR
        without = TissueClasses(air=None, soft=SOFT, soft_sd=5.0, noise_sd=NOISE, bright=1200.0)
        assert self.blur(monkeypatch, self.steps(), classes=without)[0] is USUAL_BLUR

    def test_of_slanting_steps_the_blur_along_the_normal(self, monkeypatch):
        slanting = self.steps(cosine=0.9, sigma=np.sqrt(BLUR + VOXEL) / 0.9)
        assert self.blur(monkeypatch, slanting)[0].variance_mm2 == pytest.approx(BLUR)


class TestAirSteps:
    """Air of -900 and soft tissue of 100: even within a quarter of the step and two noises."""

    def found(self, *parts, count=1):
        row = np.full(141, -900.0)
        at = np.arange(141)
        for first, level in parts:
            row[at >= first] = level
        grey = np.tile(row, (count, 1))
        lines = Profiles(
            starts=np.zeros((count, 3)), ways=np.tile([0.0, 1.0, 0.0], (count, 1)), grey=grey,
            smooth=grey,
        )  # fmt: skip
        points, ways = _air_steps(lines, -900.0, CLASSES)
        return [(round(float(p[1] / 0.2)), float(w[1])) for p, w in zip(points, ways, strict=True)]

    def test_where_air_meets_soft_tissue_with_the_way_into_it(self):
        """A millimetre off the step, each even over 1.6 mm."""
        assert self.found((60, 100.0)) == [(59, 1.0)]
        assert self.found((60, 100.0), (100, -900.0)) == [(59, 1.0), (100, -1.0)]
        assert self.found((60, 100.0), count=3) == [(59, 1.0)] * 3

    @pytest.mark.parametrize(
        ("first", "seen"), [(22, False), (23, True), (127, True), (128, False)]
    )
    def test_so_far_from_the_ends_as_is_looked_at(self, first, seen):
        """21 samples before it, 13 behind."""
        assert bool(self.found((first, 100.0))) is seen

    @pytest.mark.parametrize(("level", "seen"), [(369.0, True), (371.0, False), (-169.0, True),
                                                 (-171.0, False)])  # fmt: skip
    def test_even_within_a_quarter_of_the_step_and_two_noises(self, level, seen):
        assert bool(self.found((60, level))) is seen

    @pytest.mark.parametrize(("off", "seen"), [(1, True), (2, False)])
    def test_mostly_even_on_both_sides(self, off, seen):
        """More than eight tenths of eight samples: seven."""
        behind = [(60, 100.0), (66, 900.0), (66 + off, 100.0)]
        assert bool(self.found(*behind)) is seen
        before = [(48, -400.0), (48 + off, -900.0), (60, 100.0)]
        assert bool(self.found(*before)) is seen

    def test_at_most_three_hundred(self):
        assert len(self.found((60, 100.0), count=301)) == 300
