"""Blur of voxels along a way, bundles on a disc, and what is pointed at, by hand."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from core.bone.bone_levels import USUAL_BLUR, BoneLevels
from core.bone.cortex_level import CortexLevel
from core.bone.plate_profiles import LEAD_MM, Bundles, _disc, voxel_variance_mm2
from core.bone.pointed_levels import _against_the_scan, _air, _ball, _Patch
from core.bone.tissue_classes import TissueClasses
from core.image.volume import Volume


def block(grey, *, voxel=(0.3, 0.3, 0.3)):
    """12 mm of grey values by a function of patient (x, y, z)."""
    n = [round(12 / v) for v in voxel]
    i, j, k = np.meshgrid(*(np.arange(m) for m in n), indexing="ij")
    x, y, z = (a * v for a, v in zip((i, j, k), voxel, strict=True))
    voxels = grey(x, y, z).transpose(2, 1, 0).round().astype(np.int16)
    return Volume(
        voxels=voxels, mm_from_ijk=np.diag([*voxel, 1.0]), made_up=np.zeros(n[2], dtype=bool)
    )


class TestVoxel:
    @pytest.mark.parametrize(
        ("way", "expected"),
        [((1, 0, 0), 0.04 / 4), ((0, 0, 1), 0.16 / 4), ((0.6, 0, 0.8), (0.0144 + 0.1024) / 4)],
    )
    def test_a_box_and_the_linear_interpolation_add_up_to_a_quarter_of_its_square(
        self, way, expected
    ):
        volume = SimpleNamespace(
            mm_from_ijk=np.diag([0.2, 0.2, 0.4, 1.0]), voxel_mm=np.array([0.2, 0.2, 0.4])
        )
        assert voxel_variance_mm2(volume, np.array([way], float)) == pytest.approx([expected])

    def test_along_the_voxels_own_axes(self):
        turned = np.array([(0.0, -0.2, 0, 0), (0.4, 0, 0, 0), (0, 0, 0.2, 0), (0, 0, 0, 1)])
        volume = SimpleNamespace(mm_from_ijk=turned, voxel_mm=np.array([0.4, 0.2, 0.2]))
        found = voxel_variance_mm2(volume, np.eye(3))
        assert found == pytest.approx([0.01, 0.04, 0.01])


class TestBundles:
    def test_rays_start_on_a_disc_across_the_normal(self):
        normals = np.array([(0, 0, 1.0), (0.6, 0, -0.8)])
        found = _disc(normals, 0.35)
        assert found.shape == (2, 7, 3)
        for offsets, normal in zip(found, normals, strict=True):
            assert offsets @ normal == pytest.approx(np.zeros(7))
            assert np.linalg.norm(offsets, axis=1) == pytest.approx([0, *[0.35] * 6])
            assert offsets.sum(axis=0) == pytest.approx([0, 0, 0])

    def test_the_normal_follows_the_slope_and_the_mean_runs_from_before_the_place(self):
        """Grey rises by 100 a millimetre along (0.6, 0, 0.8)."""
        way = np.array([0.6, 0.0, 0.8])
        volume = block(lambda x, y, z: 100 * (0.6 * x + 0.8 * z))
        place, ray = np.array([(6.0, 6.0, 6.0)]), np.array([(1.0, 0, 0)])
        found = Bundles.at(volume, place, ray, depth_mm=2.0)
        assert found.outward == pytest.approx(-way[None], abs=0.02)
        assert found.cosine == pytest.approx([0.6], abs=0.02)
        t = -LEAD_MM + 0.1 * np.arange(51)
        assert found.mean[0] == pytest.approx(100 * (6 * 1.4 + 0.6 * t), abs=1.0)
        assert found.voxel_variance_mm2 == pytest.approx([0.0225])

    def test_without_a_slope_into_the_bone_the_ray_itself_tells(self):
        ray = np.array([(0, 0, 1.0)])
        for volume in (block(lambda x, y, z: 0 * x), block(lambda x, y, z: -100 * z)):
            found = Bundles.at(volume, np.array([(6.0, 6, 6)]), ray, depth_mm=2.0)
            assert found.outward == pytest.approx(-ray)
            assert found.cosine == pytest.approx([1.0])

    def test_a_ray_along_the_surface_is_held_at_a_fifth(self):
        volume = block(lambda x, y, z: 100 * (x + 0.05 * z))
        found = Bundles.at(volume, np.array([(6.0, 6, 6)]), np.array([(0, 0, 1.0)]), depth_mm=2.0)
        assert found.cosine == pytest.approx([0.2])

    def bundles(self, n=5):
        return Bundles(
            points_mm=np.arange(3.0 * n).reshape(n, 3), outward=np.tile([0, 0, 1.0], (n, 1)),
            cosine=np.linspace(0.5, 1.0, n), mean=np.arange(4.0 * n).reshape(n, 4),
            voxel_variance_mm2=np.full(n, 0.02),
        )  # fmt: skip

    def test_some_of_them(self):
        some = self.bundles().every(2)
        assert some.points_mm[:, 0].tolist() == [0, 6, 12]
        assert some.mean[:, 0].tolist() == [0, 8, 16]
        assert some.cosine == pytest.approx([0.5, 0.75, 1.0])
        other = self.bundles().with_profiles(np.array([4, 4, 0]), np.zeros((3, 4)))
        assert other.points_mm[:, 0].tolist() == [12, 12, 0]
        assert other.cosine == pytest.approx([1.0, 1.0, 0.5])
        assert not other.mean.any()

    @pytest.mark.parametrize(("variance", "sigma"), [(0.07, 0.3), (-0.5, 0.05)])
    def test_blur_and_voxel_along_the_ray(self, variance, sigma):
        known = SimpleNamespace(variance_mm2=lambda ways: np.full(len(ways), variance))
        assert self.bundles().sigma_mm(known) == pytest.approx(sigma / np.linspace(0.5, 1.0, 5))

    def test_levels_that_were_asked_before_are_not_asked_again(self):
        """A slab of 2 mm at 1600 on spongy bone of 400, at two places; then the second alone."""
        volume = block(lambda x, y, z: np.where(z < 6, 0, np.where(z < 8, 1600, 400)))
        levels = BoneLevels(
            soft=0.0, spongy=400.0, cortical=1600.0, cortical_sd=50.0, noise_sd=5.0, voxel_mm=0.3,
            blur=USUAL_BLUR,
        )  # fmt: skip
        asked = []

        def near(points, outward):
            asked.append(len(points))
            level = np.linspace(1500.0, 1600.0, len(points))
            return level, np.full(len(points), 40.0), np.zeros(len(points), dtype=bool)

        known = SimpleNamespace(
            near=near, blur_sd_mm=0.02, variance_mm2=lambda ways: np.full(len(ways), 0.01)
        )
        places = np.array([(5.0, 6, 6), (7.0, 6, 6)])
        found = Bundles.at(volume, places, np.tile((0, 0, 1.0), (2, 1)), depth_mm=4.0)
        both = found.fitted(levels, known)
        second = np.array([1, 1])
        again = found.with_profiles(second, found.mean[second])
        fits = again.fitted(levels, known, expected=both.expected(second))
        assert asked == [2]
        assert np.isfinite(fits.values).all()
        np.testing.assert_array_equal(fits.values, both.values[second])
        np.testing.assert_array_equal(fits.level, [1600.0, 1600.0])
        np.testing.assert_array_equal(fits.level_sd, [40.0, 40.0])


class TestPointing:
    SEEN = TissueClasses(air=None, soft=-1000.0, soft_sd=5.0, noise_sd=20.0, bright=1100.0)

    def test_air_is_the_darkest_class_well_below_soft_tissue(self):
        assert _air(self.SEEN, 100.0, 1000.0) == -1000.0
        with_air = TissueClasses(air=-900.0, soft=50.0, soft_sd=5.0, noise_sd=20.0, bright=1100.0)
        assert _air(with_air, 100.0, 1000.0) == -900.0
        assert _air(self.SEEN, -699.0, 1000.0) == -1000.0
        assert _air(self.SEEN, -701.0, 1000.0) is None

    @pytest.mark.parametrize(
        ("fitted", "sd", "against"),
        [
            (1299.0, 0.0, False),
            (1301.0, 0.0, True),
            (699.0, 0.0, True),
            (1399.0, 160.0, False),
            (1401.0, 160.0, True),
        ],
    )
    def test_plates_speak_against_it_from_three_tenths_or_two_and_a_half_errors(
        self, fitted, sd, against
    ):
        """Pointed at 1000, contrast 1000; errors of 160 and 0 together: 400."""
        level = CortexLevel(
            level=fitted, sd=sd, blur=USUAL_BLUR, apart=True, halves=(fitted, fitted)
        )
        places = SimpleNamespace(summit=np.full(9, 1000.0))
        note = _against_the_scan(level, places, _Patch(level=1000.0, sd=0.0), 1000.0, 20.0)
        assert (note is not None) is against

    @pytest.mark.parametrize(("summit", "against"), [(1169.0, False), (1171.0, True)])
    def test_usual_summits_are_no_brighter_by_0_15_and_the_noise(self, summit, against):
        level = CortexLevel(level=1000.0, sd=0.0, blur=USUAL_BLUR, apart=True, halves=(1e3, 1e3))
        places = SimpleNamespace(summit=np.full(9, summit))
        note = _against_the_scan(level, places, _Patch(level=1000.0, sd=0.0), 1000.0, 20.0)
        assert (note is not None) is against

    def test_a_ball_of_places_two_tenths_apart(self):
        found = _ball(0.4)
        assert len(found) == 33
        assert np.linalg.norm(found, axis=1).max() == pytest.approx(0.4)
        assert found.sum(axis=0) == pytest.approx([0, 0, 0])


class TestLevels:
    @pytest.mark.parametrize(
        ("spongy", "threshold"),
        [(200.0, 350.0), (450.0, 350.0), (500.0, 380.0), (520.0, 394.0), (900.0, 400.0)],
    )
    def test_bone_begins_at_0_7_of_spongy_bone_within_0_25_and_0_3_of_the_contrast(
        self, spongy, threshold
    ):
        levels = BoneLevels(
            soft=100.0, spongy=spongy, cortical=1100.0, cortical_sd=0.0, noise_sd=20.0, voxel_mm=0.3
        )
        assert levels.bone_threshold == pytest.approx(threshold)

    @pytest.mark.parametrize(
        ("doubt", "threshold"), [(150.0, 350.0), (250.0, 312.5), (400.0, 256.25)]
    )
    def test_a_cortex_in_doubt_lets_bone_begin_lower(self, doubt, threshold):
        """Thin plates taken for 2.1 times as bright leave a trace of a quarter of that at most."""
        levels = BoneLevels(
            soft=100.0, spongy=200.0, cortical=1100.0, cortical_sd=doubt, noise_sd=20.0,
            voxel_mm=0.3,
        )  # fmt: skip
        assert levels.bone_threshold == pytest.approx(threshold)

    @pytest.mark.parametrize(("voxel", "thin"), [(0.3, 0.8), (0.4, 0.8), (0.5, 1.0)])
    def test_thin_is_under_eight_tenths_or_two_voxels(self, voxel, thin):
        levels = BoneLevels(
            soft=0.0, spongy=0.0, cortical=1.0, cortical_sd=0.0, noise_sd=0.0, voxel_mm=voxel
        )
        assert levels.thin_mm == pytest.approx(thin)
        assert levels.evidence.levels_from == "scan"
