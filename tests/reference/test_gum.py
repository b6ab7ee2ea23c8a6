"""Published examples of uncertainty and conformity, by the same code as every measurement."""

from __future__ import annotations

import math

import pytest
from scipy.stats import norm

from core.measurement import MARKED, Budget, Limit, Reading, Term
from core.trust.uncertainty import combined, rectangular_sd
from core.trust.verdict import GUARD, judge


def test_gum_h_1_end_gauge():
    """JCGM 100:2008, example H.1 (end-gauge calibration); its values recalled from memory.

    l = l_S + d - l_S (dalpha theta + alpha_S dtheta), l_S = 50 mm. Printed: contributions 25, 9.7,
    2.9 and 16.6 nm, combined standard uncertainty u_c(l) = 32 nm.
    """
    standard_nm = 50.0e6
    alpha, theta = 11.5e-6, -0.1
    spreads = {
        "standard": 25.0,
        # Repeated observations, random and systematic effects of the comparator.
        "difference": math.hypot(5.8, 3.9, 6.7),
        "difference of expansion": rectangular_sd(1e-6),
        "difference of temperature": rectangular_sd(0.05),
    }
    sensitivities = {
        "standard": 1.0,
        "difference": 1.0,
        "difference of expansion": -standard_nm * theta,
        "difference of temperature": -standard_nm * alpha,
    }
    parts = {k: abs(c) * spreads[k] for k, c in sensitivities.items()}
    printed = {
        "standard": 25.0,
        "difference": 9.7,
        "difference of expansion": 2.9,
        "difference of temperature": 16.6,
    }
    assert parts == pytest.approx(printed, abs=0.05)
    u = combined(sensitivities, spreads)
    assert round(u) == 32
    as_terms = tuple(Term(name="size", u=part, source="H.1") for part in parts.values())
    assert Budget(terms=as_terms).u == pytest.approx(u)


def least(limit: float) -> Limit:
    return Limit(key="k", value=limit, lower_line=0.0, source="example", default=limit)


def doubt(u: float) -> Budget:
    return Budget(terms=(Term(name="placement", u=u, source="example"),))


def test_jcgm_106_one_sided_conformance_probability():
    """JCGM 106:2012, 7.3, breakdown voltage of a Zener diode; its values recalled from memory.

    Magnitude 5.47 V, u = 0.05 V, at least 5.40 V asked: conformance probability 0.92. That is
    under 95 %, so the rule used here must not call it met.
    """
    value, u, limit = 5.47, 0.05, 5.40
    assert norm.cdf((value - limit) / u) == pytest.approx(0.92, abs=0.005)
    assert (
        judge(Reading(value=value, evidence=MARKED), doubt(u), least(limit)) == "too near to tell"
    )


@pytest.mark.parametrize("u", [0.05, 0.3, 1.0])
@pytest.mark.parametrize("margin", [0.0, 0.5, 1.6, 1.644, 1.646, 1.7, 3.0])
def test_met_means_at_least_95_per_cent_conformance(u, margin):
    """JCGM 106:2012, 8.3.2, guarded acceptance w = r U with U = 2 u: r = 0.82 for 95 %.

    ISO 14253-1 asks for the same 95 %. The conformance probability comes from scipy.
    """
    assert pytest.approx(0.8225) == GUARD / 2
    value = 2.0 + margin * u
    probability = norm.cdf((value - 2.0) / u)
    met = judge(Reading(value=value, evidence=MARKED), doubt(u), least(2.0)) == "meets limit"
    assert met == (probability >= 0.95)


def test_false_comfort_stays_under_5_per_cent():
    """A true value on its limit, measured many times: *meets limit* in at most 5 % of them."""
    import numpy as np

    rng = np.random.default_rng(5)
    values = 2.0 + 0.3 * rng.standard_normal(20_000)
    met = sum(
        judge(Reading(value=float(v), evidence=MARKED), doubt(0.3), least(2.0)) == "meets limit"
        for v in values
    )
    # Binomial, three standard deviations: 0.05 +- 0.0046.
    assert 0.0454 <= met / len(values) <= 0.0546
