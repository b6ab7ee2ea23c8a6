"""A line that moves when the plane leans is noticed, and one that stays is not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from core.geometry import unit
from core.proposing.settle import CREST
from core.proposing.steady import NOWHERE, apart, halves_deg, leaned_apart
from tests.core.proposing.wall import UP, wall


def test_a_line_is_nowhere_but_on_itself():
    ridge = wall(6.0)
    assert apart(ridge, ridge).worst_mm == pytest.approx(0.0, abs=1e-9)


def test_a_line_beside_another_is_as_far_apart_as_it_was_moved():
    ridge = wall(6.0)
    moved = replace(ridge.whole, places=ridge.whole.places + np.array([0.0, 2.0, 0.0]))
    assert apart(ridge, replace(ridge, whole=moved)).median_mm == pytest.approx(2.0, abs=0.05)


def test_a_line_of_another_place_is_no_line_of_this_ridge():
    ridge = wall(6.0)
    far = replace(ridge.whole, places=ridge.whole.places + np.array([35.0, 0.0, 0.0]))
    assert apart(ridge, replace(ridge, whole=far)) == NOWHERE


def test_the_line_of_a_broad_top_moves_more_when_the_plane_leans():
    assert leaned_apart(wall(4.0)).median_mm < 0.6
    assert leaned_apart(wall(11.0)).median_mm > leaned_apart(wall(4.0)).median_mm


@pytest.mark.parametrize("kink_deg", [0.0, 6.0])
def test_halves_tell_one_plane_unless_the_ridge_bends(kink_deg):
    ridge = wall(6.0, rise=lambda x: np.tan(np.radians(kink_deg)) * np.maximum(x - 20.0, 0.0))
    apart_deg = halves_deg(replace(ridge, surface_normal=unit(UP)), CREST)
    if kink_deg:
        assert apart_deg > 0.8
    else:
        assert apart_deg < 0.5
