from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from core.errors import ScanError
from core.scan.frames import affine, arrange, directions

SPACING = (0.3, 0.25)
AXIAL = (1, 0, 0, 0, 1, 0)


def stack(steps, *, lateral=(0.0, 0.0)):
    z = np.concatenate([[0.0], np.cumsum(steps)])
    return np.stack([lateral[0] * z, lateral[1] * z, z], axis=1)


def test_the_standards_equation_by_hand():
    # DICOM PS3.3 C.7.6.2.1-1:  P = [Xx Δi  Yx Δj  Sx; ...] (i, j, 1), with i the column index,
    # X the row cosines with Δi = column spacing (second value of PixelSpacing), Y the column
    # cosines with Δj = row spacing (first value). Computed by hand for a coronal slice:
    # X = (1, 0, 0), Y = (0, 0, -1), S = (-40, 12, 90), PixelSpacing 0.3\\0.2 (rows, columns):
    # (i = 10, j = 20) → x = -40 + 10 · 0.2 = -38, y = 12, z = 90 - 20 · 0.3 = 84.
    # Slices step along X × Y = (0, 1, 0); k = 3 with a measured step of 0.4: y = 13.2.
    matrix = affine(
        position_mm=(-40, 12, 90),
        row=(1, 0, 0),
        col=(0, 0, -1),
        step_mm=(0, 0.4, 0),
        spacing_mm=(0.3, 0.2),
    )
    assert matrix @ [10, 20, 0, 1] == pytest.approx([-38, 12, 84, 1])
    assert matrix @ [10, 20, 3, 1] == pytest.approx([-38, 13.2, 84, 1])
    _, _, normal = directions((1, 0, 0, 0, 0, -1))
    assert normal == pytest.approx([0, 1, 0])


@given(
    turn=st.tuples(*[st.floats(-3.1, 3.1)] * 3),
    step=st.floats(0.08, 2.0),
    shear=st.tuples(st.floats(-0.4, 0.4), st.floats(-0.4, 0.4)),
    count=st.integers(2, 40),
    seed=st.integers(0, 2**31),
)
def test_any_even_stack_in_any_order_gives_its_own_transform(turn, step, shear, count, seed):
    matrix = Rotation.from_euler("xyz", turn).as_matrix()
    row, col, normal = matrix.T
    vector = step * (normal + shear[0] * row + shear[1] * col)
    origin = np.array([12.0, -34.0, 56.0])
    positions = origin + np.arange(count)[:, None] * vector
    shuffled = np.random.default_rng(seed).permutation(count)
    found = arrange(positions[shuffled], [*row, *col], SPACING)
    assert list(shuffled[list(found.order)]) == list(range(count))
    expected = affine(position_mm=origin, row=row, col=col, step_mm=vector, spacing_mm=SPACING)
    np.testing.assert_allclose(found.mm_from_ijk, expected, atol=1e-9)
    assert found.tilt_deg == pytest.approx(np.degrees(np.arctan(np.hypot(*shear))), abs=1e-5)


@pytest.mark.parametrize("digits", [2, 3])
def test_rounded_positions_are_even(digits):
    # A true step of 0.125 mm written with two digits alternates between 0.12 and 0.13.
    positions = np.round(stack([0.125] * 399), digits)
    found = arrange(positions, AXIAL, SPACING)
    assert len(found.order) == 400
    assert found.mm_from_ijk[2, 2] == pytest.approx(0.125, abs=2e-5)


@pytest.mark.parametrize(
    ("steps", "code"),
    [
        ([0.3] * 10 + [0.35] + [0.3] * 10, "scan_slices_uneven"),
        ([0.3] * 10 + [0.15] + [0.3] * 10, "scan_slices_uneven"),
        ([0.3] * 100 + [0.3028] * 100, "scan_slices_uneven"),  # each step passes, the drift not
        ([0.3] * 10 + [0.9] + [0.3] * 10, "scan_slices_missing"),
        ([0.3] * 5 + [0.6] + [0.3] * 5 + [0.6] + [0.3] * 5, "scan_slices_missing"),
        ([0.3] * 3 + [0.0] + [0.3] * 3, "scan_conflicting_slices"),
        ([0.002, 1.0, 1.0], "scan_conflicting_slices"),
        ([], "scan_one_slice"),
    ],
)
def test_what_is_not_even_is_refused(steps, code):
    with pytest.raises(ScanError) as caught:
        arrange(stack(steps), AXIAL, SPACING)
    assert caught.value.code == code


def test_the_bounds_of_even_are_where_they_are_said_to_be():
    arrange(stack([1.0] * 5 + [1.0099] + [1.0] * 5), AXIAL, SPACING)
    with pytest.raises(ScanError, match="not evenly spaced"):
        arrange(stack([1.0] * 5 + [1.0102] + [1.0] * 5), AXIAL, SPACING)
    arrange(stack([0.2] * 5 + [0.2099] + [0.2] * 5), AXIAL, SPACING)
    with pytest.raises(ScanError, match="not evenly spaced"):
        arrange(stack([0.2] * 5 + [0.2102] + [0.2] * 5), AXIAL, SPACING)


def test_one_missing_slice_stays_open():
    found = arrange(stack([0.3] * 5 + [0.6] + [0.3] * 5), AXIAL, SPACING)
    assert found.order == (0, 1, 2, 3, 4, 5, -1, 6, 7, 8, 9, 10, 11)
    assert found.mm_from_ijk[2, 2] == pytest.approx(0.3)


@pytest.mark.parametrize("odd", [0, 20])
def test_neither_first_nor_last_slice_speaks_for_the_others(odd):
    positions = stack([0.3] * 20)
    positions[odd, 2] += 0.009
    found = arrange(positions, AXIAL, SPACING)
    np.testing.assert_allclose(found.mm_from_ijk[:3, 2], [0, 0, 0.3], atol=1e-9)
    np.testing.assert_allclose(found.mm_from_ijk[:3, 3], [0, 0, 0], atol=1e-9)
    assert found.off_mm == pytest.approx(0.009)
    assert found.steps_mm == pytest.approx((0.291, 0.3) if odd == 0 else (0.3, 0.309))


def test_positions_beside_the_line_are_refused():
    positions = stack([0.3] * 10)
    positions[5, 0] += 0.06
    with pytest.raises(ScanError) as caught:
        arrange(positions, AXIAL, SPACING)
    assert caught.value.code == "scan_not_a_line"


@pytest.mark.parametrize(
    "orientation",
    [(0,) * 6, (1, 0, 0, 1, 0, 0), (2, 0, 0, 0, 1, 0), (1, 0, 0, 0.1, 0.995, 0)],
)
def test_broken_orientation_is_refused(orientation):
    with pytest.raises(ScanError) as caught:
        directions(orientation)
    assert caught.value.code == "scan_orientation_broken"


def test_rounded_cosines_become_perpendicular():
    row, col, normal = directions((0.9702, 0.2425, 0.0, -0.2419, 0.9703, 0.0))
    assert row @ col == pytest.approx(0, abs=1e-6)
    assert [np.linalg.norm(v) for v in (row, col, normal)] == pytest.approx([1, 1, 1])
