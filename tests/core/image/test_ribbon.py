from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from core.arch import Arch
from core.image import sampling
from core.image.ribbon import Ribbon, panorama
from core.image.volume import Volume
from core.level import Level

LEVEL = Level(origin=(0, 0, 1), up=(0.05, -0.1, 1))


def jaw_arch():
    turn = np.radians(np.linspace(-75, 75, 9))
    points = np.stack([25 * np.sin(turn), 10 - 30 * np.cos(turn), 0 * turn], axis=1)
    return Arch.trace(points, level=LEVEL)


def scan(values):
    """Greys from a function of patient x, y, z; voxels of 0.5 mm over ± 35 mm."""
    axis = np.arange(-35, 35.1, 0.5)
    z, y, x = np.meshgrid(axis, axis, axis, indexing="ij")
    matrix = np.diag([0.5, 0.5, 0.5, 1.0])
    matrix[:3, 3] = -35
    return Volume(
        voxels=values(x, y, z).astype(np.float32),
        mm_from_ijk=matrix,
        made_up=np.zeros(len(axis), bool),
    )


def test_the_patients_right_is_on_the_left_of_the_picture():
    # Patient x grows to the patient's left.
    picture, ribbon = panorama(
        scan(lambda x, y, z: x), jaw_arch(), heights_mm=(-5, 5), pixel_mm=0.5
    )
    middle = picture[picture.shape[0] // 2]
    assert middle[0] < -20
    assert middle[-1] > 20
    assert (np.diff(middle) > 0).all()
    assert picture.shape == (ribbon.rows, ribbon.cols) == (21, round(ribbon.arch.length_mm * 2) + 1)


def test_up_is_up():
    picture, _ = panorama(scan(lambda x, y, z: z), jaw_arch(), heights_mm=(-8, 8), pixel_mm=0.5)
    assert (np.diff(picture, axis=0) < 0).all()


def test_columns_lie_at_equal_arc_length_and_pixels_show_their_points():
    vol = scan(lambda x, y, z: 3 * x + 5 * y - 7 * z + 0.1 * x * y)
    picture, ribbon = panorama(
        vol, jaw_arch(), heights_mm=(-6, 9), pixel_mm=0.7, stations_mm=(10, 70)
    )
    assert ribbon.station(0) == 10
    assert ribbon.height(0) == 9
    for row, col in ((0, 0), (4, 31), (ribbon.rows - 1, ribbon.cols - 1)):
        point = ribbon.point(row, col)
        assert ribbon.arch.station(point) == pytest.approx(10 + 0.7 * col, abs=1e-6)
        assert LEVEL.height_mm(point)[0] == pytest.approx(9 - 0.7 * row)
        assert picture[row, col] == pytest.approx(sampling.at_points(vol, point)[0], abs=0.01)


@given(st.floats(0, 40), st.floats(0, 160))
def test_a_click_comes_back_to_its_pixel(row, col):
    ribbon = Ribbon.along(jaw_arch(), heights_mm=(-10, 10), pixel_mm=0.5)
    assert ribbon.row_col(ribbon.point(row, col))[0] == pytest.approx((row, col), abs=1e-5)


def test_marks_off_the_middle_surface_show_at_their_station_and_height():
    ribbon = Ribbon.along(jaw_arch(), heights_mm=(-10, 10), pixel_mm=0.5)
    frame = ribbon.arch.frame(30.0)
    marks = [frame.origin + 2.5 * frame.buccal + 4 * frame.up, frame.origin - 2 * frame.buccal]
    assert ribbon.row_col(marks) == pytest.approx(np.array([(12, 60), (20, 60)]), abs=1e-5)


@pytest.mark.parametrize("maximum", [False, True])
def test_the_thickness_lies_along_buccal_on_both_sides(maximum):
    vol = scan(lambda x, y, z: 1000 * np.exp(-((x - 3) ** 2 + (y + 18) ** 2 + z**2) / 60))
    arch = jaw_arch()
    thickness = 3.3
    picture, ribbon = panorama(
        vol, arch, heights_mm=(-4, 4), pixel_mm=1.0, thickness_mm=thickness, maximum=maximum
    )
    count = sampling.slab_samples(vol, thickness)
    assert count == 15
    for row, col in ((4, 40), (2, 33), (7, 45)):
        frame = arch.frame(ribbon.station(col))
        through = ribbon.point(row, col) + np.outer(
            np.linspace(-thickness / 2, thickness / 2, count), frame.buccal
        )
        greys = sampling.at_points(vol, through)
        expected = greys.max() if maximum else greys.mean()
        assert picture[row, col] == pytest.approx(expected, abs=0.01)


def test_outside_the_scan_the_panorama_shows_nothing():
    picture, _ = panorama(scan(lambda x, y, z: x), jaw_arch(), heights_mm=(-50, 0), pixel_mm=1.0)
    scanned = np.isfinite(picture).any(axis=1)
    assert scanned[0]
    assert not scanned[-1]


def test_an_empty_panorama_is_refused():
    for heights, pixel, stations in (((5, 5), 0.5, None), ((0, 5), 0, None), ((0, 5), 1, (9, 3))):
        with pytest.raises(ValueError, match="panorama"):
            Ribbon.along(jaw_arch(), heights_mm=heights, pixel_mm=pixel, stations_mm=stations)
