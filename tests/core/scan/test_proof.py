"""Words against their header: the lie is seen, and neither noise nor an honest oddity is one."""

from __future__ import annotations

from dataclasses import replace

import make_dicom as make
import numpy as np
import pytest
from scipy import ndimage

from core.scan import open_scan
from core.scan.header import read_header
from core.scan.proof import Proof
from core.scan.sources import opened

SHAPE = (40, 56)


def smooth(seed=5, shape=SHAPE):
    """A smooth picture from air to enamel with noise."""
    random = np.random.default_rng(seed)
    rough = ndimage.gaussian_filter(random.normal(size=shape), 3.0)
    rough = (rough - rough.min()) / np.ptp(rough)
    return np.rint(-1000 + 3400 * rough + random.normal(0, 10, shape))


@pytest.fixture
def header(tmp_path):
    """The header of one slice, to be told otherwise by `replace`."""
    path = make.write(
        make.dataset(smooth().astype(np.int16), k=0, position=(0, 0, 0)), tmp_path / "a"
    )
    with opened(path) as export:
        return read_header(export, export.sources[0])


def said(image, *planes):
    """Codes of what is found on slices of one header."""
    proof = Proof()
    for k, plane in enumerate(planes):
        proof.look(k, np.ascontiguousarray(plane), image, None)
    assert all(finding.stops_verdicts for finding in proof.findings())
    return {finding.code for finding in proof.findings()}


def words(grey):
    return grey.astype(np.int16).view(np.uint16)


def test_a_picture_that_is_as_stated_says_nothing(header):
    assert said(header, words(smooth())) == set()


@pytest.mark.parametrize("signed", [True, False])
def test_the_wrong_sign_makes_the_picture_jump(header, signed):
    grey = smooth() if signed else smooth() * 12 + 30_000
    told = replace(header, signed=not signed)
    assert said(told, grey.astype(np.int64).astype(np.uint16)) == {"scan_sign_contradicts"}
    assert said(replace(told, signed=signed), grey.astype(np.int64).astype(np.uint16)) == set()


def test_a_sign_in_the_highest_used_bit_is_seen(header):
    assert said(header, words(smooth()) & np.uint16(0xFFF)) == {"scan_sign_contradicts"}


def test_a_fill_of_all_bits_is_no_wrong_sign(header):
    grey = smooth() + 1000
    grey[:, :8] = 65_535
    assert said(replace(header, signed=False), grey.astype(np.uint16)) == set()


def test_hard_edges_of_a_drawn_body_are_no_wrong_sign(header):
    grey = np.where(smooth() > 500, 3500, 0)
    assert said(replace(header, signed=False), grey.astype(np.uint16)) == set()


def test_exchanged_bytes_are_seen(header):
    assert said(header, words(smooth()).byteswap()) == {"scan_byte_order"}


def test_exchanged_rows_and_columns_are_seen(header):
    plane = words(smooth()).reshape(56, 40)
    assert said(replace(header, rows=56, cols=40), plane) == {"scan_rows_contradict"}


@pytest.mark.parametrize("level", [-1000, 0, 40, 30_000])
def test_noise_alone_contradicts_nothing(header, level):
    noise = np.random.default_rng(8).normal(level, 15, (4, *SHAPE))
    assert said(header, *words(np.rint(noise))) == set()


@pytest.mark.parametrize("bits", [10, 11])
def test_words_beyond_the_stated_bits_are_seen(header, bits):
    told = replace(header, bits_stored=bits, high_bit=bits - 1)
    assert "scan_words_unfit" in said(told, words(smooth()))


def test_padding_beyond_the_stated_bits_is_no_misfit(header):
    grey = words(np.clip(smooth(), -1000, 1900))
    grey[:, :5] = 0x8000
    told = replace(header, bits_stored=12, high_bit=11, padding=(0x8000, 0x8000))
    assert said(told, grey) == set()
    assert "scan_words_unfit" in said(replace(told, padding=None), grey)


def test_an_overlay_that_the_header_names_may_lie_in_an_unused_bit(header):
    plane = (smooth() + 1000).astype(np.uint16)
    plane[5:9, 5:20] |= 0x1000
    told = replace(header, signed=False, bits_stored=12, high_bit=11)
    assert said(told, plane) == {"scan_words_unfit"}
    named = {**told.text, "OverlayBitPosition": "12"}
    assert said(replace(told, text=named), plane) == set()


def test_big_endian_words_are_swapped_before_they_are_looked_at(tmp_path):
    # Two scales: the slices then pass through words of their own instead of the volume's.
    values = np.stack([smooth(seed=k, shape=(20, 24)) for k in (1, 1, 1, 1, 1, 1)]).astype(np.int16)

    def change(k, ds):
        if k % 2:
            ds.RescaleIntercept = "-1000"
            ds.PixelData = (values[k] + 1000).tobytes()

    make.write_series(tmp_path, make.series(values), change=change, syntax=make.ExplicitVRBigEndian)
    volume = open_scan(tmp_path)
    grey = volume.voxels * volume.slope + volume.intercept
    np.testing.assert_array_equal(grey, values)
    assert not any(finding.stops_verdicts for finding in volume.findings)
