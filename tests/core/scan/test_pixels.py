from __future__ import annotations

import make_dicom as make
import numpy as np
import pytest
from headers import header, picture, place

from core.errors import ScanError
from core.scan import open_scan
from core.scan.pixel_encoding import Layout, array_type
from core.scan.pixels import read_voxels
from core.scan.stacks import Picture

SYNTAXES = [
    make.ExplicitVRLittleEndian,
    make.ImplicitVRLittleEndian,
    make.ExplicitVRBigEndian,
    make.DeflatedExplicitVRLittleEndian,
    make.RLELossless,
    make.JPEGLSLossless,
    make.JPEGLosslessSV1,
    make.JPEGLossless,
    make.JPEG2000Lossless,
]


def codes(volume):
    return {finding.code for finding in volume.findings}


@pytest.mark.parametrize("syntax", SYNTAXES, ids=lambda uid: uid.keyword)
@pytest.mark.parametrize("signed", [True, False], ids=["signed", "unsigned"])
def test_every_syntax_gives_the_stored_values(tmp_path, syntax, signed):
    values = make.voxels(low=-32768 if signed else 0, high=32767)
    values = values if signed else values.astype(np.uint16)
    make.write_series(tmp_path, make.series(values), syntax=syntax)
    volume = open_scan(tmp_path)
    assert volume.voxels.dtype == values.dtype
    np.testing.assert_array_equal(volume.voxels, values)
    assert volume.padding is None
    assert not volume.made_up.any()


@pytest.mark.parametrize(
    ("stored", "padding", "kind"),
    [(12, None, np.int16), (16, None, np.uint16), (12, 0x7FFF, np.int16), (12, 0x8000, np.uint16)],
)
def test_unsigned_words_are_held_signed_only_while_their_top_bit_is_free(stored, padding, kind):
    layout = Layout(
        bits_allocated=16, bits_stored=stored, high_bit=stored - 1, signed=False,
        padding=None if padding is None else (padding, padding),
    )  # fmt: skip
    assert array_type(layout) == np.dtype(kind)


@pytest.mark.parametrize("syntax", [*SYNTAXES[:2], make.RLELossless, make.JPEGBaseline8Bit])
def test_eight_bits(tmp_path, syntax):
    ramp = np.add.outer(np.arange(20), np.arange(24)) * 5
    values = np.stack([ramp + k for k in range(6)]).astype(np.uint8)
    make.write_series(tmp_path, make.series(values), syntax=syntax)
    volume = open_scan(tmp_path)
    lossy = syntax == make.JPEGBaseline8Bit
    np.testing.assert_allclose(volume.voxels, values, atol=3 if lossy else 0)
    assert ("scan_lossy" in codes(volume)) == lossy


def test_thirty_two_bits(tmp_path):
    values = make.voxels().astype(np.int32) * 70_000
    make.write_series(tmp_path, make.series(values, bits=32))
    np.testing.assert_array_equal(open_scan(tmp_path).voxels, values)


@pytest.mark.parametrize("signed", [True, False], ids=["signed", "unsigned"])
@pytest.mark.parametrize("high_bit", [11, 13, 15])
def test_bits_outside_bits_stored_are_dropped(tmp_path, signed, high_bit):
    # Twelve stored bits below `high_bit`, the other four filled with rubbish (PS3.5 8.1.1).
    values = make.voxels(low=-2048 if signed else 0, high=2048 if signed else 4096)
    shift = high_bit - 11
    rubbish = np.uint16(0xFFFF ^ (0xFFF << shift)) & np.uint16(0xA5A5)
    words = ((values.astype(np.uint16) & 0xFFF) << shift) | rubbish
    stored = words.view(np.int16) if signed else words

    def change(k, ds):
        ds.BitsStored, ds.HighBit = 12, high_bit

    make.write_series(tmp_path, make.series(stored), change=change)
    np.testing.assert_array_equal(open_scan(tmp_path).voxels, values)


@pytest.mark.parametrize("syntax", [make.ExplicitVRLittleEndian, make.JPEGLSLossless])
@pytest.mark.parametrize(
    ("stored", "padding", "kind"),
    [(12, None, "i"), (12, 4095, "i"), (12, 0xF000, "u"), (16, 0, "u")],
)
def test_unsigned_words_are_held_signed_where_none_has_the_top_bit(
    tmp_path, syntax, stored, padding, kind
):
    values = make.voxels(low=0, high=4000).astype(np.uint16)
    if padding is not None:
        values[:, :3] = padding

    def change(k, ds):
        ds.BitsStored, ds.HighBit = stored, stored - 1
        if padding is not None:
            ds.add_new(0x00280120, "US", padding)

    make.write_series(tmp_path, make.series(values), change=change, syntax=syntax)
    volume = open_scan(tmp_path)
    np.testing.assert_array_equal(volume.voxels, values)
    assert volume.voxels.dtype == np.dtype(f"{kind}2")
    assert volume.padding == (None if padding is None else (padding, padding))


def test_padding_and_its_range_become_not_scanned_values(tmp_path):
    values = make.voxels()

    def change(k, ds):
        ds.add_new(0x00280120, "SS", -2000)
        ds.add_new(0x00280121, "SS", -1990)

    make.write_series(tmp_path, make.series(values), change=change)
    assert open_scan(tmp_path).padding == (-2000.0, -1990.0)


def test_a_padding_value_beyond_bits_stored_is_not_masked_into_a_value(tmp_path):
    # Seen in exports: 12 stored bits, and a padding word of -2049 - 2047 = -4096 around the field.
    values = make.voxels(low=-1000, high=2000)
    values[:, :3] = -4096

    def change(k, ds):
        ds.BitsStored, ds.HighBit = 12, 11
        ds.add_new(0x00280120, "SS", -4096)

    make.write_series(tmp_path, make.series(values), change=change)
    volume = open_scan(tmp_path)
    assert volume.padding == (-4096.0, -4096.0)
    np.testing.assert_array_equal(volume.voxels, values)


@pytest.mark.parametrize("syntax", [make.ExplicitVRLittleEndian, make.JPEGLSLossless])
def test_a_scale_that_differs_between_slices_becomes_one(tmp_path, syntax):
    values = make.voxels()
    values[:, 0] = -3024

    def change(k, ds):
        ds.RescaleSlope, ds.RescaleIntercept = 1 + k / 4, -1000 + k
        ds.add_new(0x00280120, "SS", -3024)

    make.write_series(tmp_path, make.series(values), change=change, syntax=syntax)
    volume = open_scan(tmp_path)
    assert "scan_scale_differs" in codes(volume)
    k = np.arange(6)[:, None, None]
    grey = volume.voxels * volume.slope + volume.intercept
    np.testing.assert_array_equal(grey[:, 1:], (values * (1 + k / 4) + (-1000 + k))[:, 1:])
    low, high = volume.padding
    assert ((volume.voxels[:, 0] >= low) & (volume.voxels[:, 0] <= high)).all()
    assert (volume.voxels[:, 1:] > high).all()


def test_the_scale_is_kept_beside_the_stored_values(tmp_path):
    def change(k, ds):
        ds.RescaleSlope, ds.RescaleIntercept = 0.5, -1024
        ds.PhotometricInterpretation = "MONOCHROME1"

    make.write_series(tmp_path, change=change)
    volume = open_scan(tmp_path)
    np.testing.assert_array_equal(volume.voxels, make.voxels())  # MONOCHROME1 changes no value
    assert (volume.slope, volume.intercept) == (0.5, -1024.0)
    assert volume.identity.header["PhotometricInterpretation"] == "MONOCHROME1"


@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize(
    ("attribute", "value", "code"),
    [
        ("SamplesPerPixel", 3, "scan_colour"),
        ("BitsAllocated", 12, "scan_pixel_layout"),
        ("BitsStored", 20, "scan_pixel_layout"),
        ("HighBit", 3, "scan_pixel_layout"),
        ("RescaleSlope", 0, "scan_scale_not_linear"),
        ("RescaleSlope", "1e300", "scan_scale_not_linear"),
        ("Rows", 1, "scan_pixel_layout"),
    ],
)
def test_a_layout_that_is_not_sure_is_refused(tmp_path, attribute, value, code):
    make.write_series(tmp_path, change=lambda k, ds: setattr(ds, attribute, value))
    with pytest.raises(ScanError) as caught:
        open_scan(tmp_path)
    assert caught.value.code == code


def test_a_grey_scale_given_as_a_table_is_refused(tmp_path):
    from pydicom.dataset import Dataset

    def change(k, ds):
        ds.ModalityLUTSequence = [Dataset()]

    make.write_series(tmp_path, change=change)
    with pytest.raises(ScanError) as caught:
        open_scan(tmp_path)
    assert caught.value.code == "scan_scale_not_linear"


@pytest.mark.parametrize("sop_class", [make.EnhancedCTImageStorage, make.XRAY_3D_CRANIOFACIAL])
@pytest.mark.parametrize(
    "syntax", [make.ExplicitVRLittleEndian, make.ImplicitVRLittleEndian, make.JPEGLSLossless]
)
def test_frames_of_one_object_are_ordered_by_position(tmp_path, sop_class, syntax):
    values = make.voxels()
    make.write(make.multi_frame(values, sop_class=sop_class), tmp_path / "one", syntax)
    volume = open_scan(tmp_path / "one")
    np.testing.assert_array_equal(volume.voxels, values)
    np.testing.assert_allclose(volume.mm_from_ijk[:3, 3], [-30, -40, 50])
    np.testing.assert_allclose(volume.voxel_mm, [0.25, 0.3, 0.4])
    assert len(volume.identity.sop_instances) == 1


def test_each_frame_has_its_own_scale(tmp_path):
    values = make.voxels()
    slopes = [1, 1, 2, 1, 1, 3]
    make.write(make.multi_frame(values, slopes=slopes), tmp_path / "one")
    volume = open_scan(tmp_path)
    grey = volume.voxels * volume.slope + volume.intercept
    np.testing.assert_array_equal(grey, values * np.array(slopes)[:, None, None])


def test_progress_counts_and_cancel_stops(tmp_path):
    make.write_series(tmp_path)
    seen = []
    open_scan(tmp_path, progress=lambda done, total: seen.append((done, total)))
    assert seen == [(n, 6) for n in range(1, 7)] * 2
    with pytest.raises(ScanError) as caught:
        open_scan(tmp_path, cancelled=lambda: len(seen) > 0)
    assert caught.value.code == "scan_cancelled"


def refusal(pictures):
    """Of pictures whose bytes are not there: what is asked before that is their size."""
    with pytest.raises(ScanError) as caught:
        read_voxels(None, pictures)
    return caught.value.code


@pytest.mark.parametrize(("bits", "rows"), [(8, 4346), (16, 4346), (32, 2173)])
def test_what_swells_two_thousand_times_and_64_mb_is_too_large(bits, rows):
    """8 files of 256 bytes: 4,096,000 bytes and 64 MB, in rows of 1024 words."""

    def asked(count):
        image = {"rows": count, "cols": 1024, "bits_allocated": bits}
        pictures = [picture(k, image=image) for k in range(8)]
        for one in pictures:
            one.image.source.size = 256
        return refusal(pictures)

    assert asked(rows) == "scan_truncated"
    assert asked(rows + 1) == "scan_too_large"


def test_a_file_of_many_frames_counts_once():
    def asked(count):
        frames = tuple(place(k) for k in range(8))
        image = header(frames=frames, rows=count, cols=1024)
        image.source.size = 8 * 256
        return refusal([Picture(image=image, frame=k) for k in range(8)])

    assert asked(4346) == "scan_truncated"
    assert asked(4347) == "scan_too_large"


def test_no_more_than_16_gb_are_read_however_large_the_files():
    def asked(count):
        pictures = [picture(k, image={"rows": count, "cols": 1 << 15}) for k in range(8)]
        for one in pictures:
            one.image.source.size = 1 << 40
        return refusal(pictures)

    assert asked(1 << 15) == "scan_truncated"
    assert asked((1 << 15) + 1) == "scan_too_large"
