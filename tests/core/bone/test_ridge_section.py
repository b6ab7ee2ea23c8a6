"""Spans, single plates and the least over a turn, on sections and edges drawn by hand."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from core.bone import ridge_section
from core.bone.bone_in_plane import PIXEL_MM, BoneInPlane, Plane
from core.bone.edges import EdgeSet, ScanEdges
from core.bone.plates import _smoothed, plate_thickness
from core.bone.ridge_section import (
    Crest,
    RidgeWidth,
    find_crest,
    least_over_turn,
    ridge_widths,
    wider_than,
    widths,
)
from core.measurement import SEEN, MarkInfluence, Note, Reading
from tests.core.bone_phantoms import true_levels

PLANE = Plane(origin=(0, 0, 0), across=(1, 0, 0), coronal=(0, 0, 1))
W = np.arange(-15.0, 15.01, PIXEL_MM)
H = np.arange(-12.0, 3.01, PIXEL_MM)
LEVELS = true_levels(0.3)


class Block:
    """Finds the edges of a solid that is known: two walls by height, a top, and no blur."""

    def __init__(self, half, top=0.0, sd=0.1):
        self.half, self.top, self.sd = half, top, sd

    def inside(self, points):
        return (np.abs(points[..., 0]) <= self.half(points[..., 2])) & (points[..., 2] <= self.top)

    def outer(self, volume, starts, directions, max_mm):
        t = np.arange(0.0, max_mm + 1e-9, 0.002)
        places = starts[:, None] + t[:, None] * np.broadcast_to(directions, starts.shape)[:, None]
        met = self.inside(places)
        first = np.where(met.any(axis=1), t[np.argmax(met, axis=1)], np.nan)
        found = np.isfinite(first) & ~met[:, 0]
        reason = np.where(found, "", np.where(met[:, 0], "starts inside", "nothing"))
        return EdgeSet(
            distance_mm=np.where(found, first, np.nan), sd_mm=np.full(len(starts), self.sd),
            found=found, reason=reason.astype("<U16"), hint_mm=first,
        )  # fmt: skip

    def rounding_mm2(self, volume, direction):
        return 0.0


def section(half, top=0.0, *, also=None, socket=None):
    """The coarse picture of such a solid."""
    w, h = np.meshgrid(W, H)
    mask = (np.abs(w) <= half(h)) & (h <= top)
    if also is not None:
        mask |= also(w, h)
    none = np.zeros_like(mask)
    return BoneInPlane(
        plane=PLANE, w=W, h=H, mask=mask, other=none, brighter=none,
        socket=none if socket is None else socket(w, h), joined=mask,
    )  # fmt: skip


def scan_of(half, top=0.0, **how):
    return ScanEdges(volume=None, levels=LEVELS, finder=Block(half, top, **how))


def straight(h):
    return np.full(np.shape(h), 4.0)


def tapering(h):
    """1 mm narrower on each side for 4 mm of height."""
    return 4.0 - 0.25 * np.asarray(h)


CREST = Crest(point_mm=np.array([0.0, 0.0, 0.0]), sd_mm=0.2, evidence=SEEN)


class TestCrest:
    def test_the_highest_place_with_its_doubt(self):
        found = find_crest(scan_of(straight), section(straight), half_mm=3.0)
        assert found.point_mm[2] == pytest.approx(0.0, abs=0.003)
        assert abs(found.point_mm[0]) <= 3.0
        assert found.sd_mm == pytest.approx(np.hypot(0.1, 0.03), rel=1e-3)
        assert not found.notes

    def test_without_bone_levels_or_an_end(self):
        trouble = replace(LEVELS, trouble=Note("levels_no_bone"))
        scan = ScanEdges(volume=None, levels=trouble, finder=Block(straight))
        found = find_crest(scan, section(straight), half_mm=3.0)
        assert [n.code for n in found.notes] == ["levels_no_bone"]
        empty = section(lambda h: np.full(np.shape(h), -1.0))
        assert find_crest(scan_of(straight), empty, half_mm=3.0).notes[0].code == "ridge_no_bone"
        cut = section(straight, top=9.0)
        assert find_crest(scan_of(straight), cut, half_mm=3.0).notes[0].code == "ridge_cut_off"

    @pytest.mark.parametrize(
        ("across", "along", "gained"),
        [(0.5, 0.0, 0.02), (0.5, 1.0, 0.06), (0.0, 1.0, 0.04), (0.5, -1.0, 0.0), (3.0, 3.0, 0.15)],
    )
    def test_a_bent_crest_lies_further_out_by_its_curvatures(self, across, along, gained):
        """Half of the square of the blur times both; at most 0.15 mm, and half of it is doubt."""

        class Dome(Block):
            def inside(self, points):
                x, y, z = np.moveaxis(points, -1, 0)
                return (np.abs(x) <= 4.0) & (z <= -0.5 * (across * x**2 + along * y**2))

            def rounding_mm2(self, volume, direction):
                return 0.04

        scan = ScanEdges(volume=None, levels=LEVELS, finder=Dome(straight))
        w, h = np.meshgrid(W, H)
        mask = (np.abs(w) <= 4.0) & (h <= -0.5 * across * w**2)
        found = find_crest(scan, replace(section(straight), mask=mask, joined=mask), half_mm=3.0)
        height = found.point_mm[2]
        assert height == pytest.approx(gained, abs=0.006)
        assert found.sd_mm == pytest.approx(np.hypot(np.hypot(0.1, 0.03), 0.5 * height), abs=1e-3)

    @pytest.mark.parametrize(("top", "doubt"), [(-0.2, 0.4), (-2.2, 0.4), (-4.0, 0.0)])
    def test_a_rim_beside_a_socket_may_lie_higher(self, top, doubt):
        """The blur of the root beside it hides a thin rim's top: read 0.3 to 1.7 mm too low."""

        def hole(w, h):
            return (np.abs(w) < 1.0) & (h > top - 0.8) & (h < top)

        bone = section(straight, socket=hole)
        bone = replace(bone, mask=bone.mask & ~bone.socket)
        found = find_crest(scan_of(straight), bone, half_mm=3.0)
        assert found.sd_mm == pytest.approx(np.hypot(np.hypot(0.1, 0.03), doubt), rel=1e-3)

    def test_an_edge_far_from_the_coarse_border_is_another_ones(self):
        near = find_crest(scan_of(straight, top=-1.1), section(straight), half_mm=3.0)
        assert near.point_mm is not None
        stray = find_crest(scan_of(straight, top=-1.3), section(straight), half_mm=3.0)
        assert stray.point_mm is None

    @pytest.mark.parametrize(("above", "told"), [(1.1, True), (0.9, False)])
    def test_a_crest_a_millimetre_above_the_edge_on_the_axis_is_sloping(self, above, told):
        class Slope(Block):
            def inside(self, points):
                top = above / 3.0 * points[..., 0]
                return (np.abs(points[..., 0]) <= 4.0) & (points[..., 2] <= top)

        w, h = np.meshgrid(W, H)
        bone = section(straight)
        mask = (np.abs(w) <= 4.0) & (h <= above / 3.0 * w)
        bone = replace(bone, mask=mask, joined=mask)
        scan = ScanEdges(volume=None, levels=LEVELS, finder=Slope(straight))
        found = find_crest(scan, bone, half_mm=3.0)
        assert found.point_mm[0] == pytest.approx(3.0)
        assert found.point_mm[2] == pytest.approx(above, abs=0.003)
        assert ([n.code for n in found.notes] == ["ridge_sloping_crest"]) is told
        if told:
            assert found.notes[0].fields["above"] == pytest.approx(1.1)


class TestWidths:
    def read(self, half, depths, **how):
        return widths(scan_of(half), section(half, **how), CREST, np.array(depths))

    def test_between_the_edges_met_from_outside(self):
        found = self.read(tapering, [1.0, 4.0, 8.0])
        assert [r.value for r in found] == pytest.approx([8.5, 10.0, 12.0], abs=0.005)
        buccal, lingual = found[1].witness
        assert buccal == pytest.approx([5, 0, -4], abs=0.003)
        assert lingual == pytest.approx([-5, 0, -4], abs=0.003)
        assert found[0].edge_sd_mm == (0.1, 0.1)
        assert found[0].evidence == LEVELS.evidence

    def test_why_there_is_none(self):
        codes = [r.notes[0].code for r in self.read(straight, [-1.0, 20.0])]
        assert codes == ["ridge_no_bone_at_depth"] * 2
        (wide,) = self.read(lambda h: np.full(np.shape(h), 20.0), [3.0])
        assert wide.notes[0].code == "ridge_open_side"
        (two,) = self.read(straight, [3.0], also=lambda w, h: (w > 6) & (w < 14))
        assert two.notes[0].code == "ridge_two_intervals"
        assert two.notes[0].fields["count"] == 2
        no_crest = Crest(point_mm=None, notes=(Note("ridge_no_bone"),))
        (none,) = widths(scan_of(straight), section(straight), no_crest, np.array([3.0]))
        assert none.notes[0].code == "ridge_no_bone"

    @pytest.mark.parametrize(("coarse", "kept"), [(5.0, True), (5.5, False)])
    def test_an_edge_more_than_1_3_mm_from_the_coarse_border_is_another_ones(self, coarse, kept):
        def wide(h):
            return np.full(np.shape(h), coarse)

        (found,) = widths(scan_of(straight), section(wide), CREST, np.array([3.0]))
        assert (found.value is not None) is kept
        if not kept:
            assert found.notes[0].code == "edge_weak"

    def test_over_a_socket_it_says_so(self):
        def hole(w, h):
            return (np.abs(w) < 1.0) & (h > -5.0)

        bone = section(straight, socket=hole)
        bone = replace(bone, mask=bone.mask & ~bone.socket)
        (found, below) = widths(scan_of(straight), bone, CREST, np.array([3.0, 6.0]))
        assert found.value == pytest.approx(8.0, abs=0.005)
        assert [n.code for n in found.notes] == ["ridge_over_socket"]
        assert not below.notes

    def test_doubt_of_the_crest_is_doubt_of_every_width_by_how_fast_it_widens(self):
        crest = replace(CREST, marks=(MarkInfluence(mark="c/0", gradient=(0, 0, 1)),))
        found = ridge_widths(scan_of(tapering), section(tapering), crest, "up")
        assert [w.depth_mm for w in found] == [1.0, 3.0, 5.0, 7.0, 10.0]
        for width in found:
            assert width.along == "up"
            assert width.reading.edge_sd_mm == pytest.approx((0.1, 0.1, 0.5 * 0.2), abs=0.01)
            assert width.reading.marks[0].gradient[2] == pytest.approx(0.5, abs=0.05)
            assert width.least.value == pytest.approx(width.reading.value, abs=0.01)

    @pytest.mark.parametrize(("crest_sd", "kept"), [(0.74, True), (0.78, False)])
    def test_with_more_than_0_4_mm_of_doubt_in_all_it_is_no_width(self, crest_sd, kept):
        """Edges 0.1 mm each, the crest's half its own: 0.39 and 0.41 mm."""
        crest = replace(CREST, sd_mm=crest_sd)
        found = ridge_widths(scan_of(tapering), section(tapering), crest, "up")
        for width in found:
            for reading in (width.reading, width.least):
                assert (reading.value is not None) is kept
                assert reading.witness is not None
                assert [n.code for n in reading.notes] == ([] if kept else ["ridge_width_unsure"])

    @pytest.mark.parametrize(
        ("depth", "width", "wide"),
        [(4.0, 7.6, True), (4.0, 7.7, False), (0.0, 5.6, True), (0.0, 5.7, False)],
    )
    def test_seen_to_be_wider_leaves_room_for_stray_edges_on_both_sides(self, depth, width, wide):
        """10 mm wide at 4 mm (10.25 in pixels): 2.6 mm more than asked for."""
        found = wider_than(section(tapering), CREST, np.array([depth]), width)
        assert found.tolist() == [wide]

    def test_beside_the_crest_other_bone_does_not_count(self):
        bone = section(lambda h: np.full(np.shape(h), -1.0), also=lambda w, h: w > 4)
        assert wider_than(bone, CREST, np.array([3.0]), 2.0).tolist() == [False]
        none = Crest(point_mm=None)
        assert wider_than(bone, none, np.array([3.0, 4.0]), 2.0).tolist() == [False, False]


class TestTurned:
    def test_the_least_of_a_turned_section_is_the_shortest_way_across(self):
        """A wall across a plane turned by 5°: the section over-reads by 1 / cos 5°."""

        class Turned(Block):
            def inside(self, points):
                way = np.array([np.cos(np.radians(5)), np.sin(np.radians(5)), 0])
                return np.abs(points @ way) <= 4.0

        scan = ScanEdges(volume=None, levels=LEVELS, finder=Turned(straight))
        half = 4.0 / np.cos(np.radians(5))
        reading = Reading(
            value=2 * half, witness=((half, 0, -3), (-half, 0, -3)), evidence=LEVELS.evidence
        )
        least = least_over_turn(scan, section(straight), reading)
        assert least.value == pytest.approx(8.0, abs=0.006)
        buccal, lingual = least.witness
        assert np.linalg.norm(buccal - lingual) == pytest.approx(8.0, abs=0.01)
        turned = np.degrees(np.arctan2(buccal[1], buccal[0]))
        assert abs(turned) == pytest.approx(5.0, abs=0.1)
        assert least.edge_sd_mm == (0.1, 0.1)

    @pytest.mark.parametrize(("lost", "clear"), [(2, True), (3, False)])
    def test_two_turns_may_be_lost(self, lost, clear):
        class Lossy(Block):
            def outer(self, volume, starts, directions, max_mm):
                edges = super().outer(volume, starts, directions, max_mm)
                found = edges.found & (np.arange(len(starts)) >= lost)
                return replace(edges, found=found)

        scan = ScanEdges(volume=None, levels=LEVELS, finder=Lossy(straight))
        reading = Reading(value=8.0, witness=((4, 0, -3), (-4, 0, -3)))
        least = least_over_turn(scan, section(straight), reading)
        assert (least.value is not None) is clear
        if not clear:
            assert least.notes[0].code == "ridge_least_unclear"

    def test_what_was_not_measured_has_no_least(self):
        none = Reading(value=None, notes=(Note("ridge_no_bone"),))
        assert least_over_turn(scan_of(straight), section(straight), none) is none


class TestPlates:
    def plate(self, own, others, *, reads_thin=True, sd=0.1):
        values = np.array([own, *others], dtype=float)
        found = np.isfinite(values)
        edges = SimpleNamespace(found=found)
        return SimpleNamespace(
            thickness_mm=values, sd_mm=np.full(len(values), sd), outer=edges, inner=edges,
            reads_thin=reads_thin,
        )  # fmt: skip

    def test_the_mean_of_what_is_alike_over_the_patch(self):
        value, sd = _smoothed(self.plate(1.5, [1.4, 1.6, 1.5, 1.7, 1.3, 5.0]), 0.8, bent=False)
        assert value == pytest.approx(1.5)
        assert sd == pytest.approx(0.1)
        surer = self.plate(1.5, [1.4, 1.4, 1.4])
        surer.sd_mm = np.array([0.2, 0.1, 0.1, 0.1])
        value, sd = _smoothed(surer, 0.8, bent=False)
        assert value == pytest.approx((1.5 / 4 + 3 * 1.4) / 3.25)
        assert sd == pytest.approx(np.sqrt((0.04 + 3 * 0.01) / 4))

    @pytest.mark.parametrize(("off", "alike"), [(0.42, True), (0.43, False)])
    def test_neighbours_that_differ_by_three_errors_are_another_thickness(self, off, alike):
        value, _ = _smoothed(self.plate(1.5, [1.5, 1.5, 1.5 + off]), 0.8, bent=False)
        assert value == pytest.approx(1.5 + off / 4 if alike else 1.5)

    def test_a_thin_place_a_small_patch_and_a_finder_that_over_reads_stand_alone(self):
        others = [1.0] * 5
        assert _smoothed(self.plate(0.79, others), 0.8, bent=False) == (0.79, 0.1)
        assert _smoothed(self.plate(0.81, others), 0.8, bent=False)[0] > 0.9
        assert _smoothed(self.plate(0.9, [1.0, 1.0]), 0.8, bent=False) == (0.9, 0.1)
        assert _smoothed(self.plate(0.9, [1.0, 1.0, 1.0]), 0.8, bent=False)[0] == pytest.approx(
            0.975
        )
        assert _smoothed(self.plate(0.9, others, reads_thin=False), 0.8, bent=False) == (0.9, 0.1)

    @pytest.mark.parametrize(
        ("value", "width", "depth", "kept", "sds"),
        [
            (2.0, 8.0, 3.0, True, (0.1,)),
            (3.9, 8.0, 3.0, True, (0.1,)),
            (4.1, 8.0, 3.0, False, None),
            (4.4, 12.0, 3.0, True, (0.1,)),
            (4.6, 12.0, 3.0, False, None),
            (2.0, 8.0, 1.9, True, (0.1, 0.12)),
            (2.0, 8.0, 2.0, True, (0.1,)),
        ],
    )
    def test_no_thicker_than_half_the_ridge_or_4_5_mm_less_sure_near_the_crest(
        self, monkeypatch, value, width, depth, kept, sds
    ):
        from core.bone import plates

        asked = []

        def at(scan, edge, inward, coronal, *, bent):
            asked.append((edge[0], inward[0]))
            assert bent is (depth < 2.0)
            return Reading(value=value, edge_sd_mm=(0.1,))

        monkeypatch.setattr(plates, "thickness_at", at)
        reading = Reading(value=width, witness=((width / 2, 0, 0), (-width / 2, 0, 0)))
        ridge = RidgeWidth(depth_mm=depth, along="up", reading=reading, least=reading)
        found = plate_thickness(None, section(straight), (ridge,))
        assert [p.side for p in found] == ["buccal", "lingual"]
        assert asked == [(width / 2, -1), (-width / 2, 1)]
        for plate in found:
            assert (plate.reading.value is not None) is kept
            if kept:
                assert plate.reading.edge_sd_mm == sds
            else:
                assert plate.reading.notes[0].code == "edge_no_inner_edge"

    def test_a_width_that_was_not_measured_has_no_plates(self):
        none = Reading(value=None, notes=(Note("ridge_open_side"),))
        ridge = RidgeWidth(depth_mm=3.0, along="axis", reading=none, least=none)
        found = plate_thickness(None, section(straight), (ridge,))
        assert [p.reading.notes[0].code for p in found] == ["ridge_open_side"] * 2
        assert {p.along for p in found} == {"axis"}
        assert ridge_section.WIDTH_DEPTHS_MM[0] == 1.0
