"""Where bone is seen along rays: means over neighbours, short dark stretches, what tells it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from core.bone.seen_bone import bone_along, first_long_run, seen_bone
from core.image.volume import Volume
from tests.core.bone_phantoms import true_levels

LEVELS = replace(true_levels(0.3), soft=0.0, spongy=400.0, cortical=1500.0)


def rays(*parts, level=0.0, count=80):
    """One ray, in a mean of one, from (first, after, grey) parts."""
    out = np.full((1, 1, count), level)
    for first, after, grey in parts:
        out[..., first:after] = grey
    return out


def seen(grey, share=0.25, levels=LEVELS, down=1, around=1):
    return bone_along(grey, levels, down=down, around=around, share=share)[0]


@pytest.mark.parametrize(
    ("share", "levels", "threshold"),
    [
        (0.25, LEVELS, 100.0),
        (0.5, LEVELS, 200.0),
        # Never above three tenths of the contrast; and spongy bone that is not told from soft
        # tissue stands back for cortex.
        (0.5, replace(LEVELS, spongy=1200.0), 450.0),
        (0.25, replace(LEVELS, spongy=226.0), 56.5),
        (0.25, replace(LEVELS, spongy=224.0), 375.0),
    ],
)
def test_from_a_share_of_spongy_bone_on(share, levels, threshold):
    assert seen(rays(level=threshold + 0.5), share, levels).all()
    assert not seen(rays(level=threshold - 0.5), share, levels).any()


@pytest.mark.parametrize(("gap", "closed"), [(10, True), (11, False)])
def test_a_dark_stretch_of_up_to_a_millimetre_is_marrow(gap, closed):
    """As dark as it is bright beside it: the mean of five leaves it as long as it is."""
    found = seen(rays((40, 40 + gap, -1e6), level=1e6, count=120))
    assert found.all() == closed


def test_the_mean_is_that_of_five_samples_of_rows_and_of_directions_all_round():
    grey = np.zeros((5, 8, 40))
    grey[2, 0] = 3 * 3 * 101.0
    found = bone_along(grey, LEVELS, down=3, around=3, share=0.25).reshape(5, 8, 40)
    there = np.zeros((5, 8), dtype=bool)
    there[1:4, [7, 0, 1]] = True
    assert (found.all(axis=2) == there).all()
    assert (found.any(axis=2) == there).all()
    single = rays((40, 41, 5 * 101.0))
    assert np.flatnonzero(seen(single)).tolist() == [38, 39, 40, 41, 42]


def test_what_was_not_scanned_counts_as_soft_tissue():
    grey = rays(level=1000.0)
    grey[..., 30:50] = np.nan
    assert not seen(grey)[34:46].any()


@pytest.mark.parametrize(
    ("flags", "length", "at"),
    [
        ("..###..####", 3, 2),
        ("..###..####", 4, 7),
        ("..###..####", 5, -1),
        ("###", 3, 0),
        ("##", 3, -1),
        (".....", 1, -1),
    ],
)
def test_the_first_long_run(flags, length, at):
    row = np.array([[c == "#" for c in flags]])
    assert first_long_run(row, length).tolist() == [at]


def test_no_rows_have_no_runs():
    assert first_long_run(np.zeros((0, 5), dtype=bool), 3).tolist() == []


class TestSeen:
    """A block of 12 mm, bone but for what is said; rays of 4 mm from its middle."""

    def block(self, grey=1000.0, hole=None):
        voxels = np.full((40, 40, 40), grey, dtype=np.int16)
        if hole is not None:
            voxels[:, :, 26:36] = hole
        affine = np.diag([0.3, 0.3, 0.3, 1.0])
        return Volume(voxels=voxels, mm_from_ijk=affine, made_up=np.zeros(40, dtype=bool))

    def found(self, volume, levels=LEVELS, reach=4.0):
        ways = np.broadcast_to(np.array([1.0, 0, 0]), (3, 3, 3))
        starts = np.broadcast_to(np.array([6.0, 6.0, 6.0]), (3, 3, 3))
        return seen_bone(volume, levels, starts, ways, reach)

    def test_bone_all_the_way(self):
        assert self.found(self.block()) is True
        assert self.found(self.block(hole=0)) is False
        assert self.found(self.block(grey=190.0)) is False, "half way to spongy bone at least"
        assert self.found(self.block(grey=210.0)) is True

    def test_beyond_the_scan_nobody_knows(self):
        assert self.found(self.block(), reach=8.0) is None

    def test_where_spongy_bone_is_not_told_from_soft_tissue_nothing_is_seen(self):
        assert self.found(self.block(), replace(LEVELS, spongy=100.0)) is False
