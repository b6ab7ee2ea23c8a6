"""What the headers of one stack say against each other, a header at a time."""

from __future__ import annotations

import numpy as np
import pytest
from headers import header, picture, place

from core.scan.agreement import (
    header_agreement,
    images_of,
    number_refusal,
    order_agreement,
    part_refusal,
    spacing_refusal,
)
from core.scan.stacks import Picture


def stack(count=4, **at):
    """`at`: what a slice says otherwise, by its number (``k2={...}``)."""
    return [picture(k, **at.get(f"k{k}", {})) for k in range(count)]


def said(pictures):
    return {f.code: f for f in header_agreement(pictures)}


def test_headers_that_agree_say_nothing():
    assert header_agreement(stack()) == []
    assert number_refusal(stack()) is None
    assert spacing_refusal(stack()) is None
    assert part_refusal(stack()) is None


def test_a_file_of_many_frames_is_one_image():
    many = header(frames=(place(0), place(1)))
    pictures = [Picture(image=many, frame=0), Picture(image=many, frame=1), picture(2)]
    assert [image.source.name for image in images_of(pictures)] == ["I0", "I2"]


class TestNumbers:
    def test_one_unreadable_scale_refuses_all(self):
        found = number_refusal(stack(k3={"unreadable": ("RescaleSlope", "SliceThickness")}))
        assert (found.code, found.severity) == ("scan_scale_unreadable", "refused")
        assert found.fields["names"] == "RescaleSlope"
        both = stack(k0={"unreadable": ("RescaleSlope",)}, k1={"unreadable": ("NumberOfFrames",)})
        assert number_refusal(both).fields["names"] == "NumberOfFrames, RescaleSlope"

    def test_of_others_it_is_told(self):
        pictures = stack(k1={"unreadable": ("SliceThickness",)}, k2={"unreadable": ("A",)})
        assert number_refusal(pictures) is None
        told = said(pictures)["scan_number_unreadable"]
        assert (told.severity, told.fields["names"]) == ("caution", "A, SliceThickness")

    @pytest.mark.parametrize(
        ("spacing", "sound"),
        [((0.3, 0.3), True), ((0.02, 0.02), True), ((0.019, 0.3), False), ((0.3, 0.019), False),
         ((2.0, 2.0), True), ((2.01, 0.3), False), ((0.3, 2.01), False), (None, True)],
    )  # fmt: skip
    def test_pixels_of_a_fiftieth_to_two_millimetres(self, spacing, sound):
        found = spacing_refusal(stack(k2={"spacing_mm": spacing}))
        assert (found is None) is sound
        if not sound:
            assert (found.code, found.severity) == ("scan_spacing_out_of_range", "refused")
            assert found.fields["found_mm"] == f"{spacing[1]:g} × {spacing[0]:g}"
            assert (found.fields["least_mm"], found.fields["most_mm"]) == ("0.02", "2")

    @pytest.mark.parametrize("lacking", [1, 3])
    def test_a_witness_that_only_some_hold(self, lacking):
        text = {"SliceThickness": "0.3"}
        pictures = stack(**{f"k{k}": {"text": text} for k in range(4 - lacking)})
        told = said(pictures)["scan_number_absent"]
        assert (told.severity, told.fields["names"]) == ("note", "SliceThickness")
        whole = stack(**{f"k{k}": {"text": text} for k in range(4)})
        assert "scan_number_absent" not in said(whole)


class TestLayout:
    def test_padding_of_some(self):
        told = said(stack(k1={"image": {"padding": (5, 5)}}))["scan_padding_absent"]
        assert (told.severity, told.fields["count"]) == ("caution", 3)
        every = stack(**{f"k{k}": {"image": {"padding": (5, 5)}} for k in range(4)})
        assert "scan_padding_absent" not in said(every)

    def test_what_of_the_layout_is_not_stated(self):
        pictures = stack(
            k1={"image": {"absent": ("HighBit",)}}, k2={"image": {"absent": ("BitsStored",)}}
        )
        assert said(pictures)["scan_layout_absent"].fields["names"] == "BitsStored, HighBit"

    def test_a_scale_of_some_or_of_none(self):
        told = said(stack(k1={"scaled": False}))["scan_scale_absent"]
        assert (told.fields["count"], told.stops_verdicts) == (1, True)
        none = said(stack(**{f"k{k}": {"scaled": False} for k in range(4)}))
        assert not none["scan_scale_not_stated"].stops_verdicts
        assert "scan_scale_absent" not in none

    def test_bytes_that_no_frame_accounts_for(self):
        """4 by 5 words of two bytes: 40."""
        more = {"image": {"pixel_length": 42}}
        told = said(stack(k1=more, k3=more))["scan_pixels_left_over"]
        assert (told.fields["count"], told.stops_verdicts) == (2, True)


class TestMixed:
    def test_two_of_what_is_one_in_an_acquisition(self):
        told = said(stack(k1={"text": {"KVP": "90"}}, k2={"image_type": "DERIVED\\PRIMARY"}))
        assert told["scan_mixed"].fields["names"] == "ImageType, KVP"
        assert told["scan_mixed"].severity == "caution"

    def test_acquisitions_numbered_slice_by_slice_tell_nothing(self):
        own = {f"k{k}": {"text": {"AcquisitionNumber": str(k)}} for k in range(4)}
        assert said(stack(**own)) == {}
        own["k3"] = {"text": {"AcquisitionNumber": "2"}}
        assert said(stack(**own))["scan_mixed"].fields["names"] == "AcquisitionNumber"
        other = {f"k{k}": {"text": {"KVP": str(k)}} for k in range(4)}
        assert said(stack(**other))["scan_mixed"].fields["names"] == "KVP"

    def test_dates_are_told_as_dates(self):
        told = said(
            stack(
                k0={"text": {"StudyDate": "20260102"}},
                k1={"text": {"StudyDate": "20260103", "SeriesDate": "soon"}},
            )
        )
        found = told["scan_two_dates_in_series"]
        assert found.fields["dates"] == "2026-01-02, 2026-01-03, soon"
        assert "scan_mixed" not in told


class TestGrid:
    @pytest.mark.parametrize(("turn", "told"), [(0.9e-4, False), (1.1e-4, True)])
    def test_directions_beyond_a_ten_thousandth(self, turn, told):
        pictures = stack(k2={"orientation": (1.0, turn, 0.0, 0.0, 1.0, 0.0)})
        assert ("scan_directions_differ" in said(pictures)) is told
        if told:
            assert f"{said(pictures)['scan_directions_differ'].fields['most']}" == "0.0001"

    @pytest.mark.parametrize(("size", "told"), [(0.30002, False), (0.30006, True)])
    @pytest.mark.parametrize("axis", [0, 1])
    def test_pixel_sizes_beyond_a_ten_thousandth_of_them(self, size, told, axis):
        spacing = (size, 0.3) if axis == 0 else (0.3, size)
        pictures = stack(k2={"spacing_mm": spacing})
        assert ("scan_pixel_sizes_differ" in said(pictures)) is told
        if told:
            assert f"{said(pictures)['scan_pixel_sizes_differ'].fields['percent']}" == "0.02"

    def test_where_some_state_none_the_others_are_compared(self):
        pictures = stack(k1={"orientation": None, "spacing_mm": None})
        assert header_agreement(pictures) == []


class TestParts:
    """Two frames a part, each in a file of its own."""

    def parts(self, *numbers, total="3", offsets=()):
        pictures = []
        for n, part in enumerate(numbers):
            text = {"ConcatenationUID": "1.9", "InConcatenationNumber": str(part)}
            if total:
                text["InConcatenationTotalNumber"] = total
            if n < len(offsets):
                text["ConcatenationFrameOffsetNumber"] = str(offsets[n])
            image = header(n, text=text, frames=(place(2 * n), place(2 * n + 1)))
            pictures += [Picture(image=image, frame=0), Picture(image=image, frame=1)]
        return part_refusal(pictures)

    def test_all_of_them(self):
        assert self.parts(1, 2, 3) is None
        assert self.parts(3, 1, 2) is None
        assert self.parts(1, 2, 3, offsets=(0, 2, 4)) is None
        assert self.parts(1, 2, 3, total="") is None

    @pytest.mark.parametrize(
        ("numbers", "here", "total"),
        [((1, 2), 2, 3), ((2, 3), 2, 3), ((1, 3), 2, 3), ((1, 2, 4), 3, 4), ((1, 2, 3, 4), 4, 4)],
    )
    def test_one_that_is_not_here_or_one_too_many(self, numbers, here, total):
        found = self.parts(*numbers)
        if numbers == (1, 2, 3, 4):
            assert found is None, "as many parts as numbers say: the total is the larger"
            return
        assert (found.code, found.severity) == ("scan_part_missing", "refused")
        assert (found.fields["here"], found.fields["total"]) == (here, total)

    @pytest.mark.parametrize("offsets", [(1, 2, 4), (0, 3, 4), (0, 2, 3), (0, 2, 5)])
    def test_frames_that_do_not_follow_on(self, offsets):
        assert self.parts(1, 2, 3, offsets=offsets).code == "scan_part_missing"

    def test_a_concatenation_without_a_number_is_no_part(self):
        image = header(text={"ConcatenationUID": "1.9"})
        assert part_refusal([Picture(image=image, frame=0)]) is None


class TestOrder:
    PLACES = 0.3 * np.arange(6)

    def said(self, locations=None, numbers=None, tilt_cos=1.0):
        pictures = [
            picture(
                k,
                location_mm=self.PLACES[k] if locations is None else locations[k],
                number=k + 1 if numbers is None else numbers[k],
            )
            for k in range(6)
        ]
        return [f.code for f in order_agreement(pictures, self.PLACES, tilt_cos)]

    def test_numbers_and_locations_that_run_with_the_places_or_against(self):
        assert self.said() == []
        assert self.said(self.PLACES[::-1] - 40.0, [6, 5, 4, 3, 2, 1]) == []

    def test_numbers_that_do_neither(self):
        assert self.said(numbers=[1, 2, 4, 3, 5, 6]) == ["scan_order_contradicts"]

    @pytest.mark.parametrize(("off", "told"), [(0.009, False), (0.011, True), (-0.011, True)])
    def test_a_location_off_by_more_than_a_hundredth_of_a_millimetre(self, off, told):
        moved = self.PLACES.copy()
        moved[3:] += off
        assert (self.said(moved) == ["scan_location_contradicts"]) is told

    @pytest.mark.parametrize(("drift", "told"), [(0.0035, False), (0.0045, True)])
    def test_steps_all_a_little_off_add_up(self, drift, told):
        """Five steps: at most twice a hundredth in all."""
        assert bool(self.said((0.3 + drift) * np.arange(6.0))) is told

    def test_along_a_tilted_table_they_are_longer(self):
        cosine = np.cos(np.radians(15.0))
        assert self.said(self.PLACES / cosine, tilt_cos=cosine) == []
        assert self.said(self.PLACES / cosine) == ["scan_location_contradicts"]
        assert self.said(self.PLACES, tilt_cos=cosine) == []

    def test_one_location_for_all_is_no_place(self):
        assert self.said([0.0] * 6) == []
        assert self.said([None] * 5 + [3.0]) == []
        assert self.said([0.0, 0.3, None, 0.9, 1.2, 1.5]) == []
        assert self.said([0.0, 0.3, None, 0.7, 1.2, 1.5]) == ["scan_location_contradicts"]
