"""Limits that are not met, each with its name and the reason that was given for it."""

from __future__ import annotations

from dataclasses import replace

from core.measuring.ledger import worst_first
from core.measuring.unmet import reasons_given, unmet
from core.plans.history import sign, sign_off_state
from core.trust.verdict import is_judged
from tests.sheet_material import angle_without_meaning, fixture_at, ledger_of, plan_with

PLAN = plan_with(fixture_at(15.0, "36"))
LEDGER = ledger_of(PLAN)


def test_every_judged_row_that_does_not_meet_its_limit_is_there_worst_first():
    found = unmet(LEDGER)
    expected = {m.id for m in LEDGER.measurements if m.verdict not in (None, "meets limit")}
    assert {each.row for each in found} == expected
    assert len(found) == len(expected) > 0
    ranks = [worst_first(LEDGER.get(each.row)) for each in found]
    assert ranks == sorted(ranks)
    assert {each.subject for each in found} == {"36"}
    assert all(each.words for each in found)


def test_a_row_without_a_limit_misses_none_even_where_it_has_no_value():
    ledger = replace(LEDGER, measurements=(*LEDGER.measurements, angle_without_meaning("36")))
    assert unmet(ledger) == unmet(LEDGER)
    assert ledger.summary == LEDGER.summary


def test_what_is_asked_for_is_what_the_summary_counts():
    """One place decides both: `core.trust.verdict.is_judged`."""
    ledger = replace(LEDGER, measurements=(*LEDGER.measurements, angle_without_meaning("36")))
    counted = [m for m in ledger.measurements if is_judged(m)]
    met = [m for m in counted if m.verdict == "meets limit"]
    assert len(unmet(ledger)) == len(counted) - len(met) > 0


def test_what_meets_its_limit_or_has_none_is_not_asked_for():
    met = [m for m in LEDGER.measurements if m.verdict in (None, "meets limit")]
    assert unmet(replace(LEDGER, measurements=tuple(met))) == ()


def test_a_reason_that_was_not_given_is_empty_and_never_made_up():
    first, *others = unmet(LEDGER)
    given = reasons_given(LEDGER, {first.row: "the plate is kept by grafting"})
    assert given[0] == (first, "the plate is kept by grafting")
    assert [reason for _, reason in given[1:]] == [""] * len(others)


def test_reasons_belong_to_what_is_signed():
    """Another reason afterwards voids the signature: it is a part of the plan."""
    accepted = {"36/clearance/canal": "why"}
    signed = sign(replace(PLAN, accepted=accepted), name="LM", role="dentist", at="now")
    assert sign_off_state(signed) == "signed"
    assert sign_off_state(replace(signed, accepted={})) == "void"
