"""Faults of an image are found, and plain jaws and both samples have none."""

from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest
from scipy.ndimage import shift

import sample_volumes
from core import load_plan, open_scan
from core.bone.image_faults import ImageFaults
from core.bone.level_learning import bone_levels
from core.measuring.basis import Basis
from core.measuring.hindrances import image_faults_at
from tests.core.level_phantoms import Greys, Ridge, scan

THICK = Ridge(height=20.0, buccal=1.8, lingual=2.2, top=1.5, base=3.0)
HOW = {"voxel": 0.3, "reach": 15.0, "heights": (-26.0, 5.0)}


@lru_cache
def plain():
    return scan(THICK, Greys(), **HOW)


def faults_of(volume, arch):
    return ImageFaults.of(volume, arch, bone_levels(volume, arch))


def codes(volume, arch):
    return [fault.note.code for fault in faults_of(volume, arch).everywhere]


def moved(volume, mm):
    grey = volume.voxels.astype(np.float64)
    other = shift(grey, (0.0, 0.0, mm / volume.voxel_mm[0]), order=1, mode="nearest")
    return replace(volume, voxels=np.rint(0.5 * (grey + other)).astype(np.int16))


def test_a_plain_jaw_has_no_fault():
    assert codes(*plain()) == []


@pytest.mark.parametrize("name", ["lower_left_36", "upper_right_15"])
def test_the_samples_have_no_fault(name):
    volume = open_scan(sample_volumes.path(name))
    plan = load_plan(sample_volumes.path(f"{name}.plan.json"))
    basis = Basis.of(plan, volume)
    assert basis.levels.evidence.levels is None
    for subject in (*plan.fixtures, *plan.sites):
        assert image_faults_at(basis, subject) == ()


def test_half_a_millimetre_of_movement_is_found_and_widens():
    volume, arch = plain()
    (fault,) = faults_of(moved(volume, 0.55), arch).everywhere
    assert fault.note.code == "image_moved"
    assert float(fault.note.fields["mm"]) == pytest.approx(0.55, abs=0.15)
    assert not fault.stops
    assert fault.edge_sd_mm == pytest.approx(0.25 * 0.55, abs=0.04)


def test_a_millimetre_of_movement_stops():
    volume, arch = plain()
    faults = faults_of(moved(volume, 1.1), arch).everywhere
    assert [f.stops for f in faults if f.note.code == "image_moved"] == [True]


@pytest.mark.parametrize(("steps", "stops"), [(100, False), (9, True)])
def test_few_grey_levels_are_told_and_too_few_stop(steps, stops):
    greys = Greys()
    step = (greys.cortex - greys.soft) / steps

    def coarse(grey):
        return np.rint(grey / step).astype(np.int16)

    faults = faults_of(*scan(THICK, greys, stored=coarse, **HOW)).everywhere
    assert ("image_few_levels", stops) in [(f.note.code, f.stops) for f in faults]


def test_soft_tissue_cut_off_at_the_floor_is_told():
    def cut(grey):
        return np.clip(np.rint(grey), 60, 4000).astype(np.int16)

    assert "image_soft_cut" in codes(*scan(THICK, Greys(), stored=cut, **HOW))


def test_a_filter_is_told_with_its_blur():
    volume, arch = scan(THICK, Greys(), smooth=0.4, **HOW)
    (fault,) = faults_of(volume, arch).everywhere
    assert fault.note.code == "image_smoothed"
    assert float(fault.note.fields["blur"]) == pytest.approx(1.1, abs=0.15)


@pytest.mark.parametrize(("share", "told"), [(0.1, []), (0.45, ["image_shaded"])])
def test_soft_tissue_that_grows_as_bright_as_bone_stops(share, told):
    """A slope over the field, from one side to the other, by a share of the rise to cortex."""
    volume, arch = plain()
    slope = np.linspace(-0.5, 0.5, volume.shape[2]) * share * 1390.0
    grey = volume.voxels + slope
    faults = faults_of(replace(volume, voxels=np.rint(grey).astype(np.int16)), arch).everywhere
    assert [f.note.code for f in faults] == told
    assert all(f.stops for f in faults)


def ringed(strength, *, off=0.0):
    """Circles a voxel broad around the middle of the slices, others every 2 mm of height."""
    volume, arch = plain()
    k, j, i = np.indices(volume.shape)
    middle = 0.5 * (np.array(volume.shape) - 1.0)
    radius = np.rint(np.hypot(j - middle[1] - off, i - middle[2])).astype(int)
    height = k * float(volume.voxel_mm[2]) // 2.0
    rng = np.random.default_rng(4)
    rings = rng.standard_normal((int(height.max()) + 1, radius.max() + 1))
    grey = volume.voxels + strength * 1390.0 * rings[height.astype(int), radius]
    return replace(volume, voxels=np.rint(grey).astype(np.int16)), arch


@pytest.mark.parametrize("strength", [0.03, 0.05])
def test_rings_are_found_and_widen(strength):
    faults = faults_of(*ringed(strength)).everywhere
    (fault,) = [f for f in faults if f.note.code == "image_rings"]
    assert float(fault.note.fields["percent"]) == pytest.approx(100 * strength, rel=0.35)
    assert fault.edge_sd_mm == pytest.approx(0.7 * strength, rel=0.35)
    assert not fault.stops


def test_strong_rings_stop():
    """Levels are learnt from what the rings leave: how strong they are is not asked here."""
    faults = faults_of(*ringed(0.2)).everywhere
    assert [f.stops for f in faults if f.note.code == "image_rings"] == [True]


def test_circles_around_another_place_are_no_rings():
    assert "image_rings" not in codes(*ringed(0.05, off=12.0))


def streaky(away_mm, *, strength):
    """Metal at the height of a fixture, with fans of streaks; the fixture stands at w = 0."""
    volume, arch = plain()
    frame = arch.frame(22.0)
    foot = frame.origin - 14.0 * frame.up
    along = foot + np.array([[3.0], [0.0], [-3.0]]) * frame.up
    grey = volume.voxels.astype(np.float64)
    k, j, i = np.meshgrid(*(np.arange(n) for n in grey.shape), indexing="ij")
    at = volume.ijk(foot + away_mm * frame.buccal).reshape(3)
    mm = volume.voxel_mm[0]
    off = np.hypot(j - at[1], i - at[0]) * mm
    level = np.abs(k - at[2]) * mm
    fan = np.cos(7.0 * np.arctan2(j - at[1], i - at[0]))
    grey += strength * 1390.0 * fan * (level < 5.0) / (1.0 + off / 10.0)
    grey[(off < 1.5) & (level < 4.0)] = 3000.0
    return replace(volume, voxels=np.rint(grey).astype(np.int16)), arch, along


@pytest.mark.parametrize(("away", "stops"), [(5.5, True), (11.0, False)])
def test_metal_within_reach_is_found_by_its_streaks(away, stops):
    volume, arch, along = streaky(away, strength=0.35)
    (fault,) = faults_of(volume, arch).at(volume, along)
    assert fault.note.code == "image_streaks"
    assert fault.stops is stops
    assert fault.edge_sd_mm > 0.1


def test_a_bright_thing_without_streaks_and_streaks_of_other_slices_are_no_fault():
    volume, arch, along = streaky(8.0, strength=0.0)
    assert faults_of(volume, arch).at(volume, along) == ()
    volume, arch, along = streaky(8.0, strength=0.35)
    assert faults_of(volume, arch).at(volume, along - np.array([0.0, 0.0, 11.0])) == ()
