"""Bad sites on ledger, sheet and sizes: a right number, or none with its reason in words.

The phantoms are those of `tests/core/test_bad_sites.py`; there the figures themselves are held to
the truth, here what a person reads of them is.
"""

from __future__ import annotations

import re
from dataclasses import replace
from functools import cache

import numpy as np
import pypdfium2 as pdfium
import pytest

from core import measure
from core.arch import fixture_frame
from core.direction import SideAnswers, as_point
from core.identity import Tooth
from core.image.volume import ScanIdentity
from core.level import Level
from core.measurement import Note, Reading
from core.measuring import rows_beside
from core.measuring.basis import Basis, RowMaker
from core.measuring.bone_lacking import lacking_notes
from core.measuring.shared_reasons import SharedReasons
from core.measuring.sizes_table import try_sizes
from core.measuring.unseen_ends import UnseenEnds
from core.pictures.chart import across_arch_chart
from core.plans.plan import Plan
from core.plans.sizes import default_sizes
from core.sheet.bone_part import remaining_bone_of
from core.sheet.case import case_of, ready
from core.sheet.csv_table import ledger_csv
from core.sheet.lasting import Facts
from core.sheet.page_frame import page_frame
from core.sheet.pdf import laid_out, sheet_pdf
from core.sheet.site_pages import elsewhere
from core.structures import Tapered
from core.trust.figures import shown
from core.trust.verdict import is_judged
from tests.core.sheet.test_pages import check_drawn
from tests.core.test_bad_sites import placed, scene

KINDS = ("empty", "half outside", "streaks", "flat", "knife", "in a tooth", "socket", "upper")
BONE = (
    "ridge_width",
    "ridge_height",
    "plate_thickness",
    "wall",
    "undercut_depth",
    "undercut_angle",
)


def a_root(fixture, *, to_be_removed=False):
    ends = [fixture.on_axis(-1.0), fixture.on_axis(8.0 if to_be_removed else 12.0)]
    return Tapered(
        id="root-36", kind="root", tooth="36", diameters_mm=(5.2, 5.2), points=ends,
        to_be_removed=to_be_removed,
    )  # fmt: skip


@cache
def measured(kind):
    """(case, rows of the sizes) of a bad site, measured as the program does."""
    scan = {"half outside": "usual", "in a tooth": "usual"}.get(kind, kind)
    volume, arch, *_, jaw = scene(scan)
    volume = replace(volume, identity=ScanIdentity(patient_name="QUARRY^Sample", series_uid="2.25"))
    tooth = "26" if jaw == "upper" else "36"
    fixture = placed(scan, w=12.0 if kind == "half outside" else 0.0, tooth=tooth)
    structures = ()
    if kind in ("in a tooth", "socket"):
        structures = (a_root(fixture, to_be_removed=kind == "socket"),)
    plan = Plan(
        jaw=jaw,
        level=Level(origin=arch.level.origin, up=arch.level.up),
        arch_points=arch.curve.points_mm,
        side_answers=SideAnswers(right_end=as_point(arch.curve.points_mm[0])),
        fixtures=(fixture,),
        structures=structures,
    )
    basis = Basis.of(plan, volume)
    ledger = measure(plan, volume, basis=basis, made_at="2026-11-24T10:00:00+00:00")
    window = (0.0, 3000.0)
    case = case_of(plan, volume, ledger, without_viewing=False, window=window, basis=basis)
    case = ready(replace(case, sizes=default_sizes()[:4]))
    return case, try_sizes(plan, fixture.id, case.sizes, basis)


@cache
def drawn(kind):
    """The sheet's pages as they were laid out and drawn, and the PDF."""
    case = measured(kind)[0]
    pages = laid_out(case, paper="A4")
    return pages, pages.render(page_frame(case), Facts(title=""))


@cache
def printed(kind):
    pages = [page.get_textpage().get_text_range() for page in pdfium.PdfDocument(drawn(kind)[1])]
    return " ".join(" ".join(pages).split())


@pytest.mark.parametrize("kind", KINDS)
def test_what_has_no_number_says_why_in_ledger_and_on_the_sheet(kind):
    case, _ = measured(kind)
    rows = [m for m in case.ledger.measurements if m.kind in BONE or m.target == "bone surface"]
    assert rows
    text = printed(kind)
    for m in rows:
        if m.value is not None:
            assert np.isfinite(m.value), m.id
            assert shown(m, decimals=2) in text, m.id
            continue
        assert m.verdict == "not assessed", m.id
        assert m.reading.notes, m.id
        for note in m.reading.notes:
            assert " ".join(note.message.split()) in text, (m.id, note.message)


def test_one_reason_of_the_whole_scan_is_said_once_and_in_place_of_the_picture():
    case, _ = measured("empty")
    text = printed("empty")
    (reason,) = SharedReasons.of(case.ledger.measurements).all
    assert reason.rows == sum(
        reason.message in [n.message for n in m.reading.notes] for m in case.ledger.measurements
    )
    assert reason.rows > 30
    # Above the rows and in place of the picture; and as a scan check on page 1.
    assert text.count(reason.message) == 3
    assert text.count(reason.text) == 1
    # In the table each row, in the grid each line, points to it.
    table = [m for m in case.ledger.measurements if m.value is None and not elsewhere(m)]
    pointing = [m for m in table if m.reading.notes[0].message == reason.message]
    judged = [m for m in pointing if is_judged(m)]
    assert text.count("not assessed (a)") == len(judged) > 4
    assert text.count("not measured (a)") == len(pointing) - len(judged) > 4
    assert text.count("1, 3, 5, 7, 10 mm: reason (a).") == 4
    assert "No drilling depth is given, because these limits are not met" in text


@pytest.mark.parametrize("kind", KINDS)
def test_nothing_leaves_the_paper_or_covers_other_words(kind):
    check_drawn(drawn(kind)[0])


@pytest.mark.parametrize("kind", ["empty", "half outside", "in a tooth"])
def test_where_no_bone_holds_the_fixture_no_size_meets_every_limit(kind):
    case, sizes = measured(kind)
    for row in sizes:
        assert row.met < row.limits
        assert row.verdict in ("below limit", "not assessed")
        assert row.note.message
    for m in case.ledger.measurements:
        if m.kind == "wall":
            assert m.verdict != "meets limit", m.id


@pytest.mark.parametrize("kind", KINDS)
def test_the_picture_never_tells_bone_of_a_side_that_the_ledger_does_not_assess(kind):
    case, _ = measured(kind)
    fixture = case.plan.fixtures[0]
    remaining = remaining_bone_of(case, fixture)
    words = [n.message for n in lacking_notes(remaining, case.plan, fixture)]
    inner = "Palatal" if case.plan.jaw == "upper" else "Lingual"
    for side, name in (("buccal", "Buccal"), ("lingual", inner)):
        rows = [m for m in case.ledger.measurements if m.id.startswith(f"f/wall/{side}")]
        assert rows
        if all(m.value is None for m in rows):
            assert np.isnan(remaining.bone_mm[:, remaining.sector(side)]).all()
            assert not any(w.startswith(name) for w in words)
        # What the sentence says is lacking, the rows find below their limit.
        below = any(m.verdict == "below limit" for m in rows)
        assert below == any(w.startswith(name) for w in words)


def test_the_upper_jaw_is_called_palatal_everywhere():
    _, sizes = measured("upper")
    text = printed("upper")
    assert "Remaining bone, palatal" in text
    assert "lingual" not in text.replace("lingual or palatal", "")
    assert all("lingual" not in row.note.message for row in sizes)


def test_what_stops_the_drill_is_called_palatal_in_the_upper_jaw():
    """On page 1 and beside the drilling depths, where only what is not met is named."""
    case, _ = measured("upper")
    rows = tuple(
        replace(m, verdict="below limit") if m.id == "f/clearance/bone surface/lingual" else m
        for m in case.ledger.measurements
    )
    case = replace(case, ledger=replace(case.ledger, measurements=rows))
    document = pdfium.PdfDocument(sheet_pdf(case, paper="A4"))
    text = " ".join(
        word for page in document for word in page.get_textpage().get_text_range().split()
    )
    for before in (
        "No depth is given while these limits are not met",
        "No drilling depth is given, because these limits are not met",
    ):
        said = re.search(before + r": [^.]*", text)
        assert said is not None, before
        assert "bone surface palatal" in said[0]
    assert "lingual" not in text.replace("lingual or palatal", "")


@pytest.mark.parametrize("code", ["surface_unclear", "surface_not_scanned", "surface_not_found"])
def test_why_a_surface_was_not_found_names_the_side_as_in_its_jaw(monkeypatch, code):
    case, _ = measured("upper")
    fixture = case.plan.fixtures[0]
    lost = {
        side: Reading(value=None, notes=(Note(code, {"side": side, "at": "1.2"}),))
        for side in ("buccal", "lingual", "apical")
    }
    monkeypatch.setattr(rows_beside, "surface_on", lambda *a, **k: lost)
    basis = Basis.of(case.plan, case.volume)
    maker = RowMaker(
        plan=case.plan, volume=case.volume, subject=fixture.id, is_fixture=True,
        tooth=Tooth.of(fixture.tooth), hindrances=(),
    )  # fmt: skip
    rows = rows_beside.surface_rows(
        None, case.plan, basis,
        fixture=fixture, frame=fixture_frame(fixture, basis.arch),
        remaining=(), unseen=UnseenEnds(), maker=maker,
    )  # fmt: skip
    told = {m.details.side: m.reading.notes[0].message for m in rows}
    assert "palatal" in told["lingual"]
    assert "buccal" in told["buccal"]
    assert not any("lingual" in words for words in told.values())


def test_a_jaw_that_only_the_tooth_names_is_the_jaw_of_every_word():
    case, _ = measured("upper")
    plan = replace(case.plan, jaw=None)
    assert plan.known_jaw == "upper"
    ledger = replace(case.ledger, plan=plan)
    assert "Remaining bone, palatal" in ledger_csv(ledger, signed=False).decode()
    station = case.arch.station(plan.fixtures[0].platform)
    sides = across_arch_chart(case.volume, plan, case.arch, station).sides
    assert sum(words.startswith("Palatal") for words in (sides.left, sides.right)) == 1


def test_the_socket_is_no_bone_and_the_root_to_be_removed_is_no_limit():
    case, _ = measured("socket")
    root = next(m for m in case.ledger.measurements if m.target == "root-36")
    assert root.limit is None
    walls = [m for m in case.ledger.measurements if m.kind == "wall"]
    # Around the socket 2.4 mm of bone are left beyond the gap of 0.6 mm (see the core's test).
    assert min(m.value for m in walls if m.value is not None) < 2.8
