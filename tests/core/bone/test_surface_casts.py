"""Rays cast on to a surface: what is asked, and what is made of the answers."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from core.bone import surface
from core.bone.bone_in_plane import PIXEL_MM, Plane
from core.bone.bone_levels import BoneLevels
from core.bone.edges import EdgeSet, ScanEdges
from core.bone.surface import (
    _apical,
    _cast,
    _from_hollow,
    _left_bright,
    _with,
    surface_casts,
)
from core.fixture import Fixture, FixtureSize
from core.image.volume import Volume
from core.measurement import Note

LEVELS = BoneLevels(
    soft=100.0, spongy=400.0, cortical=1100.0, cortical_sd=40.0, noise_sd=5.0, voxel_mm=0.3
)
FRAME = SimpleNamespace(
    b=np.array([1.0, 0, 0]), m=np.array([0, 1.0, 0]), a=np.array([0, 0, 1.0]),
    station=SimpleNamespace(origin=np.array([0.0, 0.0, 2.0])),
)  # fmt: skip
FIXTURE = Fixture(
    id="f", platform=(0, 0, 0), towards_apex=(0, 0, -1),
    size=FixtureSize(diameter_mm=4.0, length_mm=8.0),
)  # fmt: skip
X = np.array([1.0, 0, 0])


def edges(distance, reason=None, sd=0.1):
    distance = np.array(distance, dtype=float)
    if reason is None:
        reason = np.where(np.isfinite(distance), "", "weak")
    return EdgeSet(
        distance_mm=distance, sd_mm=np.where(np.isfinite(distance), sd, np.nan),
        found=np.isfinite(distance), reason=np.array(reason, dtype="<U16"), hint_mm=distance,
    )  # fmt: skip


class Finder:
    """Answers from a function of the rays' starts, and keeps what was asked."""

    def __init__(self, answer, rounding=0.0):
        self.answer, self.rounding, self.asked = answer, rounding, []

    def outer(self, volume, starts, ways, max_mm):
        self.asked.append((starts, ways, max_mm))
        return self.answer(starts, ways)

    def rounding_mm2(self, volume, way):
        return self.rounding


def scan_of(answer, volume=None, rounding=0.0):
    return ScanEdges(volume=volume, levels=LEVELS, finder=Finder(answer, rounding))


class TestAgain:
    def test_edges_of_some_rays_are_taken_from_the_second_look(self):
        first = edges([1.0, np.nan, 3.0, np.nan])
        second = edges([0.5, np.nan], ["", "graze"], sd=0.3)
        found = _with(first, np.array([1, 3]), second, np.array([6.0, 7.0]))
        assert found.distance_mm[:3].tolist() == [1.0, 6.5, 3.0]
        assert np.isnan(found.distance_mm[3])
        assert found.found.tolist() == [True, True, True, False]
        assert found.reason.tolist() == ["", "", "", "graze"]
        assert found.sd_mm[:3].tolist() == [0.1, 0.3, 0.1]
        assert found.hint_mm[1] == 6.5
        assert np.isnan(first.distance_mm[1]), "the first stay as they were"

    @pytest.mark.parametrize(("dark", "left"), [(3.8, None), (4.4, 7.0)])
    def test_what_is_bright_was_left_where_four_millimetres_are_dark(self, dark, left):
        """Bright up to 5 mm: from half of these four on it is outside."""
        grey = np.full((4, 4, 200), 1100, np.int16)
        x = 0.1 * np.arange(200)
        grey[..., (x >= 5.0) & (x < 5.0 + dark)] = 100
        affine = np.diag([0.1, 1.0, 1.0, 1.0])
        affine[:2, 3] = (0.0, -1.0)
        volume = Volume(voxels=grey, mm_from_ijk=affine, made_up=np.zeros(4, bool))
        found = _left_bright(scan_of(None, volume), np.array([[0.0, 0, 1.0]]), X, 15.0)
        if left is None:
            assert np.isnan(found[0])
        else:
            assert found[0] == pytest.approx(left, abs=0.11)


class TestCast:
    STARTS = np.stack(
        np.meshgrid([0.0], 0.75 * np.arange(5), 0.75 * np.arange(5), indexing="ij"), axis=-1
    )[0]  # fmt: skip

    def test_points_lie_where_the_rays_end(self):
        scan = scan_of(lambda s, w: edges(np.full(25, 4.0)))
        found = _cast(scan, self.STARTS, X, 9.0)
        assert found.shape == (5, 5)
        assert found.points == pytest.approx(self.STARTS.reshape(-1, 3) + 4.0 * X)
        assert found.sd_mm == pytest.approx(np.full(25, 0.1))
        assert scan.finder.asked[0][2] == 9.0
        assert len(scan.finder.asked) == 1

    def test_a_bent_surface_is_set_out_with_doubt(self):
        """A cylinder of 6 mm around the third axis, met along the first: 0.03 / 6."""

        def bent(starts, ways):
            return edges(10.0 - np.sqrt(36.0 - (starts[:, 1] - 1.5) ** 2))

        found = _cast(scan_of(bent, rounding=0.03), self.STARTS, X, 9.0)
        plain = _cast(scan_of(bent), self.STARTS, X, 9.0)
        shift = (plain.points - found.points).reshape(5, 5, 3)[2, 2]
        assert shift == pytest.approx([0.005, 0, 0], abs=3e-4)
        assert found.sd_mm[12] == pytest.approx(np.hypot(0.1, 0.8 * 0.005), abs=1e-4)

    @pytest.mark.parametrize("from_far", [True, False])
    def test_from_far_a_ray_that_starts_in_something_bright_looks_again(
        self, monkeypatch, from_far
    ):
        left = np.array([2.0, np.nan])
        monkeypatch.setattr(surface, "_left_bright", lambda *_: left)

        def answer(starts, ways):
            if len(starts) == 25:
                inside = np.isin(np.arange(25), [3, 7])
                return edges(np.where(inside, np.nan, 4.0), np.where(inside, "starts inside", ""))
            return edges([1.5])

        scan = scan_of(answer)
        found = _cast(scan, self.STARTS, X, 9.0, from_far=from_far)
        flat = self.STARTS.reshape(-1, 3)
        assert np.isnan(found.points[7]).all()
        if from_far:
            assert found.points[3] == pytest.approx(flat[3] + 3.5 * X)
            starts, _, most = scan.finder.asked[1]
            assert starts[0] == pytest.approx(flat[3] + 2.0 * X)
            assert most == 9.0
        else:
            assert np.isnan(found.points[3]).all()
            assert len(scan.finder.asked) == 1


def section(bottom, *, wide=6.0):
    """A section of bone from a bottom by way out up to 2 mm above the platform."""
    w = np.arange(-15.0, 15.01, PIXEL_MM)
    h = np.arange(-40.0, 5.0, PIXEL_MM)
    mask = (h[:, None] >= bottom(w)[None]) & (h[:, None] <= 2.0) & (np.abs(w) <= wide)
    plane = Plane(origin=(0, 0, 0), across=FRAME.b, coronal=FRAME.a)
    return SimpleNamespace(plane=plane, w=w, h=h, mask=mask)


class TestApical:
    OFFSETS = 0.75 * np.arange(-14, 15)

    def cast(self, bottom, *, deepest=8.0, shallowest=8.0, wide=6.0):
        scan = scan_of(lambda s, w: edges(np.full(len(s), 2.5)))
        found = _apical(scan, FRAME, section(bottom, wide=wide), self.OFFSETS, deepest, shallowest)
        return found, scan.finder.asked

    def test_from_two_and_a_half_millimetres_below_the_bone_upwards(self):
        (found,), asked = self.cast(lambda w: -14.0 + 0 * w)
        starts, ways, most = asked[0]
        across = np.unique(starts[:, 0])
        assert np.abs(across).max() <= 6.0
        assert across == pytest.approx(self.OFFSETS[np.abs(self.OFFSETS) <= 6.1])
        assert np.unique(starts[:, 1]) == pytest.approx(self.OFFSETS)
        assert starts[:, 2] == pytest.approx(np.full(len(starts), -16.5), abs=0.01)
        assert ways[0].tolist() == [0, 0, 1.0]
        assert most == 5.0
        assert found.points[:, 2] == pytest.approx(np.full(len(starts), -14.0), abs=0.01)

    @pytest.mark.parametrize(
        ("bottom", "there"), [(-16.5, True), (-17.5, False), (-4.5, True), (-3.5, False)]
    )
    def test_only_columns_whose_bone_ends_within_reach_and_below_the_apex(self, bottom, there):
        """8 mm and one below the deepest; up to 4 mm above the shallowest apex."""
        found, _ = self.cast(lambda w: bottom + 0 * w)
        assert bool(found) is there

    def test_of_several_sizes_the_deepest_and_the_shallowest_count(self):
        assert self.cast(lambda w: -20.5 + 0 * w, deepest=12.0)[0]
        assert self.cast(lambda w: -3.0 + 0 * w, shallowest=6.5)[0]

    def test_columns_without_bone_are_left_out(self):
        _, asked = self.cast(lambda w: -14.0 + 0 * w, wide=2.0)
        assert np.abs(asked[0][0][:, 0]).max() <= 2.3


class TestHollow:
    OFFSETS = 0.75 * np.arange(-2, 3)

    def cast(self, hollow):
        outside = SimpleNamespace(at=lambda points: (None, hollow(points)))
        scan = scan_of(lambda s, w: edges(np.where(np.isfinite(s[:, 0]), 1.2, np.nan)))
        found = _from_hollow(scan, outside, np.zeros(3), FRAME, self.OFFSETS, 10.0)
        return found, scan.finder.asked

    def test_back_on_to_the_floor_from_within_it(self):
        (found,), asked = self.cast(lambda p: (p[:, 2] < -12.05) & (p[:, 0] > -0.1))
        starts, ways, most = asked[0]
        seen = np.isfinite(starts[:, 0])
        assert seen.sum() == 15
        assert starts[seen, 2] == pytest.approx(np.full(15, -13.3), abs=0.01)
        assert (starts[seen, 0] >= 0).all()
        assert ways[0].tolist() == [0, 0, 1.0]
        assert most == pytest.approx(3.7)
        points = found.points[np.isfinite(found.points[:, 0])]
        assert points[:, 2] == pytest.approx(np.full(15, -12.1), abs=0.01)

    @pytest.mark.parametrize(("thick", "there"), [(1.1, False), (1.25, True)])
    def test_less_than_one_and_a_fifth_of_it_is_only_grazed(self, thick, there):
        found, _ = self.cast(lambda p: (p[:, 2] < -8.0) & (p[:, 2] > -8.0 - thick))
        assert bool(found) is there

    @pytest.mark.parametrize(("deep", "there"), [(16.5, True), (17.5, False)])
    def test_within_eight_millimetres_below_the_deepest(self, deep, there):
        assert bool(self.cast(lambda p: p[:, 2] < -deep)[0]) is there


class TestCasts:
    @pytest.fixture
    def around(self, monkeypatch):
        asked = SimpleNamespace(casts=[], outside=None, apical=None, hollow=0)

        def cast(scan, starts, way, max_mm, outside, **how):
            asked.casts.append((starts, way, max_mm, how))
            return len(asked.casts)

        def block(*a, **how):
            asked.outside = (a, how)
            return "outside"

        def apical(scan, frame, bone, offsets, deepest, shallowest):
            asked.apical = (offsets, deepest, shallowest)
            return ["apical"]

        monkeypatch.setattr(surface, "_cast", cast)
        monkeypatch.setattr(surface.Outside, "around", block)
        monkeypatch.setattr(surface, "bone_in_plane", lambda *_, **how: how)
        monkeypatch.setattr(surface, "_apical", apical)
        monkeypatch.setattr(surface, "_from_hollow", lambda *_: ["hollow"])
        return asked

    def test_from_cheek_tongue_and_above_and_below(self, around):
        found = surface_casts(
            FIXTURE, FRAME, scan_of(None), deepest_mm=9.0, radius_mm=2.0, upper=False
        )
        assert found.casts == (1, 2, 3, "apical")
        assert found.outside == "outside"
        far = 3.0 + 8.0 + 5.0
        for (starts, way, most, how), sign in zip(around.casts[:2], (1.0, -1.0), strict=True):
            assert way == pytest.approx([-sign, 0, 0])
            assert starts[..., 0] == pytest.approx(np.full(starts.shape[:2], sign * far))
            assert np.unique(starts[..., 1]) == pytest.approx(0.75 * np.arange(-15, 16))
            assert np.unique(starts[..., 2]) == pytest.approx(-0.75 * np.arange(23, -1, -1))
            assert most == far + 3.0
            assert how == {}
        starts, way, most, how = around.casts[2]
        assert way == pytest.approx([0, 0, -1.0])
        assert starts[..., 2] == pytest.approx(np.full(starts.shape[:2], 3.0))
        assert np.unique(starts[..., 0]) == pytest.approx(0.75 * np.arange(-5, 6))
        assert np.unique(starts[..., 1]) == pytest.approx(0.75 * np.arange(-5, 6))
        assert most == 12.0
        assert how == {"from_far": False}
        assert around.outside[1] == {"reach_mm": far, "depth_mm": 17.0}
        assert around.apical[1:] == (9.0, 9.0)

    def test_wider_fixtures_and_shorter_ones_and_the_upper_jaw(self, around):
        found = surface_casts(
            FIXTURE, FRAME, scan_of(None), deepest_mm=9.0, radius_mm=4.0, upper=True,
            shallowest_mm=6.0,
        )  # fmt: skip
        assert found.casts == (1, 2, 3, "apical", "hollow")
        assert around.casts[0][0][0, 0, 0] == 17.0
        assert around.apical[1:] == (9.0, 6.0)
        assert np.abs(around.apical[0]).max() == pytest.approx(12.0)

    def test_with_levels_in_trouble_nothing_is_cast(self, around):
        scan = ScanEdges(
            volume=None, levels=replace(LEVELS, trouble=Note("levels_no_bone")), finder=None
        )
        found = surface_casts(FIXTURE, FRAME, scan, deepest_mm=9.0, radius_mm=2.0, upper=False)
        assert found.casts == ()
        assert around.casts == []
