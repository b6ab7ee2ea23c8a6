"""Where the jaw's bone runs out of the scan: told where it does, and nowhere else."""

from types import SimpleNamespace

import numpy as np
import pytest

from core.arch import Arch
from core.bone.cut_jaw import cut_bone_mm
from core.bone.image_faults import ImageFault, ImageFaults
from core.fixture import Fixture, FixtureSize
from core.image.volume import Volume
from core.level import Level
from core.measurement import Note
from core.measuring.basis import Basis
from core.measuring.found_troubles import found_troubles

LEVELS = SimpleNamespace(trouble=None, soft=100.0, cortical=1100.0)
VOXEL_MM = 0.5
ALONG_MM, ACROSS_MM, HIGH_MM = 50.0, 30.0, 30.0
ARCH = Arch.trace(
    [[-15.0, 0.0, 0.0], [0.0, 0.0, 0.0], [15.0, 0.0, 0.0]],
    level=Level(origin=(0, 0, 0), up=(0, 0, 1)),
)


def bar(first_mm, last_mm, *, low_mm=-20.0, noise=0.0, levels=LEVELS):
    """A bar of bone along x, 8 mm thick, below z = -2, in a box of soft tissue and grain."""
    shape = tuple(round(mm / VOXEL_MM) for mm in (HIGH_MM, ACROSS_MM, ALONG_MM))
    corner = np.array([-ALONG_MM / 2, -ACROSS_MM / 2, -25.0])
    z, y, x = (corner[2 - n] + VOXEL_MM * index for n, index in enumerate(np.indices(shape)))
    inside = (x >= first_mm) & (x <= last_mm) & (np.abs(y) <= 4.0) & (z <= -2.0) & (z >= low_mm)
    grey = np.where(inside, levels.cortical, levels.soft)
    grey = grey + noise * np.random.default_rng(3).standard_normal(shape)
    affine = np.diag([VOXEL_MM, VOXEL_MM, VOXEL_MM, 1.0])
    affine[:3, 3] = corner
    return Volume(
        voxels=np.rint(grey).astype(np.int16),
        mm_from_ijk=affine,
        made_up=np.zeros(shape[0], dtype=bool),
    )


def cut(volume, jaw="lower", levels=LEVELS):
    return cut_bone_mm(volume, ARCH, jaw, levels)


@pytest.mark.parametrize("noise", [0.0, 250.0])
def test_a_bar_that_ends_inside_the_scan_is_not_cut(noise):
    assert len(cut(bar(-20.0, 20.0, noise=noise))) == 0


@pytest.mark.parametrize("noise", [0.0, 100.0])
def test_a_bar_that_runs_on_is_cut_where_the_scan_ends(noise):
    found = cut(bar(-20.0, 99.0, noise=noise))
    # 8 mm × 18 mm of bone, a place a square millimetre of a grid of whole millimetres.
    assert len(found) == pytest.approx(9 * 19, abs=20)
    assert found[:, 0].min() > ALONG_MM / 2 - 1.6, "at that end alone"
    assert len(cut(bar(-99.0, 99.0, noise=noise))) == pytest.approx(2 * 9 * 19, abs=40)


def test_a_jaw_whose_border_was_not_scanned_is_cut_below():
    found = cut(bar(-20.0, 20.0, low_mm=-99.0))
    assert len(found) == pytest.approx(9 * 41, abs=45)
    assert found[:, 2].max() < -23.0


def test_dark_bone_is_bone_where_the_scale_runs_down():
    levels = SimpleNamespace(trouble=None, soft=1100.0, cortical=100.0)
    assert len(cut(bar(-20.0, 99.0, levels=levels), levels=levels)) > 100
    assert len(cut(bar(-20.0, 20.0, levels=levels), levels=levels)) == 0


def test_without_levels_nothing_is_told():
    levels = SimpleNamespace(trouble=Note("levels_cut"), soft=100.0, cortical=1100.0)
    assert len(cut(bar(-99.0, 99.0), levels=levels)) == 0


def basis(**found):
    return Basis(volume=bar(-1.0, 1.0), arch=ARCH, jaw="lower", levels=LEVELS, finder=None, **found)


def fixture(x):
    size = FixtureSize(diameter_mm=4.0, length_mm=8.0)
    return Fixture(
        id="f", tooth="36", platform=(x, 0.0, -2.0), towards_apex=(0.0, 0.0, -1.0), size=size
    )


@pytest.mark.parametrize(
    ("x", "place", "mm"), [(16.0, "at the site", "7"), (-4.0, "away from the site", "27")]
)
def test_a_cut_lies_at_the_site_where_the_outer_surface_is_searched(x, place, mm):
    (found,) = found_troubles(basis(cut_mm=np.array([[23.0, 0.0, -6.0]])), [fixture(x)])
    assert (found.trouble, found.place) == ("cut-off field", place)
    assert f", {mm} mm from the site" in str(found.note.message)


def test_the_nearest_of_many_fixtures_counts_and_without_any_there_is_no_place():
    made = basis(cut_mm=np.array([[23.0, 0.0, -6.0]]))
    (found,) = found_troubles(made, [fixture(-4.0), fixture(16.0)])
    assert found.place == "at the site"
    (found,) = found_troubles(made, [])
    assert found.place == ""
    assert found_troubles(basis(), [fixture(0.0)]) == ()


def test_how_far_a_movement_reaches_is_left_to_who_looks():
    note = Note("image_moved", {"mm": "0.5"})
    fault = ImageFault(note=note, stops=False, edge_sd_mm=0.1)
    smooth = ImageFault(note=Note("image_smoothed"), stops=False, edge_sd_mm=0.0)
    (found,) = found_troubles(basis(faults=ImageFaults(everywhere=(smooth, fault))), [fixture(0.0)])
    assert (found.trouble, found.place, found.note) == ("movement", "", note)
