"""Where the scan's edge is looked for beside a fixture, on a scan cut at known places."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from core.bone.field_edge import scan_ends_beside
from core.fixture import Fixture, FixtureSize
from core.geometry import unit
from core.image.volume import Volume

FIXTURE = Fixture(
    id="f", platform=(0, 0, 0), towards_apex=(0, 0, -1),
    size=FixtureSize(diameter_mm=4.0, length_mm=8.0, apical_diameter_mm=2.0),
)  # fmt: skip


def direction(turn_deg):
    phi = np.radians(turn_deg)
    return unit([np.cos(phi), np.sin(phi), 0.0])


FRAME = SimpleNamespace(direction=direction)
"""Buccal is x, mesial y."""

VOXEL = 0.25


def scan(low=(-15.0,) * 3, high=(15.0,) * 3, lost=None):
    """Scanned between two corners; `lost` (x, y) of a column that was not."""
    low, high = np.array(low), np.array(high)
    n = np.rint((high - low) / VOXEL).astype(int) + 1
    affine = np.diag([VOXEL] * 3 + [1.0])
    affine[:3, 3] = low
    field = None
    if lost is not None:
        field = np.ones((n[1], n[0]), np.uint8)
        i, j = np.rint((np.array(lost) - low[:2]) / VOXEL).astype(int)
        field[j - 1 : j + 2, i - 1 : i + 2] = 0
    return Volume(
        voxels=np.zeros(tuple(n[::-1]), np.int16), mm_from_ijk=affine,
        made_up=np.zeros(n[2], bool), field=field,
    )  # fmt: skip


def ends(side, reach=5.0, **how):
    return scan_ends_beside(scan(**how), FIXTURE, FRAME, side, reach)


@pytest.mark.parametrize("side", ["buccal", "lingual", "apical"])
def test_a_scan_all_round_does_not_end(side):
    assert not ends(side)


@pytest.mark.parametrize(("reach", "cut"), [(5.0, True), (4.0, False)])
@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_buccal_and_lingual_to_their_reach_from_the_surface(reach, cut, sign):
    """Cut 6.5 mm from the axis: the platform's surface lies at 2 mm."""
    corners = {"high": (6.5, 15, 15)} if sign > 0 else {"low": (-6.5, -15, -15)}
    own, other = ("buccal", "lingual") if sign > 0 else ("lingual", "buccal")
    assert ends(own, reach, **corners) is cut
    assert not ends(other, reach, **corners)


@pytest.mark.parametrize(
    ("turn", "away", "told"),
    [(0, 5.0, True), (40, 5.0, True), (-40, 5.0, True), (45, 6.0, True), (60, 5.0, False),
     (-60, 5.0, False), (180, 5.0, False), (0, 1.5, False), (0, 7.6, False)],
)  # fmt: skip
def test_within_45_degrees_of_a_side(turn, away, told):
    """One column of the field that was not scanned."""
    x, y = away * np.cos(np.radians(turn)), away * np.sin(np.radians(turn))
    assert ends("buccal", lost=(x, y)) is told
    assert ends("lingual", lost=(-x, -y)) is told


@pytest.mark.parametrize(
    ("corners", "told"),
    [({"high": (15, 15, -0.5)}, True), ({"high": (15, 15, 0.5)}, False),
     ({"low": (-15, -15, -7.5)}, True), ({"low": (-15, -15, -8.5)}, False)],
)  # fmt: skip
def test_from_the_platform_to_the_apex(corners, told):
    assert ends("buccal", **corners) is told


@pytest.mark.parametrize(
    ("corners", "told"),
    [({"low": (-15, -15, -12.5)}, True), ({"low": (-15, -15, -13.5)}, False),
     ({"high": (0.5, 15, 15)}, True), ({"high": (1.5, 15, 15)}, False),
     ({"low": (-0.5, -15, -15)}, True), ({"low": (-15, -0.5, -15)}, True),
     ({"high": (15, 15, -8.5)}, False), ({"high": (15, 15, -9.5)}, True)],
)  # fmt: skip
def test_beyond_the_apex_below_all_of_its_end(corners, told):
    """From 1 mm below the apex at 8 mm to the reach, in a ring of the end's radius of 1 mm."""
    assert ends("apical", **corners) is told


def test_the_reach_itself_is_looked_at_too():
    assert ends("apical", 4.5, low=(-15, -15, -12.25))
    assert not ends("apical", 4.0, low=(-15, -15, -12.25))
    assert ends("buccal", 4.6, high=(6.5, 15, 15))
    assert not ends("buccal", 4.4, high=(6.5, 15, 15))
