"""The trend of cortical levels: a planted one is found, and where none shows the prior stays."""

import numpy as np
import pytest

from core.bone.level_trend import fitted_trend, usual_trend

UP = np.array([0.0, 0.0, 1.0])
CONTRAST = 1500.0


def plates(n=400, *, path=(2.0, 14.0), loss=12.0, bend=0.0, noise=10.0, seed=1):
    rng = np.random.default_rng(seed)
    points = rng.uniform(-10.0, 10.0, (n, 3))
    along = rng.uniform(*path, n)
    level = 1600.0 - loss * along + bend * (points[:, 2] / 10.0) ** 2
    return points, along, level + noise * rng.standard_normal(n)


def fit(points, along, level):
    return fitted_trend(points, along, level, np.ones(len(level)), through=UP, contrast=CONTRAST)


@pytest.mark.parametrize("loss", [3.0, 12.0, 20.0])
def test_a_planted_loss_is_found(loss):
    trend = fit(*plates(loss=loss))
    assert trend.gains[0] == pytest.approx(-loss, abs=1.0)
    assert np.sqrt(trend.covariance[0, 0]) < 1.5


def test_a_bend_along_the_axis_is_not_taken_for_bone():
    trend = fit(*plates(bend=-150.0))
    assert trend.gains[0] == pytest.approx(-12.0, abs=1.0)
    change = trend.terms(np.array([[0.0, 0, 9.0], [0, 0, 0]]), np.zeros(2)) @ trend.gains
    assert change[0] - change[1] == pytest.approx(-150.0 * 0.81, rel=0.15)


def test_alike_paths_leave_what_is_usual_with_its_whole_doubt():
    usual = usual_trend(UP, CONTRAST)
    trend = fit(*plates(path=(6.0, 6.0)))
    assert trend.gains[0] == pytest.approx(usual.gains[0], rel=0.05)
    apart = np.array([[5.0, 0.0, 0.0]])
    assert trend.doubt(apart) == pytest.approx(usual.doubt(apart), rel=0.05)


def test_levels_far_off_have_no_say_and_bone_never_brightens():
    points, along, level = plates()
    level[::7] -= 500.0
    assert fit(points, along, level).gains[0] == pytest.approx(-12.0, abs=1.5)
    assert fit(*plates(loss=-15.0)).gains[0] == 0.0


def test_beyond_the_learnt_heights_the_trend_does_not_go_on():
    trend = fit(*plates(bend=-150.0))
    ends = trend.terms(np.array([[0.0, 0, 10.0], [0, 0, 40.0]]), np.zeros(2)) @ trend.gains
    assert ends[0] == pytest.approx(ends[1], abs=5.0)
