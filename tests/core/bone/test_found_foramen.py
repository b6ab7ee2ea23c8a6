"""A foramen found around one click, against the exact passage that was bored."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from core.bone.found_foramen import FoundForamen, find_foramen, foramen_around
from core.image.volume import Volume
from tests.studies.found_foramina import scene as scene_of

SEED = 303


@cache
def scene():
    return scene_of(SEED)


@cache
def found():
    jaw, volume, arch, levels = scene()
    # A hand's click: off by half a millimetre.
    return find_foramen(
        volume, levels, arch, jaw.foramen_mm.mean(axis=0) + np.array([0.5, -0.5, 0.5])
    )


def test_both_edges_lie_where_the_passage_leaves_the_bone():
    foramen = found()
    assert isinstance(foramen, FoundForamen)
    jaw, _, arch, _ = scene()
    true = sorted(jaw.foramen_mm, key=arch.station)
    for edge, wanted in zip(foramen.edges_mm, true, strict=True):
        assert np.linalg.norm(edge - wanted) < 0.6
    assert foramen.width_mm == pytest.approx(3.0, abs=0.3)
    middle = jaw.foramen_mm.mean(axis=0)
    assert foramen.station_mm == pytest.approx(arch.station(middle), abs=0.3)
    rise = float((foramen.upper_mm - foramen.middle_mm) @ arch.level.up)
    assert 1.0 < rise < 2.2
    assert np.array_equal(foramen.marks_mm, np.vstack([foramen.edges_mm, foramen.upper_mm]))


def test_its_rim_goes_round_it():
    foramen = found()
    away = np.linalg.norm(foramen.outline_mm - foramen.middle_mm, axis=1)
    assert away.min() > 0.8
    assert away.max() < 2.4
    assert np.array_equal(foramen.outline_mm[0], foramen.outline_mm[-1])


@pytest.mark.parametrize("off_mm", [-7.0, 7.0])
def test_none_is_found_where_the_plate_is_whole(off_mm):
    jaw, volume, arch, levels = scene()
    way = jaw.foramen_mm[1] - jaw.foramen_mm[0]
    at = jaw.foramen_mm.mean(axis=0) + off_mm * way / np.linalg.norm(way)
    assert find_foramen(volume, levels, arch, at).code == "foramen-not-found"


def test_none_is_found_inside_the_jaw_or_without_bone():
    jaw, volume, arch, levels = scene()
    middle = jaw.foramen_mm.mean(axis=0)
    frame = arch.frame(arch.station(middle))
    assert find_foramen(volume, levels, arch, middle - 9.0 * frame.buccal).code == (
        "foramen-not-found"
    )
    empty = Volume(
        voxels=np.zeros_like(volume.voxels), mm_from_ijk=volume.mm_from_ijk,
        made_up=volume.made_up,
    )  # fmt: skip
    assert find_foramen(empty, replace(levels), arch, middle).code == "foramen-not-found"


@pytest.mark.parametrize(("along", "up"), [(1.5, 0.0), (-1.5, 0.0), (0.0, 1.2), (1.0, -1.0)])
def test_wherever_on_the_opening_one_clicks_its_middle_is_the_same(along, up):
    jaw, volume, arch, levels = scene()
    middle = jaw.foramen_mm.mean(axis=0)
    frame = arch.frame(arch.station(middle))
    there = find_foramen(volume, levels, arch, middle + along * frame.travel + up * frame.up)
    assert isinstance(there, FoundForamen)
    assert np.linalg.norm(there.middle_mm - found().middle_mm) < 0.35
    assert there.station_mm == pytest.approx(found().station_mm, abs=0.35)


class TestOnTheScansOwnLevels:
    def test_it_is_the_foramen_of_a_jaw(self):
        jaw, volume, arch, _ = scene()
        click = jaw.foramen_mm.mean(axis=0) + np.array([0.5, -0.5, 0.5])
        foramen = foramen_around(volume, arch, click)
        assert foramen.marks_mm == pytest.approx(found().marks_mm, abs=1e-9)

    def test_without_levels_nothing_is_looked_for(self):
        jaw, volume, arch, _ = scene()
        even = Volume(
            voxels=np.full_like(volume.voxels, 700), mm_from_ijk=volume.mm_from_ijk,
            made_up=volume.made_up,
        )  # fmt: skip
        note = foramen_around(even, arch, jaw.foramen_mm.mean(axis=0))
        assert note.code not in ("foramen-not-found", "")

    def test_it_stops_when_asked(self):
        jaw, volume, arch, _ = scene()
        middle = jaw.foramen_mm.mean(axis=0)
        assert foramen_around(volume, arch, middle, cancelled=lambda: True).code == (
            "foramen-not-found"
        )
