"""What must hold for levels to be proven, each bound from both of its sides, on drawn profiles."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from core.bone.bone_levels import USUAL_BLUR
from core.bone.cortex_level import CortexLevel, Places
from core.bone.level_proof import unproven
from core.bone.tissue_classes import STEP_MM, Profiles, TissueClasses

AIR, SOFT, CORTEX, NOISE = -1000.0, 0.0, 1500.0, 20.0
CLASSES = TissueClasses(air=AIR, soft=SOFT, soft_sd=5.0, noise_sd=NOISE, bright=CORTEX)
LEVEL = CortexLevel(level=CORTEX, sd=50.0, blur=USUAL_BLUR, apart=True, halves=(CORTEX, CORTEX))
N, COUNT = 40, 141


def profiles(*, breadth=50, beside=SOFT, top=CORTEX, parts=()):
    """Bone from sample 45 on, `breadth` samples broad; (rows, samples, level) parts over it."""
    grey = np.full((N, COUNT), SOFT)
    grey[:, 30:45] = beside
    grey[:, 45 + breadth : 60 + breadth] = beside
    grey[:, 45 : 45 + breadth] = top
    for rows, samples, level in parts:
        grey[rows, samples] = level
    way = np.tile([1.0, 0.0, 0.0], (N, 1))
    return Profiles(starts=np.zeros((N, 3)), ways=way, grey=grey, smooth=grey)


def places(*, breadth=50, summit=CORTEX):
    way = np.tile([1.0, 0.0, 0.0], (N, 1))
    return Places(
        points_mm=np.zeros((2 * N, 3)),
        ways=np.vstack([way, -way]),
        buccal=np.repeat([True, False], N),
        summit=np.broadcast_to(np.asarray(summit, float), 2 * N),
        rows=np.tile(np.arange(N), 2),
        samples=np.repeat([45.0, 45.0 + breadth - 1], N),
    )


def code(lines=None, classes=CLASSES, at=None, level=LEVEL):
    # A tooth, so that the scale is not cut at the level of cortex.
    lines = profiles(parts=[(0, slice(60, 64), 2600.0)]) if lines is None else lines
    note = unproven(lines, classes, places() if at is None else at, level)
    return "" if note is None else note.code


def test_levels_that_agree_with_themselves_are_proven():
    assert code() == ""
    assert code(classes=replace(CLASSES, air=None)) == ""


def test_soft_tissue_stands_three_noises_apart_from_bone_and_from_air():
    loud = replace(CLASSES, noise_sd=CORTEX / 3.01)
    assert code(classes=replace(loud, air=None)) == ""
    assert code(classes=replace(CLASSES, air=None, noise_sd=CORTEX / 2.99)) == (
        "levels_soft_unclear"
    )
    assert code(classes=replace(CLASSES, noise_sd=-AIR / 2.99)) == "levels_soft_unclear"
    assert code(classes=replace(CLASSES, noise_sd=-AIR / 3.01)) == ""


@pytest.mark.parametrize(
    ("air", "expected"),
    [
        (-CORTEX / 0.61, ""),
        (-CORTEX / 0.59, "levels_soft_unclear"),
        (-CORTEX / 4.49, ""),
        (-CORTEX / 4.51, "levels_soft_unclear"),
    ],
)
def test_bone_rises_above_soft_tissue_by_six_tenths_to_four_and_a_half_of_what_air_lies_below(
    air, expected
):
    assert code(classes=replace(CLASSES, air=air)) == expected


@pytest.mark.parametrize(("sd", "expected"), [(0.49, ""), (0.51, "levels_cortex_unclear")])
def test_cortex_in_doubt_by_half_its_contrast_is_not_proven(sd, expected):
    assert code(level=replace(LEVEL, sd=sd * CORTEX)) == expected


@pytest.mark.parametrize(
    ("apart", "sd", "expected"),
    [
        (0.29, 0.0, ""),
        (0.31, 0.0, "levels_cortex_unclear"),
        (0.31, 0.13, ""),
        (0.49, 0.20, ""),
        (0.51, 0.20, "levels_cortex_unclear"),
    ],
)
def test_both_sides_agree_within_three_tenths_or_two_and_a_half_doubts(apart, sd, expected):
    for halves in ((CORTEX, CORTEX * (1 - apart)), (CORTEX * (1 - apart), CORTEX)):
        assert code(level=replace(LEVEL, sd=sd * CORTEX, halves=halves)) == expected


@pytest.mark.parametrize(
    ("breadth", "expected"),
    [(7, "levels_ridge_unlikely"), (10, ""), (110, ""), (112, "levels_ridge_unlikely")],
)
def test_a_ridge_is_one_and_a_half_to_twenty_two_millimetres_broad(breadth, expected):
    """In samples of 0.2 mm, from the first edge to the last."""
    count = 240
    grey = np.full((N, count), SOFT)
    grey[:, 45 : 45 + breadth] = CORTEX
    grey[0, 46:48] = 2600.0
    way = np.tile([1.0, 0.0, 0.0], (N, 1))
    lines = Profiles(starts=np.zeros((N, 3)), ways=way, grey=grey, smooth=grey)
    assert code(lines, at=places(breadth=breadth)) == expected
    assert STEP_MM == 0.2


def test_a_ridge_seen_from_one_side_alone_has_no_breadth_to_be_unlikely():
    one_side = places().some(np.arange(N))
    assert code(at=one_side) == ""


class TestCutAtTheTop:
    @pytest.mark.parametrize(("share", "cut"), [(0.08, False), (0.13, True)])
    def test_a_tenth_of_all_plates_at_the_brightest_value(self, share, cut):
        summit = np.full(2 * N, 1200.0)
        summit[: round(share * 2 * N)] = CORTEX
        found = code(profiles(), at=places(summit=summit))
        assert (found == "levels_cut") is cut

    @pytest.mark.parametrize(("top", "cut"), [(1.14, True), (1.16, False)])
    def test_what_is_clearly_brighter_than_cortex_shows_that_the_scale_goes_on(self, top, cut):
        lines = profiles(top=top * CORTEX)
        found = code(lines, at=places(summit=top * CORTEX))
        assert (found == "levels_cut") is cut

    @pytest.mark.parametrize(("below", "cut"), [(0.0015, True), (0.0025, False)])
    def test_a_plate_is_at_the_top_within_two_thousandths(self, below, cut):
        found = code(profiles(), at=places(summit=CORTEX * (1 - below)))
        assert (found == "levels_cut") is cut


class TestBesideTheBone:
    @pytest.mark.parametrize(
        ("off", "expected"),
        [(0.26, ""), (0.27, "levels_soft_unclear"), (-0.26, ""), (-0.27, "bad")],
    )
    def test_what_lies_beside_it_is_off_by_no_more_than_a_quarter_and_the_noise(
        self, off, expected
    ):
        """0.25 of 1500 and 20: 395."""
        lines = profiles(beside=off * CORTEX, parts=[(0, slice(60, 64), 2600.0)])
        assert (code(lines) == "") is (expected == "")

    def test_each_side_is_asked_by_itself(self):
        for where in (slice(30, 45), slice(95, 110)):
            lines = profiles(parts=[(slice(None), where, 500.0), (0, slice(60, 64), 2600.0)])
            assert code(lines) == "levels_soft_unclear"

    def test_air_beside_it_is_no_soft_tissue_and_does_not_count_as_off(self):
        parts = [(slice(0, 25), slice(30, 45), AIR), (slice(0, 25), slice(95, 110), AIR)]
        tooth = (0, slice(60, 64), 2600.0)
        assert code(profiles(parts=[*parts, tooth])) == ""
        more = [(slice(0, 30), where, AIR) for where in (slice(30, 45), slice(95, 110))]
        assert code(profiles(parts=[*more, tooth])) == "levels_soft_unclear"

    def test_only_from_one_to_one_point_eight_millimetres_off_it(self):
        """Samples 5 to 8 before the edge; what is nearer is blur, what is further is not asked."""
        tooth = (0, slice(60, 64), 2600.0)
        for where in (slice(41, 45), slice(30, 37)):
            assert code(profiles(parts=[(slice(None), where, 700.0), tooth])) == ""
        for where in (slice(37, 41),):
            assert code(profiles(parts=[(slice(None), where, 700.0), tooth])) != ""
