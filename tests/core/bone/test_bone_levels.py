"""Levels are learnt from the scan, whatever its scale, its surroundings and its metal."""

from functools import lru_cache

import numpy as np
import pytest

from core.bone.level_learning import bone_levels
from core.image.volume import Volume
from tests.core.bone_phantoms import (
    AIR,
    CORTEX,
    METAL,
    NOISE,
    SOFT,
    SPONGY,
    Jaw,
    rounded,
    scan_of,
)  # fmt: skip


@lru_cache
def scanned(kind):
    out = rounded(10.0, 26.0, -4.0, radius=4.0)
    if kind == "gum and air":
        jaw = Jaw(outline=out, outside=lambda d, w, h: np.where(d < 2.5, SOFT, AIR))
    elif kind == "metal":
        jaw = Jaw(
            outline=out,
            solids=[
                (
                    lambda s, w, h: (
                        np.hypot(s - 22.0, w) * 0
                        + np.maximum(np.hypot(s - 22, w) - 2.0, np.abs(h + 1.0) - 4.0)
                    ),
                    METAL,
                )
            ],
        )
    else:
        jaw = Jaw(outline=out)
    return scan_of(jaw, voxel=0.4, heights=(-33.0, 6.0))


@pytest.mark.parametrize("kind", ["plain", "gum and air", "metal"])
def test_levels_are_found(kind):
    levels = bone_levels(*scanned(kind))
    assert levels.trouble is None
    contrast = CORTEX - SOFT
    assert levels.cortical == pytest.approx(CORTEX, abs=0.06 * contrast)
    assert levels.soft == pytest.approx(SOFT, abs=0.06 * contrast)
    assert levels.spongy == pytest.approx(SPONGY, abs=0.06 * contrast)
    assert levels.noise_sd == pytest.approx(NOISE, rel=0.4)


def test_levels_follow_the_scale_of_the_scan():
    volume, arch = scanned("plain")
    other = Volume(
        voxels=volume.voxels,
        mm_from_ijk=volume.mm_from_ijk,
        slope=0.25,
        intercept=-3000.0,
        made_up=volume.made_up,
    )
    one, two = bone_levels(volume, arch), bone_levels(other, arch)
    assert two.cortical == pytest.approx(0.25 * one.cortical - 3000.0, abs=2.0)
    assert two.noise_sd == pytest.approx(0.25 * one.noise_sd, rel=0.02)


def test_without_bone_there_are_no_levels():
    volume, arch = scanned("plain")
    rng = np.random.default_rng(3)
    flat = (SOFT + NOISE * rng.standard_normal(volume.shape)).astype(np.int16)
    soft = Volume(voxels=flat, mm_from_ijk=volume.mm_from_ijk, made_up=volume.made_up)
    assert bone_levels(soft, arch).trouble.code == "levels_no_bone"


def test_away_from_the_scan_there_are_no_levels():
    volume, arch = scanned("plain")
    affine = volume.mm_from_ijk.copy()
    affine[:3, 3] += 200.0
    away = Volume(voxels=volume.voxels, mm_from_ijk=affine, made_up=volume.made_up)
    assert bone_levels(away, arch).trouble.code == "levels_not_scanned"


def test_thin_line_is_eight_tenths_or_two_voxels():
    volume, arch = scanned("plain")
    assert bone_levels(volume, arch).thin_mm == pytest.approx(0.8)
