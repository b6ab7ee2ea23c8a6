"""Levels hold where every plate is thin, air lies right above the crest, marrow is fatty.

Truth is what the phantom was painted with. Bounds: soft tissue within 5 % of the contrast from
soft tissue to cortex; cortex within twice its own stated doubt, and that doubt under half of the
contrast.
"""

from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

from core.bone.level_learning import bone_levels
from tests.core.level_phantoms import Greys, Ridge, scan

GREYS = Greys()
SMALL = {"reach": 14.0, "heights": (-26.0, 5.0)}
THIN = Ridge(height=20.0)
THICK = Ridge(height=20.0, buccal=1.8, lingual=2.2, top=1.5, base=3.0)


def _plates(mm):
    return Ridge(height=20.0, buccal=mm, lingual=mm, top=mm, base=mm)


CASES = {
    "0.3 mm, voxels 0.4": (_plates(0.3), GREYS, {"voxel": 0.4}),
    "0.6 mm, voxels 0.4": (_plates(0.6), GREYS, {"voxel": 0.4}),
    "0.45 mm, voxels 0.25": (_plates(0.45), GREYS, {"voxel": 0.25}),
    "no gum over the crest": (Ridge(height=20.0, gum=0.0), GREYS, {"voxel": 0.4}),
    "no air at all": (Ridge(height=20.0, air_above=False), GREYS, {"voxel": 0.4}),
    "fatty marrow": (_plates(0.6), Greys(marrow=-50.0), {"voxel": 0.3}),
    "two teeth": (Ridge(height=20.0, teeth_mm=(15.0, 29.0)), GREYS,
                  {"voxel": 0.4, "heights": (-26.0, 12.0)}),
    "solid bone": (THICK, Greys(marrow=1350.0), {"voxel": 0.4}),
    "air 0, bone 900": (THIN, GREYS.on(900 / 2450, 367.0), {"voxel": 0.4}),
    "all below zero": (THIN, GREYS.on(0.5, -3000.0), {"voxel": 0.4}),
    "four times the noise": (THIN, Greys(noise=240.0), {"voxel": 0.4}),
    "smoothed by 0.4 mm": (THIN, GREYS, {"voxel": 0.3, "smooth": 0.4}),
    "sharpened": (THICK, GREYS, {"voxel": 0.3, "sharpen": 1.0}),
    "thick plates": (THICK, GREYS, {"voxel": 0.4}),
}  # fmt: skip


@lru_cache
def levels_of(name):
    ridge, greys, how = CASES[name]
    return bone_levels(*scan(ridge, greys, **(SMALL | how)))


@pytest.mark.parametrize("name", CASES)
def test_levels_are_those_of_the_tissues(name):
    greys, levels = CASES[name][1], levels_of(name)
    contrast = greys.cortex - greys.soft
    assert levels.trouble is None
    assert levels.unproven is None
    assert levels.soft == pytest.approx(greys.soft, abs=0.05 * contrast)
    assert levels.spongy == pytest.approx(greys.marrow, abs=0.08 * contrast)
    assert levels.cortical_sd < 0.5 * contrast
    off = abs(levels.cortical - greys.cortex)
    assert off < max(2.0 * levels.cortical_sd, 0.06 * contrast)


def test_a_filter_that_smooths_is_known_by_its_blur():
    """0.5 mm of the scanner and a filter of 0.4 mm: 0.21² + 0.4² mm²."""
    assert levels_of("smoothed by 0.4 mm").blur.seen
    blur = levels_of("smoothed by 0.4 mm").blur.variance_mm2
    assert blur == pytest.approx((0.5 / 2.3548) ** 2 + 0.4**2, rel=0.12)


def test_plates_that_are_blurred_more_than_steps_along_the_slices_show_their_own_blur():
    """A reconstruction filters in its slices: there the blur of gum under air says nothing."""
    volume, arch = scan(_plates(0.55), GREYS, voxel=0.25, **SMALL)
    across = 0.34
    grey = gaussian_filter(volume.voxels.astype(np.float64), (0.0, across / 0.25, across / 0.25))
    levels = bone_levels(replace(volume, voxels=np.rint(grey).astype(np.int16)), arch)
    assert levels.unproven is None
    assert levels.blur.seen
    sizes = np.sqrt([levels.blur.variance_mm2, levels.blur.through_mm2])
    assert sizes == pytest.approx([np.hypot(0.5 / 2.3548, across), 0.5 / 2.3548], abs=0.04)
    off = abs(levels.cortical - GREYS.cortex)
    assert off < max(2.0 * levels.cortical_sd, 0.1 * (GREYS.cortex - GREYS.soft))


@pytest.mark.parametrize("highest", [500, 300])
def test_levels_of_a_clipped_scan_are_not_proven(highest):
    def clipped(grey):
        return np.clip(np.rint(grey), -1000, highest).astype(np.int16)

    levels = bone_levels(*scan(THICK, GREYS, voxel=0.4, stored=clipped, **SMALL))
    assert levels.unproven.code == "levels_cut"


def test_a_scan_of_one_value_has_no_levels():
    def same(grey):
        return np.full(grey.shape, 100, np.int16)

    levels = bone_levels(*scan(THICK, GREYS, voxel=0.4, stored=same, **SMALL))
    assert levels.trouble.code == "levels_no_bone"
