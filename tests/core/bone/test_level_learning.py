"""Which levels are taken, spongy bone between both edges, and what becomes of pointing."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from core.bone import level_learning
from core.bone.bone_levels import USUAL_BLUR, BoneLevels
from core.bone.cortex_level import CortexLevel, Places
from core.bone.level_learning import _learnt, _own_levels, _well_inside
from core.bone.tissue_classes import Profiles, TissueClasses
from core.measurement import Note

CLASSES = TissueClasses(air=-1000.0, soft=0.0, soft_sd=5.0, noise_sd=20.0, bright=1500.0)
N = 40


def lines(*, first=40, last=100, inside=400.0, hollow=None):
    grey = np.zeros((N, 141))
    grey[:, first : last + 1] = inside
    if hollow is not None:
        grey[:, 60:80] = hollow
    return Profiles(
        starts=np.zeros((N, 3)), ways=np.tile([1.0, 0, 0], (N, 1)), grey=grey, smooth=grey
    )


def places(*, first=40, last=100, buccal=True, lingual=True):
    rows = np.concatenate([np.arange(N) if buccal else [], np.arange(N) if lingual else []])
    samples = [*[first] * (N * buccal), *[last] * (N * lingual)]
    return Places(
        points_mm=np.zeros((len(rows), 3)), ways=np.zeros((len(rows), 3)),
        buccal=np.repeat([True, False], [N * buccal, N * lingual]),
        summit=np.full(len(rows), 1500.0), rows=rows.astype(np.intp),
        samples=np.array(samples, dtype=float),
    )  # fmt: skip


class TestWellInside:
    def test_between_both_edges_as_far_in_as_the_ridge_allows(self):
        """3 mm inside where that leaves thirty values, else 2, else 1.4."""
        grey = np.zeros((N, 141))
        for at, level in ((0, 100.0), (7, 200.0), (10, 300.0), (15, 400.0)):
            grey[:, 40 + at : 101 - at] = level
        stepped = replace(lines(), grey=grey, smooth=grey)
        assert _well_inside(stepped, places(), CLASSES, 9.0) == 400.0
        narrow = np.zeros((N, 141))
        narrow[:, 40:69] = 100.0
        narrow[:, 51:58] = 300.0
        less = replace(lines(), grey=narrow, smooth=narrow)
        assert _well_inside(less, places(last=68), CLASSES, 9.0) == 300.0
        thin = replace(lines(), smooth=np.full((N, 141), 77.0))
        assert _well_inside(thin, places(last=56), CLASSES, 9.0) == 77.0, "1.4 mm inside"
        assert _well_inside(thin, places(last=54), CLASSES, 9.0) == 9.0

    def test_air_between_the_plates_is_no_spongy_bone(self):
        hollow = lines(inside=400.0, hollow=-900.0)
        assert _well_inside(hollow, places(), CLASSES, 9.0) == 400.0
        assert _well_inside(hollow, places(), replace(CLASSES, air=None), 9.0) == -900.0
        all_air = lines(inside=-900.0)
        assert _well_inside(all_air, places(), CLASSES, 9.0) == 9.0
        assert _well_inside(all_air, places(), replace(CLASSES, air=None), 9.0) == -900.0

    def test_profiles_that_show_one_side_alone_tell_nothing(self):
        assert _well_inside(lines(), places(lingual=False), CLASSES, 9.0) == 9.0


VOLUME = SimpleNamespace(voxel_mm=np.array([0.2, 0.2, 0.4]))
CORTEX = CortexLevel(level=1500.0, sd=60.0, blur=USUAL_BLUR, apart=True, halves=(1500.0, 1500.0))


def with_cortex(monkeypatch, cortex, failed=None):
    monkeypatch.setattr(Profiles, "upright_closely", lambda *_: None)
    monkeypatch.setattr(level_learning, "first_places", lambda *_: places())
    monkeypatch.setattr(level_learning, "cortex_level", lambda *_: cortex)
    monkeypatch.setattr(level_learning, "unproven", lambda *_: failed)


class TestOwn:
    def test_what_the_scan_shows(self, monkeypatch):
        with_cortex(monkeypatch, CORTEX)
        found = _own_levels(VOLUME, None, lines(), CLASSES)
        assert (found.soft, found.spongy, found.cortical) == (0.0, 400.0, 1500.0)
        assert (found.cortical_sd, found.noise_sd, found.voxel_mm) == (60.0, 20.0, 0.4)
        assert found.evidence.is_sound
        assert found.blur is USUAL_BLUR

    @pytest.mark.parametrize("apart", [True, False])
    def test_whether_plates_show_it_one_by_one(self, monkeypatch, apart):
        with_cortex(monkeypatch, replace(CORTEX, apart=apart))
        assert _own_levels(VOLUME, None, lines(), CLASSES).together is not apart

    @pytest.mark.parametrize(("level", "trouble"), [(59.0, True), (61.0, False)])
    def test_a_contrast_of_three_noises_at_least(self, monkeypatch, level, trouble):
        with_cortex(monkeypatch, replace(CORTEX, level=level))
        found = _own_levels(VOLUME, None, lines(), CLASSES)
        assert (found.trouble is not None) is trouble
        if trouble:
            assert found.trouble.code == "levels_no_bone"

    def test_nothing_scanned_no_bone_and_not_proven(self, monkeypatch):
        assert _own_levels(VOLUME, None, lines(), None).trouble.code == "levels_not_scanned"
        with_cortex(monkeypatch, None)
        lost = _own_levels(VOLUME, None, lines(), CLASSES)
        assert lost.trouble.code == "levels_no_bone"
        assert lost.voxel_mm == 0.4
        with_cortex(monkeypatch, CORTEX, Note("levels_cut"))
        found = _own_levels(VOLUME, None, lines(), CLASSES)
        assert found.unproven.code == "levels_cut"
        assert not found.evidence.is_sound


class TestPointed:
    OWN = BoneLevels(
        soft=0.0, spongy=400.0, cortical=1500.0, cortical_sd=60.0, noise_sd=20.0, voxel_mm=0.4
    )
    UNPROVEN = replace(OWN, unproven=Note("levels_cut"))
    ALL = tuple(SimpleNamespace(tissue=t) for t in ("soft tissue", "cortex", "marrow"))

    def learnt(self, monkeypatch, own, points, *, pointed=None, profiles=None, classes=CLASSES):
        monkeypatch.setattr(
            level_learning.Profiles, "across", lambda *_: lines() if profiles is None else profiles
        )
        monkeypatch.setattr(level_learning.Profiles, "upright", lambda *_: None)
        monkeypatch.setattr(level_learning, "tissue_classes", lambda *_: classes)
        monkeypatch.setattr(level_learning, "_own_levels", lambda *a: own)
        monkeypatch.setattr(level_learning, "pointed_levels", lambda *_: pointed)
        return _learnt(VOLUME, None, points)

    def test_without_pointing_the_scans_own(self, monkeypatch):
        assert self.learnt(monkeypatch, self.UNPROVEN, ()) is self.UNPROVEN

    def test_where_the_scan_shows_them_pointing_does_not_count(self, monkeypatch):
        found = self.learnt(monkeypatch, self.OWN, self.ALL, pointed=self.UNPROVEN)
        assert found.pointing.code == "tissue_points_not_needed"
        assert found.cortical == 1500.0

    def test_every_tissue_is_needed(self, monkeypatch):
        found = self.learnt(monkeypatch, self.UNPROVEN, self.ALL[:2], pointed=self.OWN)
        assert found.pointing.code == "tissue_points_incomplete"
        assert found.unproven.code == "levels_cut"

    def test_what_was_pointed_at_is_taken_or_the_reason_told(self, monkeypatch):
        pointed = replace(self.OWN, cortical=1234.0, pointed_sd=50.0)
        found = self.learnt(monkeypatch, self.UNPROVEN, self.ALL, pointed=pointed)
        assert found is pointed
        assert found.evidence.levels_from == "person"
        why = Note("tissue_points_alike")
        found = self.learnt(monkeypatch, self.UNPROVEN, self.ALL, pointed=why)
        assert found.pointing.code == "tissue_points_refused"
        assert found.pointing.fields["why"] is why

    def test_fewer_than_thirty_profiles_show_no_classes(self, monkeypatch):
        few = replace(lines(), grey=np.zeros((29, 141)))
        found = self.learnt(monkeypatch, self.UNPROVEN, self.ALL, pointed=self.OWN, profiles=few)
        assert found.pointing.code == "tissue_points_refused"
        assert found.pointing.fields["why"].code == "levels_cut"
        enough = replace(lines(), grey=np.zeros((30, 141)))
        assert (
            self.learnt(monkeypatch, self.UNPROVEN, self.ALL, pointed=self.OWN, profiles=enough)
            is self.OWN
        )
