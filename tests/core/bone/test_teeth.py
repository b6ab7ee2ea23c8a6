"""Teeth are not ridge: no crest where one stands, and the bone's crest where it is to go."""

from functools import lru_cache

import numpy as np
import pytest

from core.bone.edges import ScanEdges
from core.bone.plate_fit import PlateFit
from core.bone.plates import plate_thickness
from core.bone.ridge import ridge_at_fixture, ridge_at_site
from core.fixture import Fixture, FixtureSize
from core.structures import Course, Tapered
from tests.core.bone_phantoms import SOFT, Jaw, rounded, scan_of, true_levels, width_at

TOP, STATION = -4.0, 58.0
BODY = rounded(10.0, 26.0, TOP, radius=4.0)
DENTINE, ENAMEL = 2300.0, 3600.0


def pillar(radius, low, high):
    return lambda s, w, h: np.maximum(
        np.hypot(s - STATION, w) - radius, np.maximum(low - h, h - high)
    )


@lru_cache
def scene():
    """A molar's root with its ligament in the ridge, and its crown over it."""
    jaw = Jaw(outline=BODY)
    jaw.solids = [
        (pillar(2.5, TOP - 11.0, TOP + 1.0), SOFT),
        (pillar(2.2, TOP - 10.7, TOP + 3.0), DENTINE),
        (pillar(3.6, TOP + 1.5, TOP + 8.0), ENAMEL),
    ]
    volume, arch = scan_of(jaw, station=STATION, voxel=0.25)
    levels = true_levels()
    return volume, arch, levels, PlateFit.of(volume, arch, "lower", levels)


def root(*, gone):
    _, arch, *_ = scene()
    f = arch.frame(STATION)
    ends = [f.origin + h * f.up for h in (TOP + 1.0, TOP - 10.5)]
    return Tapered(
        id="root-36",
        kind="root",
        tooth="36",
        points=np.array(ends),
        diameters_mm=(4.4, 4.4),
        to_be_removed=gone,
    )


def canal():
    _, arch, *_ = scene()
    at = [arch.frame(STATION + s) for s in (-8, 0, 8)]
    points = [f.origin + (TOP - 18.0) * f.up for f in at]
    return Course(id="canal-left", kind="canal", points=points, diameter_mm=3.0)


def site(structures=(), beside=0.0):
    volume, arch, levels, finder = scene()
    return ridge_at_site(volume, arch, STATION + beside, levels, "lower", structures, finder)


def nothing_counts_from(result, code):
    assert result.crest_mm is None
    assert [n.code for n in result.crest.notes] == [code]
    readings = [w.reading for w in result.widths] + [h.reading for h in result.heights]
    volume, _, levels, finder = scene()
    scan = ScanEdges(volume=volume, levels=levels, finder=finder)
    readings += [p.reading for p in plate_thickness(scan, result.bone, result.widths)]
    assert len(readings) >= 16
    for reading in readings:
        assert reading.value is None
        assert reading.notes[0].code == code


def test_no_crest_is_taken_where_something_brighter_than_cortex_stands_on_the_bone():
    nothing_counts_from(site((canal(),)), "ridge_tooth_stands")


def test_no_crest_is_taken_where_a_marked_root_stands():
    nothing_counts_from(site((canal(), root(gone=False))), "height_root_at_crest")


def test_beside_the_tooth_the_crest_is_taken_again():
    result = site((canal(), root(gone=False)), beside=7.0)
    assert result.bone.plane.h(result.crest_mm) == pytest.approx(TOP, abs=0.12)


def test_a_tooth_to_be_removed_leaves_the_crest_of_the_bone_and_not_its_cusp():
    result = site((canal(), root(gone=True)))
    # The bone's top is flat over 2 mm and rounded from there on: beside the socket it is lower.
    beside = TOP - 4.0 + np.sqrt(4.0**2 - (2.5 - 1.0) ** 2)
    crest = result.bone.plane.h(result.crest_mm)
    assert crest == pytest.approx(beside, abs=0.25)
    for width in result.widths:
        if width.depth_mm in (3.0, 5.0, 7.0):
            true = width_at(BODY, crest - width.depth_mm)[0]
            assert width.reading.value == pytest.approx(true, abs=0.15), width.depth_mm
    assert result.height.value == pytest.approx(crest - (TOP - 16.5), abs=0.1)


def fixture(w=0.0):
    _, arch, *_ = scene()
    f = arch.frame(STATION)
    return Fixture(
        id="f",
        tooth="36",
        platform=f.origin + (TOP - 1.0) * f.up + w * f.buccal,
        towards_apex=-f.up,
        size=FixtureSize(diameter_mm=4.0, length_mm=12.0),
    )


def test_a_fixture_in_the_place_of_a_tooth_has_a_crest_once_its_root_is_to_go():
    volume, arch, levels, finder = scene()
    results = {
        gone: ridge_at_fixture(
            volume,
            arch,
            fixture(),
            levels,
            "lower",
            (canal(), root(gone=gone)),
            lambda _: 2.0,
            finder,
        )
        for gone in (False, True)
    }
    assert results[False].crest_mm is None
    for width in results[True].widths:
        if width.depth_mm in (3.0, 5.0):
            assert width.reading.value == pytest.approx(10.0, abs=0.4)


def test_a_crown_that_overhangs_is_not_the_bone_at_the_rim():
    volume, arch, levels, finder = scene()
    # The rim's buccal place lies over bone, 3.3 mm from the tooth's middle, under its crown.
    result = ridge_at_fixture(
        volume, arch, fixture(w=1.3), levels, "lower", (root(gone=True),), lambda _: 2.0, finder
    )
    buccal = result.rims[0].platform_depth
    assert buccal.value is None or abs(buccal.value - 0.3) < 0.6
