"""Meshes for the laboratory, read back and measured by trimesh, against closed forms.

Closed forms: a frustum has the volume pi h (R^2 + R r + r^2) / 3, a tube of constant radius about
a curve pi r^2 times the curve's length (Pappus' theorem). An inscribed polygon of n corners has
n/(2 pi) sin(2 pi / n) of its circle's area.
"""

from __future__ import annotations

import io

import numpy as np
import pytest
import trimesh

from core.fixture import Fixture, FixtureSize
from core.sheet.mesh import SECTIONS, canal_mesh, fixture_mesh, stl, swept
from core.structures import Course

POLYGON = SECTIONS / (2 * np.pi) * np.sin(2 * np.pi / SECTIONS)


def read_back(mesh, name):
    return trimesh.load(io.BytesIO(stl(mesh, name)), file_type="stl")


def frustum(height, large, small):
    return np.pi * height * (large**2 + large * small + small**2) / 3


def test_the_fixtures_volume_and_extent():
    size = FixtureSize(
        diameter_mm=4.0, length_mm=10.0, apical_diameter_mm=3.0, platform_diameter_mm=4.0,
        taper_from_mm=4.0,
    )  # fmt: skip
    fixture = Fixture(id="36", platform=(25, 10, 12), towards_apex=(0, 0, -1), size=size)
    mesh = read_back(fixture_mesh(fixture), "fixture-36")
    expected = POLYGON * (frustum(4, 2, 2) + frustum(6, 2, 1.5))
    assert mesh.is_watertight
    assert mesh.volume == pytest.approx(expected, rel=1e-5)
    assert mesh.bounds == pytest.approx(np.array([(23, 8, 2), (27, 12, 12)]), abs=2e-3)


def test_a_wider_platform_gives_the_convex_hull():
    """Hull of (0, 2.5), (0.5, 2), (10, 2): a cone frustum from 2.5 to 2 over the whole length."""
    size = FixtureSize(diameter_mm=4.0, length_mm=10.0, platform_diameter_mm=5.0)
    fixture = Fixture(id="36", platform=(1, 2, 3), towards_apex=(0.6, 0, 0.8), size=size)
    mesh = read_back(fixture_mesh(fixture), "fixture-36")
    assert mesh.volume == pytest.approx(POLYGON * frustum(10, 2.5, 2.0), rel=1e-5)
    assert mesh.is_convex


def test_the_canal_is_as_long_and_thick_as_marked():
    """A canal on a circle of 30 mm over 90 degrees: pi r^2 R pi/2."""
    turn = np.linspace(0, np.pi / 2, 13)
    marks = np.stack([30 * np.cos(turn), 30 * np.sin(turn), np.full(13, 5.0)], axis=1)
    canal = Course(id="canal-left", kind="canal", points=marks, diameter_mm=3.0)
    mesh = read_back(canal_mesh(canal), "canal-left")
    assert mesh.is_watertight
    expected = POLYGON * np.pi * 1.5**2 * 30 * np.pi / 2
    assert mesh.volume == pytest.approx(expected, rel=1e-3)
    assert mesh.bounds[:, 2] == pytest.approx([3.5, 6.5], abs=2e-3)


def test_a_straight_tube_is_a_cylinder():
    line = np.stack([np.linspace((1, 1, 1), (3, 5, 9), 21)])[0]
    mesh = swept(line, np.full(21, 0.5))
    length = np.linalg.norm((2, 4, 8))
    assert mesh.volume == pytest.approx(POLYGON * np.pi * 0.25 * length, rel=1e-9)
    around = trimesh.creation.cylinder(radius=0.5, height=length, sections=SECTIONS)
    assert mesh.area == pytest.approx(around.area, rel=1e-9)
