"""The checklist of the day: what the case holds, and what only a person knows."""

from __future__ import annotations

import io
from dataclasses import replace

import pypdf

from core.sheet.case import case_of
from core.sheet.checklist import QUESTIONS, checklist_items, checklist_pdf
from tests.sheet_material import IDENTITY, fixture_at, ledger_of, plan_with, round_jaw

CT = "1.2.840.10008.5.1.4.1.1.2"
WHOLE = replace(IDENTITY, sop_instances=((CT, "2.25.11"),))


def case(*fixtures, identity=WHOLE, **more):
    plan = plan_with(*fixtures, **more)
    volume = replace(round_jaw(voxel_mm=1.5), identity=identity)
    return plan, volume, ledger_of(plan, identity=identity)


def words_of(pdf):
    return " ".join(
        " ".join(p.extract_text() for p in pypdf.PdfReader(io.BytesIO(pdf)).pages).split()
    )


def test_the_checklist_asks_what_only_a_person_knows():
    plan, volume, ledger = case(fixture_at(20.0, "36", length_mm=13.0))
    shown = case_of(plan, volume, ledger, without_viewing=True, window=(0, 1))
    text = words_of(checklist_pdf(shown))
    for question in map(str, QUESTIONS):
        assert question in text
    for words in ("NOT YET", "DRAFT", "LEFT, compared with chart", "QUARRY, Sample",
                  "born 1961-04-02", "No stent axis is marked"):  # fmt: skip
        assert words in text, words
    # The fixture's apex stands 0.5 mm from the canal's roof at z = 6.5.
    again = [what for what, _ in checklist_items(shown) if what.startswith("Looked at again")]
    assert "Looked at again: 36, Canal left" in again
    assert any("Vessel" in what for what in again)
