"""Own repeat study in a plan: how marks count then, where it is said, and whose it was."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from core.measuring.assemble import measure
from core.plans.history import with_entry
from core.plans.plan import OwnHand
from core.plans.plan_dump import document_of
from core.plans.plan_parse import parse
from core.pseudonym import pseudonymous
from core.trust.operator_precision import hand_findings, placement_by, placement_of
from core.trust.uncertainty import DEFAULT_PLACEMENT
from tests.core.trust.case import case

HAND = OwnHand(
    person="LM", sd_mm=0.31, marks=20, placings=60, studied="2026-09-14", by="LM",
    at="2026-09-15T09:00:00+02:00",
)  # fmt: skip


@given(st.floats(0.0, 5.0))
def test_an_own_hand_never_counts_under_0_2_mm_nor_over_what_was_studied(sd):
    found = placement_by(replace(HAND, sd_mm=sd))
    assert found.seen_mm == pytest.approx(max(sd, 0.2))
    assert found.measured
    assert found.faint_mm >= 0.5
    assert found.not_seen_mm >= 1.0
    assert ("counted as 0.20 mm" in str(found.source)) == (sd < 0.2)


def test_without_a_study_the_usual_allowance_stands():
    plan, _ = case()
    assert placement_of(plan) is DEFAULT_PLACEMENT
    assert list(hand_findings(plan)) == []


def test_a_plan_keeps_the_hand_and_its_fingerprint_knows_it():
    plan, _ = case()
    own = replace(plan, own_hand=HAND)
    document = json.loads(json.dumps(document_of(own)))
    assert document["own_hand"]["placings"] == 60
    assert parse(document).own_hand == HAND
    back = replace(parse(document), own_hand=None)
    assert "own_hand" not in document_of(back)


@pytest.mark.parametrize("sd", [-0.1, 6.0])
def test_no_believable_spread_is_refused(sd):
    with pytest.raises(ValueError, match="0 to 5"):
        replace(HAND, sd_mm=sd)


def test_every_budget_with_marks_names_the_study_and_counts_it():
    plan, volume = case()
    usual = measure(plan, volume, fine=False)
    own = measure(replace(plan, own_hand=HAND), volume, fine=False)
    changed = 0
    for before, after in zip(usual.measurements, own.measurements, strict=True):
        assert after.value == before.value
        if not before.reading.marks or before.value is None:
            continue
        term = next(t for t in after.budget.terms if t.name == "placement")
        assert "own repeat study of LM, 2026-09-14" in str(term.source)
        assert "n = 60" in str(term.source)
        # The repeats hold the voxel's part already.
        assert "voxel" not in {t.name for t in after.budget.terms}
        allowed = next(t for t in before.budget.terms if t.name == "placement")
        reading = after.reading
        if reading.extra_placement_sd_mm or any(m.seen != "yes" for m in reading.marks):
            continue  # these parts are no matter of the hand's steadiness
        assert term.u == pytest.approx(allowed.u * 0.31 / 0.25, rel=1e-6)
        changed += 1
    assert changed >= 3
    assert "own-hand" in {f.code for f in own.findings}


def test_another_persons_work_on_the_plan_is_said():
    plan, _ = case()
    own = replace(plan, own_hand=HAND)
    mine = with_entry(own, who="LM", when="2026-09-15T09:00:00+02:00", what="canal marked")
    assert [f.code for f in hand_findings(mine)] == ["own-hand"]
    signed = with_entry(mine, who="L. Muster", when="2026-09-15T10:00:00+02:00", what="signed off")
    assert [f.code for f in hand_findings(signed)] == ["own-hand"]
    (said,) = hand_findings(mine)
    assert (said.fields["studied"], said.fields["by"]) == ("2026-09-14", "LM")
    (bare,) = hand_findings(replace(mine, own_hand=replace(HAND, studied="", by="")))
    assert (str(bare.fields["studied"]), str(bare.fields["by"])) == ("no date", "nobody named")
    theirs = with_entry(mine, who="AK", when="2026-09-16T09:00:00+02:00", what="mark moved")
    assert [f.code for f in hand_findings(theirs)] == ["own-hand", "own-hand-of-another"]
    assert "AK" in list(hand_findings(theirs))[1].message


def test_under_a_pseudonym_nobody_is_named():
    plan, volume = case()
    own = replace(plan, own_hand=replace(HAND, person="Lmx", by="Lmx"))
    own = with_entry(own, who="Akx", when="2026-09-16T09:00:00+02:00", what="mark moved")
    ledger = measure(own, volume, fine=False)
    new_plan, _, new = pseudonymous(own, volume, ledger, secret=b"0123456789abcdef")
    for text in (new.to_json(), json.dumps(document_of(new_plan))):
        assert "Lmx" not in text
        assert "Akx" not in text
        assert "2026-09-14" not in text
    assert "own repeat study of person " in new.to_json()
