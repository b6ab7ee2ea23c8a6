"""Archive objects: what they take over from the scan, and what they refuse."""

from __future__ import annotations

import io
from dataclasses import replace

import pydicom
import pytest

from core.errors import OutputError
from core.plans.history import sign
from core.sheet.encapsulated import encapsulated_pdf
from core.sheet.structured_report import structured_report
from core.sheet.study import own_uid
from tests.sheet_material import IDENTITY, fixture_at, ledger_of, plan_with

CT = "1.2.840.10008.5.1.4.1.1.2"
WHOLE = replace(IDENTITY, sop_instances=((CT, "2.25.11"), (CT, "2.25.12")))
PLAN = plan_with(fixture_at(20.0, "36"))


def read(data):
    return pydicom.dcmread(io.BytesIO(data))


def both(ledger):
    return read(structured_report(ledger)), read(encapsulated_pdf(ledger, b"%PDF-1.4"))


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"study_uid": ""}, "StudyInstanceUID"),
        ({"series_uid": "not a uid"}, "SeriesInstanceUID"),
        ({"study_uid": "1." * 40 + "1"}, "StudyInstanceUID"),
        ({"study_uid": "1.02.3"}, "StudyInstanceUID"),
        ({"sop_instances": ()}, "SOPInstanceUID"),
        ({"sop_instances": (("", "2.25.1"),)}, "SOPClassUID"),
    ],
)
def test_a_missing_type_1_field_is_refused_by_name(change, field):
    ledger = ledger_of(PLAN, identity=replace(WHOLE, **change))
    for make in (structured_report, lambda rows: encapsulated_pdf(rows, b"%PDF-1.4")):
        with pytest.raises(OutputError) as refusal:
            make(ledger)
        assert refusal.value.code == "archive-field-missing"
        assert refusal.value.fields["field"] == field
        assert field in str(refusal.value)


def test_points_need_a_frame_of_reference_a_printed_sheet_does_not():
    ledger = ledger_of(PLAN, identity=replace(WHOLE, frame_of_reference_uid=""))
    with pytest.raises(OutputError) as refusal:
        structured_report(ledger)
    assert refusal.value.fields["field"] == "FrameOfReferenceUID"
    assert read(encapsulated_pdf(ledger, b"%PDF-1.4")).StudyInstanceUID == WHOLE.study_uid


def test_missing_type_2_fields_are_there_and_empty():
    bare = replace(WHOLE, patient_name="", patient_id="", birth_date="", study_date="")
    for dataset in both(ledger_of(PLAN, identity=bare)):
        for name in (
            "PatientName",
            "PatientID",
            "PatientBirthDate",
            "PatientSex",
            "StudyDate",
            "StudyTime",
            "StudyID",
            "AccessionNumber",
            "ReferringPhysicianName",
        ):
            assert name in dataset, name
            assert not dataset[name].value, name


def test_the_patients_identity_goes_over_unchanged():
    identity = replace(WHOLE, patient_name="Müller^Ærø", header={"PatientSex": "F"})
    for dataset in both(ledger_of(PLAN, identity=identity)):
        assert dataset.PatientName == "Müller^Ærø"
        assert dataset.PatientBirthDate == "19610402"
        assert dataset.PatientSex == "F"
        assert dataset.StudyDate == "20260914"


def test_draft_until_signed_and_draft_again_after_an_edit():
    signed = sign(PLAN, name="Lee Marsh", role="dentist", at="2026-11-24T09:00:00+00:00")
    edited = replace(signed, midline=(0.0, -25.0, 30.0))
    for plan, flag in ((PLAN, "UNVERIFIED"), (signed, "VERIFIED"), (edited, "UNVERIFIED")):
        for dataset in both(ledger_of(plan, identity=WHOLE)):
            assert dataset.VerificationFlag == flag
            assert ("DRAFT" in dataset.SeriesDescription) is (flag == "UNVERIFIED")
    report, _ = both(ledger_of(signed, identity=WHOLE))
    assert report.VerifyingObserverSequence[0].VerifyingObserverName == "Lee Marsh^"


def test_no_verdict_and_no_impression_is_written():
    text = str(read(structured_report(ledger_of(PLAN, identity=WHOLE))))
    for words in ("meets limit", "below limit", "too near", "Impression", "Conclusion"):
        assert words not in text


def test_an_empty_ledger_makes_no_report():
    with pytest.raises(OutputError) as refusal:
        structured_report(ledger_of(plan_with(), identity=WHOLE))
    assert refusal.value.code == "archive-nothing-to-report"


def test_the_same_ledger_makes_the_same_object_another_moment_another():
    ledger = ledger_of(PLAN, identity=WHOLE)
    assert structured_report(ledger) == structured_report(ledger)
    later = replace(ledger, made_at="2026-11-24T10:00:01+00:00")
    assert own_uid(ledger, "x") != own_uid(later, "x")
    assert len(own_uid(ledger, "x")) <= 64
