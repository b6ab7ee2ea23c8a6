"""± U of the least of many places that err together in part, by Monte Carlo.

The way of JCGM 101:2008 (supplement 1 of the GUM): the errors are drawn, the least is taken as the
program takes it, and the share of truths inside is counted.
"""

from __future__ import annotations

import math
from statistics import NormalDist

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

from core.bone.least_of_many import MODEL_SD_MM, doubt_of_least

DRAWS = 1500
SHAPE = (21, 19)


def draws(sd, blur, bow, seed=3):
    """True least, and walls read with errors that have a blur of some places in common."""
    rng = np.random.default_rng(seed)
    row, column = np.indices(SHAPE) - np.array([10, 9])[:, None, None]
    true = 1.5 + bow * (0.25 * row**2 + 0.12 * column**2)
    for _ in range(DRAWS):
        errors = gaussian_filter(rng.normal(size=SHAPE), blur, mode="wrap")
        yield true.min(), true + sd * errors * (2.0 * math.sqrt(math.pi) * blur)


def inside(sd, blur, bow, *, plain=False, model=0.0):
    """Share of truths within ± 2 u, and the mean error."""
    together = 4.0 * math.pi * blur**2
    kept, errors = 0, []
    for true, read in draws(sd, blur, bow):
        drawn, _ = doubt_of_least(read.ravel(), np.full(read.size, sd), together=together)
        u = math.hypot(sd, 0.0 if plain else drawn, model)
        errors.append(read.min() - true)
        kept += abs(errors[-1]) <= 2.0 * u
    return kept / DRAWS, float(np.mean(errors))


@pytest.mark.parametrize("bow", [0.0, 0.001, 0.02])
@pytest.mark.parametrize("sd", [0.03, 0.1])
def test_truths_lie_inside_however_many_places_compete(bow, sd):
    share, _ = inside(sd, 0.8, bow)
    assert share > 0.93


def test_without_it_the_least_of_a_flat_wall_lies_too_low():
    share, mean = inside(0.05, 0.8, 0.0, plain=True)
    assert mean < -0.05
    assert share < 0.8


def test_one_place_alone_has_only_the_models_own():
    assert doubt_of_least(np.array([1.0, 3.0, np.nan]), np.full(3, 0.05), together=1.0) == (
        0.0,
        MODEL_SD_MM,
    )


@pytest.mark.parametrize(("count", "together"), [(2, 1.0), (9, 1.0), (9, 3.0), (30, 2.5)])
def test_the_mean_of_the_least_of_k_by_bloms_form(count, together):
    """Φ⁻¹((k − 3/8) / (k + 1/4)); for k = 2 and 10 within 4 % of 0.5642 and 1.5388 (tables)."""
    k = count / together
    expected = NormalDist().inv_cdf((k - 0.375) / (k + 0.25))
    drawn, model = doubt_of_least(np.full(count, 3.0), np.full(count, 0.2), together=together)
    assert drawn == pytest.approx(0.2 * expected)
    assert model == 0.05
    for k, true in ((2, 0.5642), (10, 1.5388)):
        found, _ = doubt_of_least(np.zeros(k), np.ones(k), together=1.0)
        assert found == pytest.approx(true, rel=0.045)


@pytest.mark.parametrize(("above", "competes"), [(0.27, True), (0.29, False)])
def test_a_place_competes_within_two_errors_of_both(above, competes):
    values = np.array([1.0, 1.0 + above, np.nan, 5.0])
    drawn, _ = doubt_of_least(values, np.array([0.1, 0.1, 0.1, np.nan]), together=1.0)
    assert (drawn > 0) is competes
    if competes:
        assert drawn == pytest.approx(0.1 * NormalDist().inv_cdf(1.625 / 2.25))


def test_where_nothing_was_read_only_the_models_own():
    assert doubt_of_least(np.full(3, np.nan), np.ones(3), together=1.0) == (0.0, MODEL_SD_MM)
    assert doubt_of_least(np.zeros(3), np.ones(3), together=6.0) == (0.0, MODEL_SD_MM)
