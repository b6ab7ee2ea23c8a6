"""What a scan shows along an arch is learnt once, and never mistaken for another scan's."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from core.arch import Arch
from core.bone.learnt_once import LearntOnce, arch_key, points_key, scan_key
from core.bone.level_learning import bone_levels
from core.bone.plate_fit import PlateFit
from core.image.volume import Volume
from core.level import Level
from core.plans.plan import TissuePoint
from tests.core.bone_phantoms import Jaw, rounded, scan_of

MARKS = np.array([[-20.0, 0, 0], [-8, -12, 0], [8, -12, 0], [20, 0, 0]])


def scanned_jaw():
    return scan_of(Jaw(outline=rounded(10.0, 26.0, -4.0, radius=4.0)), voxel=0.4)


def small():
    return Volume(
        voxels=np.zeros((2, 2, 2), np.int16), mm_from_ijk=np.eye(4), made_up=np.zeros(2, bool)
    )


def arch(marks=MARKS, *, origin=(0, 0, 0), up=(0, 0, 1)):
    return Arch.trace(marks, level=Level(origin=np.array(origin), up=np.array(up, float)))


def test_the_same_scan_and_arch_are_learnt_once_though_the_arch_is_traced_anew():
    volume, traced = scanned_jaw()
    again = replace(traced)
    levels = bone_levels(volume, traced)
    assert bone_levels(volume, again) is levels
    finder = PlateFit.of(volume, traced, "lower", levels)
    assert PlateFit.of(volume, again, "lower", levels) is finder
    # Neither for another jaw nor for other levels is it taken over.
    assert PlateFit.of(volume, traced, "upper", levels) is not finder
    assert PlateFit.of(volume, traced, "lower", replace(levels)) is not finder


def changed_voxel(volume):
    voxels = volume.voxels.copy()
    voxels[1, 1, 1] += 1
    return replace(volume, voxels=voxels)


SCANS = {
    "a voxel": changed_voxel,
    "its type": lambda v: replace(v, voxels=v.voxels.astype(np.uint16)),
    "its place": lambda v: replace(v, mm_from_ijk=v.mm_from_ijk + 1e-9),
    "slope": lambda v: replace(v, slope=1.001),
    "intercept": lambda v: replace(v, intercept=-1.0),
    "padding": lambda v: replace(v, padding=(-5.0, -5.0)),
    "field": lambda v: replace(v, field=np.ones((2, 2), np.uint8)),
    "made up": lambda v: replace(v, made_up=np.array([False, True])),
}


@pytest.mark.parametrize("change", SCANS)
def test_the_smallest_change_of_a_scan_is_another_scan(change):
    assert scan_key(SCANS[change](small())) != scan_key(small())
    assert scan_key(small()) == scan_key(small()), "read anew it is the same scan"


@pytest.mark.parametrize(
    "other",
    [
        arch(MARKS + np.array([0, 0.001, 0])),
        arch(MARKS, origin=(0, 0, 0.001)),
        arch(MARKS, up=(0.001, 0, 1)),
        arch(MARKS[:-1]),
    ],
    ids=["a mark", "the plane's height", "the plane's tilt", "a mark less"],
)
def test_the_smallest_change_of_an_arch_is_another_arch(other):
    assert arch_key(other) != arch_key(arch())
    assert arch_key(arch()) == arch_key(arch())


def test_points_of_tissues_are_told_apart_by_place_tissue_and_number():
    here = TissuePoint(tissue="cortex", at=np.zeros(3))
    keys = {
        points_key(points)
        for points in (
            (),
            (here,),
            (here, here),
            (replace(here, tissue="marrow"),),
            (replace(here, at=np.array([0, 0, 0.01])),),
        )
    }
    assert len(keys) == 5
    assert points_key((here,)) in keys


def test_a_few_are_kept_and_the_one_not_asked_for_longest_goes_first():
    known = LearntOnce()
    asked = []
    for key in "abcdefghabcdefghiab":
        assert known.get(key, lambda key=key: asked.append(key) or [key]) == [key]
    assert asked == list("abcdefghiab")


def test_what_could_not_be_learnt_is_tried_again():
    known = LearntOnce()

    def fails():
        raise ValueError("no")

    with pytest.raises(ValueError, match="no"):
        known.get("a", fails)
    assert known.get("a", lambda: 1) == 1
