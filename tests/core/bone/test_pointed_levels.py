"""Levels that a person points at: taken only where the scan's own fail, and held to the same test.

Truth is what the phantom was painted with. The scan shows its own levels, so their proof is made
to fail here; pointing is judged by its own.
"""

from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest

from core.bone import level_learning
from core.bone.image_faults import ImageFaults
from core.bone.learnt_once import LearntOnce
from core.bone.level_learning import bone_levels
from core.measurement import Note
from core.plans.plan import TissuePoint
from tests.core.level_phantoms import Greys, Ridge, scan

GREYS = Greys()
THICK = Ridge(height=20.0, buccal=1.8, lingual=2.2, top=1.5, base=3.0)
HOW = {"voxel": 0.4, "reach": 14.0, "heights": (-26.0, 5.0)}
PLACES = {"soft tissue": (8.0, -15.0), "cortex": (0.0, -23.5), "marrow": (0.0, -14.0)}
"""Across and along up, mm: cheek, the middle of the base's 3 mm, the middle of the ridge."""


@lru_cache
def jaw(**changes):
    return scan(THICK, GREYS, **(HOW | changes))


def points(**changes):
    _, arch = jaw()
    frame = arch.frame(22.0)
    places = PLACES | {name.replace("_", " "): at for name, at in changes.items()}
    return tuple(
        TissuePoint(tissue=tissue, at=frame.origin + at[0] * frame.buccal + at[1] * frame.up)
        for tissue, at in places.items()
        if at is not None
    )


@pytest.fixture
def nothing_proven(monkeypatch):
    """The scan's own levels fail their test; what was learnt before that does not count."""
    monkeypatch.setattr(level_learning, "_KNOWN", LearntOnce())
    monkeypatch.setattr(level_learning, "unproven", lambda *_: Note("levels_soft_unclear"))


def test_levels_are_those_of_the_places_with_the_spread_around_them(nothing_proven):
    levels = bone_levels(*jaw(), points())
    contrast = GREYS.cortex - GREYS.soft
    assert levels.evidence.is_sound
    assert levels.evidence.levels_from == "person"
    assert levels.soft == pytest.approx(GREYS.soft, abs=0.05 * contrast)
    assert levels.cortical == pytest.approx(GREYS.cortex, abs=0.08 * contrast)
    assert levels.spongy == pytest.approx(GREYS.marrow, abs=0.08 * contrast)
    off = np.hypot(levels.cortical - GREYS.cortex, levels.soft - GREYS.soft)
    assert off < 2.0 * levels.pointed_sd
    assert levels.pointed_sd > 0.04 * contrast


def test_more_noise_around_the_places_is_more_doubt(nothing_proven):
    noisy = scan(THICK, Greys(noise=180.0), **HOW)
    assert bone_levels(*noisy, points()).pointed_sd > 1.2 * bone_levels(*jaw(), points()).pointed_sd


def test_every_edge_is_less_sure_by_what_the_levels_are(nothing_proven):
    volume, arch = jaw()
    levels = bone_levels(volume, arch, points())
    faults = {f.note.code: f for f in ImageFaults.of(volume, arch, levels).everywhere}
    fault = faults["levels_pointed"]
    assert not fault.stops
    share = levels.pointed_sd / (levels.cortical - levels.soft)
    assert fault.edge_sd_mm == pytest.approx(0.35 * share)


def test_what_the_scan_shows_itself_wins_and_the_pointing_is_told_as_not_used():
    own, pointed = bone_levels(*jaw()), bone_levels(*jaw(), points(cortex=(0.0, -14.0)))
    assert pointed.pointing.code == "tissue_points_not_needed"
    assert (pointed.soft, pointed.cortical) == (own.soft, own.cortical)
    assert pointed.evidence.levels_from == "scan"


@pytest.mark.parametrize(
    ("places", "why"),
    [
        ({"cortex": None}, "Not all three"),
        ({"cortex": (0.0, -14.0)}, "not as bright as most"),
        ({"marrow": (0.0, -23.5)}, "alike"),
        ({"soft_tissue": (0.0, -23.5), "cortex": (8.0, -15.0)}, "alike"),
        ({"soft_tissue": (4.575, -15.0)}, "border"),
        ({"soft_tissue": (8.0, 30.0)}, "edge of the scan"),
    ],
)  # fmt: skip
def test_wrong_places_leave_the_levels_unproven_with_the_reason(nothing_proven, places, why):
    levels = bone_levels(*jaw(), points(**places))
    assert levels.unproven.code == "levels_soft_unclear"
    assert not levels.evidence.is_sound
    assert why in levels.pointing.message


@pytest.mark.parametrize("enamel", [2600.0, 700.0])
def test_a_tooth_or_a_faint_plate_taken_for_cortex_is_not_believed(nothing_proven, enamel):
    """Painted where the person points: far too bright, or much darker than most plates."""
    volume, arch = jaw()
    frame = arch.frame(22.0)
    at = frame.origin - 23.5 * frame.up
    k, j, i = np.meshgrid(*(np.arange(n) for n in volume.shape), indexing="ij")
    ijk = volume.ijk(at[None, :])[0]
    near = np.hypot.reduce([i - ijk[0], j - ijk[1], k - ijk[2]]) * volume.voxel_mm[0] < 2.2
    grey = np.where(near, np.int16(enamel), volume.voxels)
    levels = bone_levels(replace(volume, voxels=grey), arch, points())
    assert not levels.evidence.is_sound
    assert "not as bright as most" in levels.pointing.message
