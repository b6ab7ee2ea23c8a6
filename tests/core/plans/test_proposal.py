"""The first arch from the image: near the middle of the bone, and None where there is none."""

from __future__ import annotations

import numpy as np
import pytest

import sample_volumes
from core import load_plan, open_scan
from core.image.volume import Volume
from core.measuring.basis import arch_of
from core.plans.proposal import propose


@pytest.fixture(scope="module")
def sample():
    return open_scan(sample_volumes.path("lower_left_36"))


def test_the_sample_s_arch_is_found_within_4_mm_of_the_traced_one(sample):
    """The traced arch is the sample's own plan, made from its exact geometry."""
    proposal = propose(sample)
    traced = arch_of(load_plan(sample_volumes.path("lower_left_36.plan.json")))
    found = arch_of(proposal)
    assert proposal.jaw == "lower"
    assert found.side_doubt is None
    line = traced.level.project(found.curve.polyline(0.1)[1])
    stations = traced.curve.nearest_stations(line)
    within = (stations > 0) & (stations < traced.length_mm)
    assert np.ptp(stations[within]) > 0.9 * traced.length_mm
    off = np.linalg.norm(traced.curve.at(stations[within]) - line[within], axis=1)
    assert off.max() < 4.0
    assert off.mean() < 2.0


def test_noise_without_bone_gives_no_proposal_or_no_crash():
    """An even block holds no arch."""
    block = Volume(
        voxels=np.zeros((40, 40, 40), dtype=np.int16), mm_from_ijk=np.diag([0.5, 0.5, 0.5, 1.0]),
        made_up=np.zeros(40, dtype=bool),
    )  # fmt: skip
    assert propose(block) is None
