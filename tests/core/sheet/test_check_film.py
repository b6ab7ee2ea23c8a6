"""The expected check radiograph: which line is which, and which length is the pin's."""

from __future__ import annotations

from dataclasses import replace

import pypdfium2 as pdfium

from core.sheet.case import case_of
from core.sheet.check_film import check_film_pdf
from core.sheet.day import Day, Pin
from tests.sheet_material import fixture_at, ledger_of, plan_with, round_jaw


def film_text(plan, day=None):
    volume = round_jaw(voxel_mm=2.0)
    ledger = ledger_of(plan, identity=volume.identity)
    case = case_of(plan, volume, ledger, without_viewing=True, window=(-200, 1500))
    if day is not None:
        case = replace(case, day=day)
    (page,) = pdfium.PdfDocument(check_film_pdf(case))
    return " ".join(page.get_textpage().get_text_range().split())


def test_the_pin_s_lengths_belong_together():
    pin = Pin(depth_mm=9.0, above_mm=5.5)
    text = film_text(plan_with(fixture_at(20.0, "36")), Day(pin=pin))
    assert "pin: 9.0 deep" in text
    assert "14.5 mm long: 9.0 mm below the platform, 5.5 mm above it" in text
    assert "the whole pin, true length 14.5 mm" in text


def test_a_canal_is_named_where_one_is_drawn():
    plan = plan_with(fixture_at(20.0, "36"))
    assert "Two lines: canal" in film_text(plan)
    roots = tuple(s for s in plan.structures if s.id != "canal-left")
    assert "canal" not in film_text(replace(plan, structures=roots))
