"""Flags grown, shrunk and followed, against SciPy's binary morphology."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import ndimage

from core.image.flags import bridged, narrowed, reached, widened

SHAPES = [(23, 17), (9, 14, 11), (1, 6, 5)]


def _draws(shape: tuple[int, ...]) -> list[np.ndarray]:
    rng = np.random.default_rng(len(shape))
    return [rng.random(shape) < share for share in (0.0, 0.03, 0.4, 0.6, 0.97, 1.0)]


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("steps", [1, 2, 4])
def test_widening_is_a_dilation_by_faces(shape, steps) -> None:
    for flags in _draws(shape):
        before = flags.copy()
        expected = ndimage.binary_dilation(flags, iterations=steps)
        np.testing.assert_array_equal(widened(flags, steps), expected)
        np.testing.assert_array_equal(flags, before)


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("steps", [1, 2])
def test_narrowing_is_an_erosion_from_within_alone(shape, steps) -> None:
    for flags in _draws(shape):
        expected = ndimage.binary_erosion(flags, iterations=steps, border_value=1)
        np.testing.assert_array_equal(narrowed(flags, steps), expected)


@pytest.mark.parametrize("shape", SHAPES)
def test_what_is_reached_is_what_spreads_within_a_mask(shape) -> None:
    for seeds in _draws(shape):
        for within in _draws(shape)[::-1]:
            expected = ndimage.binary_propagation(seeds & within, mask=within)
            np.testing.assert_array_equal(reached(seeds, within), expected)


def test_a_seed_outside_of_the_mask_reaches_nothing_and_is_not_reached() -> None:
    within = np.array([[False, True, True]])
    seeds = np.array([[True, False, False]])
    assert not reached(seeds, within).any()


@pytest.mark.parametrize("radius", [1, 2, 3])
def test_bridging_is_a_closing_by_a_disc(radius) -> None:
    disc = np.hypot(*np.mgrid[-radius : radius + 1, -radius : radius + 1]) <= radius
    inner = np.s_[radius:-radius, radius:-radius]
    for flags in _draws((31, 26)):
        expected = ndimage.binary_closing(flags, disc)
        np.testing.assert_array_equal(bridged(flags, radius)[inner], expected[inner])
