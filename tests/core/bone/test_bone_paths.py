"""Bone on the rays that show a plate: exact chords through analytic bones."""

import numpy as np
import pytest

from core.bone.bone_levels import BoneLevels
from core.bone.bone_paths import BonePaths
from core.image.volume import Volume

LEVELS = BoneLevels(
    soft=100.0, spongy=400.0, cortical=1100.0, cortical_sd=20.0, noise_sd=10.0, voxel_mm=0.25
)
RADIUS = 8.0


def cylinder(voxel=0.25, **more):
    """A solid cylinder of cortex along the slices' axis."""
    n, rows = round(40.0 / voxel), round(12.0 / voxel)
    x = (np.arange(n) - (n - 1) / 2) * voxel
    inside = np.hypot(x[:, None], x[None, :]) < RADIUS
    affine = np.diag([voxel, voxel, voxel, 1.0])
    affine[:3, 3] = [x[0], x[0], -6.0]
    return Volume(
        voxels=np.repeat(np.where(inside, 1100, 100)[None], rows, axis=0).astype(np.int16),
        mm_from_ijk=affine,
        made_up=np.zeros(rows, bool),
        **more,
    )


@pytest.mark.parametrize("voxel", [0.25, 0.3, 0.4])
@pytest.mark.parametrize("depth", [1.0, 3.0])
def test_the_path_is_the_chord_behind_the_surface(voxel, depth):
    """A chord at the depth d of a circle of radius R is 2 √(R² − (R − d)²) long."""
    paths = BonePaths.of(cylinder(voxel), LEVELS)
    a = np.radians(np.arange(0.0, 360.0, 30.0))
    outward = np.stack([np.cos(a), np.sin(a), 0 * a], axis=1)
    found = paths.along(RADIUS * outward, outward, depth)
    chord = 2.0 * np.sqrt(RADIUS**2 - (RADIUS - depth) ** 2)
    # The mean of five chords within 9° of the tangent is a little longer.
    assert found == pytest.approx(np.full(len(a), chord), rel=0.12)


def test_rays_of_all_directions_show_a_surface_across_the_axis():
    """Off the middle of a disc the chords differ: the mean over five directions."""
    paths = BonePaths.of(cylinder(), LEVELS)
    point, outward = np.array([[5.0, 0.0, 5.0]]), np.array([[0.0, 0.0, 1.0]])
    turned = np.radians([90.0, 30.0, 0.0, -30.0, -90.0])
    chords = 2.0 * np.sqrt(RADIUS**2 - (5.0 * np.cos(turned)) ** 2)
    assert chords.max() / chords.min() > 1.25
    assert paths.along(point, outward, 1.0)[0] == pytest.approx(chords.mean(), rel=0.03)


def test_what_was_not_scanned_and_what_is_fainter_than_soft_tissue_is_no_bone():
    usual = cylinder()
    field = (np.indices(usual.shape[1:])[0] < usual.shape[1] / 2).astype(np.uint8)
    point, outward = np.array([[RADIUS, 0.0, 0.0]]), np.array([[1.0, 0.0, 0.0]])
    whole = BonePaths.of(usual, LEVELS).along(point, outward, 3.0)[0]
    half = BonePaths.of(cylinder(field=field), LEVELS).along(point, outward, 3.0)[0]
    assert half == pytest.approx(0.5 * whole, rel=0.1)
    none = BonePaths.of(cylinder(padding=(1100, 1100)), LEVELS).along(point, outward, 3.0)[0]
    assert none == pytest.approx(0.0, abs=1e-6)
