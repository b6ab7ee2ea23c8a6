"""Parts of the sheet that need a measured ledger: its figures, and nothing covered or cut."""

from __future__ import annotations

import re
from dataclasses import replace
from functools import cache

import numpy as np
import pypdfium2 as pdfium
import pytest

from core import measure
from core.arch import fixture_frame
from core.bone.remaining_bone_minima import minima, openings
from core.distances.freehand import Series
from core.errors import OutputError
from core.measurement import Measurement
from core.measuring.bone_lacking import lacking_notes, remaining_bone_limit
from core.measuring.rows_drilling import drill_rows_of
from core.measuring.shared_reasons import SharedReasons
from core.plans.plan import Declaration, Site
from core.plans.sizes import default_sizes
from core.pseudonym import pseudonymous
from core.sheet.basis_pages import basis_pdf
from core.sheet.bone_part import remaining_bone_of
from core.sheet.case import case_of, ready
from core.sheet.drill_card import drill_card
from core.sheet.lasting import Facts
from core.sheet.page import Pages
from core.sheet.page_frame import page_frame
from core.sheet.parts import refuse_hindered
from core.sheet.pdf import laid_out, sheet_pdf
from core.sheet.ridge_grid import in_grid, ridge_grid
from core.sheet.site_pages import all_rows
from core.structures import AngleMark, PointMarks, Ruler
from core.trust.figures import down, plain, shown, up
from core.words.catalogue import message
from core.words.drilling import ORIGINS
from tests.core.sheet.test_pages import check_boxes, check_drawn
from tests.sheet_material import RADIUS_MM, fixture_at, on_arch, plan_with, round_jaw


def with_crest(volume):
    """The round jaw with a cortex of 1.6 mm over its crest at z = 20 as well."""
    voxels = volume.voxels.copy()
    low, high = (round((z + 2.0) / 0.4) for z in (18.4, 20.0))
    part = voxels[low:high]
    part[part > 300] = 1500
    return replace(volume, voxels=voxels)


VOLUME = with_crest(round_jaw(voxel_mm=0.4))
FIXTURE = fixture_at(15.0, "36", depth_mm=1.0)
SITE = Site(id="site-36", tooth="36", station_mm=74.0)
ELSEWHERE = Site(id="site-33", tooth="33", station_mm=55.0)
GUM = PointMarks(id="gum-36", kind="gum", tooth="36", points=on_arch(15.0, 23.0)[None])
RULER = Ruler(
    id="ruler-1", label="height", points=np.stack([on_arch(60.0, 18.0), on_arch(60.0, 8.0)])
)
FAR = Ruler(id="ruler-2", points=np.stack([on_arch(120.0, 18.0), on_arch(120.0, 10.0)]))
ANGLE = AngleMark(
    id="angle-1", label="slope",
    points=np.stack([on_arch(60.0, 18.0), on_arch(60.0, 8.0), on_arch(72.0, 8.0)]),
)  # fmt: skip


DECLARED = tuple(
    Declaration(structure=name, state="not near this site", reason="invented jaw", by="LM")
    for name in ("foramen", "root-37", "loop")
)


def plans():
    base = plan_with(FIXTURE, sites=(SITE, ELSEWHERE))
    whole = replace(base, structures=(*base.structures, GUM))
    # Towards the tongue, so that 8 mm in a ridge of 12 mm leaves half a millimetre there.
    thick = replace(
        FIXTURE,
        platform=FIXTURE.platform - 1.5 * on_arch(15.0, 0.0) / RADIUS_MM,
        size=replace(FIXTURE.size, diameter_mm=8.0),
    )
    met = replace(whole, declared=DECLARED, depth_from="gum")
    return {
        "whole": whole,
        "met": met,
        "single left": replace(met, sites=(SITE,)),
        "single right": replace(
            met, sites=(SITE,), side_check=replace(met.side_check, side="right")
        ),
        "thick": replace(whole, fixtures=(thick,), reasons={thick.id: "a model made to measure"}),
        "rulers": replace(plan_with(), rulers=(RULER, FAR), angles=(ANGLE,)),
        "site and rulers": replace(plan_with(sites=(ELSEWHERE,)), rulers=(RULER,)),
        "upper": _upper(),
    }


def _upper():
    """The same jaw turned over: its crowns point down, as those of an upper left molar."""
    base = plan_with(FIXTURE, jaw="upper")
    turned = replace(
        FIXTURE, id="26", tooth="26", platform=FIXTURE.platform * (1, 1, -1),
        towards_apex=(0.0, 0.0, 1.0),
    )  # fmt: skip
    return replace(
        base, structures=(), fixtures=(turned,), arch_points=base.arch_points * (1, 1, -1),
        midline=base.midline * (1, 1, -1), level=replace(base.level, origin=(0.0, 0.0, -30.0)),
    )  # fmt: skip


def turned_over(volume):
    affine = np.array(volume.mm_from_ijk)
    affine[2, 3] = -(affine[2, 3] + (volume.shape[0] - 1) * affine[2, 2])
    return replace(volume, voxels=volume.voxels[::-1].copy(), mm_from_ijk=affine)


@cache
def case_for(name):
    plan = plans()[name]
    volume = turned_over(VOLUME) if name == "upper" else VOLUME
    ledger = measure(plan, volume, made_at="2026-11-24T10:00:00+00:00")
    return ready(case_of(plan, volume, ledger, without_viewing=False, window=(-500.0, 1800.0)))


@cache
def drawn(name, paper="A4"):
    """The sheet's pages as they were laid out and drawn, and the PDF."""
    pages = laid_out(case_for(name), paper=paper)
    return pages, pages.render(page_frame(case_for(name)), Facts(title=""))


@cache
def pages_of(name):
    document = pdfium.PdfDocument(drawn(name)[1])
    return [page.get_textpage().get_text_range().replace("\r\n", " ") for page in document]


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize("name", ["whole", "thick", "rulers", "site and rulers", "upper"])
def test_nothing_leaves_the_paper_or_covers_other_words(name, paper):
    check_drawn(drawn(name, paper)[0])


@pytest.mark.parametrize("name", ["whole", "met", "thick", "upper"])
def test_no_row_of_the_ledger_is_left_out(name):
    case = case_for(name)
    text = " ".join(pages_of(name))
    for m in case.ledger.measurements:
        if m.value is not None:
            assert shown(m, decimals=2) in text, m.id
        if m.budget is not None and m.reading.unit == "mm":
            assert up(m.budget.expanded, 2) in text, m.id


def test_drilling_has_the_ledgers_depths():
    case = case_for("met")
    drills = drill_rows_of(case.rows(case.subjects[0]))
    assert {m.details.counted_from for m in drills} == {"buccal rim", "highest rim", "gum"}
    text = " ".join(pages_of("met"))
    for m in drills:
        place = ORIGINS[m.details.counted_from]
        line = f"{place} {plain(m.details.mark_mm)} {shown(m, decimals=2)}"
        assert line in text
    assert "stent top not marked" in text
    # The gum lies 4 mm over the platform, which lies 1 mm below the crest: 8 + 4.
    assert case.ledger.get("36/depth/drill/gum").value == pytest.approx(12.0)


def test_no_page_prints_a_depth_while_a_danger_is_not_met():
    """The same plan with what is not near declared has 12.0 mm from the gum, in four places."""
    case = case_for("whole")
    rule = case.depth_rule(case.subjects[0])
    assert {m.target for m in rule.obstacles} >= {"foramen"}  # expected, not marked
    for m in drill_rows_of(case.rows(case.subjects[0])):
        assert m.value is None
        assert m.details.mark_mm is None
        assert "foramen" in m.reading.notes[0].message
    first = pages_of("whole")[0]
    assert "No depth is given while these limits are not met" in first
    assert "foramen" in first
    refused, given = (drill_numbers(name) for name in ("whole", "met"))
    assert refused == []
    assert given.count("12.0") >= 2
    assert drill_card(case) is None
    assert drill_card(case_for("met")) is not None
    with pytest.raises(OutputError) as refusal:
        refuse_hindered("card", case.ledger)
    assert refusal.value.code == "card-without-depth"
    refuse_hindered("card", case_for("met").ledger)


def drill_numbers(name):
    """Whatever stands on the sheet in the shape of a depth: its mark, with or without more."""
    words = [b.what for page in drawn(name)[0].pages for b in page.boxes]
    depths = {"12.0", "9.0", "8.5", "12.0 (12.00)"}
    return [w for w in words if w in depths or re.fullmatch(r"\d+\.\d \(\d+\.\d\d\)", w)]


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize("side", ["left", "right"])
def test_a_measured_case_prints_on_four_pages_at_most(paper, side):
    case = case_for(f"single {side}")
    assert case.side_is_contradicted == (side == "right")
    assert len(laid_out(replace(case, sizes=default_sizes()), paper=paper).pages) <= 4


def test_depths_below_the_crest_stand_above_their_columns_on_each_page():
    """Figures of a site at the fixture's place follow on the next page: still at which depth."""
    case = case_for("single left")
    subject = case.subjects[0]
    assert case.sites_at(subject)
    shared = SharedReasons.of(all_rows(case, subject))
    whole = Pages("A4", top_mm=40.0)
    whole.new_page()
    ridge_grid(whole, case, subject, shared)
    head = "1 mm deep"
    assert sum(b.what == head for b in whole.pages[0].boxes) == 1
    at = next(b.top for b in whole.pages[0].boxes if b.what.startswith("The same place"))
    pages = Pages("A4", top_mm=40.0)
    pages.new_page()
    pages.y = pages.bottom - (at - 40.0) - 4.0
    ridge_grid(pages, case, subject, shared)
    first, second = pages.pages
    for page in (first, second):
        assert sum(b.what == head for b in page.boxes) == 1
    top = min(b.top for b in second.boxes if b.what.startswith("The same place"))
    assert next(b.bottom for b in second.boxes if b.what == head) <= top


def test_the_chosen_depth_is_the_large_one_of_page_one():
    met = case_for("met")
    page = laid_out(met, paper="A4").pages[0]
    heights = {b.what: b.bottom - b.top for b in page.boxes}
    assert "Maximum drilling depth, mm" in heights
    rim = met.ledger.get("36/depth/drill/buccal rim").details.mark_mm
    assert heights["12.0"] > 1.8 * heights[plain(rim)]
    assert "from gum" in heights
    other = replace(met, plan=replace(met.plan, depth_from="stent top"))
    words = [b.what for b in laid_out(other, paper="A4").pages[0].boxes]
    assert "stent top: not marked" in words
    nobody = replace(met, plan=replace(met.plan, depth_from=None))
    page = laid_out(nobody, paper="A4").pages[0]
    heights = {b.what: b.bottom - b.top for b in page.boxes}
    assert heights["12.0"] == heights[plain(rim)]
    assert any(b.what.startswith("Nobody has chosen yet") for b in page.boxes)


def test_a_contradicted_side_has_no_depth_anywhere():
    case = case_for("single right")
    assert case.side_is_contradicted
    assert all(m.value is None for m in drill_rows_of(case.rows(case.subjects[0])))
    words = {b.what for page in laid_out(case, paper="A4").pages for b in page.boxes}
    assert not words & {"12.0", "12.00", "12.0 (12.00)"}
    assert drill_card(case) is None


def test_a_depth_that_is_too_near_to_tell_is_not_called_allowed():
    """The drill card of such a case says: drill less deep."""
    case = case_for("met")
    settled = case.ledger.measurements
    (canal,) = [m for m in settled if m.id == "36/clearance/canal-left"]
    near = replace(canal, verdict="too near to tell")
    rows = tuple(near if m is canal else m for m in settled)
    told = replace(case, ledger=replace(case.ledger, measurements=rows))
    page = laid_out(told, paper="A4")
    words = " ".join(b.what for b in page.pages[0].boxes)
    assert "Maximum drilling depth" not in words
    assert "Depth to the planned apex, mm. BORDERLINE: canal left" in words
    assert "12.0" in words
    check_boxes(page, told)


def test_the_grid_has_one_line_for_each_of_width_and_cortex():
    case = case_for("whole")
    rows = [m for m in case.ledger.measurements if in_grid(m)]
    assert {m.kind for m in rows} == {"ridge_width", "plate_thickness"}
    boxes = [b for p in laid_out(case, paper="A4").pages for b in p.boxes]
    # The fixture's own, the site's at the same place, and the other site's.
    assert sum(b.what == "Cortex, buccal" for b in boxes) == 3
    assert sum(b.what == "Ridge width, along the axis" for b in boxes) == 1
    assert sum(b.what.startswith("The same place without a fixture") for b in boxes) == 1


def test_a_site_where_the_fixture_stands_has_no_pages_of_its_own():
    case = case_for("whole")
    assert [s.id for s in case.subjects] == ["36", "site-33"]
    assert [s.id for s in case.sites_at(case.subjects[0])] == ["site-36"]
    far = replace(SITE, tooth="", station_mm=60.0)
    moved = replace(case, plan=replace(case.plan, sites=(far,)))
    assert [s.id for s in moved.subjects] == ["36", "site-36"]


def test_the_picture_of_remaining_bone_is_the_ledgers():
    case = case_for("whole")
    least = minima(remaining_bone_of(case, FIXTURE))
    for side in ("buccal", "lingual"):
        rows = [
            m.value
            for m in case.ledger.measurements
            if m.kind == "wall" and m.details.side == side and m.value is not None
        ]
        assert least[side].reading.value == pytest.approx(min(rows), abs=1e-9)
    assert fixture_frame(FIXTURE, case.arch).named_by_tooth


def test_what_is_lacking_is_said_with_its_depth():
    case = case_for("thick")
    fixture = case.plan.fixtures[0]
    remaining = remaining_bone_of(case, fixture)
    found = openings(remaining, "lingual", remaining_bone_limit(case.plan, fixture, "lingual"))
    # On the cheek's side there is bone enough, or the scan ends.
    assert found
    least = remaining_bone_limit(case.plan, fixture, "lingual")(5.0)
    assert found[0].lacking_mm == pytest.approx(least - 0.5, abs=0.1)
    assert not openings(remaining, "buccal", remaining_bone_limit(case.plan, fixture, "buccal"))
    words = [note.message for note in lacking_notes(remaining, case.plan, fixture)]
    assert words[0].startswith("Lingual: between 0.0 and ")
    assert f"bone is up to {up(found[0].lacking_mm, 1)} mm thinner than the limit" in words[0]
    # Each whole millimetre with what is lacking there, by the map itself.
    lingual = remaining.bone_mm[:, remaining.sector("lingual")]
    for depth, short in found[0].by_depth:
        row = int(np.flatnonzero(remaining.depths_mm == depth)[0])
        limit = remaining_bone_limit(case.plan, fixture, "lingual")(depth)
        assert short == pytest.approx(limit - np.nanmin(lingual[row]))
        if depth == round(depth):
            assert f"{up(short, 1)} at {depth:g}" in words[0]
    assert words[0] in " ".join(pages_of("thick"))
    assert (
        lacking_notes(
            remaining_bone_of(case_for("whole"), FIXTURE), case_for("whole").plan, FIXTURE
        )
        == ()
    )


def test_rulers_alone_are_a_full_result():
    pages = pages_of("rulers")
    assert len(pages) <= 3
    case = case_for("rulers")
    assert [s.only_rulers for s in case.subjects] == [True]
    for m in case.ledger.measurements:
        for page in pages[:2]:
            assert case.name(m) in page
    assert case.ledger.get("rulers/ruler/ruler-1").value == pytest.approx(10.0)
    assert "10.0 ± " in pages[0]
    # Two places along the arch: two sections.
    titles = [b.what for b in drawn("rulers")[0].pages[1].boxes]
    assert titles.count("chart Section across the arch") == 2


def test_rulers_stand_with_the_site_they_are_nearest_to():
    first = pages_of("site and rulers")[0]
    assert "33, lower left canine" in first
    assert "Ruler, height, ruler 1" in first
    assert "Rulers and angles" in first


def test_the_upper_jaw_reads_palatal():
    case = case_for("upper")
    text = " ".join(pages_of("upper"))
    assert "lingual" not in case.ledger.summary
    assert "palatal" in text
    assert "ingual" not in text


def test_no_page_is_mostly_empty():
    for name in ("whole", "site and rulers"):
        pages = laid_out(case_for(name), paper="A4")  # without head and foot
        for page in pages.pages[:-1]:
            lowest = max(b.bottom for b in page.boxes)
            assert lowest > 0.45 * pages.height, name


def test_a_row_is_never_both_in_the_table_and_in_a_part_of_its_own():
    case = case_for("whole")
    boxes = [b.what for p in laid_out(case, paper="A4").pages[1:] for b in p.boxes]
    for m in case.rows(case.subjects[0]):
        assert isinstance(m, Measurement)
        times = boxes.count(case.name(m))
        if in_grid(m) or m.kind == "depth":
            assert times == 0, m.id


OWN = Series(
    key="own_figures", name="own figures", deeper_mm=2.5, mesiodistal_mm=0.87,
    buccolingual_mm=0.70, tilt_deg=8.7, together=True,
    source=message(
        "measuring.film.own-source", by="LM", told="depth 2.50 mm from 12 films", source="series"
    ),
)  # fmt: skip


def test_own_films_make_a_line_of_their_own_and_change_no_verdict():
    plan = case_for("whole").plan
    bare = case_for("whole").ledger
    own = measure(
        plan, VOLUME, basis=case_for("whole").basis, made_at="2026-11-24T10:00:00+00:00", own=OWN
    )
    assert [m.verdict for m in own.measurements] == [m.verdict for m in bare.measurements]
    row = next(m for m in own.measurements if m.target == "canal-left")
    free, mine = (
        row.details.by_hand_mm[f"{key}_at_least_mm"] for key in ("free_hand", "own_figures")
    )
    # Deeper by 2.5 in place of 0.95 mm, towards a canal below the apex.
    assert mine == pytest.approx(free - (2.5 - 0.95), abs=0.05)
    case = case_of(plan, VOLUME, own, without_viewing=True, window=(-1000.0, 2500.0))
    text = " ".join(p.get_textpage().get_text_range() for p in
                    pdfium.PdfDocument(sheet_pdf(case, paper="A4")))  # fmt: skip
    text = " ".join(text.split())
    assert (
        f"your own control radiographs (a single implant can deviate more): {down(mine, 2)} mm"
        in text
    )
    text = " ".join(p.get_textpage().get_text_range() for p in pdfium.PdfDocument(basis_pdf(case)))
    assert "own figures: LM: depth 2.50 mm from 12 films" in " ".join(text.split())
    assert "own control films" not in " ".join(" ".join(pages_of("whole")).split())
    _, _, alias = pseudonymous(plan, VOLUME, own, secret=b"0123456789abcdef")
    told = [own for m in alias.measurements if (own := m.details.by_key().get("own_figures"))]
    assert told
    assert not any("LM" in str(words) for words in told)
    assert all("from 12 films" in str(words) for words in told)
