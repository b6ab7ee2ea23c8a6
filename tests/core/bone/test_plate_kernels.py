"""The fit of a blurred plate, step by step, run as plain Python: no kernel is compiled here."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.stats import norm

from core.bone import plate_kernels as k
from core.bone.plate_kernels import (
    COLUMNS,
    EDGE,
    INSIDE,
    LEVEL,
    MISFIT,
    OK,
    OUTSIDE,
    SD_EDGE,
    SD_INNER,
    SD_WIDTH,
    SIGMA,
    SINGLE,
    WIDTH,
)

STEP, BLUR = 0.1, 0.25
P = np.array([3.02, 1.4, 100.0, 1100.0, 400.0, BLUR])
NAMES = (
    "_copy", "_solve", "_step", "_row", "_normal", "_descend", "_mean", "_grow", "_begin",
    "_errors", "_fit_one", "fit_profiles",
)  # fmt: skip


@pytest.fixture(autouse=True)
def plain(monkeypatch):
    """Every function of the module by its own source."""
    for name in NAMES:
        monkeypatch.setattr(k, name, getattr(k, name).py_func)


def profile(p=P, count=100, *, single=False):
    t = STEP * np.arange(count)
    out = p[2] + (p[3] - p[2]) * norm.cdf((t - p[0]) / p[5])
    if not single:
        out = out + (p[4] - p[3]) * norm.cdf((t - p[0] - p[1]) / p[5])
    return out


class TestParts:
    def test_a_system_is_solved_and_a_singular_one_told(self):
        rng = np.random.default_rng(1)
        for n in (1, 3, 6):
            root = rng.normal(size=(n, n))
            a, b = root @ root.T + np.eye(n), rng.normal(size=n)
            expected = np.linalg.solve(a, b)
            assert k._solve(a.copy(), b, n)
            assert b == pytest.approx(expected)
        assert not k._solve(np.zeros((2, 2)), np.ones(2), 2)

    @pytest.mark.parametrize("u", [-4.9, -1.0, 0.0, 0.3, 4.9])
    def test_the_step_is_the_normal_distribution(self, u):
        assert k._step(u) == pytest.approx((norm.cdf(u), norm.pdf(u)))
        assert k._step(-5.1) == (0.0, 0.0)
        assert k._step(5.1) == (1.0, 0.0)

    @pytest.mark.parametrize("single", [False, True])
    @pytest.mark.parametrize("t", [2.5, 3.0, 3.4, 4.3, 4.6])
    def test_the_model_and_its_derivatives(self, t, single):
        jac = np.empty(6)
        value = k._row(P, t, single, jac)
        expected = P[2] + (P[3] - P[2]) * norm.cdf((t - P[0]) / P[5])
        if not single:
            expected += (P[4] - P[3]) * norm.cdf((t - P[0] - P[1]) / P[5])
        assert value == pytest.approx(expected)
        for i in range(6):
            ahead, back = (P + s * 1e-6 * np.eye(6)[i] for s in (1, -1))
            slope = k._row(ahead, t, single, np.empty(6)) - k._row(back, t, single, np.empty(6))
            assert jac[i] == pytest.approx(slope / 2e-6, abs=1e-3)

    def test_cost_gradient_and_matrix_are_those_of_weighted_squares_with_priors(self):
        values = profile() + np.random.default_rng(2).normal(0, 5, 100)
        p = np.add(P, (0.05, -0.1, 3.0, -20.0, 10.0, 0.02))
        prior = np.zeros((2, 6))
        prior[0, LEVEL], prior[1, LEVEL] = 1050.0, 1 / 40.0**2
        h, g, jac = np.empty((6, 6)), np.empty(6), np.empty(6)
        cost = k._normal(p, values, 20, 60, STEP, 0.04, prior, False, h, g, jac)
        rows, left = [], []
        for at in range(20, 61):
            left.append(values[at] - k._row(p, at * STEP, False, jac))
            rows.append(jac.copy())
        rows, left = np.array(rows), np.array(left)
        off = 1050.0 - p[LEVEL]
        assert cost == pytest.approx(0.04 * left @ left + off**2 / 1600)
        wanted_h, wanted_g = 0.04 * rows.T @ rows, 0.04 * rows.T @ left
        wanted_h[LEVEL, LEVEL] += 1 / 1600
        wanted_g[LEVEL] += off / 1600
        assert h == pytest.approx(wanted_h)
        assert g == pytest.approx(wanted_g)

    def test_means_and_how_far_a_level_runs(self):
        values = np.array([1.0, 2, 3, 4, 5])
        assert k._mean(values, 1, 3) == 3.0
        level = np.array([0.0, 0, 0, 0, 0, 10, 0, 0])
        assert k._grow(level, 0, 7, 5.0) == 4
        assert k._grow(level, 0, 7, 11.0) == 7
        assert k._grow(level, 7, 0, 5.0) == 0, "two samples say nothing of a level"
        assert k._grow(level, 4, 0, 5.0) == 0
        assert k._grow(np.array([0, 0, np.nan, 0.0]), 0, 3, 5.0) == 1
        assert k._grow(np.array([0, 10, 0, 10, 0.0]), 0, 4, 11.0) == 4


class TestBegin:
    def begin(self, values, start=30, *, level=1100.0, sigma=BLUR):
        out = np.zeros(COLUMNS)
        return k._begin(np.asarray(values, float), start, STEP, sigma, level, 1000.0, out), out

    def test_both_edges_and_levels_of_a_plate(self):
        found, out = self.begin(profile())
        assert found
        assert out[EDGE] == pytest.approx(3.02, abs=0.03)
        assert out[WIDTH] == pytest.approx(1.4, abs=0.15)
        assert out[OUTSIDE] == pytest.approx(100, abs=20)
        assert out[INSIDE] == pytest.approx(400, abs=30)
        assert (out[LEVEL], out[SIGMA], out[SINGLE]) == (1100.0, BLUR, 0.0)
        assert out[MISFIT] == pytest.approx(profile().max(), abs=1)

    def test_a_step_alone_has_no_inner_edge(self):
        found, out = self.begin(profile(single=True))
        assert found
        assert (out[SINGLE], out[WIDTH], out[INSIDE]) == (1.0, 20.0, 1100.0)

    def test_a_low_summit_is_a_thin_plate_with_bone_behind(self):
        low = np.where(np.arange(100) < 30, 100.0, 700.0)
        found, out = self.begin(low)
        assert found
        assert out[SINGLE] == 0.0
        assert out[INSIDE] == 700.0
        assert self.begin(low, level=799.0)[1][SINGLE] == 1.0, "within a tenth of the contrast"
        assert self.begin(low, level=801.0)[1][SINGLE] == 0.0

    @pytest.mark.parametrize(("rise", "seen"), [(149.0, False), (151.0, True)])
    def test_a_rise_of_0_15_of_the_contrast_at_least(self, rise, seen):
        step = np.where(np.arange(100) < 30, 100.0, 100.0 + rise)
        assert self.begin(step)[0] is seen

    def test_too_near_the_ends_or_not_scanned(self):
        values = profile()
        assert not self.begin(values, start=9)[0]
        assert not self.begin(values[:34], start=30)[0]
        for at, seen in ((19, True), (20, False), (34, False)):
            lost = values.copy()
            lost[at] = np.nan
            assert self.begin(lost)[0] is seen


class TestFit:
    def fit(self, values, *, level=1100.0, level_sd=40.0, sigma_sd=0.0, free=False, noise=5.0):
        out = np.empty((1, COLUMNS))
        one = np.ones(1)
        k.fit_profiles(
            np.array(values)[None], np.array([30]), STEP, BLUR * one, sigma_sd * one, level * one,
            level_sd * one, 1000.0, noise, 2.0, free, out, 0, 1,
        )  # fmt: skip
        return out[0]

    def test_an_exact_profile_gives_its_parameters(self):
        out = self.fit(profile())
        assert out[OK] == 1.0
        assert out[:6] == pytest.approx(P, abs=2e-3)
        assert out[MISFIT] < 0.1

    def test_a_wide_plate_shows_its_level_whatever_is_known(self):
        out = self.fit(profile(), level=950.0, level_sd=20.0)
        assert out[LEVEL] == pytest.approx(1100, abs=5)
        assert out[WIDTH] == pytest.approx(1.4, abs=0.01)

    def test_a_thin_one_is_read_by_the_known_level(self):
        thin = P.copy()
        thin[WIDTH] = 0.4
        out = self.fit(profile(thin), level_sd=1.0)
        assert out[WIDTH] == pytest.approx(0.4, abs=0.01)
        assert out[EDGE] == pytest.approx(3.02, abs=0.01)
        # Half as high a level over what lies inside is taken for twice the width.
        darker = self.fit(profile(thin), level=900.0, level_sd=1.0)
        assert darker[WIDTH] > 0.48

    def test_doubt_of_level_and_blur_is_doubt_of_a_thin_plate(self):
        thin = P.copy()
        thin[WIDTH] = 0.4
        sure = self.fit(profile(thin), level_sd=1.0)
        level = self.fit(profile(thin), level_sd=100.0)
        blur = self.fit(profile(thin), level_sd=1.0, sigma_sd=0.05)
        assert level[SD_WIDTH] > 2 * sure[SD_WIDTH]
        assert blur[SD_WIDTH] > 1.2 * sure[SD_WIDTH]

    def test_errors_are_those_of_many_draws(self):
        rng = np.random.default_rng(4)
        drawn = np.array([self.fit(profile() + rng.normal(0, 20, 100), noise=20.0)
                          for _ in range(40)])  # fmt: skip
        assert (drawn[:, OK] == 1).all()
        for at, sd in ((EDGE, SD_EDGE), (WIDTH, SD_WIDTH)):
            told = np.median(drawn[:, sd])
            # Two samples count as one: told for correlated noise, sqrt(2) of white noise.
            assert told / math.sqrt(2) == pytest.approx(drawn[:, at].std(), rel=0.4)
        inner = drawn[:, EDGE] + drawn[:, WIDTH]
        assert np.median(drawn[:, SD_INNER]) / math.sqrt(2) == pytest.approx(inner.std(), rel=0.4)

    def test_what_the_model_leaves_over_widens_all_errors_alike(self):
        wavy = profile() + 30.0 * np.sin(np.arange(100) * 2.1)
        plain_out, out = self.fit(profile()), self.fit(wavy)
        assert out[MISFIT] > 10
        left = out[MISFIT] ** 2 - 25.0
        scale = math.sqrt(1 + left / (STEP * 25.0 * 2.0))
        assert out[SD_EDGE] == pytest.approx(plain_out[SD_EDGE] * scale, rel=0.15)

    def test_a_step_has_an_edge_and_no_width(self):
        out = self.fit(profile(single=True))
        assert (out[OK], out[SINGLE]) == (1.0, 1.0)
        assert out[EDGE] == pytest.approx(3.02, abs=5e-3)
        assert out[LEVEL] == pytest.approx(1100, abs=3)

    def test_a_blur_that_is_let_free_is_found(self):
        wide = P.copy()
        wide[SIGMA] = 0.32
        assert self.fit(profile(wide), free=True)[SIGMA] == pytest.approx(0.32, abs=5e-3)
        assert self.fit(profile(wide))[SIGMA] == BLUR

    def test_nothing_that_rises_is_not_fitted(self):
        out = self.fit(np.full(100, 100.0))
        assert out[OK] == 0.0
        assert np.isnan(out[EDGE])


class TestOwnLevel:
    """A plate shows its own level from 1.5 full widths of the blur on: 0.88 mm at 0.25 mm."""

    def level(self, width):
        p = P.copy()
        p[WIDTH] = width
        out = np.empty((1, COLUMNS))
        one = np.ones(1)
        k.fit_profiles(
            profile(p)[None], np.array([30]), STEP, BLUR * one, 0 * one, 1000.0 * one, 4.0 * one,
            1000.0, 5.0, 2.0, False, out, 0, 1,
        )  # fmt: skip
        return float(out[0, LEVEL])

    @pytest.mark.parametrize("width", [1.0, 1.2])
    def test_wider_ones_whatever_is_known(self, width):
        assert self.level(width) == pytest.approx(1100, abs=8)

    @pytest.mark.parametrize("width", [0.4, 0.6])
    def test_thinner_ones_are_held_to_what_is_known(self, width):
        assert self.level(width) < 1030
