"""What one file of an export says about its picture(s)."""

from __future__ import annotations

import struct
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from core.scan.attributes import IN_CHARACTER_SET, LONG_WORDS, PERSONS, TAGS, WORDS
from core.scan.elements import CutShort, Damaged, Flat, looks_like_dicom, read_flat
from core.scan.frame_header import MAX_FRAMES, FrameHeader
from core.scan.functional_groups import read_frames
from core.scan.numbers import number, numbers, position, spacing, unreadable, whole
from core.scan.sources import READ_FAULTS, Export, Source

_WANTED = frozenset(TAGS.values())
MAX_HEADER_BYTES = 64 << 20
"""A header never needs more: the groups of 20,000 frames take a third of it."""
_FIRST_BYTES = 32 << 10
_MORE_BYTES = (1 << 20, 16 << 20, MAX_HEADER_BYTES)
_TYPE_1 = ("BitsStored", "HighBit", "SamplesPerPixel", "PhotometricInterpretation")
"""Attributes of the pixel layout that must be there (PS3.3 table C.7-11b)."""

DIRECTORY_CLASS = "1.2.840.10008.1.3.10"
"""Media Storage Directory Storage: a DICOMDIR."""


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
    signed : bool or None
        None where PixelRepresentation is neither 0 nor 1.
    little : bool
    pixel_tag, pixel_at, pixel_length : int
        See `core.scan.elements.Flat`.
    frames : tuple of FrameHeader
    absent : tuple of str
        Attributes of the pixel layout that must be there and are not.
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
    signed: bool | None
    little: bool
    pixel_tag: int
    pixel_at: int
    pixel_length: int
    frames: tuple[FrameHeader, ...]
    multi_frame: bool
    padding: tuple[int, int] | None
    absent: tuple[str, ...] = ()

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
        return number(self.value(name).split("\\")[0])


def read_header(
    export: Export, source: Source, cancelled: Callable[[], bool] | None = None
) -> ImageHeader | None:
    """Read the header of a source; None when it is no DICOM file.

    Parameters
    ----------
    export : Export
    source : Source
    cancelled : callable, optional
        Asked now and then; True ends the work.

    Raises
    ------
    Damaged
        When it is meant to be DICOM but cannot be read.
    ScanError
        ``scan_cancelled``, which is asked for while many frames are read.
    """
    try:
        head = export.head(source, _FIRST_BYTES)
    except READ_FAULTS as error:
        raise Damaged from error
    if not looks_like_dicom(head):
        return None
    try:
        flat = _flat_of(export, source, head)
        return _image_header(source, flat, export, cancelled)
    except Damaged:
        if head[128:132] == b"DICM":
            raise
        return None  # it only looked a little like a file without preamble


def _flat_of(export: Export, source: Source, head: bytes) -> Flat:
    """Read ever more of the file until the header is complete, `MAX_HEADER_BYTES` at most."""
    for length in _MORE_BYTES:
        complete = len(head) >= source.size
        try:
            return read_flat(head, _WANTED, whole=complete)
        except CutShort:
            if complete:
                raise
        try:
            head = export.head(source, length)
        except READ_FAULTS as error:
            raise Damaged from error
    return read_flat(head, _WANTED, whole=len(head) >= source.size)


def _image_header(
    source: Source, flat: Flat, export: Export, cancelled: Callable[[], bool] | None
) -> ImageHeader:
    text = _texts(flat)
    rows, cols = _stated(text, "Rows"), _stated(text, "Columns")
    bits_allocated = _stated(text, "BitsAllocated")
    bits_stored = _stated(text, "BitsStored") or bits_allocated
    multi_frame = "PerFrameFunctionalGroupsSequence" in text and bits_allocated >= 8
    frames: tuple[FrameHeader, ...] = (_single(text),)
    if multi_frame and rows and flat.pixel_at >= 0:
        frames = read_frames(export, source, flat, text, cancelled)
    else:
        frames = frames * max(1, min(_stated(text, "NumberOfFrames"), MAX_FRAMES))
    return ImageHeader(
        source=source,
        syntax=flat.syntax,
        text=text,
        rows=rows,
        cols=cols,
        bits_allocated=bits_allocated,
        bits_stored=bits_stored,
        high_bit=_stated(text, "HighBit") if text.get("HighBit") else bits_stored - 1,
        samples=_stated(text, "SamplesPerPixel") or 1,
        signed={"0": False, "1": True}.get(text.get("PixelRepresentation", "")),
        little=flat.little,
        pixel_tag=flat.pixel_tag,
        pixel_at=flat.pixel_at,
        pixel_length=flat.pixel_length,
        frames=frames,
        multi_frame=multi_frame,
        padding=_padding(text),
        absent=tuple(name for name in _TYPE_1 if not text.get(name)),
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
        elif name in LONG_WORDS:
            long = order.replace("H", "I")
            out[name] = str(struct.unpack_from(long, value)[0]) if len(value) >= 4 else ""
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
    slope, intercept = number(text.get("RescaleSlope")), number(text.get("RescaleIntercept"))
    return FrameHeader(
        position_mm=position(text.get("ImagePositionPatient")),
        orientation=numbers(text.get("ImageOrientationPatient"), 6),
        spacing_mm=spacing(text.get("PixelSpacing")),
        slope=1.0 if slope is None else slope,
        intercept=0.0 if intercept is None else intercept,
        thickness_mm=number(text.get("SliceThickness")),
        image_type=text.get("ImageType", ""),
        number=whole(text.get("InstanceNumber")),
        location_mm=number(text.get("SliceLocation")),
        scaled=slope is not None and intercept is not None,
        unreadable=unreadable(text),
    )


def _padding(text: Mapping[str, str]) -> tuple[int, int] | None:
    """(low, high) as unsigned words; the reader turns them into stored values."""
    if not text.get("PixelPaddingValue"):
        return None
    first = _stated(text, "PixelPaddingValue")
    limit = "PixelPaddingRangeLimit"
    return first, _stated(text, limit) if text.get(limit) else first


def _stated(text: Mapping[str, str], name: str) -> int:
    """A whole number of the header, 0 where there is none."""
    value = whole(text.get(name))
    return 0 if value is None or abs(value) >= 2**31 else value
