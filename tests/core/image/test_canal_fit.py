"""A blurred tube whose diameters are known: what the fit gives, and when it gives nothing.

The tube is an exact function of distance from its axis, averaged over voxels by eight samples
each and blurred by a Gaussian: the truth stands in the function, not in the program.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

from core.image.canal_fit import MOST_SD_MM, fit_canal
from core.image.canal_model import blurred_disc
from core.image.volume import Volume
from tests.core.canal_phantoms import random_canal

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


@cache
def straight():
    """A canal of 3.2 mm, and what is fitted from its middle along it."""
    volume = tube(3.2)
    return volume, fit_canal(volume, MIDDLE, (0.2, 1.0, 0.1))


@pytest.mark.parametrize(("diameter", "wall"), [(2.4, 0.5), (3.0, 0.3), (3.9, 0.5), (4.4, 0.8)])
def test_outside_and_lumen_are_told_apart(diameter, wall):
    """With half a mm of blur a half-maximum edge read 3.9 as 4.6 to 4.8, and 3.0 as 4.0."""
    fit = fit_canal(tube(diameter, wall=wall), MIDDLE, (0.2, 1.0, 0.1))
    assert fit.note is None
    assert abs(fit.diameter_mm - diameter) < min(2 * fit.sd_mm, 0.25)
    assert abs(fit.lumen_mm - (diameter - 2 * wall)) < min(2 * fit.lumen_sd_mm + 0.02, 0.2)
    assert 0.05 < fit.sd_mm <= 0.25


@pytest.mark.parametrize("blur_fwhm", [0.9, 1.1])
def test_a_scan_blurred_by_a_mm_reads_no_canal_a_mm_wider(blur_fwhm):
    for diameter in (3.0, 3.9):
        fit = fit_canal(tube(diameter, blur_fwhm=blur_fwhm), MIDDLE, (0.2, 1.0, 0.1))
        if fit.diameter_mm is None:
            assert fit.note.code == "canal-fit-too-blurred"
        else:
            assert abs(fit.diameter_mm - diameter) < 2 * fit.sd_mm


def test_random_canals_lie_inside_two_standard_deviations():
    """A small draw of the study in tests/studies/canal_diameters.py; both diameters."""
    found = []
    for seed in range(5000, 5005):
        canal = random_canal(seed)
        fit = fit_canal(canal.volume, canal.mark_mm, canal.along)
        if fit.diameter_mm is not None:
            found.append((
                abs(fit.diameter_mm - canal.outside_mm) / fit.sd_mm,
                abs(fit.lumen_mm - canal.lumen_mm) / fit.lumen_sd_mm,
            ))  # fmt: skip
    assert len(found) >= 4
    assert (np.array(found) < 2).mean() >= 0.8
    assert np.max(found) < 3.5


def test_without_a_wall_the_dark_canal_is_taken_with_room_for_a_hidden_one_and_it_is_said():
    fit = fit_canal(tube(3.0, wall=0.0, cortex=750.0), MIDDLE, (0.2, 1.0, 0.1))
    assert fit.note.code == "canal-fit-no-wall"
    assert fit.lumen_mm == pytest.approx(3.0, abs=2 * fit.lumen_sd_mm)
    assert fit.lumen_mm < fit.diameter_mm < 3.5
    assert abs(fit.diameter_mm - 3.0) < 2 * fit.sd_mm
    assert "may be there" in fit.words("canal left: mark 3")


def test_both_diameters_are_told_and_which_one_distances_use():
    words = fit_canal(tube(3.0, wall=0.5), MIDDLE, (0.2, 1.0, 0.1)).words("canal left: mark 3")
    assert "canal left: mark 3" in words
    assert "outside of the bony wall" in words
    assert "distances are measured to" in words
    assert "lumen" in words


@pytest.mark.parametrize("off", [(0.4, 0, 0), (0, 0, -0.4), (0.3, 0, 0.3)])
def test_a_mark_off_the_middle_gives_the_same_circle(off):
    volume, right = straight()
    fit = fit_canal(volume, MIDDLE + off, (0.2, 1.0, 0.1))
    assert fit.diameter_mm == pytest.approx(right.diameter_mm, abs=0.1)
    # The middle lies on the tube's axis again.
    axis = np.array([0.2, 1.0, 0.1]) / np.linalg.norm([0.2, 1.0, 0.1])
    away = fit.middle_mm - MIDDLE
    assert np.linalg.norm(away - (away @ axis) * axis) < 0.1


def test_a_direction_that_is_20_degrees_off_makes_the_canal_no_wider():
    volume, right = straight()
    fit = fit_canal(volume, MIDDLE, (0.55, 1.0, 0.1))
    assert fit.diameter_mm == pytest.approx(right.diameter_mm, abs=0.1)


def test_grey_values_of_any_scale_give_the_same_diameters():
    plain = tube(3.2, noise=20.0)
    scaled = Volume(voxels=plain.voxels, mm_from_ijk=plain.mm_from_ijk, slope=0.03,
                    intercept=-7.0, made_up=plain.made_up)  # fmt: skip
    one, other = (fit_canal(v, MIDDLE, (0.2, 1.0, 0.1)) for v in (plain, scaled))
    assert other.diameter_mm == pytest.approx(one.diameter_mm, abs=0.02)
    assert other.sd_mm == pytest.approx(one.sd_mm, abs=0.02)


@pytest.mark.parametrize("noise", [20.0, 120.0])
def test_nothing_is_fitted_where_there_is_no_canal(noise):
    empty = tube(3.0, wall=0.0, lumen=750.0, cortex=750.0, noise=noise)
    fit = fit_canal(empty, MIDDLE, (0, 1, 0))
    assert fit.diameter_mm is None
    assert fit.note.code in ("canal-fit-not-clear", "canal-fit-not-round", "canal-fit-too-blurred")
    assert fit.note.message


def test_a_slot_that_is_no_circle_is_refused():
    """Two canals side by side that run into each other: 3 mm one way, 5 mm the other."""
    one, other = (tube(3.0, along=(0, 1, 0)) for _ in range(2))
    shifted = np.roll(other.voxels, 8, axis=2)
    slot = Volume(voxels=np.minimum(one.voxels, shifted), mm_from_ijk=one.mm_from_ijk,
                  made_up=one.made_up)  # fmt: skip
    fit = fit_canal(slot, MIDDLE + np.array([1.0, 0, 0]), (0, 1, 0))
    assert fit.diameter_mm is None


def test_a_mark_beside_the_canal_gives_nothing_or_says_so():
    fit = fit_canal(tube(3.0), MIDDLE + np.array([4.0, 0.0, 2.0]), (0.2, 1.0, 0.1))
    assert fit.diameter_mm is None


def test_at_the_edge_of_the_scan_nothing_is_fitted():
    fit = fit_canal(tube(3.0), (5.0, 0.0, 0.0), (0, 1, 0))
    assert fit.diameter_mm is None
    assert fit.note.code == "canal-fit-not-scanned"


def test_the_disc_of_the_model_is_the_blurred_one():
    """Against a disc drawn finely and blurred by scipy."""
    step, sigma = 0.02, 0.25
    line = np.arange(-4, 4 + step / 2, step)
    drawn = (np.hypot(*np.meshgrid(line, line)) < 1.5).astype(float)
    row = gaussian_filter(drawn, sigma / step)[len(line) // 2]
    assert np.abs(blurred_disc(np.abs(line), 1.5, sigma) - row).max() < 0.01


def test_what_is_told_is_never_wider_known_than_it_may_be():
    for seed in (3, 12):
        canal = random_canal(seed)
        fit = fit_canal(canal.volume, canal.mark_mm, canal.along)
        assert fit.diameter_mm is None or fit.sd_mm <= MOST_SD_MM
