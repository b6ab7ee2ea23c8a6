"""What ends a ridge's height, where it lies in the section and what moves it, by hand."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from core.bone import ridge_height
from core.bone.bone_in_plane import Plane
from core.bone.ridge_height import (
    RidgeHeight,
    height_along_axis,
    height_in_section,
    level_of,
    usable_height,
)
from core.bone.ridge_section import Crest
from core.fixture import Fixture, FixtureSize
from core.measurement import MARKED, SEEN, MarkInfluence, Note, Reading
from core.structures import Course, Floor, Foramen, PointMarks, Tapered

PLANE = Plane(origin=(0, 0, 0), across=(1, 0, 0), coronal=(0, 0, 1))
"""The section x–z; its normal is -y."""

CREST = Crest(point_mm=np.array([0.5, 0.0, 10.0]), sd_mm=0.12, evidence=SEEN)


def canal(x=3.0, z=-5.0, slope=0.0, diameter=3.0, reach=20.0, ident="canal"):
    y = np.linspace(-reach, reach, 9)
    points = np.column_stack([np.full(9, x), y, z + slope * y])
    return Course(id=ident, kind="canal", points=points, diameter_mm=diameter)


def floor(slope=0.0, z=-4.0, reach=6.0, ident="floor"):
    ticks = np.linspace(-reach, reach, 4)
    points = [(x, y, z + slope * x) for x in ticks for y in ticks]
    return Floor(id=ident, of="sinus", points=points)


def codes(height):
    return [note.code for note in height.reading.notes]


class TestLevelOf:
    def test_a_canal_across_the_section_at_its_upper_wall(self):
        assert level_of([canal()], PLANE) == pytest.approx(-3.5, abs=1e-4)

    def test_of_several_the_highest(self):
        assert level_of([canal(), canal(z=-1.0)], PLANE) == pytest.approx(0.5, abs=1e-4)

    def test_a_canal_aslant_is_cut_as_an_ellipse(self):
        """Its wall rises to r sqrt(1 + slope²) over its middle."""
        assert level_of([canal(slope=0.5)], PLANE) == pytest.approx(
            -5 + 1.5 * np.sqrt(1.25), abs=1e-3
        )

    @pytest.mark.parametrize(("x", "met"), [(14.9, True), (15.1, False), (-14.9, True)])
    def test_within_15_mm_of_the_sections_middle(self, x, met):
        assert (level_of([canal(x=x)], PLANE) is not None) is met
        foramen = Foramen(id="f", mesial=(x, 0.5, 0), distal=(x, -0.5, 0))
        assert (level_of([foramen], PLANE) is not None) is met

    @pytest.mark.parametrize(("y", "met"), [(0.9, True), (1.1, False), (-0.9, True)])
    def test_a_ball_is_cut_within_its_radius(self, y, met):
        foramen = Foramen(id="f", mesial=(1, y, 0), distal=(-1, y, 0))
        assert level_of([foramen], PLANE) == (
            pytest.approx(np.sqrt(1 - 0.81), abs=1e-3) if met else None
        )

    @pytest.mark.parametrize("slope", [0.0, 0.3, -0.4])
    def test_a_floor_at_its_highest_place_in_the_section(self, slope):
        # Looked for on lines 0.25 mm apart.
        highest = -4 + 6 * abs(slope)
        assert highest - 0.25 * abs(slope) <= level_of([floor(slope)], PLANE) <= highest + 1e-9

    def test_a_floor_that_the_section_misses_has_no_level(self):
        beside = replace(floor(), points=np.add(floor().points, (0.0, 6.5, 0.0)))
        assert level_of([beside], PLANE) is None
        far = replace(floor(), points=np.add(floor().points, (22.0, 0.0, 0.0)))
        assert level_of([far], PLANE) is None
        two = Floor(id="s", of="sinus", points=[(0, 0, 0), (1, 0, 0)])
        assert level_of([two], PLANE) is None

    def test_marks_have_no_border(self):
        assert level_of([PointMarks(id="m", kind="mark", points=[(0, 0, 0)])], PLANE) is None
        assert level_of([], PLANE) is None


class TestInSection:
    def test_from_the_crest_down_to_the_level_beside_it(self):
        found = height_in_section(PLANE, CREST, [canal()])
        assert found.reading.value == pytest.approx(13.5, abs=1e-4)
        assert (found.along, found.target) == ("up", "canal")
        assert found.reading.witness[0] == pytest.approx([0.5, 0, 10])
        assert found.reading.witness[1] == pytest.approx([3, 0, -3.5], abs=1e-3)
        assert found.reading.edge_sd_mm == (0.12,)
        assert found.reading.size_sd_mm == pytest.approx(0.175, abs=1e-6)
        # Raising the canal by d takes d off the height, moving it aside nothing.
        assert sum(m.gradient for m in found.reading.marks) == pytest.approx([0, 0, -1], abs=1e-4)
        assert found.reading.evidence.is_sound

    def test_aslant_moving_it_along_itself_counts_by_its_slope(self):
        found = height_in_section(PLANE, CREST, [canal(slope=0.5)])
        total = sum(m.gradient for m in found.reading.marks)
        assert total == pytest.approx([0, 0.5, -1], abs=0.02)
        assert found.reading.size_sd_mm == pytest.approx(0.175 * np.sqrt(1.25), rel=1e-2)

    @pytest.mark.parametrize("slope", [0.0, 0.3])
    def test_shifting_a_floor_whole(self, slope):
        found = height_in_section(PLANE, CREST, [floor(slope)])
        assert found.reading.value == pytest.approx(14 - 6 * slope, abs=0.25 * slope + 1e-9)
        total = sum(m.gradient for m in found.reading.marks)
        assert total == pytest.approx([slope, 0, -1], abs=1e-3)
        assert [m.mark for m in found.reading.marks][:2] == ["floor/0", "floor/1"]

    def test_what_is_missing_is_said_with_what_is_there(self):
        short = replace(floor(), points=np.add(floor().points, (0.0, 6.5, 0.0)))
        found = height_in_section(PLANE, CREST, [short, canal()])
        assert found.reading.value == pytest.approx(13.5, abs=1e-4)
        assert codes(found) == ["height_floor_short"]
        assert found.reading.notes[0].fields["id"] == "floor"
        assert codes(height_in_section(PLANE, CREST, [short])) == ["height_not_in_section"]

    def test_nothing_marked_a_floor_without_surface_and_no_crest(self):
        assert codes(height_in_section(PLANE, CREST, [])) == ["height_nothing_marked"]
        mark = PointMarks(id="m", kind="mark", points=[(0, 0, 0)])
        assert codes(height_in_section(PLANE, CREST, [mark])) == ["height_nothing_marked"]
        two = Floor(id="s", of="sinus", points=[(0, 0, 0), (1, 0, 0)])
        assert codes(height_in_section(PLANE, CREST, [two])) == ["height_floor_no_surface"]
        far = Tapered(id="r", kind="root", points=[(0, 9, 0), (0, 9, 5)], diameters_mm=(3, 2))
        assert codes(height_in_section(PLANE, CREST, [far])) == ["height_nothing_marked"]
        none = Crest(point_mm=None, notes=(Note("ridge_no_bone"),))
        assert codes(height_in_section(PLANE, none, [canal()])) == ["ridge_no_bone"]

    def root(self, top, kind="root", **more):
        return Tapered(
            id="r", kind=kind, points=[(1, 0, top), (1, 0, -3)], diameters_mm=(1.0, 1.0), **more
        )

    def test_a_root_at_the_crest_leaves_no_height_and_one_below_ends_it(self):
        at_crest = height_in_section(PLANE, CREST, [self.root(9.6), canal()])
        assert codes(at_crest) == ["height_root_at_crest"]
        assert at_crest.target == "r"
        below = height_in_section(PLANE, CREST, [self.root(9.4), canal()])
        assert below.reading.value == pytest.approx(0.1, abs=1e-3)
        gone = height_in_section(PLANE, CREST, [self.root(9.6, to_be_removed=True), canal()])
        assert gone.reading.value == pytest.approx(13.5, abs=1e-4)

    def test_beside_a_tooth_that_stands_its_own_root_does_not_end_the_height(self):
        crest = replace(CREST, marks=(MarkInfluence(mark="crest/0", gradient=(0, 0, 1)),))
        found = height_in_section(PLANE, crest, [self.root(9.6), canal()])
        assert found.reading.value == pytest.approx(13.5, abs=1e-4)
        assert found.target == "canal"
        lower = height_in_section(PLANE, crest, [self.root(9.4), canal()])
        assert lower.target == "r"


class TestAlongAxis:
    FIXTURE = Fixture(
        id="f", platform=(0, 0, 8.0), towards_apex=(0, 0, -1),
        size=FixtureSize(diameter_mm=4.0, length_mm=8.0, platform_diameter_mm=4.6),
    )  # fmt: skip

    def test_from_the_crests_level_over_the_footprint_widened_by_the_limit(self):
        found = height_along_axis(self.FIXTURE, CREST, [canal()], lambda _: 2.0)
        assert found.reading.value == pytest.approx(13.5, abs=1e-4)
        assert found.along == "axis"
        assert found.reading.edge_sd_mm == (0.12,)
        # Middle at x = 3: met within 2.3 mm and its own 1.5 mm where it is let.
        assert height_along_axis(
            self.FIXTURE, CREST, [canal(x=4.0)], lambda _: 0.0
        ).reading.notes[0].code == "height_nothing_below"  # fmt: skip
        near = height_along_axis(self.FIXTURE, CREST, [canal(x=4.0)], lambda _: 0.5)
        assert near.reading.value == pytest.approx(15 - np.sqrt(1.5**2 - 1.2**2), abs=1e-3)

    def test_of_several_the_nearest_each_by_its_own_limit(self):
        limits = {"canal": 0.0, "deep": 2.0}
        found = height_along_axis(
            self.FIXTURE, CREST, [canal(x=6.0), canal(x=5.0, z=-9.0, ident="deep")],
            lambda s: limits[s.id],
        )  # fmt: skip
        assert found.target == "deep"

    def test_without_crest_or_marks_nothing_is_assessed(self):
        none = Crest(point_mm=None, notes=(Note("ridge_no_bone"),))
        assert codes(height_along_axis(self.FIXTURE, none, [canal()], lambda _: 0)) == [
            "ridge_no_bone"
        ]
        assert codes(height_along_axis(self.FIXTURE, CREST, [], lambda _: 0)) == [
            "height_nothing_marked"
        ]


class TestUsable:
    """Widths by depth drawn by hand: levels are 0.25 mm apart from the crest down."""

    def usable(self, monkeypatch, widths, *, total=3.0, needed=6.0, seen_wide=(), crest=CREST):
        depths = np.arange(0.0, max(total, 0.0) + 1e-9, 0.25)
        readings = [
            Reading(value=None, notes=(Note(w),))
            if isinstance(w, str)
            else Reading(value=float(w), edge_sd_mm=(0.1, 0.2))
            for w in widths
        ]
        assert len(readings) == len(depths)
        monkeypatch.setattr(ridge_height, "widths", lambda *_: readings)
        monkeypatch.setattr(ridge_height, "without_single_plates", lambda _, found: found)
        monkeypatch.setattr(
            ridge_height, "wider_than",
            lambda *_: np.isin(np.arange(len(depths)), seen_wide),
        )  # fmt: skip
        height = RidgeHeight(
            along="up",
            reading=Reading(
                value=total, witness=((0.5, 0, 10.0), (3.0, 0, 10.0 - total)), edge_sd_mm=(0.12,)
            ),
        )
        bone = SimpleNamespace(plane=PLANE)
        return usable_height(None, bone, crest, height, needed)

    def test_a_ridge_that_is_wide_from_the_crest_on_loses_nothing(self, monkeypatch):
        found = self.usable(monkeypatch, [6.0] * 13)
        assert (found.height.value, found.lost.value) == (3.0, 0.0)
        assert found.width_mm == 6.0

    def test_the_level_between_two_widths_is_interpolated(self, monkeypatch):
        widths = [4.0, 5.0, 5.5, 6.5, *[7.0] * 9]
        found = self.usable(monkeypatch, widths)
        assert found.lost.value == pytest.approx(0.5 + 0.125)
        assert found.height.value == pytest.approx(3.0 - 0.625)
        assert found.height.witness[0] == pytest.approx([0.5, 0, 10 - 0.625])

    def test_of_a_ridge_too_narrow_at_the_crest_alone_the_part_above_is_lost(self, monkeypatch):
        found = self.usable(monkeypatch, [5.0, *[7.0] * 12])
        assert found.lost.value == pytest.approx(0.125)
        assert found.height.value == pytest.approx(3.0 - 0.125)

    def test_what_is_lost_below_a_crest_set_by_hand_carries_the_mark(self, monkeypatch):
        up = np.array([0.0, 0.0, 1.0])
        crest = replace(
            CREST, evidence=MARKED, marks=(MarkInfluence(mark="crest-1/0", gradient=up),)
        )
        (mark,) = self.usable(monkeypatch, [5.0] * 13, crest=crest).lost.marks
        assert mark.mark == "crest-1/0"
        assert mark.gradient == pytest.approx(up), "a crest 1 mm higher: 1 mm more is lost"

    def test_it_must_stay_wide_enough(self, monkeypatch):
        widths = [7.0] * 8 + [5.0] + [7.0] * 4
        found = self.usable(monkeypatch, widths)
        assert found.lost.value == pytest.approx(2.0 + 0.125)

    def test_nowhere_wide_enough_all_is_lost(self, monkeypatch):
        found = self.usable(monkeypatch, [5.0] * 13)
        assert (found.height.value, found.lost.value) == (0.0, 3.0)

    def test_the_rounded_top_need_not_be_found_further_down_it_must(self, monkeypatch):
        lost = "edge_nothing"
        found = self.usable(monkeypatch, [lost] * 4 + [7.0] * 9)
        assert found.lost.value == pytest.approx(1.0), "nothing between both levels is claimed"
        found = self.usable(monkeypatch, [lost] * 5 + [7.0] * 8)
        assert found.height.value is None
        assert found.height.notes[0].code == "usable_unclear"
        found = self.usable(monkeypatch, [7.0] * 4 + [lost] + [5.0] + [7.0] * 7)
        assert found.lost.value == pytest.approx(1.25 + 0.125), "above what is too narrow"

    def test_one_plate_alone_is_no_ridge(self, monkeypatch):
        found = self.usable(monkeypatch, ["ridge_one_plate"] + [7.0] * 12)
        assert found.height.notes[0].code == "ridge_one_plate"

    @pytest.mark.parametrize("code", ["ridge_two_intervals", "ridge_open_side"])
    def test_where_it_runs_on_it_is_wide_if_it_is_seen_to_be(self, monkeypatch, code):
        widths = [7.0] * 6 + [code] * 2 + [7.0] * 5
        assert self.usable(monkeypatch, widths).height.notes[0].code == "usable_unclear"
        found = self.usable(monkeypatch, widths, seen_wide=(6, 7))
        assert found.height.value == 3.0
        assert dict(found.height.notes[0].fields) == {"count": 2, "of": 13}
        half = self.usable(monkeypatch, widths, seen_wide=(6,))
        assert half.height.value is None
        other = [7.0] * 6 + ["edge_nothing"] * 2 + [7.0] * 5
        assert self.usable(monkeypatch, other, seen_wide=(6, 7)).height.value is None

    def test_without_a_height_there_is_none_to_use(self):
        nothing = RidgeHeight(along="up", reading=Reading(value=None, notes=(Note("x-y"),)))
        found = usable_height(None, None, CREST, nothing, 6.0)
        assert found.height.notes == nothing.reading.notes
        assert found.lost.value is None
