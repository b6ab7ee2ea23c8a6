"""Without a name: nothing of the scan's identity is left, every number is."""

from __future__ import annotations

import io
import re
from dataclasses import replace

import numpy as np
import pypdf
import pytest

from core.findings import Finding
from core.plans.history import sign
from core.plans.plan import Declaration, ScanTie
from core.pseudonym import Pseudonym, identifying, left_over, pseudonymous
from core.sheet.folder import write_folder
from core.sheet.parts import PARTS
from core.sheet.record import RecordSettings
from core.structures import PointMarks
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
    )  # fmt: skip
    mark = PointMarks(id="mark-1", kind="mark", points=[(20, 0, 12)], label="Quarry's canine")
    plan = sign(plan, name="Ann Tidewater", role="dentist", at="2026-09-20T09:00:00+00:00")
    ledger = ledger_of(plan, identity=WHOLE)
    plan = replace(plan, structures=(*plan.structures, mark))
    found = Finding("scan_several_series", "caution", {"keys": "Quarry 1.2.826.777.2"})
    ledger = replace(ledger, plan=plan, findings=(found,))
    return plan, replace(volume, findings=(found,)), ledger


def unpacked(path):
    """Bytes of a file, and for a PDF its text and metadata too."""
    data = path.read_bytes()
    if path.suffix == ".pdf":
        reader = pypdf.PdfReader(io.BytesIO(data))
        data += "\n".join(page.extract_text() for page in reader.pages).encode()
        data += str(reader.metadata).encode()
        data += b"".join(page.get_contents().get_data() for page in reader.pages)
    return data


def test_no_identifying_string_is_left_in_any_file(case, tmp_path):
    plan, volume, ledger = case
    ledger = replace(ledger, findings=())  # its sentence needs fields of its own
    volume = replace(volume, findings=())
    settings = RecordSettings(secret=SECRET)
    files = write_folder(plan, volume, ledger, tmp_path, settings=settings).files
    assert {f.suffix for f in files} == {".pdf", ".dcm", ".stl", ".png", ".csv", ".json"}
    assert len(files) >= 14
    words = identifying(WHOLE)
    assert {"QUARRY", "S-0107", "19610402", "1961-04-02", "20260914", "1.2.826.777.2",
            "Harbour practice", "Tidewater", "ACC-5512"} <= set(words)  # fmt: skip
    contents = [(f.name, unpacked(f)) for f in files]
    assert left_over(WHOLE, contents) == []
    for name, data in contents:
        assert b"quarry" not in data.lower(), name
        assert b"Ann" not in data or b"Annot" in data, name


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


def test_uids_are_replaced_consistently_and_intervals_stay(case):
    plan, volume, ledger = pseudonymous(*case, secret=SECRET)
    assert plan.scan.series_uid == volume.identity.series_uid == ledger.scan.series_uid
    assert re.fullmatch(r"2\.25\.\d{1,39}", plan.scan.series_uid)
    uids = {volume.identity.series_uid, volume.identity.study_uid,
            volume.identity.frame_of_reference_uid}  # fmt: skip
    assert len(uids) == 3
    assert plan.interpreted_at > volume.identity.study_date
    from datetime import date

    old = date.fromisoformat("2026-09-16") - date.fromisoformat("2026-09-14")
    new = date.fromisoformat(plan.interpreted_at) - date.fromisoformat(volume.identity.study_date)
    assert new == old


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
