"""Sizes on the sheet: the core's own rows in the list's order, and nothing leaves its place."""

from dataclasses import replace
from functools import cache

import pypdfium2 as pdfium
import pytest

from core.fixture import FixtureSize
from core.measuring.sizes_table import try_sizes
from core.pictures.ink import GLYPHS
from core.plans.sizes import ListedSize, default_sizes
from core.sheet.page import Pages
from core.sheet.pdf import laid_out, sheet_pdf
from core.sheet.sizes_part import sizes_part
from core.trust.verdict import target_words
from tests.core.sheet.test_measured_parts import case_for, pages_of
from tests.core.sheet.test_pages import check_boxes

OWN = tuple(
    ListedSize(
        label="long name of the practice’s own", size=FixtureSize(diameter_mm=d, length_mm=6)
    )
    for d in (5.0, 9.0, 3.0)
)


@cache
def part(name, sizes):
    """The part alone: (rows of the core, texts as they were put, in order)."""
    case = replace(case_for(name), sizes=sizes)
    subject = case.subjects[0]
    pages = Pages("A4", top_mm=40.0)
    pages.new_page()
    sizes_part(pages, case, subject)
    rows = try_sizes(case.plan, subject.fixture.id, sizes, case.basis)
    return rows, [box.what for page in pages.pages for box in page.boxes]


@pytest.mark.parametrize("name", ["whole", "thick", "upper"])
def test_each_size_with_the_limits_it_meets_and_what_it_lacks_in_the_lists_order(name):
    rows, texts = part(name, default_sizes())
    case = case_for(name)
    assert [t for t in texts if t.startswith("Ø")] == [s.words for s in default_sizes()]
    assert "Supplied list of sizes in this position" in texts
    met = ["all met" if r.met == r.limits else f"{r.limits - r.met} not met" for r in rows]
    assert [t for t in texts if t == "all met" or t.endswith(" not met")] == met
    stopped = [r for r in rows if r.stopped_by is not None]
    targets = [str(target_words(r.stopped_by, jaw=case.plan.known_jaw)) for r in stopped]
    lacks = [texts[n - 1] for n, t in enumerate(texts) if t.removesuffix(" *") in targets]
    assert len(lacks) == len(stopped) > 0
    for row, words in zip(stopped, lacks, strict=True):
        below = row.verdict == "below limit"
        assert "<" not in words, "less than so much would be another thing"
        assert below or words.startswith(GLYPHS[row.verdict])
        if row.lacking_mm is not None:
            shown = float(words if below else words[1:])
            assert row.lacking_mm - 1e-9 <= shown < row.lacking_mm + 0.1


def test_the_users_own_list_is_called_so_and_is_never_sorted():
    rows, texts = part("whole", OWN)
    assert "My sizes in this position" in texts
    widths = [t[t.index("Ø") :] for t in texts if "Ø" in t]
    assert widths == ["Ø 5.0 × 6.0 mm", "Ø 9.0 × 6.0 mm", "Ø 3.0 × 6.0 mm"]
    assert rows[1].lacking_mm > 0


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_nothing_leaves_the_paper_or_covers_other_words(paper):
    long = tuple(
        ListedSize(label=f"n {n}", size=FixtureSize(diameter_mm=3 + 0.01 * n, length_mm=6.0))
        for n in range(130)
    )
    for sizes, goes_on in ((OWN, False), (long, True)):
        case = replace(case_for("whole"), sizes=sizes)
        pages = laid_out(case, paper=paper)
        check_boxes(pages, case)
        headed = [p for p in pages.pages if any(b.what == "limits" for b in p.boxes)]
        assert (len(headed) > 1) == goes_on


def test_without_a_list_there_is_no_part_and_grey_values_never_stand_on_a_sheet():
    case = case_for("whole")
    assert case.sizes == ()
    listed = pdfium.PdfDocument(sheet_pdf(replace(case, sizes=default_sizes()), paper="A4"))
    with_list = " ".join(page.get_textpage().get_text_range() for page in listed)
    for text, is_there in ((" ".join(pages_of("whole")), False), (with_list, True)):
        assert ("sizes in this position" in text) == is_there
        assert "grey value of this scan" not in text


def test_the_size_beside_the_planned_one_is_said_to_be_no_planned_one():
    from core.plans.edit_pose import with_other_size

    case = case_for("whole")
    fixture = case.subjects[0].fixture
    other = FixtureSize(diameter_mm=3.5, length_mm=6.0)
    case = replace(case, plan=with_other_size(case.plan, fixture.id, other), sizes=())
    pages = Pages("A4", top_mm=40.0)
    pages.new_page()
    sizes_part(pages, case, case.subjects[0])
    words = " ".join(box.what for page in pages.pages for box in page.boxes)
    (row,) = try_sizes(case.plan, fixture.id, (ListedSize(size=other),), case.basis)
    assert "Ø 3.5 × 6.0 mm was looked at in the same place" in words
    planned = f"Ø {fixture.size.diameter_mm:.1f} × {fixture.size.length_mm:.1f} mm"
    assert f"It is not the planned size: {planned} is" in words
    assert f"It meets {row.met} of {row.limits} limits." in words
    ledger = {m.id for m in case.ledger.measurements}
    assert {m.id for m in row.rows} <= ledger, "the same rows as those of the planned size"
