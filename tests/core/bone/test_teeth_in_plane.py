"""Teeth that stand in a section or are to be removed from it, and a crest set by hand: on masks."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from core.bone.bone_in_plane import PIXEL_MM, BoneInPlane, Plane
from core.bone.plates import PlateThickness
from core.bone.ridge_section import Crest
from core.bone.set_crest import plates_beside_roots, set_crest
from core.bone.teeth_in_plane import standing_tooth, without_teeth
from core.measurement import MarkInfluence, Reading
from core.structures import PointMarks, Tapered

PLANE = Plane(origin=(0, 0, 0), across=(1, 0, 0), coronal=(0, 0, 1))
W = np.arange(-8.0, 8.01, PIXEL_MM)
H = np.arange(-12.0, 8.01, PIXEL_MM)


def section(*bright):
    """Bone 8 mm wide up to h = 0; (low w, high w, low h, high h) brighter parts, bone too."""
    w, h = np.meshgrid(W, H)
    mask = (np.abs(w) <= 4.0) & (h <= 0.0)
    brighter = np.zeros_like(mask)
    for left, right, low, high in bright:
        brighter |= (w >= left) & (w <= right) & (h >= low) & (h <= high)
    return BoneInPlane(
        plane=PLANE, w=W, h=H, mask=mask | brighter, other=np.zeros_like(mask), brighter=brighter,
        socket=np.zeros_like(mask), joined=mask | brighter,
    )  # fmt: skip


def root(w=0.0, off=0.0, *, top=0.0, gone=False, diameters=(4.0, 2.0), ident="r"):
    return Tapered(
        id=ident, kind="root", points=[(w, off, top), (w, off, top - 8.0)], diameters_mm=diameters,
        to_be_removed=gone,
    )  # fmt: skip


class TestStanding:
    @pytest.mark.parametrize(
        ("off", "stands"), [(0.0, True), (2.4, True), (-2.4, True), (2.6, False)]
    )
    def test_a_root_whose_neck_lies_in_the_section(self, off, stands):
        """Its radius of 2 mm and half a millimetre before and behind."""
        note = standing_tooth(section(), [root(off=off)], half_mm=3.0)
        assert (note is not None) is stands
        if note:
            assert (note.code, note.fields["id"]) == ("height_root_at_crest", "r")

    @pytest.mark.parametrize(("w", "stands"), [(5.9, True), (6.1, False), (-5.9, True)])
    def test_within_the_columns_searched_and_a_millimetre_beside(self, w, stands):
        """3 + 1 mm, and the root's own 2."""
        note = standing_tooth(section(), [root(w=w)], half_mm=3.0)
        assert (note is not None) is stands

    def test_its_neck_is_the_end_towards_the_crowns(self):
        upside = Tapered(id="r", kind="root", points=[(0, 0, -8), (0, 3, 0)], diameters_mm=(2, 4))
        assert standing_tooth(section(), [upside], half_mm=3.0) is None
        turned = Tapered(id="r", kind="root", points=[(0, 3, -8), (0, 0, 0)], diameters_mm=(2, 4))
        assert standing_tooth(section(), [turned], half_mm=3.0) is not None

    def test_one_that_is_to_be_removed_does_not_stand(self):
        assert standing_tooth(section(), [root(gone=True)], half_mm=3.0) is None

    @pytest.mark.parametrize(("size", "stands"), [(0.75, True), (0.5, False)])
    def test_something_brighter_of_a_square_millimetre(self, size, stands):
        """4 x 4 pixels are 1.0 mm², 3 x 3 are 0.56."""
        bone = section((0.0, size, -1.0, -1.0 + size))
        note = standing_tooth(bone, [], half_mm=3.0)
        assert (note is not None) is stands
        if note:
            assert note.code == "ridge_tooth_stands"

    def test_only_in_the_columns_that_are_searched(self):
        bone = section((-4.0, -3.0, -3.0, -1.0))
        assert standing_tooth(bone, [], half_mm=1.75) is None
        assert standing_tooth(bone, [], half_mm=2.0) is not None


class TestRemoved:
    def test_a_socket_with_its_ligament_is_taken_out(self):
        left = without_teeth(section(), [root(gone=True, diameters=(4.0, 4.0))])
        row = np.flatnonzero(np.isclose(H, -4.0))[0]
        taken = W[left.socket[row]]
        # 2 mm and 0.35 of ligament, in pixels of 0.25.
        assert (taken.min(), taken.max()) == (-2.25, 2.25)
        assert not left.mask[row, left.socket[row]].any()
        assert left.over_socket(-4.0)
        below = np.flatnonzero(np.isclose(H, -10.25))[0]
        assert left.socket[below].any()
        assert not left.socket[below - 1].any()
        assert left.mask[below - 1, np.isclose(W, 0.0)].all()

    def test_beside_the_section_less_of_it(self):
        left = without_teeth(section(), [root(off=1.5, gone=True, diameters=(4.0, 4.0))])
        row = np.flatnonzero(np.isclose(H, -4.0))[0]
        taken = W[left.socket[row]]
        assert taken.max() == 1.75  # sqrt(2.35² - 1.5²) = 1.81
        missed = without_teeth(section(), [root(off=2.4, gone=True, diameters=(4.0, 4.0))])
        assert not missed.socket.any()

    def test_its_crown_goes_with_it(self):
        """What stands over the neck by more than 1 mm, up to 2.5 mm wider on each side."""
        crown = (-3.0, 3.0, 0.25, 6.0)
        left = without_teeth(section(crown), [root(gone=True)])
        assert not left.mask[H > 0.0].any()
        assert not left.joined[H > 0.0].any()
        low = section()
        w, h = np.meshgrid(W, H)
        stump = low.mask | ((np.abs(w) <= 5.0) & (h > 0.0) & (h <= 3.0))
        left = without_teeth(replace(low, mask=stump), [root(gone=True)])
        row = np.flatnonzero(np.isclose(H, 2.0))[0]
        assert not left.mask[row, np.abs(W) <= 4.5].any()
        assert left.mask[np.isclose(H, 1.0)][0, np.abs(W - 3.0) < 0.1].all()

    def test_what_is_left_of_it_is_other_and_the_bone_is_the_largest_part(self):
        bone = section()
        w, h = np.meshgrid(W, H)
        slit = without_teeth(
            replace(bone, mask=bone.mask & ((w < 2.0) | (h > -9.0))),
            [root(w=1.0, top=-0.5, gone=True, diameters=(3.0, 3.0))],
        )
        assert slit.mask.any()
        assert not (slit.mask & slit.other).any()
        assert (slit.joined == slit.mask).all()

    def test_nothing_to_remove_changes_nothing(self):
        bone = section()
        assert without_teeth(bone, [root()]) is bone
        assert without_teeth(bone, [root(off=9.0, gone=True)]) is bone


def crest_marks(*points):
    return PointMarks(id="crest-1", kind="crest", points=points)


class TestSetCrest:
    @pytest.mark.parametrize(
        ("point", "counts"),
        [
            ((0, 0, 0.2), True),
            ((0, 1.0, 0.2), True),
            ((0, -1.01, 0.2), False),
            ((4.2, 0, 0.2), True),
            ((6.01, 0, 0.2), False),
        ],
    )
    def test_a_millimetre_before_and_behind_and_6_mm_aside(self, point, counts):
        found = set_crest(section(), [crest_marks(point)])
        assert (found is not None) is counts

    def test_the_highest_stands_with_its_key_and_its_doubt(self):
        found = set_crest(section(), [crest_marks((0, 0.6, 0.3), (1, 0, 0.1))])
        assert found.point_mm == pytest.approx([0, 0, 0.3])
        assert found.sd_mm == pytest.approx(0.3)
        assert [m.mark for m in found.marks] == ["crest-1/0"]
        assert found.marks[0].gradient == pytest.approx([0, 0, 1])
        assert [n.code for n in found.notes] == ["ridge_crest_set"]
        assert found.evidence.is_sound
        assert found.set_by_hand == found.notes
        assert found.moving(-2.0)[0].gradient == pytest.approx([0, 0, -2])

    def test_no_mark_of_its_kind_is_none(self):
        cusp = PointMarks(id="c", kind="cusp", points=[(0, 0, 0)])
        assert set_crest(section(), [cusp, root()]) is None
        assert Crest(point_mm=None).set_by_hand == ()

    @pytest.mark.parametrize(("h", "at_bone"), [(1.0, True), (1.01, False), (-3.0, True)])
    def test_a_crest_lies_within_a_millimetre_of_bone(self, h, at_bone):
        found = set_crest(section(), [crest_marks((0, 0, h))])
        assert (found.point_mm is not None) is at_bone
        if not at_bone:
            assert found.notes[0].code == "ridge_crest_off_bone"
            assert found.notes[0].fields["id"] == "crest-1"

    def test_and_not_in_or_on_what_is_brighter(self):
        bone = section((1.0, 3.0, 0.0, 4.0))
        assert set_crest(bone, [crest_marks((0.6, 0, 0.0))]).point_mm is not None
        assert set_crest(bone, [crest_marks((0.8, 0, 0.0))]).point_mm is None
        assert set_crest(bone, [crest_marks((2.0, 0, 3.0))]).point_mm is None
        # The rim of a crown, two pixels, is no bone to stand on.
        assert set_crest(bone, [crest_marks((3.9, 0, 3.0))]).point_mm is None


class TestPlates:
    CREST = Crest(
        point_mm=np.array([0.0, 0, 0]),
        marks=(MarkInfluence(mark="crest-1/0", gradient=(0, 0, 1)),),
        notes=(),
    )

    def plate(self, inner):
        reading = Reading(value=1.0, witness=((4, 0, -3), inner))
        return PlateThickness(side="buccal", depth_mm=3.0, along="up", reading=reading)

    def told(self, inner, crest, structures):
        (plate,) = plates_beside_roots([self.plate(inner)], crest, structures)
        return plate.reading.value, [n.code for n in plate.reading.notes]

    @pytest.mark.parametrize(("away", "given"), [(0.99, False), (1.01, True)])
    def test_none_within_a_millimetre_of_a_root(self, away, given):
        tooth = root(diameters=(4.0, 4.0))
        found = self.told((2.0 + away, 0, -3), self.CREST, [tooth])
        assert found == ((1.0, []) if given else (None, ["plate_before_root"]))
        found = self.told((2.0 + away, 0, -3), Crest(point_mm=None), [tooth])
        assert (found[0] is not None) is given

    def test_below_a_set_crest_a_root_must_be_marked_near(self):
        assert self.told((3.0, 0, -3), self.CREST, []) == (None, ["plate_root_not_marked"])
        far = root(w=8.1, diameters=(4.0, 4.0))
        assert self.told((3.0, 0, -3), self.CREST, [far])[1] == ["plate_root_not_marked"]
        near = root(w=7.9, diameters=(4.0, 4.0))
        assert self.told((3.0, 0, -3), self.CREST, [near])[0] == 1.0
        found = Crest(point_mm=np.zeros(3))
        assert self.told((3.0, 0, -3), found, []) == (1.0, [])
