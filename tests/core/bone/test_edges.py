"""Edges on exact profiles: two erf steps, in gum, in air, thin, noisy."""

import numpy as np
import pytest
from scipy.special import ndtr

from core.bone.edges import STEP_MM
from core.bone.half_maximum import HalfMaximum, _ahead, _bundle, _mean_before
from core.measurement import Note
from tests.core.bone_phantoms import AIR, CORTEX, SOFT, SPONGY, true_levels

SIGMA = 0.5 / 2.3548
T = np.arange(0, 12, STEP_MM)


def step(at):
    return ndtr((T - at) / SIGMA)


def profile(*steps, start=SOFT):
    """Levels joined by blurred steps: (place, level) from outside inwards."""
    out, level = np.full(T.shape, start), start
    for at, following in steps:
        out = out + (following - level) * step(at)
        level = following
    return out


def search(*rows, levels=None):
    return HalfMaximum(levels=levels or true_levels()).search(np.array(rows))[0]


@pytest.mark.parametrize("at", [2.0, 3.033, 5.071])
@pytest.mark.parametrize("start", [SOFT, AIR])
def test_an_edge_in_gum_or_air_is_found_at_its_place(at, start):
    edges = search(profile((at, CORTEX), (at + 2.0, SPONGY), start=start))
    assert edges.found[0]
    assert edges.distance_mm[0] == pytest.approx(at, abs=0.01)


@pytest.mark.parametrize("gum", [1.2, 2.0, 3.0])
def test_gum_in_front_of_bone_is_not_the_edge_and_does_not_move_it(gum):
    edges = search(profile((3.0, SOFT), (3.0 + gum, CORTEX), (7.5, SPONGY), start=AIR))
    assert edges.distance_mm[0] == pytest.approx(3.0 + gum, abs=0.05)


def test_gum_alone_is_no_bone_even_where_cortex_is_faint():
    faint = true_levels()
    faint = type(faint)(
        soft=SOFT, spongy=1100.0, cortical=1500.0, cortical_sd=30.0, noise_sd=30.0, voxel_mm=0.25
    )
    edges = search(profile((4.0, SOFT), start=AIR), levels=faint)
    assert edges.reason[0] == "nothing"


@pytest.mark.parametrize("thickness", [0.05, 0.2])
def test_a_plate_too_faint_is_not_skipped_for_what_lies_behind(thickness):
    row = profile((3.0, CORTEX), (3.0 + thickness, SPONGY), (8.0, CORTEX), (10.0, SOFT))
    edges = search(row)
    assert not edges.found[0]
    assert edges.reason[0] == "weak"
    assert edges.hint_mm[0] == pytest.approx(3.0, abs=0.3)


def test_a_faint_plate_over_dark_marrow_is_not_skipped_either():
    row = profile((3.0, CORTEX), (3.35, SOFT), (8.0, CORTEX), (10.0, SOFT))
    assert search(row).reason[0] == "weak"


def test_spongy_bone_without_cortex_has_no_edge():
    assert search(profile((3.0, SPONGY), (8.0, CORTEX), (10.0, SOFT))).reason[0] == "weak"


def test_nothing_inside_and_unscanned_say_so():
    inside = profile((-1.0, CORTEX))
    nothing = profile()
    cut = profile((6.0, CORTEX), (8.0, SPONGY))
    cut[40:] = np.nan
    late = profile((3.0, CORTEX), (5.0, SPONGY))
    late[:29] = np.nan
    unscanned = np.full(T.shape, np.nan)
    edges = search(inside, nothing, cut, late, unscanned)
    assert list(edges.reason) == [
        "starts inside",
        "nothing",
        "not scanned",
        "not scanned",
        "not scanned",
    ]
    assert np.isnan(edges.distance_mm).all()


def test_levels_in_trouble_give_no_edge():
    lost = true_levels()
    lost = type(lost)(
        soft=0,
        spongy=0,
        cortical=0,
        cortical_sd=0,
        noise_sd=0,
        voxel_mm=0.25,
        trouble=Note("levels_no_bone"),
    )
    assert search(profile((3.0, CORTEX)), levels=lost).reason[0] == "levels"


def test_noise_moves_edges_by_no_more_than_their_standard_error_says():
    rng = np.random.default_rng(7)
    rows = profile((4.0, CORTEX), (6.0, SPONGY)) + 90.0 * rng.standard_normal((400, len(T)))
    edges = search(*rows)
    assert edges.found.mean() > 0.99
    error = edges.distance_mm[edges.found] - 4.0
    assert abs(error.mean()) < 0.02
    z = error / edges.sd_mm[edges.found]
    assert 0.4 < z.std() < 1.3


@pytest.mark.parametrize("thickness", [1.0, 1.5, 2.2, 3.7])
def test_inner_edge_is_half_way_to_the_local_inside(thickness):
    finder = HalfMaximum(levels=true_levels())
    rows = np.array(
        [profile((3.0, CORTEX), (3.0 + thickness, inside)) for inside in (SPONGY, SOFT)]
    )
    outer, first = finder.search(rows)
    inner = finder._inner(rows, outer, first)
    assert inner.distance_mm - outer.distance_mm == pytest.approx(thickness, abs=0.06)


def test_cortex_without_an_inside_has_no_inner_edge():
    finder = HalfMaximum(levels=true_levels())
    rows = np.array([profile((3.0, CORTEX))])
    inner = finder._inner(rows, *finder.search(rows))
    assert inner.reason[0] == "no inner edge"


def test_a_thin_plate_is_never_given_the_thickness_of_what_lies_behind():
    finder = HalfMaximum(levels=true_levels())
    rows = np.array(
        [
            profile((3.0, CORTEX), (3.0 + t, SPONGY), (6.5, CORTEX), (8.5, SOFT))
            for t in (0.35, 0.5, 0.7)
        ]
    )
    outer, first = finder.search(rows)
    assert outer.found.all()
    inner = finder._inner(rows, outer, first)
    assert (inner.distance_mm - outer.distance_mm < 0.85).all()


class TestSamples:
    """Means before a sample, and extremes ahead of it."""

    def test_the_mean_of_the_samples_six_to_eleven_before(self):
        row = np.arange(30.0)[None] ** 2
        found = _mean_before(row)[0]
        assert found[20] == pytest.approx(row[0, 9:15].mean())
        assert found[11] == pytest.approx(row[0, 0:6].mean())
        assert found[8] == pytest.approx(row[0, 0:3].mean()), "what is there, near the start"
        assert found[6] == row[0, 0]
        assert np.isnan(found[:6]).all()

    def test_what_was_not_scanned_does_not_count(self):
        row = np.arange(30.0)[None].copy()
        row[0, [10, 11]] = np.nan
        found = _mean_before(row)[0]
        assert found[20] == pytest.approx(np.mean([9, 12, 13, 14]))
        row[0, :15] = np.nan
        assert np.isnan(_mean_before(row)[0, :21]).all()

    def test_lowest_and_highest_ahead(self):
        row = np.array([[3.0, 1.0, 4.0, 1.5, 5.0, 9.0, 2.0, 6.0]])
        assert _ahead(row, 4, lowest=True)[0, :5].tolist() == [1, 1, 1.5, 1.5, 2]
        assert _ahead(row, 4, lowest=False)[0, :5].tolist() == [4, 5, 9, 9, 9]
        assert _ahead(row, 8, lowest=False)[0, 0] == 9
        assert _ahead(row, 3, lowest=True)[0, :3].tolist() == [1, 1, 1.5]

    def test_a_bundle_is_the_ray_and_six_around_it(self):
        rays = np.array([(0, 0, 1.0), (0.6, 0.8, 0)])
        found = _bundle(rays, 0.3)
        assert np.einsum("nki,ni->nk", found, rays) == pytest.approx(np.zeros((2, 7)))
        assert np.linalg.norm(found, axis=2) == pytest.approx(np.tile([0, *[0.3] * 6], (2, 1)))
        assert found.sum(axis=1) == pytest.approx(np.zeros((2, 3)))
        assert _bundle(rays, 0.0).shape == (2, 1, 3)
