"""Budgets against propagated distributions (JCGM 101:2008), and whether truth lies in value ± U.

The larger run, remade by tests/studies/trust.py, is committed beside it; what it says is held to
the bounds here too.
"""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import binomtest

from tests.reference.uncertainty_cases import (
    course_coverage,
    level_case,
    monte_carlo,
    outcomes,
    ten_cases,
)

REPORT = Path(__file__).parents[1] / "studies" / "reports" / "trust.md"


def test_the_program_and_brute_force_agree_on_every_case():
    for case in [*ten_cases(), level_case()]:
        assert case.reading().value == pytest.approx(case.true(), abs=0.006), case.name


@pytest.mark.slow
@pytest.mark.parametrize("number", range(10))
def test_budget_within_5_per_cent_of_monte_carlo(number):
    """1,500 draws: their own standard deviation is known to 1.8 %."""
    case = ten_cases()[number]
    values = monte_carlo(case, 1500, seed=number)
    reading = case.reading()
    assert case.budget(reading).u == pytest.approx(values.std(ddof=1), rel=0.05)
    assert abs(values.mean() - reading.value) < 0.25 * values.std(ddof=1)


def test_a_canal_level_with_a_flat_end_has_a_budget_that_is_too_wide_and_never_too_narrow():
    case = level_case()
    values = monte_carlo(case, 1500, seed=11)
    ratio = case.budget(case.reading()).u / values.std(ddof=1)
    assert 1.0 <= ratio < 1.25
    # The least of many places lies nearer than each of them: an error to the safe side.
    assert values.mean() < case.reading().value


@pytest.mark.slow
def test_coverage_and_false_comfort_of_a_small_run():
    """132 cases, fixed seed: nothing that contradicts 95 %, and comfort that is rarely false."""
    found = outcomes(132, seed=5)
    inside = sum(o.covered for o in found)
    assert binomtest(inside, len(found), 0.954).pvalue > 0.01
    met = [o for o in found if o.verdict == "meets limit"]
    assert len(met) > 20
    assert sum(o.true_mm < o.limit_mm for o in met) <= 0.05 * len(met)
    assert {o.verdict for o in found} == {"meets limit", "too near to tell", "below limit"}
    assert abs(np.mean([o.value_mm - o.true_mm for o in found])) < 0.1


@pytest.mark.parametrize("own_sd_share", [0.0, 1.0])
def test_one_persons_bias_along_a_whole_course_stays_inside_the_expanded_uncertainty(own_sd_share):
    """A bias of SD 0.36 mm along the course, with and without scatter of each mark (JCGM 101).

    With independent marks alone 88 % of the truths lay inside; 93 to 98 % must.
    """
    count = 1200
    inside = course_coverage(count, seed=20, bias_sd_mm=0.36, own_sd_share=own_sd_share)
    assert 0.93 <= inside / count <= 0.98
    low, high = binomtest(inside, count).proportion_ci()
    assert low <= 0.98
    assert high >= 0.93


def figures(line: str) -> tuple[float, float, float]:
    text = next(row for row in REPORT.read_text("utf-8").splitlines() if line in row)
    share, low, high = re.search(r"([\d.]+) % \(([\d.]+) to ([\d.]+)\)", text).groups()
    return float(share), float(low), float(high)


def test_the_committed_report_of_2_000_cases_keeps_its_bounds():
    assert "2000 cases" in REPORT.read_text("utf-8")
    share, low, high = figures("truth inside value ± U")
    assert 92.0 <= low <= share <= high <= 98.0
    assert figures("that was wrong, of all *meets limit*")[2] <= 5.0
    assert figures("of all that truly miss it")[0] <= 5.0
    assert figures("too near to tell")[0] > 0
