"""What a plan may state: impossible sizes, unusual ones and their reason, marks out of order."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from core.errors import PlanError
from core.fixture import Fixture, FixtureSize
from core.plans.plan import Plan
from core.plans.plan_checks import plan_findings
from core.plans.plan_dump import document_of
from core.plans.plan_parse import parse
from core.plans.plausible import refuse_implausible, turned_back_at
from core.structures import Course

LINE = [[x, 0.1 * x, -15.0] for x in range(-12, 13, 4)]


def plan_with(*, diameter=3.0, kind="canal", points=LINE, size=(4.0, 10.0), reasons=None) -> Plan:
    course = Course(id="canal-left", kind=kind, points=points, diameter_mm=diameter)
    fixture = Fixture(
        id="36",
        platform=np.zeros(3),
        towards_apex=np.array([0, 0, -1.0]),
        size=FixtureSize(diameter_mm=size[0], length_mm=size[1]),
    )
    return Plan(structures=(course,), fixtures=(fixture,), reasons=reasons or {})


@pytest.mark.parametrize("diameter", [0.05, 0.3, 6.5, 30.0])
def test_no_canal_is_as_thin_or_as_wide(diameter):
    with pytest.raises(PlanError, match=r"structures\[0\].diameter_mm") as refused:
        refuse_implausible(plan_with(diameter=diameter, reasons={"canal-left": "so it is"}))
    assert f"{diameter:g} mm" in str(refused.value)
    assert "Correct the value" in str(refused.value)


@pytest.mark.parametrize("size", [(1.2, 10.0), (9.0, 10.0), (4.0, 3.0), (4.0, 35.0)])
def test_no_fixture_is_as_small_or_as_large(size):
    with pytest.raises(PlanError, match=r"fixtures\[0\].size") as refused:
        refuse_implausible(plan_with(size=size))
    assert refused.value.code == "plan-impossible-size"


@pytest.mark.parametrize("change", [{"diameter": 5.4}, {"diameter": 1.0}, {"size": (2.0, 10.0)}])
def test_an_unusual_value_needs_a_reason_that_stays_in_the_plan(change):
    with pytest.raises(PlanError) as refused:
        refuse_implausible(plan_with(**change))
    assert refused.value.code == "plan-unusual-size"
    reasons = {"canal-left": "seen in two scans", "36": "narrow ridge"}
    kept = plan_with(**change, reasons=reasons)
    refuse_implausible(kept)
    again = parse(document_of(kept))
    assert dict(again.reasons) == reasons
    told = [f.message for f in plan_findings(again) if f.code == "unusual-size-kept"]
    assert any("seen in two scans" in words for words in told)


@pytest.mark.parametrize("blank", ["", "  "])
def test_an_empty_reason_is_none(blank):
    with pytest.raises(PlanError):
        refuse_implausible(plan_with(diameter=5.4, reasons={"canal-left": blank}))


def test_usual_values_pass():
    refuse_implausible(plan_with())
    refuse_implausible(plan_with(diameter=None))


def test_marks_that_were_swapped_are_refused_with_their_place():
    swapped = [LINE[i] for i in (0, 1, 3, 2, 4, 5, 6)]
    with pytest.raises(PlanError, match=r"structures\[0\].points\[2\]") as refused:
        refuse_implausible(plan_with(points=swapped))
    assert "in order" in str(refused.value)
    # A loop of the nerve turns back by its nature.
    refuse_implausible(plan_with(points=swapped, kind="loop"))


def test_a_bend_to_the_foramen_and_marks_on_one_spot_are_in_order():
    bend = [*LINE, [13.0, 4.0, -13.0], [12.5, 7.0, -10.0]]
    assert turned_back_at(np.array(bend)) is None
    doubled = np.insert(np.array(LINE), 2, np.add(LINE[2], [-0.2, 0, 0.1]), axis=0)
    assert turned_back_at(doubled) is None
    assert turned_back_at(np.array(LINE[:1])) is None


def test_a_vessel_may_be_thin():
    course = Course(id="vessel-1", kind="vessel", points=LINE, diameter_mm=0.4)
    refuse_implausible(replace(plan_with(), structures=(course,)))
