"""Thickness of a plate along its normal, on plates that are known exactly, and which are none."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

from core.bone.bone_levels import BoneLevels
from core.bone.edges import EdgeSet, PlateEdges, ScanEdges
from core.bone.plates import (
    _RINGS,
    _gained_by_bend,
    _outward,
    _patch,
    _smoothed,
    plate_thickness,
    thickness_at,
)
from core.bone.ridge_section import RidgeWidth
from core.geometry import unit
from core.measurement import Note, Reading

LEVELS = BoneLevels(
    soft=100.0, spongy=400.0, cortical=1100.0, cortical_sd=40.0, noise_sd=10.0, voxel_mm=0.3
)
X, Z = np.array([1.0, 0, 0]), np.array([0, 0, 1.0])


def edge_set(distance, sd=0.05):
    found = np.isfinite(distance)
    return EdgeSet(
        distance_mm=distance, sd_mm=np.where(found, sd, np.nan), found=found,
        reason=np.where(found, "", "no inner edge").astype("<U16"), hint_mm=distance,
    )  # fmt: skip


class Wall:
    """A wall through a place with an outward normal, so thick; rays meet it exactly."""

    def __init__(self, normal=X, thick=lambda p: 1.5 + 0 * p[:, 0], *, borrowed=False, thin=True,
                 outside=lambda p: 0 * p[:, 0] + 1):  # fmt: skip
        self.normal, self.thick, self.borrowed, self.thin = unit(normal), thick, borrowed, thin
        self.outside, self.asked = outside, []

    def outer(self, volume, starts, ways, max_mm):
        distance = -(starts @ self.normal) / (ways @ self.normal)
        there = (distance > 0) & (distance < max_mm) & (ways @ self.normal < 0)
        return edge_set(np.where(there & (self.outside(starts) > 0), distance, np.nan))

    def plate(self, volume, starts, ways, max_mm):
        self.asked.append((starts, ways, max_mm))
        outer = self.outer(volume, starts, ways, max_mm)
        met = starts + outer.distance_mm[:, None] * ways
        thick = self.thick(met)
        inner = edge_set(outer.distance_mm + thick / -(ways @ self.normal))
        return PlateEdges(
            outer=outer, inner=inner, thickness_mm=inner.distance_mm - outer.distance_mm,
            sd_mm=np.full(len(starts), 0.08), borrowed=np.full(len(starts), self.borrowed),
            reads_thin=self.thin,
        )  # fmt: skip

    def rounding_mm2(self, volume, way):
        return 0.0


def scan(wall, **levels):
    return ScanEdges(volume=None, levels=replace(LEVELS, **levels), finder=wall)


def at(wall, *, inward=-X, coronal=Z, **levels):
    return thickness_at(scan(wall, **levels), np.zeros(3), inward, coronal)


class TestThickness:
    def test_a_wall_met_straight(self):
        wall = Wall()
        found = at(wall)
        assert found.value == pytest.approx(1.5)
        assert found.edge_sd_mm == pytest.approx((0.08,))
        assert found.witness[0] == pytest.approx(np.zeros(3), abs=1e-9)
        assert found.witness[1] == pytest.approx([-1.5, 0, 0])
        assert found.notes == ()
        assert found.evidence.is_sound
        starts, ways, most = wall.asked[0]
        assert most == 8.0
        assert ways == pytest.approx(np.tile(-X, (17, 1)))
        assert starts[0] == pytest.approx(2.0 * X)
        far = np.linalg.norm(starts - starts[0], axis=1)
        assert far == pytest.approx([0, *[0.5] * 6, *[0.9] * 10])

    def test_where_it_bends_only_the_inner_ring_is_asked(self):
        wall = Wall()
        thickness_at(scan(wall), np.zeros(3), -X, Z, bent=True)
        starts = wall.asked[0][0]
        far = np.linalg.norm(starts - starts[0], axis=1)
        assert far == pytest.approx([0, *[0.5] * 6])

    @pytest.mark.parametrize("normal", [(1, 0.5, 0), (1, 0, -0.6), (1, -0.4, 0.5)])
    def test_a_slanting_wall_is_measured_along_its_normal_and_not_along_the_ray(self, normal):
        found = at(Wall(normal=normal))
        assert found.value == pytest.approx(1.5)
        assert found.witness[1] == pytest.approx(-1.5 * unit(normal))

    @pytest.mark.parametrize(("thick", "thin"), [(0.79, True), (0.81, False)])
    def test_below_eight_tenths_it_is_said(self, thick, thin):
        found = at(Wall(thick=lambda p: thick + 0 * p[:, 0]))
        assert found.value == pytest.approx(thick)
        assert [n.code for n in found.notes] == (["plate_thin"] if thin else [])
        over = at(Wall(thick=lambda p: thick + 0 * p[:, 0], thin=False))
        assert (over.value is None) is thin
        if thin:
            assert [n.code for n in over.notes] == ["plate_too_thin", "plate_thin"]
            assert over.witness[1] == pytest.approx([-thick, 0, 0])
            assert over.notes[0].fields["least"] == 0.8

    def test_a_borrowed_level_is_said(self):
        assert [n.code for n in at(Wall(borrowed=True)).notes] == ["level_borrowed"]

    @pytest.mark.parametrize(("spongy", "told"), [(940.0, True), (960.0, False)])
    def test_spongy_bone_nearly_as_bright_as_cortex_ends_no_plate(self, spongy, told):
        found = at(Wall(), spongy=spongy)
        assert (found.value is not None) is told
        if not told:
            assert [n.code for n in found.notes] == ["edge_no_inner_edge"]

    def test_without_an_inner_or_an_outer_edge_there_is_none(self):
        found = at(Wall(thick=lambda p: np.nan + 0 * p[:, 0]))
        assert [n.code for n in found.notes] == ["edge_no_inner_edge"]
        # Met beside it, but not at the place itself.
        hole = Wall(outside=lambda p: np.hypot(p[:, 1], p[:, 2]) - 0.3)
        assert at(hole).value is None

    def test_where_no_surface_is_met_beside_it_there_is_none(self):
        """Two of the four arms, coronal and apical, find none."""
        slit = Wall(outside=lambda p: 0.5 - np.abs(p[:, 2]))
        assert [n.code for n in at(slit).notes] == ["plate_no_surface"]

    def test_near_the_crest_the_surface_is_asked_for_half_a_millimetre_off(self):
        """Further off it lies around the bend: of this slit the longer arms meet none."""
        slit = Wall(outside=lambda p: 0.6 - np.abs(p[:, 2]))
        near = thickness_at(scan(slit), np.zeros(3), -X, Z, bent=True)
        assert near.value == pytest.approx(1.5)
        assert [n.code for n in at(slit).notes] == ["plate_no_surface"]


class TestNormal:
    @pytest.mark.parametrize("normal", [(1, 0, 0), (1, 0.3, 0.4), (1, -0.5, 0.2)])
    def test_from_four_edges_eight_tenths_off(self, normal):
        found = _outward(scan(Wall(normal=normal)), np.zeros(3), -X, Z)
        assert found == pytest.approx(unit(normal))

    @pytest.mark.parametrize("sign", [1.0, -1.0])
    @pytest.mark.parametrize("axis", [1, 2])
    def test_for_one_that_is_missing_the_place_itself_stands(self, axis, sign):
        wall = Wall(normal=(1, 0.3, 0.4), outside=lambda p: 0.1 + sign * p[:, axis])
        found = _outward(scan(wall), np.zeros(3), -X, Z)
        assert found == pytest.approx(unit((1, 0.3, 0.4)))

    @pytest.mark.parametrize(("rise", "met"), [(2.4, True), (2.6, False)])
    def test_what_lies_more_than_two_millimetres_deeper_is_not_the_surface_beside(self, rise, met):
        """An arm of 0.8 mm on a wall that falls by 2.5 mm a millimetre ends 2 mm deeper."""
        normal = (1.0, 0.0, rise)
        found = _outward(scan(Wall(normal=normal)), np.zeros(3), -X, Z)
        assert found == pytest.approx(unit(normal)) if met else found is None

    def test_it_points_out(self):
        for inward, coronal in ((-X, Z), (X, Z), (-X, -Z)):
            found = _outward(scan(Wall(normal=-inward)), np.zeros(3), inward, coronal)
            assert found == pytest.approx(-inward)

    def test_a_patch_lies_across_it(self):
        for normal in (X, unit((0.2, -0.5, 0.7))):
            patch = _patch(normal, _RINGS)
            assert patch.shape == (17, 3)
            assert patch @ normal == pytest.approx(np.zeros(17), abs=1e-12)
            assert patch.sum(axis=0) == pytest.approx(np.zeros(3), abs=1e-12)
            assert np.linalg.norm(patch, axis=1) == pytest.approx([0.0, *[0.5] * 6, *[0.9] * 10])
            steps = np.linalg.norm(np.diff(patch[1:7], axis=0), axis=1)
            assert steps == pytest.approx(np.full(5, 0.5))
            assert _patch(normal, _RINGS[:1]) == pytest.approx(patch[:7])


class Shell(Wall):
    """A cylinder's shell around an axis `radius` behind the place, seen with so much blur."""

    def __init__(self, radius, half_variance, axis=(0.0, 1.0, 0.0), **more):
        super().__init__(**more)
        self.radius, self.half_variance, self.axis = radius, half_variance, np.array(axis)

    def outer(self, volume, starts, ways, max_mm):
        off = starts - starts @ self.axis[:, None] * self.axis
        off, height = off - (off @ X)[:, None] * X, off @ X
        depth = self.radius - np.sqrt(self.radius**2 - np.sum(off**2, axis=1))
        return edge_set(height + depth)

    def rounding_mm2(self, volume, way):
        return self.half_variance


def shift_of_blurred_disc(radius, sd, step=0.02):
    """How far the half-way level of a disc lies inside it once it is blurred (scipy)."""
    at = np.arange(-radius - 1.5, radius + 1.5, step)
    disc = (np.hypot(*np.meshgrid(at, at)) <= radius).astype(float)
    across = gaussian_filter(disc, sd / step)[np.argmin(np.abs(at))]
    last = np.flatnonzero(across >= 0.5)[-1]
    share = (across[last] - 0.5) / (across[last] - across[last + 1])
    return radius - (at[last] + share * step)


class TestBent:
    @pytest.mark.parametrize("radius", [1.5, 2.0, 3.0])
    def test_what_blur_adds_to_a_shell_is_taken_off(self, radius):
        """The inner surface goes further in than the outer: two discs blurred by scipy."""
        sd, thick = 0.3, 0.7
        added = shift_of_blurred_disc(radius - thick, sd) - shift_of_blurred_disc(radius, sd)
        shell = Shell(radius, 0.5 * sd**2, thick=lambda p: thick + 0 * p[:, 0])
        found = thickness_at(scan(shell), np.zeros(3), -X, Z, bent=True)
        assert added > 0.004
        assert found.value == pytest.approx(thick - added, abs=0.3 * added + 0.003)

    def test_further_down_and_where_it_is_flat_or_hollow_nothing_is(self):
        shell = Shell(2.0, 0.05, thick=lambda p: 0.9 + 0 * p[:, 0])
        assert at(shell).value == pytest.approx(0.9)
        flat = Shell(1.0e6, 0.05, thick=lambda p: 0.9 + 0 * p[:, 0])
        near = thickness_at(scan(flat), np.zeros(3), -X, Z, bent=True)
        assert near.value == pytest.approx(0.9, abs=1e-5)
        edges = shell.plate(None, 2 * X + _patch(X, _RINGS[:1]), np.tile(-X, (7, 1)), 8.0)
        hollow = replace(edges, outer=edge_set(4.0 - edges.outer.distance_mm))
        assert _gained_by_bend(hollow, 0.9, 0.05) == 0.0
        assert _gained_by_bend(edges, 0.9, 0.05) > 0.01

    def test_noise_of_the_edges_never_takes_more_than_of_the_sharpest_bend_believed(self):
        shell = Shell(2.0, 0.05)
        edges = shell.plate(None, 2 * X + _patch(X, _RINGS[:1]), np.tile(-X, (7, 1)), 8.0)
        sharp = replace(edges, outer=edge_set(np.array([2.0, *[2.4] * 6])))
        assert _gained_by_bend(sharp, 0.5, 0.05) == pytest.approx(0.05 * (1.2 / 0.4 - 1.2))
        assert _gained_by_bend(sharp, 2.0, 0.05) == pytest.approx(0.05 * (1.2 / 0.3 - 1.2))
        few = edge_set(np.array([2.0, 2.1, 2.1, 2.1, *[np.nan] * 3]))
        assert _gained_by_bend(replace(edges, outer=few), 0.9, 0.05) == 0.0


class TestSmoothed:
    def over(self, values, sd=0.1, *, lost=(), thin=True, bent=False):
        values = np.array(values, dtype=float)
        found = edge_set(np.where(np.isin(np.arange(len(values)), lost), np.nan, 2.0))
        edges = PlateEdges(
            outer=found, inner=found, thickness_mm=values,
            sd_mm=np.broadcast_to(sd, values.shape).astype(float),
            borrowed=np.zeros(len(values), bool), reads_thin=thin,
        )  # fmt: skip
        return _smoothed(edges, 0.8, bent=bent)

    def test_the_mean_of_the_patch_by_how_sure_each_place_is(self):
        assert self.over([1.0, 1.1, 1.2, 1.1, 1.0, 1.0, 1.0])[0] == pytest.approx(7.4 / 7)
        value, sd = self.over([1.0, 1.3, 1.3, 1.3], [0.1, 0.2, 0.2, 0.2])
        assert value == pytest.approx((100 * 1.0 + 75 * 1.3) / 175)
        assert sd == pytest.approx(np.sqrt((0.01 + 3 * 0.04) / 4)), "not surer than each of them"

    def test_of_a_thin_place_and_those_close_to_it_the_thinner(self):
        """What lies within half a millimetre is mixed by blur, so that its mean is surer."""
        assert self.over([0.79, 1.0, 1.0, 1.0]) == pytest.approx((0.79, 0.1))
        assert self.over([0.81, 1.0, 1.0, 1.0])[0] > 0.9
        assert self.over([0.79, *[0.6] * 6])[0] == pytest.approx((0.79 + 6 * 0.6) / 7)
        assert self.over([0.79, *[0.6] * 6], bent=True) == pytest.approx((0.79, 0.1))

    def test_what_lies_further_off_counts_only_where_a_plate_is_thick(self):
        assert self.over([0.79, *[0.7] * 6, *[0.4] * 10])[0] == pytest.approx((0.79 + 4.2) / 7)
        assert self.over([1.0, *[1.1] * 6, *[0.9] * 10])[0] == pytest.approx((1.0 + 6.6 + 9) / 17)

    def test_four_places_at_least(self):
        assert self.over([1.0, 1.2, 1.2, 1.2])[0] == pytest.approx(1.15)
        assert self.over([1.0, 1.2, 1.2, 1.2], lost=[3]) == pytest.approx((1.0, 0.1))

    def test_nor_where_thin_plates_are_over_read(self):
        assert self.over([1.0, 1.2, 1.2, 1.2], thin=False) == pytest.approx((1.0, 0.1))

    @pytest.mark.parametrize(("other", "counts"), [(1.42, True), (1.43, False)])
    def test_a_neighbour_of_another_thickness_is_left_out(self, other, counts):
        """Three errors of both: 0.424."""
        value, _ = self.over([1.0, 1.0, 1.0, other])
        assert (value > 1.0) is counts


class Bone:
    """The section's plane alone."""

    class plane:  # noqa: N801 - a name of the real one
        across, coronal = X, Z


class TestPlates:
    def width(self, value, depth=5.0, notes=()):
        ends = None if value is None else (np.zeros(3), np.zeros(3))
        reading = Reading(value=value, witness=ends, notes=notes)
        return RidgeWidth(depth_mm=depth, along="up", reading=reading, least=reading)

    def both(self, wall, *widths):
        return plate_thickness(scan(wall), Bone, widths)

    def test_both_sides_of_each_width(self):
        found = self.both(Wall(), self.width(7.0), self.width(8.0, depth=7.0))
        assert [(p.side, p.depth_mm, p.along) for p in found] == [
            ("buccal", 5.0, "up"), ("lingual", 5.0, "up"), ("buccal", 7.0, "up"),
            ("lingual", 7.0, "up"),
        ]  # fmt: skip
        assert found[0].reading.value == pytest.approx(1.5)
        assert found[0].reading.witness[1] == pytest.approx([-1.5, 0, 0])
        assert found[1].reading.value is None, "from the tongue this wall is met from behind"
        other = self.both(Wall(normal=-X), self.width(7.0))
        assert other[1].reading.witness[1] == pytest.approx([1.5, 0, 0])

    @pytest.mark.parametrize(("width", "told"), [(3.01, True), (2.99, False)])
    def test_no_plate_is_more_than_half_of_the_ridge(self, width, told):
        found = self.both(Wall(), self.width(width))[0].reading
        assert (found.value is not None) is told
        if not told:
            assert [n.code for n in found.notes] == ["edge_no_inner_edge"]

    @pytest.mark.parametrize(("thick", "told"), [(4.49, True), (4.51, False)])
    def test_nor_thicker_than_four_and_a_half_millimetres(self, thick, told):
        found = self.both(Wall(thick=lambda p: thick + 0 * p[:, 0]), self.width(20.0))[0].reading
        assert (found.value is not None) is told

    @pytest.mark.parametrize(("depth", "more"), [(1.99, True), (2.0, False)])
    def test_near_the_crest_it_is_less_sure(self, depth, more):
        found = self.both(Wall(), self.width(7.0, depth=depth))[0].reading
        assert found.edge_sd_mm == pytest.approx((0.08, 0.12) if more else (0.08,))

    def test_where_no_width_is_there_is_no_plate_for_the_same_reason(self):
        note = Note("ridge_no_bone_at_depth")
        for plate in self.both(Wall(), self.width(None, notes=(note,))):
            assert plate.reading.value is None
            assert plate.reading.notes == (note,)
