"""The sample scans: their geometry is what the truth files say, by second ways of computing."""

from __future__ import annotations

import json
from typing import Any

import numpy as np
import pydicom
import pydicom.fileset
import pytest
import SimpleITK
import trimesh
import vtk
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.ndimage import map_coordinates
from scipy.spatial import cKDTree
from vtkmodules.util.numpy_support import numpy_to_vtk

import sample_volumes
from sample_volumes import upper_jaw
from sample_volumes.distances import balls, fixture_distance, floor_points, profile_of
from sample_volumes.lower_jaw import ARCH, LowerJaw
from sample_volumes.make_samples import (
    LOWER,
    LOWER_GRID,
    LOWER_POSE,
    UPPER,
    UPPER_GRID,
    UPPER_POSE,
)
from sample_volumes.plans import Case, fingerprint
from sample_volumes.report import lower_report, upper_report
from sample_volumes.shapes import both, round_cone, through
from sample_volumes.voxelise import Grid

NAMES = ("lower_left_36", "upper_right_15")


def load(name: str) -> Any:
    return json.loads(sample_volumes.path(name).read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def plain() -> Any:
    """A jaw without noise."""
    return sample_volumes.small_jaw(3, voxel_mm=0.3, noise_sd=0.0)


@given(
    st.floats(-60, 60),
    st.floats(-9, 12),
)
def test_station_and_offset_come_back(station: float, offset: float) -> None:
    x, y, _ = ARCH.place(station, offset)
    s, r = ARCH.stations(np.array([x]), np.array([y]))
    assert s[0] == pytest.approx(station, abs=1e-9)
    assert r[0] == pytest.approx(offset, abs=1e-9)


@given(st.floats(-55, 55).filter(lambda s: abs(s) > 0.01))
def test_travel_is_the_derivative_and_buccal_is_travel_cross_up(station: float) -> None:
    h = 1e-5
    slope = (ARCH.place(station + h) - ARCH.place(station - h)) / (2 * h)
    travel, buccal = ARCH.frame(station)
    assert travel == pytest.approx(slope, abs=1e-4)
    assert buccal == pytest.approx(np.cross(travel, [0, 0, 1]), abs=1e-12)
    assert travel[0] > -1e-9


def test_curve_through_marks_of_a_circle() -> None:
    """Closed form: radius 26 mm, five marks over 71 degrees, not-a-knot within 0.006 mm."""
    a = np.radians(np.linspace(0, 71, 5))
    line = through(26 * np.stack([np.cos(a), np.sin(a), 0 * a], axis=1))
    assert np.abs(np.linalg.norm(line, axis=1) - 26).max() < 0.0065


def test_rounded_edge_is_a_circle() -> None:
    """Closed form: a right-angled edge rounded by 2 mm passes (-2, -2) + 2 (cos, sin)."""
    a = np.linspace(0, np.pi / 2, 50)
    assert both(-2 + 2 * np.cos(a), -2 + 2 * np.sin(a), 2.0) == pytest.approx(0, abs=1e-12)


@settings(max_examples=30)
@given(st.integers(0, 2**32 - 1))
def test_round_cone_against_many_balls(seed: int) -> None:
    rng = np.random.default_rng(seed)
    line = np.cumsum(rng.normal(size=(3, 3)) * [2, 2, 5], axis=0)
    points = rng.normal(size=(40, 3)) * 8
    centres, radii = balls({"kind": "root", "points": line, "diameters_mm": (4.0, 2.0)})
    away = np.linalg.norm(points[:, None] - centres[None], axis=2) - radii
    assert round_cone(points, line, 4.0, 2.0) == pytest.approx(away.min(axis=1), abs=0.003)


def test_fixture_distance_against_a_mesh() -> None:
    """VTK's signed distance (vtkImplicitPolyDataDistance) to a revolved mesh of 360 facets."""
    size = {"diameter_mm": 4.5, "length_mm": 10.0, "platform_diameter_mm": 4.2,
            "apical_diameter_mm": 3.2, "taper_from_mm": 4.0}  # fmt: skip
    profile = profile_of(size)
    outline = np.vstack([[0, 0], profile[:, ::-1], [0, 10.0]])
    mesh = trimesh.creation.revolve(outline, sections=360)
    points = np.random.default_rng(5).uniform([-6, -6, -4], [6, 6, 14], size=(300, 3))
    surface = vtk.vtkPolyData()
    spots = vtk.vtkPoints()
    spots.SetData(numpy_to_vtk(mesh.vertices, deep=True))
    cells = vtk.vtkCellArray()
    for corners in mesh.faces:
        cells.InsertNextCell(3, [int(c) for c in corners])
    surface.SetPoints(spots)
    surface.SetPolys(cells)
    mesh_distance = vtk.vtkImplicitPolyDataDistance()
    mesh_distance.SetInput(surface)
    expected = np.array([mesh_distance.EvaluateFunction(p) for p in points])
    found = fixture_distance(points, np.zeros(3), np.array([0, 0, 1.0]), profile)
    assert found == pytest.approx(expected, abs=0.002)


def sampled_fixture(fixture: dict[str, Any]) -> Any:
    """Points all over a fixture's surface, about 0.05 mm apart."""
    axis = np.array(fixture["towards_apex"])
    profile = profile_of(fixture["size"])
    outline = np.vstack([[0, 0], profile, [profile[-1, 0], 0]])
    along = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(outline, axis=0), axis=1))])
    t = np.union1d(np.arange(0, along[-1], 0.05), along)  # corners are often the nearest
    depth, radius = (np.interp(t, along, outline[:, i]) for i in (0, 1))
    turn = np.radians(np.arange(0, 360, 1.5))
    side = np.linalg.svd(axis[None])[2][1:]
    ring = np.cos(turn)[:, None] * side[0] + np.sin(turn)[:, None] * side[1]
    spots = depth[:, None, None] * axis + radius[:, None, None] * ring
    return np.array(fixture["platform"]) + spots.reshape(-1, 3)


def centres_of(structure: dict[str, Any], fixture: dict[str, Any]) -> Any:
    if structure["kind"] == "floor":
        near = np.array(fixture["platform"]) + 8.0 * np.array(fixture["towards_apex"])
        return floor_points(np.array(structure["points"]), near), 0.0
    if structure["kind"] == "mark":
        return np.array(structure["points"]), 0.0
    return balls(structure)


def test_thin_plate_surface_of_a_plane_and_through_its_marks() -> None:
    """A plane comes back as itself, inside the hull of its marks only."""
    u, v = (a.ravel() for a in np.meshgrid(np.arange(-6.0, 7, 3), np.arange(-6.0, 7, 3)))
    marks = np.stack([u, v, 5 + 0.3 * u - 0.1 * v], axis=1)
    found = floor_points(marks, np.array([0, 0, 5.0]))
    assert found[:, 2] == pytest.approx(5 + 0.3 * found[:, 0] - 0.1 * found[:, 1], abs=1e-9)
    assert np.abs(found[:, :2]).max() <= 6 + 1e-9
    marks[:, 2] = 5 + np.cos(u / 3)
    found = floor_points(marks, np.array([0, 0, 5.0]))
    away = cKDTree(found).query(marks[np.hypot(u, v) < 5])[0]
    assert away.max() < 0.04


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("which", ["right", "wrong"])
def test_clearances_against_sampled_surfaces(name: str, which: str) -> None:
    """Brute force in 3D: nearest pair of fixture surface points and ball centres."""
    plan = load(f"{name}.plan.json" if which == "right" else f"{name}_wrong.plan.json")
    told = load(f"{name}.truth.json")["fixtures"][which]["clearances"]
    fixture = plan["fixtures"][0]
    tree = cKDTree(sampled_fixture(fixture))
    for structure in plan["structures"]:
        key = f"{fixture['id']}/clearance/{structure['id']}"
        if key in told:
            centres, radii = centres_of(structure, fixture)
            assert (tree.query(centres)[0] - radii).min() == pytest.approx(
                told[key]["value_mm"], abs=0.005
            )
    assert len(told) >= 2


def half_level(values: Any, low: float, high: float, step_mm: float) -> float:
    """Distance at which a profile first rises through the middle of two levels."""
    level = 0.5 * (low + high)
    at = int(np.argmax(values >= level))
    assert at > 0
    return float(at - (values[at] - level) / (values[at] - values[at - 1])) * step_mm


@pytest.mark.parametrize("row", range(5))
@pytest.mark.parametrize("end", [0, 1])
def test_painted_edges_lie_where_the_truth_says(plain: Any, row: int, end: int) -> None:
    """Half-way level of soft tissue and cortex on noise-free voxels, within 0.1 mm."""
    voxels, affine, truth = plain
    width = truth["site"]["widths"][row]
    edge = np.array(width["ends"][end])
    inward = np.array(width["ends"][1 - end]) - edge
    inward /= np.linalg.norm(inward)
    t = np.arange(-1.5, 1.5, 0.02)
    ijk = (edge + t[:, None] * inward - affine[:3, 3]) / affine[0, 0]
    values = map_coordinates(voxels.astype(float), ijk[:, ::-1].T, order=1)
    assert half_level(values, 40.0, 1500.0, 0.02) - 1.5 == pytest.approx(0, abs=0.1)


def test_phantom_is_the_same_for_the_same_seed() -> None:
    first = sample_volumes.small_jaw(7, voxel_mm=0.8)
    again = sample_volumes.small_jaw(7, voxel_mm=0.8)
    other = sample_volumes.small_jaw(8, voxel_mm=0.8)
    assert np.array_equal(first[0], again[0])
    assert first[2] == again[2]
    assert not np.array_equal(first[0], other[0])


def test_jaw_is_like_published_means() -> None:
    """Canal at the lower first molar: J Korean Acad Oral Maxillofac Radiol 1997;27:217-230
    (mean ± SD: buccal 6.6 ± 0.9, lingual 4.1 ± 1.1, lower border 8.8 ± 1.3 mm); undercut at
    2 mm above the canal: Chan 2011, Clin Oral Implants Res 22:201-206 (2.4 ± 1.1 mm,
    57.7 ± 10.1 degrees)."""
    truth = load("lower_left_36.truth.json")
    canal, hollow = truth["canal"], truth["site"]["hollow"]
    assert canal["to_buccal_mm"] == pytest.approx(6.6, abs=0.9)
    assert canal["to_lingual_mm"] == pytest.approx(4.1, abs=1.1)
    assert canal["to_lower_border_mm"] == pytest.approx(8.8, abs=1.3)
    assert hollow["depth_mm"] == pytest.approx(2.4, abs=1.1)
    assert hollow["angle_deg"] == pytest.approx(57.7, abs=10.1)
    assert truth["thin_place"]["plate_mm"] == pytest.approx(0.5, abs=0.02)


def slices(name: str) -> list[Any]:
    """Files of the scan's own series, lowest slice first."""
    uid = load(f"{name}.truth.json")["scan"]["series_uid"]
    found = []
    for file in sample_volumes.path(name).rglob("*"):
        if file.is_file() and file.suffix not in (".TXT", ".EXE", ".INF"):
            header = pydicom.dcmread(file, stop_before_pixels=True, force=False)
            if header.get("SeriesInstanceUID") == uid:
                found.append((float(header.ImagePositionPatient[2]), file))
    return [file for _, file in sorted(found)]


def close(found: Any, told: Any, where: str = "") -> None:
    """Every number of `found` stands in `told`, to a thousandth."""
    if isinstance(found, dict):
        for key, value in found.items():
            close(value, told[key], f"{where}/{key}")
    elif isinstance(found, list):
        assert len(found) == len(told), where
        for i, (a, b) in enumerate(zip(found, told, strict=True)):
            close(a, b, f"{where}/{i}")
    elif isinstance(found, float):
        assert found == pytest.approx(told, abs=1e-3), where
    else:
        assert found == told, where


@pytest.mark.parametrize("name", NAMES)
def test_committed_truth_and_plan_are_those_of_the_geometry(name: str) -> None:
    """Guards against a changed jaw with files of the old one beside it."""
    lower = name.startswith("lower")
    header, pose, grid = (
        (LOWER, LOWER_POSE, LOWER_GRID) if lower else (UPPER, UPPER_POSE, UPPER_GRID)
    )
    case = Case(
        header=header, pose=pose, grid=grid, stored=np.zeros((2, 2, 2), np.uint16),
        arch=ARCH if lower else upper_jaw.ARCH, up=-1.0 if lower else 1.0,
    )  # fmt: skip
    if lower:
        right, wrong, truth = lower_report(case, LowerJaw(), dense=False)
    else:
        right, wrong, truth = upper_report(case, upper_jaw.UpperJaw(), dense=False)
    close(truth, load(f"{name}.truth.json"))
    for plan, file in ((right, f"{name}.plan.json"), (wrong, f"{name}_wrong.plan.json")):
        told = load(file)
        plan["scan"]["fingerprint"] = told["scan"]["fingerprint"]
        close(plan, told)


def read_with_itk(name: str) -> Any:
    reader = SimpleITK.ImageSeriesReader()
    reader.SetFileNames([str(file) for file in slices(name)])
    return reader.Execute()


@pytest.mark.parametrize("name", NAMES)
def test_committed_scan(name: str) -> None:
    """SimpleITK (GDCM decoder) reads the grid and the values that plan and truth speak of."""
    truth = load(f"{name}.truth.json")
    everything = [f for f in sample_volumes.path(name).rglob("*") if f.is_file()]
    assert sum(f.stat().st_size for f in everything) < 12_000_000
    files = slices(name)
    assert len(files) == truth["scan"]["shape"][0]
    header = pydicom.dcmread(files[0], stop_before_pixels=True)
    image = read_with_itk(name)
    affine = np.array(truth["scan"]["affine"])
    assert image.GetSpacing() == pytest.approx([truth["scan"]["voxel_mm"]] * 3, abs=1e-9)
    assert image.GetOrigin() == pytest.approx(affine[:3, 3], abs=1e-9)
    assert image.GetDirection() == pytest.approx(np.eye(3).ravel())
    stored = SimpleITK.GetArrayFromImage(image).astype(int) - int(header.RescaleIntercept)
    grid = Grid(first_mm=tuple(affine[:3, 3]), shape=stored.shape, voxel_mm=affine[0, 0])
    for plan in (f"{name}.plan.json", f"{name}_wrong.plan.json"):
        tie = load(plan)["scan"]
        assert tie["series_uid"] == header.SeriesInstanceUID == truth["scan"]["series_uid"]
        assert tie["frame_of_reference_uid"] == header.FrameOfReferenceUID
        assert tie["fingerprint"] == fingerprint(stored.astype(np.uint16), grid)


def test_disc_has_what_real_discs_have() -> None:
    folder = sample_volumes.path("upper_right_15")
    names = {file.name for file in folder.iterdir()}
    assert {"DICOMDIR", "README.TXT", "AUTORUN.INF", "VIEWER.EXE"} <= names
    assert not (folder / "VIEWER.EXE").read_bytes().startswith(b"MZ")
    listed = pydicom.fileset.FileSet(folder / "DICOMDIR")
    series = {item.SeriesInstanceUID for item in listed}
    assert len(series) == 2
    assert len(listed) == len(slices("upper_right_15")) + 1
    kinds = [item.load().ImageType[2] for item in list(listed.find(SeriesNumber=99))]
    assert kinds == ["LOCALIZER"]


@pytest.mark.parametrize("name", NAMES)
def test_grey_levels_are_plausible(name: str) -> None:
    """Air, soft tissue and cortex as in cone-beam scans; a constant fill outside the round field;
    no level is exact, which is why nobody may call them Hounsfield units."""
    voxels = SimpleITK.GetArrayFromImage(read_with_itk(name))
    assert (voxels[:, 0, 0] == voxels.min()).all()
    rows, cols = np.indices(voxels.shape[1:])
    inside = np.hypot(rows - (voxels.shape[1] - 1) / 2, cols - (voxels.shape[2] - 1) / 2) < 120
    values = voxels[:, inside]
    assert -1150 < np.median(values[values < -500]) < -850
    assert -100 < np.median(values[(values > -300) & (values < 300)]) < 150
    dense = ((values > 1000) & (values < 2000)).mean()
    assert 0.02 < dense < 0.25


@pytest.mark.parametrize("name", NAMES)
def test_edges_of_the_committed_scan(name: str) -> None:
    """The scan shows the bone where the truth says: means over a small patch, within 0.3 mm."""
    truth = load(f"{name}.truth.json")
    voxels = SimpleITK.GetArrayFromImage(read_with_itk(name)).astype(float)
    affine = np.array(truth["scan"]["affine"])
    travel = np.array(truth["arch"]["travel"])
    for width in truth["site"]["widths"]:
        for edge, other in (width["ends"], width["ends"][::-1]):
            inward = np.array(other) - edge
            inward /= np.linalg.norm(inward)
            t = np.arange(-1.2, 1.2, 0.05)
            lines = np.array(edge) + travel * np.linspace(-0.4, 0.4, 5)[:, None]
            p = lines[:, None] + t[:, None] * inward
            ijk = (p.reshape(-1, 3) - affine[:3, 3]) / affine[0, 0]
            values = map_coordinates(voxels, ijk[:, ::-1].T, order=1).reshape(5, -1).mean(0)
            at = half_level(values, values[:8].mean(), values.max(), 0.05) - 1.2
            assert at == pytest.approx(0, abs=0.3)


@pytest.mark.parametrize(
    ("name", "quadrant", "sign", "missing"),
    [
        (
            "lower_left_36",
            "4",
            1,
            {"root-37-mesial", "root-37-distal", "foramen-left", "loop-left"},
        ),
        ("upper_right_15", "2", -1, {"root-14"}),
    ],
)
def test_the_wrong_plan_is_wrong(name: str, quadrant: str, sign: int, missing: set[str]) -> None:
    plan, truth = load(f"{name}_wrong.plan.json"), load(f"{name}.truth.json")
    found = truth["fixtures"]["wrong"]
    fixture = plan["fixtures"][0]
    assert fixture["tooth"][0] == quadrant
    assert fixture["platform"][0] * sign > 0
    assert plan["side_check"]["side"] == ("left" if sign > 0 else "right")
    assert found["bone_surface"]["buccal"] < 1.5
    ids = {s["id"] for s in plan["structures"]}
    assert not ids & missing
    assert missing <= {s["id"] for s in load(f"{name}.plan.json")["structures"]}
    limits = {"canal": 2.0, "root": 1.0, "floor": 1.0}
    kinds = {s["id"]: s["kind"] for s in plan["structures"]}
    broken = [
        key
        for key, row in found["clearances"].items()
        if row["value_mm"] < limits.get(kinds[key.split("/")[-1]], 0.0)
    ]
    assert len(broken) == 1


@pytest.mark.parametrize(("name", "cut"), [("lower_left_36", "border-left"),
                                           ("upper_right_15", "sinus-right")])  # fmt: skip
def test_marks_of_the_wrong_plan_end_too_early(name: str, cut: str) -> None:
    plan, truth = load(f"{name}_wrong.plan.json"), load(f"{name}.truth.json")
    marks = next(np.array(s["points"]) for s in plan["structures"] if s["id"] == cut)
    along = (marks - plan["fixtures"][0]["platform"]) @ np.array(truth["arch"]["travel"])
    # Within 5 mm of the fixture on one side there is no mark at all.
    assert (along > 0.5).all() or (along < -0.5).all()


@pytest.mark.parametrize("name", NAMES)
def test_the_right_plan_keeps_the_limits(name: str) -> None:
    truth = load(f"{name}.truth.json")["fixtures"]["right"]
    least = {"canal": 2.0, "loop": 2.0, "foramen": 2.0, "root": 1.5, "sinus": 1.0}
    for key, row in truth["clearances"].items():
        kind = key.split("/")[-1].split("-")[0]
        assert row["value_mm"] > least.get(kind, 0.0) + 0.8
    assert truth["bone_surface"]["buccal"] > 2.0
    assert truth["bone_surface"]["lingual"] > 1.0


def test_unknown_sample() -> None:
    with pytest.raises(FileNotFoundError, match="no sample named"):
        sample_volumes.path("nothing")
