"""Places of a block, between plates and on a surface: what is outside there, on cells by hand."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from core.bone import between_plates
from core.bone.between_plates import _are_plates, _marrow_between, joined_over_marrow
from core.bone.between_rays import on_a_surface
from core.bone.bone_in_plane import Plane
from core.bone.outside import Outside

WAYS = np.array([(1.0, 0, 0), (0, 1.0, 0), (0, 0, -1.0)])


def block(*, mouth=(), hollow=(), closed=(), size=41):
    """Cells of 0.3 mm from (-6, -6, 6) down; slices of what is what."""

    def flags(parts):
        out = np.zeros((size,) * 3, dtype=bool)
        for part in parts:
            out[part] = True
        return out

    return Outside(
        corner_mm=np.array([-6.0, -6.0, 6.0]), ways=WAYS, mouth=flags(mouth),
        hollow=flags(hollow), closed=flags(closed),
    )  # fmt: skip


class TestCells:
    def test_a_place_is_in_the_nearest_cell_of_the_block(self):
        found = block(
            mouth=[np.s_[10, 20, 30]], hollow=[np.s_[20, 20, 0]], closed=[np.s_[0, 0, 40]]
        )
        places = np.array(
            [(-3.0, 0, -3), (-3.14, 0, -3), (-3.16, 0, -3), (0, 0, 6), (0, 0, 6.2), (-6, -6, -6)]
        )
        mouth, hollow = found.at(places)
        assert mouth.tolist() == [True, True, False, False, False, False]
        assert hollow.tolist() == [False, False, False, True, False, False]
        assert found.in_marrow(found.cells(places)).tolist() == [False] * 5 + [True]

    def test_widened_by_one_cell(self):
        wide = block(mouth=[np.s_[10, 20, 30]], hollow=[np.s_[30, 20, 30]]).widened()
        assert wide.mouth.sum() == wide.hollow.sum() == 7
        assert wide.mouth[11, 20, 30]
        assert not wide.mouth[12, 20, 30]


class TestOnASurface:
    MET = np.array([(0.0, 0, 0), (np.nan, 0, 0)])

    @pytest.mark.parametrize(
        ("away", "beside", "held"),
        [(1.19, False, True), (1.21, False, False), (1.21, True, True), (3.0, True, True)],
    )
    def test_far_from_all_ends_of_rays_the_outside_must_lie_beside_it(self, away, beside, held):
        place = np.array([(away, 0.0, 0.0)])
        cell = round((away + 6.6) / 0.3)
        around = block(mouth=[np.s_[cell, 20, 20]] if beside else [])
        assert on_a_surface(place, self.MET, around).tolist() == [held]

    @pytest.mark.parametrize(("cells", "held"), [(3, True), (4, False)])
    def test_within_six_tenths_and_a_cell(self, cells, held):
        around = block(hollow=[np.s_[30 + cells, 20, 20]])
        assert on_a_surface(np.array([(3.0, 0, 0)]), self.MET, around).tolist() == [held]

    def test_places_that_are_none_and_no_ends_of_rays(self):
        places = np.array([(np.nan, 0, 0), (5.0, 0, 0)])
        assert on_a_surface(places, self.MET, block()).tolist() == [False, False]
        nothing = np.full((2, 3), np.nan)
        assert on_a_surface(places, nothing, block()).tolist() == [False, True]


class TestBetweenPlates:
    PLANE = Plane(origin=(0, 0, 0), across=(1, 0, 0), coronal=(0, 0, 1))
    PARTS = ((-3.0, -2.0), (2.0, 3.0))

    @pytest.mark.parametrize(
        ("parts", "plates"),
        [
            (((-3, -2), (2, 3)), True),
            (((-3, -2),), False),
            (((-3, -2), (0, 1), (2, 3)), False),
            (((-6.5, -2), (2, 3)), True),
            (((-6.6, -2), (2, 3)), False),
            (((-3, -2), (2, 6.6)), False),
        ],
    )
    def test_two_parts_of_4_5_mm_at_most_are_plates(self, parts, plates):
        assert _are_plates(list(parts)) is plates

    def between(self, *, filled, mouth=(), hollow=()):
        """Cells 14 to 26 lie between the parts at height 0."""
        closed = [np.s_[14 : 14 + filled, 20, 20]]
        around = block(closed=closed, mouth=mouth, hollow=hollow)
        return _marrow_between(around, self.PLANE, 0.0, list(self.PARTS))

    def test_mostly_closed_in_and_nowhere_outside(self):
        assert self.between(filled=13)
        assert self.between(filled=11)
        assert not self.between(filled=8)
        assert not self.between(filled=13, mouth=[np.s_[20, 20, 20]])
        assert not self.between(filled=13, hollow=[np.s_[20, 20, 20]])

    def test_parts_that_touch_have_nothing_between(self):
        assert _marrow_between(block(), self.PLANE, 0.0, [(-3.0, 0.0), (0.1, 3.0)])

    def test_the_block_reaches_from_the_crest_to_3_mm_below_the_deepest(self, monkeypatch):
        asked = {}

        def around(volume, platform, frame, levels, *, reach_mm, depth_mm):
            asked.update(platform=platform, reach=reach_mm, depth=depth_mm, m=frame.m)
            return block(closed=[np.s_[14:27, 20, 20]])

        monkeypatch.setattr(between_plates.Outside, "around", around)
        spans = {0.0: list(self.PARTS), -4.0: [(-3.0, -2.0), (4.0, 5.0)], -8.0: [(-3.0, 9.0)]}
        scan = SimpleNamespace(volume=None, levels=None)
        bone = SimpleNamespace(plane=self.PLANE)
        found = joined_over_marrow(scan, bone, np.array([1.0, 0, 2.0]), spans)
        assert found == {0.0: (-3.0, 3.0)}
        # The middle of both spans: 0 and 1.
        assert asked["platform"] == pytest.approx([0.5, 0, 2])
        assert (asked["reach"], asked["depth"]) == (11.0, 9.0)
        assert asked["m"] == pytest.approx([0, -1, 0])
        assert joined_over_marrow(scan, bone, np.zeros(3), {-8.0: [(-3.0, 9.0)]}) == {}
