"""Planned against achieved: worked out by hand, and what one film cannot tell."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import chi2

from core.arch import fixture_frame
from core.distances.freehand import FREE_HAND
from core.errors import OutputError
from core.measuring.control_film import (
    CANAL,
    LEAST_CASES,
    NEIGHBOUR,
    ControlFilm,
    FilmResult,
    canal_on_film_mm,
    compare,
    own_figures,
    own_series,
    with_result,
)
from core.structures import Course
from tests.sheet_material import arch_of, fixture_at, on_arch, plan_with

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


def test_the_doubt_is_the_same_in_pixels_and_in_mm():
    """By hand: two edges of 0.3 mm, one through the fixture's length, and its own 0.05 mm."""
    in_mm = ControlFilm(fixture_true_mm=10.0, fixture_on_film=10.0, canal_on_film=3.0)
    for film in (FILM, in_mm):
        (canal,) = compare(film, canal_planned_mm=3.8)
        by_hand = np.hypot(np.hypot(0.3, 3.0 / 10 * 0.3), 3.0 / 10 * 0.05)
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


def canal_beside(fixture, frame, *, buccal, below, diameter=3.0):
    """A straight canal along mesial, its middle so far below the apex and to the cheek."""
    middle = fixture.apex + below * fixture.towards_apex + buccal * frame.b
    points = [middle + t * frame.m for t in (-12.0, 0.0, 12.0)]
    return Course(id="canal-left", kind="canal", points=points, diameter_mm=diameter)


def test_the_canal_below_the_apex_as_the_film_shows_it():
    """By hand: middle 5 mm below the apex, radius 1.5: 3.5 mm, however far to cheek or tongue."""
    plan = plan_with(fixture_at(20.0, "36"))
    (fixture,) = plan.fixtures
    frame = fixture_frame(fixture, arch_of(plan))
    for buccal in (0.0, 3.0, -6.0):
        canal = canal_beside(fixture, frame, buccal=buccal, below=5.0)
        assert canal_on_film_mm(fixture, frame, canal) == pytest.approx(3.5, abs=1e-3)
    inside = canal_beside(fixture, frame, buccal=0.0, below=1.0)
    assert canal_on_film_mm(fixture, frame, inside) == pytest.approx(-0.5, abs=1e-3)


def test_a_canal_that_does_not_pass_below_the_apex_gives_no_number():
    plan = plan_with(fixture_at(20.0, "36"))
    (fixture,) = plan.fixtures
    frame = fixture_frame(fixture, arch_of(plan))
    far = Course(id="c", kind="canal", points=[on_arch(a, 5.0) for a in (150.0, 160.0, 170.0)])
    assert canal_on_film_mm(fixture, frame, far) is None


def results(what, values, by="LM"):
    return tuple(
        FilmResult(by=by, at="2026-11-24", case=f"{by}{what}{n}", what=what, difference_mm=v)
        for n, v in enumerate(values)
    )


def test_the_same_placing_never_counts_twice():
    (first,) = results(CANAL, [0.4])
    again = FilmResult(by="LM", at="later", case=first.case, what=CANAL, difference_mm=0.6)
    assert with_result((first,), again) == (again,)
    assert len(with_result((first,), results(NEIGHBOUR, [0.4])[0])) == 2


def test_own_figures_stand_in_only_from_ten_films_of_that_distance_on():
    """By hand: sizes 0.2 and 0.6 in turn have the mean 0.4, whatever their sign."""
    ten = results(CANAL, [0.2, -0.6] * 5)
    series = own_series((*ten, *results(NEIGHBOUR, [0.5] * 9)), "LM")
    assert series.deeper_mm == pytest.approx(0.4)
    assert series.mesiodistal_mm == FREE_HAND.mesiodistal_mm
    assert (series.buccolingual_mm, series.tilt_deg) == (0.70, 8.7)
    assert "LM: depth 0.40 mm from 10 films" in str(series.source)
    assert "Schnutenhaus" in str(series.source)
    both = own_series((*ten, *results(NEIGHBOUR, [0.5] * 10)), "LM")
    assert both.mesiodistal_mm == pytest.approx(0.5)


@pytest.mark.parametrize("who", ["", "AB"])
def test_nine_films_or_somebody_elses_or_nobodys_give_no_line(who):
    assert own_series(results(CANAL, [0.4] * 9), "LM") is None
    assert own_series(results(CANAL, [0.4] * 20), who) is None
    assert own_series(results(CANAL, [0.4] * 20, by=""), "") is None
