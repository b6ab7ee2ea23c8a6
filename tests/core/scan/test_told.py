"""Each contradiction between files, header and pictures is told by its own name.

The exports are the oracle's (`tests/hostile/exports.py`): smooth pictures, of which the truth is
known. What is wrong about them is put in here, one thing at a time.
"""

from __future__ import annotations

import random
from dataclasses import replace

import pydicom
import pytest
from pydicom.dataset import Dataset

from core.errors import ScanError
from core.scan import open_scan
from tests.hostile import dicom_bytes as wire
from tests.hostile import exports
from tests.hostile.lies import KINDS

STOPS, TOLD, NOTED, REFUSED = "stops verdicts", "caution", "note", "refused"
JPEG_2000 = "1.2.840.10008.1.2.4.90"


def said(scan, folder):
    """How each code is said: as a refusal, stopping verdicts, as a caution or as a note."""
    scan.write(folder, random.Random(5))
    try:
        findings = open_scan(folder).findings
    except ScanError as refusal:
        return {refusal.code: REFUSED}
    return {f.code: STOPS if f.stops_verdicts else f.severity for f in findings}


def put(files, **values):
    for file in files:
        for name, value in values.items():
            if value is None:
                file.head.pop(name, None)
            else:
                file.head[name] = value


def no_scale(files):
    put(files, RescaleSlope=None, RescaleIntercept=None)


def longer(files):
    for file in files:
        file.pixels = exports.native(file.words, file.syntax) + bytes(40)


def shorter(files):
    for file in files:
        file.pixels = exports.native(file.words, file.syntax)[:-40]


def exchanged(files):
    a, b = files[2].head, files[5].head
    name = "ImagePositionPatient"
    a[name], b[name] = b[name], a[name]


def swapped_bytes(files):
    for file in files:
        file.words = file.words.byteswap()


CASES = {
    # The layout of the pixels.
    "more bytes than the header accounts for": (
        longer, slice(3, 4), "scan_pixels_left_over", STOPS),
    "too few bytes in half of the files": (shorter, slice(0, 4), "scan_truncated", REFUSED),
    "a sign that is neither": (
        lambda files: put(files, PixelRepresentation=7), slice(3, 4), "scan_pixel_layout", REFUSED),
    "one bit a pixel": (
        lambda files: put(files, BitsAllocated=1, BitsStored=1, HighBit=0),
        slice(3, 4), "scan_pixel_layout", REFUSED),
    "high bit not stated": (
        lambda files: put(files, HighBit=None), slice(3, 4), "scan_layout_absent", TOLD),
    "bytes in the other order": (swapped_bytes, slice(3, 4), "scan_byte_order", STOPS),
    "rows and columns exchanged": (
        lambda files: put(files, Rows=26, Columns=20), slice(0, 8), "scan_rows_contradict", STOPS),
    "fewer bits than are used": (
        lambda files: put(files, BitsStored=10, HighBit=9), slice(0, 8), "scan_words_unfit", STOPS),
    # The grey scale.
    "a slope with a comma": (
        lambda files: put(files, RescaleSlope="1,0"),
        slice(3, 4), "scan_scale_unreadable", REFUSED),
    "a slope that is not a number": (
        lambda files: put(files, RescaleSlope="NaN"),
        slice(3, 4), "scan_scale_unreadable", REFUSED),
    "an endless intercept": (
        lambda files: put(files, RescaleIntercept="inf"),
        slice(3, 4), "scan_scale_unreadable", REFUSED),
    "another intercept in one": (
        lambda files: put(files, RescaleIntercept="-500"),
        slice(3, 4), "scan_scale_unproven", STOPS),
    "no scale in one": (no_scale, slice(3, 4), "scan_scale_absent", STOPS),
    "no scale in any": (no_scale, slice(0, 8), "scan_scale_not_stated", TOLD),
    "a slope of zero": (
        lambda files: put(files, RescaleSlope="0"), slice(3, 4), "scan_scale_not_linear", REFUSED),
    # The geometry.
    "pixels of 3 mm": (
        lambda files: put(files, PixelSpacing="3\\3"),
        slice(0, 8), "scan_spacing_out_of_range", REFUSED),
    "pixels of 0.01 mm": (
        lambda files: put(files, PixelSpacing="0.01\\0.01"),
        slice(0, 8), "scan_spacing_out_of_range", REFUSED),
    "a thickness that is not a number": (
        lambda files: put(files, SliceThickness="thin"),
        slice(3, 4), "scan_number_unreadable", TOLD),
    "a number of the slice with a comma": (
        lambda files: put(files, InstanceNumber="4,0"),
        slice(3, 4), "scan_number_unreadable", TOLD),
    "a position that is not finite": (
        lambda files: put(files, ImagePositionPatient="0\\0\\inf"),
        slice(3, 4), "scan_pictures_left_out", TOLD),
    "places of two slices exchanged": (exchanged, slice(0, 8), "scan_order_contradicts", TOLD),
    "places against the pictures": (exchanged, slice(0, 8), "scan_order_unproven", STOPS),
    "places against their locations": (exchanged, slice(0, 8), "scan_location_contradicts", TOLD),
    # One acquisition.
    "another acquisition": (
        lambda files: put(files, AcquisitionNumber="2"), slice(0, 4), "scan_mixed", TOLD),
    "another kernel": (
        lambda files: put(files, ConvolutionKernel="K7"), slice(0, 4), "scan_mixed", TOLD),
    "another voltage": (lambda files: put(files, KVP="120"), slice(0, 4), "scan_mixed", TOLD),
    "another image type": (
        lambda files: put(files, ImageType="DERIVED\\SECONDARY\\AXIAL"),
        slice(0, 4), "scan_mixed", TOLD),
    "another moment": (
        lambda files: put(files, TemporalPositionIndex=("UL", b"\2\0\0\0")),
        slice(0, 4), "scan_mixed", TOLD),
    "padding of some slices only": (
        lambda files: put(files, PixelPaddingValue=1), slice(3, 4), "scan_padding_absent", TOLD),
    "another day": (
        lambda files: put(files, AcquisitionDate="20240611"),
        slice(0, 4), "scan_two_dates_in_series", TOLD),
}  # fmt: skip


@pytest.mark.parametrize("what", CASES)
def test_what_is_wrong_is_told_by_its_name(tmp_path, what):
    change, which, code, how = CASES[what]
    scan = exports.scan(random.Random(11), exports.UNSIGNED)
    assert set(said(scan, tmp_path).values()) <= {NOTED}, "nothing is told before"
    for path in tmp_path.iterdir():
        path.unlink()
    change(scan.files[which])
    assert said(scan, tmp_path).get(code) == how


def test_two_acquisitions_that_do_not_go_on_into_one_another_stop_verdicts(tmp_path):
    first = exports.scan(random.Random(11), exports.UNSIGNED)
    other = exports.Truth(exports.grey_values(random.Random(12)), first.truth.mm_from_ijk)
    second = exports.slices_of(other, exports.UNSIGNED, uid=300)
    put(second, AcquisitionNumber="2")
    mixed = replace(first, files=[*first.files[:4], *second[4:]])
    assert said(mixed, tmp_path)["scan_seam"] == STOPS


@pytest.mark.parametrize(
    ("kind", "code"),
    [
        ("a part of a scan in several parts is missing", "scan_part_missing"),
        ("a grey scale by table in one slice", "scan_scale_not_linear"),
        ("one object's number on different slices of one place", "scan_conflicting_slices"),
    ],
)
def test_what_cannot_be_made_one_volume_is_refused(tmp_path, kind, code):
    assert said(KINDS[kind].make(random.Random("told")), tmp_path) == {code: REFUSED}


@pytest.mark.filterwarnings("ignore")
def test_a_codestream_of_another_sign_stops_verdicts(tmp_path):
    scan = exports.scan(random.Random(11), exports.SIGNED)
    scan.files = [exports.compressed(file, JPEG_2000) for file in scan.files]
    put(scan.files, PixelRepresentation=0)
    assert said(scan, tmp_path)["scan_coded_otherwise"] == STOPS


@pytest.mark.filterwarnings("ignore")
def test_run_lengths_with_rows_and_columns_exchanged_stop_verdicts(tmp_path):
    """They say nothing of their own about the size of a picture."""
    scan = exports.scan(random.Random(11), exports.UNSIGNED)
    scan.files = [exports.compressed(file, wire.RLE) for file in scan.files]
    put(scan.files, Rows=26, Columns=20)
    assert said(scan, tmp_path)["scan_rows_contradict"] == STOPS


@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize(
    ("syntax", "at"),
    [
        (wire.JPEG_LOSSLESS, b"\xff\xc3"),
        (wire.JPEG_LOSSLESS, b"\xff\xda"),
        (wire.JPEG_LS, b"\xff\xf7"),
        (wire.JPEG_LS, b"\xff\xda"),
        (JPEG_2000, b"\xff\x51"),
    ],
)
def test_a_codestream_whose_segments_are_not_as_long_as_they_say_is_lost(tmp_path, syntax, at):
    scan = exports.scan(random.Random(11), exports.UNSIGNED)
    scan.files = [exports.compressed(file, syntax) for file in scan.files]
    table, data = scan.files[3].pixels
    place = data.index(at) + 3
    scan.files[3].pixels = [table, data[:place] + bytes([data[place] + 1]) + data[place + 1 :]]
    assert said(scan, tmp_path)["scan_slices_lost"] == TOLD


def test_compressed_pictures_of_an_unknown_form_are_refused(tmp_path):
    scan = exports.scan(random.Random(11), exports.UNSIGNED)
    scan.files = [exports.compressed(file, wire.RLE) for file in scan.files]
    for file in scan.files:
        file.syntax = "1.2.840.10008.1.2.4.999"
    assert said(scan, tmp_path) == {"scan_syntax_unknown": REFUSED}


def test_frames_that_are_not_as_many_as_their_groups_are_refused(tmp_path):
    scan = exports.multi_frame(random.Random(11))
    put(scan.files, NumberOfFrames="7")
    assert said(scan, tmp_path) == {"scan_only_damaged": REFUSED}


def test_stacks_of_one_object_are_separate_choices(tmp_path):
    scan = exports.multi_frame(random.Random(11))
    groups = scan.files[0].head["PerFrameFunctionalGroupsSequence"]
    for frame in groups[:4]:
        frame["FrameContentSequence"][0]["StackID"] = "2"
    assert said(scan, tmp_path) == {"scan_several_series": REFUSED}


@pytest.mark.parametrize(
    ("group", "name", "values", "told"),
    [
        ("FrameContentSequence", "FrameAcquisitionNumber", (1, 2), "AcquisitionNumber"),
        ("FrameContentSequence", "TemporalPositionIndex", (1, 2), "TemporalPositionIndex"),
        ("CTReconstructionSequence", "ConvolutionKernel", ("K1", "K7"), "ConvolutionKernel"),
        ("CTXRayDetailsSequence", "KVP", (90.0, 120.0), "KVP"),
    ],
)
def test_frames_of_two_acquisitions_in_one_object_are_told(tmp_path, group, name, values, told):
    scan = exports.multi_frame(random.Random(11), exports.UNSIGNED)
    path = tmp_path / "frames"
    path.write_bytes(scan.files[0].packed())
    ds = pydicom.dcmread(path)
    for k, frame in enumerate(ds.PerFrameFunctionalGroupsSequence):
        if group not in frame:
            setattr(frame, group, [Dataset()])
        setattr(frame[group][0], name, values[k // 4])
    ds.save_as(path)
    (mixed,) = (f for f in open_scan(tmp_path).findings if f.code == "scan_mixed")
    assert mixed.fields == {"names": told}
