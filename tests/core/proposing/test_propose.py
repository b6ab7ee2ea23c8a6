"""The first arch from the image: near the middle of the bone, and None where there is none."""

from __future__ import annotations

import numpy as np
import pytest

import sample_volumes
from core import load_plan, open_scan
from core.arch import Arch
from core.image.volume import Volume
from core.plans.side import arch_of
from core.proposing.propose import propose


@pytest.mark.parametrize(("name", "jaw"), [("lower_left_36", "lower"), ("upper_right_15", "upper")])
def test_the_sample_s_arch_is_found_within_2_mm_of_the_traced_one(name, jaw):
    """The traced arch is the sample's own plan, made from its exact geometry."""
    proposal = propose(open_scan(sample_volumes.path(name)))
    traced = arch_of(load_plan(sample_volumes.path(f"{name}.plan.json")))
    found = Arch.trace(proposal.arch_points, level=proposal.level)
    assert proposal.jaw == jaw
    assert found.direction.state == "settled"
    line = traced.level.project(found.curve.polyline(0.1)[1])
    stations = traced.curve.nearest_stations(line)
    within = (stations > 0) & (stations < traced.length_mm)
    assert np.ptp(stations[within]) > 0.9 * traced.length_mm
    off = np.linalg.norm(traced.curve.at(stations[within]) - line[within], axis=1)
    assert off.max() < 2.0
    assert abs(traced.level.height_mm(proposal.level.origin)[0]) < 3.0
    assert np.degrees(np.arccos(proposal.level.up @ traced.level.up)) < 2.5
    assert proposal.level.height_mm(proposal.arch_points) == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize("under_air", [0, 16])
def test_a_closed_ring_of_bone_is_not_proposed_as_an_arch(under_air):
    """Walls of a sinus, or a vertebra: an arch that never opens has no right and left end."""
    ring = np.abs(np.hypot(*(np.indices((40, 140, 140))[1:] - 70)) * 0.5 - 25.0) < 3.0
    ring[40 - under_air :] = False
    assert propose(_bone(ring, 0.5)).arch_points is None
    ring[:, 70:, :] = False
    # A wall that the scan cuts has no top, whose crest could be found.
    assert (propose(_bone(ring, 0.5)).arch_points is not None) == bool(under_air)


@pytest.mark.parametrize(("radius_mm", "found"), [(27.0, True), (75.0, False)])
def test_the_vault_of_a_skull_is_no_arch(radius_mm, found):
    across = np.indices((40, 200, 200))[1:] - 100.0
    wall = np.abs(np.hypot(*across) - radius_mm) < 4.0
    wall[:, 100:, :] = False
    wall[28:] = False
    assert (propose(_bone(wall, 1.0)).arch_points is not None) == found


def _bone(solid, edge_mm):
    return Volume(
        voxels=np.where(solid, 1500, 0).astype(np.int16),
        mm_from_ijk=np.diag([edge_mm, edge_mm, edge_mm, 1.0]),
        made_up=np.zeros(len(solid), dtype=bool),
    )


def test_where_no_arch_is_seen_a_plane_through_the_middle_shows_something_to_trace_it_on():
    """An even block holds no arch."""
    block = Volume(
        voxels=np.zeros((40, 40, 40), dtype=np.int16), mm_from_ijk=np.diag([0.5, 0.5, 0.5, 1.0]),
        made_up=np.zeros(40, dtype=bool),
    )  # fmt: skip
    plan = propose(block)
    assert (plan.jaw, plan.arch_points) == (None, None)
    assert plan.level.origin == pytest.approx((9.75, 9.75, 9.75))
    assert plan.level.up == pytest.approx((0, 0, 1))
