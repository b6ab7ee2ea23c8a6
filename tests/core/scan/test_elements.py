from __future__ import annotations

import struct
import zlib

import make_dicom as make
import numpy as np
import pydicom
import pytest
from hypothesis import given
from hypothesis import strategies as st

from core.scan.attributes import TAGS
from core.scan.elements import (
    CutShort,
    Damaged,
    behind_meta,
    inflate,
    looks_like_dicom,
    read_flat,
)

SYNTAXES = [
    make.ExplicitVRLittleEndian,
    make.ImplicitVRLittleEndian,
    make.ExplicitVRBigEndian,
    make.DeflatedExplicitVRLittleEndian,
]
WANTED = frozenset(TAGS.values())


def written(tmp_path, syntax=make.ExplicitVRLittleEndian, nested=False):
    ds = make.series()[0]
    if nested:
        item = pydicom.Dataset()
        item.PatientName = "Inside^Only"
        deeper = pydicom.Dataset()
        deeper.PatientID = "inside"
        item.ReferencedStudySequence = [deeper]
        item["ReferencedStudySequence"].is_undefined_length = True
        deeper.is_undefined_length_sequence_item = True
        ds.ReferencedImageSequence = [item, item]
        ds["ReferencedImageSequence"].is_undefined_length = True
        item.is_undefined_length_sequence_item = True
    return make.write(ds, tmp_path / "I", syntax).read_bytes()


@pytest.mark.parametrize("syntax", SYNTAXES, ids=lambda uid: uid.keyword)
@pytest.mark.parametrize("nested", [False, True])
def test_top_level_values_are_those_of_the_file(tmp_path, syntax, nested):
    flat = read_flat(written(tmp_path, syntax, nested), WANTED, whole=True)
    assert flat.syntax == syntax
    assert flat.raw[TAGS["PatientID"]].strip(b" \0") == b"P1"
    assert flat.raw[TAGS["PatientName"]].strip(b" \0") == b"Sample^Sam"
    order = "<H" if flat.little else ">H"
    assert struct.unpack(order, flat.raw[TAGS["Columns"]]) == (24,)
    assert flat.pixel_length == 20 * 24 * 2


@pytest.mark.parametrize("syntax", SYNTAXES[:3], ids=lambda uid: uid.keyword)
def test_without_preamble_and_meta_the_first_element_tells_the_syntax(tmp_path, syntax):
    data = written(tmp_path, syntax)
    flat = read_flat(data[behind_meta(data) :], WANTED, whole=True)
    assert flat.syntax == syntax
    assert flat.raw[TAGS["PatientID"]].strip(b" \0") == b"P1"


def test_a_file_without_pixels_says_where_none_are(tmp_path):
    ds = make.series()[0]
    del ds.PixelData
    flat = read_flat(make.write(ds, tmp_path / "I").read_bytes(), WANTED, whole=True)
    assert (flat.pixel_tag, flat.pixel_at, flat.pixel_length) == (0, -1, 0)
    assert flat.inflated == b""


def test_a_header_that_ends_early_asks_for_more(tmp_path):
    data = written(tmp_path)
    pixel = read_flat(data, WANTED, whole=True).pixel_at
    ended = 0
    for length in range(200, pixel - 12):
        try:
            flat = read_flat(data[:length], WANTED, whole=False)
        except CutShort:
            continue
        assert flat.pixel_at == -1  # it ended exactly between two elements
        ended += 1
    assert 0 < ended < 80


@pytest.mark.parametrize("more", range(8))
def test_one_that_ends_before_its_first_element_asks_for_more_too(tmp_path, more):
    data = written(tmp_path)
    with pytest.raises(CutShort):
        read_flat(data[: behind_meta(data) + more], WANTED, whole=False)


@given(st.binary(max_size=400))
def test_no_bytes_do_anything_but_read_or_be_damaged(data):
    for start in (b"", bytes(128) + b"DICM", b"\x08\x00\x05\x00CS\x04\x00ISO "):
        looks_like_dicom(start + data)
        try:
            read_flat(start + data, WANTED, whole=True)
        except Damaged:
            continue


def test_endless_nesting_is_damage():
    item = struct.pack("<HHI", 0xFFFE, 0xE000, 0xFFFFFFFF)
    sequence = struct.pack("<HH2sHI", 0x0008, 0x1140, b"SQ", 0, 0xFFFFFFFF)
    with pytest.raises(Damaged):
        read_flat(bytes(128) + b"DICM" + (sequence + item) * 5000, WANTED, whole=True)


@pytest.mark.parametrize(("levels", "damaged"), [(41, False), (42, True)])
def test_as_deep_as_41_sequences_are_read(levels, damaged):
    item = struct.pack("<HHI", 0xFFFE, 0xE000, 0xFFFFFFFF)
    sequence = struct.pack("<HH2sHI", 0x0008, 0x1140, b"SQ", 0, 0xFFFFFFFF)
    ends = struct.pack("<HHIHHI", 0xFFFE, 0xE00D, 0, 0xFFFE, 0xE0DD, 0)
    name = struct.pack("<HH2sH", 0x0010, 0x0020, b"LO", 2) + b"P1"
    data = bytes(128) + b"DICM" + (sequence + item) * levels + ends * levels + name
    if damaged:
        with pytest.raises(Damaged):
            read_flat(data, WANTED, whole=True)
    else:
        assert read_flat(data, WANTED, whole=True).raw[TAGS["PatientID"]] == b"P1"


def test_a_deflated_file_that_swells_is_damage(tmp_path):
    import zlib

    head = written(tmp_path, make.DeflatedExplicitVRLittleEndian)
    meta_end = 132 + 12 + struct.unpack_from("<I", head, 140)[0]
    packer = zlib.compressobj(wbits=-zlib.MAX_WBITS)
    bomb = packer.compress(bytes(70 << 20)) + packer.flush()
    with pytest.raises(Damaged):
        read_flat(head[:meta_end] + bomb, WANTED, whole=True)


@pytest.mark.parametrize("head", [b"", b"MZ\x90\x00" + bytes(200), b"PK\x03\x04" + bytes(200)])
def test_programs_and_archives_are_not_taken_for_dicom(head):
    assert not looks_like_dicom(head)


def head_of(group, element, follows, *, order="<"):
    return struct.pack(f"{order}HH", group, element) + follows + bytes(8)


@pytest.mark.parametrize(
    ("head", "taken"),
    [
        # Without a preamble: the first element of a header, or of the file meta information
        # (PS3.10 7.1, PS3.5 7.1), its value representation or a short length.
        (head_of(0x0008, 0x0005, b"CS\x04\x00"), True),
        (head_of(0x0002, 0x0000, b"UL\x04\x00"), True),
        (head_of(0x0008, 0x0016, b"UI\x1a\x00"), True),
        (head_of(0x0002, 0x0001, b"OB\x00\x00"), True),
        (head_of(0x0008, 0x0005, struct.pack("<I", 128)), True),
        (head_of(0x0008, 0x0005, struct.pack("<I", 130)), False),
        (head_of(0x0008, 0x00FF, struct.pack("<I", 4)), True),
        (head_of(0x0008, 0x0100, struct.pack("<I", 4)), False),
        (head_of(0x0003, 0x0000, b"UL\x04\x00"), False),
        (head_of(0x0010, 0x0010, b"PN\x04\x00"), False),
        (head_of(0x0008, 0x0005, b"CS\x00\x04", order=">"), True),
        (head_of(0x0008, 0x0100, b"CS\x00\x04", order=">"), False),
        (head_of(0x0008, 0x0005, bytes(4), order=">"), False),
        (head_of(0x0002, 0x0000, b"UL\x00\x04", order=">"), False),
        (bytes(128) + b"DICM", True),
        (bytes(128) + b"DICN" + bytes(40), False),
        (head_of(0x0008, 0x0005, b"CS\x04\x00")[:15], False),
    ],
)
def test_what_may_be_a_file_of_the_standard(head, taken):
    assert looks_like_dicom(head) is taken


@pytest.mark.parametrize("syntax", SYNTAXES, ids=lambda uid: uid.keyword)
def test_the_class_that_the_file_meta_information_names_is_kept(tmp_path, syntax):
    """(0002,0002), for a data set that leaves its own SOP class out."""
    flat = read_flat(written(tmp_path, syntax), frozenset(), whole=True)
    assert flat.raw == {0x00020002: make.CTImageStorage.encode() + b"\0"}
    data = written(tmp_path)
    bare = read_flat(data[behind_meta(data) :], frozenset(), whole=True)
    assert bare.raw == {}


@pytest.mark.parametrize("depth", [0, 1])
def test_a_sequence_of_unknown_representation_is_read_as_implicit(depth):
    """Of undefined length its items are encoded as implicit VR (PS3.5 6.2.2, note on UN)."""
    item = struct.pack("<HHI", 0xFFFE, 0xE000, 0xFFFFFFFF)
    item_ends = struct.pack("<HHI", 0xFFFE, 0xE00D, 0)
    ends = struct.pack("<HHI", 0xFFFE, 0xE0DD, 0)
    # As an explicit element this would name a length of 2 + 256 x 'PA'.
    implicit = struct.pack("<HHI", 0x0008, 0x0050, 16) + b"PATIENT'S NUMBER"
    unknown = struct.pack("<HH2sHI", 0x0008, 0x1140, b"UN", 0, 0xFFFFFFFF)
    whole = unknown + item + implicit + item_ends + ends
    if depth:
        outer = struct.pack("<HH2sHI", 0x0008, 0x1115, b"SQ", 0, 0xFFFFFFFF)
        whole = outer + item + whole + item_ends + ends
    name = struct.pack("<HH2sH", 0x0010, 0x0020, b"LO", 2) + b"P1"
    flat = read_flat(bytes(128) + b"DICM" + whole + name, WANTED, whole=True)
    assert flat.raw[TAGS["PatientID"]] == b"P1"


def deflated(data):
    packer = zlib.compressobj(9, zlib.DEFLATED, -zlib.MAX_WBITS)
    return packer.compress(data) + packer.flush()


def test_a_deflated_header_is_inflated_to_64_mb_and_no_further():
    many = deflated(bytes(65 << 20))
    assert len(inflate(many, 64 << 20)) == 64 << 20
    assert len(inflate(many, 10)) == 10


def test_what_swells_more_than_any_scan_does_is_damaged():
    """Up to 64 MB whatever it is, beyond that up to 400 times."""
    with pytest.raises(Damaged):
        inflate(deflated(bytes(65 << 20)), 4 << 30)
    assert len(inflate(deflated(bytes(64 << 20)), 4 << 30)) == 64 << 20
    random = np.random.default_rng(4).integers(0, 256, 1 << 18, dtype=np.uint8).tobytes()
    rough = random + bytes(90 << 20)
    assert len(deflated(rough)) * 400 > len(rough) > 64 << 20
    assert len(inflate(deflated(rough), 4 << 30)) == len(rough)


def test_what_is_no_deflated_data_is_damaged():
    with pytest.raises(Damaged):
        inflate(b"\xff" * 40, 4 << 30)
