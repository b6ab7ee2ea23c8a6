"""The fitted plate: analytic profiles and scans, blur and levels from the scan alone.

Bounds are those of the accuracy study (`tests/studies/reports/plate_accuracy.md`): plates of
0.5 mm and more within 0.06 mm on average, 0.3 mm within 0.12, outer edges within 0.05.
Source of the over-reading that the fit removes: Prevrhal et al. 1999 (Phys Med Biol 44:751).
"""

from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest
from scipy.special import ndtr

from core.bone.plate_kernels import COLUMNS, LEVEL, OK, SD_WIDTH, SINGLE, WIDTH, fit_profiles
from tests.core.plate_phantoms import AIR, SOFT, Bone, learnt, paint, read

T = np.arange(100) * 0.1
SIGMA = 0.25


@lru_cache
def case(shape="cylinder", thin=0.5, **scan):
    bone = Bone(shape=shape, thin=thin, lingual=scan.pop("lingual", 1.0))
    volume = paint(bone, voxel=scan.pop("voxel", 0.3), **scan)
    return bone, volume, *learnt(volume)


def errors(bone, volume, levels, finder):
    p, n, true = bone.places(turns=8, heights=(-1.0, 1.0))
    keep = true == bone.thin
    w, sd, outer, outer_sd = read(volume, levels, finder, p[keep], n[keep])
    return w - true[keep], sd, outer, outer_sd


def fitted(rows, *, level=2400.0, level_sd=60.0):
    rows = np.atleast_2d(rows)
    n, out = len(rows), np.empty((len(rows), COLUMNS))
    full = np.full(n, 1.0)
    fit_profiles(
        np.ascontiguousarray(rows),
        np.full(n, 30),
        0.1,
        SIGMA * full,
        0.01 * full,
        level * full,
        level_sd * full,
        1500.0,
        30.0,
        2.5,
        False,
        out,
        0,
        n,
    )
    return out


def plate(width, *, edge=3.0, outside=SOFT, inside=1500.0, level=2400.0):
    return (
        outside
        + (level - outside) * ndtr((T - edge) / SIGMA)
        + (inside - level) * ndtr((T - edge - width) / SIGMA)
    )


@pytest.mark.parametrize("width", [0.3, 0.5, 0.8, 1.2, 2.0, 3.7])
@pytest.mark.parametrize("outside", [AIR, SOFT])
def test_an_exact_profile_gives_its_width_whatever_lies_outside(width, outside):
    out = fitted(plate(width, outside=outside, edge=3.04))[0]
    assert out[OK] == 1
    assert out[WIDTH] == pytest.approx(width, abs=0.01)
    assert out[0] == pytest.approx(3.04, abs=0.005)


def test_a_wide_plate_shows_its_own_level_and_a_thin_one_takes_the_known_one():
    wide, thin = fitted(np.stack([plate(2.0, level=2250.0), plate(0.5, level=2250.0)]))
    assert wide[LEVEL] == pytest.approx(2250.0, abs=3.0)
    assert thin[LEVEL] == pytest.approx(2400.0, abs=60.0)
    # Level and width of a thin plate trade off: what is missing in one is added to the other.
    assert thin[WIDTH] < 0.5
    assert abs(thin[WIDTH] - 0.5) < 2.5 * fitted(plate(0.5), level_sd=150.0)[0, SD_WIDTH]


def test_doubt_of_the_level_is_doubt_of_a_thin_plate_but_not_of_a_thick_one():
    sure, unsure = (fitted(np.stack([plate(0.5), plate(2.0)]), level_sd=s) for s in (20.0, 200.0))
    assert unsure[0, SD_WIDTH] > 3 * sure[0, SD_WIDTH]
    assert unsure[1, SD_WIDTH] == pytest.approx(sure[1, SD_WIDTH], rel=0.05)


def test_thick_cortex_without_an_inner_edge_says_so():
    out = fitted(plate(30.0))[0]
    assert out[SINGLE] == 1
    assert out[0] == pytest.approx(3.0, abs=0.01)


@pytest.mark.parametrize("thin", [0.3, 0.5, 1.0])
def test_thin_plates_are_read_from_the_scan_alone(thin):
    bone, volume, levels, fit, _ = case(thin=thin)
    error, sd, outer, _ = errors(bone, volume, levels, fit)
    assert np.isfinite(error).all()
    assert np.abs(error).mean() < (0.12 if thin < 0.5 else 0.06)
    assert np.abs(error).max() < 0.15
    assert np.abs(outer).mean() < 0.05
    assert (np.abs(error) < 3.0 * sd).all()


def dimmed(voxel=0.3, thin=0.5):
    """A scan whose contrast fades by 15 % from the middle of its height to both ends."""
    bone = Bone(shape="cylinder", thin=thin)
    volume = paint(bone, voxel=voxel)
    z = volume.mm(np.stack([0 * np.arange(volume.shape[0])] * 2 + [np.arange(volume.shape[0])], 1))
    share = 1.0 - 0.15 * (z[:, 2] / 9.0) ** 2
    grey = SOFT + (volume.voxels.astype(float) - SOFT) * share[:, None, None]
    return bone, replace(volume, voxels=np.rint(grey).astype(np.int16))


def test_a_level_that_fades_along_the_axis_is_carried_to_the_thin_plate_between():
    bone, volume = dimmed()
    levels, fit, _ = learnt(volume)
    p, n, true = bone.places(turns=8, heights=(0.0,))
    thin = (true == bone.thin) & (np.abs(n[:, 1]) > 0.5)
    level, _, borrowed = fit.plates.near(p[thin], n[thin])
    assert not borrowed.any()
    assert level == pytest.approx(np.full(thin.sum(), 2400.0), rel=0.03)
    shown = np.median(fit.plates.level)
    assert shown < 0.97 * 2400.0
    error, *_ = errors(bone, volume, levels, fit)
    assert np.abs(error).mean() < 0.06


@pytest.mark.parametrize(("shape", "thin"), [("cylinder", 0.4), ("box", 0.9)])
def test_a_place_beside_a_thinner_one_or_at_a_corner_teaches_nothing(shape, thin):
    """Blur mixes two thicknesses, and two faces at a corner: both look darker than cortex is."""
    _, _, levels, fit, _ = case(shape=shape, thin=thin, fwhm=0.7, noise=20.0)
    low = fit.plates.level < 2400.0 - 0.08 * (levels.cortical - levels.soft)
    assert len(fit.plates.level) > 15
    assert low.mean() < 0.02


def test_half_maximum_misses_the_same_plate_and_says_nothing():
    bone, volume, levels, _, half = case(thin=0.5)
    p, n, _ = bone.places(turns=8, heights=(0.0,))
    raw = half.plate(volume, p[:8] + 2.0 * n[:8], -n[:8], 6.0)
    # More than what the program allows itself for plates of 0.5 mm and more.
    assert np.nanmean(np.abs(raw.thickness_mm - 0.5)) > 0.06
    assert np.isnan(errors(bone, volume, levels, half)[0]).all()


@pytest.mark.parametrize(
    "scan",
    [
        {"outside": AIR},
        {"sharpen": 0.6},
        {"noise": 120.0},
        {"voxel": 0.4},
        {"lingual": 1.07},
    ],
)
def test_outside_sharpening_noise_voxels_and_two_levels_do_not_move_a_plate_far(scan):
    bone, volume, levels, fit, _ = case(shape="box", thin=0.7, **scan)
    error, _, outer, _ = errors(bone, volume, levels, fit)
    assert np.isfinite(error).mean() > 0.9
    assert np.nanmean(np.abs(error)) < 0.08
    assert np.nanmean(np.abs(outer)) < 0.05


def test_the_blur_is_that_of_the_scan():
    *_, fit, _ = case(shape="box", thin=2.4)
    assert np.sqrt(fit.plates.blur_variance_mm2) == pytest.approx(0.5 / 2.3548, abs=0.03)
    assert 0.01 <= fit.plates.blur_sd_mm < 0.05


@pytest.mark.parametrize("shape", ["cylinder", "box"])
def test_noise_is_not_counted_again_as_what_the_model_leaves_unexplained(shape):
    """A plate that the model describes exactly leaves next to nothing, however noisy the scan."""
    quiet, noisy = (
        case(shape=shape, thin=2.2, noise=noise)[3].plates.misfit for noise in (20.0, 120.0)
    )
    assert noisy == pytest.approx(quiet, abs=0.004)


def test_what_the_plates_leave_unexplained_widens_an_edge_once_and_a_thickness_by_3_2():
    """By the study of edges in noisy scans: so many mm for each share of the contrast."""
    bone, volume, _, fit, _ = case(thin=1.0)
    p, n, _ = bone.places(turns=8, heights=(0.0,))
    exact, rough = (
        replace(fit, plates=replace(fit.plates, misfit=misfit)).plate(volume, p + 2.0 * n, -n, 4.0)
        for misfit in (0.0, 0.05)
    )
    found = exact.inner.found & (exact.outer.sd_mm < 0.05)
    assert found.sum() > 3
    for was, now, factor in (
        (exact.outer.sd_mm, rough.outer.sd_mm, 1.0), (exact.sd_mm, rough.sd_mm, 3.2),
        (exact.inner.sd_mm, rough.inner.sd_mm, 3.2),
    ):  # fmt: skip
        added = np.sqrt(now[found] ** 2 - was[found] ** 2)
        assert added == pytest.approx(np.full(found.sum(), factor * 0.05), rel=1e-6)


def test_a_level_is_taken_from_the_same_plate_and_borrowed_where_there_is_none():
    *_, fit, _ = case(thin=0.5, lingual=1.07)
    plates = fit.plates
    at, out = np.array([[0.0, 5.0, 0.0], [0.0, -5.0, 0.0]]), np.array([[0, 1.0, 0], [0, -1.0, 0]])
    (lingual, buccal), (spread, _), borrowed = plates.near(at, out)
    assert not borrowed.any()
    assert lingual / buccal == pytest.approx(1.07, abs=0.02)
    far = plates.near(at[:1] + 100.0, out[:1])
    assert far[2].all()
    assert far[1][0] > spread


def test_a_thin_reading_carries_both_notes_where_its_level_is_borrowed():
    from core.bone.edges import ScanEdges
    from core.bone.plate_fit import PlateFit
    from core.bone.plates import thickness_at

    _, volume, levels, fit, _ = case(thin=0.5)
    known = fit.plates
    bare = replace(known, points_mm=np.empty((0, 3)), outward=np.empty((0, 3)), level=np.empty(0))
    readings = []
    for plates in (known, bare):
        scan = ScanEdges(
            volume=volume, levels=levels, finder=PlateFit(levels=levels, plates=plates)
        )
        readings.append(
            thickness_at(
                scan, np.array([0.0, -5.0, 0.0]), np.array([0, 1.0, 0]), np.array([0, 0, 1.0])
            )
        )
    own, lent = readings
    assert [n.code for n in own.notes] == ["plate_thin"]
    assert [n.code for n in lent.notes] == ["plate_thin", "level_borrowed"]
    assert lent.edge_sd_mm[0] > own.edge_sd_mm[0]
    assert "may be absent" in own.notes[0].message


def test_metal_a_second_plate_and_the_end_of_the_field_are_not_found():
    _, volume, _, fit, _ = case(thin=1.0)
    voxels = volume.voxels.copy()
    k, j, i = np.indices(voxels.shape)
    p = np.stack([i, j, k], -1) @ volume.mm_from_ijk[:3, :3].T + volume.mm_from_ijk[:3, 3]
    voxels[np.linalg.norm(p - [0, -5.0, 0], axis=-1) < 1.6] = 8000
    # Another bright thing 0.3 mm behind the plate, as a root is.
    voxels[(np.hypot(p[..., 0], p[..., 1]) < 3.7) & (p[..., 1] > 1.0)] = 2400
    changed = type(volume)(voxels=voxels, mm_from_ijk=volume.mm_from_ijk, made_up=volume.made_up)
    start, way = np.array([[0, -8.0, 0], [0, 8.0, 0]]), np.array([[0, 1.0, 0], [0, -1.0, 0]])
    found = fit.plate(changed, start, way, 8.0)
    assert not found.outer.found[0]
    assert found.outer.reason[0] in ("not cortex", "not described")
    assert not found.inner.found[1]
    beyond = fit.outer(volume, np.array([[0, 9.0, 8.6]]), np.array([[0, 0, 1.0]]), 4.0)
    assert beyond.reason[0] in ("not scanned", "nothing")
