"""A floor found around one click, against the exact shape of an invented upper jaw."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from scipy.spatial import cKDTree

from core.bone.found_floor import FoundFloor, _apart, _next_places, floor_around
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


@pytest.mark.parametrize("seed", [893, 999])
def test_the_border_of_marrow_below_a_floor_is_refused(seed):
    """Dark marrow, 5 mm below the floor: an edge all along, but the hollow's air lies higher."""
    c = choices(seed)
    shape = shape_of(c)
    note = floor_around(scan_of(shape, c), arch_of(plan_of(shape, c)), place(shape, below_mm=5.0))
    assert note.code == "floor-in-marrow"


def test_it_stops_when_asked():
    shape, scan, arch = jaw()
    note = floor_around(scan, arch, place(shape), cancelled=lambda: True)
    assert note.code == "floor-not-found"


class TestSpread:
    """From found places to the next, and out again, on heights drawn by hand."""

    def test_the_next_places_lie_beside_found_ones_along_their_slope(self):
        height = np.full((5, 5), np.nan)
        height[2, 2], height[2, 1] = 3.0, 2.5
        rows, columns, expected = _next_places(height, np.zeros((5, 5), dtype=np.int8))
        found = {(r, c): e for r, c, e in zip(rows, columns, expected, strict=True)}
        assert found == pytest.approx(
            {(2, 3): 3.5, (2, 0): 2.0, (1, 1): 2.5, (1, 2): 3.0, (3, 1): 2.5, (3, 2): 3.0}
        )

    def test_a_slope_is_held_at_0_8_and_two_neighbours_are_averaged(self):
        height = np.full((5, 5), np.nan)
        height[2, 2], height[2, 1] = 5.0, 2.0
        height[3, 3] = 4.0
        rows, columns, expected = _next_places(height, np.zeros((5, 5), dtype=np.int8))
        found = {(r, c): e for r, c, e in zip(rows, columns, expected, strict=True)}
        assert found[2, 3] == pytest.approx((5.8 + 4.0) / 2)
        assert found[2, 0] == pytest.approx(2.0 - 0.8)

    @pytest.mark.parametrize(("tries", "again"), [(0, True), (1, False), (2, False)])
    def test_a_place_is_tried_again_only_where_one_more_neighbour_shows(self, tries, again):
        height = np.full((5, 5), np.nan)
        height[2, 2] = 3.0
        tried = np.full((5, 5), tries, dtype=np.int8)
        assert bool(len(_next_places(height, tried)[0])) is again
        height[1, 1] = 3.0
        rows, columns, _ = _next_places(height, tried)
        both = {(1, 2), (2, 1)}
        found = set(zip(rows.tolist(), columns.tolist(), strict=True))
        assert (both <= found) is (tries < 2)
        assert (len(found) > 2) is (tries < 1)

    def test_what_does_not_lie_where_those_around_it_say_is_taken_back(self):
        rows, columns = np.meshgrid(np.arange(9.0), np.arange(9.0), indexing="ij")
        plane = 2.0 + 0.3 * rows - 0.2 * columns
        assert not _apart(plane).any()
        off = plane.copy()
        off[4, 4] += 1.05
        assert np.argwhere(_apart(off)).tolist() == [[4, 4]]
        off[4, 4] -= 0.1
        assert not _apart(off).any()
        lone = np.full((9, 9), np.nan)
        lone[3:5, 3:5] = plane[3:5, 3:5]
        assert _apart(lone)[3:5, 3:5].all(), "hardly any around them"
        lone[2, 2:5] = plane[2, 2:5]
        assert not _apart(lone)[3, 3]
