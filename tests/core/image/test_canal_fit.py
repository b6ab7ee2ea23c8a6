"""A blurred tube whose diameter is known: what the fit gives, and when it gives nothing.

The tube is an exact function of distance from its axis, averaged over voxels by eight samples
each and blurred by a Gaussian: the truth stands in the function, not in the program.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

from core.image.canal_fit import METHOD_SD_MM, fit_canal
from core.image.volume import Volume

VOXEL = 0.25
MIDDLE = np.array([1.03, -0.41, 0.2])


def tube(diameter, *, wall=0.5, along=(0.2, 1.0, 0.1), blur_fwhm=0.5, noise=30.0, seed=1,
         lumen=300.0, cortex=1600.0, spongy=750.0):  # fmt: skip
    """A canal of an outside diameter along a direction, in spongy bone."""
    axis = np.array(along) / np.linalg.norm(along)
    n = 48
    fine = (np.arange(2 * n) - n + 0.5) * VOXEL / 2
    z, y, x = np.meshgrid(fine, fine, fine, indexing="ij")
    p = np.stack([x, y, z], axis=-1) - MIDDLE
    away = np.linalg.norm(p - (p @ axis)[..., None] * axis, axis=-1)
    outside, inside = diameter / 2, diameter / 2 - wall
    grey = np.where(away < inside, lumen, np.where(away < outside, cortex, spongy))
    coarse = grey.reshape(n, 2, n, 2, n, 2).mean(axis=(1, 3, 5))
    sigma = blur_fwhm / 2.3548 / VOXEL
    blurred = gaussian_filter(coarse, sigma)
    blurred += np.random.default_rng(seed).normal(0, noise, blurred.shape)
    affine = np.diag([VOXEL, VOXEL, VOXEL, 1.0])
    affine[:3, 3] = -(n - 1) / 2 * VOXEL
    return Volume(
        voxels=np.round(blurred).astype(np.int16),
        mm_from_ijk=affine,
        made_up=np.zeros(n, dtype=bool),
    )


@pytest.mark.parametrize("diameter", [2.4, 3.0, 3.6, 4.4])
@pytest.mark.parametrize("wall", [0.5, 0.8])
def test_a_walled_canal_is_found_to_its_outside(diameter, wall):
    fit = fit_canal(tube(diameter, wall=wall), MIDDLE, (0.2, 1.0, 0.1))
    assert fit.note is None
    # Blur of half a mm thickens a thin wall: up to 0.3 mm too large, never much too small.
    assert -0.15 < fit.diameter_mm - diameter < 0.35
    assert METHOD_SD_MM <= fit.sd_mm < 0.35


def test_without_a_wall_the_dark_canal_is_taken_and_it_is_said():
    fit = fit_canal(tube(3.0, wall=0.0, cortex=750.0), MIDDLE, (0.2, 1.0, 0.1))
    assert fit.note.code == "canal-fit-no-wall"
    assert fit.diameter_mm == pytest.approx(3.0, abs=0.2)


@pytest.mark.parametrize("off", [(0.4, 0, 0), (0, 0, -0.4), (0.3, 0, 0.3)])
def test_a_mark_off_the_middle_gives_the_same_circle(off):
    volume = tube(3.2)
    straight = fit_canal(volume, MIDDLE, (0.2, 1.0, 0.1))
    fit = fit_canal(volume, MIDDLE + off, (0.2, 1.0, 0.1))
    assert fit.diameter_mm == pytest.approx(straight.diameter_mm, abs=0.15)
    # The middle lies on the tube's axis again.
    axis = np.array([0.2, 1.0, 0.1]) / np.linalg.norm([0.2, 1.0, 0.1])
    away = fit.middle_mm - MIDDLE
    assert np.linalg.norm(away - (away @ axis) * axis) < 0.15


@pytest.mark.parametrize("noise", [20.0, 120.0])
def test_nothing_is_fitted_where_there_is_no_canal(noise):
    empty = tube(3.0, wall=0.0, lumen=750.0, cortex=750.0, noise=noise)
    fit = fit_canal(empty, MIDDLE, (0, 1, 0))
    assert fit.diameter_mm is None
    assert fit.note.code in ("canal-fit-not-clear", "canal-fit-not-round")
    assert fit.note.message


def test_a_mark_beside_the_canal_gives_nothing_or_says_so():
    fit = fit_canal(tube(3.0), MIDDLE + np.array([4.0, 0.0, 2.0]), (0.2, 1.0, 0.1))
    assert fit.diameter_mm is None


def test_at_the_edge_of_the_scan_nothing_is_fitted():
    fit = fit_canal(tube(3.0), (5.0, 0.0, 0.0), (0, 1, 0))
    assert fit.diameter_mm is None
    assert fit.note.code == "canal-fit-not-scanned"


def test_the_stated_spread_covers_the_errors_of_repeated_noise():
    errors = []
    for seed in range(6):
        fit = fit_canal(tube(3.0, wall=0.8, seed=seed), MIDDLE, (0.2, 1.0, 0.1))
        errors.append((fit.diameter_mm - 3.0) / fit.sd_mm)
    assert np.abs(errors).max() < 2.5
