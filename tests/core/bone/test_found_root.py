"""A root found around one click, against the exact cone that was painted."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

from core.bone import found_root
from core.bone.bone_levels import Blur, BoneLevels
from core.bone.found_root import FoundRoot, find_root
from core.image.volume import Volume

VOXEL, PARTS = 0.3, 2
SOFT, DENTINE, CORTEX, ENAMEL = 50.0, 1550.0, 1500.0, 2500.0
NECK_R, APEX_R, LENGTH = 2.3, 1.0, 11.0
BLUR_MM = 0.2
NECK = np.array([0.4, -0.3, 0.2])
AXIS = np.array([0.12, -0.08, -1.0]) / np.linalg.norm([0.12, -0.08, -1.0])
APEX = NECK + LENGTH * AXIS
SIZE_MM = np.array([18.0, 18.0, 27.0])


def levels():
    return BoneLevels(
        soft=SOFT, spongy=350.0, cortical=CORTEX, cortical_sd=60.0, noise_sd=40.0,
        voxel_mm=VOXEL, blur=Blur(variance_mm2=BLUR_MM**2, sd_mm=0.05, seen=True),
    )  # fmt: skip


@cache
def scan(
    *, marrow=350.0, lamina=0.0, crown=ENAMEL, bridge=False, oval=0.0, ligament=0.2, pulp=0.0,
    apex=APEX_R,
):  # fmt: skip
    """Bone below z = -1.2, a tooth in it: its root a cone, its crown wider with enamel outside."""
    rng = np.random.default_rng(5)
    cell = VOXEL / PARTS
    count = np.rint(SIZE_MM / cell).astype(int)
    first = np.array([-9.0, -9.0, -17.5]) + 0.5 * cell
    k, j, i = np.indices(count[::-1], dtype=np.float32)
    at = [first[n] + cell * a for n, a in enumerate((i, j, k))]
    off = [a - NECK[n] for n, a in enumerate(at)]
    along = sum(o * w for o, w in zip(off, AXIS, strict=True))
    across = [o - along * w for o, w in zip(off, AXIS, strict=True)]
    away = np.sqrt(sum(a**2 for a in across))
    radius = NECK_R + np.clip(along, -20.0, LENGTH) / LENGTH * (apex - NECK_R)
    radius = np.where(along < 0, NECK_R + 0.7 * np.clip(-along / 2.0, 0.0, 1.0), radius)
    if oval:
        radius = radius + oval * (2.0 * (across[0] / np.maximum(away, 1e-6)) ** 2 - 1.0)
    depth = np.maximum(away - radius, np.maximum(along - LENGTH, -8.0 - along))
    grey = np.where(at[2] < -1.2, marrow, SOFT)

    def lay(level, amount):
        nonlocal grey
        grey = grey + np.clip(amount, 0.0, 1.0) * (level - grey)

    bone = at[2] < -1.2
    if lamina:
        lay(CORTEX, np.where(bone, 0.5 - (depth - ligament - lamina) / cell, 0.0))
    lay(SOFT, np.where(bone, 0.5 - (depth - ligament) / cell, 0.0))
    lay(DENTINE, 0.5 - depth / cell)
    if pulp:
        lay(SOFT, np.where(along < LENGTH - 1.0, 0.5 - (away - pulp) / cell, 0.0))
    if bridge:
        beside = np.maximum(np.abs(across[1]) - 1.4, np.maximum(-across[0], along - 8.0))
        lay(DENTINE, np.where(along > 0.5, 0.5 - beside / cell, 0.0))
    shell = np.maximum(depth, np.maximum(along + 1.5, -depth - 1.0))
    lay(crown, 0.5 - shell / cell)
    grey = gaussian_filter(grey, BLUR_MM / cell)
    kk, jj, ii = (n // PARTS for n in grey.shape)
    grey = grey.reshape(kk, PARTS, jj, PARTS, ii, PARTS).mean(axis=(1, 3, 5))
    grey = grey + rng.normal(0.0, 60.0, grey.shape)
    affine = np.diag([VOXEL, VOXEL, VOXEL, 1.0])
    affine[:3, 3] = first + 0.5 * (VOXEL - cell)
    return Volume(
        voxels=np.rint(np.clip(grey, -1000, 9000)).astype(np.int16), mm_from_ijk=affine,
        made_up=np.zeros(kk, bool),
    )  # fmt: skip


def found(click=(0.7, -0.5, 0.3), **how):
    """Clicked some tenths off the axis, half way down; the jaw's own up is 8 degrees off it."""
    middle = 0.5 * (NECK + APEX)
    return find_root(scan(**how), levels(), middle + np.array(click), np.array([0.0, 0.0, -1.0]))


def off_axis_deg(root):
    way = (root.apex_mm - root.neck_mm) / root.length_mm
    return np.degrees(np.arccos(way @ AXIS))


def true_diameter(point, apex=APEX_R):
    along = float((point - NECK) @ AXIS)
    return 2.0 * (NECK_R + along / LENGTH * (apex - NECK_R))


@pytest.mark.parametrize(
    "how",
    [
        {"marrow": 350.0},
        {"marrow": -50.0},
        {"marrow": 350.0, "lamina": 0.4},
        {"marrow": 1350.0},
        {"marrow": 350.0, "lamina": 0.3, "ligament": 0.3},
        {"marrow": 350.0, "lamina": 0.3, "pulp": 0.45},
    ],
    ids=["marrow", "fatty marrow", "lamina dura", "dense bone", "wide ligament", "pulp"],
)
def test_axis_length_and_diameters_are_those_of_the_root_and_not_of_its_socket(how):
    root = found(**how)
    assert isinstance(root, FoundRoot)
    assert off_axis_deg(root) < 1.0
    assert float((root.apex_mm - NECK) @ AXIS) == pytest.approx(LENGTH, abs=0.4)
    for point, diameter in zip((root.neck_mm, root.apex_mm), root.diameters_mm, strict=True):
        assert diameter == pytest.approx(true_diameter(point), abs=0.3)
    assert root.diameter_sd_mm < 0.3
    assert not root.is_oval
    # Up to where the crown begins, not further.
    assert -2.0 < float((root.neck_mm - NECK) @ AXIS) < 1.0


def test_of_an_oval_root_the_larger_diameter_is_taken():
    root = found(oval=0.4)
    assert root.is_oval
    assert root.oval_mm == pytest.approx(1.6, abs=0.3)
    assert root.diameters_mm[0] == pytest.approx(true_diameter(root.neck_mm) + 0.8, abs=0.3)


def test_a_root_that_runs_to_a_point_is_as_thin_as_it_is():
    root = found(apex=0.5)
    thin = true_diameter(root.apex_mm, 0.5)
    assert thin < 1.3
    assert root.diameters_mm[1] == pytest.approx(thin, abs=0.25)
    assert off_axis_deg(root) < 1.0


def test_a_metal_crown_is_refused():
    assert found(crown=8000.0).code == "root-metal"


def test_roots_that_touch_are_refused():
    assert found(bridge=True).code == "root-touches"


def test_where_no_root_is_none_is_found():
    for off in ((5.5, 0.0, 0.0), (-4.8, 3.0, -2.0), (0.0, 0.0, -9.5)):
        note = found(click=off)
        assert getattr(note, "code", "") == "root-not-found", off


def test_it_stops_when_asked():
    middle = 0.5 * (NECK + APEX)
    way = np.array([0.0, 0.0, -1.0])
    assert find_root(scan(), levels(), middle, way, cancelled=lambda: True).code == "root-not-found"


@pytest.mark.parametrize("doubt", ["_MOST_SD_MM", "_MOST_AXIS_SD_DEG", "_MOST_SCATTER_MM"])
def test_one_thing_in_doubt_is_enough_to_give_none(monkeypatch, doubt):
    """Diameter, axis and scatter of a root that is found: with nothing allowed of one of them."""
    assert isinstance(found(marrow=350.0), FoundRoot)
    monkeypatch.setattr(found_root, doubt, 0.0)
    assert found(marrow=350.0).code == "root-not-found"
