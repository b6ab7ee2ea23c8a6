"""A found root as the marks that it is confirmed as: a chain of balls that holds the root."""

from __future__ import annotations

import numpy as np
import pytest

from core.bone.found_root import FoundRoot
from core.distances.tubes import tubes_of
from core.structures import Tapered

NECK, APEX, LENGTH = 4.4, 1.8, 11.0


@pytest.fixture
def root():
    """Downwards from the origin."""
    return FoundRoot(
        neck_mm=np.zeros(3), apex_mm=np.array([0.0, 0.0, -LENGTH]), diameters_mm=(NECK, APEX),
        diameter_sd_mm=0.1, axis_sd_deg=0.5, oval_mm=0.0, seen=1.0,
        outline_mm=np.zeros((0, 3)),
    )  # fmt: skip


def beyond(root, points):
    """How far places lie outside of the chain of balls that is marked."""
    (tube,) = tubes_of(
        Tapered(
            id="root-35", kind="root", tooth="35", points=root.marks_mm,
            diameters_mm=root.mark_diameters_mm,
        )
    )  # fmt: skip
    centres, radii = tube.at(np.linspace(0.0, tube.length_mm, 4001))
    return (np.linalg.norm(np.atleast_2d(points)[:, None] - centres, axis=2) - radii).min(axis=1)


def test_the_whole_cone_is_held_but_for_a_tenth_at_the_rim_of_a_flat_tip(root):
    depth = np.linspace(0.0, LENGTH, 221)
    radius = 0.5 * (NECK + depth / LENGTH * (APEX - NECK))
    side = np.stack([radius, 0 * depth, -depth], axis=1)
    out = beyond(root, side)
    assert out[:-12].max() < 0.02
    # The rim seen from the last ball's middle, less its radius.
    back = 0.5 * APEX / 2
    ball = APEX / 2 + back / LENGTH * (NECK - APEX) / 2
    assert out[-1] == pytest.approx(np.hypot(APEX / 2, back) - ball, abs=0.005)
    assert out[-1] < 0.1


def test_beyond_the_tip_it_goes_on_for_half_a_radius_and_no_more(root):
    over = np.array([[0.0, 0.0, -LENGTH - mm] for mm in (0.3, 0.4, 0.6, 0.7)])
    assert (beyond(root, over) < 0).tolist() == [True, True, False, False]
