"""Page 1 of a signed sheet says which limits were not met, and why it was signed all the same."""

from __future__ import annotations

from dataclasses import replace

import pypdfium2 as pdfium

from core.measuring.unmet import unmet
from core.plans.history import sign
from core.sheet.case import case_of
from core.sheet.pdf import sheet_pdf
from core.words.catalogue import say
from tests.sheet_material import fixture_at, ledger_of, plan_with, round_jaw

VOLUME = round_jaw()
PLAN = plan_with(fixture_at(15.0, "36"))
NOT_MET = unmet(ledger_of(PLAN, identity=VOLUME.identity))
WHY = "the nerve is moved aside in the same session"


def pages(plan):
    ledger = ledger_of(plan, identity=VOLUME.identity)
    case = case_of(plan, VOLUME, ledger, without_viewing=False, window=(-500.0, 1800.0))
    document = pdfium.PdfDocument(sheet_pdf(case, paper="A4"))
    return [" ".join(page.get_textpage().get_text_range().split()) for page in document]


def signed(**changes):
    return sign(replace(PLAN, **changes), name="Lee Marsh", role="dentist", at="2026-11-24")


def test_reasons_stand_on_page_1_with_what_they_are_for():
    assert NOT_MET
    first = pages(signed(accepted={each.row: WHY for each in NOT_MET}))[0]
    assert say("sheet.signed-although") in first
    assert WHY in first
    for each in NOT_MET:
        assert f"{each.words} ({each.verdict})" in first


def test_a_reason_that_is_shared_is_printed_once():
    first = pages(signed(accepted={each.row: WHY for each in NOT_MET}))[0]
    assert first.count(WHY) == 1


def test_a_plan_signed_without_reasons_says_that_none_was_given():
    assert say("sheet.no-reason") in pages(signed())[0]


def test_a_draft_prints_no_reasons():
    draft = replace(PLAN, accepted={each.row: WHY for each in NOT_MET})
    assert all(say("sheet.signed-although") not in page for page in pages(draft))
