"""The flat attributes of a DICOM file, read straight from its bytes.

A general reader builds an object for each attribute, and spends longer on the headers of a
scan than the voxels take. This one walks the top level once, keeps the raw bytes of the wanted
attributes and steps over the rest; nested attributes are left to pydicom, where one file has
them. Every step is bounded by the bytes at hand, so damaged or hostile files end in `Damaged`.

Encodings: DICOM PS3.5 section 7.1 (data elements), 7.5 (sequences), PS3.10 section 7.1 (preamble).
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Collection
from dataclasses import dataclass

IMPLICIT_LE = "1.2.840.10008.1.2"
EXPLICIT_LE = "1.2.840.10008.1.2.1"
EXPLICIT_BE = "1.2.840.10008.1.2.2"
DEFLATED_LE = "1.2.840.10008.1.2.1.99"

NATIVE = frozenset((IMPLICIT_LE, EXPLICIT_LE, EXPLICIT_BE, DEFLATED_LE))
"""Transfer syntaxes without compressed pictures."""

MAX_INFLATED_BYTES = 4 << 30
"""A deflated data set is inflated at most to this size, and ..."""
MAX_INFLATION = 400
"""... at most this many times; a scan's slice shrinks a few times only."""
HEADER_BYTES_INFLATED = 64 << 20
"""So much of a deflated data set is inflated for its header."""

_LONG_VRS = frozenset(b"OB OD OF OL OV OW SQ SV UC UN UR UT UV".split())
_SHORT_VRS = frozenset(b"AE AS AT CS DA DS DT FL FD IS LO LT PN SH SL SS ST TM UI UL US".split())
_UNDEFINED = 0xFFFFFFFF
_PIXEL_TAGS = frozenset((0x7FE00008, 0x7FE00009, 0x7FE00010))
_MAX_NESTING = 40


class Damaged(Exception):  # noqa: N818  (a state of the file, not a fault of the program)
    """The bytes are not a readable DICOM data set."""


class CutShort(Damaged):
    """The bytes end inside an element: more of the file is needed, or it is truncated."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Flat:
    """Top-level attributes of one file.

    Parameters
    ----------
    syntax : str
        Transfer syntax UID.
    little : bool
    implicit : bool
    raw : dict of tag to bytes
        Values of the wanted attributes; for a sequence, an empty value (that it is there).
    start : int
        Where the data set begins (in `inflated` where that is present).
    pixel_tag, pixel_at, pixel_length
        Tag, offset of the value and length of the pixel data; 0, -1, 0 without;
        length -1 means encapsulated.
    inflated : bytes
        The beginning of a deflated file's data set, inflated; else empty.
    """

    syntax: str
    little: bool
    implicit: bool
    raw: dict[int, bytes]
    start: int
    pixel_tag: int
    pixel_at: int
    pixel_length: int
    inflated: bytes


def looks_like_dicom(head: bytes) -> bool:
    """Whether the first bytes may be a DICOM file, with or without preamble."""
    if head[128:132] == b"DICM":
        return True
    if len(head) < 16 or head[:4] in (b"PK\x03\x04", b"MZ\x90\x00"):
        return False
    group, element = struct.unpack_from("<HH", head)
    swapped = struct.unpack_from(">HH", head)
    if group in (2, 8) and element < 0x100:
        explicit = head[4:6] in _LONG_VRS or head[4:6] in _SHORT_VRS
        return explicit or struct.unpack_from("<I", head, 4)[0] <= 128
    return swapped[0] == 8 and swapped[1] < 0x100 and head[4:6] in _SHORT_VRS


def read_flat(data: bytes, wanted: Collection[int], *, whole: bool) -> Flat:
    """Read the wanted top-level attributes.

    Parameters
    ----------
    data : bytes
        The file from its beginning.
    wanted : collection of int
        Tags to keep.
    whole : bool
        Whether `data` is the whole file: then an end inside the header is damage.

    Raises
    ------
    CutShort
        When the bytes end before the pixel data and before the end of an element.
    Damaged
        When they are no data set.
    """
    at = 132 if data[128:132] == b"DICM" else 0
    meta: dict[int, bytes] = {}
    if data[at : at + 2] == b"\x02\x00":
        meta, at = _meta(data, at)
    if len(data) < at + 8:
        raise CutShort
    syntax = _text(meta.get(0x00020010, b"")) or _guess_syntax(data, at)
    inflated = b""
    start = at
    if syntax == DEFLATED_LE:
        if not whole:
            raise CutShort
        inflated = data = inflate(data[at:], HEADER_BYTES_INFLATED)
        start = at = 0
    little = syntax != EXPLICIT_BE
    implicit = syntax == IMPLICIT_LE
    if data[at + 4 : at + 6] in _SHORT_VRS:
        implicit = False  # some writers name the implicit syntax and write the explicit one
    elif implicit is False and little and not data[at + 4 : at + 6].isalpha():
        implicit = True
    raw: dict[int, bytes] = {}
    order = "<" if little else ">"
    pixel = _top_level(data, at, implicit, order, raw=raw, wanted=frozenset(wanted))
    if 0x00020002 in meta:
        raw.setdefault(0x00020002, meta[0x00020002])
    return Flat(
        syntax=syntax,
        little=little,
        implicit=implicit,
        raw=raw,
        start=start,
        pixel_tag=pixel[0],
        pixel_at=pixel[1],
        pixel_length=pixel[2],
        inflated=inflated,
    )


def behind_meta(data: bytes) -> int:
    """Where the data set begins, behind preamble and file meta information."""
    at = 132 if data[128:132] == b"DICM" else 0
    return _meta(data, at)[1] if data[at : at + 2] == b"\x02\x00" else at


def _meta(data: bytes, at: int) -> tuple[dict[int, bytes], int]:
    """File meta information (always explicit little endian): values and where it ends."""
    found: dict[int, bytes] = {}
    while data[at : at + 2] == b"\x02\x00":
        tag, length, value_at = _header(data, at, False, "<")
        if value_at + length > len(data):
            raise CutShort
        found[tag] = data[value_at : value_at + length]
        at = value_at + length
    return found, at


def _guess_syntax(data: bytes, at: int) -> str:
    """Transfer syntax of a file without meta information, from its first element."""
    if data[at + 4 : at + 6] in _SHORT_VRS or data[at + 4 : at + 6] in _LONG_VRS:
        return EXPLICIT_LE if data[at] else EXPLICIT_BE
    return IMPLICIT_LE


def inflate(packed: bytes, most: int) -> bytes:
    """Inflate a deflated data set (PS3.5 A.5), at most so many bytes of it.

    Raises
    ------
    Damaged
        When it is no deflated data, or swells more than any scan does.
    """
    swollen = min(MAX_INFLATED_BYTES, max(HEADER_BYTES_INFLATED, MAX_INFLATION * len(packed)))
    stream = zlib.decompressobj(-zlib.MAX_WBITS)
    try:
        data = stream.decompress(packed, min(swollen, most))
    except zlib.error as error:
        raise Damaged from error
    if stream.unconsumed_tail and swollen < most:
        raise Damaged
    return data


def _header(data: bytes, at: int, implicit: bool, order: str) -> tuple[int, int, int]:
    """(tag, length, offset of the value) of the element at an offset."""
    if at + 8 > len(data):
        raise CutShort
    group, element = struct.unpack_from(order + "HH", data, at)
    tag = group << 16 | element
    if implicit or group == 0xFFFE:
        return tag, struct.unpack_from(order + "I", data, at + 4)[0], at + 8
    vr = data[at + 4 : at + 6]
    if vr in _SHORT_VRS:
        return tag, struct.unpack_from(order + "H", data, at + 6)[0], at + 8
    if vr in _LONG_VRS:
        if at + 12 > len(data):
            raise CutShort
        return tag, struct.unpack_from(order + "I", data, at + 8)[0], at + 12
    raise Damaged


def _top_level(
    data: bytes,
    at: int,
    implicit: bool,
    order: str,
    *,
    raw: dict[int, bytes],
    wanted: frozenset[int],
) -> tuple[int, int, int]:
    """Fill `raw`; return (tag, offset, length) of the pixel data, length -1 if encapsulated."""
    end = len(data)
    last = -1
    while at < end:
        tag, length, value_at = _header(data, at, implicit, order)
        if tag in _PIXEL_TAGS:
            return tag, value_at, -1 if length == _UNDEFINED else length
        if tag <= last:
            raise Damaged  # tags ascend (PS3.5 section 7.1); else these are no elements at all
        last = tag
        if length == _UNDEFINED:
            unknown = data[at + 4 : at + 6] == b"UN"
            if tag in wanted:
                raw[tag] = b""
            at = _skip_items(data, value_at, implicit or unknown, order, 0)
            continue
        if value_at + length > end:
            raise CutShort
        if tag in wanted:
            raw[tag] = data[value_at : value_at + length]
        at = value_at + length
    return 0, -1, 0


def _skip_items(data: bytes, at: int, implicit: bool, order: str, depth: int) -> int:
    """Offset behind a sequence of undefined length."""
    if depth > _MAX_NESTING:
        raise Damaged
    while True:
        tag, length, at = _header(data, at, implicit, order)
        if tag == 0xFFFEE0DD:
            return at
        if tag != 0xFFFEE000:
            raise Damaged
        if length != _UNDEFINED:
            at += length
            continue
        while True:
            start = at
            tag, length, at = _header(data, at, implicit, order)
            if tag == 0xFFFEE00D:
                break
            if length == _UNDEFINED:
                unknown = data[start + 4 : start + 6] == b"UN"
                at = _skip_items(data, at, implicit or unknown, order, depth + 1)
            else:
                at += length


def _text(value: bytes) -> str:
    return value.decode("latin-1").strip(" \0")
