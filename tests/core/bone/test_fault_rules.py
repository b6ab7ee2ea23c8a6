"""When a fault of the image is told, what it adds to an edge and when it stops: by its figures."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from core.bone import image_faults
from core.bone.bone_levels import Blur, BoneLevels
from core.bone.image_faults import (
    ImageFaults,
    _few_levels,
    _moved,
    _pointed,
    _ringed,
    _shaded,
    _smoothed,
    _soft_at_the_floor,
)
from core.bone.rings import Rings
from core.bone.streaks import Streaks
from core.image.volume import Volume
from core.measurement import Note

LEVELS = BoneLevels(
    soft=100.0, spongy=400.0, cortical=1100.0, cortical_sd=40.0, noise_sd=20.0, voxel_mm=0.3
)
"""A contrast of 1000."""


def volume(values, *, slope=1.0, intercept=0.0, field=None):
    voxels = np.tile(np.array(values, dtype=np.int16), (2, 2, 1))
    if field is not None:
        field = np.tile(np.array(field, dtype=np.uint8), (2, 1))
    return Volume(
        voxels=voxels, mm_from_ijk=np.eye(4), slope=slope, intercept=intercept,
        made_up=np.zeros(2, dtype=bool), field=field,
    )  # fmt: skip


class TestFewLevels:
    @pytest.mark.parametrize(
        ("steps", "told", "stops"),
        [(151, False, False), (149, True, False), (13, True, False), (11, True, True)],
    )
    def test_steps_between_soft_tissue_and_cortex(self, steps, told, stops):
        grey = np.linspace(101, 1099, steps).round()
        fault = _few_levels(volume([0, 50, *grey, 2000]), LEVELS)
        assert (fault is not None) is told
        if told:
            assert fault.stops is stops
            assert fault.note.fields["steps"] == steps
            # The usual rise of an edge, 0.7 mm, by a step of 1 / steps: even within it.
            assert fault.edge_sd_mm == pytest.approx(0.7 / steps / np.sqrt(12))

    def test_in_grey_values_of_the_scan(self):
        fault = _few_levels(volume(np.arange(0, 100), slope=20.0, intercept=-500.0), LEVELS)
        assert fault.note.fields["steps"] == 51
        assert _few_levels(volume([0, 5000]), LEVELS) is None


class TestSoftTissueCut:
    @pytest.mark.parametrize(("lowest", "cut"), [(49, False), (51, True)])
    def test_two_noises_and_a_hundredth_of_the_contrast(self, lowest, cut):
        """100 - 2 x 20 - 10."""
        fault = _soft_at_the_floor(volume([lowest, 900]), LEVELS)
        assert (fault is not None) is cut
        if cut:
            assert (fault.stops, fault.edge_sd_mm) == (False, 0.05)

    def test_outside_of_the_field_does_not_count_and_a_falling_scale_turns_it(self):
        assert _soft_at_the_floor(volume([-1000, 90, 900], field=[0, 1, 1]), LEVELS) is not None
        assert _soft_at_the_floor(volume([-1000, 90, 900], field=[1, 1, 1]), LEVELS) is None
        turned = volume([0, 1110], slope=-1.0, intercept=1150.0)
        assert _soft_at_the_floor(turned, LEVELS) is None
        assert _soft_at_the_floor(volume([0, 1050], slope=-1.0, intercept=1150.0), LEVELS)


class TestBlur:
    @pytest.mark.parametrize(("fwhm", "told"), [(0.91, True), (0.89, False)])
    def test_a_filter_of_nine_tenths_of_a_millimetre(self, fwhm, told):
        blur = Blur(variance_mm2=(fwhm / 2.3548) ** 2, sd_mm=0.02, seen=True)
        fault = _smoothed(replace(LEVELS, blur=blur))
        assert (fault is not None) is told
        if told:
            assert f"{fault.note.fields['blur']}" == "0.9"
            assert (fault.stops, fault.edge_sd_mm) == (False, 0.0)
        assert _smoothed(replace(LEVELS, blur=replace(blur, seen=False))) is None


class TestPointed:
    def test_half_of_a_rise_by_the_doubt_of_the_levels(self):
        assert _pointed(LEVELS) is None
        fault = _pointed(replace(LEVELS, pointed_sd=80.0))
        assert fault.edge_sd_mm == pytest.approx(0.5 * 0.08 * 0.7)
        assert not fault.stops


class TestMoved:
    def fault(self, monkeypatch, size, chance):
        monkeypatch.setattr(image_faults, "doubled_mm", lambda *_: (size, chance))
        return _moved(None, None, LEVELS)

    @pytest.mark.parametrize(
        ("size", "chance", "told", "stops"),
        [
            (0.39, 0.1, False, False),
            (0.41, 0.1, True, False),
            (0.5, 0.29, False, False),
            (0.5, 0.27, True, False),
            (0.79, 0.1, True, False),
            (0.81, 0.1, True, True),
            (0.0, np.inf, False, False),
        ],
    )
    def test_four_tenths_of_a_millimetre_and_1_8_times_chance(
        self, monkeypatch, size, chance, told, stops
    ):
        fault = self.fault(monkeypatch, size, chance)
        assert (fault is not None) is told
        if told:
            assert fault.stops is stops
            assert fault.edge_sd_mm == pytest.approx(size / 4)


class TestShaded:
    @pytest.mark.parametrize(("share", "told"), [(0.34, False), (0.36, True)])
    def test_from_0_35_of_the_contrast_on_it_stops(self, monkeypatch, share, told):
        monkeypatch.setattr(image_faults, "shaded_share", lambda *_: share)
        monkeypatch.setattr(image_faults.Profiles, "across", lambda *_: None)
        monkeypatch.setattr(image_faults.Profiles, "upright", lambda *_: None)
        monkeypatch.setattr(image_faults, "tissue_classes", lambda *_: SimpleNamespace())
        fault = _shaded(None, None, LEVELS)
        assert (fault is not None) is told
        if told:
            assert fault.stops
            assert fault.edge_sd_mm == pytest.approx(0.3 * share)
            assert fault.note.fields["percent"] == "36"
        monkeypatch.setattr(image_faults, "tissue_classes", lambda *_: None)
        assert _shaded(None, None, LEVELS) is None


class TestRinged:
    @pytest.mark.parametrize(
        ("sd", "chance", "told", "stops"),
        [
            (19.0, 1.0, False, False),
            (21.0, 1.0, True, False),
            (30.0, 15.1, False, False),
            (30.0, 14.9, True, False),
            (119.0, 1.0, True, False),
            (121.0, 1.0, True, True),
        ],
    )
    def test_two_hundredths_of_the_contrast_and_twice_chance(
        self, monkeypatch, sd, chance, told, stops
    ):
        monkeypatch.setattr(image_faults, "rings_of", lambda *_: Rings(sd=sd, chance=chance))
        fault = _ringed(None, LEVELS)
        assert (fault is not None) is told
        if told:
            assert fault.stops is stops
            assert fault.edge_sd_mm == pytest.approx(0.7 * sd / 1000)


class TestStreaks:
    """Metal in slices 2 to 4, 10 mm to the left of the place; soft tissue uneven there."""

    VOLUME = Volume(
        voxels=np.zeros((10, 100, 100), dtype=np.int16), mm_from_ijk=np.diag([0.5, 0.5, 1.0, 1]),
        made_up=np.zeros(10, dtype=bool),
    )  # fmt: skip

    def streaks(self, spread=0.2, usual=0.06):
        uneven = np.full(10, usual)
        uneven[2:5] = spread
        metal = np.array([(20.0, 50.0, k) for k in (2.0, 3.0, 4.0)])
        return Streaks(slices=np.arange(10.0), spread=uneven, bright_ijk=metal, usual=usual)

    def away(self, *, x=20.0, z=(3.0, 3.0), **how):
        places = np.array([(x, 25.0, z[0]), (x, 25.0, z[1])])
        return self.streaks(**how).nearest_mm(self.VOLUME, places)

    def test_the_distance_in_its_slices(self):
        assert self.away() == pytest.approx(10.0)
        assert self.away(x=13.0) == pytest.approx(3.0)

    @pytest.mark.parametrize(
        ("z", "near"), [((5.0, 7.0), True), ((5.1, 7.0), False), ((0.0, 1.0), True)]
    )
    def test_in_the_slices_of_the_place_and_one_voxel_beside(self, z, near):
        assert bool(np.isfinite(self.away(z=z))) is near

    @pytest.mark.parametrize(("spread", "uneven"), [(0.091, True), (0.089, False)])
    def test_where_soft_tissue_is_half_as_much_again_less_even_than_usual(self, spread, uneven):
        assert bool(np.isfinite(self.away(spread=spread))) is uneven

    @pytest.mark.parametrize(
        ("x", "told", "stops"), [(25.1, False, False), (24.9, True, False), (15.9, True, True)]
    )
    def test_within_15_mm_it_is_told_and_within_6_it_stops(self, x, told, stops):
        faults = ImageFaults(streaks=self.streaks()).at(self.VOLUME, np.array([(x, 25.0, 3.0)]))
        assert bool(faults) is told
        if told:
            assert faults[0].stops is stops
            assert faults[0].edge_sd_mm == 0.15
        assert ImageFaults().at(self.VOLUME, np.zeros((1, 3))) == ()

    def test_levels_in_trouble_have_no_faults_to_look_for(self):
        trouble = replace(LEVELS, trouble=Note("levels_no_bone"))
        found = ImageFaults.of(self.VOLUME, None, trouble)
        assert (found.everywhere, found.streaks) == ((), None)
