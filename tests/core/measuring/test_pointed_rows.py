"""From a plan that points at tissues to the ledger: told on every row and among the checks."""

from dataclasses import replace

import pytest

from core.bone import level_learning
from core.bone.learnt_once import LearntOnce
from core.direction import SideAnswers, as_point
from core.measurement import Note
from core.measuring.assemble import measure
from core.measuring.basis import Basis, settled_arch
from core.plans.plan import Plan, Site
from core.plans.tissue_points import without_tissue_points
from core.trust.scale_check import scale_check
from tests.core.bone.test_pointed_levels import jaw, points


@pytest.fixture(scope="module")
def plan():
    _, arch = jaw()
    return Plan(
        jaw="lower",
        level=arch.level,
        arch_points=arch.curve.points_mm,
        side_answers=SideAnswers(right_end=as_point(arch.curve.points_mm[0])),
        sites=(Site(id="s", station_mm=22.0),),
        tissue_points=points(),
    )


def widths(ledger):
    return [m for m in ledger.measurements if m.kind == "ridge_width"]


def test_rows_are_assessed_again_less_surely_and_say_why(plan, monkeypatch):
    volume, _ = jaw()
    sure = measure(without_tissue_points(plan), volume)
    monkeypatch.setattr(level_learning, "_KNOWN", LearntOnce())
    monkeypatch.setattr(level_learning, "unproven", lambda *_: Note("levels_soft_unclear"))
    nothing = measure(without_tissue_points(plan), volume)
    assert all(m.value is None for m in widths(nothing))
    assert "levels_soft_unclear" in [f.code for f in nothing.findings]
    told = measure(plan, volume)
    assert "levels_pointed" in [f.code for f in told.findings]
    assert "levels_soft_unclear" not in [f.code for f in told.findings]
    assert "pointed at by a person" in told.to_json()
    pairs = [(a, b) for a, b in zip(widths(sure), widths(told), strict=True) if a.value and b.value]
    assert len(pairs) >= 3
    for own, pointed in pairs:
        assert "levels_pointed" in [n.code for n in pointed.reading.notes]
        assert abs(pointed.value - own.value) < 0.25
    # One width with the same edges: what the levels leave open is added to it.
    assert max(b.budget.u / a.budget.u for a, b in pairs) > 1.0


def test_a_basis_is_kept_only_while_the_same_places_are_pointed_at(plan):
    volume, _ = jaw()
    basis = Basis(
        volume=volume, arch=settled_arch(plan), jaw="lower", levels=None, finder=None,
        scale=scale_check(plan, volume), tissue_points=plan.tissue_points,
    )  # fmt: skip
    assert basis.fits(replace(plan, revision=9), volume)
    assert not basis.fits(without_tissue_points(plan), volume)
