from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from core.arch import Arch, fixture_frame
from core.fixture import Fixture, FixtureSize
from core.geometry import PictureGrid
from core.image.section import across_arch_grid, through_axis_grid
from core.image.volume import Volume
from core.level import Level

FLAT = Level(origin=(0, 0, 0), up=(0, 0, 1))
SIZE = FixtureSize(diameter_mm=4.5, length_mm=8)
LOOK = {"size_mm": (30.0, 20.0), "pixel_mm": 0.25}


def jaw_arch(level=FLAT):
    turn = np.radians(np.linspace(-75, 75, 9))
    return Arch.trace(
        np.stack([25 * np.sin(turn), 25 - 30 * np.cos(turn), 0 * turn], axis=1), level=level
    )


def ball_scan(centre, radius=1.5, extent=40.0, edge=0.5):
    """A bright ball in the dark, to see where a place of the patient appears."""
    n = int(2 * extent / edge) + 1
    axis = np.linspace(-extent, extent, n)
    z, y, x = np.meshgrid(axis / 2, axis, axis, indexing="ij", sparse=True)
    away = (x - centre[0]) ** 2 + (y - centre[1]) ** 2 + (z - centre[2]) ** 2
    matrix = np.diag([edge, edge, edge / 2, 1.0])
    matrix[:3, 3] = (-extent, -extent, -extent / 2)
    return Volume(
        voxels=np.where(away < radius**2, 1000, 0).astype(np.int16),
        mm_from_ijk=matrix,
        made_up=np.zeros(n, bool),
    )


def bright_spot(vol, grid):
    """(row, column) of the bright ball's middle in the picture."""
    picture = np.nan_to_num(vol.picture(grid))
    rows, cols = np.nonzero(picture > 500)
    assert len(rows) > 20
    return rows.mean(), cols.mean()


@pytest.mark.parametrize("share", [0.1, 0.5, 0.9])
def test_the_cheek_is_on_the_right_and_up_is_up_on_both_sides(share):
    arch = jaw_arch()
    frame = arch.frame(share * arch.length_mm)
    vol = ball_scan(frame.origin + 6 * frame.buccal + 3 * frame.up)
    grid = across_arch_grid(arch, frame.station_mm, **LOOK)
    row, col = bright_spot(vol, grid)
    assert col == pytest.approx((grid.cols - 1) / 2 + 6 / 0.25, abs=2)
    assert row == pytest.approx((grid.rows - 1) / 2 - 3 / 0.25, abs=2)


def test_a_section_is_seen_along_travel():
    arch = jaw_arch()
    frame = arch.frame(20.0)
    grid = across_arch_grid(arch, 20.0, centre_height_mm=4.0, **LOOK)
    assert grid.toward_viewer == pytest.approx(-frame.travel)
    assert grid.origin == pytest.approx(frame.origin + 4 * frame.up)
    assert (grid.rows, grid.cols) == (80, 120)


def tilted_fixture(arch, station, tooth, *, upper, lean_deg=15):
    lean = Rotation.from_euler("xy", [lean_deg, -lean_deg / 2], degrees=True)
    axis = lean.apply((0, 0, 1 if upper else -1))
    return Fixture(
        id="f", tooth=tooth, platform=arch.frame(station).origin, towards_apex=axis, size=SIZE
    )


@pytest.mark.parametrize(
    ("tooth", "share"), [("46", 0.1), ("36", 0.9), ("16", 0.1), ("26", 0.9), ("", 0.9)]
)
def test_turns_of_the_plane_through_the_axis(tooth, share):
    arch = jaw_arch()
    upper = tooth.startswith(("1", "2"))
    fixture = tilted_fixture(arch, share * arch.length_mm, tooth, upper=upper)
    frame = fixture_frame(fixture, arch)
    grids = {
        turn: through_axis_grid(fixture, frame, turn_deg=turn, **LOOK) for turn in (0, 90, 180, 270)
    }
    # 0 degrees shows buccal on the right, 90 degrees mesial; up in both jaws.
    assert grids[0].right == pytest.approx(frame.b)
    assert grids[90].right == pytest.approx(frame.m)
    for grid in grids.values():
        assert float(grid.up @ arch.level.up) > 0.9
        assert abs(float(grid.up @ fixture.a)) == pytest.approx(1)
        assert grid.origin == pytest.approx(fixture.on_axis(4))
    # The crown's end of the fixture is above its middle in the lower jaw, below it in the upper.
    row, col = grids[0].row_col(fixture.platform)[0]
    assert col == pytest.approx((grids[0].cols - 1) / 2)
    assert bool(row > (grids[0].rows - 1) / 2) is upper


@given(st.floats(0, 360), st.floats(0, 79), st.floats(0, 119))
def test_half_a_turn_is_the_mirror(turn, row, col):
    arch = jaw_arch()
    fixture = tilted_fixture(arch, 15, "46", upper=False)
    frame = fixture_frame(fixture, arch)
    there = through_axis_grid(fixture, frame, turn_deg=turn, centre_depth_mm=2, **LOOK)
    back = through_axis_grid(fixture, frame, turn_deg=turn + 180, centre_depth_mm=2, **LOOK)
    assert back.point(row, there.cols - 1 - col) == pytest.approx(there.point(row, col), abs=1e-9)


def slab_scan(normal, thickness_mm, edge=0.25):
    """A plate of bone with its faces across `normal`, greys falling linearly at each face."""
    k, j, i = np.indices((121, 121, 121))
    matrix = np.diag([edge, edge, edge, 1.0])
    matrix[:3, 3] = -60 * edge
    centres = np.stack([i, j, k], axis=-1) * edge - 60 * edge
    off = np.abs(centres @ np.asarray(normal)) - thickness_mm / 2
    greys = np.clip(0.5 - off / 1.0, 0, 1) * 2000
    return Volume(
        voxels=np.round(greys).astype(np.int16), mm_from_ijk=matrix, made_up=np.zeros(121, bool)
    )


@pytest.mark.parametrize(
    ("tilt_deg", "reads_mm"), [(0, 10.0), (10, 10.154), (20, 10.642), (30, 11.547)]
)
def test_cosine_law_of_tilted_sections(tilt_deg, reads_mm):
    # Geometry: between two parallel faces a section turned by t against their normal reads
    # L / cos t; 10 mm at 10, 20, 30 degrees reads 10.154, 10.642, 11.547 mm.
    vol = slab_scan((0, 0, 1), 10.0)
    tilt = Rotation.from_euler("x", tilt_deg, degrees=True)
    grid = PictureGrid.of_size(
        origin=(0, 0, 0),
        right=(1, 0, 0),
        up=tilt.apply((0, 0, 1)),
        size_mm=(4, 16),
        pixel_mm=0.1,
    )
    column = vol.picture(grid)[:, 20]
    assert np.isfinite(column).all()
    at = np.arange(len(column)) * grid.pixel_mm
    bright = np.nonzero(column > 1000)[0]
    first, last = bright[0], bright[-1]
    top = np.interp(1000, column[first - 1 : first + 1], at[first - 1 : first + 1])
    bottom = np.interp(-1000, -column[last : last + 2], at[last : last + 2])
    assert bottom - top == pytest.approx(reads_mm, abs=0.01)


def test_outside_the_scan_a_section_shows_nothing():
    vol = ball_scan((0, 0, 0))
    arch = jaw_arch()
    picture = vol.picture(
        across_arch_grid(arch, 20.0, size_mm=(20, 100), pixel_mm=0.5, centre_height_mm=0)
    )
    assert np.isnan(picture[0]).all()
    assert np.isfinite(picture[100]).all()
