"""A bone surface is met from outside: edges met from within the bone are none."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from core.bone.edges import EdgeSet
from core.bone.met_from_outside import met_from_outside
from core.bone.outside import Outside

STEP = 0.3
WAY = np.array([1.0, 0.0, 0.0])


def around(*, marrow):
    """Bone from −5 to 5 mm across: soft tissue outside it, plates of 1 mm, marrow between."""
    across = (np.arange(101) - 50) * STEP
    block = np.broadcast_to(across[:, None, None], (101, 5, 5))
    return Outside(
        corner_mm=np.array([across[0], -2 * STEP, -2 * STEP]),
        ways=np.eye(3),
        mouth=np.abs(block) > 5.0,
        hollow=np.zeros(block.shape, dtype=bool),
        closed=(np.abs(block) < 4.0) & marrow,
    )


def rays(*at, start=-14.0):
    """Rays along the block's first direction, each with an edge at a place across."""
    n = len(at)
    edges = EdgeSet(
        distance_mm=np.array(at) - start,
        sd_mm=np.full(n, 0.05),
        found=np.ones(n, dtype=bool),
        reason=np.full(n, "", dtype="<U16"),
        hint_mm=np.array(at) - start,
    )
    return np.tile([start, 0.0, 0.0], (n, 1)), edges


@pytest.mark.parametrize("marrow", [True, False])
def test_the_inner_side_of_the_far_plate_is_no_surface_of_the_near_side(marrow):
    # Fatty marrow is seen to be closed in; marrow as bright as bone is too long to be gum.
    starts, edges = rays(-5.0, 4.0)
    out = met_from_outside(around(marrow=marrow), starts, WAY, edges)
    assert out.found.tolist() == [True, False]
    assert out.distance_mm[0] == edges.distance_mm[0]
    assert np.isnan(out.distance_mm[1])
    assert out.reason[1] == "weak"
    # What may be bone begins where the ray left the outside.
    assert out.hint_mm[1] == pytest.approx(9.0, abs=0.5)


def test_under_gum_that_is_brighter_than_soft_tissue_the_surface_stays():
    starts, edges = rays(-3.0)
    out = met_from_outside(around(marrow=False), starts, WAY, edges)
    assert out.found.all()


def test_the_far_side_of_what_may_be_a_thin_ridge_under_gum_stays_in_doubt():
    # Bright from −5 on, and the outside behind the edge: 4 mm of gum would look the same.
    starts, edges = rays(-5.0 + 4.5)
    jaw = around(marrow=False)
    thin = replace(jaw, mouth=jaw.mouth | (np.arange(101) > 56)[:, None, None])
    out = met_from_outside(thin, starts, WAY, edges)
    assert out.reason.tolist() == ["weak"]
    assert out.hint_mm[0] == edges.distance_mm[0]


def test_a_ray_that_was_never_outside_has_no_surface_of_its_side():
    starts, edges = rays(4.0, start=-3.0)
    out = met_from_outside(around(marrow=True), starts, WAY, edges)
    assert out.reason.tolist() == ["starts inside"]
    assert np.isnan(out.hint_mm).all()
