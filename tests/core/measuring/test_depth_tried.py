"""At which depth a fixture meets what it misses: the ledger of that depth says the same."""

from __future__ import annotations

from functools import lru_cache

import pytest

import sample_volumes
from core import load_plan, measure, open_scan
from core.measuring.basis import Basis
from core.measuring.depth_tried import FURTHEST_MM, STEP_MM, depth_that_meets
from core.plans.edit_pose import fixture_deepened
from core.trust.verdict import is_missed

RAISED_MM = 1.6


@lru_cache
def scene():
    """The sample's fixture, raised until bone is lacking at its shoulder."""
    volume = open_scan(sample_volumes.path("lower_left_36"))
    plan = load_plan(sample_volumes.path("lower_left_36.plan.json"))
    plan = fixture_deepened(plan, plan.fixtures[0].id, -RAISED_MM)
    return plan, volume, Basis.of(plan, volume)


@lru_cache
def missed(by_mm=0.0):
    plan, volume, basis = scene()
    moved = fixture_deepened(plan, "36", by_mm) if by_mm else plan
    ledger = measure(moved, volume, basis=basis)
    return {m.id for m in ledger.of("36") if is_missed(m)}


def test_the_nearest_depth_that_meets_it_is_measured_there():
    plan, _, basis = scene()
    lost = missed() - missed(RAISED_MM)
    assert lost, "raised it misses what it met"
    found = depth_that_meets(plan, "36", lost, basis, also_missed=missed() - lost)
    assert 0.0 < found.by_mm <= RAISED_MM + STEP_MM
    assert not lost & missed(round(found.by_mm, 6)), "the ledger there agrees"
    nearer = round(found.by_mm - STEP_MM, 6)
    assert nearer <= 0.0 or missed(nearer) & lost or missed(nearer) - missed()
    assert {m.verdict for m in found.rows.values()} == {"meets limit"}
    assert set(found.rows) == lost


def test_without_such_a_depth_and_when_nobody_waits_there_is_none():
    plan, _, basis = scene()
    assert depth_that_meets(plan, "36", ["36/clearance/no such row"], basis) is None
    lost = missed() - missed(RAISED_MM)
    assert depth_that_meets(plan, "36", lost, basis, cancelled=lambda: True) is None
    assert pytest.approx(2.0) == FURTHEST_MM
