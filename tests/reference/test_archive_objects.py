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

from core.measurement_kinds import MeasurementKind
from core.plans.history import sign, with_entry
from core.plans.plan import Site
from core.pseudonym import pseudonymous
from core.sheet import concepts
from core.sheet.encapsulated import encapsulated_pdf
from core.sheet.structured_report import structured_report
from tests.details import details_of
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
    sizes = {f"{f.id}/size/{what}" for f in rows.plan.fixtures
             for what in ("length", "diameter", "platform", "apex")}  # fmt: skip
    assert set(numbers) == measured | sizes
    for key in measured:
        number, row = numbers[key], written[key]
        assert float(number.value) == row["value_mm"]
        assert number.unit.value == "mm"
        if row["witness"] is not None:
            (points,) = number.referenced_coordinates
            assert points.frame_of_reference_uid == WHOLE.frame_of_reference_uid
            # SCOORD3D holds 32-bit floats (PS3.3 C.18.9).
            np.testing.assert_allclose(points.value, np.array(row["witness"]), atol=1e-4)


def beside(measurement):
    """Name's code → value, of what else a number says."""
    found = {}
    for item in measurement[0].ContentSequence:
        if item.RelationshipType != "HAS PROPERTIES" or item.ValueType == "SCOORD3D":
            continue
        if item.ValueType == "NUM":
            value = float(item.MeasuredValueSequence[0].NumericValue)
        elif item.ValueType == "CODE":
            value = item.ConceptCodeSequence[0].CodeValue
        else:
            value = item.TextValue
        found[item.name.value] = value
    return found


def test_each_number_says_limit_source_at_least_and_k():
    rows, report, _ = made()
    groups = read(report).content.get_image_measurement_groups()
    numbers = {identifier(m): beside(m) for g in groups for m in g.get_measurements()}
    written = {r["id"]: r for r in json.loads(rows.to_json())["measurements"]}
    judged = [r for r in written.values() if r["limit_mm"] and r["value_kind"] == "measured"]
    assert judged
    for row in judged:
        said = numbers[row["id"]]
        assert said["limit"] == row["limit_mm"]
        assert said["limit-source"] == row["limit_source"]
        assert said["at-least"] == row["at_least_mm"]
        assert said["coverage-factor"] == 2
        assert said["value-kind"] == "measured"
    widths = [said["crest-depth"] for key, said in numbers.items() if "ridge_width" in key]
    assert sorted(widths) == [1.0, 3.0]


def test_a_fixtures_size_and_position_are_in_its_group():
    rows, report, _ = made()
    group = read(report).content.get_image_measurement_groups()[0]
    numbers = {identifier(m): m for m in group.get_measurements()}
    fixture = rows.plan.fixtures[0]
    assert float(numbers["36/size/length"].value) == fixture.size.length_mm
    assert float(numbers["36/size/diameter"].value) == fixture.size.diameter_mm
    assert float(numbers["36/size/apex"].value) == fixture.size.apical
    (line,) = numbers["36/size/length"].referenced_coordinates
    np.testing.assert_allclose(line.value, [fixture.platform, fixture.apex], atol=1e-4)


def private(items):
    """Every private code below, with its meaning."""
    for item in items:
        for keyword in ("ConceptNameCodeSequence", "ConceptCodeSequence"):
            for code in item.get(keyword, ()):
                if code.CodingSchemeDesignator == concepts.PRIVATE:
                    yield code.CodeValue, code.CodeMeaning
        yield from private(item.get("ContentSequence", ()))


def test_every_private_code_is_written_out_and_a_published_one_is_as_pydicom_has_it():
    from pydicom.sr.codedict import codes

    report = pydicom.dcmread(io.BytesIO(made()[1]))
    used = set(private(report.ContentSequence))
    assert len(used) > 8
    for code, meaning in used:
        assert concepts.scheme()[code][0] == meaning
    assert all(len(c) <= 16 and len(m) <= 64 and d for c, (m, d) in concepts.scheme().items())
    for ours, theirs in ((concepts.LENGTH, codes.SCT.Length), (concepts.DIAMETER,
            codes.SCT.Diameter), (concepts.COMMENT, codes.DCM.Comment)):  # fmt: skip
        assert (ours.value, ours.scheme_designator) == (theirs.value, theirs.scheme_designator)


def test_every_kind_of_row_has_its_codes():
    for kind in MeasurementKind:
        assert concepts.name_of(kind).value
        assert concepts.method_of(kind).scheme_designator == concepts.PRIVATE


def test_one_plan_has_one_series_and_each_report_names_the_one_before():
    plan = with_entry(ledger(WHOLE).plan, who="LM", when="2026-11-24T08:00:00+00:00", what="set")
    first = replace(ledger(WHOLE), plan=plan, plan_fingerprint="sha256:1")
    later = replace(
        first, plan_fingerprint="sha256:2", made_at="2026-11-25T10:00:00+00:00",
        plan=with_entry(plan, who="LM", when="2026-11-25T08:00:00+00:00", what="moved"),
    )  # fmt: skip
    old = structured_report(first)
    new = pydicom.dcmread(io.BytesIO(structured_report(later, predecessor=old)))
    old = pydicom.dcmread(io.BytesIO(old))
    assert new.SeriesInstanceUID == old.SeriesInstanceUID
    assert new.SOPInstanceUID != old.SOPInstanceUID
    assert new.InstanceNumber != old.InstanceNumber
    (study,) = new.PredecessorDocumentsSequence
    named = study.ReferencedSeriesSequence[0].ReferencedSOPSequence[0]
    assert named.ReferencedSOPInstanceUID == old.SOPInstanceUID
    assert "PredecessorDocumentsSequence" not in old
    other = replace(first, plan=replace(plan, history=()), plan_fingerprint="sha256:3")
    another = pydicom.dcmread(io.BytesIO(structured_report(other)))
    assert another.SeriesInstanceUID != old.SeriesInstanceUID


def test_a_report_of_another_study_and_a_broken_one_are_no_predecessor():
    rows = ledger(WHOLE)
    strange = structured_report(ledger(replace(WHOLE, study_uid="2.25.77")))
    for data in (strange, b"not dicom", structured_report(rows)):
        made_now = pydicom.dcmread(io.BytesIO(structured_report(rows, predecessor=data)))
        assert "PredecessorDocumentsSequence" not in made_now


def test_the_description_of_the_study_is_kept():
    for data in made(replace(WHOLE, study_description="Lower jaw"))[1:]:
        assert pydicom.dcmread(io.BytesIO(data)).StudyDescription == "Lower jaw"
        assert "StudyDescription" not in pydicom.dcmread(io.BytesIO(made()[1]))


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
                    target="bone surface",
                    details=details_of("clearance", {"side": "lingual"}))  # fmt: skip
    # 26 stands at the patient's left, as the material's first fixture does.
    text = structured_report(replace(rows, plan=plan, measurements=(inner,)))
    assert b"palatal" in text
    assert b"lingual" not in text.replace(b"36/clearance/bone surface/lingual", b"")
