"""How strong rings are, on slices that are drawn with rings of a known strength."""

from __future__ import annotations

import numpy as np
import pytest

from core.bone.bone_levels import BoneLevels
from core.bone.rings import Rings, _around, _halves, _middles, rings_of
from core.image.volume import Volume

LEVELS = BoneLevels(
    soft=100.0, spongy=400.0, cortical=1100.0, cortical_sd=40.0, noise_sd=10.0, voxel_mm=0.5
)
SIZE = 121
MIDDLE = (60.0, 60.0)


def away(middle=MIDDLE):
    jj, ii = np.indices((SIZE, SIZE))
    return np.hypot(jj - middle[0], ii - middle[1])


def radii(strength, seed=4):
    """A level for each radius, white, of a given root mean square."""
    values = np.random.default_rng(seed).normal(size=200)
    return strength * (values - values.mean()) / values.std()


def scan(*, strength=0.0, middle=MIDDLE, noise=6.0, slices=12, add=None, field=None, seed=1):
    rng = np.random.default_rng(seed)
    rings = radii(strength)[np.rint(away(middle)).astype(int)]
    grey = 100.0 + rings + rng.normal(0.0, noise, (slices, SIZE, SIZE))
    if add is not None:
        grey = grey + add
    return Volume(
        voxels=np.rint(grey).astype(np.int16), mm_from_ijk=np.diag([0.5, 0.5, 0.5, 1.0]),
        made_up=np.zeros(slices, bool), field=field,
    )  # fmt: skip


@pytest.mark.parametrize("strength", [15.0, 30.0])
def test_rings_are_found_as_strong_as_they_are(strength):
    """Of white rings drawn a voxel broad 0.89 are left, and 0.75 is taken for usual."""
    rings = rings_of(scan(strength=strength), LEVELS)
    assert rings.sd == pytest.approx(strength * 0.89 / 0.75, rel=0.12)
    assert rings.sd > 3.0 * rings.chance


def test_noise_alone_looks_like_none():
    rings = rings_of(scan(noise=10.0), LEVELS)
    assert rings.sd < 4.0
    assert rings.sd < 2.0 * rings.chance


def test_grey_values_are_those_of_the_scan():
    plain = scan(strength=20.0)
    other = Volume(
        voxels=(plain.voxels - 50).astype(np.int16) * 2, mm_from_ijk=plain.mm_from_ijk,
        made_up=plain.made_up, slope=0.5, intercept=50.0,
    )  # fmt: skip
    one, two = rings_of(plain, LEVELS), rings_of(other, LEVELS)
    assert (two.sd, two.chance) == pytest.approx((one.sd, one.chance))


def test_a_slice_each_millimetre_is_looked_at():
    """Of slices of half a millimetre each second: rings in the others change nothing."""
    rings = radii(40.0)[np.rint(away()).astype(int)]
    others = np.zeros((12, SIZE, SIZE))
    others[1::2] = rings
    assert rings_of(scan(add=others), LEVELS).sd < 6.0
    assert rings_of(scan(add=others[::-1]), LEVELS).sd > 30.0


def test_rings_around_another_place_are_none_and_half_rings_are_not_either():
    aside = rings_of(scan(strength=30.0, middle=(48.0, 70.0)), LEVELS)
    assert aside.sd < 8.0
    # In three neighbouring twelfths of the directions only: two of one half against one.
    jj, ii = np.indices((SIZE, SIZE))
    turn = np.arctan2(jj - 60, ii - 60) + np.pi
    some = np.where((turn > 0.02) & (turn < np.pi / 6 - 0.02), 1.0, 0.0)
    part = some * radii(40.0)[np.rint(away()).astype(int)]
    assert rings_of(scan(add=part), LEVELS).sd < 8.0


def test_only_even_soft_tissue_counts():
    """Bone of 600, and what is uneven, is left out with all that is in it."""
    strong = radii(40.0)[np.rint(away()).astype(int)]
    bone = away() > 30
    left = rings_of(scan(add=np.where(bone, 500.0 + strong, 0.0)), LEVELS)
    assert left.sd < 6.0
    soft = rings_of(scan(add=np.where(bone, strong, 500.0)), LEVELS)
    assert soft.sd > 30.0
    uneven = np.random.default_rng(2).normal(0, 300.0, (12, SIZE, SIZE))
    all_of_it = rings_of(scan(add=uneven + strong), LEVELS)
    assert (all_of_it.sd, all_of_it.chance) == (0.0, np.inf)


@pytest.mark.parametrize(("slices", "told"), [(4, False), (6, True)])
def test_two_hundred_radii_at_least(slices, told):
    """A slice of 121 rows shows some 80; each second one is looked at."""
    found = rings_of(scan(strength=20.0, slices=slices), LEVELS)
    assert bool(np.isfinite(found.chance)) is told


class TestMiddle:
    def test_the_slices_and_that_of_a_round_field_elsewhere(self):
        assert _middles(scan()) == [(60.0, 60.0)]
        field = away((50.0, 66.0)) < 40.2
        assert _middles(scan(field=field.astype(np.uint8))) == [(60.0, 60.0), (50.0, 66.0)]
        same = away() < 40.2
        assert _middles(scan(field=same.astype(np.uint8))) == [(60.0, 60.0)]
        none = np.zeros((SIZE, SIZE), np.uint8)
        assert _middles(scan(field=none)) == [(60.0, 60.0)]

    def test_rings_around_the_fields_middle_are_found(self):
        field = away((50.0, 66.0)) < 40.2
        found = rings_of(
            scan(strength=30.0, middle=(50.0, 66.0), field=field.astype(np.uint8)), LEVELS
        )
        assert found.sd == pytest.approx(30.0 * 0.89 / 0.75, rel=0.15)


class TestHalves:
    def halves(self, grey):
        radius = np.rint(away()).astype(np.intp)
        count = int(radius.max()) + 1
        jj, ii = np.indices(grey.shape)
        turn = (np.arctan2(jj - 60, ii - 60) + np.pi) / (2 * np.pi) * 12
        cell = (turn.astype(np.intp) % 2 * count + radius).ravel()
        return (*_halves(grey, LEVELS, 1000.0, cell, count), count)

    def test_a_ring_stands_in_both_halves_alike(self):
        grey = np.full((SIZE, SIZE), 100.0) + 30.0 * (np.rint(away()) == 33)
        odd, even, there, count = self.halves(grey)
        assert odd.shape == even.shape == there.shape == (count,)
        for half in (odd, even):
            # Less the mean around it, of five by five pixels, of which it fills about a fifth.
            assert half[33] == pytest.approx(24.0, abs=5.0)
            assert np.abs(half[[20, 28, 40, 50]]).max() < 1.0

    def test_radii_from_four_on_with_six_pixels_in_both_halves(self):
        _, _, there, count = self.halves(np.full((SIZE, SIZE), 100.0))
        assert not there[:4].any()
        assert there[5:60].all()
        number = np.bincount(np.rint(away()).astype(int).ravel(), minlength=count)
        assert not there[number < 12].any()

    @pytest.mark.parametrize(
        ("odd", "even", "radius", "there"),
        [(6, 6, 5, True), (5, 6, 5, False), (6, 5, 5, False), (6, 6, 4, True), (6, 6, 3, False)],
    )
    def test_so_many_pixels_of_each_half_and_no_fewer(self, odd, even, radius, there):
        count = 12
        cell = np.zeros(400, dtype=np.intp)
        cell[:odd], cell[odd : odd + even] = radius, count + radius
        found = _halves(np.full((20, 20), 100.0), LEVELS, 1000.0, cell, count)[2]
        assert bool(found[radius]) is there

    def test_the_strongest_of_the_middles_over_what_is_chance(self):
        found = rings_of(scan(strength=25.0), LEVELS)
        again = _around(scan(strength=25.0), LEVELS, MIDDLE)
        assert (found.sd, found.chance) == (again.sd, again.chance)
        assert isinstance(found, Rings)
