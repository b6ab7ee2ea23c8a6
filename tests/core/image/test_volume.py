from __future__ import annotations

import hashlib
import struct
from dataclasses import FrozenInstanceError

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from core.image.volume import Volume


def volume(**changes):
    plain = {
        "voxels": np.arange(2 * 3 * 4, dtype=np.int16).reshape(2, 3, 4),
        "mm_from_ijk": np.diag([0.3, 0.4, 0.5, 1.0]),
        "made_up": np.zeros(2, bool),
    }
    return Volume(**(plain | changes))


def hand_computed():
    """A stack turned about two axes, worked out on paper.

    DICOM PS3.3 C.7.6.2.1.1, equation C.7.6.2.1-1: with ImageOrientationPatient
    (0, 1, 0, 0, 0, -1), PixelSpacing 0.4 (rows) and 0.3 (columns), the first slice at
    (10, -20, 30) and the next at (10.5, -20, 30): i runs along +y by 0.3 mm, j along -z by
    0.4 mm, k along +x by 0.5 mm.
    """
    return np.array([[0, 0, 0.5, 10], [0.3, 0, 0, -20], [0, -0.4, 0, 30], [0, 0, 0, 1]])


def test_voxel_to_patient_by_hand():
    vol = volume(mm_from_ijk=hand_computed())
    assert vol.mm((0, 0, 0)) == pytest.approx(np.array([(10, -20, 30)]))
    assert vol.mm((3, 2, 1)) == pytest.approx(np.array([(10.5, -19.1, 29.2)]))
    assert vol.voxel_mm == pytest.approx((0.3, 0.4, 0.5))
    assert vol.shape == (2, 3, 4)
    # Stored values: 12 k + 4 j + i.
    assert vol.grey_at(vol.mm([(3, 2, 1), (1, 0, 1), (0.5, 0, 0)])) == pytest.approx([23, 13, 0.5])


@given(st.integers(0, 10_000))
def test_voxel_places_come_back(seed):
    rng = np.random.default_rng(seed)
    matrix = np.eye(4)
    matrix[:3] = rng.normal(size=(3, 4)) + 2 * np.eye(3, 4)
    if abs(np.linalg.det(matrix[:3, :3])) < 0.1:
        return
    vol = volume(mm_from_ijk=matrix)
    ijk = rng.uniform(-50, 600, (10, 3))
    assert vol.ijk(vol.mm(ijk)) == pytest.approx(ijk, abs=1e-8)


def test_grey_is_stored_value_by_slope_and_intercept():
    vol = volume(slope=2.0, intercept=-1000.0)
    assert vol.grey_at(vol.mm((3, 2, 1)))[0] == 2 * 23 - 1000


def test_a_section_has_the_stated_size_and_its_top_is_up():
    vol = volume()
    picture = vol.section((0.45, 0.4, 0.25), (1, 0, 0), (0, -1, 0), (1.2, 0.8), 0.1)
    assert picture.shape == (8, 12)
    assert picture.dtype == np.float32
    # Up is −y here: rows go with j, columns with i.
    inside = picture[np.isfinite(picture).any(axis=1)][:, np.isfinite(picture).any(axis=0)]
    assert (np.diff(inside, axis=0) > 0).all()
    assert (np.diff(inside, axis=1) > 0).all()
    with pytest.raises(ValueError, match="perpendicular"):
        vol.section((0, 0, 0), (1, 0, 0), (0.6, 0.8, 0), (1, 1), 0.1)


def test_voxels_in_the_other_byte_order_read_the_same():
    swapped = volume().voxels.astype(">i2")
    assert volume(voxels=swapped).grey_at(volume().mm((3, 2, 1)))[0] == 23


def test_outside_there_is_no_grey():
    vol = volume()
    assert vol.scanned_at(vol.mm([(0, 0, 0), (3, 2, 1), (3.1, 0, 0), (0, 0, -0.1)])).tolist() == [
        True, True, False, False,
    ]  # fmt: skip


def test_a_volume_cannot_be_changed():
    source = np.zeros((2, 3, 4), np.int16)
    affine = np.eye(4)
    vol = volume(voxels=source, mm_from_ijk=affine, field=np.ones((3, 4), np.uint8))
    affine[0, 3] = 99
    assert vol.mm_from_ijk[0, 3] == 0
    for array in (vol.voxels, vol.mm_from_ijk, vol.ijk_from_mm, vol.made_up, vol.field):
        with pytest.raises(ValueError, match="read-only"):
            array[0, ...] = 1
    with pytest.raises(FrozenInstanceError):
        vol.slope = 3.0


@pytest.mark.parametrize(
    ("wrong", "says"),
    [({"voxels": np.zeros((1, 3, 4), np.int16)}, "two voxels"),
     ({"voxels": np.zeros((3, 4), np.int16)}, "two voxels"),
     ({"mm_from_ijk": np.eye(3)}, "4 x 4"),
     ({"mm_from_ijk": np.diag([1, 1, np.nan, 1])}, "4 x 4"),
     ({"mm_from_ijk": np.diag([1, 1, 0, 1])}, "inverted"),
     ({"made_up": np.zeros(3, bool)}, "made_up"),
     ({"field": np.ones((4, 3), np.uint8)}, "field")],
)  # fmt: skip
def test_what_does_not_fit_is_refused(wrong, says):
    with pytest.raises(ValueError, match=says):
        volume(**wrong)


def written_out(voxels, affine):
    """The fingerprint by its definition, number by number."""
    digest = hashlib.sha256(struct.pack("<3q", *voxels.shape))
    digest.update(struct.pack("<16d", *(round(v, 6) + 0.0 for v in affine.ravel().tolist())))
    code = {"i2": "h", "u2": "H", "f4": "f"}[voxels.dtype.str[1:]]
    digest.update(struct.pack(f"<{voxels.size}{code}", *voxels.ravel().tolist()))
    return f"sha256:{digest.hexdigest()}"


@pytest.mark.parametrize("dtype", ["<i2", ">i2", "<u2", "<f4"])
def test_the_fingerprint_by_its_definition(dtype):
    voxels = np.arange(24).reshape(2, 3, 4).astype(dtype)
    affine = hand_computed()
    expected = written_out(voxels.astype(voxels.dtype.newbyteorder("<")), affine)
    assert volume(voxels=voxels, mm_from_ijk=affine).fingerprint() == expected


def test_the_fingerprint_sees_one_voxel_and_a_shift_but_no_rounding():
    plain = volume()
    changed = plain.voxels.copy()
    changed[1, 2, 3] += 1
    shifted = plain.mm_from_ijk.copy()
    shifted[0, 3] += 2e-6
    noise = plain.mm_from_ijk + 1e-9
    noise[3] = (0, 0, 0, 1)
    negative_zero = plain.mm_from_ijk * np.where(plain.mm_from_ijk == 0, -1.0, 1.0)
    assert volume(voxels=changed).fingerprint() != plain.fingerprint()
    assert volume(mm_from_ijk=shifted).fingerprint() != plain.fingerprint()
    assert volume(mm_from_ijk=noise).fingerprint() == plain.fingerprint()
    assert volume(mm_from_ijk=negative_zero).fingerprint() == plain.fingerprint()
    assert volume(slope=2.0).fingerprint() == plain.fingerprint()
