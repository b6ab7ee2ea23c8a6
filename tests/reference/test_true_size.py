"""Every page that claims a true size carries rulers that measure 50 mm, on every paper.

Measured on the page as pypdfium2 rasterises it, 12 pixels a mm, to 0.2 mm; and once more in grey,
since many printers have no colour.
"""

from __future__ import annotations

import re

import numpy as np
import pypdfium2 as pdfium
import pytest

from core.measuring.drill_table import Drill
from core.sheet.case import case_of, ready
from core.sheet.day import Day
from core.sheet.parts import PART, part_files
from core.sheet.record import RecordSettings
from tests.sheet_material import fixture_at, ledger_of, plan_with, round_jaw

PX_PER_MM = 12.0
VOLUME = round_jaw(voxel_mm=0.8)
CLAIM = re.compile(r"(?<!not )1 : 1")
PAGES = [part.id for part in PART.values() if any(name.endswith(".pdf") for name in part.files)]
TRUE_SIZE = {"sheet": 2, "card": 2, "film": 1}
"""So many pages at least that claim it; of other parts none needs to."""
OWN = (
    Drill(name="pilot", diameter_mm=2.0, marks_mm=(6, 8, 10), marks_include_tip="no", tip_mm=0.6),
    Drill(name="long", diameter_mm=2.8, marks_include_tip="no", tip_mm=2.4),
)


def pages_of(part, paper, drills):
    plan = plan_with(fixture_at(15.0, "36"), fixture_at(60.0, "33"))
    case = ready(case_of(plan, VOLUME, ledger_of(plan, unmarked=False), without_viewing=True,
                         window=(-1000.0, 2500.0), day=Day(drills=drills)))  # fmt: skip
    files = dict(part_files(part, case, RecordSettings(paper=paper)))
    return pdfium.PdfDocument(files[PART[part].files[0]])


def lengths(grey):
    """Lengths of all rulers that lie in a picture, mm: 51 ticks one mm apart, along a row."""
    found = []
    for row in np.flatnonzero((grey < 110).sum(axis=1) > 60):
        dark = np.concatenate([[False], grey[row] < 128, [False]]).astype(np.int8)
        change = np.flatnonzero(np.diff(dark))
        middles = (change[::2] + change[1::2] - 1) / 2 / PX_PER_MM
        even = np.abs(np.diff(middles) - 1.0) < 0.12
        run = 0
        for n, good in enumerate(even):
            run = run + 1 if good else 0
            if run == 50:
                found.append(middles[n + 1] - middles[n - 49])
    return found


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize("drills", [(), OWN], ids=["any drill", "own drills"])
@pytest.mark.parametrize("part", PAGES)
def test_each_page_that_claims_a_true_size_has_rulers_both_ways(part, drills, paper):
    claiming = 0
    for page in pages_of(part, paper, drills):
        text = " ".join(page.get_textpage().get_text_range().split())
        if not CLAIM.search(text):
            continue
        claiming += 1
        grey = np.asarray(page.render(scale=PX_PER_MM * 25.4 / 72).to_pil().convert("L"))
        lying, upright = lengths(grey), lengths(grey.T)
        assert lying, "no ruler along the paper's width"
        # A card that is full of drills has room for one ruler only, and speaks of one.
        if not (part == "card" and "This ruler must measure 50 mm" in text):
            assert upright, "no ruler along the paper's height"
            assert "Each ruler must measure 50 mm" in text
        for length in lying + upright:
            assert length == pytest.approx(50.0, abs=0.2)
    assert claiming >= TRUE_SIZE.get(part, 0)


def test_the_search_finds_a_ruler_that_is_too_short():
    """The judge is awake: a page printed at 97 % would be caught."""
    page = pages_of("film", "A4", ())[0]
    scale = PX_PER_MM * 25.4 / 72
    grey = np.asarray(page.render(scale=0.97 * scale).to_pil().convert("L"))
    found = lengths(grey)
    assert found
    assert all(length == pytest.approx(48.5, abs=0.2) for length in found)


@pytest.mark.parametrize("part", PAGES)
def test_nothing_is_told_by_colour_alone(part):
    """In grey no letter or line is paler than 3 : 1 on paper (WCAG 2.1, 1.4.11, for graphics)."""
    for page in pages_of(part, "A4", OWN):
        colour = np.asarray(page.render(scale=2).to_pil().convert("RGB"), dtype=float)
        spread = colour.max(axis=2) - colour.min(axis=2)
        inked = colour[spread > 60] / 255.0
        if len(inked) == 0:
            continue
        linear = np.where(inked <= 0.04045, inked / 12.92, ((inked + 0.055) / 1.055) ** 2.4)
        luminance = linear @ (0.2126, 0.7152, 0.0722)
        # The darkest pixels of a stroke: its edges are mixed with the paper by the raster.
        assert (1.05 / (np.quantile(luminance, 0.05) + 0.05)) >= 3.0
