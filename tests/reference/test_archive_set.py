"""All archive objects of a case before outside judges: dciodvfy, dcentvfy (dicom3tools, D. Clunie).

dciodvfy checks each object by itself, dcentvfy whether patient, study and series agree in all.
"""

from __future__ import annotations

import io
import re
import shutil
import subprocess
from dataclasses import replace

import highdicom as hd
import numpy as np
import pydicom
import pytest
import trimesh
from PIL import Image

from core.errors import OutputError
from core.plans.history import sign
from core.sheet.encapsulated import encapsulated_pdf, encapsulated_stl
from core.sheet.key_pictures import MOST_PIXELS, key_picture_files
from core.sheet.mesh import planned_bodies, stl
from core.sheet.structured_report import structured_report
from tests.reference.test_archive_objects import PDF, WHOLE, ledger

KINDS = r"^(Comprehensive3DSR|EncapsulatedPDF|EncapsulatedSTL|SCImage|KeyObjectSelectionDocument)$"


def picture(width, height):
    out = io.BytesIO()
    grey = np.linspace(0, 255, width * height).astype(np.uint8).reshape(height, width)
    Image.fromarray(grey).convert("RGB").save(out, format="PNG")
    return out.getvalue()


PICTURES = [("section-36.png", picture(301, 201)), ("panorama.png", picture(1600, 400))]


def objects(rows):
    bodies = planned_bodies(rows.plan).items()
    return {
        "measurements.dcm": structured_report(rows),
        "sheet.dcm": encapsulated_pdf(rows, PDF),
        "basis.dcm": encapsulated_pdf(rows, PDF, basis=True),
        **dict(key_picture_files(rows, PICTURES)),
        **{f"body-{name}.dcm": encapsulated_stl(rows, name, stl(mesh, name), number=number)
           for number, (name, mesh) in enumerate(bodies, start=1)},
    }  # fmt: skip


@pytest.fixture(scope="module")
def rows():
    return ledger(replace(WHOLE, study_description="Lower jaw"))


@pytest.fixture(scope="module")
def made(rows):
    return objects(rows)


@pytest.fixture(scope="module")
def folder(made, tmp_path_factory):
    out = tmp_path_factory.mktemp("objects")
    for name, data in made.items():
        (out / name).write_bytes(data)
    return out


def said_by(tool, *paths):
    if shutil.which(tool) is None:
        pytest.skip(f"{tool} is not installed: Debian package dicom3tools")
    done = subprocess.run([tool, *map(str, paths)], capture_output=True, text=True, check=False)
    return done.stdout + done.stderr


def read(data):
    return pydicom.dcmread(io.BytesIO(data))


def test_dciodvfy_finds_no_error_in_any(folder):
    for path in sorted(folder.iterdir()):
        said = said_by("dciodvfy", path)
        assert re.search(KINDS, said, flags=re.MULTILINE), path.name
        assert "Error" not in said, f"{path.name}: {said}"


def test_dciodvfy_finds_no_error_without_type_2_fields_or_under_a_signature(tmp_path):
    bare = replace(WHOLE, patient_name="", patient_id="", birth_date="", sex="", study_date="",
                   study_time="", header={})  # fmt: skip
    for identity, more in ((bare, {}), (WHOLE, {"signed": True})):
        for name, data in objects(ledger(identity, **more)).items():
            (tmp_path / name).write_bytes(data)
            assert "Error" not in said_by("dciodvfy", tmp_path / name), name


def test_dcentvfy_finds_one_patient_one_study_and_whole_series(folder):
    said = said_by("dcentvfy", *sorted(folder.iterdir()))
    assert "Error" not in said
    # Its table puts this one attribute into another entity for some kinds of object.
    others = [line for line in said.splitlines() if "<AccessionNumber> IE" not in line]
    assert others == []


def test_dcentvfy_would_find_another_patient(folder, tmp_path):
    other = pydicom.dcmread(folder / "sheet.dcm")
    other.PatientID = "another"
    other.save_as(tmp_path / "other.dcm")
    said = said_by("dcentvfy", folder / "measurements.dcm", tmp_path / "other.dcm")
    assert "PatientID" in said


def test_each_series_holds_one_kind_and_every_instance_a_number_of_its_own(made):
    series = {}
    for data in made.values():
        d = read(data)
        assert d.StudyDescription == "Lower jaw"
        assert d.StudyInstanceUID == WHOLE.study_uid
        assert "DRAFT" in d.SeriesDescription
        series.setdefault(d.SeriesInstanceUID, []).append(d)
    assert sorted({d.Modality for d in group}.pop() for group in series.values()) == [
        "DOC", "DOC", "KO", "M3D", "OT", "SR",
    ]  # fmt: skip
    for group in series.values():
        assert len({d.Modality for d in group}) == 1
        assert len({d.InstanceNumber for d in group}) == len(group)
        assert len({d.SOPInstanceUID for d in group}) == len(group)


def test_a_signed_sets_series_do_not_say_draft():
    rows = ledger(WHOLE)
    signed = sign(rows.plan, name="Lee Marsh", role="dentist", at="2026-11-24T09:00:00+00:00")
    for data in objects(replace(rows, plan=signed)).values():
        assert "DRAFT" not in read(data).SeriesDescription


def test_a_key_picture_is_the_picture(made):
    d = read(made["key-section-36.dcm"])
    original = np.asarray(Image.open(io.BytesIO(PICTURES[0][1])))
    np.testing.assert_array_equal(d.pixel_array, original)
    wide = read(made["key-panorama.dcm"])
    assert (wide.Columns, wide.Rows) == (MOST_PIXELS, MOST_PIXELS // 4)
    # Name and ID are drawn in.
    assert d.BurnedInAnnotation == wide.BurnedInAnnotation == "YES"


def test_the_selection_names_every_picture(made):
    document = hd.ko.KeyObjectSelectionDocument.from_dataset(read(made["key-selection.dcm"]))
    pictures = {read(data).SOPInstanceUID for name, data in made.items()
                if name in ("key-section-36.dcm", "key-panorama.dcm")}  # fmt: skip
    assert {document.resolve_reference(uid)[2] for uid in pictures} == pictures
    assert len(document.content.get_references()) == 2


def test_a_body_comes_back_in_the_scans_space_and_in_millimetres(rows, made):
    d = read(made["body-fixture-36.dcm"])
    data = d.EncapsulatedDocument[: d.EncapsulatedDocumentLength]
    mesh = trimesh.load(io.BytesIO(data), file_type="stl")
    fixture = rows.plan.fixtures[0]
    assert mesh.bounds == pytest.approx(planned_bodies(rows.plan)["fixture-36"].bounds, abs=1e-5)
    assert mesh.bounds[1][2] == pytest.approx(fixture.platform[2], abs=1e-5)
    assert d.MeasurementUnitsCodeSequence[0].CodeValue == "mm"
    assert d.FrameOfReferenceUID == WHOLE.frame_of_reference_uid
    assert d.MIMETypeOfEncapsulatedDocument == "model/stl"


def test_without_a_picture_there_is_no_selection(rows):
    with pytest.raises(OutputError) as refusal:
        key_picture_files(rows, [])
    assert refusal.value.code == "archive-no-picture"
