"""Meshes: closed, in patient space, named, and the letter R the right way round."""

from __future__ import annotations

import io

import numpy as np
import pytest
import trimesh

from core.fixture import Fixture, FixtureSize
from core.sheet.mesh import axis_mesh, meshes, planned_bodies, stl
from tests.sheet_material import arch_of, fixture_at, plan_with

FIXTURE = Fixture(
    id="36", tooth="36", platform=(30, 4, 21), towards_apex=(0.1, -0.2, -1),
    size=FixtureSize(diameter_mm=4.0, length_mm=10.0, apical_diameter_mm=3.0, taper_from_mm=4.0),
)  # fmt: skip


def inside(mesh, points):
    """Winding number by solid angles (Van Oosterom, Strackee 1983, IEEE Trans Biomed Eng 30)."""
    found = []
    for point in points:
        a, b, c = np.moveaxis(mesh.triangles - point, 1, 0)
        la, lb, lc = (np.linalg.norm(v, axis=1) for v in (a, b, c))
        top = np.einsum("ij,ij->i", a, np.cross(b, c))
        low = la * lb * lc + (a * b).sum(1) * lc + (b * c).sum(1) * la + (c * a).sum(1) * lb
        found.append(2 * np.arctan2(top, low).sum() / (4 * np.pi) > 0.5)
    return np.array(found)


@pytest.fixture(scope="module")
def bodies():
    plan = plan_with(fixture_at(20.0, "36"), fixture_at(160.0, "46"))
    return meshes(plan, arch_of(plan))


def test_every_body_is_closed_and_turned_outwards(bodies):
    assert set(bodies) == {
        "fixture-36", "axis-36", "fixture-46", "axis-46", "canal-left", "arch", "letter-R",
    }  # fmt: skip
    for name, mesh in bodies.items():
        assert mesh.is_watertight, name
        assert mesh.is_winding_consistent, name
        assert mesh.volume > 0, name
        assert mesh.body_count == 1, name


def test_left_and_right_are_the_patients(bodies):
    """LPS: x grows towards the patient's left. 36 is a left tooth, 46 a right one."""
    assert bodies["fixture-36"].centroid[0] > 20
    assert bodies["fixture-46"].centroid[0] < -20
    assert bodies["letter-R"].bounds[1][0] < bodies["arch"].bounds[0][0]


def test_the_letter_reads_from_in_front(bodies):
    """Who stands in front sees the patient's right on the left: there an R has its stem."""
    letter = bodies["letter-R"]
    low, high = letter.bounds
    assert high[0] - low[0] == pytest.approx(6)
    assert high[2] - low[2] == pytest.approx(7)
    # The stem fills the whole height at the patient's right; the other side has gaps.
    heights = low[2] + np.arange(7) + 0.5
    middle = (low[1] + high[1]) / 2
    stem = [(low[0] + 1.0, middle, z) for z in heights]
    bowl = [(high[0] - 0.5, middle, z) for z in heights]
    # From below: leg, leg, the leg's root, waist, bowl, bowl, shoulder.
    assert inside(letter, stem).all()
    assert inside(letter, bowl).tolist() == [True, True, False, False, True, True, False]


def test_the_rod_follows_the_axis():
    mesh = axis_mesh(FIXTURE)
    ends = [FIXTURE.on_axis(-8.0), FIXTURE.apex]
    along = (mesh.vertices - FIXTURE.platform) @ FIXTURE.towards_apex
    off = mesh.vertices - FIXTURE.platform - np.outer(along, FIXTURE.towards_apex)
    assert np.linalg.norm(off, axis=1).max() == pytest.approx(0.25)
    for end in ends:
        assert np.linalg.norm(mesh.vertices - end, axis=1).min() < 1e-9


def test_name_and_header_state_axes_and_unit():
    plan = plan_with(fixture_at(20.0, "36"))
    for name, mesh in meshes(plan, arch_of(plan)).items():
        data = stl(mesh, name)
        header = data[:80].decode("ascii")
        assert "DICOM LPS" in header
        assert "unit mm" in header
        assert not header.startswith("solid")
        assert len(data) == 84 + 50 * int.from_bytes(data[80:84], "little")


def test_the_archive_gets_fixtures_and_canals():
    plan = plan_with(fixture_at(20.0, "36"), fixture_at(160.0, "46"))
    assert set(planned_bodies(plan)) == {"fixture-36", "fixture-46", "canal-left"}


def test_a_long_name_leaves_the_header_its_length():
    data = stl(axis_mesh(FIXTURE), "x" * 200)
    read = trimesh.load(io.BytesIO(data), file_type="stl")
    assert read.bounds == pytest.approx(axis_mesh(FIXTURE).bounds, abs=1e-5)


def test_without_an_arch_the_fixture_still_leaves():
    assert set(meshes(plan_with(fixture_at(20.0, "36")), None)) == {
        "fixture-36", "axis-36", "canal-left",
    }  # fmt: skip
