"""What the header of a compressed picture says of itself (ITU-T T.81, T.87, T.800)."""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class CodedForm:
    """Size and words of a codestream.

    Parameters
    ----------
    rows, cols, precision, components : int
    signed : bool or None
        None where the codestream cannot say.
    """

    rows: int
    cols: int
    precision: int
    components: int
    signed: bool | None


_SCAN_MARKER = 0xDA
_FRAME_MARKERS = frozenset((0xC0, 0xC1, 0xC2, 0xC3, 0xF7))
"""SOF0-3 of ITU-T T.81 and SOF55 of T.87."""


def coded_form(packed: bytes) -> CodedForm | None:
    """Form that a JPEG family codestream declares, None where it declares none."""
    if packed[:2] == b"\xff\x4f" and packed[2:4] == b"\xff\x51" and len(packed) >= 43:
        x1, y1, x0, y0 = struct.unpack_from(">4I", packed, 8)
        components, depth = struct.unpack_from(">HB", packed, 40)
        return CodedForm(y1 - y0, x1 - x0, (depth & 0x7F) + 1, components, depth >= 0x80)
    if packed[:2] != b"\xff\xd8":
        return None
    for marker, at in _segments(packed):
        if marker in _FRAME_MARKERS:
            precision, rows, cols, components = struct.unpack_from(">BHHB", packed, at + 4)
            return CodedForm(rows, cols, precision, components, None)
    return None


def fits_its_headers(packed: bytes) -> bool:
    """Whether the segments before the data are as long as their content makes them.

    A damaged length lets a decoder begin in the wrong place, and it tells nothing.
    """
    if packed[:4] == b"\xff\x4f\xff\x51" and len(packed) >= 43:
        length, components = struct.unpack_from(">H34xH", packed, 4)
        return bool(length == 38 + 3 * components)
    if packed[:2] != b"\xff\xd8":
        return True
    for marker, at in _segments(packed):
        (length,) = struct.unpack_from(">H", packed, at + 2)
        if marker in _FRAME_MARKERS and length != 8 + 3 * packed[at + 9]:
            return False
        if marker == _SCAN_MARKER:
            return bool(length == 6 + 2 * packed[at + 4])
    return False


def _segments(packed: bytes) -> Iterator[tuple[int, int]]:
    """Marker and place of each segment of a JPEG, as far as their lengths lead."""
    at = 2
    while at + 10 <= len(packed) and packed[at] == 0xFF:
        marker = packed[at + 1]
        if marker == 0xFF:
            at += 1
            continue
        yield marker, at
        at += 2 + struct.unpack_from(">H", packed, at + 2)[0]
