"""DICOM files written byte by byte (PS3.5 section 7.1, A.4; PS3.10 section 7.1), lies included.

A writer of its own: it knows nothing of the reader that is tested, and writes whatever text or
number it is given, as broken exporters do.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Mapping
from functools import cache
from typing import Any

from pydicom.datadict import dictionary_VR, tag_for_keyword

IMPLICIT = "1.2.840.10008.1.2"
EXPLICIT = "1.2.840.10008.1.2.1"
DEFLATED = "1.2.840.10008.1.2.1.99"
BIG = "1.2.840.10008.1.2.2"
JPEG_LOSSLESS = "1.2.840.10008.1.2.4.70"
JPEG_LS = "1.2.840.10008.1.2.4.80"
JPEG_2000 = "1.2.840.10008.1.2.4.90"
RLE = "1.2.840.10008.1.2.5"

_LONG = frozenset(["OB", "OD", "OF", "OL", "OV", "OW", "SQ", "SV", "UC", "UN", "UR", "UT", "UV"])
_UNDEFINED = 0xFFFFFFFF
Head = Mapping[str, Any]


@cache
def tag_of(name: str) -> tuple[int, str]:
    """(tag, VR) of an attribute."""
    tag = tag_for_keyword(name)
    vr = dictionary_VR(tag)
    return int(tag), "US" if vr == "US or SS" else vr


def file_bytes(head: Head, pixels: bytes | list[bytes] | None, syntax: str) -> bytes:
    """A whole file: preamble, meta information, data set.

    Parameters
    ----------
    head : mapping of attribute name to value
        Text as it is written; ``int`` for US; ``(VR, bytes)`` for anything else; a list of
        mappings for a sequence.
    pixels : bytes, list of bytes, or None
        Native bytes as they are written, or the items of encapsulated data with their offset
        table first.
    """
    little = syntax != BIG
    body = data_set(head, little=little, implicit=syntax == IMPLICIT)
    if pixels is not None:
        body += _pixel_element(pixels, little=little, implicit=syntax == IMPLICIT)
    if syntax == DEFLATED:
        packer = zlib.compressobj(wbits=-zlib.MAX_WBITS)
        body = packer.compress(body) + packer.flush()
        body += b"\0" * (len(body) % 2)
    meta = b"".join(
        _element(tag, vr, _even(value, b"\0"), little=True, implicit=False)
        for tag, vr, value in (
            (0x00020001, "OB", b"\0\1"),
            (0x00020002, "UI", str(head.get("SOPClassUID", "")).encode()),
            (0x00020003, "UI", str(head.get("SOPInstanceUID", "")).encode()),
            (0x00020010, "UI", syntax.encode()),
        )
    )
    group = _element(0x00020000, "UL", struct.pack("<I", len(meta)), little=True, implicit=False)
    return bytes(128) + b"DICM" + group + meta + body


def data_set(head: Head, *, little: bool, implicit: bool) -> bytes:
    """Elements of a data set in the order of their tags."""
    elements = []
    for name, value in head.items():
        tag, vr = tag_of(name)
        elements.append((tag, vr, value))
    elements.sort(key=lambda element: element[0])
    return b"".join(
        _element(tag, *_written(vr, value, little, implicit), little=little, implicit=implicit)
        for tag, vr, value in elements
    )


def _written(vr: str, value: Any, little: bool, implicit: bool) -> tuple[str, bytes]:
    if isinstance(value, tuple):
        return value
    if isinstance(value, list):
        items = [data_set(item, little=little, implicit=implicit) for item in value]
        order = "<" if little else ">"
        head = b"\xfe\xff\x00\xe0" if little else b"\xff\xfe\xe0\x00"
        return "SQ", b"".join(head + struct.pack(order + "I", len(i)) + i for i in items)
    if isinstance(value, int):
        size = {"US": "H", "SS": "h", "UL": "I"}[vr]
        return vr, struct.pack(("<" if little else ">") + size, value)
    return vr, _even(str(value).encode("latin-1"), b"\0" if vr == "UI" else b" ")


def _element(tag: int, vr: str, value: bytes, *, little: bool, implicit: bool) -> bytes:
    order = "<" if little else ">"
    head = struct.pack(order + "HH", tag >> 16, tag & 0xFFFF)
    if implicit:
        return head + struct.pack(order + "I", len(value)) + value
    if vr in _LONG:
        return head + vr.encode() + b"\0\0" + struct.pack(order + "I", len(value)) + value
    return head + vr.encode() + struct.pack(order + "H", len(value)) + value


def _pixel_element(pixels: bytes | list[bytes], *, little: bool, implicit: bool) -> bytes:
    if isinstance(pixels, bytes):
        return _element(0x7FE00010, "OW", pixels, little=little, implicit=implicit)
    items = b"".join(
        b"\xfe\xff\x00\xe0" + struct.pack("<I", len(_even(item, b"\0"))) + _even(item, b"\0")
        for item in pixels
    )
    head = struct.pack("<HH2sHI", 0x7FE0, 0x0010, b"OB", 0, _UNDEFINED)
    return head + items + b"\xfe\xff\xdd\xe0" + bytes(4)


def _even(value: bytes, pad: bytes) -> bytes:
    return value + pad * (len(value) % 2)
