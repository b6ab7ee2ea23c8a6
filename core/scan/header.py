"""What one file of an export says about its picture(s)."""

from __future__ import annotations

import math
import struct
from collections.abc import Mapping
from dataclasses import dataclass

from core.scan.attributes import IN_CHARACTER_SET, PERSONS, TAGS, WORDS
from core.scan.elements import CutShort, Damaged, Flat, looks_like_dicom, read_flat
from core.scan.walk import READ_FAULTS, Export, Source

_WANTED = frozenset(TAGS.values())
MAX_FRAMES = 20_000
MAX_POSITION_MM = 1e5
_FIRST_BYTES = 32 << 10
_MORE_BYTES = (1 << 20, 32 << 20)

DIRECTORY_CLASS = "1.2.840.10008.1.3.10"
"""Media Storage Directory Storage: a DICOMDIR."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FrameHeader:
    """Geometry and scale of one picture.

    Parameters
    ----------
    position_mm : three numbers or None
        ImagePositionPatient.
    orientation : six numbers or None
        ImageOrientationPatient: direction along the rows, then down the columns.
    spacing_mm : (row spacing, column spacing) or None
        PixelSpacing.
    slope, intercept : float
    thickness_mm : float or None
        SliceThickness.
    image_type : str
        ImageType or FrameType, joined by backslashes.
    """

    position_mm: tuple[float, ...] | None
    orientation: tuple[float, ...] | None
    spacing_mm: tuple[float, float] | None
    slope: float = 1.0
    intercept: float = 0.0
    thickness_mm: float | None = None
    image_type: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class ImageHeader:
    """One image file: its text attributes, its pixel layout, and its frames.

    Parameters
    ----------
    source : Source
    syntax : str
        Transfer syntax UID.
    text : mapping of attribute name to decoded text
        Absent attributes are absent; multiple values joined by backslashes.
    rows, cols, bits_allocated, bits_stored, high_bit, samples : int
    signed : bool
    little : bool
    pixel_tag, pixel_at, pixel_length : int
        See `core.scan.elements.Flat`.
    frames : tuple of FrameHeader
    """

    source: Source
    syntax: str
    text: Mapping[str, str]
    rows: int
    cols: int
    bits_allocated: int
    bits_stored: int
    high_bit: int
    samples: int
    signed: bool
    little: bool
    pixel_tag: int
    pixel_at: int
    pixel_length: int
    frames: tuple[FrameHeader, ...]
    multi_frame: bool
    padding: tuple[int, int] | None

    @property
    def frame_bytes(self) -> int:
        """Bytes of one uncompressed frame."""
        return self.rows * self.cols * self.samples * self.bits_allocated // 8

    @property
    def encapsulated(self) -> bool:
        """Whether the pixel data are compressed fragments."""
        return self.pixel_length == -1

    def value(self, name: str) -> str:
        """Text of an attribute, empty where absent."""
        return self.text.get(name, "")

    def number(self, name: str) -> float | None:
        """First number of an attribute, or None."""
        return _number(self.value(name).split("\\")[0])


def read_header(export: Export, source: Source) -> ImageHeader | None:
    """Read the header of a source; None when it is no DICOM file.

    Raises
    ------
    Damaged
        When it is meant to be DICOM but cannot be read.
    """
    try:
        head = export.head(source, _FIRST_BYTES)
    except READ_FAULTS as error:
        raise Damaged from error
    if not looks_like_dicom(head):
        return None
    try:
        flat = _flat_of(export, source, head)
        return _image_header(source, flat, export)
    except Damaged:
        if head[128:132] == b"DICM":
            raise
        return None  # it only looked a little like a file without preamble


def _flat_of(export: Export, source: Source, head: bytes) -> Flat:
    """Read ever more of the file until the header is complete."""
    for length in (*_MORE_BYTES, source.size):
        whole = len(head) >= source.size
        try:
            return read_flat(head, _WANTED, whole=whole)
        except CutShort:
            if whole:
                raise
        try:
            head = export.head(source, length)
        except READ_FAULTS as error:
            raise Damaged from error
    return read_flat(head, _WANTED, whole=True)


def _image_header(source: Source, flat: Flat, export: Export) -> ImageHeader:
    text = _texts(flat)
    rows, cols = _whole(text.get("Rows")), _whole(text.get("Columns"))
    bits_allocated = _whole(text.get("BitsAllocated"))
    bits_stored = _whole(text.get("BitsStored")) or bits_allocated
    high_bit = text.get("HighBit")
    multi_frame = "PerFrameFunctionalGroupsSequence" in text and bits_allocated >= 8
    frames: tuple[FrameHeader, ...] = (_single(text),)
    if multi_frame and rows and flat.pixel_at >= 0:
        from core.scan.functional_groups import read_frames

        frames = read_frames(export, source, flat, text)
    else:
        frames = frames * max(1, min(_whole(text.get("NumberOfFrames")), MAX_FRAMES))
    return ImageHeader(
        source=source,
        syntax=flat.syntax,
        text=text,
        rows=rows,
        cols=cols,
        bits_allocated=bits_allocated,
        bits_stored=bits_stored,
        high_bit=_whole(high_bit) if high_bit else bits_stored - 1,
        samples=_whole(text.get("SamplesPerPixel")) or 1,
        signed=_whole(text.get("PixelRepresentation")) == 1,
        little=flat.little,
        pixel_tag=flat.pixel_tag,
        pixel_at=flat.pixel_at,
        pixel_length=flat.pixel_length,
        frames=frames,
        multi_frame=multi_frame,
        padding=_padding(text),
    )


def _texts(flat: Flat) -> dict[str, str]:
    order = "<H" if flat.little else ">H"
    charset = flat.raw.get(TAGS["SpecificCharacterSet"], b"").decode("latin-1").strip(" \0")
    out: dict[str, str] = {}
    for name, tag in TAGS.items():
        value = flat.raw.get(tag)
        if value is None:
            continue
        if name in WORDS:
            out[name] = str(struct.unpack_from(order, value)[0]) if len(value) >= 2 else ""
        elif name.endswith("Sequence"):
            out[name] = "present"
        elif name in IN_CHARACTER_SET:
            out[name] = _decoded(value, charset, person=name in PERSONS)
        else:
            out[name] = value.decode("latin-1").strip(" \0")
    if "SOPClassUID" not in out and 0x00020002 in flat.raw:
        out["SOPClassUID"] = flat.raw[0x00020002].decode("latin-1").strip(" \0")
    return out


def _decoded(value: bytes, charset: str, *, person: bool) -> str:
    """Text in the file's character set (PS3.5 section 6.1); pydicom for the rarer ones."""
    try:
        if value.isascii() and b"\x1b" not in value:
            return value.decode("ascii").strip(" \0")
        if charset == "ISO_IR 192":
            return value.decode("utf-8", "replace").strip(" \0")
        if charset in ("", "ISO_IR 6", "ISO_IR 100"):
            return value.decode("latin-1").strip(" \0")
        from pydicom.charset import convert_encodings, decode_bytes
        from pydicom.valuerep import TEXT_VR_DELIMS, PersonName

        encodings = convert_encodings(charset.split("\\"))
        if person:
            return str(PersonName(value, encodings)).strip(" \0")
        return decode_bytes(value, encodings, TEXT_VR_DELIMS).strip(" \0")
    except (LookupError, ValueError):
        return value.decode("latin-1").strip(" \0")


def _single(text: Mapping[str, str]) -> FrameHeader:
    return FrameHeader(
        position_mm=position(text.get("ImagePositionPatient")),
        orientation=numbers(text.get("ImageOrientationPatient"), 6),
        spacing_mm=spacing(text.get("PixelSpacing")),
        slope=_or(_number(text.get("RescaleSlope")), 1.0),
        intercept=_or(_number(text.get("RescaleIntercept")), 0.0),
        thickness_mm=_number(text.get("SliceThickness")),
        image_type=text.get("ImageType", ""),
    )


def _padding(text: Mapping[str, str]) -> tuple[int, int] | None:
    """(low, high) as unsigned words; the reader turns them into stored values."""
    if not text.get("PixelPaddingValue"):
        return None
    first = _whole(text["PixelPaddingValue"])
    return first, _whole(text.get("PixelPaddingRangeLimit") or text["PixelPaddingValue"])


def numbers(text: str | None, count: int) -> tuple[float, ...] | None:
    """Exactly `count` finite numbers separated by backslashes, or None."""
    if not text:
        return None
    found = [_number(part) for part in text.split("\\")]
    if len(found) != count or any(value is None for value in found):
        return None
    return tuple(value for value in found if value is not None)


def position(text: str | None) -> tuple[float, ...] | None:
    """Three coordinates in mm within any scanner's reach, or None."""
    found = numbers(text, 3)
    return found if found is not None and max(map(abs, found)) < MAX_POSITION_MM else None


def spacing(text: str | None) -> tuple[float, float] | None:
    """(row spacing, column spacing) in mm, both positive and believable, or None."""
    found = numbers(text, 2)
    if found is None or not all(1e-3 < value < 100 for value in found):
        return None
    return found[0], found[1]


def _number(text: str | None) -> float | None:
    if not text or "_" in text:  # Python reads 1_0 as ten; the standard does not
        return None
    try:
        value = float(text)
    except ValueError:
        return None
    return value if math.isfinite(value) else None


def _or(value: float | None, otherwise: float) -> float:
    return otherwise if value is None else value


def _whole(text: str | None) -> int:
    value = _number(text)
    return int(value) if value is not None and abs(value) < 2**31 else 0
