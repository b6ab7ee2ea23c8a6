"""Double edges by the variance of their blur, drawn over all ways of the slices' plane."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from core.bone import movement
from core.bone.bone_levels import BoneLevels
from core.bone.movement import doubled_mm
from core.bone.plate_kernels import COLUMNS, MISFIT, OK, SIGMA
from core.image.volume import Volume
from core.measurement import Note

LEVELS = BoneLevels(
    soft=100.0, spongy=400.0, cortical=1100.0, cortical_sd=40.0, noise_sd=10.0, voxel_mm=0.3
)
VOXEL = 0.3
TURN = np.linalg.qr(np.random.default_rng(5).normal(size=(3, 3)))[0]
VOLUME = Volume(
    voxels=np.zeros((4, 4, 4), np.int16),
    mm_from_ijk=np.block([[TURN * VOXEL, np.zeros((3, 1))], [0, 0, 0, 1]]),
    made_up=np.zeros(4, bool),
)


def doubled(
    monkeypatch,
    moved=(0.0, 0.0),
    *,
    count=400,
    scatter=0.0,
    through=0.0,
    change=None,
    levels=LEVELS,
):
    """Edges that face all ways, each the scan's blur and a quarter of the square of what it moved.

    A normal leans out of the slices' plane by `through`.
    """
    rng = np.random.default_rng(1)
    turn = rng.uniform(0, 2 * np.pi, count)
    flat = np.sqrt(1 - through**2)
    inside = np.stack([flat * np.cos(turn), flat * np.sin(turn), np.full(count, through)], axis=1)
    variance = 0.06 + 0.25 * (inside[:, :2] @ np.array(moved)) ** 2
    variance = variance + rng.normal(0, scatter, count)
    cosine = rng.uniform(0.9, 1.0, count)
    values = np.zeros((count, COLUMNS))
    values[:, OK], values[:, MISFIT] = 1.0, 20.0
    values[:, SIGMA] = np.sqrt(variance + VOXEL**2 / 12) / cosine
    fits = SimpleNamespace(values=values, cosine=cosine, outward=inside @ TURN.T)
    if change is not None:
        change(fits)
    monkeypatch.setattr(movement.Profiles, "across", lambda *_: None)
    monkeypatch.setattr(movement.Profiles, "upright", lambda *_: None)
    monkeypatch.setattr(movement, "tissue_classes", lambda *_: SimpleNamespace())
    monkeypatch.setattr(
        movement, "first_places", lambda *_: SimpleNamespace(points_mm=None, ways=None)
    )
    monkeypatch.setattr(
        movement, "voxel_variance_mm2", lambda _, ways: np.full(len(ways), VOXEL**2 / 12)
    )
    monkeypatch.setattr(movement, "fit_at", lambda *_, **__: fits)
    return doubled_mm(VOLUME, None, levels)


@pytest.mark.parametrize("moved", [(0.6, 0.0), (0.0, 0.6), (0.5, 0.5), (-0.3, 0.7), (1.2, 0.1)])
def test_the_way_it_moved_whichever_that_is(monkeypatch, moved):
    size, chance = doubled(monkeypatch, moved)
    assert size == pytest.approx(np.hypot(*moved), rel=1e-3)
    assert chance < 0.3


def test_what_did_not_move_is_not_double(monkeypatch):
    size, _ = doubled(monkeypatch)
    assert size < 1e-3


def test_chance_is_what_scatter_shows(monkeypatch):
    """Of n variances of sd s a gain has sd s sqrt(2 / n), and of ten one counts; 8 times that."""
    _, chance = doubled(monkeypatch, (0.5, 0.0), scatter=0.02)
    sd = 0.02 * np.sqrt(10 * 2 / 400)
    assert chance == pytest.approx(2 * np.sqrt(2 * sd), rel=0.15)


def test_some_edges_far_off_do_not_count(monkeypatch):
    def spoilt(fits):
        fits.values[::9, SIGMA] *= 2.5

    size, _ = doubled(monkeypatch, (0.6, 0.2), scatter=0.004, change=spoilt)
    assert size == pytest.approx(np.hypot(0.6, 0.2), rel=0.1)


@pytest.mark.parametrize(("through", "counts"), [(0.29, True), (0.31, False), (-0.31, False)])
def test_edges_that_face_through_the_slices_do_not_tell_of_their_plane(
    monkeypatch, through, counts
):
    size, chance = doubled(monkeypatch, (0.6, 0.0), through=through)
    assert np.isfinite(chance) == counts
    if counts:
        assert size == pytest.approx(0.6, rel=1e-3)


@pytest.mark.parametrize(("count", "told"), [(59, False), (60, True)])
def test_sixty_edges_at_least(monkeypatch, count, told):
    size, chance = doubled(monkeypatch, (0.6, 0.0), count=count)
    assert bool(np.isfinite(chance)) is told
    assert (size > 0) is told


@pytest.mark.parametrize(
    ("column", "value", "counts"), [(OK, 0.0, False), (MISFIT, 66.0, False), (MISFIT, 64.0, True)]
)
def test_only_edges_that_are_described(monkeypatch, column, value, counts):
    """Within 0.06 of the contrast and half of the noise: 65."""

    def change(fits):
        fits.values[:, column] = value

    assert bool(np.isfinite(doubled(monkeypatch, (0.6, 0.0), change=change)[1])) is counts


def test_and_only_those_met_nearly_straight(monkeypatch):
    def slanting(fits):
        fits.values[:, SIGMA] *= fits.cosine / 0.84
        fits.cosine[:] = 0.84

    assert doubled(monkeypatch, (0.6, 0.0), change=slanting) == (0.0, np.inf)


def test_without_levels_or_tissues_nothing_is_told(monkeypatch):
    trouble = replace(LEVELS, trouble=Note("levels_no_bone"))
    assert doubled(monkeypatch, (0.6, 0.0), levels=trouble) == (0.0, np.inf)
    monkeypatch.setattr(movement, "tissue_classes", lambda *_: None)
    assert doubled_mm(VOLUME, None, LEVELS) == (0.0, np.inf)
