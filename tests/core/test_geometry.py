from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from core.geometry import PictureGrid, across, angle_deg, cross, lengths, points, unit, vector


def grid(**changes):
    plain = {
        "origin": (1, 2, 3), "right": (1, 0, 0), "up": (0, 0, 1), "rows": 4, "cols": 6,
        "pixel_mm": 0.5,
    }  # fmt: skip
    return PictureGrid(**(plain | changes))


def test_a_vector_is_a_read_only_copy():
    source = np.array([1.0, 2.0, 3.0])
    made = vector(source)
    source[0] = 9
    assert made.tolist() == [1, 2, 3]
    with pytest.raises(ValueError, match="read-only"):
        made[0] = 0


@pytest.mark.parametrize("wrong", [(1, 2), (1, 2, np.nan), (1, 2, np.inf), [[1, 2, 3]]])
def test_what_is_no_vector_is_refused(wrong):
    with pytest.raises(ValueError, match="three finite numbers"):
        vector(wrong)


@pytest.mark.parametrize("wrong", [(1, 2, 3), [[1, 2]], [[1, 2, np.nan]]])
def test_what_are_no_points_is_refused(wrong):
    with pytest.raises(ValueError, match="points"):
        points(wrong)


def test_directions():
    assert unit((0, 3, 4)) == pytest.approx((0, 0.6, 0.8))
    assert across((1, 1, 0), (0, 2, 0)) == pytest.approx((1, 0, 0))
    for wrong in ((unit, (0, 0, 0)), (across, (0, 2, 0), (0, -1, 0))):
        with pytest.raises(ValueError, match="length"):
            wrong[0](*wrong[1:])


@given(st.floats(0, 180))
def test_angles_are_exact_near_0_and_180_too(degrees):
    turned = Rotation.from_euler("z", degrees, degrees=True).apply((1, 0, 0))
    assert angle_deg((1, 0, 0), turned) == pytest.approx(degrees, abs=1e-12)


@pytest.mark.parametrize("shape", [(0, 3), (1, 3), (7, 3), (1, 9, 3), (400, 9, 3), (5000, 3)])
def test_lengths_are_those_of_numpy_to_the_last_bit(shape):
    draw = np.random.default_rng(3)
    rows = draw.normal(size=shape) * 10.0 ** draw.uniform(-6, 6, size=shape)
    assert lengths(rows).tobytes() == np.linalg.norm(rows, axis=-1).tobytes()


def test_a_cross_product_is_that_of_numpy_to_the_last_bit():
    draw = np.random.default_rng(4)
    pairs = draw.normal(size=(500, 2, 3)) * 10.0 ** draw.uniform(-6, 6, size=(500, 2, 3))
    pairs[:9, 1] = np.repeat(np.eye(3), 3, axis=0)
    for first, second in pairs:
        assert cross(first, second).tobytes() == np.cross(first, second).tobytes()


def test_pixels_lie_where_the_definition_says():
    # origin + (c − (cols − 1)/2) pixel right − (r − (rows − 1)/2) pixel up; row 0 at the top.
    plane = grid()
    assert plane.point(0, 0) == pytest.approx((1 - 1.25, 2, 3 + 0.75))
    assert plane.point(3, 5) == pytest.approx((1 + 1.25, 2, 3 - 0.75))
    assert plane.point(1.5, 2.5) == pytest.approx((1, 2, 3))
    assert plane.toward_viewer == pytest.approx((0, -1, 0))


def test_the_size_of_a_picture_in_pixels():
    plane = PictureGrid.of_size(
        origin=(0, 0, 0), right=(1, 0, 0), up=(0, 1, 0), size_mm=(30.1, 19.9), pixel_mm=0.25
    )
    assert (plane.rows, plane.cols) == (80, 120)


@given(st.integers(0, 10_000), st.floats(-5, 60), st.floats(-5, 60), st.floats(-9, 9))
def test_a_place_comes_back_to_its_pixel(seed, row, col, off):
    turn = Rotation.random(random_state=seed).as_matrix()
    plane = grid(right=turn[0], up=turn[1], rows=31, cols=52)
    point = plane.point(row, col) + off * plane.toward_viewer
    assert plane.row_col(point)[0] == pytest.approx((row, col), abs=1e-9)
    assert plane.uv_mm(point)[0, 2] == pytest.approx(off, abs=1e-9)


@pytest.mark.parametrize(
    "wrong",
    [{"right": (2, 0, 0)}, {"right": (0.8, 0, 0.6)}, {"up": (0, 0, 0.99)}, {"rows": 0},
     {"cols": 0}, {"pixel_mm": 0}, {"pixel_mm": -1}, {"pixel_mm": np.nan}],
)  # fmt: skip
def test_a_picture_needs_perpendicular_unit_axes_and_a_size(wrong):
    with pytest.raises(ValueError, match=r"unit|perpendicular|pixel"):
        grid(**wrong)
