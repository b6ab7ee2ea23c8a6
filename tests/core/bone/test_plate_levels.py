"""Levels around a place on a plate, and what they are carried by, on places drawn by hand."""

from __future__ import annotations

import numpy as np
import pytest

from core.bone.level_trend import LevelTrend, usual_trend
from core.bone.plate_levels import PlateLevels

UP = np.array([0.0, 0.0, 1.0])


class Path:
    """Bone on the rays that show a place: as many mm as its x."""

    def along(self, points_mm, outward, depth_mm):
        assert depth_mm == 0.3
        return points_mm[:, 0]


def trend(loss=0.0, doubt=0.0):
    return LevelTrend(
        through=UP, middle_mm=0.0, half_mm=10.0, gains=np.array([-loss, 0.0, 0.0]),
        covariance=np.diag([doubt**2, 0.0, 0.0]),
    )  # fmt: skip


def levels(points, level, *, outward=None, weight=None, bends=None, paths=True, spread=30.0):
    points = np.array(points, dtype=float).reshape(-1, 3)
    n = len(points)
    bends = trend() if bends is None else bends
    return PlateLevels(
        blur_variance_mm2=0.04, through_variance_mm2=0.01, through=UP, blur_sd_mm=0.02,
        apart_mm=1.2, misfit=0.02, points_mm=points,
        outward=np.tile([0.0, 1.0, 0.0], (n, 1)) if outward is None else np.array(outward, float),
        level=np.array(level, dtype=float),
        weight=np.ones(n) if weight is None else np.array(weight, float),
        terms=bends.terms(points, points[:, 0]), level_all=1000.0, spread_all=200.0,
        terms_all=np.zeros(3), least_spread=spread, paths=Path() if paths else None, trend=bends,
    )  # fmt: skip


AT, OUT = np.zeros((1, 3)), np.array([[0.0, 1.0, 0.0]])


class TestBlur:
    @pytest.mark.parametrize(
        ("way", "variance"),
        [((1, 0, 0), 0.04), ((0, 0, 1), 0.01), ((0, 0.6, 0.8), 0.04 - 0.64 * 0.03)],
    )
    def test_its_square_weighs_by_the_squares_of_the_directions_parts(self, way, variance):
        known = levels([(0, 0, 0)], [900])
        assert known.variance_mm2(np.array([way], float)) == pytest.approx([variance])


class TestNear:
    def test_alike_levels_are_that_level_with_the_least_spread(self):
        known = levels([(0, 0, k) for k in range(5)], [900.0] * 5)
        level, spread, borrowed = known.near(AT, OUT)
        assert level == pytest.approx([900])
        assert spread == pytest.approx([30])
        assert not borrowed[0]

    def test_the_near_ones_weigh_more_by_a_gaussian_of_4_mm(self):
        places, values = [(0, 0, 2), (0, 0, 4), (0, 0, 8)], np.array([900.0, 960.0, 1000.0])
        weight = np.exp(-0.5 * (np.array([2, 4, 8]) / 4) ** 2) + 1e-6
        level, spread, _ = levels(places, values).near(AT, OUT)
        mean = (weight * values).sum() / weight.sum()
        assert level == pytest.approx([mean])
        sd = np.sqrt((weight * (values - mean) ** 2).sum() / weight.sum())
        assert spread == pytest.approx([np.hypot(sd, 30)])
        by_own = levels(places, values, weight=[0, 1, 0]).near(AT, OUT)
        assert by_own[2][0], "of three places one alone says something: borrowed"

    def test_what_is_far_off_the_others_has_no_say(self):
        values = [900.0] * 11 + [2000.0]
        level, _, _ = levels([(0, 0, 0.1 * k) for k in range(12)], values).near(AT, OUT)
        assert level == pytest.approx([900])

    @pytest.mark.parametrize(("away", "borrowed"), [(14.9, False), (15.1, True)])
    def test_within_15_mm(self, away, borrowed):
        known = levels([(0, 0, away)] * 3, [900.0] * 3)
        found = known.near(AT, OUT)
        assert found[2][0] == borrowed
        assert found[0] == pytest.approx([1000.0 if borrowed else 900.0])
        assert found[1] == pytest.approx([200.0 if borrowed else 30.0])

    @pytest.mark.parametrize(("cosine", "borrowed"), [(0.51, False), (0.49, True)])
    def test_on_the_same_plate_alone(self, cosine, borrowed):
        normal = (np.sqrt(1 - cosine**2), cosine, 0)
        known = levels([(0, 0, 1)] * 3, [900.0] * 3, outward=[normal] * 3)
        assert known.near(AT, OUT)[2][0] == borrowed

    @pytest.mark.parametrize(("count", "there", "borrowed"), [(3, 3, False), (3, 2, True)])
    def test_three_places_or_all_there_are(self, count, there, borrowed):
        places = [(0, 0, 1)] * there + [(0, 0, 40)] * (count - there)
        assert levels(places, [900.0] * count).near(AT, OUT)[2][0] == borrowed
        assert not levels([(0, 0, 1)], [900.0]).near(AT, OUT)[2][0]

    def test_carried_along_the_trend_with_its_doubt(self):
        """Places with 5 mm more bone on their rays, 10 grey values darker by the millimetre."""
        known = levels([(5, 0, z) for z in (-1, 0, 1)], [900.0] * 3, bends=trend(10.0, 3.0))
        level, spread, _ = known.near(AT, OUT)
        assert level == pytest.approx([950.0])
        assert spread == pytest.approx([np.hypot(30, 15)])

    def test_without_places_or_paths_all_is_borrowed(self):
        for known in (levels([], []), levels([(0, 0, 0)] * 3, [900] * 3, paths=False)):
            level, spread, borrowed = known.near(np.zeros((2, 3)), np.tile(OUT, (2, 1)))
            assert level.tolist() == [1000.0] * 2
            assert spread.tolist() == [200.0] * 2
            assert borrowed.tolist() == [True] * 2


class TestTrend:
    def test_terms_are_path_height_and_its_square_held_at_the_ends(self):
        bends = LevelTrend(
            through=UP, middle_mm=2.0, half_mm=8.0, gains=np.zeros(3), covariance=np.zeros((3, 3))
        )
        points = np.array([(0, 0, 6.0), (1, 1, 10.0), (0, 0, 99.0), (0, 0, -99.0)])
        found = bends.terms(points, np.array([1.0, 2.0, 3.0, 4.0]))
        assert found == pytest.approx(
            np.array([(1, 0.5, 0.25), (2, 1, 1), (3, 1, 1), (4, -1, 1)], dtype=float)
        )

    def test_doubt_is_that_of_the_gains_together(self):
        bends = LevelTrend(
            through=UP, middle_mm=0.0, half_mm=1.0, gains=np.zeros(3),
            covariance=np.array([(4.0, 1.0, 0.0), (1.0, 9.0, 0.0), (0.0, 0.0, 0.0)]),
        )  # fmt: skip
        assert bends.doubt(np.array([(1.0, 2.0, 5.0)])) == pytest.approx([np.sqrt(4 + 36 + 4)])

    def test_what_is_usual_is_six_thousandths_of_the_contrast_by_the_millimetre(self):
        usual = usual_trend(UP, 1500.0)
        assert usual.gains == pytest.approx([-9.0, 0, 0])
        assert usual.doubt(np.array([(2.0, 1.0, 1.0)])) == pytest.approx([12.0])
