"""The record as files: everything or nothing, neutral names, full and read-only folders."""

from __future__ import annotations

import errno
import io
import os
from dataclasses import replace

import pypdf
import pytest

from core import atomic
from core.errors import OutputError
from core.plans.plan import Site
from core.sheet.case import case_of
from core.sheet.checklist import QUESTIONS, checklist_items, checklist_pdf
from core.sheet.record import PARTS, RecordSettings, record_files, write_record
from tests.sheet_material import IDENTITY, fixture_at, ledger_of, named, plan_with, round_jaw

CT = "1.2.840.10008.5.1.4.1.1.2"
WHOLE = replace(IDENTITY, sop_instances=((CT, "2.25.11"),))


def case(*fixtures, identity=WHOLE, **more):
    plan = plan_with(*fixtures, **more)
    volume = replace(round_jaw(voxel_mm=1.5), identity=identity)
    return plan, volume, ledger_of(plan, identity=identity)


def test_everything_is_written(tmp_path):
    files = write_record(*case(fixture_at(20.0, "36")), tmp_path / "new" / "folder")
    assert sorted(f.name for f in files) == [
        "arch_LPS-mm.stl", "axis-36_LPS-mm.stl", "canal-left_LPS-mm.stl", "check-film.pdf",
        "checklist.pdf", "drill-card.pdf", "fixture-36_LPS-mm.stl", "laboratory.pdf",
        "letter-R_LPS-mm.stl", "measurements.dcm", "patient.pdf", "sheet.dcm",
    ]  # fmt: skip
    assert sorted(p.name for p in files[0].parent.iterdir()) == sorted(f.name for f in files)


def test_no_fixture_is_a_full_result(tmp_path):
    site = Site(id="site-36", tooth="36", station_mm=60.0)
    names = {f.name for f in write_record(*case(sites=(site,)), tmp_path)}
    assert {"checklist.pdf", "patient.pdf", "measurements.dcm", "sheet.dcm"} <= names
    assert not {"drill-card.pdf", "check-film.pdf"} & names


def test_what_the_archive_needs_is_asked_before_anything_is_written(tmp_path):
    folder = tmp_path / "out"
    with pytest.raises(OutputError) as refusal:
        write_record(*case(fixture_at(20.0, "36"), identity=replace(WHOLE, study_uid="")), folder)
    assert refusal.value.code == "archive-field-missing"
    assert not folder.exists()
    # The way out that the sentence names: leave the archive objects out.
    bare = case(fixture_at(20.0, "36"), identity=replace(WHOLE, study_uid=""))
    parts = [p for p in PARTS if p not in ("report", "pdf object")]
    assert write_record(*bare, folder, parts=parts)


@pytest.mark.parametrize(
    ("code", "number"), [("output-disk-full", errno.ENOSPC), ("output-forbidden", errno.EROFS)]
)
def test_a_folder_that_cannot_be_written_leaves_nothing_half(tmp_path, monkeypatch, code, number):
    def refuse(temporary, data):
        temporary.write_bytes(data[: len(data) // 2])
        raise OSError(number, os.strerror(number))

    monkeypatch.setattr(atomic, "_write_flushed", refuse)
    with pytest.raises(OutputError) as refusal:
        write_record(*case(fixture_at(20.0, "36")), tmp_path, parts=["checklist"])
    assert refusal.value.code == code
    assert list(tmp_path.iterdir()) == []


def test_a_file_in_place_of_the_folder_is_refused(tmp_path):
    (tmp_path / "out").write_text("a file")
    with pytest.raises(OutputError) as refusal:
        write_record(*case(fixture_at(20.0, "36")), tmp_path / "out", parts=["checklist"])
    assert refusal.value.code == "output-folder"


def test_unknown_parts_and_papers_are_refused():
    for more in ({"parts": ["everything"]}, {"settings": RecordSettings(paper="A0")}):
        with pytest.raises(OutputError):
            record_files(*case(fixture_at(20.0, "36")), **more)


def words_of(pdf):
    return " ".join(
        " ".join(p.extract_text() for p in pypdf.PdfReader(io.BytesIO(pdf)).pages).split()
    )


def test_the_checklist_asks_what_only_a_person_knows():
    plan, volume, ledger = case(fixture_at(20.0, "36", length_mm=13.0))
    shown = case_of(plan, volume, ledger, without_viewing=True, window=(0, 1))
    text = words_of(checklist_pdf(shown))
    for question in QUESTIONS:
        assert question in text
    for words in ("NOT YET", "DRAFT", "LEFT, compared with chart", "QUARRY, Sample",
                  "born 1961-04-02", "No stent axis is marked"):  # fmt: skip
        assert words in text, words
    # The fixture's apex stands 0.5 mm from the canal's roof at z = 6.5.
    again = [what for what, _ in checklist_items(shown) if what.startswith("Looked at again")]
    assert "Looked at again: 36, Canal left" in again
    assert any("Vessel" in what for what in again)


def test_twelve_fixtures_and_a_long_foreign_name(tmp_path):
    fixtures = [replace(fixture_at(a, "36"), id=f"f{n}") for n, a in enumerate(range(10, 130, 10))]
    plan = plan_with(*fixtures)
    volume = named(round_jaw(voxel_mm=1.5), patient_name="ابن سينا^" + "長い名前" * 20)
    volume = replace(volume, identity=replace(volume.identity, sop_instances=((CT, "2.25.11"),)))
    ledger = ledger_of(plan, identity=volume.identity)
    parts = ["card", "checklist", "patient", "report"]
    assert len(write_record(plan, volume, ledger, tmp_path, parts=parts)) == 4
