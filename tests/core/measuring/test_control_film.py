"""Planned against achieved: worked out by hand, and what one film cannot tell."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import chi2

from core.errors import OutputError
from core.measuring.control_film import LEAST_CASES, ControlFilm, compare, own_figures

FILM = ControlFilm(
    fixture_true_mm=10.0, fixture_on_film=210.0, neighbour_on_film=84.0, canal_on_film=63.0
)


def test_lengths_on_the_film_become_true_by_the_fixtures_own():
    """By hand: 21 pixels a mm; 84 / 21 = 4.0 and 63 / 21 = 3.0 mm."""
    neighbour, canal = compare(FILM, neighbour_planned_mm=3.5, canal_planned_mm=3.8, read_off_u=6.0)
    assert neighbour.achieved.value == pytest.approx(4.0)
    assert neighbour.difference_mm == pytest.approx(0.5)
    assert canal.difference_mm == pytest.approx(-0.8)
    by_hand = np.hypot(np.hypot(6 / 21, 3.0 / 210 * 6), 3.0 / 10 * 0.05)
    assert canal.budget.u == pytest.approx(by_hand)


def test_an_apex_in_the_canal_is_a_negative_distance():
    film = ControlFilm(fixture_true_mm=10.0, fixture_on_film=210.0, canal_on_film=-10.5)
    (canal,) = compare(film, canal_planned_mm=2.0)
    assert canal.achieved.value == pytest.approx(-0.5)
    assert canal.difference_mm == pytest.approx(-2.5)


def test_only_what_is_known_on_both_sides_is_compared():
    assert [d.what for d in compare(FILM, canal_planned_mm=3.0)] == ["apex to canal"]
    with pytest.raises(OutputError):
        compare(FILM)


@pytest.mark.parametrize("length", [0.0, -1.0, float("nan")])
def test_nonsense_is_refused(length):
    with pytest.raises(OutputError):
        compare(
            ControlFilm(fixture_true_mm=length, fixture_on_film=210.0, canal_on_film=3.0),
            canal_planned_mm=3.0,
        )
    with pytest.raises(OutputError):
        compare(
            ControlFilm(fixture_true_mm=10, fixture_on_film=210.0, neighbour_on_film=length),
            neighbour_planned_mm=3.0,
        )


def test_own_figures_by_hand():
    figures = own_figures([0.5, -0.5, 1.0, 0.0])
    assert (figures.count, figures.mean_mm, figures.mean_size_mm) == (4, 0.25, 0.5)
    assert figures.worst_mm == 1.0
    assert figures.sd_mm == pytest.approx(np.sqrt((0.0625 + 0.5625 + 0.5625 + 0.0625) / 3))
    assert not figures.is_enough
    with pytest.raises(OutputError):
        own_figures([0.5])


def test_how_little_ten_cases_say_about_a_spread():
    """Interval of a standard deviation by the chi-squared distribution (any textbook)."""
    n = LEAST_CASES
    low, high = np.sqrt((n - 1) / chi2.ppf([0.975, 0.025], n - 1))
    assert (low, high) == pytest.approx((0.69, 1.83), abs=0.005)
