"""Sampling against SimpleITK's resampler and scipy's map_coordinates on random oblique stacks."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter, map_coordinates
from scipy.spatial.transform import Rotation

from core.geometry import PictureGrid
from core.image.volume import Volume

sitk = pytest.importorskip("SimpleITK")


def scan(seed, dtype=np.int16):
    """Smooth random greys of the range of a scan, on a turned, unevenly spaced stack."""
    rng = np.random.default_rng(seed)
    shape = tuple(rng.integers(30, 50, 3))
    greys = gaussian_filter(rng.normal(size=shape), 1.0)
    greys = 1000 + 1500 * greys / greys.std()
    if dtype == np.uint16:
        greys = np.maximum(greys, 0)
    matrix = np.eye(4)
    matrix[:3, :3] = Rotation.random(random_state=seed).as_matrix() @ np.diag(
        rng.uniform(0.15, 0.5, 3)
    )
    matrix[:3, 3] = rng.uniform(-80, 80, 3)
    return Volume(voxels=greys.astype(dtype), mm_from_ijk=matrix, made_up=np.zeros(shape[0], bool))


def as_image(vol):
    image = sitk.GetImageFromArray(vol.voxels)
    image.SetSpacing(vol.voxel_mm.tolist())
    image.SetDirection((vol.mm_from_ijk[:3, :3] / vol.voxel_mm).ravel().tolist())
    image.SetOrigin(vol.mm_from_ijk[:3, 3].tolist())
    return image


def oblique(vol, seed):
    turn = Rotation.random(random_state=seed + 100).as_matrix()
    centre = vol.mm((np.array(vol.shape[::-1]) - 1) / 2)[0]
    return PictureGrid(origin=centre, right=turn[0], up=turn[1], rows=90, cols=110, pixel_mm=0.17)


@pytest.mark.parametrize("dtype", [np.int16, np.uint16, np.float32])
@pytest.mark.parametrize("seed", range(4))
def test_section_against_simpleitk(seed, dtype):
    # SimpleITK's ResampleImageFilter, linear: the section within 1 grey value wherever both
    # lie inside, and inside for the same pixels but for those on the hull itself.
    vol = scan(seed, dtype)
    grid = oblique(vol, seed)
    found = vol.picture(grid)
    outside = -30000.0
    resample = sitk.ResampleImageFilter()
    resample.SetInterpolator(sitk.sitkLinear)
    resample.SetOutputPixelType(sitk.sitkFloat64)
    resample.SetDefaultPixelValue(outside)
    resample.SetSize([grid.cols, grid.rows, 1])
    resample.SetOutputSpacing([grid.pixel_mm] * 3)
    resample.SetOutputOrigin(grid.point(0, 0).tolist())
    columns = np.stack([grid.right, -grid.up, np.cross(grid.right, -grid.up)], axis=1)
    resample.SetOutputDirection(columns.ravel().tolist())
    expected = sitk.GetArrayFromImage(resample.Execute(as_image(vol)))[0]
    # ITK counts the outer half of the border voxels as inside and repeats their values; here
    # the hull of the centres ends the scan. So: everything that is scanned here agrees.
    ours = np.isfinite(found)
    assert ours.mean() > 0.2
    assert (expected[ours] != outside).all()
    assert np.abs(found[ours] - expected[ours]).max() < 1.0


@pytest.mark.parametrize("dtype", [np.int16, np.uint16, np.float32])
@pytest.mark.parametrize("slab_mm", [0.0, 0.7])
def test_section_against_scipy(slab_mm, dtype):
    # scipy.ndimage.map_coordinates, order 1, NaN outside the hull of the voxel centres.
    from core.image.sampling import slab_samples

    vol = scan(11, dtype)
    grid = oblique(vol, 11)
    rows, cols = np.indices((grid.rows, grid.cols))
    points = (
        grid.origin
        + ((cols - (grid.cols - 1) / 2) * grid.pixel_mm)[..., None] * grid.right
        - ((rows - (grid.rows - 1) / 2) * grid.pixel_mm)[..., None] * grid.up
    ).reshape(-1, 3)
    layers = [
        map_coordinates(
            vol.voxels.astype(np.float64),
            vol.ijk(points + shift * grid.toward_viewer)[:, ::-1].T,
            order=1,
            cval=np.nan,
        )
        for shift in np.linspace(-slab_mm / 2, slab_mm / 2, slab_samples(vol, slab_mm))
    ]
    expected = np.mean(layers, axis=0).reshape(grid.rows, grid.cols)
    assert np.isfinite(expected).mean() > 0.2
    assert vol.picture(grid, slab_mm=slab_mm) == pytest.approx(expected, abs=0.01, nan_ok=True)
