"""Page 1 of a signed sheet says which limits were not met, and why it was signed all the same."""

from __future__ import annotations

from dataclasses import replace

import pypdfium2 as pdfium

from core.measuring.unmet import unmet
from core.plans.history import sign
from core.sheet.case import case_of
from core.sheet.pdf import sheet_pdf
from core.words.catalogue import say
from tests.sheet_material import angle_without_meaning, fixture_at, ledger_of, plan_with, round_jaw

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


def test_no_page_calls_a_row_without_a_limit_one_that_is_not_met():
    """Page 1, the table and what a signature asks for say the same of it."""
    plan = signed(accepted={each.row: WHY for each in NOT_MET})
    ledger = ledger_of(plan, identity=VOLUME.identity)
    rows = (*ledger.measurements, angle_without_meaning("36"))
    ledger = replace(ledger, measurements=rows)
    case = case_of(plan, VOLUME, ledger, without_viewing=False, window=(-500.0, 1800.0))
    document = pdfium.PdfDocument(sheet_pdf(case, paper="A4"))
    texts = [" ".join(page.get_textpage().get_text_range().split()) for page in document]
    assert "Undercut angle" not in texts[0]
    of_row = next(text for text in texts if "Undercut angle" in text).split("Undercut angle")[1]
    assert "no limit not measured" in of_row[:60]
    assert "not assessed" not in of_row[:60]


def test_a_draft_prints_no_reasons():
    draft = replace(PLAN, accepted={each.row: WHY for each in NOT_MET})
    assert all(say("sheet.signed-although") not in page for page in pages(draft))
