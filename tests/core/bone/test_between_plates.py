"""Two plates with marrow between them are one ridge; with a way in from the cheek they are not.

A section that shows a plate with breaks takes fatty marrow for a part of cheek or tongue: its
mask is made so by hand here.
"""

from dataclasses import replace

import numpy as np
import pytest

from core.bone.bone_in_plane import bone_in_plane
from core.bone.edges import ScanEdges
from core.bone.level_learning import bone_levels
from core.bone.plate_fit import PlateFit
from core.bone.ridge import section_plane
from core.bone.ridge_section import find_crest, widths
from tests.core.level_phantoms import Greys, Ridge, scan

STATION = 22.0
GREYS = Greys(marrow=-40.0)
RIDGE = Ridge(height=20.0, buccal=1.0, lingual=1.0, top=1.0, base=1.2)
DEPTHS = np.array([5.0, 7.0, 10.0])


def found(*, hole_mm):
    """At `DEPTHS`, in a jaw of fatty marrow with a square hole in one plate."""
    volume, arch = scan(RIDGE, GREYS, voxel=0.3, reach=14.0, heights=(-27.0, 5.0))
    frame = arch.frame(STATION)
    k, j, i = (axis.ravel() for axis in np.indices(volume.shape))
    places = volume.mm_from_ijk[:3, :3] @ np.stack([i, j, k]) + volume.mm_from_ijk[:3, 3:]
    off = places.T - (frame.origin - 13.0 * frame.up)
    along, rise, across = off @ frame.travel, off @ frame.up, off @ frame.buccal
    half = 0.5 * hole_mm
    hole = (np.abs(along) < half) & (np.abs(rise) < half)
    hole &= np.abs(across - 0.5 * RIDGE.width) < 1.6
    grey = volume.voxels.copy()
    grey.ravel()[hole] = round(GREYS.soft)
    volume = replace(volume, voxels=grey)
    levels = bone_levels(volume, arch)
    edges = ScanEdges(
        volume=volume, levels=levels, finder=PlateFit.of(volume, arch, "lower", levels)
    )
    plane = section_plane(frame, "lower")
    whole = bone_in_plane(volume, levels, plane, crown_level_mm=0.0, upper=False)
    below = whole.h[:, None] < -RIDGE.crest - 2.0
    open_ = whole.mask & ~(below & (np.abs(whole.w) < 0.5 * RIDGE.width - 1.2))
    bone = replace(whole, mask=open_)
    return widths(edges, bone, find_crest(edges, bone, half_mm=6.0), DEPTHS)


def test_marrow_between_two_plates_does_not_part_the_ridge():
    for depth, width in zip(DEPTHS, found(hole_mm=0.0), strict=True):
        assert width.value == pytest.approx(RIDGE.width, abs=0.2), depth


def test_a_hole_in_a_plate_is_a_way_in():
    above, _, below = found(hole_mm=4.0)
    for width in (above, below):
        assert width.value is None
        assert width.notes[0].code == "ridge_two_intervals"
