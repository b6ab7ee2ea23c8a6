"""The steps by which a level of cortex is chosen, each on numbers whose answer is known."""

from __future__ import annotations

import numpy as np
import pytest

from core.bone import cortex_level
from core.bone.bone_levels import USUAL_BLUR, Blur
from core.bone.cortex_level import (
    _TRIED,
    MOST_DOUBT,
    FixedLevel,
    Places,
    _alike,
    _between,
    _blurs_mm,
    _by_chance,
    _cap,
    _lowest,
    _open_end,
    _usable,
    first_places,
    lowest_frequent,
)
from core.bone.tissue_classes import Profiles, TissueClasses


def bowl(at, *, places=20, least=1.0, steep=4.0):
    """(levels, places) costs with one least at a level, a parabola in its logarithm."""
    cost = least + steep * (np.log(_TRIED) - np.log(at)) ** 2
    return np.tile(cost[:, None], (1, places))


class TestLowestCost:
    @pytest.mark.parametrize("at", [1.05, 1.4, 1.7, 2.5])
    def test_between_the_levels_that_were_tried(self, at):
        found, cost = _lowest(bowl(at), 1e9)
        assert found == pytest.approx(at, rel=1e-9)
        assert cost == pytest.approx(bowl(at)[:, 0].min())

    def test_never_beyond_the_three_levels_that_it_rests_on(self):
        assert _lowest(bowl(0.3), 1e9)[0] == pytest.approx(0.9)
        assert _lowest(bowl(9.0), 1e9)[0] == pytest.approx(3.4)

    def test_a_cost_that_bends_the_other_way_ends_at_the_lowest_level(self):
        assert _lowest(-bowl(1.6), 1e9)[0] == pytest.approx(3.4)

    def test_a_place_that_fits_no_level_weighs_no_more_than_the_cap(self):
        cost = bowl(1.4)
        cost[:, 0] = 1e6 * bowl(3.0)[:, 0]
        found, _ = _lowest(cost, 4.0)
        assert found == pytest.approx(1.4, rel=0.02)
        assert _lowest(cost, np.inf)[0] == pytest.approx(3.0, rel=0.02)

    def test_the_cap_is_four_times_what_the_middle_place_costs_at_best(self):
        costs = [bowl(1.4, places=5, least=0.5), bowl(1.6, places=5, least=0.25)]
        costs[0][:, 4] = np.nan
        usable = _usable(costs)
        assert usable.tolist() == [True] * 4 + [False]
        best = min(c[:, 0].min() for c in costs)
        assert _cap(costs, usable) == pytest.approx(4 * best)


class TestAlike:
    def test_levels_that_cost_hardly_more(self):
        """A cost of 1 + 4 x² is 4 % more where x is 0.1 about the least."""
        found = _alike(bowl(1.6), 1e9, 0.04)
        assert found.min() < 1.6 < found.max()
        total = np.interp(np.log(found), np.log(_TRIED), bowl(1.6)[:, 0])
        assert (total <= 1.04 * total.min() + 1e-12).all()
        outside = np.exp(np.log(found[[0, -1]]) + np.array([-0.02, 0.02]))
        more = np.interp(np.log(outside), np.log(_TRIED), bowl(1.6)[:, 0])
        assert (more > 1.04 * total.min()).all()

    def test_the_levels_tried_are_among_them(self):
        assert _alike(bowl(1.4), 1e9, 0.0) == pytest.approx([1.4])

    @pytest.mark.parametrize(("best", "is_open"), [(2.6, False), (2.8, True), (3.4, True)])
    def test_where_the_brightest_describes_them_best_the_end_is_open(self, best, is_open):
        cost = bowl(3.4, steep=1.0)
        level, doubt = _open_end(cost, 1e9, best)
        if not is_open:
            assert (level, doubt) == (best, 0.0)
            return
        alike = _alike(cost, 1e9, 0.04)
        assert level == pytest.approx(np.sqrt(alike[0] * alike[-1]))
        assert doubt == pytest.approx(max(0.5 * (alike[-1] - alike[0]), 0.35 * level))

    def test_an_open_end_that_is_flat_is_in_doubt_by_all_of_it(self):
        cost = bowl(3.4, steep=0.01)
        level, doubt = _open_end(cost, 1e9, 3.4)
        assert level == pytest.approx(np.sqrt(0.9 * 3.4))
        assert doubt == pytest.approx(0.5 * (3.4 - 0.9))


class TestBlurs:
    def test_those_that_are_usual_or_the_steps_own_and_wider(self):
        assert _blurs_mm(USUAL_BLUR) == (0.08, 0.16, 0.22, 0.3, 0.4, 0.52, 0.68)
        steps = Blur(variance_mm2=0.09, sd_mm=0.01, seen=True)
        assert _blurs_mm(steps) == pytest.approx((0.3, 0.36, 0.435, 0.525))
        sharpened = Blur(variance_mm2=-0.02, sd_mm=0.01, seen=True)
        assert _blurs_mm(sharpened)[0] == pytest.approx(0.08)

    def test_between_three_blurs_by_a_parabola(self):
        tried = [Blur(variance_mm2=v, sd_mm=0.1, seen=False) for v in (0.01, 0.04, 0.16, 0.64)]
        costs = [
            bowl(1.4, least=1.0 + 0.3 * (np.log(b.variance_mm2) - np.log(0.06)) ** 2) for b in tried
        ]
        found = _between(tried, costs)
        assert found.variance_mm2 == pytest.approx(0.06, rel=1e-6)
        assert not found.seen
        ends = [bowl(1.4, least=1.0 + k) for k in range(4)]
        assert _between(tried, ends).variance_mm2 == pytest.approx(0.01)
        assert _between(tried, ends[::-1]).variance_mm2 == pytest.approx(0.64)

    def test_a_known_level_is_the_same_everywhere(self):
        known = FixedLevel(
            blur=Blur(variance_mm2=0.05, sd_mm=0.03, seen=True), level=900.0, level_sd=30.0
        )
        points = np.zeros((3, 3))
        level, sd, borrowed = known.near(points, points)
        assert level.tolist() == [900.0] * 3
        assert sd.tolist() == [30.0] * 3
        assert borrowed.tolist() == [False] * 3
        assert known.blur_sd_mm == 0.03


class TestLowestFrequent:
    def test_of_two_frequent_levels_the_lower(self):
        rng = np.random.default_rng(1)
        low, high = 1000 + 20 * rng.standard_normal(300), 1600 + 20 * rng.standard_normal(500)
        level, spread = lowest_frequent(np.concatenate([low, high]))
        assert level == pytest.approx(1000, abs=5)
        assert spread == pytest.approx(20, rel=0.25)

    @pytest.mark.parametrize(("few", "counts"), [(110, False), (260, True)])
    def test_a_level_less_than_four_tenths_as_frequent_is_not_taken(self, few, counts):
        rng = np.random.default_rng(2)
        low, high = 1000 + 20 * rng.standard_normal(few), 1600 + 20 * rng.standard_normal(500)
        level, _ = lowest_frequent(np.concatenate([low, high]))
        assert level == pytest.approx(1000 if counts else 1600, abs=6)

    def test_alike_levels_are_that_level(self):
        assert lowest_frequent(np.full(40, 1234.0)) == pytest.approx((1234.0, 0.0))


class TestFirstPlaces:
    SOFT, NOISE = 100.0, 10.0

    def found(self, rows, *, bright=1100.0):
        grey = np.array(rows, dtype=float)
        n = len(grey)
        lines = Profiles(
            starts=np.column_stack([np.zeros(n), np.arange(n), np.zeros(n)]).astype(float),
            ways=np.tile([1.0, 0.0, 0.0], (n, 1)),
            grey=grey,
            smooth=grey,
        )
        classes = TissueClasses(
            air=None, soft=self.SOFT, soft_sd=5.0, noise_sd=self.NOISE, bright=bright
        )
        return first_places(lines, classes)

    def row(self, *parts):
        out = np.full(141, self.SOFT)
        for first, after, level in parts:
            out[first:after] = level
        return out

    def test_from_both_sides_with_the_way_in(self):
        places = self.found([self.row((40, 100, 900.0))])
        assert places.buccal.tolist() == [True, False]
        assert places.samples.tolist() == [40, 99]
        assert places.points_mm == pytest.approx(np.array([(8.0, 0, 0), (19.8, 0, 0)]))
        assert places.ways == pytest.approx(np.array([(1.0, 0, 0), (-1.0, 0, 0)]))
        assert places.summit.tolist() == [900.0, 900.0]
        assert places.rows.tolist() == [0, 0]

    @pytest.mark.parametrize(("level", "seen"), [(299.0, False), (301.0, True)])
    def test_a_fifth_of_the_way_to_what_is_bright(self, level, seen):
        assert bool(len(self.found([self.row((40, 100, level))]).rows)) is seen

    @pytest.mark.parametrize(("level", "seen"), [(139.0, False), (141.0, True)])
    def test_four_noises_at_least(self, level, seen):
        assert bool(len(self.found([self.row((40, 100, level))], bright=200.0).rows)) is seen

    def test_a_single_sample_is_noise(self):
        places = self.found([self.row((30, 31, 900.0), (40, 100, 900.0), (110, 111, 900.0))])
        assert places.samples.tolist() == [40, 99]

    @pytest.mark.parametrize(
        ("first", "after", "samples"),
        [(18, 100, [99]), (19, 100, [19, 99]), (40, 122, [40, 121]), (40, 123, [40])],
    )
    def test_three_and_a_half_millimetres_lie_before_it(self, first, after, samples):
        """Lead of round(3.5 / 0.2) = 18 samples; the place itself stands beyond."""
        assert sorted(self.found([self.row((first, after, 900.0))]).samples) == samples

    def test_what_was_not_scanned_before_it_takes_the_place_away(self):
        row = self.row((40, 100, 900.0))
        row[30] = np.nan
        assert self.found([row]).samples.tolist() == [99]
        row[30] = self.SOFT
        row[20] = np.nan
        assert self.found([row]).samples.tolist() == [40, 99], "further off it does not matter"

    def test_the_first_summit_is_the_highest_with_nothing_higher_within_six_tenths(self):
        row = self.row((40, 100, 500.0), (41, 42, 900.0), (46, 47, 1200.0))
        assert self.found([row]).summit[0] == 900.0
        row = self.row((40, 100, 500.0), (41, 42, 900.0), (44, 45, 1200.0))
        assert self.found([row]).summit[0] == 1200.0
        # No further than 2.4 mm behind it.
        row = self.row((40, 100, 500.0), *[(40 + k, 41 + k, 500.0 + 50 * k) for k in range(20)])
        assert self.found([row]).summit[0] == 500.0 + 50 * 11

    def test_some_of_them_keep_all_that_belongs_to_each(self):
        places = self.found([self.row((40 + k, 100, 900.0 + k)) for k in range(4)])
        some = places.some(np.array([0, 5]))
        assert some.rows.tolist() == [0, 1]
        assert some.buccal.tolist() == [True, False]
        assert some.samples.tolist() == [40, 99]
        assert some.summit.tolist() == [900.0, 901.0]
        assert some.points_mm == pytest.approx(np.array([(8.0, 0, 0), (19.8, 1, 0)]))
        assert len(places.some(places.buccal).rows) == 4


class Drawn:
    """Bundles of which every some is all."""

    def every(self, _step):
        return self


class TestTogether:
    """One level for all plates, with costs drawn by hand: 1 + wider (ln v / v0)² + 4 (ln r / r0)².

    r0 grows with the blur: a wider blur is made up for by a brighter cortex.
    """

    CLASSES = TissueClasses(air=None, soft=100.0, soft_sd=5.0, noise_sd=10.0, bright=1100.0)
    PLACES = Places(
        points_mm=np.zeros((40, 3)),
        ways=np.tile([1.0, 0.0, 0.0], (40, 1)),
        buccal=np.arange(40) % 2 == 0,
        summit=np.linspace(900.0, 1300.0, 40),
        rows=np.arange(40),
        samples=np.zeros(40),
    )
    RISE = 1200.0 - 100.0

    def level(self, monkeypatch, blur, *, best=0.05, wider=0.05, apart=0.0, moves=0.2):
        def costs(volume, classes, bundles, tried, rise):
            assert rise == pytest.approx(self.RISE)
            at = np.log(max(tried.variance_mm2, 1e-4) / best)
            out = np.empty((len(_TRIED), 40))
            for half, shift in ((self.PLACES.buccal, apart), (~self.PLACES.buccal, -apart)):
                r0 = 1.3 * np.exp(moves * at + shift)
                out[:, half] = (1 + wider * at**2 + 4 * np.log(_TRIED / r0) ** 2)[:, None]
            return out

        monkeypatch.setattr(cortex_level, "_costs", costs)
        monkeypatch.setattr(cortex_level.Bundles, "at", lambda *a, **k: Drawn())
        return cortex_level._together(None, self.CLASSES, self.PLACES, blur)

    TRIED = np.array([0.08, 0.16, 0.22, 0.3, 0.4, 0.52, 0.68, np.sqrt(0.05)])

    @property
    def alike(self):
        """All places of a side cost the same, so nothing is chance: 0.05 ln² up to 6 %."""
        return self.TRIED[0.05 * np.log(self.TRIED**2 / 0.05) ** 2 <= 0.06]

    def test_with_a_blur_that_plates_must_show_themselves(self, monkeypatch):
        found = self.level(monkeypatch, USUAL_BLUR, moves=0.0)
        assert found.level == pytest.approx(100 + 1.3 * self.RISE, rel=1e-6)
        assert found.blur.variance_mm2 == pytest.approx(0.05, rel=1e-6)
        assert found.halves == pytest.approx((found.level, found.level), rel=1e-6)
        assert not found.apart
        assert 3 < len(self.alike) < len(self.TRIED)
        assert found.blur.sd_mm == pytest.approx(0.5 * np.ptp(self.alike), rel=1e-3)
        assert found.blur.through_mm2 is None
        flat = 0.5 * np.ptp(_alike(bowl(1.3), 1e9, 0.005))
        assert found.sd == pytest.approx(np.hypot(0.12 * 1.3, flat) * self.RISE, rel=1e-6)

    def test_blurs_that_are_alike_leave_the_level_in_doubt_between_theirs(self, monkeypatch):
        found = self.level(monkeypatch, USUAL_BLUR, moves=0.4)
        by_blur = 0.5 * 1.3 * np.ptp((self.alike**2 / 0.05) ** 0.4)
        flat = 0.5 * np.ptp(_alike(bowl(1.3), 1e9, 0.005))
        assert found.sd == pytest.approx(np.hypot(by_blur, flat) * self.RISE, rel=0.1)
        assert by_blur > 1.5 * 0.12 * 1.3

    def test_a_level_that_blurs_leave_open_is_in_doubt_by_all_of_it(self, monkeypatch):
        """Beyond half of the level there is no cap: it is not known, and must not look so."""
        found = self.level(monkeypatch, USUAL_BLUR, wider=0.02, moves=0.7)
        # The alike blurs ask for nearly all levels that are tried, the darkest to the brightest.
        most = 0.5 * (_TRIED[-1] - _TRIED[0]) * self.RISE
        assert MOST_DOUBT * 1.3 * self.RISE < 0.8 * most < found.sd <= most

    def test_a_blur_is_worse_by_chance_where_only_some_stretches_speak_against_it(self):
        buccal = np.arange(160) % 2 == 0
        best = np.ones((3, 160))
        steadily, here_and_there = best + 0.05, best + 0.0
        here_and_there[:, :20] += 0.8
        found = _by_chance([best, steadily, here_and_there], 0, buccal)
        assert found.tolist() == [False, False, True]

    def test_a_blur_that_one_alone_describes_is_known_to_a_twentieth(self, monkeypatch):
        found = self.level(monkeypatch, USUAL_BLUR, wider=50.0, moves=0.0)
        assert found.blur.sd_mm == 0.05

    def test_plates_that_cost_the_sharpest_blur_a_third_more_show_theirs(self, monkeypatch):
        """0.05 ln²(0.0064 / v0): 0.21 at v0 = 0.05; more than 0.3 from v0 = 0.075 on."""
        assert not self.level(monkeypatch, USUAL_BLUR, best=0.05).blur.seen
        assert self.level(monkeypatch, USUAL_BLUR, best=0.085).blur.seen

    def test_with_a_blur_that_steps_show_the_level_is_in_doubt_by_what_the_blur_is(
        self, monkeypatch
    ):
        steps = Blur(variance_mm2=0.05, sd_mm=0.03, seen=True)
        found = self.level(monkeypatch, steps)
        assert found.blur is steps
        moved = 1.3 * ((0.05 + 0.6 * 0.03) / 0.05) ** 0.2 - 1.3
        flat = 0.5 * np.ptp(_alike(bowl(1.3), 1e9, 0.005))
        assert found.sd == pytest.approx(np.hypot(moved, flat) * self.RISE, rel=0.02)

    def test_steps_that_the_plates_speak_against_are_not_theirs(self, monkeypatch):
        steps = Blur(variance_mm2=0.02, sd_mm=0.01, seen=True)
        found = self.level(monkeypatch, steps, best=0.055, wider=0.5)
        assert found.blur is not steps
        assert found.blur.through_mm2 == 0.02
        assert found.blur.variance_mm2 == pytest.approx(0.055, rel=0.05)

    def test_what_both_sides_say_apart_is_doubt(self, monkeypatch):
        steps = Blur(variance_mm2=0.05, sd_mm=0.0, seen=True)
        found = self.level(monkeypatch, steps, apart=0.15)
        buccal, lingual = found.halves
        assert buccal == pytest.approx(100 + 1.3 * np.exp(0.15) * self.RISE, rel=1e-3)
        assert lingual == pytest.approx(100 + 1.3 * np.exp(-0.15) * self.RISE, rel=1e-3)
        assert found.sd >= 0.5 * (buccal - lingual)
        assert found.sd == pytest.approx(0.5 * (buccal - lingual), rel=0.1)

    def test_the_doubt_is_a_twentieth_at_least_and_four_tenths_at_most(self, monkeypatch):
        sure = Blur(variance_mm2=0.05, sd_mm=0.0, seen=True)
        found = self.level(monkeypatch, sure)
        assert found.sd == pytest.approx(0.05 * 1.3 * self.RISE, rel=0.2)
        far = self.level(monkeypatch, sure, apart=0.45)
        assert far.sd == pytest.approx(0.4 * (far.level - 100), rel=1e-6)

    def test_too_few_places_that_can_be_used_tell_nothing(self, monkeypatch):
        def nothing(*_):
            out = np.full((len(_TRIED), 40), np.nan)
            out[:, :14] = 1.0
            return out

        monkeypatch.setattr(cortex_level, "_costs", nothing)
        monkeypatch.setattr(cortex_level.Bundles, "at", lambda *a, **k: Drawn())
        steps = Blur(variance_mm2=0.05, sd_mm=0.01, seen=True)
        monkeypatch.setattr(cortex_level, "_against_steps", lambda *a: False)
        assert cortex_level._together(None, self.CLASSES, self.PLACES, steps) is None
