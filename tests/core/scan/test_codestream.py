"""What compressed pictures say of themselves: streams written by hand (ITU-T T.81, T.87, T.800)."""

from __future__ import annotations

import struct

import pytest

from core.scan.codestream import CodedForm, coded_form, fits_its_headers


def segment(marker, body, *, length=None):
    return b"\xff" + bytes([marker]) + struct.pack(">H", length or len(body) + 2) + body


def frame(marker=0xC3, *, precision=12, rows=300, cols=200, components=1, length=None):
    body = struct.pack(">BHHB", precision, rows, cols, components) + b"\x01\x11\x00" * components
    return segment(marker, body, length=length)


def scan(components=1, *, length=None):
    return segment(0xDA, bytes([components]) + b"\x01\x00" * components + b"\x01\x00\x00",
                   length=length)  # fmt: skip


APP = segment(0xE0, b"JFIF" + bytes(10))
REST = bytes(40)


def jpeg(*parts):
    return b"\xff\xd8" + b"".join(parts) + REST


def jpeg_2000(*, signed=False, depth=12, components=1, length=None, size=(200, 300), first=(0, 0)):
    sizes = struct.pack(">8I", *size, *first, *size, 0, 0)
    body = struct.pack(">H", 0) + sizes + struct.pack(">H", components)
    body += bytes([(depth - 1) | (0x80 if signed else 0), 1, 1]) * components
    return b"\xff\x4f" + segment(0x51, body, length=length) + REST


@pytest.mark.parametrize("marker", [0xC0, 0xC1, 0xC2, 0xC3, 0xF7])
def test_size_and_words_of_a_jpeg(marker):
    wanted = CodedForm(300, 200, 12, 1, None)
    assert coded_form(jpeg(frame(marker), scan())) == wanted
    assert coded_form(jpeg(APP, frame(marker), scan())) == wanted
    assert coded_form(jpeg(b"\xff", frame(marker), scan())) == wanted, "a byte that only fills"
    three = coded_form(jpeg(frame(marker, components=3, precision=8), scan(3)))
    assert three == CodedForm(300, 200, 8, 3, None)


@pytest.mark.parametrize("signed", [True, False])
def test_size_and_words_of_a_jpeg_2000(signed):
    assert coded_form(jpeg_2000(signed=signed)) == CodedForm(300, 200, 12, 1, signed)
    assert coded_form(jpeg_2000(first=(10, 20), components=2)) == CodedForm(280, 190, 12, 2, False)
    assert coded_form(jpeg_2000(depth=16, signed=signed)).precision == 16


def test_what_declares_nothing():
    assert coded_form(b"") is None
    assert coded_form(b"\x00\x01" + bytes(60)) is None
    assert coded_form(jpeg(APP)) is None
    assert coded_form(jpeg_2000()[:42]) is None
    assert coded_form(jpeg_2000()[:43]) is not None
    assert coded_form(b"\xff\x4f\xff\x52" + bytes(60)) is None
    assert coded_form(b"\xff\xd8" + frame()[:9]) is None


def test_headers_that_are_as_long_as_their_content():
    assert fits_its_headers(jpeg(APP, frame(), scan()))
    assert fits_its_headers(jpeg(frame(components=3), scan(3)))
    assert fits_its_headers(jpeg_2000())
    assert fits_its_headers(jpeg_2000(components=3))
    assert fits_its_headers(b"RLE or whatever")


@pytest.mark.parametrize(
    "packed",
    [
        jpeg(frame(length=10), scan()),
        jpeg(frame(length=12), scan()),
        jpeg(frame(), scan(length=7)),
        jpeg(frame(), scan(length=9)),
        jpeg(frame(), scan(2, length=8)),
        jpeg(frame()),
        jpeg(APP),
        jpeg_2000(length=40),
        jpeg_2000(length=42),
        jpeg_2000(components=2, length=41),
    ],
)
def test_a_damaged_length_is_seen(packed):
    assert not fits_its_headers(packed)
