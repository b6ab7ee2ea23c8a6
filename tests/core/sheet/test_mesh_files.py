"""The laboratory's bodies: one number in list, names and page; a surface that is where bone is."""

from __future__ import annotations

import csv
import io
import xml.etree.ElementTree as ET
import zipfile
from dataclasses import replace

import numpy as np
import pypdf
import pytest
import trimesh

from core.errors import OutputError
from core.sheet.case import case_of, ready
from core.sheet.iso_surface import iso_surface, larger_pieces
from core.sheet.jaw_surface import AROUND_MM, MOST_PLACES, jaw_surface, step_mm
from core.sheet.laboratory import laboratory_pdf
from core.sheet.mesh_files import LIST, PACKAGE, mesh_files
from tests.sheet_material import RADIUS_MM, fixture_at, ledger_of, plan_with, round_jaw

NS = "{http://schemas.microsoft.com/3dmanufacturing/core/2015/02}"


def ball(radius, *, at=(20.3, 19.6, 20.1), size=41):
    i, j, k = np.indices((size, size, size), dtype=float)
    return radius - np.sqrt((i - at[0]) ** 2 + (j - at[1]) ** 2 + (k - at[2]) ** 2)


def solid(values, level=0.0):
    points, triangles = iso_surface(values, level)
    return trimesh.Trimesh(vertices=points, faces=triangles, process=False)


def test_a_balls_surface_is_closed_and_turned_outwards_and_as_large():
    mesh = solid(ball(12.0))
    assert mesh.is_watertight
    assert mesh.is_winding_consistent
    assert mesh.volume == pytest.approx(4 / 3 * np.pi * 12.0**3, rel=0.01)
    assert np.abs(np.linalg.norm(mesh.vertices - (20.3, 19.6, 20.1), axis=1) - 12.0).max() < 0.05


def test_a_corner_exactly_on_the_level_leaves_no_hole():
    values = np.full((5, 5, 5), -1.0)
    values[2, 2, 2] = 1.0
    values[2, 2, 3] = 0.0
    mesh = solid(values)
    mesh.merge_vertices()
    assert mesh.is_watertight


def test_there_is_no_surface_where_nothing_was_scanned():
    values = ball(12.0)
    values[:20] = np.nan
    points, _ = iso_surface(values, 0.0)
    assert points[:, 0].min() >= 20.0
    assert not solid(values).is_watertight


def test_specks_of_noise_are_left_out():
    values = np.maximum(ball(12.0), ball(1.5, at=(3.0, 3.0, 3.0)))
    points, triangles = larger_pieces(*iso_surface(values, 0.0), 0.05)
    assert trimesh.Trimesh(points, triangles, process=False).body_count == 1
    assert points.min() > 7.0


def test_many_fixtures_make_a_coarser_surface_and_no_larger_file():
    assert step_mm(np.array([36.0, 36.0, 44.0])) == 0.6
    whole = np.array([80.0, 70.0, 45.0])
    assert np.prod(whole / step_mm(whole)) <= MOST_PLACES


@pytest.fixture(scope="module")
def case():
    plan = plan_with(fixture_at(20.0, "36"))
    made = case_of(
        plan, round_jaw(voxel_mm=1.0), ledger_of(plan), without_viewing=True, window=(0, 1)
    )
    return ready(made)


@pytest.fixture(scope="module")
def files(case):
    return dict(mesh_files(case))


def listed(files):
    return list(csv.DictReader(io.StringIO(files[LIST].decode("utf-8-sig"))))


def test_the_surface_lies_where_the_bone_ends(case):
    """The material: bone within 6 mm of the circle and below z = 20, see `round_jaw`."""
    mesh = jaw_surface(case.plan, case.volume, case.levels)
    outside = np.abs(np.hypot(mesh.vertices[:, 0], mesh.vertices[:, 1]) - RADIUS_MM)
    off = np.minimum(np.abs(outside - 6.0), np.abs(mesh.vertices[:, 2] - 20.0))
    assert np.median(off) < 0.4
    fixture = case.plan.fixtures[0]
    assert (np.abs(mesh.vertices - fixture.platform).max(axis=0) <= AROUND_MM + 8.5).all()


def test_levels_that_are_not_proven_make_no_surface_and_the_list_says_why(case):
    unknown = replace(case, levels=None)
    with pytest.raises(OutputError) as refusal:
        jaw_surface(case.plan, case.volume, None)
    last = listed(dict(mesh_files(unknown)))[-1]
    assert (last["body"], last["file"], last["note"]) == (
        "bone-and-teeth", "", str(refusal.value),
    )  # fmt: skip


def test_list_files_package_and_page_have_the_same_numbers(case, files):
    rows = listed(files)
    assert [int(row["number"]) for row in rows] == list(range(1, len(rows) + 1))
    labels = [f"{int(row['number']):02d}-{row['body']}" for row in rows]
    assert [row["file"] for row in rows] == [f"{label}_LPS-mm.stl" for label in labels]
    assert set(files) == {row["file"] for row in rows} | {LIST, PACKAGE}
    with zipfile.ZipFile(io.BytesIO(files[PACKAGE])) as package:
        model = ET.fromstring(package.read("3D/3dmodel.model"))
    assert [o.get("name") for o in model.iter(f"{NS}object")] == labels
    page = pypdf.PdfReader(io.BytesIO(laboratory_pdf(case))).pages[0].extract_text()
    flat = page.replace("\n", " ").replace("  ", " ")
    for label in labels:
        assert label in flat, label


def test_the_package_says_millimetres_and_holds_the_very_bodies(files):
    with zipfile.ZipFile(io.BytesIO(files[PACKAGE])) as package:
        assert package.testzip() is None
        assert {i.filename for i in package.infolist()} >= {"[Content_Types].xml", "_rels/.rels"}
        model = ET.fromstring(package.read("3D/3dmodel.model"))
    assert model.get("unit") == "millimeter"
    for row, held in zip(listed(files), model.iter(f"{NS}object"), strict=True):
        loose = trimesh.load(io.BytesIO(files[row["file"]]), file_type="stl")
        points = np.array(
            [[float(v.get(axis)) for axis in "xyz"] for v in held.iter(f"{NS}vertex")]
        )
        faces = list(held.iter(f"{NS}triangle"))
        assert len(faces) == len(loose.faces) == int(row["triangles"])
        assert max(int(t.get("v3")) for t in faces) < len(points)
        np.testing.assert_allclose([points.min(0), points.max(0)], loose.bounds, atol=1e-3)
        assert (held.get("type") == "model") == (row["closed"] == "yes")
    solid_ids = {o.get("id") for o in model.iter(f"{NS}object") if o.get("type") == "model"}
    assert {i.get("objectid") for i in model.iter(f"{NS}item")} == solid_ids


def test_the_same_bodies_give_the_same_bytes(case, files):
    assert dict(mesh_files(case))[PACKAGE] == files[PACKAGE]
