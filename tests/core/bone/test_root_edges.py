"""Edges of a root on its rays: against the model's own draws, and Gaussians of SciPy."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from scipy.stats import multivariate_normal, norm

from core.bone.root_edges import RootEdges, RootLevels, root_edges

STEP, INSIDE, REACH = 0.1, 1.1, (-0.6, 0.6)
X = STEP * np.arange(25) - INSIDE
LEVELS = RootLevels(dentine=1500.0, soft=100.0, blur_mm=0.2, noise=0.04 * 1400.0)
LIGAMENT, LAMINA = 0.2, 0.35
EXPECTED = np.array([1.0, 0.05, 0.5, 0.0, 0.0])
"""Dentine, ligament, what lies beyond, what the lamina dura stands out from it, and the pulp."""

SPREAD = np.array([0.08, 0.08, 0.6, 0.35, 0.4])


def columns(edge, x=X, blur=0.2):
    """How much of each layer is in each sample: blurred steps where one ends."""
    ends = (edge, edge + LIGAMENT, edge + LIGAMENT + LAMINA)
    first, second, third = (norm.cdf(x, at, blur) for at in ends)
    pulp = norm.sf(x, x[0] + 0.35, blur)
    layers = (1 - first, first - second, second, second - third, pulp * (1 - first))
    return np.stack(layers, axis=1)


def grey(share):
    return 100.0 + 1400.0 * np.atleast_2d(share)


def layers(edge, *, beyond=0.4, lamina=0.0, pulp=0.0, ligament=0.0, x=X):
    return grey(columns(edge, x) @ np.array([1.0, ligament, beyond, lamina, pulp]))


@pytest.mark.parametrize(
    "behind",
    [
        {"beyond": 0.3},
        {"beyond": -0.1},
        {"beyond": 0.9},
        {"beyond": 0.3, "lamina": 0.5},
        {"beyond": 0.3, "pulp": -0.5},
    ],
    ids=["marrow", "fatty marrow", "dense bone", "lamina dura", "pulp"],
)
@pytest.mark.parametrize("edge", [-0.41, -0.1, 0.0, 0.23, 0.4])
def test_the_edge_is_where_dentine_ends_whatever_lies_behind(edge, behind):
    found = root_edges(layers(edge, **behind), LEVELS, REACH)
    assert found.off_mm[0] == pytest.approx(edge, abs=0.09)
    assert abs(found.off_mm[0] - edge) < found.sd_mm[0]
    assert found.seen[0]


def test_off_and_doubt_are_those_of_draws_from_the_model():
    """By Bayes: edges drawn evenly lie about what is found as widely as is told."""
    rng = np.random.default_rng(7)
    edges = rng.choice(np.arange(-0.6, 0.61, 0.05), 3000)
    drawn = [
        columns(edge) @ rng.normal(EXPECTED, SPREAD) + rng.normal(0.0, 0.04, len(X))
        for edge in edges
    ]
    found = root_edges(grey(drawn), LEVELS, REACH)
    # Without the half step between two places, since these edges lie on them.
    sd = np.sqrt(np.maximum(found.sd_mm**2 - 0.025**2, 0.0))
    off = found.off_mm - edges
    assert off.mean() == pytest.approx(0.0, abs=0.01)
    for low, high in pairwise(np.quantile(sd, [0.0, 0.4, 0.7, 1.0])):
        some = (sd >= low) & (sd <= high)
        assert np.mean(off[some] ** 2) == pytest.approx(np.mean(sd[some] ** 2), rel=0.15)


def test_how_sure_it_is_compares_with_dentine_that_shades_off_evenly():
    rng = np.random.default_rng(8)
    profiles = np.concatenate(
        [layers(0.1), layers(-0.3, lamina=0.4), layers(0.5, pulp=-0.4), grey(np.ones(25)),
         grey(1.0 - 0.1 * X), grey(0.8 + 0.05 * rng.normal(size=25))]
    )  # fmt: skip
    found = root_edges(profiles, LEVELS, REACH)
    noise = 0.04**2 * np.eye(len(X))
    even = np.stack([np.ones_like(X), X / 1.1, norm.sf(X, X[0] + 0.35, 0.2)], axis=1)
    spread = np.diag(np.array([0.15, 0.1, 0.4]) ** 2)
    without = multivariate_normal(even[:, 0], even @ spread @ even.T + noise)
    with_edge = []
    places = np.arange(-0.6, 0.61, 0.05)
    for at in places:
        c = columns(at)
        with_edge.append(multivariate_normal(c @ EXPECTED, c @ np.diag(SPREAD**2) @ c.T + noise))
    for n, profile in enumerate(profiles):
        y = (profile - 100.0) / 1400.0
        chance = np.array([model.logpdf(y) for model in with_edge])
        weight = np.exp(chance - chance.max())
        middle = weight @ places / weight.sum()
        sd = np.sqrt(weight @ (places - middle) ** 2 / weight.sum() + 0.025**2)
        sure = 2 * (np.log(weight.mean()) + chance.max() - without.logpdf(y))
        assert found.off_mm[n] == pytest.approx(middle, abs=1e-6)
        assert found.sd_mm[n] == pytest.approx(sd, abs=1e-6)
        assert found.sure[n] == pytest.approx(sure, abs=1e-6)
    assert found.seen.tolist() == [True, True, True, False, False, False]


def test_grey_values_have_no_unit_and_a_ray_no_beginning():
    profiles = np.concatenate([layers(0.2, lamina=0.4), layers(-0.3)])
    one = root_edges(profiles, LEVELS, REACH)
    scaled = RootLevels(dentine=500.0, soft=-200.0, blur_mm=0.2, noise=0.04 * 700.0)
    other = root_edges(0.5 * profiles - 250.0, scaled, REACH)
    for name in ("off_mm", "sd_mm", "sure"):
        assert getattr(other, name) == pytest.approx(getattr(one, name), rel=1e-6)
    longer = 0.1 * np.arange(30) - 1.6
    found = root_edges(layers(0.2, x=longer), LEVELS, REACH, inside_mm=1.6)
    assert found.off_mm[0] == pytest.approx(0.2, abs=0.06)


def test_what_was_not_scanned_shows_no_edge():
    profiles = np.concatenate([layers(0.1), layers(0.1)])
    profiles[1, 24] = np.nan
    found = root_edges(profiles, LEVELS, REACH)
    assert np.isnan(found.off_mm).tolist() == [False, True]
    assert np.isnan(found.sd_mm).tolist() == [False, True]
    assert found.sure[1] == 0.0
    assert found.seen.tolist() == [True, False]


def test_it_is_seen_where_it_is_55_times_likelier_than_none():
    """Twice the log of 55: 8."""
    edges = RootEdges(off_mm=np.zeros(3), sd_mm=np.ones(3), sure=np.array([7.9, 8.0, 8.1]))
    assert edges.seen.tolist() == [False, False, True]


def test_noisy_scans_leave_more_doubt():
    noisy = RootLevels(dentine=1500.0, soft=100.0, blur_mm=0.2, noise=0.12 * 1400.0)
    profile = layers(0.1, lamina=0.3)
    assert root_edges(profile, noisy, REACH).sd_mm[0] > (
        1.3 * root_edges(profile, LEVELS, REACH).sd_mm[0]
    )
