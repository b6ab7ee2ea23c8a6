"""A stack assessed from its headers: order and spacing by hand, scales, slices cut short."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from headers import header, picture, place

from core.errors import ScanError
from core.scan.assess import _arranged, _assess, _by_hand, _by_number, _with_left_out
from core.scan.stacks import Picture, Stack

BARE = {"position_mm": None, "orientation": None, "spacing_mm": None}


def stack(count=6, **frame):
    return Stack(pictures=tuple(picture(k, **frame) for k in range(count)))


def numbered(*numbers):
    return [
        picture(k, text={} if n is None else {"InstanceNumber": str(n)})
        for k, n in enumerate(numbers)
    ]


def code(act, *arguments):
    with pytest.raises(ScanError) as caught:
        act(*arguments)
    return caught.value.code


class TestOrder:
    def test_by_instance_numbers_whatever_they_begin_with(self):
        assert _by_number(numbered(12, 10, 11)) == (1, 2, 0)
        assert _by_number(numbered(0, 1)) == (0, 1)

    @pytest.mark.parametrize("numbers", [(1, 2, 4), (1, 2, 2), (1, None, 3), (None, None), (1, 3)])
    def test_holes_twice_the_same_and_none_at_all_are_no_order(self, numbers):
        assert code(_by_number, numbered(*numbers)) == "scan_no_order"

    def test_frames_of_a_file_stand_in_their_order(self):
        image = header(frames=(place(0), place(1), place(2)))
        assert _by_number([Picture(image=image, frame=k) for k in range(3)]) == (0, 1, 2)


class TestByHand:
    def numbered_stack(self, **frame):
        pictures = tuple(picture(k, text={"InstanceNumber": str(k)}, **frame) for k in range(4))
        return Stack(pictures=pictures)

    def test_columns_rows_and_steps_are_as_stated(self):
        found, told = _by_hand(self.numbered_stack(**BARE), (0.2, 0.3, 0.5))
        matrix = found.mm_from_ijk
        assert np.linalg.norm(matrix[:3, :3], axis=0) == pytest.approx([0.2, 0.3, 0.5])
        assert np.sign(np.diag(matrix)[:3]) == pytest.approx([1, 1, 1])
        assert matrix[:3, 3] == pytest.approx([0, 0, 0])
        assert found.order == (0, 1, 2, 3)
        assert found.tilt_deg == 0.0
        # Without positions no step was measured.
        assert (found.steps_mm, found.off_mm) == ((0.0, 0.0), 0.0)
        codes = {f.code: f for f in told}
        assert set(codes) == {"scan_spacing_by_hand", "scan_orientation_assumed"}
        assert codes["scan_spacing_by_hand"].fields["spacing_mm"] == "0.2 × 0.3 × 0.5"
        assert {f.severity for f in told} == {"caution"}

    def test_a_direction_that_is_given_is_kept(self):
        turned = {"orientation": (0.0, 1.0, 0.0, -1.0, 0.0, 0.0)}
        found, told = _by_hand(self.numbered_stack(**BARE | turned), (0.2, 0.3, 0.5))
        assert found.mm_from_ijk[:3, 0] == pytest.approx([0, 0.2, 0])
        assert found.mm_from_ijk[:3, 1] == pytest.approx([-0.3, 0, 0])
        assert [f.code for f in told] == ["scan_spacing_by_hand"]

    @pytest.mark.parametrize("at", [0, 1, 2])
    @pytest.mark.parametrize(("mm", "sound"), [(0.01, True), (0.0099, False), (10.0, True),
                                               (10.01, False)])  # fmt: skip
    def test_steps_of_a_hundredth_to_ten_millimetres(self, at, mm, sound):
        stated = [0.3, 0.3, 0.3]
        stated[at] = mm
        if sound:
            assert _by_hand(self.numbered_stack(**BARE), tuple(stated))
        else:
            told = code(_by_hand, self.numbered_stack(**BARE), tuple(stated))
            assert told == "scan_spacing_not_believable"

    @pytest.mark.parametrize("stated", [(0.2019, 0.3, 1.0), (0.2, 0.3029, 1.0), (0.1981, 0.3, 1.0)])
    def test_within_a_hundredth_of_the_headers_pixels_the_headers_count(self, stated):
        given = BARE | {"spacing_mm": (0.3, 0.2)}
        found, _ = _by_hand(self.numbered_stack(**given), stated)
        assert np.linalg.norm(found.mm_from_ijk[:3, :3], axis=0) == pytest.approx([0.2, 0.3, 1.0])

    @pytest.mark.parametrize("stated", [(0.2021, 0.3, 1.0), (0.2, 0.3031, 1.0), (0.1979, 0.3, 1.0)])
    def test_beyond_it_is_refused_with_both(self, stated):
        given = BARE | {"spacing_mm": (0.3, 0.2)}
        with pytest.raises(ScanError) as caught:
            _by_hand(self.numbered_stack(**given), stated)
        assert caught.value.code == "scan_spacing_not_the_headers"
        assert caught.value.fields["header"] == "0.2 × 0.3"
        assert caught.value.fields["stated"] == f"{stated[0]:g} × {stated[1]:g}"

    def test_what_is_lacking_is_named(self):
        assert code(_by_hand, stack(**BARE), None) == "scan_no_spacing"
        given = BARE | {"spacing_mm": (0.3, 0.3)}
        assert code(_by_hand, stack(**given), None) == "scan_no_position"
        placed = {"orientation": None}
        assert code(_by_hand, stack(**placed), None) == "scan_no_orientation"
        assert code(_by_hand, stack(1, **BARE), (0.3, 0.3, 0.3)) == "scan_one_slice"


class TestArranged:
    def arranged(self, pictures, spacing=None):
        return _arranged(SimpleNamespace(), Stack(pictures=tuple(pictures)), spacing, None)

    def codes(self, pictures):
        return {f.code: f for f in self.arranged(pictures)[2]}

    def test_slices_stand_in_the_order_of_their_places(self):
        pictures = [picture(k) for k in (3, 1, 0, 2)]
        arrangement, slices, _ = self.arranged(pictures)
        assert [p.image.source.name for p in slices] == ["I0", "I1", "I2", "I3"]
        assert arrangement.mm_from_ijk[:3, 3] == pytest.approx([-10, -10, 0])

    def test_one_slice_is_no_volume(self):
        assert code(self.arranged, [picture(0)]) == "scan_one_slice"
        assert self.arranged([picture(0), picture(1)])

    @pytest.mark.parametrize(
        ("slope", "sound"),
        [(1.01e-9, True), (1e-9, False), (-2.0, True), (1e9, False), (0.99e9, True), (0.0, False)],
    )
    def test_a_scale_is_neither_flat_nor_endlessly_steep(self, slope, sound):
        pictures = [picture(k, slope=slope) for k in range(4)]
        if sound:
            assert "scan_scale_differs" not in self.codes(pictures)
        else:
            assert code(self.arranged, pictures) == "scan_scale_not_linear"

    def test_one_scale_that_is_none_among_sound_ones_refuses_all(self):
        pictures = [picture(0, slope=0.0), *(picture(k) for k in range(1, 5))]
        assert code(self.arranged, pictures) == "scan_scale_not_linear"

    def test_scales_that_differ_are_noted(self):
        pictures = [picture(0, intercept=-1000.0), *(picture(k) for k in range(1, 5))]
        assert self.codes(pictures)["scan_scale_differs"].severity == "note"

    @pytest.mark.parametrize(
        ("count", "short", "told"),
        [(9, 0, None), (6, 2, 2), (5, 2, "refused"), (30, 2, 2), (30, 3, "refused")],
    )
    def test_up_to_two_slices_and_a_third_may_be_cut_short(self, count, short, told):
        pictures = [picture(k) for k in range(count)]
        for one in pictures[:short]:
            one.image.source.size = 1001
        if told == "refused":
            with pytest.raises(ScanError) as caught:
                self.arranged(pictures)
            assert caught.value.code == "scan_truncated"
            assert caught.value.fields == {"count": short, "total": count}
            return
        found = self.codes(pictures).get("scan_slices_truncated")
        assert (None if found is None else found.fields["count"]) == told

    def test_no_slice_speaks_for_the_others(self):
        lean = 4e-4
        odd = picture(0, orientation=(1.0, lean, 0.0, -lean, 1.0, 0.0), spacing_mm=(0.3003, 0.3003))
        arrangement, _, _ = self.arranged([odd, *(picture(k) for k in range(1, 6))])
        assert arrangement.mm_from_ijk[:3, 0] == pytest.approx([0.3, 0.0, 0.0], abs=1e-12)


class TestReport:
    def assessed(self, pictures, common=(), spacing=None):
        return _assess(SimpleNamespace(), Stack(pictures=tuple(pictures)), common, spacing, None)

    def test_of_a_volume_all_is_known(self):
        found = self.assessed([picture(k) for k in range(5)])
        assert found.refusal is None
        assert found.report.usable
        assert found.report.shape == (5, 4, 5)
        assert found.report.voxel_mm == pytest.approx((0.3, 0.3, 0.3))
        assert found.report.middle.image.source.name == "I2"

    def test_a_slice_that_was_not_exported_counts_in_the_shape(self):
        found = self.assessed([picture(k) for k in (0, 1, 2, 4, 5, 6)])
        assert found.report.shape[0] == 7
        assert found.slices[3] is None
        assert found.report.middle.image.source.name == "I4"

    def test_a_refusal_stands_before_all_else_and_leaves_no_voxel(self):
        found = self.assessed([picture(0)])
        assert found.report.findings[0].code == found.refusal.code == "scan_one_slice"
        assert found.refusal.severity == "refused"
        assert not found.report.usable
        assert found.report.voxel_mm is None
        assert found.report.shape == (1, 4, 5)

    def test_pictures_that_could_not_be_made_part_are_counted_on_the_volumes_of_their_series(self):
        whole = self.assessed([picture(k) for k in range(5)])
        broken = self.assessed(
            [
                picture(7),
            ]
        )
        other = self.assessed([picture(8, text={"SeriesInstanceUID": "1.9"})])
        overview = replace(broken, refusal=replace(broken.refusal, code="scan_localizer"))
        told = _with_left_out([whole, broken, broken, other, overview])
        (count,) = [f for f in told[0].report.findings if f.code == "scan_pictures_left_out"]
        assert (count.fields["count"], count.severity) == (2, "caution")
        assert [e.report.findings for e in told[1:]] == [
            e.report.findings for e in (broken, broken, other, overview)
        ]
        assert _with_left_out([whole, other]) == [whole, other]
