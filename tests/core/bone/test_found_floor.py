"""A floor found around one click, against the exact shape of an invented upper jaw."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from scipy.spatial import cKDTree

from core.bone.found_floor import FoundFloor, floor_around
from core.distances.floor_surface import FloorSurface
from core.plans.side import arch_of
from tests.reference.random_jaws import kernels as k
from tests.reference.random_jaws.draw import choices
from tests.reference.random_jaws.image import scan_of
from tests.reference.random_jaws.plan import plan_of
from tests.reference.random_jaws.shape import shape_of

SEED = 7116


@cache
def jaw():
    """An upper jaw, its scan and the arch that a hand traced."""
    c = choices(SEED)
    shape = shape_of(c)
    return shape, scan_of(shape, c), arch_of(plan_of(shape, c))


def place(shape, below_mm=0.0):
    """On the floor at the site, or so far below it."""
    depth = shape.row(k.FLOOR, 0.0) - below_mm
    w = shape.row(k.MIDDLE, 0.0) + shape.v[k.TILT] * depth
    return shape.patient(shape.place(0.0, w, shape.row(k.TOP, 0.0) - depth))[0]


@cache
def found():
    shape, scan, arch = jaw()
    # A hand's click: off by some tenths of a millimetre.
    return floor_around(scan, arch, np.add(place(shape), [0.3, -0.3, 0.4]))


def test_the_floor_around_a_click_lies_where_it_is():
    floor = found()
    assert isinstance(floor, FoundFloor)
    shape, _, _ = jaw()
    off = cKDTree(shape.floor(14.0)).query(floor.points_mm[floor.seen])[0]
    assert off.mean() < 0.1
    assert off.max() < 0.25
    assert floor.seen.sum() > 60


def test_marks_are_proposed_in_sections_beyond_a_fixture_and_give_the_floor_again():
    floor = found()
    shape, _, arch = jaw()
    lines = floor.lines()
    stations = [line.station_mm for line in lines]
    assert stations == sorted(stations)
    middle = arch.station(place(shape))
    assert min(stations) < middle - 9.0
    assert max(stations) > middle + 9.0
    assert sum(len(line.points_mm) for line in lines) < 40
    for line in lines:
        assert [arch.station(p) for p in line.points_mm] == pytest.approx(
            [line.station_mm] * len(line.points_mm), abs=0.05
        )
    surface = FloorSurface.through(np.concatenate([line.points_mm for line in lines]))
    off = cKDTree(shape.floor(14.0)).query(surface.samples(1.0))[0]
    assert np.percentile(off, 95) < 0.3


def test_no_floor_is_found_in_the_bone_below_it():
    shape, scan, arch = jaw()
    note = floor_around(scan, arch, place(shape, below_mm=5.0))
    assert note.code == "floor-not-found"


def test_it_stops_when_asked():
    shape, scan, arch = jaw()
    note = floor_around(scan, arch, place(shape), cancelled=lambda: True)
    assert note.code == "floor-not-found"
