"""The titles of the table of measurements: the bone's surface stands under bone."""

from __future__ import annotations

import pypdfium2 as pdfium

from core.measurement import Measurement, Reading
from core.measurement_kinds import ClearanceDetails
from core.measuring.shared_reasons import SharedReasons
from core.plans.limits import limit_for
from core.sheet.lasting import Facts
from core.sheet.ledger_table import ledger_table
from core.sheet.page import Pages
from core.sheet.page_frame import BODY_TOP_MM
from tests.sheet_material import fixture_at, ledger_of, plan_with

PLAN = plan_with(fixture_at(20.0, "36"))
SURFACE = Measurement(
    id="36/clearance/bone surface/lingual", group="danger", fixture="36", kind="clearance",
    target="bone surface", reading=Reading(value=1.8), verdict="meets limit",
    limit=limit_for("surface-lingual", PLAN), details=ClearanceDetails(side="lingual"),
)  # fmt: skip


def test_the_bones_surface_is_no_vital_structure():
    rows = (SURFACE, *ledger_of(PLAN).measurements)
    pages = Pages("A4", top_mm=BODY_TOP_MM)
    pages.new_page()
    ledger_table(pages, rows, name_of=lambda m: m.target, sources=[], shared=SharedReasons.of(rows))
    made = pages.render(lambda *_: None, Facts(title="t", subject="", author="", made_at="2030"))
    text = pdfium.PdfDocument(made)[0].get_textpage().get_text_range()
    order = ("Vital structures", "canal-left", "Roots", "root-35", "Bone", "bone surface")
    places = [text.index(words) for words in order]
    assert places == sorted(places)
    assert text.count("Bone") == 1
