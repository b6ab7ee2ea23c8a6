"""Stored values from words, and which layouts are sure, by PS3.5 section 8.1.1."""

from __future__ import annotations

import numpy as np
import pytest
from headers import header

from core.scan.elements import EXPLICIT_BE, EXPLICIT_LE
from core.scan.pixel_encoding import (
    Layout,
    array_type,
    fill_between,
    layout_of,
    padding_words,
    stored_padding,
    stored_values,
    unreadable_layout,
)

JPEG_LS = "1.2.840.10008.1.2.4.80"


def layout(*, bits=16, stored=12, high=None, signed=False, padding=None):
    return Layout(
        bits_allocated=bits, bits_stored=stored, high_bit=stored - 1 if high is None else high,
        signed=signed, padding=padding,
    )  # fmt: skip


def read(words, how):
    kind = np.dtype(f"u{how.bits_allocated // 8}")
    return stored_values(np.array(words, dtype=kind), how).tolist()


class TestSure:
    @pytest.mark.parametrize(
        ("other", "code"),
        [
            ({}, ""),
            ({"samples": 3}, "scan_colour"),
            ({"text": {"PhotometricInterpretation": "RGB"}}, "scan_colour"),
            ({"text": {"PhotometricInterpretation": "MONOCHROME1"}}, ""),
            ({"text": {"PhotometricInterpretation": ""}}, ""),
            ({"syntax": "1.2.3.4"}, "scan_syntax_unknown"),
            ({"syntax": JPEG_LS, "pixel_length": -1}, ""),
            ({"syntax": JPEG_LS}, "scan_pixel_layout"),
            ({"pixel_length": -1}, "scan_pixel_layout"),
            ({"rows": 1}, "scan_pixel_layout"),
            ({"rows": 2}, ""),
            ({"cols": 1}, "scan_pixel_layout"),
            ({"signed": None}, "scan_pixel_layout"),
            ({"pixel_tag": 0x7FE00008}, "scan_pixel_layout"),
            ({"pixel_tag": 0}, ""),
            ({"bits_allocated": 12, "bits_stored": 12, "high_bit": 11}, "scan_pixel_layout"),
            ({"bits_allocated": 64, "bits_stored": 16}, "scan_pixel_layout"),
            ({"bits_stored": 0, "high_bit": 0}, "scan_pixel_layout"),
            ({"bits_stored": 1, "high_bit": 0}, ""),
            ({"bits_stored": 17, "high_bit": 15}, "scan_pixel_layout"),
            ({"bits_stored": 12, "high_bit": 10}, "scan_pixel_layout"),
            ({"bits_stored": 12, "high_bit": 11}, ""),
            ({"bits_stored": 12, "high_bit": 15}, ""),
            ({"bits_stored": 12, "high_bit": 16}, "scan_pixel_layout"),
            ({"bits_allocated": 8, "bits_stored": 8, "high_bit": 7}, ""),
            ({"bits_allocated": 8, "bits_stored": 7, "high_bit": 6}, "scan_pixel_layout"),
            ({"bits_allocated": 8, "bits_stored": 8, "high_bit": 7, "syntax": EXPLICIT_BE},
             "scan_pixel_layout"),
            ({"syntax": EXPLICIT_BE}, ""),
            ({"bits_allocated": 32, "bits_stored": 32, "high_bit": 31}, ""),
            ({"bits_allocated": 32, "bits_stored": 32, "high_bit": 31, "signed": False},
             "scan_pixel_layout"),
            ({"bits_allocated": 32, "bits_stored": 31, "high_bit": 30, "signed": False}, ""),
            ({"signed": False}, ""),
        ],
    )  # fmt: skip
    def test_each_layout(self, other, code):
        assert unreadable_layout(header(**other)) == code

    def test_it_is_what_the_header_states(self):
        image = header(bits_stored=12, high_bit=13, signed=None, padding=(1, 2))
        assert layout_of(image) == layout(stored=12, high=13, signed=False, padding=(1, 2))
        assert layout_of(header()).signed
        assert header().syntax == EXPLICIT_LE


class TestWords:
    def test_bits_outside_those_stored_are_dropped_and_signs_extended(self):
        assert read([0x0FFF, 0xF123, 0x0800], layout()) == [0xFFF, 0x123, 0x800]
        assert read([0x0FFF, 0xF123, 0x0800], layout(signed=True)) == [-1, 0x123, -0x800]
        assert read([0xFFF0, 0x123F, 0x8000], layout(high=15)) == [0xFFF, 0x123, 0x800]
        assert read([0xFFF0, 0x123F, 0x8000], layout(high=15, signed=True)) == [-1, 0x123, -0x800]
        assert read([0x7FFC, 0x8005], layout(high=13)) == [0xFFF, 0x001]

    def test_whole_words_are_left_as_they_are(self):
        assert read([0xFFFF, 0x8000, 5], layout(stored=16)) == [0xFFFF, 0x8000, 5]
        assert read([0xFFFF, 0x8000, 5], layout(stored=16, signed=True)) == [-1, -0x8000, 5]
        assert read([0xFF, 0x80], layout(bits=8, stored=8, signed=True)) == [-1, -0x80]
        assert read([0xFFFFFFFF], layout(bits=32, stored=32, signed=True)) == [-1]

    def test_padding_that_does_not_fit_is_kept_and_other_padding_is_a_value(self):
        beyond = layout(padding=(0xF830, 0xF830))
        assert read([0xF830, 0x0123], beyond) == [0xF830, 0x123]
        assert read([0x0123, 0x0456], beyond) == [0x123, 0x456]
        fits = layout(padding=(0x0FFF, 0x0FFF))
        assert read([0xFFFF, 0x0FFF], fits) == [0xFFF, 0xFFF]
        just = layout(padding=(0x1000, 0x1000))
        assert read([0x1000, 0x0001], just) == [0x1000, 1]

    @pytest.mark.parametrize(
        ("padding", "kept"),
        [(0xF800, -0x800), (0xF7FF, -0x801), (0x07FF, 0x7FF), (0x0800, 0x800), (0x8000, -0x8000)],
    )
    def test_signed_padding_fits_from_minus_to_plus(self, padding, kept):
        """Twelve bits hold -2048 to 2047."""
        how = layout(signed=True, padding=(padding, padding))
        assert read([padding], how) == [kept]


class TestPadding:
    @pytest.mark.parametrize(
        ("how", "words", "stored"),
        [
            (layout(), None, None),
            (layout(padding=(5, 9)), (5, 9), (5.0, 9.0)),
            (layout(padding=(9, 5)), (5, 9), (5.0, 9.0)),
            (layout(padding=(-1, -1)), (0xFFFF, 0xFFFF), (65535.0, 65535.0)),
            (layout(signed=True, padding=(0xF830, 0xF840)), (0xF830, 0xF840), (-2000.0, -1984.0)),
            (layout(signed=True, padding=(0xFFFF, 3)), (3, 3), (-1.0, 3.0)),
            (layout(signed=True, padding=(0x7FFF, 0x8000)), (0x7FFF, 0x7FFF),
             (-32768.0, 32767.0)),
            (layout(bits=8, stored=8, padding=(0x1FF, 0x1FF)), (0xFF, 0xFF), (255.0, 255.0)),
            (layout(bits=8, stored=8, signed=True, padding=(0x80, 3)), (3, 0x80), (-128.0, 3.0)),
            (layout(bits=32, stored=32, signed=True, padding=(0x8000, 0x8000)),
             (0xFFFF8000, 0xFFFF8000), (-32768.0, -32768.0)),
            (layout(bits=32, stored=32, signed=True, padding=(0x7FFF, 0x7FFF)),
             (0x7FFF, 0x7FFF), (32767.0, 32767.0)),
            (layout(bits=32, stored=31, padding=(0x8000, 0x8000)), (0x8000, 0x8000),
             (32768.0, 32768.0)),
        ],
    )  # fmt: skip
    def test_as_words_and_as_stored_values(self, how, words, stored):
        assert padding_words(how) == words
        assert stored_padding(how) == stored

    @pytest.mark.parametrize(
        ("how", "kind"),
        [
            (layout(), np.int16),
            (layout(stored=15), np.int16),
            (layout(stored=16), np.uint16),
            (layout(stored=16, signed=True), np.int16),
            (layout(padding=(0x8000, 0x8000)), np.uint16),
            (layout(padding=(0x7FFF, 0x7FFF)), np.int16),
            (layout(bits=8, stored=8), np.int16),
            (layout(bits=32, stored=31), np.int32),
        ],
    )
    def test_the_type_of_the_volume(self, how, kind):
        assert array_type(how) == kind


class TestBetween:
    def filled(self, values, made_up, padding=None, kind=np.int16):
        array = np.array(values, dtype=kind)[:, None, None] * np.ones((1, 2, 2), kind)
        fill_between(array, made_up, padding)
        return array[:, 0, 0].tolist()

    def test_linear_between_the_nearest_real_ones(self):
        assert self.filled([10, 0, 20], [1]) == [10, 15, 20]
        assert self.filled([10, 0, 0, 0, 30], [1, 2, 3]) == [10, 15, 20, 25, 30]
        assert self.filled([10, 0, 0, 21], [1, 2]) == [10, 14, 17, 21]
        assert self.filled([10, 0, 13], [1]) == [10, 12, 13], "rounded to the even one"
        assert self.filled([1.0, 0, 2.0], [1], kind=np.float32) == [1.0, 1.5, 2.0]

    def test_beyond_the_ends_as_the_nearest_real_one(self):
        assert self.filled([0, 10, 20], [0]) == [10, 10, 20]
        assert self.filled([10, 20, 0], [2]) == [10, 20, 20]
        assert self.filled([0, 0, 20, 30], [0, 1]) == [20, 20, 20, 30]

    def test_what_was_not_scanned_on_either_side_stays_so(self):
        assert self.filled([-5, 0, 20], [1], (-6.0, -4.0)) == [-5, -6, 20]
        assert self.filled([20, 0, -4], [1], (-6.0, -4.0)) == [20, -6, -4]
        assert self.filled([-3, 0, 21], [1], (-6.0, -4.0)) == [-3, 9, 21]
