from __future__ import annotations

import numpy as np
import pytest

from core.scan.field_of_view import CENTRE_TOLERANCE_PX, padding_findings, round_field

SIZE = 96


def distance(size=SIZE):
    j, i = np.mgrid[:size, :size] - (size - 1) / 2
    return np.hypot(i, j)


def noise(seed=3, count=8):
    return np.random.default_rng(seed).normal(0, 40, (count, SIZE, SIZE)).astype(np.int16)


@pytest.mark.parametrize("radius", [44.0, 47.5, 55.0])
@pytest.mark.parametrize("fill", [-1000, 0, 32767])
def test_constant_fill_outside_a_round_field_is_found(radius, fill):
    scan = noise()
    scan[:, distance() > radius] = fill
    field = round_field(scan)
    assert field is not None
    np.testing.assert_array_equal(field, distance() <= radius)


def test_clamped_air_around_a_head_is_not_taken_for_it():
    # A head-like outline that changes from slice to slice, air clamped to one value.
    scan = np.full((8, SIZE, SIZE), -1000, np.int16)
    j, i = np.mgrid[:SIZE, :SIZE] - (SIZE - 1) / 2
    for k in range(8):
        scan[k][(i / (30 + k)) ** 2 + (j / 42) ** 2 < 1] = 40
    assert round_field(scan) is None


def test_a_round_object_in_clamped_air_is_not_taken_for_it():
    scan = np.full((8, SIZE, SIZE), -1000, np.int16)
    scan[:, distance() < 40] = 300
    assert round_field(scan) is None


def test_a_cylinder_off_the_middle_is_not_taken_for_it():
    scan = np.full((8, SIZE, SIZE), -1000, np.int16)
    j, i = np.mgrid[:SIZE, :SIZE] - (SIZE - 1) / 2
    scan[:, np.hypot(i - 4, j) < 43.5] = 300
    assert round_field(scan) is None


@pytest.mark.parametrize("way", [(1, 0), (-1, 0), (0, 1), (0, -1)])
@pytest.mark.parametrize(("off", "taken"), [(CENTRE_TOLERANCE_PX - 0.6, True),
                                            (CENTRE_TOLERANCE_PX + 0.6, False)])  # fmt: skip
def test_a_field_is_about_the_middle_of_the_slices_in_every_direction(way, off, taken):
    j, i = np.mgrid[:SIZE, :SIZE] - (SIZE - 1) / 2
    scan = noise()
    scan[:, np.hypot(i - off * way[0], j - off * way[1]) > 44.0] = -1000
    assert (round_field(scan) is not None) is taken


def test_a_fill_that_differs_in_one_slice_is_not_taken_for_it():
    scan = noise()
    scan[:, distance() > 47] = -1000
    scan[5, 0, 3] = -999
    assert round_field(scan) is None


@pytest.mark.parametrize("corner", [(0, 0), (0, -1), (-1, 0), (-1, -1)])
@pytest.mark.parametrize("k", [1, 7])
def test_a_corner_that_is_scanned_in_one_slice_is_no_fill(corner, k):
    scan = noise()
    scan[:, distance() > 47] = -1000
    assert round_field(scan) is not None
    scan[(k, *corner)] = -999
    assert round_field(scan) is None


def test_noise_to_the_corners_has_no_field():
    assert round_field(noise()) is None
    assert round_field(np.zeros((4, 20, 20), np.int16)) is None


def padded(share, *, inside=46.0):
    """A scan with padding outside a round field, and over a share of what lies within."""
    scan = noise()
    within = distance() <= inside
    scan[:, ~within] = -2000
    rows = np.flatnonzero(within.any(axis=1))
    covered = within.copy()
    covered[rows[0] + round(share * len(rows)) :] = False
    scan[:, covered] = -2000
    return scan, within.astype(np.uint8)


@pytest.mark.parametrize(("share", "told"), [(0.0, False), (0.45, False), (0.6, True)])
def test_padding_over_more_than_half_of_what_is_not_outside_the_field_is_told(share, told):
    scan, field = padded(share)
    found = padding_findings(scan, (-2000.0, -2000.0), field)
    assert [f.code for f in found] == (["scan_mostly_padding"] if told else [])
    if told:
        assert 55 <= int(found[0].fields["percent"]) <= 65


def test_padding_outside_the_field_counts_for_nothing():
    scan, field = padded(0.0, inside=30.0)
    assert (scan == -2000).mean() > 0.5
    assert padding_findings(scan, (-2000.0, -2000.0), field) == []
    (found,) = padding_findings(scan, (-2000.0, -2000.0), None)
    assert found.code == "scan_mostly_padding"


def test_single_slices_of_padding_are_told():
    scan = noise()
    scan[2, 10:] = -2000
    (found,) = padding_findings(scan, (-2000.0, -2000.0), None)
    assert (found.code, found.fields["count"]) == ("scan_slices_of_padding", 1)
    assert padding_findings(scan, None, None) == []
