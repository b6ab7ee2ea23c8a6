"""Bone readings against published figures and against the sample jaw's exact truth."""

import json
from functools import lru_cache

import numpy as np
import pytest
from scipy.special import ndtr

from core.arch import Arch, fixture_frame
from core.bone.edges import ScanEdges
from core.bone.half_maximum import HalfMaximum
from core.bone.level_learning import bone_levels
from core.bone.plates import plate_thickness, thickness_at
from core.bone.remaining_bone import remaining_bone_map
from core.bone.ridge import ridge_at_fixture, ridge_at_site
from core.bone.surface import bone_surface
from core.bone.undercut import undercut
from core.image.volume import Volume
from core.plans.plan_parse import parse
from core.structures import Course
from sample_volumes import path, small_jaw
from tests.core.bone_phantoms import (
    CORTEX,
    SOFT,
    SPONGY,
    Jaw,
    rounded,
    scan_of,
    true_levels,
)  # fmt: skip


def slab(thickness, voxel, *, tilt_deg=12.0, noise=60.0, fwhm=0.5):
    """A flat plate under soft tissue, tilted against the grid; exact blurred steps."""
    n = round(14.0 / voxel)
    affine = np.diag([voxel, voxel, voxel, 1.0])
    a = np.radians(tilt_deg)
    normal = np.array([np.cos(a), np.sin(a) * 0.8, np.sin(a) * 0.6])
    k, j, i = np.meshgrid(*(np.arange(n) * voxel,) * 3, indexing="ij")
    d = i * normal[0] + j * normal[1] + k * normal[2] - 7.0
    sigma = np.hypot(fwhm / 2.3548, voxel / np.sqrt(12))
    grey = SOFT + (CORTEX - SOFT) * ndtr(d / sigma)
    grey = grey + (SPONGY - CORTEX) * ndtr((d - thickness) / sigma)
    grey = grey + noise * np.random.default_rng(5).standard_normal(grey.shape)
    volume = Volume(voxels=grey.astype(np.int16), mm_from_ijk=affine, made_up=np.zeros(n, bool))
    middle = np.full(3, 7.0)
    return volume, middle - ((middle @ normal) - 7.0) * normal


@pytest.mark.parametrize("voxel", [0.125, 0.3])
@pytest.mark.parametrize("thickness", [0.3, 1.0, 2.0, 3.7])
def test_thickness_phantom(voxel, thickness):
    """Plates 0.3 to 3.7 mm at 0.125 and 0.3 mm voxels, flag below 0.8 mm.

    Razavi et al. 2010 (Clin Oral Implants Res 21:718-725): good except below 0.8 mm.
    """
    volume, edge = slab(thickness, voxel)
    levels = true_levels(voxel, 60.0)
    scan = ScanEdges(volume=volume, levels=levels, finder=HalfMaximum(levels=levels))
    reading = thickness_at(scan, edge, np.array([1.0, 0, 0]), np.array([0, 0, 1.0]))
    if thickness < 0.8:
        assert reading.value is None
        assert {n.code for n in reading.notes} & {"plate_too_thin", "edge_weak"}
    else:
        assert reading.value == pytest.approx(thickness, abs=0.1)


def test_first_molar_canal_section():
    """Canal 3.0 mm, 6.6 from buccal, 4.1 from lingual, 16.9 below the crest, 8.8 above the border.

    J Korean Acad Oral Maxillofac Radiol 1997;27:217-230 (mean of 20 dentate dry jaws; borders
    taken as convention): a section 13.7 mm wide and 28.7 mm high, cortex 2.2 and 2.0 mm.
    """
    crest = -4.0
    w_canal, h_canal = 13.7 / 2 - 6.6 - 1.5, crest - 16.9 - 1.5
    outline = rounded(13.7, 28.7, crest, radius=5.0)
    jaw = Jaw(
        outline=outline,
        cortex=lambda w, h: np.where(w > 0, 2.2, 2.0),
        holes=[(w_canal, h_canal, 1.5, SOFT)],
    )
    station = 58.0
    volume, arch = scan_of(jaw, station=station, heights=(-35.0, 2.0), voxel=0.25)
    levels = bone_levels(volume, arch)
    finder = HalfMaximum(levels=levels)
    frames = [arch.frame(station + s) for s in (-6, 0, 6)]
    canal = Course(
        id="canal-left",
        kind="canal",
        diameter_mm=3.0,
        points=[f.origin + w_canal * f.buccal + h_canal * f.up for f in frames],
    )
    ridge = ridge_at_site(volume, arch, station, levels, "lower", (canal,), finder)
    assert ridge.height.value == pytest.approx(16.9, abs=0.15)
    assert ridge.widths[4].reading.value == pytest.approx(13.7, abs=0.1)
    scan = ScanEdges(volume=volume, levels=levels, finder=finder)
    plates = {
        (p.side, p.depth_mm): p.reading.value
        for p in plate_thickness(scan, ridge.bone, ridge.widths)
    }
    assert plates["buccal", 10.0] == pytest.approx(2.2, abs=0.1)
    assert plates["lingual", 10.0] == pytest.approx(2.0, abs=0.1)


@lru_cache
def sample():
    """The invented jaw at 0.3 mm: levels and edges from the scan alone."""
    voxels, affine, truth = small_jaw(1, voxel_mm=0.3)
    plan = parse(truth["plan"])
    volume = Volume(voxels=voxels, mm_from_ijk=affine, made_up=np.zeros(len(voxels), bool))
    arch = Arch.trace(plan.arch_points, level=plan.level)
    levels = bone_levels(volume, arch)
    scan = ScanEdges(volume=volume, levels=levels, finder=HalfMaximum(levels=levels))
    return scan, plan, arch, truth


def test_sample_site_is_read_within_its_bounds():
    """Truth file of the sample: crossings of the exact surfaces, computed without `core`."""
    scan, plan, arch, truth = sample()
    site = truth["site"]
    station = arch.station(np.array(site["origin"]))
    ridge = ridge_at_site(
        scan.volume, arch, station, scan.levels, "lower", plan.structures, scan.finder
    )
    for width, true in zip(ridge.widths, site["widths"], strict=True):
        assert width.reading.value == pytest.approx(true["value_mm"], abs=0.1)
    assert ridge.height.value == pytest.approx(site["height_mm"], abs=0.15)
    for plate in plate_thickness(scan, ridge.bone, ridge.widths):
        true = next(w for w in site["widths"] if w["at_depth_mm"] == plate.depth_mm)
        assert plate.reading.value == pytest.approx(true[f"{plate.side}_plate_mm"], abs=0.15)
    found = undercut(scan, ridge.bone, ridge.crest, plan.structures, "lower")
    assert found.type == "U"
    assert found.level_depth.value == pytest.approx(site["hollow"]["depth_mm"], abs=0.15)
    assert found.angle.value == pytest.approx(site["hollow"]["angle_deg"], abs=4.0)


def test_sample_fixture_is_read_within_its_bounds():
    """Truth file of the sample: walls, platform depths and widths by exact surfaces."""
    scan, plan, arch, truth = sample()
    fixture, true = plan.fixtures[0], truth["fixtures"]["right"]
    ridge = ridge_at_fixture(
        scan.volume,
        arch,
        fixture,
        scan.levels,
        "lower",
        plan.structures,
        lambda s: 2.0,
        scan.finder,
    )
    rows = true["axis"]["widths"] + true["up"]["widths"]
    for width, row in zip(ridge.widths, rows, strict=True):
        assert width.reading.value == pytest.approx(row["value_mm"], abs=0.1)
    assert ridge.height.value == pytest.approx(true["axis"]["height_mm"], abs=0.15)
    for place, depth in true["platform_depth_mm"].items():
        assert ridge.platform_depths[place].value == pytest.approx(depth, abs=0.12)
    frame = fixture_frame(fixture, arch)
    remaining = remaining_bone_map(
        scan.volume, fixture, frame, scan.levels, scan.finder, plan.structures
    )
    errors = []
    for row in true["walls"]:
        turn = (row["turn_deg"] + 180.0) % 360.0 - 180.0
        at = np.argmin(np.abs(remaining.depths_mm - row["depth_mm"]))
        errors.append(
            remaining.bone_mm[at, np.argmin(np.abs(remaining.turns_deg - turn))] - row["value_mm"]
        )
    assert np.nanmedian(np.abs(errors)) < 0.1
    # Bone may be missed in dark marrow; it is never made up.
    assert np.nanmax(errors) < 0.2
    assert np.isfinite(errors).mean() > 0.9
    surface = bone_surface(fixture, frame, scan.volume, scan.levels, scan.finder)
    for side, value in surface.items():
        assert value.value <= FULL["bone_surface"][side] + 0.1
        assert value.value == pytest.approx(FULL["bone_surface"][side], abs=0.2)


FULL = json.loads(path("lower_left_36.truth.json").read_text(encoding="utf-8"))["fixtures"]["right"]
