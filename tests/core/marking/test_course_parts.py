"""The parts that a canal is followed by, each against what can be said of it beforehand."""

from __future__ import annotations

import numpy as np
import pytest

from core.marking.course_block import carried_frames
from core.marking.course_diameter import course_diameter
from core.marking.course_smooth import bend, resampled, smoothed
from core.marking.follow import Followed, follow_canal
from core.marking.least_cost import least_way
from core.marking.ring_measure import canal_likeness
from tests.core.marking.test_follow import LUMEN, WALL, clicks, scan


def arc(radius, count=31, turn=1.2):
    a = np.linspace(0.0, turn, count)
    return np.stack([radius * np.cos(a), radius * np.sin(a), 0 * a], axis=1)


def test_frames_are_carried_without_turning_about_the_curve():
    """In a plane the direction across the plane stays what it is."""
    tangent, across = carried_frames(arc(20.0))
    assert np.allclose(np.linalg.norm(across, axis=2), 1.0)
    assert np.allclose(np.einsum("nkx,nx->nk", across, tangent), 0.0, atol=1e-6)
    upright = across @ [0.0, 0.0, 1.0]
    assert np.allclose(upright, upright[0], atol=1e-6)


def test_the_cheapest_way_is_that_of_trying_all():
    rng = np.random.default_rng(3)
    cost = rng.random((5, 4, 4)).astype(np.float32)
    way = least_way(cost, 0.2)

    def price(cells):
        steps = np.diff(cells, axis=0)
        return cost[np.arange(len(cells)), cells[:, 0], cells[:, 1]].sum() + 0.2 * np.hypot(
            *steps.T
        ).sum(dtype=float)

    def all_from(n, cell):
        if n == len(cost) - 1:
            yield [cell]
            return
        for a in (-1, 0, 1):
            for b in (-1, 0, 1):
                after = cell[0] + a, cell[1] + b
                if min(after) >= 0 and max(after) < 4:
                    yield from ([cell, *rest] for rest in all_from(n + 1, after))

    best = min(
        price(np.array(cells)) for i in range(4) for j in range(4) for cells in all_from(0, (i, j))
    )
    assert price(way) == pytest.approx(best, abs=1e-5)


def test_no_way_is_told_and_not_invented():
    cost = np.ones((4, 5, 5), np.float32)
    cost[2] = np.inf
    with pytest.raises(ValueError, match="no way"):
        least_way(cost, 0.1)


def test_a_dark_place_with_a_rim_is_liked_best_and_one_bright_side_is_no_rim():
    v, u = np.mgrid[-15:16, -15:16] * 0.3
    away = np.hypot(u, v)
    tube = np.where(away < 1.1, 0.0, np.where(away < 1.6, 1000.0, 400.0)).astype(np.float32)
    plate = np.where(u > 1.0, 1500.0, 0.0).astype(np.float32)
    liked = canal_likeness(np.stack([tube, plate]), 0.3, 300.0)
    assert liked[0, 15, 15] == liked[0].max() > 0.9
    assert np.hypot(u, v)[liked[0] > 0.99 * liked[0].max()].max() < 0.7
    assert liked[1].max() < 0.7


def test_a_steady_bend_costs_nothing_and_what_is_unknown_is_carried_on():
    true = arc(12.0)
    step = float(np.linalg.norm(true[1] - true[0]))
    rng = np.random.default_rng(1)
    sd = np.full(len(true), 0.1)
    sd[12:18] = 5.0
    places = true + rng.normal(0.0, 1.0, true.shape) * sd[:, None]
    course, left = smoothed(places, sd, step)
    off = np.linalg.norm(course - true, axis=1)
    assert off.max() < 0.35
    assert left[14] > 1.3 * left[5]
    assert left.max() < 0.3


def test_places_are_even_and_bends_are_those_of_the_circle():
    course = resampled(arc(10.0, count=200), 1.0)
    steps = np.linalg.norm(np.diff(course, axis=0), axis=1)
    assert np.allclose(steps, steps.mean(), rtol=0.01)
    assert np.allclose(bend(course), 0.1, rtol=0.02)


def test_the_diameter_of_a_followed_canal_is_found_within_its_uncertainty():
    found = follow_canal(scan(), clicks(-15.0, 15.0))
    assert isinstance(found, Followed)
    fit = course_diameter(scan(), found)
    assert fit.diameter_mm is not None
    assert abs(fit.diameter_mm - 2 * (LUMEN + WALL)) < 2 * fit.sd_mm
    assert 0.3 < fit.sd_mm < 0.5


def test_no_diameter_where_nothing_is_clear():
    found = follow_canal(scan(), clicks(-15.0, 15.0))
    faint = Followed(
        points_mm=found.points_mm,
        sd_mm=found.sd_mm,
        seen=("faint",) * len(found.seen),
        lumen_mm=found.lumen_mm,
    )
    fit = course_diameter(scan(), faint)
    assert fit.diameter_mm is None
    assert fit.note.code == "canal-fit-not-clear"


def test_a_diameter_stops_when_asked():
    found = follow_canal(scan(), clicks(-15.0, 15.0))
    assert course_diameter(scan(), found, cancelled=lambda: True).diameter_mm is None
