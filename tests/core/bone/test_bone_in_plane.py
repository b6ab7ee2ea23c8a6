"""Which part of a section is bone: marrow that reaches the end of the picture is no way in."""

from dataclasses import replace

import numpy as np
import pytest

from core.bone.bone_in_plane import Plane, bone_in_plane
from tests.core.bone_phantoms import Jaw, scan_of, true_levels

TOP, STATION = -4.0, 58.0


def test_marrow_that_reaches_the_end_of_the_section_does_not_part_the_ridge():
    # The body runs on towards the tongue beyond what a section shows, under a ridge of 8 mm.
    outline = np.array(
        [[-40, -28], [4, -28], [4, TOP], [-4, TOP], [-4, TOP - 8.0], [-40, TOP - 8.0]]
    )
    volume, arch = scan_of(Jaw(outline=outline), station=STATION, voxel=0.3, reach=20.0)
    f = arch.frame(STATION)
    plane = Plane(origin=f.origin, across=f.buccal, coronal=f.up)
    bone = bone_in_plane(volume, true_levels(0.3), plane, crown_level_mm=0.0, upper=False)
    intervals = bone.intervals(TOP - 4.0)
    assert len(intervals) == 1
    low, high = intervals[0]
    assert abs(low + 4.0) < 0.4
    assert abs(high - 4.0) < 0.4


def test_marrow_of_a_large_upper_jaw_is_no_sinus_where_it_is_seen_to_be_bone():
    outline = np.array([[-9, -28], [9, -28], [9, TOP], [-9, TOP]])
    volume, arch = scan_of(Jaw(outline=outline, upper=True), station=STATION, voxel=0.3)
    f = arch.frame(STATION)
    plane = Plane(origin=f.origin, across=f.buccal, coronal=-f.up)
    bone = bone_in_plane(volume, true_levels(0.3), plane, crown_level_mm=0.0, upper=True)
    assert len(bone.intervals(TOP - 4.0)) == 1


def test_what_runs_on_above_the_bone_is_its_top_and_blur_is_not():
    volume, arch = scan_of(
        Jaw(outline=np.array([[-4, -28], [4, -28], [4, TOP], [-4, TOP]])),
        station=STATION,
        voxel=0.3,
    )
    f = arch.frame(STATION)
    plane = Plane(origin=f.origin, across=f.buccal, coronal=f.up)
    bone = bone_in_plane(volume, true_levels(0.3), plane, crown_level_mm=0.0, upper=False)
    middle = np.array([0.0])
    assert bone.top_joined(middle) == bone.top(middle)
    # The top of a thin ridge under air: dark in the picture, and joined to what is bright.
    above = (np.abs(bone.w) < 1.0) & (bone.h[:, None] > TOP) & (bone.h[:, None] < TOP + 2.0)
    thin = replace(bone, joined=bone.joined | above)
    assert thin.top_joined(middle) == pytest.approx(TOP + 2.0, abs=0.3)
    assert thin.top_joined(np.array([3.0])) == bone.top(np.array([3.0]))
