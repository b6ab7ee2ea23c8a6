"""Archive objects before outside judges: dciodvfy, DCMTK's dsrdump, highdicom's own reader.

dciodvfy (dicom3tools, D. Clunie) checks IODs and modules, not templates; that the content follows
TID 1500 is told by highdicom's template reader, which refuses anything else.
"""

from __future__ import annotations

import io
import json
import re
import shutil
import subprocess
from dataclasses import replace

import highdicom as hd
import numpy as np
import pydicom
import pytest

from core.plans.history import sign
from core.plans.plan import Site
from core.pseudonym import pseudonymous
from core.sheet import concepts
from core.sheet.encapsulated import encapsulated_pdf
from core.sheet.structured_report import structured_report
from tests.sheet_material import IDENTITY, fixture_at, ledger_of, plan_with, round_jaw

PDF = b"%PDF-1.4\n1 0 obj << >> endobj\n%%EOF"
CT = "1.2.840.10008.5.1.4.1.1.2"
WHOLE = replace(
    IDENTITY,
    sex="O",
    study_time="093000",
    header={"StudyID": "1", "AccessionNumber": "", "ReferringPhysicianName": "", "StudyTime":
            "093000", "PatientSex": "O", "StudyDate": "20260914", "PatientBirthDate": "19610402"},
    sop_instances=tuple((CT, f"2.25.1000{k}") for k in range(3)),
)  # fmt: skip
BARE = replace(WHOLE, patient_name="", patient_id="", birth_date="", sex="", study_date="",
               study_time="", header={})  # fmt: skip
FOREIGN = replace(WHOLE, patient_name="Yamada^Tarou=山田^太郎=やまだ^たろう")


def ledger(identity, *, signed=False):
    plan = plan_with(fixture_at(20.0, "36"), fixture_at(160.0, "46"),
                     sites=(Site(id="site-35", tooth="35", station_mm=50.0),))  # fmt: skip
    # Both sides in one plan contradict an answer for one of them: nobody has answered here.
    plan = replace(plan, side_check=None)
    if signed:
        plan = sign(plan, name="Lee Marsh", role="dentist", at="2026-11-24T09:00:00+00:00")
    return ledger_of(plan, identity=identity)


def made(identity=WHOLE, **more):
    rows = ledger(identity, **more)
    return rows, structured_report(rows), encapsulated_pdf(rows, PDF)


def tool(name, tmp_path, data):
    if shutil.which(name) is None:
        pytest.skip(f"{name} is not installed: Debian package dicom3tools or dcmtk")
    path = tmp_path / "object.dcm"
    path.write_bytes(data)
    done = subprocess.run([name, str(path)], capture_output=True, text=True, check=False)
    return done.returncode, done.stdout + done.stderr


CASES = {
    "draft": {},
    "signed": {"signed": True},
    "without type 2 fields": {"identity": BARE},
    "other scripts": {"identity": FOREIGN},
}


@pytest.mark.parametrize("case", CASES)
@pytest.mark.parametrize("which", [1, 2], ids=["report", "sheet"])
def test_dciodvfy_finds_no_error(tmp_path, case, which):
    _, said = tool("dciodvfy", tmp_path, made(**CASES[case])[which])
    assert re.search(r"^(Comprehensive3DSR|EncapsulatedPDF)$", said, flags=re.MULTILINE)
    assert "Error" not in said


def test_dciodvfy_would_find_one(tmp_path):
    """The judge is awake: without its type 1 UID the object is refused."""
    dataset = pydicom.dcmread(io.BytesIO(made()[1]))
    del dataset.StudyInstanceUID
    out = io.BytesIO()
    dataset.save_as(out)
    _, said = tool("dciodvfy", tmp_path, out.getvalue())
    assert "Error" in said


def test_a_pseudonymous_case_passes_too(tmp_path):
    volume = replace(round_jaw(voxel_mm=2.0), identity=WHOLE)
    _, _, rows = pseudonymous(ledger(WHOLE).plan, volume, ledger(WHOLE), secret=b"0123456789abcdef")
    for data in (structured_report(rows), encapsulated_pdf(rows, PDF)):
        _, said = tool("dciodvfy", tmp_path, data)
        assert "Error" not in said


@pytest.mark.parametrize(("signed", "words"), [(False, "UNVERIFIED"), (True, "VERIFIED")])
def test_dsrdump_reads_the_report(tmp_path, signed, words):
    rows, report, _ = made(signed=signed)
    status, said = tool("dsrdump", tmp_path, report)
    assert status == 0
    assert re.search(rf"Verification Flag\s*: {words}$", said, flags=re.MULTILINE)
    assert ("DRAFT - not signed off" in said) is not signed
    for m in rows.measurements:
        if m.value is not None and not m.reading.upper_bound:
            after = said.partition(f'"{m.id}"')[0].rstrip().splitlines()
            number = float(re.search(r'="(-?[\d.]+)" \(mm,UCUM', after[-2])[1])
            assert number == round(m.value, 4)


def read(report):
    return hd.sr.Comprehensive3DSR.from_dataset(pydicom.dcmread(io.BytesIO(report)))


def identifier(measurement):
    items = [c for c in measurement[0].ContentSequence if c.name.value == "112039"]
    return items[0].value


def test_highdicom_reads_back_the_ledgers_numbers_and_points():
    rows, report, _ = made()
    groups = read(report).content.get_image_measurement_groups()
    assert [g.tracking_identifier for g in groups] == ["36", "46", "site-35"]
    numbers = {identifier(m): m for g in groups for m in g.get_measurements()}
    written = {r["id"]: r for r in json.loads(rows.to_json())["measurements"]}
    measured = {m.id for m in rows.measurements if m.value is not None
                and not m.reading.upper_bound}  # fmt: skip
    assert set(numbers) == measured
    for key, number in numbers.items():
        row = written[key]
        assert float(number.value) == row["value_mm"]
        assert number.unit.value == "mm"
        if row["witness"] is not None:
            (points,) = number.referenced_coordinates
            assert points.frame_of_reference_uid == WHOLE.frame_of_reference_uid
            # SCOORD3D holds 32-bit floats (PS3.3 C.18.9).
            np.testing.assert_allclose(points.value, np.array(row["witness"]), atol=1e-4)


def test_what_was_not_assessed_is_in_the_report():
    rows, report, _ = made()
    groups = read(report).content.get_image_measurement_groups()
    said = [e for g in groups for e in g.get_qualitative_evaluations()]
    missing = [m for m in rows.measurements if m.value is None or m.reading.upper_bound]
    assert missing
    assert len(said) == len(missing)


def test_sites_are_coded_by_tooth_with_its_side():
    _, report, _ = made()
    groups = read(report).content.get_image_measurement_groups()
    sites = [g.finding_sites[0] for g in groups]
    assert [s.topographical_modifier for s in sites] == [None] * 3
    assert [s.laterality.meaning for s in sites] == ["Left", "Right", "Left"]
    assert [s.value.value for s in sites] == ["89625000", "28480000", "24573005"]


def test_tooth_codes_are_those_of_pydicoms_snomed_table():
    """pydicom's dictionary of PS3.16 codes names every tooth in words of its own."""
    from pydicom.sr.codedict import codes

    names = ("CentralIncisor", "LateralIncisor", "Canine", "FirstPremolar", "SecondPremolar",
             "FirstMolar", "SecondMolar", "ThirdMolar")  # fmt: skip
    quadrants = {"1": "MaxillaryRight", "2": "MaxillaryLeft", "3": "MandibularLeft",
                 "4": "MandibularRight"}  # fmt: skip
    for iso, code in concepts.TEETH.items():
        name = f"StructureOf{quadrants[iso[0]]}{names[int(iso[1]) - 1]}Tooth"
        assert getattr(codes.SCT, name).value == code, iso


def test_the_sheet_comes_back_out_byte_for_byte():
    _, _, data = made()
    dataset = pydicom.dcmread(io.BytesIO(data))
    assert dataset.EncapsulatedDocument[: dataset.EncapsulatedDocumentLength] == PDF
    assert len(dataset.EncapsulatedDocument) % 2 == 0
    assert dataset.StudyInstanceUID == WHOLE.study_uid
    assert dataset.SeriesInstanceUID != WHOLE.series_uid
    assert dataset.PatientID == "S-0107"


def test_the_upper_jaw_has_a_palate_in_the_report_too():
    rows = ledger(WHOLE)
    plan = replace(rows.plan, jaw="upper", fixtures=(replace(rows.plan.fixtures[0], tooth="26"),),
                   sites=())  # fmt: skip
    inner = replace(rows.measurements[0], id="36/clearance/bone surface/lingual",
                    target="bone surface", details={"side": "lingual"})  # fmt: skip
    # 26 stands at the patient's left, as the material's first fixture does.
    text = structured_report(replace(rows, plan=plan, measurements=(inner,)))
    assert b"palatal" in text
    assert b"lingual" not in text.replace(b"36/clearance/bone surface/lingual", b"")
