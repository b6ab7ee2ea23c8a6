"""Sheet and record as one set: all or nothing, nothing stale, nobody else's files touched."""

from __future__ import annotations

import errno
import json
import os
from dataclasses import replace
from pathlib import Path

import pydicom
import pytest

from core import atomic
from core.errors import OutputError, SoundingError
from core.measuring.ledger import LEDGER_FILE
from core.plans.plan import SideCheck, Site
from core.sheet import folder as folder_module
from core.sheet import parts as parts_module
from core.sheet.folder import folder_within, write_folder
from core.sheet.parts import PART, PARTS, Part, hindrance, part_files, part_of
from core.sheet.record import RecordSettings
from tests.sheet_material import IDENTITY, fixture_at, ledger_of, named, plan_with, round_jaw

CT = "1.2.840.10008.5.1.4.1.1.2"
WHOLE = replace(IDENTITY, sop_instances=((CT, "2.25.11"),))
VOLUME = replace(round_jaw(voxel_mm=1.5), identity=WHOLE)
QUICK = ("card", "checklist", "laboratory")
WITH_FIXTURE = {part.id for part in PART.values() if part.needs_fixture}
FOR_THE_CHAIR = {part.id for part in PART.values() if part.for_the_chair}
ARCHIVE = {part.id for part in PART.values() if part.archive}
SHEET = {
    "sheet.pdf", "sheet.csv", "sheet.csv.schema.json", "sheet.ledger.schema.json", "section-36.png",
    "panorama.png",
}  # fmt: skip
RECORD = {
    "01-fixture-36_LPS-mm.stl", "02-axis-36_LPS-mm.stl", "03-canal-left_LPS-mm.stl",
    "04-arch_LPS-mm.stl", "05-letter-R_LPS-mm.stl", "06-bone-and-teeth_LPS-mm.stl",
    "body-canal-left.dcm", "body-fixture-36.dcm", "check-film.pdf", "checklist.pdf",
    "basis.pdf", "drill-card.pdf", "key-panorama.dcm", "key-section-36.dcm", "key-selection.dcm",
    "laboratory.pdf", "measurements.dcm", "meshes.csv", "meshes_mm.3mf", "patient.pdf", "sheet.dcm",
    "basis.dcm",
}  # fmt: skip


def case(*fixtures, identity=WHOLE, fingerprint="sha256:0123456789abcdef", **more):
    plan = plan_with(*fixtures, **more)
    ledger = replace(
        ledger_of(plan, identity=identity, unmarked=False), plan_fingerprint=fingerprint
    )
    return plan, replace(VOLUME, identity=identity), ledger


ONE = case(fixture_at(20.0, "36"))


def names(folder):
    return {p.name for p in folder.iterdir()}


def contents(folder):
    return {p.name: p.read_bytes() for p in folder.iterdir()}


def test_everything_is_written_and_named_without_the_patient(tmp_path):
    shares = []
    written = write_folder(*ONE, tmp_path / "new" / "out", progress=shares.append)
    assert names(tmp_path / "new" / "out") == SHEET | RECORD | {LEDGER_FILE}
    assert {f.name for f in written.files} == SHEET | RECORD | {LEDGER_FILE}
    assert written.files[0].name == "sheet.pdf"
    assert (written.removed, dict(written.left_out)) == ((), {})
    assert shares == sorted(shares)
    assert shares[-1] == 1.0
    assert (written.files[0].parent / LEDGER_FILE).read_text("utf-8") == ONE[2].to_json()


def test_the_archive_gets_the_very_bytes_of_the_folders_sheet_and_of_its_basis(tmp_path):
    write_folder(*ONE, tmp_path, ("sheet", "basis", "pdf object"))
    series = set()
    for name in ("sheet", "basis"):
        held = pydicom.dcmread(tmp_path / f"{name}.dcm")
        pdf = held.EncapsulatedDocument[: held.EncapsulatedDocumentLength]
        assert pdf == (tmp_path / f"{name}.pdf").read_bytes()
        series.add((held.SeriesInstanceUID, held.SeriesNumber, held.InstanceNumber))
    assert {number for _, number, _ in series} == {9902, 9906}
    assert len({uid for uid, _, _ in series}) == 2


def test_every_file_belongs_to_the_part_that_was_asked_for(tmp_path):
    for part in PARTS:
        out = tmp_path / part
        write_folder(*ONE, out, (part,))
        assert {part_of(name) for name in names(out) - {LEDGER_FILE}} == {part}


def test_no_fixture_is_a_full_result_and_what_it_cannot_have_is_said(tmp_path):
    site = Site(id="site-36", tooth="36", station_mm=60.0)
    written = write_folder(*case(sites=(site,)), tmp_path, leave_out=True)
    assert set(written.left_out) == WITH_FIXTURE
    assert all("no fixture" in str(e) for e in written.left_out.values())
    assert {"basis.pdf", "basis.dcm", "measurements.dcm", "sheet.dcm"} <= names(tmp_path)


def test_rulers_alone_leave_a_sheet(tmp_path):
    written = write_folder(*case(), tmp_path, leave_out=True)
    assert set(written.left_out) == WITH_FIXTURE | {"report"}
    assert "sheet.pdf" in names(tmp_path)


@pytest.mark.parametrize("field", ["study_uid", "frame_of_reference_uid"])
def test_what_the_archive_needs_is_asked_before_anything_is_written(tmp_path, field):
    bare = case(fixture_at(20.0, "36"), identity=replace(WHOLE, **{field: ""}))
    with pytest.raises(OutputError, match="holds no usable") as refusal:
        write_folder(*bare, tmp_path / "out")
    assert refusal.value.code == "archive-field-missing"
    assert not (tmp_path / "out").exists()
    # The way out that the sentence names: the sheet is never lost for the archive's sake.
    written = write_folder(*bare, tmp_path / "out", leave_out=True)
    assert set(written.left_out) <= ARCHIVE
    assert "report" in written.left_out
    assert "sheet.pdf" in names(tmp_path / "out")


def test_a_contradicting_side_leaves_out_what_is_taken_to_the_chair_and_says_the_way_out(tmp_path):
    right = SideCheck(side="right", against="chart", by="LM", at="2026-09-15T10:30")
    plan, volume, ledger = case(fixture_at(20.0, "36"))
    plan = replace(plan, side_check=right)
    ledger = replace(ledger, plan=plan)
    for part in FOR_THE_CHAIR:
        refusal = hindrance(part, ledger)
        assert refusal.code == "side-contradiction"
        assert "TOOTH NUMBER AND SIDE DISAGREE" in str(refusal)
        assert "Leave this part out" in str(refusal)
        assert hindrance(part, ONE[2]) is None
    written = write_folder(plan, volume, ledger, tmp_path, leave_out=True)
    assert set(written.left_out) == FOR_THE_CHAIR


def test_whether_a_part_goes_to_the_chair_is_said_of_every_part_and_written_a_second_time():
    """By hand: a row that carries the wrong side to the chair must be meant."""
    with pytest.raises(TypeError, match="for_the_chair"):
        Part(id="ring", words="ring", what="PDF", files=("ring.pdf",), make=lambda _: None)
    assert {"card", "patient", "report", "bodies", "laboratory"} <= FOR_THE_CHAIR
    beside = {"sheet", "basis", "film", "checklist", "pdf object", "key pictures", "meshes"}
    assert FOR_THE_CHAIR & beside == set(), "these say the contradiction on every page"
    needs_one = {"card", "film", "checklist", "patient", "bodies", "laboratory"}
    assert needs_one <= WITH_FIXTURE
    assert {"report", "pdf object", "key pictures", "bodies"} <= ARCHIVE
    assert {part.id for part in PART.values() if part.in_space} >= {"report", "bodies"}


def test_a_part_with_nothing_to_say_is_left_out_in_its_own_words(tmp_path, monkeypatch):
    silent = replace(PART["checklist"], make=lambda _: None)
    monkeypatch.setattr(parts_module, "PART", {**PART, "checklist": silent})
    with pytest.raises(OutputError) as refusal:
        write_folder(*ONE, tmp_path / "out", QUICK)
    assert refusal.value.code == "record-nothing-to-say"
    assert str(refusal.value).startswith("Checklist for the day: ")
    written = write_folder(*ONE, tmp_path / "out", QUICK, leave_out=True)
    assert set(written.left_out) == {"checklist"}
    assert names(tmp_path / "out") == {"drill-card.pdf", "laboratory.pdf", LEDGER_FILE}


@pytest.mark.parametrize("part", [part.id for part in PART.values() if part.needs_arch])
def test_a_part_on_which_cheek_and_tongue_could_be_mixed_up_waits_for_the_arch(part):
    open_side = replace(folder_module.settled_case(*ONE), arch=None)
    with pytest.raises(OutputError, match="not settled") as refusal:
        part_files(part, open_side)
    assert refusal.value.code == "record-needs-arch"


def test_a_part_that_fails_leaves_no_half_of_the_set(tmp_path, monkeypatch):
    write_folder(*ONE, tmp_path / "old", QUICK)
    before = contents(tmp_path / "old")

    def fails(part, *_, **__):
        if part == "laboratory":
            raise OutputError("record-needs-arch")
        return real(part, *_, **__)

    real = folder_module.part_files
    monkeypatch.setattr(folder_module, "part_files", fails)
    for target in ("old", "new"):
        with pytest.raises(OutputError):
            write_folder(*ONE, tmp_path / target, QUICK)
    assert contents(tmp_path / "old") == before
    assert names(tmp_path) == {"old"}


def test_the_work_can_be_stopped_with_nothing_written(tmp_path):
    def stop(share):
        if share > 0.5:
            raise SoundingError("measuring-cancelled")

    with pytest.raises(SoundingError):
        write_folder(*ONE, tmp_path / "out", QUICK, progress=stop)
    assert not (tmp_path / "out").exists()


def test_files_of_a_fixture_that_is_gone_go_and_are_named(tmp_path):
    both = case(fixture_at(20.0, "36"), fixture_at(40.0, "35"), fingerprint="sha256:old")
    write_folder(*both, tmp_path)
    (tmp_path / "letter.txt").write_text("theirs")
    written = write_folder(*ONE, tmp_path)
    gone = {"section-35.png", "body-fixture-35.dcm", "key-section-35.dcm"}
    assert gone <= set(written.removed)
    meshes = {name for name in set(written.removed) - gone if name.endswith("_LPS-mm.stl")}
    assert set(written.removed) == gone | meshes
    assert "03-fixture-35_LPS-mm.stl" in meshes
    assert names(tmp_path) == SHEET | RECORD | {LEDGER_FILE, "letter.txt"}


def test_another_part_stays_only_while_it_is_of_this_very_plan(tmp_path):
    write_folder(*ONE, tmp_path, ("card", "checklist"))
    assert write_folder(*ONE, tmp_path, ("meshes",)).removed == ()
    assert {"drill-card.pdf", "checklist.pdf"} <= names(tmp_path)
    moved = case(fixture_at(22.0, "36"), fingerprint="sha256:new")
    written = write_folder(*moved, tmp_path, ("checklist",))
    assert "drill-card.pdf" in written.removed, "a card of the older plan beside the new list"
    assert names(tmp_path) == {"checklist.pdf", LEDGER_FILE}


def test_the_report_of_the_plan_before_is_named_in_the_next(tmp_path):
    write_folder(*case(fixture_at(20.0, "36"), fingerprint="sha256:old"), tmp_path, ("report",))
    old = pydicom.dcmread(tmp_path / "measurements.dcm").SOPInstanceUID
    write_folder(*case(fixture_at(22.0, "36"), fingerprint="sha256:new"), tmp_path, ("report",))
    (study,) = pydicom.dcmread(tmp_path / "measurements.dcm").PredecessorDocumentsSequence
    named = study.ReferencedSeriesSequence[0].ReferencedSOPSequence[0]
    assert named.ReferencedSOPInstanceUID == old


def test_a_stale_file_comes_back_when_the_new_set_fails(tmp_path, monkeypatch):
    both = case(fixture_at(20.0, "36"), fixture_at(40.0, "35"), fingerprint="sha256:old")
    write_folder(*both, tmp_path, ("card", "meshes"))
    before = contents(tmp_path)
    real = Path.replace

    def held(self, target):
        if Path(target).name == LEDGER_FILE and not self.name.endswith(".old"):
            raise PermissionError(errno.EACCES, "held open")
        return real(self, target)

    monkeypatch.setattr(Path, "replace", held)
    with pytest.raises(OutputError):
        write_folder(*ONE, tmp_path, ("card", "meshes"))
    assert contents(tmp_path) == before


def test_a_folder_of_another_patient_is_refused(tmp_path):
    write_folder(*ONE, tmp_path, QUICK)
    before = contents(tmp_path)
    other = case(fixture_at(20.0, "36"), identity=replace(WHOLE, series_uid="2.25.99"))
    with pytest.raises(OutputError, match="another scan"):
        write_folder(*other, tmp_path, QUICK)
    # A pseudonymous variant beside the named one would undo itself.
    with pytest.raises(OutputError, match="another scan"):
        write_folder(*ONE, tmp_path, QUICK, RecordSettings(secret=b"0123456789abcdef"))
    assert contents(tmp_path) == before


@pytest.mark.parametrize("text", [None, "{", "[]", json.dumps({"scan": 1})])
def test_a_file_of_which_nothing_tells_whose_it_is_is_never_replaced(tmp_path, text):
    (tmp_path / "patient.pdf").write_text("theirs")
    if text is not None:
        (tmp_path / LEDGER_FILE).write_text(text)
    before = contents(tmp_path)
    with pytest.raises(OutputError, match="Choose an empty folder"):
        write_folder(*ONE, tmp_path, QUICK)
    assert contents(tmp_path) == before


@pytest.mark.parametrize(
    ("code", "number"), [("output-disk-full", errno.ENOSPC), ("output-forbidden", errno.EROFS)]
)
def test_a_folder_that_cannot_be_written_leaves_nothing_half(tmp_path, monkeypatch, code, number):
    def refuse(temporary, data):
        temporary.write_bytes(data[: len(data) // 2])
        raise OSError(number, os.strerror(number))

    monkeypatch.setattr(atomic, "_write_new", refuse)
    with pytest.raises(OutputError) as refusal:
        write_folder(*ONE, tmp_path, QUICK)
    assert refusal.value.code == code
    assert list(tmp_path.iterdir()) == []


def test_a_file_in_place_of_the_folder_is_refused(tmp_path):
    (tmp_path / "out").write_text("a file")
    with pytest.raises(OutputError) as refusal:
        write_folder(*ONE, tmp_path / "out", QUICK)
    assert refusal.value.code == "output-folder"
    assert (tmp_path / "out").read_text() == "a file"


def test_unknown_parts_and_papers_are_refused(tmp_path):
    for more in ({"parts": ("everything",)}, {"settings": RecordSettings(paper="A3")}):
        with pytest.raises(OutputError):
            write_folder(*ONE, tmp_path / "out", **more)
    assert not (tmp_path / "out").exists()


def test_figures_of_another_plan_or_scan_are_refused(tmp_path):
    plan, volume, ledger = ONE
    with pytest.raises(OutputError, match="another state of the plan"):
        write_folder(plan_with(fixture_at(16.0, "36")), volume, ledger, tmp_path / "out", QUICK)
    with pytest.raises(OutputError, match="another scan"):
        write_folder(plan, named(volume, series_uid="2.25.9"), ledger, tmp_path / "out", QUICK)
    assert not (tmp_path / "out").exists()


def test_twelve_fixtures_and_a_long_foreign_name(tmp_path):
    fixtures = [replace(fixture_at(a, "36"), id=f"f{n}") for n, a in enumerate(range(10, 34, 2))]
    identity = replace(WHOLE, patient_name="ابن سينا^" + "長い名前" * 20)
    plan, volume, ledger = case(*fixtures, identity=identity)
    # Never cut for an archive: the objects are left out, and everything else is there.
    for part in ("report", "pdf object"):
        assert hindrance(part, ledger) is not None
    assert hindrance("pdf object", ledger).code == "archive-field-long"
    parts = ("card", "film", "checklist", "patient", "laboratory", "pdf object")
    written = write_folder(plan, volume, ledger, tmp_path, parts, leave_out=True)
    assert len(written.files) == len(parts)
    assert set(written.left_out) == {"pdf object"}


@pytest.mark.parametrize(
    "changed",
    [{"patient_name": "a" * 65 + "^b"}, {"patient_name": "a=" + "b" * 65}, {"patient_id": "1" * 65},
     {"patient_id": "1\\2"}],
)  # fmt: skip
def test_a_name_or_id_is_never_cut_for_an_archive(changed):
    ledger = case(fixture_at(20.0, "36"), identity=replace(WHOLE, **changed))[2]
    assert hindrance("report", ledger).code == "archive-field-long"
    whole = replace(WHOLE, patient_name="a" * 62 + "^b", patient_id="1" * 64)
    assert hindrance("report", case(fixture_at(20.0, "36"), identity=whole)[2]) is None


def test_among_other_files_a_set_gets_a_folder_of_its_own(tmp_path):
    empty, loose = tmp_path / "empty", tmp_path / "documents"
    loose.mkdir()
    (loose / "letter.txt").write_text("mine")
    assert folder_within(tmp_path / "not there", ONE[2]) == tmp_path / "not there"
    empty.mkdir()
    assert folder_within(empty, ONE[2]) == empty
    inner = folder_within(loose, ONE[2])
    assert inner == loose / "sounding-36"
    write_folder(*ONE, inner, QUICK)
    assert folder_within(loose, ONE[2]) == inner, "the next state of the plan takes its place"
    assert folder_within(inner, ONE[2]) == inner
    assert names(loose) == {"letter.txt", "sounding-36"}


def test_the_set_of_another_scan_or_of_nobody_knows_whom_is_left_alone(tmp_path):
    (tmp_path / "letter.txt").write_text("mine")
    other = case(fixture_at(20.0, "36"), identity=replace(WHOLE, series_uid="2.25.77"))
    write_folder(*other, folder_within(tmp_path, other[2]), QUICK)
    (tmp_path / "sounding-36-2").mkdir()
    (tmp_path / "sounding-36-2" / "notes.txt").write_text("mine too")
    assert folder_within(tmp_path, ONE[2]) == tmp_path / "sounding-36-3"
    written = write_folder(*ONE, folder_within(tmp_path, ONE[2]), QUICK)
    assert {f.parent.name for f in written.files} == {"sounding-36-3"}
