"""A plane through the tips of teeth: what a gap does to it, and how far off the teeth it lies."""

from __future__ import annotations

import numpy as np
import pytest

from core.geometry import angle_deg, unit
from core.level import Level
from core.proposing.crowns import CrownPlane, Miss, miss_fields, misses
from core.proposing.propose import propose
from tests.reference.random_jaws import kernels as k
from tests.reference.random_jaws.whole import painted, whole_jaw

TOOTH = {"upper": "26", "lower": "46"}
CROWN_MM = 3.2
"""A painted crown is flat, and up to 3.0 mm from its middle to its rim."""


@pytest.fixture(scope="module", params=[("upper", 7504), ("upper", 7503), ("lower", 7402)])
def row(request):
    """A row of teeth with one gap: what is proposed, and its tips as they were painted."""
    jaw, seed = request.param
    made = whole_jaw(seed, TOOTH[jaw])
    teeth = made.shape.teeth
    tips = made.shape.patient(
        np.stack([teeth[:, k.T_X], teeth[:, k.T_Y], made.shape.v[k.SIGN] * teeth[:, k.T_TIP]], 1)
    )
    return jaw, propose(painted(made, seed)), tips


def test_a_gap_does_not_draw_the_plane_off_the_teeth(row):
    """The painted tips' own plane is their least squares one (numpy's SVD)."""
    jaw, found, tips = row
    assert (found.jaw, found.plane_from) == (jaw, "teeth")
    normal = np.linalg.svd(tips - tips.mean(axis=0))[2][2]
    normal *= np.sign(normal[2])
    assert angle_deg(found.level.up, normal) < 2.0
    off = (tips - found.level.origin) @ found.level.up
    assert np.abs(off).max() < 3.0


def test_the_tips_are_those_that_were_painted_those_beyond_the_gap_included(row):
    jaw, found, tips = row
    gap = np.linalg.norm(found.crown_tips[:, None] - tips, axis=2)
    assert (gap.min(axis=1) < CROWN_MM).all()
    # A tooth that the scan's edge cuts has none.
    assert (gap.min(axis=0) < CROWN_MM).sum() >= len(tips) - 3
    beyond = tips[np.argmax(tips[:, 0])] if jaw == "upper" else tips[np.argmin(tips[:, 0])]
    assert np.linalg.norm(found.crown_tips - beyond, axis=1).min() < CROWN_MM


def tips_on(slope, *, count=12, off=()):
    """Along an arch of 25 mm, with some tips off the plane."""
    turn = np.linspace(-1.4, 1.4, count)
    x, y = 25 * np.sin(turn), 25 - 25 * np.cos(turn)
    z = slope * x
    for at, mm in off:
        z[at] += mm
    return np.stack([x, y, z], axis=1), turn


def test_what_it_misses_is_the_worst_of_each_third():
    tips, turn = tips_on(0.0, off=((1, -0.7), (5, 1.2), (6, 0.3), (11, -7.0)))
    flat = Level(origin=(0.0, 0.0, 0.0), up=(0.0, 0.0, 1.0))
    found = misses(flat, tips, turn)
    expected = [("right", 0.7), ("middle", 1.2), ("left", 7.0)]
    assert [each.end for each in found] == [end for end, _ in expected]
    assert [each.mm for each in found] == pytest.approx([mm for _, mm in expected])
    # The order of the tips is the arch's, not that of the list.
    again = misses(flat, tips[::-1], turn[::-1])
    assert [each.mm for each in again] == pytest.approx([mm for _, mm in expected])


def test_it_is_counted_square_to_the_plane():
    tips, turn = tips_on(0.0)
    leant = Level(origin=(0.0, 0.0, 0.0), up=unit(np.array([-0.3, 0.0, 1.0])))
    ends = 25 * np.sin(1.4) * 0.3 / np.hypot(1.0, 0.3)
    assert misses(leant, tips, turn)[0].mm == pytest.approx(ends)


def test_misses_are_said_with_one_decimal():
    said = miss_fields((Miss("right", 0.44), Miss("middle", 0.0), Miss("left", 7.06)))
    assert said == {"right": "0.4", "middle": "0.0", "left": "7.1"}


def test_a_bright_crest_in_a_gap_is_no_tip_that_the_plane_misses():
    """ "6.1 mm at the left end" was said where the plane touched every tooth."""
    tips, _ = tips_on(0.0, off=((2, -6.1), (5, 3.4), (7, -3.6)))
    plane = CrownPlane(
        origin=np.zeros(3), normal=np.array([0.0, 0.0, 1.0]), doubt_deg=1.0, tips=tips
    )
    assert plane.counted == pytest.approx(np.delete(tips, (2, 7), axis=0))


@pytest.mark.parametrize(("high", "even"), [(3, True), (4, False)])
def test_tips_of_which_many_lie_far_off_have_no_plane(high, even):
    tips, _ = tips_on(0.0, off=tuple((at, 2.6) for at in range(high)))
    plane = CrownPlane(
        origin=np.zeros(3), normal=np.array([0.0, 0.0, 1.0]), doubt_deg=1.0, tips=tips
    )
    assert plane.is_even is even
