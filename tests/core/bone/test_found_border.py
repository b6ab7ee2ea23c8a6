"""The lower border found around one click, against the exact shape of an invented jaw."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from core.bone.edges import ScanEdges
from core.bone.found_border import border_around, find_border
from core.bone.plate_fit import PlateFit
from core.image.volume import Volume
from tests.reference.random_jaws import kernels as k
from tests.studies.found_foramina import scene as scene_of

SEED = 303


@cache
def scene():
    jaw, volume, arch, levels = scene_of(SEED)
    finder = PlateFit.of(volume, arch, "lower", levels)
    return jaw.shape, arch, ScanEdges(volume=volume, levels=levels, finder=finder)


def lowest(over_mm=0.0):
    """The jaw's lowest place in front of the gap, or so far over it."""
    jaw, *_ = scene_of(SEED)
    shape, s = jaw.shape, jaw.foramen_s
    depth = shape.v[k.BASE] - over_mm
    w = shape.row(k.MIDDLE, s) + shape.v[k.TILT] * depth
    return shape.patient(shape.place(s, w, shape.row(k.TOP, s) - depth))[0]


@cache
def found():
    _, arch, scan = scene()
    # A hand's click: off by half a millimetre and more.
    return find_border(scan, arch, lowest() + np.array([0.5, -0.4, 0.6]))


def test_each_section_shows_its_lowest_bone():
    border = found()
    assert isinstance(border, np.ndarray)
    shape, arch, _ = scene()
    up, origin = arch.level.up, arch.level.origin
    surface = shape.surface(30.0, 0.2)
    surface = surface[(surface - lowest()) @ up < 2.5]
    stations = np.array([arch.station(p) for p in surface])
    for place in border:
        here = np.abs(stations - arch.station(place)) < 0.4
        true = float(((surface[here] - origin) @ up).min())
        assert float((place - origin) @ up) == pytest.approx(true, abs=0.15)


def test_it_runs_to_both_sides_a_place_a_millimetre():
    _, arch, _ = scene()
    stations = np.array([arch.station(p) for p in found()])
    assert np.diff(stations) == pytest.approx(1.0, abs=0.05)
    middle = arch.station(lowest())
    assert stations[0] < middle - 10.0
    assert stations[-1] > middle + 10.0


@pytest.mark.parametrize("over_mm", [7.0, 12.0, -5.0])
def test_none_is_found_in_the_jaw_or_far_below_it(over_mm):
    _, arch, scan = scene()
    assert find_border(scan, arch, lowest(over_mm)).code == "border-not-found"


def test_it_stops_when_asked():
    _, arch, scan = scene()
    note = find_border(scan, arch, lowest(), cancelled=lambda: True)
    assert note.code == "border-not-found"


class TestOnTheScansOwnLevels:
    def test_it_is_the_border_of_a_jaw(self):
        _, volume, arch, _ = scene_of(SEED)
        border = border_around(volume, arch, lowest() + np.array([0.5, -0.4, 0.6]))
        assert border == pytest.approx(found(), abs=1e-9)

    def test_without_levels_nothing_is_looked_for(self):
        _, volume, arch, _ = scene_of(SEED)
        even = Volume(
            voxels=np.full_like(volume.voxels, 700), mm_from_ijk=volume.mm_from_ijk,
            made_up=volume.made_up,
        )  # fmt: skip
        note = border_around(even, arch, lowest())
        assert note.code not in ("border-not-found", "")
