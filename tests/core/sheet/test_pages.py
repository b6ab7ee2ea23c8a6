"""The sheet's pages: everything on the paper, nothing over anything else, all that must stand."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pypdfium2 as pdfium
import pytest

from core.arch import Arch
from core.errors import PlanError
from core.findings import Finding
from core.measurement import Reading
from core.measurement_kinds import (
    ClearanceDetails,
    DepthDetails,
    MeasurementKind,
    RemainingBoneDetails,
    WidthDetails,
)
from core.measuring.depth_rule import OF_DRILLING
from core.pictures.ink import WORDS
from core.plans.history import with_entry
from core.plans.plan import ImageCheck, SignOff, Site
from core.plans.plan_dump import plan_fingerprint
from core.sheet import section_png
from core.sheet.basis_pages import basis_pdf
from core.sheet.case import case_of, surface_title
from core.sheet.lasting import Facts
from core.sheet.legend import legend
from core.sheet.page import Pages
from core.sheet.page_frame import BODY_TOP_MM, page_frame, plain_time
from core.sheet.pdf import laid_out, sheet_pdf
from core.trust.figures import down
from core.words.catalogue import message, say
from core.words.cautions import CAUTIONS
from core.words.sheet import EACH_BY_ITSELF, UNCERTAINTY
from tests.sheet_material import fixture_at, ledger_of, named, plan_with, round_jaw

VOLUME = round_jaw()
LONG = named(VOLUME, patient_name=f"{'W' * 64}^{'Sample' * 8}", patient_id="X" * 64)
ONE = plan_with(fixture_at(15.0, "36"))
SITES = (Site(id="site-36", tooth="36", station_mm=68.0), Site(id="site-x", station_mm=30.0))
TWELVE = plan_with(
    *(
        fixture_at(degrees, tooth)
        for degrees, tooth in zip(
            np.linspace(165.0, 15.0, 12),
            ("46", "45", "44", "43", "42", "41", "31", "32", "33", "34", "35", "36"),
            strict=True,
        )
    )
)


def case_with(plan, volume=VOLUME, **more):
    ledger = ledger_of(plan, identity=volume.identity)
    options = {"without_viewing": False, "window": (-500.0, 1800.0)} | more
    return case_of(plan, volume, ledger, **options)


def texts(case, paper="A4"):
    return words_of(sheet_pdf(case, paper=paper))


@cache
def texts_of_one():
    """Of the usual sheet, made once."""
    return tuple(texts(case_with(ONE)))


def words_of(pdf):
    document = pdfium.PdfDocument(pdf)
    return [page.get_textpage().get_text_range().replace("\r\n", " ") for page in document]


CASES = {
    "one fixture": lambda: case_with(ONE),
    "a long name": lambda: case_with(ONE, LONG),
    "sites only": lambda: case_with(plan_with(sites=SITES)),
    "nothing": lambda: case_with(plan_with()),
    "no arch": lambda: case_with(replace(ONE, arch_points=None)),
}


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize("name", CASES)
def test_nothing_leaves_the_paper_or_covers_other_words(name, paper):
    case = CASES[name]()
    check_boxes(laid_out(case, paper=paper), case)


@pytest.mark.slow
def test_twelve_fixtures_fit():
    case = case_with(TWELVE, LONG)
    pages = laid_out(case, paper="Letter")
    check_boxes(pages, case)
    first = " ".join(b.what for b in pages.pages[0].boxes)
    for fixture in TWELVE.fixtures:
        assert fixture.tooth in first


def check_boxes(pages: Pages, case):
    """Draw pages that were laid out and look at each box; the PDF."""
    # Rendering adds what every page carries; the boxes then hold all of it.
    drawn = pages.render(page_frame(case), Facts(title=""))
    check_drawn(pages)
    return drawn


def check_drawn(pages: Pages):
    """Nothing lies off the paper or over anything else, on pages that are drawn already."""
    for page in pages.pages:
        for box in page.boxes:
            assert box.left >= 12.0, box
            assert box.right <= pages.width - 12.0 + 0.01, box
            assert box.top >= 4.0, box
            assert box.bottom <= pages.height - 10.0, box
        words = [
            b for b in page.boxes if b.what.strip() and b.what != "line" and "chart " not in b.what
        ]
        charts = [b for b in page.boxes if b.what.startswith("chart ")]
        assert covering(words, [*words, *charts]) == []


def covering(words, others, slack=0.35):
    """Pairs of which one lies over the other; `others` begin with the words themselves."""
    if not words:
        return []
    left, top, right, bottom = np.array([(b.left, b.top, b.right, b.bottom) for b in others]).T
    n = len(words)
    wide = np.minimum(right[:n, None], right) - np.maximum(left[:n, None], left)
    high = np.minimum(bottom[:n, None], bottom) - np.maximum(top[:n, None], top)
    over = np.triu((wide > slack) & (high > slack), k=1)
    return [(words[one], others[other]) for one, other in np.argwhere(over)]


def test_the_check_of_boxes_can_fail():
    pages = Pages("A4", top_mm=BODY_TOP_MM)
    pages.new_page()
    pages.text(20, 50, "one over the other", size=10)
    pages.text(22, 51, "one over the other", size=10)
    with pytest.raises(AssertionError):
        check_boxes(pages, case_with(ONE))


def test_every_page_says_who_when_and_which_page():
    for number, text in enumerate(pages := texts_of_one(), start=1):
        for needed in ("QUARRY, Sample", "born 1961-04-02", "ID S-0107", "scanned 2026-09-14"):
            assert needed in text
        assert f"page {number} of {len(pages)}" in text
        assert "DRAFT – not signed off" in text
        assert "without viewing" not in text


def test_the_command_line_says_that_nobody_looked():
    assert all("made without viewing the pictures" in t
               for t in texts(case_with(ONE, without_viewing=True)))  # fmt: skip


@pytest.mark.parametrize(
    ("written", "read"),
    [
        ("2026-11-25T13:19:36+00:00", "2026-11-25 13:19 UTC"),
        ("2026-11-25T15:19:36+02:00", "2026-11-25 15:19 UTC+02:00"),
        ("2026-11-25T08:49:00-04:30", "2026-11-25 08:49 UTC-04:30"),
        ("2026-11-25T13:19:00", "2026-11-25 13:19"),
        ("last week", "last week"),
    ],
)
def test_a_signature_s_time_is_for_people_and_names_its_zone(written, read):
    assert plain_time(written) == read


def test_a_signed_sheet_has_no_band_and_an_edit_voids_it():
    sign = SignOff(name="LM", role="dentist", at="2026-11-20T10:00:30+00:00", revision=5)
    signed = replace(ONE, sign_off=sign)
    signed = replace(signed, sign_off=replace(sign, plan_fingerprint=plan_fingerprint(signed)))
    by = "signed off by LM, dentist, 2026-11-20 10:00 UTC"
    assert all("DRAFT" not in t and by in t for t in texts(case_with(signed)))
    first, blank = texts(case_with(signed))[0], texts(case_with(ONE))[0]
    assert "treating clinician" in blank
    assert "treating clinician" not in first, "the role that was written, and no other"
    edited = replace(signed, fixtures=(fixture_at(16.0, "36"),), revision=7)
    band = "DRAFT – not signed off · rev 7, supersedes signed rev 5 of 2026-11-20"
    assert all(band in t for t in texts(case_with(edited)))


def test_page_one_holds_what_must_be_seen_first():
    first = texts_of_one()[0]
    for needed in (
        "36, lower left first molar (19 in 1–32)",
        "Ø 4 × 8 mm",
        "Site on the patient’s LEFT, compared with chart",
        "Whole volume interpreted: NOT YET",
        "Image quality checked: NOT YET",
        "This does not mean it is safe to operate.",
        "Each ruler must measure 50 mm",
        "Look at this first",
        "Closest vital structure",
        CAUTIONS,
    ):
        assert needed in first


@pytest.mark.parametrize(
    ("trouble", "told"),
    [
        ({"movement": "none", "noise": "none"}, "no problems"),
        ({"movement": "none", "noise": "away from the site"}, "problems away from the site"),
        ({"movement": "at the site", "noise": "none"}, "PROBLEMS AT THE SITE"),
    ],
)
def test_page_one_says_what_was_answered_about_the_image(trouble, told):
    check = ImageCheck(trouble=trouble, by="LM", at="2026-11-20T10:00:30+00:00")
    first = texts(case_with(replace(ONE, image_check=check)))[0]
    assert f"Image quality checked by LM on 2026-11-20: {told}" in first


def test_page_one_names_the_tightest_and_what_is_not_assessed():
    deep = plan_with(fixture_at(15.0, "36", length_mm=12.0, depth_mm=1.0))
    first = texts(case_with(deep))[0]
    assert "Canal left 0.5 mm" in first  # 20 - 1 - 12 = 7, canal's upper edge at 6.5
    assert "below limit" in first
    assert "Vessel not assessed" in first


def test_not_assessed_never_stands_under_a_title_of_what_is_not_met():
    page = laid_out(case_with(plan_with(fixture_at(15.0, "36", length_mm=12.5))), paper="A4").pages[
        0
    ]
    words = [b.what for b in page.boxes]
    where = words.index("Not assessed: mark it, or declare it")
    assert words.index("Vessel") > where
    assert "Also not met" not in words
    assert not any(w == "Also below limit" for w in words[where:])


@pytest.mark.parametrize(
    ("kind", "target", "details"),
    [
        (MeasurementKind.REMAINING_BONE, "", RemainingBoneDetails(side="lingual")),
        (MeasurementKind.CLEARANCE, "bone surface", ClearanceDetails(side="lingual")),
        (MeasurementKind.RIDGE_WIDTH, "", WidthDetails(along="axis", at_depth_mm=1.0)),
    ],
)
def test_what_no_mark_would_settle_is_only_not_assessed(kind, target, details):
    """Of bone whose edge was not found two readers were told to mark it, or to declare it."""
    case = case_with(plan_with(fixture_at(15.0, "36", length_mm=12.5)))
    vessel = next(m for m in case.ledger.measurements if m.target == "vessel")
    bone = replace(vessel, id=f"36/{kind}/lingual", kind=kind, target=target, details=details)
    ledger = replace(
        case.ledger,
        measurements=tuple(bone if m is vessel else m for m in case.ledger.measurements),
    )
    words = [b.what for b in laid_out(replace(case, ledger=ledger), paper="A4").pages[0].boxes]
    assert "Not assessed" in words
    assert not any("declare it" in w for w in words)


@pytest.mark.parametrize(
    ("deeper_mm", "told"),
    [((0.8, 1.13), "0.8 to 1.1 mm below"), ((-0.4, -0.1), "0.1 to 0.4 mm above"),
     ((-0.3, 0.5), "up to 0.3 mm above and up to 0.5 mm below")],
)  # fmt: skip
def test_page_one_says_what_its_numbers_assume(deeper_mm, told):
    case = case_with(ONE)
    row = next(m for m in case.ledger.measurements if m.value is not None)
    rims = tuple(
        replace(
            row, id=f"36/depth/{side}", kind=MeasurementKind.DEPTH, limit=None, verdict=None,
            reading=Reading(value=value), target="", group="information",
            details=DepthDetails(of="platform below bone", side=side),
        )
        for side, value in zip(("buccal", "lingual"), deeper_mm, strict=True)
    )  # fmt: skip
    ledger = replace(case.ledger, measurements=(*case.ledger.measurements, *rims))
    first = " ".join(texts(replace(case, ledger=ledger))[0].split())
    assert "Distances are rounded down." in first
    assert f"The platform is {told} the bone’s edge around it." in first
    assert "“With the drill’s tip” assumes a tip of 1.5 mm beyond the depth." in first


def drilling_row(case, mm, mark_mm):
    """How deep to drill, counted from the cheek's edge of the bone."""
    row = next(m for m in case.ledger.measurements if m.value is not None)
    return replace(
        row, id="36/depth/drill/buccal rim", kind=MeasurementKind.DEPTH, limit=None, verdict=None,
        reading=Reading(value=mm), target="", group="information",
        details=DepthDetails(of=OF_DRILLING, counted_from="buccal rim", mark_mm=mark_mm),
    )  # fmt: skip


def test_wherever_a_depth_to_drill_is_printed_large_it_says_that_it_is_a_mark():
    case = case_with(ONE)
    said = "0.5 mm mark that is not deeper than planned: up to 0.5 mm above the plan."
    assert said not in " ".join(texts(case)[0].split()), "no depth, no word"
    met = (m for m in case.ledger.measurements if m.verdict == "meets limit")
    rows = (*met, drilling_row(case, 8.9, 8.5))
    case = replace(case, ledger=replace(case.ledger, measurements=rows))
    assert said in " ".join(texts(case)[0].split())


def test_an_upper_bound_to_the_bones_surface_is_not_called_measured():
    row = next(m for m in case_with(ONE).ledger.measurements if m.value is not None)
    assert say(surface_title(row)) == "Smallest measured distance to the outer bone surface"
    bound = replace(row, reading=replace(row.reading, upper_bound=True))
    assert say(surface_title(bound)) == "Distance to the outer bone surface is at most"


def test_the_title_counts_every_limit_that_is_met():
    case = case_with(ONE)
    count = sum(m.verdict == "meets limit" for m in case.ledger.measurements)
    assert count > 1
    words = " ".join(texts_of_one()[0].split())
    assert f"{count} limits met; the smallest distance to each structure" in words


def test_every_place_has_a_line_on_page_one_the_worst_first():
    near, far = fixture_at(15.0, "36", length_mm=12.5), fixture_at(60.0, "33")
    case = case_with(plan_with(far, near))
    words = [b.what for b in laid_out(case, paper="A4").pages[0].boxes]
    lines = words[words.index(say("sheet.each-place")) :]
    first = next(n for n, w in enumerate(lines) if w.startswith("36, "))
    second = next(n for n, w in enumerate(lines) if w.startswith("33, "))
    assert first < second
    assert "Canal left 1 mm" in lines[first + 1] or "Canal left 1.0 mm" in lines[first + 1]
    assert lines[first + 2] == "< 1   ? 1   ≥ 1"
    assert "Fixtures and sites" not in texts_of_one()[0]


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_every_place_has_its_line_however_much_the_worst_has_against_it(paper):
    places = {"45": 150.0, "43": 120.0, "41": 90.0, "33": 60.0, "35": 30.0, "36": 15.0}
    case = case_with(plan_with(*(fixture_at(places[tooth], tooth) for tooth in places)))
    lead = case.subjects[0]
    row = next(m for m in case.rows(lead) if m.limit is not None)
    against = tuple(replace(row, verdict=v) for v in ("below limit", "not assessed") * 12)
    doubts = (Finding("name-missing", "caution"),) * 2
    rows = (*case.ledger.measurements, *against)
    ledger = replace(case.ledger, measurements=rows, findings=doubts)
    words = [b.what for b in laid_out(replace(case, ledger=ledger), paper=paper).pages[0].boxes]
    lines = words[words.index(say("sheet.each-place")) :]
    for subject in case.subjects:
        assert any(line.startswith(f"{subject.words}, ") for line in lines)
    column = words[: words.index(say("sheet.each-place"))]
    assert sum(w.startswith("and ") for w in column) == 2, (
        "each verdict has rows, and says its rest"
    )


def test_an_overlap_is_told_in_words_and_never_as_a_minus():
    deep = plan_with(fixture_at(20.0, "36", depth_mm=8.0))
    words = [b.what for b in laid_out(case_with(deep), paper="A4").pages[0].boxes]
    told = [w for w in words if w.startswith("overlaps by ")]
    assert told
    (canal,) = [m for m in ledger_of(deep).measurements if m.target == "canal-left"]
    assert told[0] == f"overlaps by {down(canal.value, 1).lstrip('-')} mm"
    assert canal.value < -0.5
    assert any(w.startswith("could be as much as ") for w in words)
    assert not [w for w in words if w.startswith(("-", "−")) and len(w) > 1]


def test_without_a_fixture_page_one_says_what_was_measured():
    first = texts(case_with(plan_with(sites=SITES)))[0]
    assert "Measured without a fixture: ridge width. No limit was checked." in first


@pytest.mark.parametrize("side", ["left", "right"])
def test_a_single_case_prints_on_four_pages_at_most(side):
    plan = replace(ONE, side_check=replace(ONE.side_check, side=side))
    case = case_with(plan)
    assert case.side_is_contradicted == (side == "right")
    for paper in ("A4", "Letter"):
        assert len(laid_out(case, paper=paper).pages) <= 4


def test_the_legend_shows_a_sample_of_each_line_it_names():
    pages = Pages("A4", top_mm=40.0)
    pages.new_page()
    bottom = legend(pages, ("canal", "witness", "ruler", "canal", "distance line", "root"), 50.0)
    boxes = pages.pages[0].boxes
    named = [str(WORDS[s]) for s in ("canal", "witness", "distance line", "root")]
    words = [b for b in boxes if b.what in named]
    samples = [b for b in boxes if b.what == "line"]
    assert [b.what for b in words] == named
    for sample, word in zip(samples, words, strict=True):
        assert sample.right < word.left < sample.right + 3.0
        assert word.top < (sample.top + sample.bottom) / 2 < word.bottom
    assert bottom > max(b.bottom for b in words)


def test_a_few_last_lines_stand_at_the_foot_of_an_earlier_page_with_room():
    pages = Pages("A4", top_mm=40.0)
    for end in (240.0, 120.0, 270.0):
        pages.new_page()
        pages.y = end
    with pages.at_foot_of_earlier(60.0) as found:
        assert found
        pages.text(pages.left, pages.y + 4.0, "last words")
        pages.y += 60.0
    assert pages.y == 270.0
    (box,) = pages.pages[1].boxes
    assert box.what == "last words"
    assert box.top > 120.0
    with pages.at_foot_of_earlier(100.0) as found:
        assert not found, "that room is taken"
    pages.text(pages.left, 100.0, "here")
    assert [len(page.boxes) for page in pages.pages] == [0, 1, 1]


def test_a_side_that_contradicts_the_tooth_stands_on_page_one():
    wrong = plan_with(fixture_at(15.0, "46"))
    for page in texts(case_with(wrong)):
        assert "LEFT AND RIGHT MAY BE SWAPPED. CHECK." in page
    assert not any("SWAPPED" in page for page in texts_of_one())


def test_scan_checks_stand_on_page_one():
    case = case_with(ONE)
    doubt = Finding("name-missing", "caution")
    ledger = replace(case.ledger, findings=(doubt,))
    pages = texts(replace(case, ledger=ledger))
    assert doubt.message in pages[0]
    told = replace(case, ledger=ledger)
    assert doubt.message in " ".join(words_of(basis_pdf(told)))


@pytest.mark.parametrize("plan", [ONE, TWELVE], ids=["one fixture", "twelve fixtures"])
@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_each_scan_check_stands_once_on_page_one_while_there_is_room_and_else_at_the_end(
    plan, paper
):
    case, doubt = case_with(plan), Finding("name-missing", "caution")
    few, many = (
        replace(case, ledger=replace(case.ledger, findings=(doubt,) * count)) for count in (2, 9)
    )
    assert texts(few, paper)[0].count(doubt.message) == 2
    pages = texts(many, paper)
    first, last = pages[0].count(doubt.message), pages[-1].count(doubt.message)
    assert 1 <= first <= 5
    assert f"and {9 - first} more scan checks on the last page" in pages[0]
    assert first + last == 9, "the last page has the rest: nothing is laid out after `closing_part`"
    assert "signature" in pages[0], "the foot found room below them"


def test_the_basis_says_what_the_sheet_rests_on():
    last = " ".join(words_of(basis_pdf(case_with(ONE))))
    for needed in (
        "2.25.1", "2.25.2", "2.25.3", "0.8 × 0.8 × 0.8 mm", "sha256:0123456789abcdef",
        "canal, 49 marks, Ø 3.0 mm", str(UNCERTAINTY), str(EACH_BY_ITSELF),
        "Clearance: shortest true distance", "source 1",
    ):  # fmt: skip
        assert needed in last
    sheet = texts_of_one()
    assert not any("sha256:0123456789abcdef" in page for page in sheet)
    assert "Sources of the limits 1 " in sheet[-1]


def test_the_log_is_told_in_words_and_nothing_of_how_it_is_kept():
    plan = with_entry(ONE, who="", when="2026-11-24T10:41:00+00:00",
                      what=message("tools.teeth.marked", name="root of 35"))  # fmt: skip
    plan = with_entry(plan, who="LM", when="2026-11-24T10:43:00+00:00", what="looked at the film")
    by_hand = {**plan.history[-1], "why": "as the chart says"}
    plan = replace(plan, history=(plan.history[0], by_hand),
                   notes=({"id": "note-1", "text": "thin here", "point": [1.0, 2.0, 3.0],
                           "at": "2026-11-24T10:44:00+00:00"},))  # fmt: skip
    text = " ".join(" ".join(words_of(basis_pdf(case_with(plan)))).split())
    log = text[text.index("Log 2026-11-24") :]
    assert "2026-11-24 10:41 UTC Root of 35 marked (nobody named, rev 2)" in log
    assert "2026-11-24 10:43 UTC Looked at the film (LM, rev 3) why: as the chart says." in log
    assert "2026-11-24 10:44 UTC Note: thin here" in log
    assert by_hand["chain"] in log.replace(" ", "")
    assert log.count("sha256:") == 1
    for inside in ("{", "}", "tools.teeth", "fields", "chain:", "[1.0"):
        assert inside not in log


def test_no_section_without_an_arch_and_it_is_said():
    first = texts(case_with(replace(ONE, arch_points=None)))[0]
    assert "No section: jaw plane, arch or side are not settled." in first


def test_vermilion_is_on_the_page_only_where_something_is_below_its_limit():
    for plan, coloured in ((ONE, False), (plan_with(fixture_at(15.0, "36", length_mm=12.5)), True)):
        document = pdfium.PdfDocument(sheet_pdf(case_with(plan), paper="A4"))
        image = np.asarray(document[0].render(scale=2).to_pil(), dtype=int)
        spread = image.max(axis=2) - image.min(axis=2)
        assert bool((spread > 60).any()) is coloured


def test_the_same_sheet_has_the_same_bytes():
    assert sheet_pdf(case_with(ONE), paper="A4") == sheet_pdf(case_with(ONE), paper="A4")


def test_section_png(tmp_path):
    section_png(VOLUME, ONE, None, 30.0, tmp_path / "a.png", px_per_mm=4.0)
    assert (tmp_path / "a.png").read_bytes().startswith(b"\x89PNG")
    arch = Arch.trace(ONE.arch_points, level=ONE.level)
    with pytest.raises(PlanError, match="beyond the traced arch"):
        section_png(VOLUME, ONE, None, arch.length_mm + 6.0, tmp_path / "b.png")
    with pytest.raises(PlanError, match="no jaw plane or no arch"):
        section_png(VOLUME, replace(ONE, level=None), None, 30.0, tmp_path / "b.png")
    assert not (tmp_path / "b.png").exists()
