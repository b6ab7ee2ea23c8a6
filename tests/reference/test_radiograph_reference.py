"""The simulated radiograph against sums over planes that SimpleITK resamples.

SimpleITK (Insight Toolkit, its own linear interpolation and its own geometry) cuts the volume in
planes parallel to the film, each as large as the cone of rays is there; their sum, times the way
of a ray from plane to plane, is the same line integral.
"""

from __future__ import annotations

import numpy as np
import pytest
import SimpleITK as sitk  # noqa: N813

from core.geometry import PictureGrid
from core.image.radiograph import Film, radiograph
from core.image.volume import Volume

VOXEL = 0.5
ORIGIN = np.array([-15.0, -15.0, -15.0])
BALLS = {(4.0, -5.0, 3.0): 1.8, (-6.0, 6.0, -4.0): 2.2, (2.0, 7.0, 8.0): 1.5}
SOFT = 100.0


@pytest.fixture(scope="module")
def volume():
    n = 61
    axis = np.arange(n) * VOXEL
    z, y, x = np.meshgrid(axis + ORIGIN[2], axis + ORIGIN[1], axis + ORIGIN[0], indexing="ij")
    grey = np.full(z.shape, SOFT - 60.0)
    for (cx, cy, cz), radius in BALLS.items():
        away = np.sqrt((x - cx) ** 2 + (y - cy) ** 2 + (z - cz) ** 2)
        grey += 1500.0 / (1 + np.exp((away - radius) / 0.2))
    affine = np.diag([VOXEL, VOXEL, VOXEL, 1.0])
    affine[:3, 3] = ORIGIN
    return Volume(voxels=grey.astype(np.int16), mm_from_ijk=affine, made_up=np.zeros(n, dtype=bool))


@pytest.fixture(scope="module", params=[0.0, 8.0])
def film(request):
    """Square to the tube, and with the source shifted by eight degrees."""
    normal = np.array([0.8, 0.6, 0.0])
    up = np.array([0.0, 0.0, 1.0])
    grid = PictureGrid(
        origin=-25.0 * normal, right=np.cross(up, normal), up=up, rows=56, cols=56, pixel_mm=0.5
    )
    tilt = np.radians(request.param)
    return Film(grid=grid, source_mm=275.0 * (np.cos(tilt) * normal + np.sin(tilt) * up))


def summed_by_simpleitk(volume, film, step):
    image = sitk.GetImageFromArray(volume.voxels.astype(np.float32))
    image.SetSpacing([VOXEL] * 3)
    image.SetOrigin(ORIGIN.tolist())
    grid = film.grid
    normal = grid.toward_viewer
    height = float((film.source_mm - grid.origin) @ normal)
    total = np.zeros((grid.rows, grid.cols))
    corner = grid.point(0, 0)
    for above in np.arange(0.0, 50.0 + step / 2, step):
        share = (height - above) / height
        first = film.source_mm + share * (corner - film.source_mm)
        spacing = [grid.pixel_mm * share, grid.pixel_mm * share, 1.0]
        down = -np.asarray(grid.up)
        direction = np.stack([grid.right, down, np.cross(grid.right, down)], axis=1)
        plane = sitk.Resample(
            image, [grid.cols, grid.rows, 1], sitk.Transform(), sitk.sitkLinear,
            first.tolist(), spacing, direction.ravel().tolist(), 0.0, sitk.sitkFloat32,
        )  # fmt: skip
        total += np.clip(sitk.GetArrayFromImage(plane)[0] - SOFT, 0, None)
    rows, cols = np.indices(total.shape)
    u = (cols - (grid.cols - 1) / 2) * grid.pixel_mm
    v = -(rows - (grid.rows - 1) / 2) * grid.pixel_mm
    ends = grid.origin + u[..., None] * grid.right + v[..., None] * grid.up
    length = np.linalg.norm(ends - film.source_mm, axis=2)
    return total * step * length / height


def test_profiles_agree_within_two_per_cent(volume, film):
    ours, _ = radiograph(volume, film, soft=SOFT, step_mm=0.1)
    theirs = summed_by_simpleitk(volume, film, 0.1)
    assert theirs.max() > 2000
    assert np.abs(ours - theirs).max() < 0.02 * theirs.max()


def test_the_default_step_is_fine_enough(volume, film):
    ours, _ = radiograph(volume, film, soft=SOFT)
    theirs = summed_by_simpleitk(volume, film, 0.1)
    assert np.abs(ours - theirs).max() < 0.02 * theirs.max()


def test_projected_places_agree_within_one_per_cent(volume, film):
    """Centres of the balls' shadows in SimpleITK's picture against the projection of points."""
    picture = summed_by_simpleitk(volume, film, 0.25)
    rows, cols = np.indices(picture.shape)
    at = film.project(np.array(list(BALLS)))
    found = []
    for u, v in at:
        row = (film.grid.rows - 1) / 2 - v / film.grid.pixel_mm
        col = (film.grid.cols - 1) / 2 + u / film.grid.pixel_mm
        near = np.hypot(rows - row, cols - col) < 7
        weight = np.where(near, picture, 0.0)
        mean_row, mean_col = (weight * rows).sum(), (weight * cols).sum()
        mean_row, mean_col = mean_row / weight.sum(), mean_col / weight.sum()
        found.append(
            (
                (mean_col - (film.grid.cols - 1) / 2) * film.grid.pixel_mm,
                ((film.grid.rows - 1) / 2 - mean_row) * film.grid.pixel_mm,
            )
        )
    spread = np.linalg.norm(at[:, None] - at[None], axis=2).max()
    assert np.abs(np.array(found) - at).max() < 0.01 * spread
