"""Numbers of a header: what is one (PS3.5 table 6.2-1), and what is written but is none."""

from __future__ import annotations

import pytest

from core.scan.numbers import number, numbers, position, spacing, unreadable, whole


@pytest.mark.parametrize(
    ("text", "value"),
    [("1.5", 1.5), ("-3", -3.0), ("+2e1 ", 20.0), ("0", 0.0), (None, None), ("", None),
     ("1,5", None), ("1_0", None), ("nan", None), ("inf", None), ("-inf", None), ("mm", None)],
)  # fmt: skip
def test_one_number(text, value):
    assert number(text) == value


@pytest.mark.parametrize(
    ("text", "value"),
    [("12", 12), (" +7 ", 7), ("-3", -3), ("1" * 12, 111_111_111_111), ("1" * 13, None),
     ("1.0", None), ("", None), (None, None), ("1_0", None), ("٣", 3)],
)  # fmt: skip
def test_one_whole_number(text, value):
    assert whole(text) == value


def test_as_many_as_are_asked_for_and_no_others():
    assert numbers("1\\2\\3", 3) == (1.0, 2.0, 3.0)
    assert numbers("0\\0", 2) == (0.0, 0.0)
    assert numbers("1\\2", 3) is None
    assert numbers("1\\2\\3\\4", 3) is None
    assert numbers("1\\\\3", 3) is None
    assert numbers("", 1) is None


def test_a_position_lies_within_a_hundred_metres():
    assert position("1\\-2\\3") == (1.0, -2.0, 3.0)
    assert position("99999.9\\0\\0") is not None
    assert position("100000\\0\\0") is None
    assert position("0\\-100000\\0") is None
    assert position("0\\0") is None


def test_pixels_are_larger_than_nothing():
    assert spacing("0.3\\0.2") == (0.3, 0.2)
    assert spacing("0.3\\0") is None
    assert spacing("-0.3\\0.3") is None
    assert spacing("1e-9\\0.3") == (1e-9, 0.3)
    assert spacing("0.3") is None


def test_what_is_written_and_is_no_number_is_named():
    sound = {
        "ImagePositionPatient": "1\\2\\3", "ImageOrientationPatient": "1\\0\\0\\0\\1\\0",
        "PixelSpacing": "0.3\\0.3", "RescaleSlope": "1", "RescaleIntercept": "0",
        "SliceThickness": "0.3", "SpacingBetweenSlices": "0.3", "SliceLocation": "3",
        "GantryDetectorTilt": "0", "InstanceNumber": "3", "NumberOfFrames": "1",
    }  # fmt: skip
    assert unreadable(sound) == ()
    for name, text in sound.items():
        assert unreadable({**sound, name: text + "\\5"}) == (name,)
        assert unreadable({**sound, name: "0,3"}) == (name,)
        # Empty is allowed but for a scale: without it no grey value is known.
        empty = (name,) if name in ("RescaleSlope", "RescaleIntercept") else ()
        assert unreadable({**sound, name: " "}) == empty
    for name in ("InstanceNumber", "NumberOfFrames"):
        assert unreadable({name: "3.5"}) == (name,)
    assert unreadable({"SliceThickness": "3.5", "KVP": "a lot"}) == ()
