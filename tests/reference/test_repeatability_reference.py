"""Method-error statistics against the published tables they come from."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from core.trust.method_error import (
    bland_altman,
    dahlberg,
    intraclass,
)

# Bland JM, Altman DG 1986, Lancet 327:307, table 1: peak flow of 17 people, l/min, two readings
# each with a large (L) and a small meter (P). "Printed" is what the paper prints (recalled from
# memory, and repeated by the unrounded figures); "unrounded" was computed from the table apart
# from this program.
L1 = [494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427]
L2 = [490, 397, 512, 401, 470, 611, 415, 431, 638, 429, 420, 633, 275, 492, 165, 372, 421]
P1 = [512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451]
P2 = [525, 415, 508, 444, 500, 625, 460, 390, 642, 432, 420, 605, 227, 467, 268, 370, 443]


def test_bland_altman_1986_printed():
    found = bland_altman(L1, P1, factor=2.0)
    assert round(found.bias, 1) == -2.1
    assert round(found.sd, 1) == 38.8
    # The paper works on from rounded figures, hence 0.1 and, on the intervals, 0.2.
    assert (found.lower, found.upper) == pytest.approx((-79.7, 75.5), abs=0.1)
    assert found.bias_interval == pytest.approx((-22.0, 17.8), abs=0.1)
    assert found.lower_interval == pytest.approx((-114.3, -45.1), abs=0.2)
    assert found.upper_interval == pytest.approx((40.9, 110.1), abs=0.2)


def test_bland_altman_1986_unrounded():
    two, later = bland_altman(L1, P1, factor=2.0), bland_altman(L1, P1)
    assert two.pairs == 17
    assert two.bias == pytest.approx(-2.117647, abs=1e-5)
    assert two.sd == pytest.approx(38.765130, abs=1e-5)
    assert (two.lower, two.upper) == pytest.approx((-79.647907, 75.412613), abs=1e-5)
    assert (later.lower, later.upper) == pytest.approx((-78.097302, 73.862007), abs=1e-5)
    assert two.bias_interval == pytest.approx((-22.05, 17.81), abs=0.005)
    # Computed with t = 2.12 as printed: (2.12 - 2.119905) x 16.28 = 0.0016 beside the rounding.
    assert two.lower_interval == pytest.approx((-114.17, -45.12), abs=0.0066)
    assert two.upper_interval == pytest.approx((40.89, 109.94), abs=0.0066)
    t = 2.119905  # 97.5 % of Student's t with 16 degrees of freedom, any table
    assert (two.bias_interval[1] - two.bias) / t == pytest.approx(9.401925, abs=1e-5)
    assert (two.upper_interval[1] - two.upper) / t == pytest.approx(16.284612, abs=1e-5)


def test_bland_altman_1986_of_means():
    means = bland_altman(np.add(L1, L2) / 2, np.add(P1, P2) / 2)
    assert means.sd == pytest.approx(33.204137, abs=1e-5)


def test_dahlberg_on_the_same_readings():
    """Formula of Dahlberg 1940; figures computed from the table apart from this program."""
    found = (dahlberg(L1, L2), dahlberg(P1, P2), dahlberg(L1, P1))
    assert found == pytest.approx((15.306669, 19.910831, 26.634785), abs=1e-5)


# Shrout PE, Fleiss JL 1979, Psychol Bull 86:420, table 2: six targets, four judges.
SHROUT_FLEISS = [
    [9, 2, 5, 8],
    [6, 1, 3, 2],
    [8, 4, 6, 8],
    [7, 1, 2, 6],
    [10, 5, 6, 9],
    [6, 2, 4, 7],
]


def test_shrout_fleiss_printed():
    found = intraclass(SHROUT_FLEISS)
    assert [round(c.value, 2) for c in (found.icc_2_1, found.icc_3_1)] == [0.29, 0.71]


@pytest.mark.parametrize(
    ("name", "value", "interval"),
    [
        ("icc_2_1", 0.289764, (0.0188, 0.7611)),
        ("icc_3_1", 0.714841, (0.3425, 0.9459)),
    ],
)
def test_shrout_fleiss_unrounded(name, value, interval):
    found = getattr(intraclass(SHROUT_FLEISS), name)
    assert found.value == pytest.approx(value, abs=1e-6)
    assert found.interval == pytest.approx(interval, abs=5e-5)


def test_judges_that_differ_by_a_constant():
    """Published check: pairs (2,4), (4,6), (6,8) are consistent to 1.0, agree to 0.6667."""
    found = intraclass([(2, 4), (4, 6), (6, 8)])
    assert found.icc_3_1.value == pytest.approx(1.0)
    assert found.icc_2_1.value == pytest.approx(2 / 3)


@given(st.integers(0, 2**32 - 1), st.integers(3, 12), st.integers(2, 5))
def test_correlations_against_least_squares(seed, n, k):
    """The same analysis of variance as four least-squares fits of numpy, a second way."""
    rng = np.random.default_rng(seed)
    table = rng.normal(size=(n, 1)) + rng.normal(size=(1, k)) + rng.normal(size=(n, k))
    rows, columns = np.repeat(np.eye(n), k, axis=0), np.tile(np.eye(k), (n, 1))

    def left(*parts):
        design = np.hstack([np.ones((n * k, 1)), *parts])
        fit = np.linalg.lstsq(design, table.ravel(), rcond=None)[0]
        return float(((table.ravel() - design @ fit) ** 2).sum())

    between = (left() - left(rows)) / (n - 1)
    judges = (left() - left(columns)) / (k - 1)
    rest = left(rows, columns) / ((n - 1) * (k - 1))
    # Shrout, Fleiss 1979, ICC(3,1) and ICC(2,1).
    apart, of_these = between - rest, between + (k - 1) * rest
    found = intraclass(table)
    assert found.icc_3_1.value == pytest.approx(apart / of_these, rel=1e-6)
    of_any = of_these + k * (judges - rest) / n
    assert found.icc_2_1.value == pytest.approx(apart / of_any, rel=1e-6)


def test_intervals_cover_what_they_should():
    """2,000 simulated tables with a known correlation of 0.6: 95 % intervals hold it in 93-97 %.

    Judges are as alike as the model of ICC(3,1) says. Fixed seed.
    """
    rng = np.random.default_rng(20)
    held = 0
    for _ in range(2000):
        table = np.sqrt(0.6) * rng.normal(size=(12, 1)) + np.sqrt(0.4) * rng.normal(size=(12, 3))
        low, high = intraclass(table).icc_3_1.interval
        held += low <= 0.6 <= high
    assert 0.93 < held / 2000 < 0.97
