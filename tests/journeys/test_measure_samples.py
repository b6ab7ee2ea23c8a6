"""The main job without a screen: a sample's scan and plan against its exact geometry.

The truth files hold the analytic geometry that the scans were made from, and clearances found by
dense sampling that knows nothing of `core.distances.clearance`.
"""

from __future__ import annotations

import json
from typing import Any

import pytest

import sample_volumes
from core import load_plan, measure, open_scan
from core.measuring.ledger import Ledger

SAMPLES = ("lower_left_36", "upper_right_15")


@pytest.fixture(scope="module", params=SAMPLES)
def name(request: pytest.FixtureRequest) -> str:
    return str(request.param)


@pytest.fixture(scope="module")
def truth(name: str) -> Any:
    return json.loads(sample_volumes.path(f"{name}.truth.json").read_text())


@pytest.fixture(scope="module")
def ledgers(name: str) -> dict[str, Ledger]:
    volume = open_scan(sample_volumes.path(name))
    out = {}
    for which, suffix in (("right", ""), ("wrong", "_wrong")):
        plan = load_plan(sample_volumes.path(f"{name}{suffix}.plan.json"))
        # Of a day near the scan's: an old scan is a caution of its own.
        out[which] = measure(
            plan,
            volume,
            made_at="2026-11-01T10:00:00+02:00",
        )
    return out


@pytest.mark.parametrize("which", ["right", "wrong"])
def test_every_clearance_agrees_with_the_truth_to_two_hundredths(
    which: str, ledgers: dict[str, Ledger], truth: Any
) -> None:
    expected = truth["fixtures"][which]["clearances"]
    assert expected
    for row_id, exact in expected.items():
        found = ledgers[which].get(row_id).value
        assert found == pytest.approx(exact["value_mm"], abs=0.02), row_id


@pytest.mark.parametrize("along", ["axis", "up"])
def test_every_ridge_width_agrees_with_the_truth_to_three_tenths(
    along: str, ledgers: dict[str, Ledger], truth: Any
) -> None:
    ledger = ledgers["right"]
    subject = ledger.plan.fixtures[0].id
    widths = truth["fixtures"]["right"][along]["widths"]
    assert len(widths) == 5
    for width in widths:
        found = ledger.get(f"{subject}/ridge_width/{along}/{width['at_depth_mm']:g}").value
        assert found == pytest.approx(width["value_mm"], abs=0.3), width["at_depth_mm"]


def test_the_height_along_the_axis_agrees_with_the_truth(
    ledgers: dict[str, Ledger], truth: Any
) -> None:
    heights = [
        m
        for m in ledgers["right"].measurements
        if m.kind == "ridge_height" and m.details.along == "axis" and m.target
    ]
    exact = truth["fixtures"]["right"]["axis"]["height_mm"]
    assert heights[0].value == pytest.approx(exact, abs=0.3)


def test_the_right_plan_meets_its_limits_and_misses_nothing(ledgers: dict[str, Ledger]) -> None:
    ledger = ledgers["right"]
    verdicts = [m.verdict for m in ledger.measurements]
    assert "below limit" not in verdicts
    assert "not assessed" not in [m.verdict for m in ledger.measurements if m.group == "danger"]
    assert not [f for f in ledger.findings if f.severity != "note"]
    assert ledger.summary.endswith("This does not mean it is safe to operate.")


def test_every_value_says_what_it_rests_on(ledgers: dict[str, Ledger]) -> None:
    for ledger in ledgers.values():
        for m in ledger.measurements:
            assert m.value is None or m.reading.evidence.rests_on != "nothing", m.id
            assert m.verdict != "meets limit" or m.reading.evidence.is_sound, m.id


def test_a_side_that_is_contradicted_leaves_no_verdict(ledgers: dict[str, Ledger]) -> None:
    ledger = ledgers["wrong"]
    subject = ledger.plan.fixtures[0].id
    assert {m.verdict for m in ledger.of(subject) if m.limit is not None} == {"not assessed"}


def test_every_number_carries_its_doubt(ledgers: dict[str, Ledger]) -> None:
    for ledger in ledgers.values():
        for m in ledger.measurements:
            if m.value is None:
                assert m.verdict in ("not assessed", None)
                assert m.reading.notes, m.id
            else:
                assert m.budget is not None, m.id
                assert m.budget.expanded > 0, m.id


def test_ids_are_unique_and_the_json_is_strict(ledgers: dict[str, Ledger]) -> None:
    for ledger in ledgers.values():
        ids = [m.id for m in ledger.measurements]
        assert len(ids) == len(set(ids))
        document = json.loads(ledger.to_json(), parse_constant=pytest.fail)
        assert document["format"] == "sounding-ledger"
        assert [row["id"] for row in document["measurements"]] == ids
