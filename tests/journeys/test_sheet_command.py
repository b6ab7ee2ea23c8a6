"""`sounding sheet` and `sounding demo`: the whole folder of a case, and what outside judges say.

The judges: dciodvfy (dicom3tools) on the IODs, DCMTK's dsrdump and highdicom's template reader on
the report, trimesh on the meshes, pypdf on the pages.
"""

from __future__ import annotations

import io
import json
import re
import shutil
import subprocess

import highdicom as hd
import numpy as np
import pydicom
import pypdf
import pytest
import trimesh

import sample_volumes
from app.cli.command_line import run
from core.pseudonym import identifying
from core.scan import open_scan
from core.sheet.left_over import left_over

SAMPLES = {"lower_left_36": "36", "upper_right_15": "15"}
SHEET = {
    "sheet.pdf", "basis.pdf", "sheet.csv", "sheet.csv.schema.json",
    "sheet.ledger.schema.json", "panorama.png",
}  # fmt: skip
RECORD = {
    "drill-card.pdf", "check-film.pdf", "checklist.pdf", "patient.pdf", "measurements.dcm",
    "sheet.dcm", "basis.dcm", "laboratory.pdf", "key-panorama.dcm", "key-selection.dcm",
    "meshes.csv", "meshes_mm.3mf",
}  # fmt: skip
LEDGER = {"sheet.ledger.json"}


def arguments(sample, out, *more, plan=""):
    plan_file = sample_volumes.path(f"{sample}{plan}.plan.json")
    scan = sample_volumes.path(sample)
    return ["sheet", str(plan_file), "--scan", str(scan), "--out", str(out), *more]


@pytest.fixture(scope="module")
def folders(tmp_path_factory):
    made = {}
    for sample in SAMPLES:
        out = tmp_path_factory.mktemp(sample) / "out"
        assert run(arguments(sample, out)) == 0
        made[sample] = out
    return made


def names(folder):
    return {p.name for p in folder.iterdir()}


@pytest.mark.slow
@pytest.mark.parametrize("sample", SAMPLES)
def test_one_command_makes_the_complete_folder(folders, sample):
    found = names(folders[sample])
    meshes = {n for n in found if n.endswith(".stl")}
    bodies = {n for n in found if n.startswith("body-")}
    tooth = SAMPLES[sample]
    own = {f"section-{tooth}.png", f"key-section-{tooth}.dcm"}
    assert found - meshes - bodies == SHEET | RECORD | LEDGER | own
    assert f"body-fixture-{tooth}.dcm" in bodies
    names_of = {n.partition("-")[2] for n in meshes}
    assert {f"fixture-{tooth}_LPS-mm.stl", "letter-R_LPS-mm.stl"} <= names_of
    assert "bone-and-teeth_LPS-mm.stl" in names_of


@pytest.mark.slow
@pytest.mark.parametrize("sample", SAMPLES)
@pytest.mark.parametrize("name", ["measurements.dcm", "sheet.dcm"])
def test_dciodvfy_finds_no_error_in_any_object(folders, sample, name):
    if shutil.which("dciodvfy") is None:
        pytest.skip("dciodvfy is not installed: Debian package dicom3tools")
    path = str(folders[sample] / name)
    done = subprocess.run(["dciodvfy", path], capture_output=True, text=True, check=False)
    said = done.stdout + done.stderr
    assert re.search(r"^(Comprehensive3DSR|EncapsulatedPDF)$", said, flags=re.MULTILINE)
    assert "Error" not in said


@pytest.mark.slow
@pytest.mark.parametrize("sample", SAMPLES)
def test_dsrdump_and_the_template_reader_find_every_number_of_the_ledger(folders, sample):
    path = folders[sample] / "measurements.dcm"
    ledger = json.loads((folders[sample] / "sheet.ledger.json").read_text("utf-8"))
    rows = {r["id"]: r for r in ledger["measurements"] if r.get("fixture")}
    report = hd.sr.Comprehensive3DSR.from_dataset(pydicom.dcmread(path))
    found = {}
    for group in report.content.get_image_measurement_groups():
        for number in group.get_measurements():
            items = [c for c in number[0].ContentSequence if c.name.value == "112039"]
            found[items[0].value] = float(number.value)
    fixtures = {key: value for key, value in found.items() if key in rows}
    assert len(fixtures) > 20
    for key, value in fixtures.items():
        kept = rows[key]
        assert value == kept.get("value_mm", kept.get("value_deg")), key
    assert report.VerificationFlag == "UNVERIFIED"
    if shutil.which("dsrdump") is None:
        pytest.skip("dsrdump is not installed: Debian package dcmtk")
    done = subprocess.run(
        ["dsrdump", "+Pl", str(path)], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0
    assert "DRAFT - not signed off" in done.stdout
    for key, value in fixtures.items():
        after = done.stdout.partition(f'"{key}"')[0].rstrip().splitlines()
        assert float(re.search(r'="(-?[\d.]+)" \(', after[-2])[1]) == value, key


@pytest.mark.slow
@pytest.mark.parametrize("sample", SAMPLES)
def test_every_mesh_is_closed_and_the_fixture_stands_where_the_plan_says(folders, sample):
    truth = json.loads(sample_volumes.path(f"{sample}.plan.json").read_text("utf-8"))
    for path in folders[sample].glob("*.stl"):
        mesh = trimesh.load(path)
        if "bone-and-teeth" in path.name:
            # Open where its box ends.
            assert len(mesh.faces) > 5000
            continue
        assert mesh.is_watertight, path.name
        assert mesh.volume > 0, f"{path.name} is inside out"
    (fixture,) = truth["fixtures"]
    mesh = trimesh.load(folders[sample] / f"01-fixture-{fixture['id']}_LPS-mm.stl")
    way = mesh.center_mass - np.array(fixture["platform"])
    axis = np.array(fixture["towards_apex"]) / np.linalg.norm(fixture["towards_apex"])
    assert np.linalg.norm(way - (way @ axis) * axis) < 0.005
    length = np.ptp(mesh.vertices @ axis)
    assert length == pytest.approx(fixture["size"]["length_mm"], abs=1e-4)
    assert 0 < way @ axis < length


@pytest.mark.slow
@pytest.mark.parametrize("sample", SAMPLES)
def test_the_archive_holds_the_sheet_and_every_page_its_draft(folders, sample):
    held = pydicom.dcmread(folders[sample] / "sheet.dcm")
    pdf = held.EncapsulatedDocument[: held.EncapsulatedDocumentLength]
    assert pdf == (folders[sample] / "sheet.pdf").read_bytes()
    for path in folders[sample].glob("*.pdf"):
        for page in pypdf.PdfReader(path).pages:
            assert "draft" in page.extract_text().lower(), path.name


@pytest.mark.slow
@pytest.mark.parametrize("only", ["sheet", "record"])
def test_only_one_half(only, tmp_path, capsys):
    assert run(arguments("lower_left_36", tmp_path, "--only", only)) == 0
    found = names(tmp_path)
    assert bool(found & RECORD) is (only == "record")
    assert bool(found & SHEET) is (only == "sheet")
    told = capsys.readouterr().out
    assert "This does not mean it is safe to operate." in told
    assert all(name in told for name in found)


@pytest.mark.slow
def test_a_contradicting_plan_has_its_sheet_but_nothing_for_the_chair(tmp_path, capsys):
    assert run(arguments("lower_left_36", tmp_path, plan="_wrong")) == 0
    assert not {"measurements.dcm", "drill-card.pdf", "patient.pdf"} & names(tmp_path)
    assert "sheet.pdf" in names(tmp_path)
    told = capsys.readouterr().err
    assert "left out: report: TOOTH NUMBER AND SIDE DISAGREE" in told


@pytest.mark.slow
def test_a_pseudonymous_folder_of_a_real_sample_names_nobody(tmp_path, monkeypatch):
    monkeypatch.setattr("app.case.secret.secret_file", lambda: tmp_path / "pseudonym.key")
    out = tmp_path / "out"
    table, risks = tmp_path / "drills.csv", tmp_path / "risks.txt"
    table.write_text("name,diameter_mm,marks_mm\npilot,2.0,6 8 10\n")
    risks.write_text("Swelling.")
    more = ("--pseudonymous", "--drills", str(table), "--risks", str(risks))
    assert run(arguments("lower_left_36", out, *more)) == 0
    identity = open_scan(sample_volumes.path("lower_left_36")).identity
    assert "QUARRY" in identifying(identity)
    files = []
    for path in out.iterdir():
        data = path.read_bytes()
        files.append((path.name, data))
        if path.suffix == ".pdf":
            pages = pypdf.PdfReader(io.BytesIO(data)).pages
            files.append((path.name, "\n".join(p.extract_text() for p in pages).encode()))
    assert left_over(identity, files) == []
    text = pypdf.PdfReader(out / "drill-card.pdf").pages[0].extract_text()
    assert "pilot" in text
    assert "Swelling." in pypdf.PdfReader(out / "patient.pdf").pages[0].extract_text()


@pytest.mark.slow
def test_the_demo_writes_the_record_too(tmp_path, capsys):
    assert run(["demo", "--out", str(tmp_path / "out")]) == 0
    assert names(tmp_path / "out") >= SHEET | RECORD | LEDGER
    assert "measurements.dcm" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("option", "text", "told"),
    [("--drills", "name\npilot\n", "diameter_mm"), ("--risks", "", "it is empty")],
)
def test_a_bad_table_or_text_is_told_before_anything_is_measured(
    option, text, told, tmp_path, capsys
):
    (tmp_path / "bad").write_text(text)
    (tmp_path / "plan").write_text("no plan")
    given = [
        "sheet",
        str(tmp_path / "plan"),
        "--scan",
        str(tmp_path),
        "--out",
        str(tmp_path / "out"),
    ]
    assert run([*given, option, str(tmp_path / "bad")]) == 2
    assert told in capsys.readouterr().err
    assert not (tmp_path / "out").exists()


def test_an_unknown_part_is_told_in_one_line(capsys):
    assert run(["sheet", "p", "--scan", "s", "--out", "o", "--only", "film"]) == 2
    assert "--only" in capsys.readouterr().err
