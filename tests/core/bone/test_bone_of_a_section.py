"""Which part of a section is bone, on pictures drawn by hand and on a jaw drawn into voxels."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.ndimage import label
from scipy.special import ndtr

from core.bone.bone_in_plane import (
    PIXEL_MM,
    Plane,
    _as_spongy,
    _bridged,
    _filled,
    _Free,
    _inside,
    _with_faint_plates,
    _with_its_plates,
    bone_in_plane,
    outline,
)
from core.bone.bone_levels import BoneLevels
from core.image.volume import Volume
from core.measurement import Note

LEVELS = BoneLevels(
    soft=100.0, spongy=400.0, cortical=1100.0, cortical_sd=40.0, noise_sd=5.0, voxel_mm=0.25
)
SIZE = 60
ROW, COL = np.mgrid[:SIZE, :SIZE]


def disc(row, col, radius):
    return np.hypot(ROW - row, COL - col) <= radius


def ring(row=30, col=30, inner=8, outer=11):
    return disc(row, col, outer) & ~disc(row, col, inner)


def free(marrow=None, scanned=None):
    nothing = np.zeros((SIZE, SIZE), bool)
    return _Free(
        scanned=~nothing if scanned is None else scanned,
        marrow=nothing if marrow is None else marrow,
    )


class TestInside:
    def test_what_a_ring_encloses(self):
        whole = ring()
        assert np.array_equal(_inside(whole, free()), disc(30, 30, 8))

    @pytest.mark.parametrize("turn", [1, 2, 3])
    def test_an_opening_lets_in_from_the_crowns_and_from_both_sides(self, turn):
        """Row 0 is the lowest: from there none comes in."""
        open_ = ring()
        open_[30, 38:42] = False
        turned = np.rot90(open_, turn - 2)
        assert not _inside(turned, free())[30, 30]

    def test_from_below_none_comes_in(self):
        trough = ring(row=4)
        trough[:4] = False
        trough[0:4, 19:42] |= ring(row=4)[0:4, 19:42]
        below = ring(row=2)
        assert _inside(below, free())[0, 30]
        assert not _inside(np.flipud(below), free())[-1, 30]

    def test_where_nothing_was_scanned_there_is_no_way_in(self):
        open_ = ring()
        open_[30, 36:42] = False
        scanned = np.ones((SIZE, SIZE), bool)
        scanned[:, 41:] = False
        assert _inside(open_, free(scanned=scanned))[30, 30]
        # But the end of the field above is an end: what is scanned last lies at it.
        up = ring()
        up[38:42, 30] = False
        cut = np.ones((SIZE, SIZE), bool)
        cut[45:] = False
        assert not _inside(up, free(scanned=cut))[30, 30]

    @pytest.mark.parametrize(("share", "inside"), [(0.69, False), (0.71, True)])
    def test_what_reaches_the_end_is_inside_where_it_is_spongy_bone(self, share, inside):
        walls = np.zeros((SIZE, SIZE), bool)
        walls[:, [20, 40]] = True
        marrow = np.zeros((SIZE, SIZE), bool)
        between = np.flatnonzero((COL > 20).ravel() & (COL < 40).ravel())
        marrow.ravel()[between[: round(share * len(between))]] = True
        found = _inside(walls, free(marrow=marrow))
        assert bool(found[5, 30]) is inside
        assert not found[5, 5]


class TestFilled:
    def filled(self, mask, *, grey=300.0, upper=False, marrow=None, scanned=None):
        smooth = np.full((SIZE, SIZE), float(grey))
        return _filled(mask, smooth, free(marrow, scanned), -400.0, upper=upper)

    def test_a_hollow_is_filled(self):
        assert np.array_equal(self.filled(ring()), disc(30, 30, 11))
        assert np.array_equal(self.filled(ring(), upper=True), disc(30, 30, 11))

    def test_in_the_upper_jaw_one_of_air_is_a_sinus(self):
        assert np.array_equal(self.filled(ring(), grey=-401.0, upper=True), ring())
        assert np.array_equal(self.filled(ring(), grey=-399.0, upper=True), disc(30, 30, 11))
        assert np.array_equal(self.filled(ring(), grey=-401.0), disc(30, 30, 11))

    @pytest.mark.parametrize(("rows", "stays"), [(51, True), (52, False)])
    def test_in_the_upper_jaw_a_large_one_is_too(self, rows, stays):
        """50 columns of a quarter millimetre; 160 mm² are 2560 pixels."""
        box = np.zeros((SIZE, SIZE), bool)
        box[2 : 2 + rows + 2, 2:54] = True
        box[3 : 3 + rows, 3:53] = False
        assert bool(self.filled(box, upper=True)[20, 20]) is stays
        assert self.filled(box)[20, 20]
        marrow = np.ones((SIZE, SIZE), bool)
        assert self.filled(box, upper=True, marrow=marrow)[20, 20]

    @pytest.mark.parametrize(("lost", "stays"), [(8, True), (14, False)])
    def test_one_that_ends_where_nothing_was_scanned_is_none(self, lost, stays):
        """A box of 6 by 6 has a rim of 24: more than 0.4 of it is more than 9."""
        box = np.zeros((SIZE, SIZE), bool)
        box[20:28, 20:28] = True
        box[21:27, 21:27] = False
        rim = [(20, c) for c in range(21, 27)] + [(r, 27) for r in range(21, 27)]
        rim += [(27, c) for c in range(21, 27)]
        scanned = np.ones((SIZE, SIZE), bool)
        for at in rim[:lost]:
            scanned[at], box[at] = False, False
        assert bool(self.filled(box, scanned=scanned)[24, 24]) is stays

    def test_of_two_hollows_each_is_told_by_itself(self):
        two = ring(20, 20) | ring(40, 40)
        smooth = np.where(ROW + COL > 60, -900.0, 300.0)
        found = _filled(two, smooth, free(), -400.0, upper=True)
        assert found[20, 20]
        assert not found[40, 40]


class TestPlates:
    def joined(self, *parts, apart=free):
        labels, count = label(np.logical_or.reduce(parts))
        sizes = np.bincount(labels.ravel(), minlength=count + 1)
        sizes[0] = 0
        return _with_its_plates(labels, sizes, apart())

    @pytest.mark.parametrize(("gap", "bridged"), [(6, True), (7, False)])
    def test_breaks_up_to_a_millimetre_and_a_half_are_bridged(self, gap, bridged):
        line = np.zeros((SIZE, SIZE), bool)
        line[25:36, 5:55] = True
        line[:, 25 : 25 + gap] = False
        found = _bridged(line, np.ones((SIZE, SIZE), bool))
        assert bool(found[30, 27]) is bridged
        assert found[line].all()
        scanned = np.ones((SIZE, SIZE), bool)
        scanned[30, 27] = False
        assert not _bridged(line, scanned)[30, 27]

    def test_halves_of_a_ring_enclose_together(self):
        upper, lower = ring(), ring()
        upper[:32], lower[28:] = False, False
        found = self.joined(upper, lower)
        assert _inside(found, free())[30, 30]

    def test_what_only_lies_near_encloses_nothing(self):
        near = disc(30, 50, 3)
        assert not self.joined(ring(), near)[30, 50]

    @pytest.mark.parametrize(("deep", "taken"), [(6, False), (7, True)])
    def test_three_square_millimetres_must_be_enclosed(self, deep, taken):
        """48 pixels: a bay nine wide, less its rounded corners; a lid lies on it."""
        bay = np.zeros((SIZE, SIZE), bool)
        bay[10:30, 10:50] = True
        bay[30 - deep : 30, 20:29] = False
        lid = np.zeros((SIZE, SIZE), bool)
        lid[31, 10:50] = True
        before, after = (
            int(_inside(_bridged(part, free().scanned), free()).sum()) for part in (bay, bay | lid)
        )
        assert (after - before >= 48) is taken
        assert after - before > 20
        assert bool(self.joined(bay, lid)[31, 25]) is taken

    @pytest.mark.parametrize(("size", "tried"), [(7, False), (8, True)])
    def test_parts_smaller_than_half_a_square_millimetre_are_not_tried(self, size, tried):
        """Half of a square millimetre is 8 pixels: a lid in an opening ten wide."""
        bay = np.zeros((SIZE, SIZE), bool)
        bay[10:30, 10:50] = True
        bay[14:27, 18:32] = False
        bay[27:30, 20:30] = False
        lid = np.zeros((SIZE, SIZE), bool)
        lid[28, 21 : 21 + size] = True
        closed = _inside(_bridged(bay | lid, free().scanned), free())
        assert closed[20, 25], "either lid would close it"
        assert bool(self.joined(bay, lid)[28, 24]) is tried

    @pytest.mark.parametrize(("radius", "taken"), [(3.0, False), (4.6, True)])
    def test_faint_parts_count_where_they_close_a_hollow(self, radius, taken):
        """48 pixels at least."""
        cup = disc(30, 30, radius + 4) & ~disc(30, 30, radius)
        mask = cup & (ROW < 31)
        faint = cup
        found = _with_faint_plates(mask, faint, free())
        assert bool(found[30 + round(radius) + 2, 30]) is taken
        assert found[mask].all()

    def test_faint_parts_further_than_a_millimetre_from_it_are_left(self):
        cup = ring()
        tail = np.zeros((SIZE, SIZE), bool)
        tail[40:58, 29:32] = True
        found = _with_faint_plates(cup & (ROW < 31), cup | tail, free())
        assert found[41, 30]
        assert not found[50:, 30].any()

    def test_without_bone_there_is_nothing_to_join(self):
        none = np.zeros((SIZE, SIZE), bool)
        assert not _with_faint_plates(none, ring(), free()).any()

    @pytest.mark.parametrize(("spongy", "told"), [(240.0, False), (260.0, True), (400.0, True)])
    def test_spongy_bone_is_told_from_0_15_of_the_contrast_on(self, spongy, told):
        levels = replace(LEVELS, spongy=spongy)
        half = 0.5 * (100.0 + spongy)
        found = _as_spongy(np.array([[half - 1.0, half + 1.0]]), levels)
        assert found.tolist() == [[False, told]]


VOXEL = 0.25
PLANE = Plane(origin=(1.0, 2.0, 3.0), across=(1, 0, 0), coronal=(0, 0, 1))


def jaw(*, wide=4.0, low=-20.0, top=2.0, wall=1.5, inside=400.0, outside=100.0, more=None):
    """A box of bone with a cortical shell, through all sections; places count from the plane's."""
    first = np.array([-16.0, -1.0, -32.0])
    n = np.array([128, 8, 160])
    kk, _, ii = np.mgrid[: n[2], : n[1], : n[0]]
    w, h = first[0] + VOXEL * ii, first[2] + VOXEL * kk
    depth = np.minimum.reduce([wide - np.abs(w), top - h, h - low])
    grey = outside + (1100.0 - outside) * ndtr(depth / 0.2)
    grey = grey + (inside - 1100.0) * ndtr((depth - wall) / 0.2)
    if more is not None:
        grey = more(grey, w, h)
    affine = np.diag([VOXEL] * 3 + [1.0])
    affine[:3, 3] = first + PLANE.origin
    return Volume(
        voxels=np.rint(grey).astype(np.int16), mm_from_ijk=affine, made_up=np.zeros(n[2], bool)
    )


def section(volume, *, levels=LEVELS, crown=4.0, upper=False):
    return bone_in_plane(volume, levels, PLANE, crown_level_mm=crown, upper=upper)


class TestSection:
    def test_a_box_of_bone_filled(self):
        found = section(jaw())
        assert found.w == pytest.approx(np.arange(-15.0, 15.1, 0.25))
        assert found.h == pytest.approx(np.arange(-41.0, 19.0, 0.25))
        assert found.plane is PLANE
        assert found.intervals(-8.0) == [
            (pytest.approx(-4.0, abs=0.26), pytest.approx(4.0, abs=0.26))
        ]
        assert found.top(np.array([0.0])) == pytest.approx([2.0], abs=0.26)
        area = found.mask.sum() * PIXEL_MM**2
        assert area == pytest.approx(8.0 * 22.0, rel=0.06)
        assert not found.other.any()
        assert not found.brighter.any()
        assert not found.socket.any()
        assert np.array_equal(found.joined, found.joined | found.mask)

    def test_outside_of_the_scan_nothing_is_bone(self):
        found = section(jaw(low=-50.0))
        assert not found.mask[found.h < -32.2].any()
        assert found.mask[found.h > -31.0].any()

    @pytest.mark.parametrize(("level", "seen"), [(1480.0, False), (1500.0, True)])
    def test_brighter_stands_above_cortex_and_its_doubt_by_0_35_of_the_contrast(self, level, seen):
        """1100 + 40 + 350."""

        def crown(grey, w, h):
            return np.where((np.abs(w) < 2.5) & (h > 2.0) & (h < 8.0), level, grey)

        found = section(jaw(more=crown))
        assert found.brighter.any() == seen
        if seen:
            assert np.abs(found.w[found.brighter.any(axis=0)]).max() <= 2.5

    def test_another_bright_thing_is_no_bone(self):
        def stent(grey, w, h):
            return np.where((np.abs(w) < 3.0) & (h > 6.0) & (h < 12.0), 1100.0, grey)

        found = section(jaw(more=stent))
        assert found.other[found.h > 6.5].any()
        assert not found.mask[found.h > 4.0].any()
        assert not found.other[found.h < 5.0].any()

    def test_the_largest_part_apical_of_the_jaw_plane_is_the_jaw(self):
        """A block above it is larger, but not below the crowns' level and 2 mm."""

        def block(grey, w, h):
            return np.where((h > 5.0) & (h < 8.0), 1100.0, grey)

        thin = jaw(wide=1.0, low=-6.0, more=block)
        low = section(thin, crown=2.0)
        assert low.mask[np.abs(low.h) < 1.0].any()
        assert not low.mask[low.h > 4.0].any()
        high = section(thin, crown=8.0)
        assert high.mask[high.h > 5.5].any()

    @pytest.mark.parametrize(("deep", "seen"), [(1.4, False), (3.2, True)])
    def test_four_square_millimetres_at_least(self, deep, seen):
        found = section(jaw(wide=0.9, low=2.0 - deep, wall=9.0))
        assert found.empty is not seen

    def test_levels_in_trouble_show_no_bone(self):
        assert section(jaw(), levels=replace(LEVELS, trouble=Note("levels_no_bone"))).empty

    def test_a_hollow_of_air_in_the_upper_jaw_stays_open(self):
        air = jaw(inside=-900.0)
        found = section(air, upper=True)
        row = int(np.argmin(np.abs(found.h + 10.0)))
        assert not found.mask[row, len(found.w) // 2]
        assert section(air).mask[row, len(found.w) // 2]
        # Between soft tissue and half of the contrast below it there is no air.
        dark = section(jaw(inside=-300.0), upper=True)
        assert dark.mask[row, len(found.w) // 2]

    def test_a_faint_plate_closes_the_ridge(self):
        """One side is too faint for bone: 0.15 of the contrast above soft tissue tell it."""

        def faint(grey, w, h):
            wall = (w > 2.2) & (w < 4.2) & (h > -19.0) & (h < 1.0)
            return np.where(wall, 320.0, np.where((w >= 4.2), 100.0, grey))

        volume = jaw(inside=110.0, more=faint)
        middle = section(volume).mask[:, 60]
        assert middle[100:160].all()
        weaker = jaw(inside=110.0, more=lambda g, w, h: np.where(faint(g, w, h) == 320.0, 200.0,
                                                                 faint(g, w, h)))  # fmt: skip
        assert not section(weaker).mask[:, 60][100:160].any()


class TestOutline:
    def test_half_way_lines_of_bone_and_of_its_cortex(self):
        lines = outline(jaw(), LEVELS, PLANE, crown_level_mm=4.0, upper=False)
        outer, inner = sorted(lines, key=lambda line: -np.ptp(line[:, 0]))[:2]
        for line, by in ((outer, 0.0), (inner, 1.5)):
            assert line[:, 0].max() == pytest.approx(4.0 - by, abs=0.12)
            assert line[:, 0].min() == pytest.approx(by - 4.0, abs=0.12)
            assert line[:, 1].max() == pytest.approx(2.0 - by, abs=0.12)
            assert line[:, 1].min() == pytest.approx(by - 20.0, abs=0.12)

    def test_without_bone_there_is_none(self):
        none = outline(jaw(wide=-1.0), LEVELS, PLANE, crown_level_mm=4.0, upper=False)
        assert none == []
