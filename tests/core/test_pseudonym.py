"""Without a name: nothing of the scan's identity is left, every number is."""

from __future__ import annotations

import io
import re
import zipfile
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import numpy as np
import pypdf
import pytest
from PIL import Image
from reportlab.lib.utils import ImageReader
from reportlab.pdfgen.canvas import Canvas

from core.errors import OutputError
from core.findings import Finding
from core.kinds import KINDS
from core.measurement import Note
from core.measuring.assemble import measure
from core.plans.history import sign
from core.plans.plan import Declaration, ScanTie
from core.pseudonym import Pseudonym, identifying, pseudonymous
from core.pseudonym_ids import says_nothing
from core.sheet.csv_table import ledger_csv
from core.sheet.folder import write_folder
from core.sheet.left_over import left_over, refuse_left_over
from core.sheet.parts import PARTS
from core.sheet.record import RecordSettings
from core.structures import AngleMark, Course, PointMarks, Ruler
from core.words.catalogue import message
from tests.sheet_material import IDENTITY, fixture_at, ledger_of, plan_with, round_jaw

SECRET = b"of the practice, long enough"
CT = "1.2.840.10008.5.1.4.1.1.2"
WHOLE = replace(
    IDENTITY,
    study_uid="1.2.826.777.1", series_uid="1.2.826.777.2", frame_of_reference_uid="1.2.826.777.3",
    description="Jaw of Quarry", study_description="Quarry family",
    header={"StudyDate": "20260914", "PatientBirthDate": "19610402", "InstitutionName":
            "Harbour practice", "Manufacturer": "Invented works", "AccessionNumber": "ACC-5512",
            "ReferringPhysicianName": "Tidewater^Ann", "StudyID": "STUDY-9"},
    sop_instances=((CT, "1.2.826.777.2.1"), (CT, "1.2.826.777.2.2")),
)  # fmt: skip


@pytest.fixture(scope="module")
def case():
    volume = replace(round_jaw(voxel_mm=1.0), identity=WHOLE)
    plan = plan_with(
        fixture_at(20.0, "36"),
        scan=ScanTie(series_uid=WHOLE.series_uid, frame_of_reference_uid=
                     WHOLE.frame_of_reference_uid, fingerprint="sha256:feed"),
        declared=(Declaration(structure="foramen", state="not near this site",
                              reason="Quarry said so", by="Tidewater", at="2026-09-15T09:00"),),
        interpreted_by="Ann Tidewater", interpreted_at="2026-09-16",
        reasons={"canal-left": "Quarry has a wide one"},
        accepted={"36/clearance/root-35": "Quarry agreed"},
    )  # fmt: skip
    mark = PointMarks(id="mark-1", kind="mark", points=[(20, 0, 12)], label="Quarry's canine")
    plan = sign(plan, name="Ann Tidewater", role="dentist", at="2026-09-20T09:00:00+00:00")
    ledger = ledger_of(plan, identity=WHOLE, unmarked=False)
    plan = replace(plan, structures=(*plan.structures, mark))
    found = Finding("scan_several_series", "caution", {"keys": "Quarry 1.2.826.777.2"})
    ledger = replace(ledger, plan=plan, findings=(found,))
    return plan, replace(volume, findings=(found,)), ledger


@pytest.fixture(scope="module")
def whole_set(case, tmp_path_factory):
    """The whole set without a name, written once: paths, and names with what is in them."""
    plan, volume, ledger = case
    old = Finding("scan-old", "caution", {"scanned": WHOLE.study_date, "months": "14"})
    ledger = replace(ledger, findings=(old,), made_at="2027-11-24T10:41:00+00:00")
    written = write_folder(
        plan, replace(volume, findings=()), ledger, tmp_path_factory.mktemp("set"),
        settings=RecordSettings(secret=SECRET),
    )  # fmt: skip
    return written.files, [(path.name, unpacked(path)) for path in written.files]


def unpacked(path):
    """Bytes of a file, and for a PDF its text and metadata too."""
    data = path.read_bytes()
    if path.suffix == ".pdf":
        reader = pypdf.PdfReader(io.BytesIO(data))
        data += "\n".join(page.extract_text() for page in reader.pages).encode()
        data += str(reader.metadata).encode()
        data += b"".join(page.get_contents().get_data() for page in reader.pages)
    return data


def test_no_identifying_string_is_left_in_any_file(whole_set):
    files, contents = whole_set
    assert {f.suffix for f in files} == {".pdf", ".dcm", ".stl", ".png", ".csv", ".json", ".3mf"}
    assert len(files) >= 14
    words = identifying(WHOLE)
    assert {"QUARRY", "S-0107", "19610402", "1961-04-02", "20260914", "1.2.826.777.2",
            "Harbour practice", "Tidewater", "ACC-5512"} <= set(words)  # fmt: skip
    assert left_over(WHOLE, contents) == []
    for name, data in contents:
        assert b"quarry" not in data.lower(), name
        # As a word: three letters also stand in packed bytes by chance.
        assert not re.search(rb"[\s(^>=]Ann[\s)^<=]", data), name


def test_the_search_finds_what_is_there(case, tmp_path):
    plan, volume, ledger = case
    ledger, volume = replace(ledger, findings=()), replace(volume, findings=())
    files = write_folder(plan, volume, ledger, tmp_path, PARTS[1:]).files
    left = left_over(WHOLE, [(f.name, unpacked(f)) for f in files])
    named = {entry.split(":")[0] for entry in left}
    assert {"drill-card.pdf", "checklist.pdf", "patient.pdf", "measurements.dcm",
            "sheet.dcm"} <= named  # fmt: skip


def test_numbers_verdicts_and_places_stay(case):
    plan, _, ledger = case
    _, volume, hidden = pseudonymous(*case, secret=SECRET)
    for old, new in zip(ledger.measurements, hidden.measurements, strict=True):
        assert (old.id, old.value, old.verdict, old.at_least) == (
            new.id, new.value, new.verdict, new.at_least,
        )  # fmt: skip
    assert np.array_equal(volume.voxels, case[1].voxels)
    assert hidden.plan.fixtures == plan.fixtures
    assert hidden.plan.side_check.side == plan.side_check.side


def test_uids_are_replaced_consistently(case):
    plan, volume, ledger = pseudonymous(*case, secret=SECRET)
    assert plan.scan.series_uid == volume.identity.series_uid == ledger.scan.series_uid
    assert re.fullmatch(r"2\.25\.\d{1,39}", plan.scan.series_uid)
    uids = {volume.identity.series_uid, volume.identity.study_uid,
            volume.identity.frame_of_reference_uid}  # fmt: skip
    assert len(uids) == 3


def test_no_date_can_be_undone_by_the_time_of_a_file_or_of_the_work(case, whole_set):
    """Whoever knows when a file was made must not learn the shift from any moment beside it."""
    plan, volume, ledger = case
    old = Finding("scan-old", "caution", {"scanned": WHOLE.study_date, "months": "14"})
    ledger = replace(ledger, findings=(old,), made_at="2027-11-24T10:41:00+00:00")
    written, contents = whole_set
    alias = Pseudonym(secret=SECRET, identity=WHOLE)
    today = str(datetime.now(UTC).date())
    moments = ("2027-11-24", "2026-09-15", "2026-09-16", "2026-09-20", today)
    days = {date.fromisoformat(day) for day in moments}
    for day in days:
        for shown in (day, day - timedelta(days=alias.days)):
            for spelling in (shown.isoformat(), shown.strftime("%Y%m%d")):
                for name, data in contents:
                    assert spelling.encode() not in data, (name, spelling)
    assert "14" not in str(pseudonymous(plan, volume, ledger, secret=SECRET)[2].findings[0].fields)
    for path in written:
        assert path.stat().st_mtime == 946_684_800, path.name


def test_names_of_marks_become_names_of_kinds_everywhere(case):
    plan, volume, ledger = case
    canal = Course(id="quarry-1961-04-02", kind="canal", points=[(20, 0, -12), (25, 5, -12)])
    declared = (*plan.declared, Declaration(structure="quarry-1961-04-02", by="LM",
                                            state="looked for, not visible"))  # fmt: skip
    plan = replace(
        plan,
        structures=(canal, *plan.structures),
        locked=("quarry-1961-04-02",),
        declared=declared,
        sign_off=None,
    )
    odd = replace(
        ledger.measurements[0],
        id="36/clearance/quarry-1961-04-02",
        target="quarry-1961-04-02",
        reading=replace(
            ledger.measurements[0].reading,
            notes=(Note("not-marked", {"what": "quarry-1961-04-02"}),),
        ),
    )
    ledger = replace(ledger, plan=plan, measurements=(odd, *ledger.measurements[1:]), findings=())
    new, _, hidden = pseudonymous(plan, replace(volume, findings=()), ledger, secret=SECRET)
    assert new.structures[0].id == hidden.measurements[0].target == "canal-1"
    assert hidden.measurements[0].id == "36/clearance/canal-1"
    assert new.locked == ("canal-1",)
    assert new.declared[-1].structure == "canal-1"
    assert "quarry" not in repr((new, hidden)).lower()
    assert [s.id for s in new.structures[1:]] == [s.id for s in plan.structures[1:]]


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.id)
def test_a_name_made_of_a_kind_and_a_number_stays_and_any_other_does_not(kind):
    name = kind.file_kind.replace("_", "-")
    assert says_nothing(f"{name}-2")
    assert says_nothing(f"{kind.id.replace('_', '-')}-47")
    assert not says_nothing(f"{name}-marsh")
    assert not says_nothing(f"{name}-1234")


def test_what_a_ruler_and_an_angle_were_called_stands_in_no_row_either():
    """Rows hold it as what they are of: it stood in the table and in the ledger's file."""
    volume = round_jaw()
    at = plan_with(fixture_at(15.0, "36")).fixtures[0].platform
    far = at + np.array([0.0, 0.0, 7.0])
    plan = plan_with(
        fixture_at(15.0, "36"),
        rulers=(Ruler(id="ruler-1", label="Marsh's gap", points=np.stack([at, far])),),
        angles=(
            AngleMark(
                id="angle-1",
                label="as Marsh drew it",
                points=np.stack([far, at, at + np.array([5.0, 0.0, 0.0])]),
            ),
        ),
    )
    ledger = measure(plan, volume)
    assert "Marsh's gap" in repr(ledger.measurements)
    new, _, hidden = pseudonymous(plan, volume, ledger, secret=SECRET)
    assert "marsh" not in repr((new, hidden)).lower()
    rows = {m.target: m for m in hidden.measurements}
    assert rows["ruler-1"].details.of == message("measuring.of.two-marks")
    assert rows["angle-1"].details.of == message("measuring.of.three-marks")
    assert b"Marsh" not in ledger_csv(hidden, signed=False)


def test_free_text_of_an_answer_is_left_out(case):
    plan, volume, ledger = case
    plan = replace(plan, side_check=replace(plan.side_check, against="her own words on 3 May"))
    new, _, _ = pseudonymous(plan, volume, replace(ledger, plan=plan), secret=SECRET)
    assert new.side_check.against == ""
    assert new.side_check.side == plan.side_check.side


LEFT = {
    "csv": b"who,Quarry",
    "capitals and accents": "QUARRY’s jaw, Quárry".encode(),
    "separators": b"seen 1961.04.02",
    "parted": b"harbour_practice",
    "in an identifier": b'{"id": "mark-quarry-2"}',
    "wide letters in something else": b"\xff\xfe\x00\x01" + "Tidewater".encode("utf-16-le"),
    "number with spaces": b"acc 5512",
}


@pytest.mark.parametrize("what", LEFT)
def test_what_is_left_over_is_found_whatever_its_spelling(what):
    assert left_over(WHOLE, [("file.bin", LEFT[what])]), what
    with pytest.raises(OutputError, match="not saved"):
        refuse_left_over(WHOLE, [("good.csv", b"nothing"), ("file.bin", LEFT[what])])


@pytest.mark.parametrize(
    "text", [b"the annual bone", b"3.19610402", b"1196104022", b"jaw of quarrel"]
)
def test_what_only_looks_alike_is_let_through(text):
    assert left_over(WHOLE, [("file.csv", text)]) == []


def test_a_name_that_is_a_word_of_the_program_is_looked_for_beside_its_other_parts():
    named = replace(WHOLE, patient_name="Bone^Marjorie", description="CBCT jaw", header={})
    assert left_over(named, [("a.csv", b"remaining bone of the jaw, CBCT")]) == []
    assert left_over(named, [("a.csv", b"marjorie")])
    named = replace(named, patient_name="Bone^Mark")
    assert left_over(named, [("a.csv", b"mark the bone")]) == []
    assert left_over(named, [("a.csv", b"Mark Bone, 36")])


def test_a_set_that_would_name_somebody_is_not_written(case, tmp_path):
    """What a practice writes itself goes into the set as it is: it may hold a name."""
    plan, volume, ledger = case
    settings = RecordSettings(secret=SECRET, risks="As we told Mrs QUARRY: swelling.")
    with pytest.raises(OutputError, match="not saved") as caught:
        write_folder(
            plan,
            replace(volume, findings=()),
            replace(ledger, findings=()),
            tmp_path / "set",
            settings=settings,
            leave_out=True,
        )
    assert caught.value.code == "pseudonym-left-over"
    assert "patient.pdf" in str(caught.value)
    assert not (tmp_path / "set").exists()


def test_the_same_secret_gives_the_same_pseudonym_another_another():
    one = Pseudonym(secret=SECRET, identity=WHOLE)
    again = Pseudonym(secret=SECRET, identity=replace(WHOLE, study_date="2027-01-01"))
    other = Pseudonym(secret=b"another secret of 16+", identity=WHOLE)
    assert one.label == again.label != other.label
    assert one.days == again.days
    assert 30 <= one.days < 730
    with pytest.raises(ValueError, match="16 bytes"):
        Pseudonym(secret=b"short", identity=WHOLE)


def test_findings_are_looked_through_and_nothing_is_signed(case):
    plan, volume, ledger = pseudonymous(*case, secret=SECRET)
    assert ledger.findings[0].fields == {"keys": "removed"}
    assert volume.findings[0].code == "scan_several_series"
    assert plan.sign_off is None
    assert plan.history == ()
    assert plan.declared[0].reason == "reason removed"
    assert plan.structures[-1].label == ""


def test_a_scan_whose_pictures_contradict_its_header_stays_without_verdicts(case):
    plan, volume, ledger = case
    stop = Finding("scan_byte_order", "caution", {"count": 3}, stops_verdicts=True)
    _, volume, ledger = pseudonymous(
        plan,
        replace(volume, findings=(stop,)),
        replace(ledger, findings=(stop,)),
        secret=SECRET,
    )
    assert volume.findings == ledger.findings == (stop,)


def page_with(text, in_pixels):
    """A PDF of one page with a picture, in whose packed pixels some signs are put by hand."""
    noise = np.random.default_rng(3).integers(0, 255, (40, 40, 3)).astype(np.uint8)
    out = io.BytesIO()
    canvas = Canvas(out)
    canvas.drawImage(ImageReader(Image.fromarray(noise)), 50, 50)
    canvas.drawString(72, 700, text)
    canvas.save()
    data = out.getvalue()
    at = data.index(b"stream", data.index(b"/Subtype /Image")) + 200
    return data[:at] + in_pixels + data[at + len(in_pixels) :]


def test_a_short_name_in_the_packed_pixels_of_a_page_is_chance_and_on_the_page_it_is_not():
    assert left_over(WHOLE, [("sheet.pdf", page_with("for nobody", b"?^aNn@&"))]) == []
    assert left_over(WHOLE, [("sheet.dcm", b"DICM" + page_with("for Ann", b"?^aNn@&"))]) == [
        "sheet.dcm: Ann"
    ]


def test_a_package_is_read_by_what_it_holds():
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as package:
        package.writestr("3D/model", "<m>" + "x" * 500 + " ACC-5512 </m>")
    assert left_over(WHOLE, [("meshes_mm.3mf", out.getvalue())]) == ["meshes_mm.3mf: ACC-5512"]
