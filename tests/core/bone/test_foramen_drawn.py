"""Parts of the search for a foramen, each on a plate or a picture drawn by hand."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from core.bone import found_foramen
from core.bone.found_foramen import (
    FoundForamen,
    _crossing,
    _ends,
    _eroded,
    _opening,
    _Plate,
    _quadric,
    _terms,
    find_foramen,
)
from core.image.volume import Volume
from tests.core.bone_phantoms import RADIUS_MM, arc_arch

STEP, HALF = 0.4, 17
PLACES = STEP * np.arange(-HALF, HALF + 1)
ARCH = arc_arch()
HERE = 34.0
LEVELS = SimpleNamespace(soft=100.0, cortical=1100.0)
VOXEL = 0.25


def place(station, out, height):
    frame = ARCH.frame(station)
    return frame.origin + out * frame.buccal + height * frame.up


def bored(*, radius=1.5, at=(0.0, 0.0), plate=1.8, inside=500.0, bulge=0.0, out=5.0):
    """A plate around the arc, `out` mm towards the cheek of it, with a round hole; not blurred."""
    first = place(HERE, 0.0, 0.0) - np.array([18.0, 18.0, 12.0])
    n = np.array([36.0, 36.0, 24.0]) / VOXEL
    kk, jj, ii = np.meshgrid(*(np.arange(m) for m in n[::-1].astype(int)), indexing="ij")
    x, y, z = (first[a] + VOXEL * g for a, g in enumerate((ii, jj, kk)))
    away = np.hypot(x, y - RADIUS_MM) - RADIUS_MM
    s = RADIUS_MM * (np.arctan2(x, RADIUS_MM - y) + np.radians(75)) - HERE
    # Along the plate, not along the arch: it lies further out.
    along = s * (RADIUS_MM + out) / RADIUS_MM
    depth = out + bulge * z**2 - away
    share = np.clip(0.5 + depth / VOXEL, 0.0, 1.0)
    level = np.where(depth < plate, 1100.0, inside)
    grey = 100.0 + share * (level - 100.0)
    hole = np.clip(0.5 + (radius - np.hypot(along - at[0], z - at[1])) / VOXEL, 0.0, 1.0)
    grey = grey + np.where(depth < 6.0, hole, 0.0) * (100.0 - grey)
    affine = np.diag([VOXEL] * 3 + [1.0])
    affine[:3, 3] = first
    return Volume(
        voxels=np.rint(grey).astype(np.int16), mm_from_ijk=affine,
        made_up=np.zeros(grey.shape[0], bool),
    )  # fmt: skip


def looked(volume, click=(0.0, 5.0, 0.0)):
    return find_foramen(volume, LEVELS, ARCH, place(HERE + click[0], click[1], click[2]))


def across(point):
    """Along the plate from the click's station, out, and up."""
    station = ARCH.station(point)
    frame = ARCH.frame(station)
    out, up = ((point - frame.origin) @ way for way in (frame.buccal, frame.up))
    return np.array([(station - HERE) * (RADIUS_MM + 5.0) / RADIUS_MM, out, up])


class TestWhole:
    @pytest.mark.parametrize("radius", [1.2, 1.5, 2.0])
    def test_a_round_hole_in_a_bent_plate(self, radius):
        found = looked(bored(radius=radius))
        assert isinstance(found, FoundForamen)
        assert across(found.middle_mm) == pytest.approx([0.0, 5.0, 0.0], abs=0.12)
        right, left = (across(edge) for edge in found.edges_mm)
        assert right == pytest.approx([-radius, 5.0, 0.0], abs=0.25)
        assert left == pytest.approx([radius, 5.0, 0.0], abs=0.25)
        assert across(found.upper_mm) == pytest.approx([0.0, 5.0, radius], abs=0.25)
        assert found.station_mm == pytest.approx(HERE, abs=0.1)
        rim = np.array([across(p) for p in found.outline_mm])
        away = np.hypot(rim[:, 0], rim[:, 2])
        assert away == pytest.approx(np.full(len(rim), radius - 0.2), abs=0.4)
        turn = np.unwrap(np.arctan2(rim[:, 2], rim[:, 0]))
        assert abs(turn[-1] - turn[0]) == pytest.approx(2 * np.pi)
        assert (np.diff(turn) >= 0).all()

    @pytest.mark.parametrize("at", [(1.6, 0.8), (-1.6, 0.8), (1.2, -1.4)])
    def test_beside_the_click_it_is_found_where_it_is(self, at):
        found = looked(bored(at=at))
        assert across(found.middle_mm)[[0, 2]] == pytest.approx(at, abs=0.15)
        assert found.width_mm == pytest.approx(3.0, abs=0.35)
        assert found.station_mm == pytest.approx(
            HERE + at[0] * RADIUS_MM / (RADIUS_MM + 5.0), abs=0.5
        )

    @pytest.mark.parametrize(
        ("at", "seen"), [((0, 2.8), True), ((0, 3.3), False), ((0, -2.8), True), ((0, -3.3), False)]
    )
    def test_within_three_millimetres_of_the_click(self, at, seen):
        assert isinstance(looked(bored(at=at)), FoundForamen) is seen

    def test_the_click_lies_on_the_surface_or_a_little_off_it(self):
        for out, seen in ((2.5, True), (7.5, True), (1.5, False), (8.5, False)):
            assert isinstance(looked(bored(), (0.0, out, 0.0)), FoundForamen) is seen, out

    def test_a_bulging_plate_is_followed(self):
        found = looked(bored(bulge=-0.04))
        assert across(found.middle_mm) == pytest.approx([0.0, 5.0, 0.0], abs=0.2)
        assert found.width_mm == pytest.approx(3.0, abs=0.3)

    @pytest.mark.parametrize("radius", [0.6, 3.6])
    def test_what_is_much_smaller_or_larger_is_no_foramen(self, radius):
        assert looked(bored(radius=radius)).code == "foramen-not-found"

    def test_without_a_plate_there_is_none(self):
        volume = bored()
        for level in (0, 1100):
            even = Volume(
                voxels=np.full_like(volume.voxels, level), mm_from_ijk=volume.mm_from_ijk,
                made_up=volume.made_up,
            )  # fmt: skip
            assert looked(even).code == "foramen-not-found"


class TestPlate:
    def plate(self, **how):
        return _Plate.around(bored(**how), LEVELS, ARCH, place(HERE, 4.0, 1.0))

    def test_its_surface_spans_the_hole(self):
        plate = self.plate()
        assert plate.station_mm == pytest.approx(HERE)
        assert plate.feet.shape == (35, 3)
        assert plate.feet[HALF] == pytest.approx(place(HERE, 4.0, 1.0))
        assert plate.feet[0] == pytest.approx(place(HERE - 6.8, 4.0, 1.0), abs=1e-6)
        assert plate.out == pytest.approx(np.ones((35, 35)), abs=0.12)

    def test_places_of_it_lie_along_and_up_from_the_click(self):
        plate = self.plate()
        assert plate.at(np.array([0.0, 2.0, -3.1]), np.array([0.0, -1.0, 2.5])) == pytest.approx(
            np.array([place(HERE, 5, 1), place(HERE + 2.0, 5, 0), place(HERE - 3.1, 5, 3.5)]),
            abs=0.14,
        )

    def test_between_its_steps_it_is_linear(self):
        out = 0.1 * PLACES[:, None] + 0.3 * PLACES
        plate = _Plate(
            station_mm=HERE, feet=np.stack([PLACES, 0 * PLACES, 0 * PLACES], axis=1),
            up=np.array([0.0, 0.0, 1.0]), buccal=np.tile([0.0, -1.0, 0.0], (35, 1)), out=out,
        )  # fmt: skip
        along, up = np.array([0.1, -2.03, 5.5]), np.array([0.25, 1.7, -3.3])
        assert plate.at(along, up) == pytest.approx(
            np.stack([along, -(0.1 * along + 0.3 * up), up], axis=1)
        )

    def test_dark_is_measured_from_the_whole_plate_to_soft_tissue(self):
        volume = bored(radius=1.8)
        plate = _Plate.around(volume, LEVELS, ARCH, place(HERE, 5.0, 0.0))
        dark = plate.darkness(volume, LEVELS)
        away = np.hypot(PLACES[:, None] * 31.0 / 26.0, PLACES)
        assert dark[away < 0.8] == pytest.approx(np.ones((away < 0.8).sum()), abs=0.12)
        assert dark[away > 3.2] == pytest.approx(np.zeros((away > 3.2).sum()), abs=0.06)

    def test_a_strongly_bent_plate_is_whole_all_along(self):
        """Each ray looks straight behind the surface, whichever way that lies there."""
        volume = bored(at=(30.0, 0.0), plate=1.0, inside=100.0)
        plate = _Plate.around(volume, LEVELS, ARCH, place(HERE, 5.0, 0.0))
        dark = plate.darkness(volume, LEVELS)
        assert dark == pytest.approx(np.zeros(dark.shape), abs=0.06)

    @pytest.mark.parametrize(("level", "faint"), [(340.0, True), (370.0, False)])
    def test_a_plate_that_rises_less_than_a_quarter_is_too_faint(self, level, faint):
        volume = bored(at=(30.0, 0.0), plate=9.0)
        plate = _Plate.around(volume, LEVELS, ARCH, place(HERE, 5.0, 0.0))
        weak = Volume(
            voxels=np.where(volume.voxels > 600, level, 100).astype(np.int16),
            mm_from_ijk=volume.mm_from_ijk, made_up=volume.made_up,
        )  # fmt: skip
        assert (plate.darkness(weak, LEVELS) is None) is faint

    def test_hardly_any_surface_is_no_plate(self):
        """Six of ten rays meet it at least; they begin outside it."""
        volume = bored(at=(30.0, 0.0))
        for top, seen in ((2.0, True), (-1.0, False)):
            k = round((top - volume.mm_from_ijk[2, 3]) / VOXEL)
            cut = volume.voxels.copy()
            cut[k:] = 100
            left = Volume(voxels=cut, mm_from_ijk=volume.mm_from_ijk, made_up=volume.made_up)
            plate = _Plate.around(left, LEVELS, ARCH, place(HERE, 5.0, 0.0))
            assert (plate is not None) is seen
        assert _Plate.around(volume, LEVELS, ARCH, place(HERE, -4.0, 0.0)) is None


class TestParts:
    def test_a_quadric_is_found_from_most_of_the_rays(self):
        rng = np.random.default_rng(1)
        a, u = rng.uniform(-6, 6, (2, 400))
        wanted = np.array([0.5, 0.1, -0.2, 0.03, -0.02, 0.01])
        off = wanted @ np.array([np.ones(400), a, u, a * a, a * u, u * u])
        assert _terms(a, u) @ wanted == pytest.approx(off)
        off[:80] -= rng.uniform(2, 6, 80)
        assert _quadric(a, u, off) == pytest.approx(wanted, abs=1e-6)
        off += rng.normal(0, 0.05, 400)
        assert _quadric(a, u, off) == pytest.approx(wanted, abs=0.02)

    def hole(self, radius, at=(0.0, 0.0), depth=1.0):
        away = np.hypot(PLACES[:, None] - at[0], PLACES - at[1])
        return depth * np.clip(0.5 + (radius - away) / 0.8, 0.0, 1.0)

    def test_the_nearest_closed_piece_is_the_opening(self):
        near, far = self.hole(1.3, (1.2, 0.4)), self.hole(1.5, (-3.0, -2.0))
        inside = _opening(np.maximum(near, far))
        assert np.array_equal(inside, near > 0.5)
        assert _opening(np.zeros((35, 35))) is None

    @pytest.mark.parametrize(("away", "seen"), [(4.3, True), (4.8, False)])
    def test_a_piece_begins_within_three_millimetres_of_the_middle(self, away, seen):
        for at in ((away, 0.0), (0.0, -away)):
            assert (_opening(self.hole(1.5, at)) is not None) is seen

    @pytest.mark.parametrize(
        ("radius", "seen"), [(0.6, False), (1.0, True), (2.8, True), (3.3, False)]
    )
    def test_of_two_to_28_square_millimetres(self, radius, seen):
        assert (_opening(self.hole(radius)) is not None) is seen

    @pytest.mark.parametrize(("depth", "seen"), [(0.59, False), (0.61, True)])
    def test_somewhere_dark_by_six_tenths(self, depth, seen):
        picture = np.minimum(self.hole(1.6), depth)
        assert (_opening(picture) is not None) is seen

    @pytest.mark.parametrize("turn", range(4))
    def test_what_runs_to_the_pictures_edge_is_not_closed(self, turn):
        picture = self.hole(1.5)
        picture[HALF:, HALF] = 1.0
        assert _opening(np.rot90(picture, turn)) is None

    def test_bright_within_it_belongs_to_it(self):
        picture = self.hole(2.0)
        picture[HALF, HALF] = 0.0
        inside = _opening(picture)
        assert inside[HALF, HALF]
        assert inside.sum() == (self.hole(2.0) > 0.5).sum()

    def test_its_rim_is_what_has_a_neighbour_outside(self):
        box = np.zeros((7, 8), bool)
        box[1:6, 2:7] = True
        core = np.zeros((7, 8), bool)
        core[2:5, 3:6] = True
        assert np.array_equal(_eroded(box), core)

    def test_it_ends_half_way_to_both_sides_and_up(self):
        along, up = PLACES[:, None], PLACES
        # Falls from 1 to 0 over 2 mm: half way 1 mm beyond where it begins to.
        dark = np.clip(
            np.minimum.reduce([(along + 3.0) / 2.0 + 0 * up, (2.6 - along) / 2.0 + 0 * up,
                               0 * along + (2.2 - up) / 2.0, 0 * along + (up + 4.0) / 2.0]), 0, 1,
        )  # fmt: skip
        first, last, upper = _ends(dark, PLACES, PLACES, (-0.2, 0.1))
        assert (first, last, upper) == pytest.approx((-2.0, 1.6, 1.2), abs=0.021)
        assert _ends(np.ones((35, 35)), PLACES, PLACES, (0.0, 0.0)) is None
        for open_ in (along < 0, along > 0, 0 * along + up > 0):
            picture = np.where(np.broadcast_to(open_, dark.shape), 1.0, dark)
            assert _ends(picture, PLACES, PLACES, (-0.2, 0.1)) is None

    def test_the_first_place_under_one_half(self):
        values = np.where(np.abs(PLACES - 0.4) < 1.0, 1.0, 0.0)
        assert _crossing(PLACES, values, 0.4, 1) == pytest.approx(1.4, abs=0.021)
        assert _crossing(PLACES, values, 0.4, -1) == pytest.approx(-0.6, abs=0.021)
        assert _crossing(PLACES, np.full(35, 0.5), 0.0, 1) is None


def test_marks_are_both_edges_and_the_upper_one():
    found = looked(bored())
    assert found.marks_mm.tolist() == [*found.edges_mm.tolist(), found.upper_mm.tolist()]
    assert found.width_mm == pytest.approx(np.linalg.norm(found.edges_mm[0] - found.edges_mm[1]))
    assert found_foramen.STEP_MM == STEP
