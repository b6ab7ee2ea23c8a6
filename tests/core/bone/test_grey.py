"""Grey values beside a fixture: means of exact levels, and nothing where nothing was scanned."""

from dataclasses import replace

import numpy as np
import pytest

from core.arch import fixture_frame
from core.bone.grey import LABEL, grey_beside
from core.fixture import Fixture, FixtureSize
from core.image.volume import Volume
from tests.core.bone_phantoms import arc_arch


def scene():
    arch = arc_arch()
    f = arch.frame(58.0)
    fixture = Fixture(
        id="f",
        platform=f.origin - 4.0 * f.up,
        towards_apex=-f.up,
        size=FixtureSize(diameter_mm=4.0, length_mm=8.0),
    )
    voxels = np.zeros((80, 80, 80), np.int16)
    affine = np.diag([0.3, 0.3, 0.3, 1.0])
    affine[:3, 3] = fixture.platform - [12, 12, 16]
    depth = 16.0 - np.arange(80) * 0.3
    voxels[:] = (1000 + 100 * depth)[:, None, None]
    volume = Volume(voxels=voxels, mm_from_ijk=affine, made_up=np.zeros(80, bool))
    return volume, fixture, fixture_frame(fixture, arch)


def test_means_follow_the_level_by_depth():
    volume, fixture, frame = scene()
    rows = grey_beside(volume, fixture, frame)
    assert [r.depth_mm for r in rows] == [i + 0.5 for i in range(8)]
    for row in rows:
        assert row.mean == pytest.approx(1000 + 100 * row.depth_mm, abs=2)
        assert row.sd < 60


def test_outside_the_scan_there_is_no_value_but_a_reason():
    volume, fixture, frame = scene()
    away = replace(fixture, platform=fixture.platform + np.array([11.0, 0, 0]))
    rows = grey_beside(volume, away, frame)
    assert all(r.mean is None and r.note.code == "grey-not-scanned" for r in rows)


def test_the_label_says_that_it_is_no_hu():
    assert str(LABEL) == "grey value of this scan, not HU"
