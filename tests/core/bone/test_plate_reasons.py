"""When a fitted plate is an edge, a thickness or neither: each bound from both of its sides."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from core.bone.bone_levels import Blur, BoneLevels
from core.bone.edges import EdgeSet
from core.bone.plate_fit import PlateFit
from core.bone.plate_kernels import (
    COLUMNS,
    EDGE,
    INSIDE,
    LEVEL,
    MISFIT,
    OK,
    OUTSIDE,
    SD_EDGE,
    SD_INNER,
    SD_WIDTH,
    SIGMA,
    SINGLE,
    WIDTH,
)
from core.bone.plate_learning import (
    _apart,
    _as_blurred,
    _darker_than_beside,
    _good,
    _without_noise,
)
from core.bone.plate_profiles import BUNDLE_VARIANCE_MM2, LEAD_MM, Fits
from core.bone.thin_gum import ThroughGum

LEVELS = BoneLevels(
    soft=100.0, spongy=400.0, cortical=1100.0, cortical_sd=40.0, noise_sd=20.0, voxel_mm=0.3
)
"""A contrast of 1000."""


def finder(*, level_all=1100.0, misfit=0.01, spongy=400.0, apart=1.2):
    plates = SimpleNamespace(level_all=level_all, misfit=misfit, apart_mm=apart)
    return PlateFit(levels=replace(LEVELS, spongy=spongy), plates=plates)


def fits(*, cosine=0.95, level=1100.0, borrowed=False, **columns):
    """One profile, a plate of 1.5 mm as it should be, with some columns otherwise."""
    usual = {
        "EDGE": LEAD_MM, "WIDTH": 1.5, "OUTSIDE": 100.0, "LEVEL": 1100.0, "INSIDE": 400.0,
        "SIGMA": 0.3, "MISFIT": 10.0, "SINGLE": 0.0, "OK": 1.0, "SD_EDGE": 0.05, "SD_WIDTH": 0.06,
        "SD_INNER": 0.07,
    }  # fmt: skip
    at = {
        "EDGE": EDGE, "WIDTH": WIDTH, "OUTSIDE": OUTSIDE, "LEVEL": LEVEL, "INSIDE": INSIDE,
        "SIGMA": SIGMA, "MISFIT": MISFIT, "SINGLE": SINGLE, "OK": OK, "SD_EDGE": SD_EDGE,
        "SD_WIDTH": SD_WIDTH, "SD_INNER": SD_INNER,
    }  # fmt: skip
    values = np.zeros((1, COLUMNS))
    for name, value in (usual | columns).items():
        values[0, at[name]] = value
    return Fits(
        values=values, cosine=np.array([cosine]), outward=np.array([[0.0, 0, 1.0]]),
        level=np.array([level]), level_sd=np.array([50.0]), borrowed=np.array([borrowed]),
    )  # fmt: skip


class TestReasons:
    @pytest.mark.parametrize(
        ("otherwise", "reason"),
        [
            ({}, ""),
            # Misfit up to a tenth of the contrast and the noise: 120.
            ({"MISFIT": 119.0}, ""),
            ({"MISFIT": 121.0}, "not described"),
            ({"SD_EDGE": 0.39}, ""),
            ({"SD_EDGE": 0.41}, "not described"),
            # Half the contrast above what was expected is no cortex.
            ({"LEVEL": 1599.0}, ""),
            ({"LEVEL": 1601.0}, "not cortex"),
            # A rise of 0.35 of the contrast at least.
            ({"OUTSIDE": 749.0}, ""),
            ({"OUTSIDE": 751.0}, "weak"),
            ({"WIDTH": 0.13}, ""),
            ({"WIDTH": 0.11}, "weak"),
            ({"INSIDE": 1101.0}, "weak"),
            ({"INSIDE": 1099.0}, ""),
            # A single step: any width, but 0.4 of the contrast below cortex at most.
            ({"SINGLE": 1.0, "WIDTH": 0.0, "LEVEL": 701.0}, ""),
            ({"SINGLE": 1.0, "WIDTH": 0.0, "LEVEL": 699.0}, "weak"),
            # Within 1.3 mm of where bone begins.
            ({"EDGE": LEAD_MM + 1.29}, ""),
            ({"EDGE": LEAD_MM + 1.31}, "weak"),
            ({"EDGE": LEAD_MM - 1.31}, "weak"),
            ({"cosine": 0.26}, ""),
            ({"cosine": 0.24}, "graze"),
            ({"OK": 0.0}, "not described"),
            ({"cosine": 0.24, "OK": 0.0}, "not described"),
        ],
    )
    def test_each(self, otherwise, reason):
        assert finder()._reasons(fits(**otherwise)).tolist() == [reason]

    def test_the_contrast_is_that_of_the_brighter_cortex(self):
        assert finder(level_all=1300.0)._contrast == 1200.0
        assert finder(level_all=900.0)._contrast == 1000.0


class TestTwoEdges:
    @pytest.mark.parametrize(
        ("otherwise", "two"),
        [
            ({}, True),
            ({"SINGLE": 1.0}, False),
            # Misfit below 0.04 of the contrast and the noise together: 44.7.
            ({"MISFIT": 44.0}, True),
            ({"MISFIT": 45.0}, False),
            # A fall of 0.35 of the contrast at least.
            ({"INSIDE": 749.0}, True),
            ({"INSIDE": 751.0}, False),
        ],
    )
    def test_each(self, otherwise, two):
        assert finder()._two_edges(fits(**otherwise)).tolist() == [two]

    def test_where_spongy_bone_is_bright_six_tenths_of_its_usual_fall(self):
        bright = finder(spongy=800.0)
        assert bright._two_edges(fits(INSIDE=919.0)).tolist() == [True]
        assert bright._two_edges(fits(INSIDE=921.0)).tolist() == [False]
        assert finder(spongy=879.0)._two_edges(fits()).tolist() == [True]
        assert finder(spongy=881.0)._two_edges(fits()).tolist() == [False]
        assert finder(spongy=879.0, level_all=1000.0)._two_edges(fits()).tolist() == [False]


class TestEdges:
    """What is made of one fit, with the half-way edge at 5 mm."""

    def found(self, one, *, coarse=5.0, reason="", gum=0.0, closely=True, **how):
        found = reason == ""
        edges = EdgeSet(
            distance_mm=np.array([coarse if found or reason == "weak half" else np.nan]),
            sd_mm=np.array([0.11]), found=np.array([found or reason == "weak half"]),
            reason=np.array([reason.removesuffix(" half")], dtype="<U16"),
            hint_mm=np.array([4.8]),
        )  # fmt: skip
        begin = np.array([coarse if found or reason == "weak half" else 4.8])
        seen = ThroughGum(fits=one, sd_mm=np.array([gum]), closely=np.array([closely]))
        return finder(**how)._edges(edges, np.array([0]), begin, seen)

    def test_an_edge_lies_where_the_fit_says_from_where_bone_begins(self):
        plate = self.found(fits(EDGE=LEAD_MM + 0.05))
        assert plate.outer.distance_mm == pytest.approx([5.05])
        assert plate.outer.sd_mm == pytest.approx([np.hypot(0.05, 0.01)])
        assert plate.thickness_mm == pytest.approx([1.5])
        assert plate.sd_mm == pytest.approx([np.hypot(0.06, 0.032)])
        assert plate.inner.distance_mm == pytest.approx([6.55])
        assert plate.inner.sd_mm == pytest.approx([np.hypot(0.07, 0.032)])
        assert plate.reads_thin
        assert plate.inner.found.tolist() == [True]

    @pytest.mark.parametrize(("away", "more"), [(0.11, 0.0), (0.22, 0.07), (0.62, 0.35)])
    def test_what_both_ways_of_reading_differ_by_beyond_0_12_is_doubt(self, away, more):
        plate = self.found(fits(EDGE=LEAD_MM + away))
        assert plate.outer.sd_mm == pytest.approx([np.hypot.reduce([0.05, 0.01, more])])

    def test_through_gum_its_own_doubt_stands_instead(self):
        plate = self.found(fits(EDGE=LEAD_MM + 0.62), gum=0.2)
        assert plate.outer.sd_mm == pytest.approx([np.hypot.reduce([0.05, 0.01, 0.2])])
        assert plate.sd_mm == pytest.approx([np.hypot.reduce([0.06, 0.032, 0.2])])

    def test_where_no_plate_is_told_the_half_way_level_still_tells(self):
        plate = self.found(fits(WIDTH=0.1))
        assert plate.outer.distance_mm == pytest.approx([5.0])
        assert plate.outer.sd_mm == pytest.approx([np.hypot(0.11, 0.08)])
        assert plate.outer.reason.tolist() == [""]
        assert plate.inner.reason.tolist() == ["no inner edge"]
        assert np.isnan(plate.thickness_mm).all()

    @pytest.mark.parametrize(
        ("one", "reason"),
        [
            (fits(SINGLE=1.0), "no inner edge"),
            (fits(INSIDE=900.0), "not described"),
            (fits(OK=0.0), "not described"),
            (fits(cosine=0.2), "graze"),
        ],
    )
    def test_why_there_is_no_inner_edge(self, one, reason):
        plate = self.found(one)
        assert plate.inner.reason.tolist() == [reason]
        assert not plate.inner.found[0]
        assert np.isnan(plate.sd_mm[0])
        assert not plate.borrowed[0]

    def test_gum_that_does_not_explain_it_closely_leaves_no_thickness(self):
        plate = self.found(fits(), closely=False)
        assert plate.outer.found[0]
        assert not plate.inner.found[0]

    @pytest.mark.parametrize(("width", "borrowed"), [(1.19, True), (1.21, False)])
    def test_a_level_is_borrowed_only_by_plates_too_thin_to_show_theirs(self, width, borrowed):
        assert self.found(fits(WIDTH=width, borrowed=True)).borrowed.tolist() == [borrowed]
        assert self.found(fits(WIDTH=width)).borrowed.tolist() == [False]


class TestLearning:
    SEEN = replace(LEVELS, blur=Blur(variance_mm2=0.05, sd_mm=0.02, seen=True))

    @pytest.mark.parametrize(
        ("otherwise", "good"),
        [
            ({}, True),
            ({"OK": 0.0}, False),
            ({"SINGLE": 1.0}, False),
            # 0.06 of the contrast and half the noise: 70.
            ({"MISFIT": 69.0}, True),
            ({"MISFIT": 71.0}, False),
            ({"LEVEL": 1599.0}, True),
            ({"LEVEL": 1601.0}, False),
            ({"LEVEL": 599.0}, False),
            ({"cosine": 0.86}, True),
            ({"cosine": 0.84}, False),
        ],
    )
    def test_profiles_that_teach(self, otherwise, good):
        assert _good(fits(**otherwise), LEVELS).tolist() == [good]

    @pytest.mark.parametrize(
        ("inside", "misfit", "good"),
        [
            # Air lies a quarter of the contrast and more below soft tissue; 0.012 of the contrast
            # and a quarter of the noise: 17.
            (-149.0, 69.0, True),
            (-151.0, 16.9, True),
            (-151.0, 17.1, False),
        ],
    )
    def test_a_wall_before_air_teaches_only_if_it_is_described_closely(self, inside, misfit, good):
        one = fits(INSIDE=inside, MISFIT=misfit)
        assert _good(one, LEVELS).tolist() == [good]

    @pytest.mark.parametrize(("of_blur", "kept"), [(0.81, True), (0.79, False)])
    def test_none_that_is_sharper_than_eight_tenths_of_the_scans_blur(self, of_blur, kept):
        """Blur of 0.05 mm² and the voxel of 0.3 mm along an axis: 0.0225."""
        volume = SimpleNamespace(
            mm_from_ijk=np.diag([0.3, 0.3, 0.3, 1.0]), voxel_mm=np.full(3, 0.3)
        )
        known = SimpleNamespace(variance_mm2=lambda _: np.array([0.05]))
        one = fits(SIGMA=of_blur * np.sqrt(0.0725) / 0.95)
        assert _as_blurred(volume, one, self.SEEN, known).tolist() == [kept]
        assert _as_blurred(volume, one, LEVELS, known).tolist() == [True]

    def test_a_plate_shows_its_own_level_from_three_half_widths_of_the_whole_blur_on(self):
        volume = SimpleNamespace(voxel_mm=np.array([0.2, 0.2, 0.4]))
        assert _apart(volume, 0.05) == pytest.approx(1.5 * 2.3548 * np.sqrt(0.05 + 0.04))
        assert _apart(volume, -0.1) == 0.0

    def test_misfit_without_what_noise_leaves(self):
        assert _without_noise(np.array([13.0, 13.0, 99.0]), LEVELS) == pytest.approx(12.0)
        assert _without_noise(np.array([4.0]), LEVELS) == 0.0

    @pytest.mark.parametrize(("darker", "out"), [(49.0, False), (51.0, True), (-300.0, False)])
    def test_places_much_darker_than_their_plate_around_them(self, darker, out):
        """A twentieth of the contrast where the others are alike."""
        points = np.column_stack([np.arange(7.0), np.zeros(7), np.zeros(7)])
        outward = np.tile([0.0, 1.0, 0.0], (7, 1))
        level = np.full(7, 1000.0)
        level[3] -= darker
        found = _darker_than_beside(points, outward, level, 1000.0)
        assert found.tolist() == [k == 3 and out for k in range(7)]
        # Another plate, and places further than 6 mm, say nothing of it.
        other = outward.copy()
        other[[0, 1, 2, 4, 5, 6]] = [0.0, -1.0, 0.0]
        assert not _darker_than_beside(points, other, level, 1000.0)[3]
        assert not _darker_than_beside(6.1 * points, outward, level, 1000.0)[3]

    def test_among_places_that_differ_two_and_a_half_spreads(self):
        points = np.column_stack([0.1 * np.arange(21.0), np.zeros(21), np.zeros(21)])
        outward = np.tile([0.0, 1.0, 0.0], (21, 1))
        level = 1000.0 + 100.0 * np.linspace(-1, 1, 21)
        spread = 1.4826 * 50.0
        for darkest, out in ((1000 - 2.4 * spread, False), (1000 - 2.6 * spread, True)):
            level[0] = darkest
            assert bool(_darker_than_beside(points, outward, level, 1000.0)[0]) is out


def test_the_bundles_mean_square_across_is_that_of_seven_rays():
    rays = 0.35 * np.array([(np.cos(k * np.pi / 3), np.sin(k * np.pi / 3)) for k in range(6)])
    whole = np.vstack([np.zeros((1, 2)), rays])
    assert pytest.approx((whole[:, 0] ** 2).mean()) == BUNDLE_VARIANCE_MM2
