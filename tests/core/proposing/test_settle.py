"""The plane lies along a ridge's top, whatever is missing in it, and says how well it is told."""

from __future__ import annotations

import numpy as np
import pytest

from core.geometry import angle_deg, unit
from core.proposing.settle import CREST, TEETH, settled
from tests.core.proposing.wall import UP, wall


def plane(ridge, firm=CREST, surface_normal=UP):
    return settled(ridge.tops, ridge.line, surface_normal, firm)


@pytest.mark.parametrize("slope_deg", [-6.0, 0.0, 4.0])
def test_it_leans_with_the_top(slope_deg):
    slope = np.tan(np.radians(slope_deg))
    true = unit(np.array([-slope, 0.0, 1.0]))
    found = plane(wall(rise=lambda x: slope * x), surface_normal=true)
    # The scanner's axis pulls a little: it is one of the signs.
    assert angle_deg(found.normal, true) < 1.0
    assert abs((found.origin - np.array([0.0, 0.0, 0.0])) @ true) < 0.5


def test_a_worn_tooth_does_not_tilt_it():
    whole = plane(wall(), TEETH)
    gapped = plane(wall(rise=lambda x: np.where((x > 22) & (x < 32), -2.0, 0.0)), TEETH)
    assert angle_deg(whole.normal, gapped.normal) < 0.3


def test_across_a_straight_ridge_only_its_surface_and_the_scanner_tell():
    """Two independent signs of one lean, joined by their inverse variances (JCGM 100:2008)."""
    expected = 1.0 / np.hypot(1.0 / CREST.surface_deg, 1.0 / CREST.head_deg)
    assert plane(wall()).doubt_deg == pytest.approx(expected, rel=0.05)


def test_firmer_teeth_tell_the_plane_no_worse_than_a_crest():
    leant = wall(rise=lambda x: 0.05 * x)
    true = unit(np.array([-0.05, 0.0, 1.0]))
    off = [angle_deg(plane(leant, firm).normal, true) for firm in (TEETH, CREST)]
    assert off[0] <= off[1] + 1e-6
