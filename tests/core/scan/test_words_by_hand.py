"""Whether words are what the header says, a rule at a time, on words written by hand."""

from __future__ import annotations

import numpy as np
import pytest
from headers import header, picture

from core.errors import ScanError
from core.scan.assess import (
    _by_hand,
    _by_number,
    _median_orientation,
    _median_spacing,
)
from core.scan.codestream import CodedForm
from core.scan.pixel_encoding import layout_of
from core.scan.proof import (
    Proof,
    Wraps,
    _another,
    _fits,
    _order_is_wrong,
    _roughness,
    _rows_are_wrong,
)
from core.scan.stacks import Stack


def twelve(*, signed=False, high=11, padding=None, text=None):
    return header(bits_stored=12, high_bit=high, signed=signed, padding=padding, text=text)


class TestWraps:
    def add(self, rows, *, signed, padded=None, bits=8):
        found = Wraps()
        codes = np.array(rows, dtype=np.int64)
        found.add(codes, None if padded is None else np.array(padded, bool), bits, signed=signed)
        return found

    def test_unsigned_neighbours_across_the_top_bit(self):
        """127 and 128 are near; 5 and 250 a whole range apart."""
        found = self.add([[127, 128, 128, 5, 250]], signed=False)
        assert (found.near, found.far) == (1, 1)
        assert found.kinds == {250}

    def test_signed_ones_the_other_way_round(self):
        """Codes 5 and 251 are +5 and -5; 127 and 128 are +127 and -128."""
        found = self.add([[5, 251, 251, 127, 128]], signed=True)
        assert (found.near, found.far) == (1, 1)

    @pytest.mark.parametrize(("code", "far"), [(240, 0), (241, 1)])
    def test_a_whole_range_is_all_but_a_sixteenth(self, code, far):
        """Of 256 more than 240 from nought."""
        assert self.add([[0, code]], signed=False).far == far

    @pytest.mark.parametrize(("code", "near"), [(135, 1), (136, 0)])
    def test_near_is_less_than_a_sixteenth(self, code, near):
        assert self.add([[120, code]], signed=False).near == near

    def test_padding_and_pairs_on_one_side_say_nothing(self):
        assert self.add([[0, 250]], signed=False, padded=[[True, False]]).far == 0
        assert self.add([[0, 250]], signed=False, padded=[[False, True]]).far == 0
        nothing = self.add([[1, 2, 90], [200, 250, 255]], signed=False)
        assert (nothing.far, nothing.near) == (0, 0)
        apart = self.add([[0], [250]], signed=False)
        assert apart.far == 0, "rows are not compared with one another"

    @pytest.mark.parametrize(
        ("far", "near", "kinds", "told"),
        [(3, 2, 3, True), (2, 1, 3, False), (3, 3, 3, False), (4, 3, 3, True), (9, 0, 2, False)],
    )
    def test_three_pairs_of_three_kinds_and_more_far_than_near(self, far, near, kinds, told):
        assert Wraps(far=far, near=near, kinds=set(range(kinds))).contradict is told


class TestFits:
    def fits(self, words, image):
        raw = np.array([words], np.uint16)
        used = int(np.bitwise_or.reduce(raw, axis=None))
        return _fits(raw, used, layout_of(image), image)

    def test_unused_bits_hold_nothing(self):
        assert self.fits([0, 0xFFF], twelve())
        assert not self.fits([0, 0x1000], twelve())
        assert self.fits([0x1000, 0x7FF0], twelve(high=15))
        assert not self.fits([0x0001], twelve(high=15))
        assert self.fits([0xFFFF], header(bits_stored=16, signed=False))

    def test_or_the_sign(self):
        assert self.fits([0xF800, 0x07FF, 0xFFFF], twelve(signed=True))
        assert not self.fits([0xF7FF, 0x0800], twelve(signed=True))
        assert not self.fits([0xF800], twelve())
        assert not self.fits([0xF801], twelve(signed=True, high=12))
        assert not self.fits([0x0FFF, 0x1000], twelve(signed=True))

    def test_or_padding_alone(self):
        padded = twelve(padding=(0xF000, 0xF010))
        assert self.fits([0xF000, 0xF010, 0xFFF], padded)
        assert not self.fits([0xF011, 0xFFF], padded)
        assert not self.fits([0xEFFF, 0xFFF], padded)
        assert self.fits([0xF000, 0xF000], padded)

    @pytest.mark.parametrize(("bit", "fits"), [("12", True), ("13", False), ("", False),
                                               ("0", False), ("16", False)])  # fmt: skip
    def test_or_an_overlay_that_is_named(self, bit, fits):
        assert self.fits([0x1001], twelve(text={"OverlayBitPosition": bit})) is fits


class TestOtherReadings:
    def test_roughness_is_the_step_over_the_deviation(self):
        assert _roughness(np.array([[0, 2, 0, 2]])) == 2.0
        assert _roughness(np.array([[0, 0, 4, 4]])) == pytest.approx((4 / 3) / 2)
        assert _roughness(np.full((3, 3), 7)) == 0.0

    def smooth(self, rows=64, cols=80):
        y, x = np.mgrid[:rows, :cols]
        return np.rint(1500 + 900 * np.sin(x / 11.0) + 300 * np.cos(y / 9.0)).astype(np.uint16)

    def test_bytes_that_are_smooth_only_when_swapped(self):
        plain = layout_of(header(signed=False))
        assert not _order_is_wrong(self.smooth(), plain)
        assert _order_is_wrong(self.smooth().byteswap(), plain)
        noise = np.random.default_rng(1).integers(0, 4096, (64, 80)).astype(np.uint16)
        assert not _order_is_wrong(noise, plain)

    def test_rows_that_are_smooth_only_as_columns(self):
        plain = layout_of(header(signed=False))
        words = self.smooth(96, 200)
        assert not _rows_are_wrong(words, plain)
        assert _rows_are_wrong(words.reshape(200, 96), plain)
        assert not _rows_are_wrong(words[:2, :2], plain)

    @pytest.mark.parametrize(
        ("form", "used", "told"),
        [(None, 0xFFF, False), (False, 0xFFF, False), (True, 0xFFF, True), (True, 0x7FF, False)],
    )
    def test_a_codestream_of_another_sign_whose_bit_is_used(self, form, used, told):
        coded = CodedForm(4, 5, 12, 1, form)
        assert _another(coded, used, layout_of(twelve())) is told
        narrow = CodedForm(4, 5, 10, 1, form)
        assert _another(narrow, 0x200, layout_of(twelve())) is (form is True)

    def test_each_finding_counts_its_slices_and_stops_verdicts(self):
        proof = Proof(unfit=[1, 2], swapped=[3], sheared=[4, 5, 6], coded=[7])
        found = {f.code: f for f in proof.findings()}
        counts = {code: f.fields.get("count") for code, f in found.items()}
        assert counts == {"scan_words_unfit": 2, "scan_byte_order": 1, "scan_rows_contradict": 3,
                          "scan_coded_otherwise": 1}  # fmt: skip
        assert all(f.stops_verdicts and f.severity == "caution" for f in found.values())
        wraps = Wraps(far=5, near=0, kinds={1, 2, 3})
        for odd in (Proof(wraps=wraps), Proof(narrow=wraps)):
            assert [f.code for f in odd.findings()] == ["scan_sign_contradicts"]
        assert Proof().findings() == []


def bare(count=4, **other):
    """Slices without a place, numbered from 1."""
    frame = {"position_mm": None, "orientation": None, "spacing_mm": None} | other
    return Stack(pictures=tuple(
        picture(k, text={"InstanceNumber": str(k + 1)}, **frame) for k in range(count)
    ))  # fmt: skip


class TestByHand:
    def test_the_spacing_that_is_stated_gives_the_voxels(self):
        found, said = _by_hand(bare(), (0.2, 0.25, 0.5))
        assert found.mm_from_ijk == pytest.approx(np.diag([0.2, 0.25, 0.5, 1.0]))
        assert found.order == (0, 1, 2, 3)
        assert found.tilt_deg == 0.0
        assert [f.code for f in said] == ["scan_spacing_by_hand", "scan_orientation_assumed"]
        assert said[0].fields["spacing_mm"] == "0.2 × 0.25 × 0.5"

    def test_a_given_orientation_stands(self):
        turned = bare(orientation=(0.0, 1.0, 0.0, 0.0, 0.0, -1.0))
        found, said = _by_hand(turned, (0.2, 0.25, 0.5))
        assert (
            pytest.approx(np.array([[0, 0.2, 0], [0, 0, -0.25], [-0.5, 0, 0]]))
            == found.mm_from_ijk[:3, :3].T
        )
        assert [f.code for f in said] == ["scan_spacing_by_hand"]

    @pytest.mark.parametrize(
        ("stated", "taken"), [(0.2529, True), (0.2531, False), (0.2469, False)]
    )
    def test_the_headers_own_spacing_is_not_overruled_by_more_than_a_hundredth(self, stated, taken):
        known = bare(spacing_mm=(0.2505, 0.3))
        if taken:
            found, _ = _by_hand(known, (0.3, stated, 0.5))
            assert np.diag(found.mm_from_ijk)[:2] == pytest.approx([0.3, 0.2505])
        else:
            with pytest.raises(ScanError) as told:
                _by_hand(known, (0.3, stated, 0.5))
            assert told.value.code == "scan_spacing_not_the_headers"
            assert told.value.fields["header"] == "0.3 × 0.2505"

    @pytest.mark.parametrize(("step", "taken"), [(0.01, True), (0.009, False), (10.0, True),
                                                 (10.1, False)])  # fmt: skip
    def test_steps_that_can_be_believed(self, step, taken):
        if taken:
            assert _by_hand(bare(), (0.2, 0.2, step))[0].mm_from_ijk[2, 2] == step
        else:
            with pytest.raises(ScanError) as told:
                _by_hand(bare(), (0.2, 0.2, step))
            assert told.value.code == "scan_spacing_not_believable"

    @pytest.mark.parametrize(
        ("frame", "code"),
        [({}, "scan_no_spacing"), ({"spacing_mm": (0.3, 0.3)}, "scan_no_position"),
         ({"spacing_mm": (0.3, 0.3), "position_mm": (0.0, 0.0, 0.0)}, "scan_no_orientation")],
    )  # fmt: skip
    def test_without_it_what_is_missing_is_said(self, frame, code):
        with pytest.raises(ScanError) as told:
            _by_hand(bare(**frame), None)
        assert told.value.code == code

    def test_one_slice_alone_is_no_stack(self):
        with pytest.raises(ScanError) as told:
            _by_hand(bare(1), (0.2, 0.2, 0.2))
        assert told.value.code == "scan_one_slice"

    @pytest.mark.parametrize(
        ("numbers", "order"),
        [("3124", (1, 2, 0, 3)), ("5678", (0, 1, 2, 3)), ("1235", None), ("1223", None),
         ("12-4", None)],
    )  # fmt: skip
    def test_the_order_is_that_of_numbers_without_holes(self, numbers, order):
        pictures = [picture(k, text={"InstanceNumber": n.replace("-", "")})
                    for k, n in enumerate(numbers)]  # fmt: skip
        if order is None:
            with pytest.raises(ScanError) as told:
                _by_number(pictures)
            assert told.value.code == "scan_no_order"
        else:
            assert _by_number(pictures) == order

    def test_frames_of_one_file_are_in_their_order(self):
        one = picture(0)
        assert _by_number([one, one, one]) == (0, 1, 2)

    def test_medians_over_all_slices(self):
        odd = (0.0, 1.0, 0.0, 1.0, 0.0, 0.0)
        pictures = [*bare(4, orientation=(1.0, 0, 0, 0, 1.0, 0), spacing_mm=(0.3, 0.2)).pictures,
                    picture(9, orientation=odd, spacing_mm=(5.0, 0.01))]  # fmt: skip
        assert _median_orientation(pictures).tolist() == [1, 0, 0, 0, 1, 0]
        assert _median_spacing(pictures) == (0.3, 0.2)
