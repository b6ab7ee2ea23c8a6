"""Teeth are not ridge: no crest where one stands, and the bone's crest where it is to go."""

from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest

from core.bone.edges import ScanEdges
from core.bone.half_maximum import HalfMaximum
from core.bone.plate_fit import PlateFit
from core.bone.plates import plate_thickness
from core.bone.ridge import ridge_at_fixture, ridge_at_site
from core.bone.set_crest import plates_beside_roots
from core.fixture import Fixture, FixtureSize
from core.measurement import MARKED
from core.structures import Course, PointMarks, Tapered
from tests.core.bone_phantoms import CORTEX, SOFT, Jaw, rounded, scan_of, true_levels, width_at

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


def test_cortex_brighter_than_its_level_by_the_doubt_of_it_is_no_tooth():
    # Over sclerotic bone thin plates read too dark, and cortex itself then stands above its level.
    jaw = Jaw(outline=BODY, spongy=2100.0)
    volume, arch = scan_of(jaw, station=STATION, voxel=0.3)
    low = replace(true_levels(0.3), spongy=2100.0, cortical=SOFT + 0.7 * (CORTEX - SOFT))
    for sd, stands in ((40.0, True), (260.0, False)):
        levels = replace(low, cortical_sd=sd)
        finder = HalfMaximum(levels=levels)
        result = ridge_at_site(volume, arch, STATION, levels, "lower", (), finder)
        codes = [n.code for n in result.crest.notes]
        assert ("ridge_tooth_stands" in codes) == stands


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


def crest_mark(*, beside=4.0, below=0.0, along=0.0, name="crest-36"):
    """A mark on the bone's outer edge beside the tooth, or off it."""
    _, arch, *_ = scene()
    f = arch.frame(STATION + along)
    height = TOP - 4.0 + np.sqrt(4.0**2 - (abs(beside) - 1.0) ** 2) - below
    return PointMarks(
        id=name, kind="crest", points=(f.origin + height * f.up + beside * f.buccal)[None, :]
    )


@pytest.mark.parametrize("marked", [True, False])
def test_a_crest_set_beside_the_tooth_gives_height_and_widths_with_the_doubt_of_a_hand(marked):
    mark = crest_mark()
    roots = (root(gone=False),) if marked else ()
    result = site((canal(), *roots, mark))
    true = result.bone.plane.h(mark.points[0])
    assert result.bone.plane.h(result.crest_mm) == pytest.approx(true)
    assert result.height.value == pytest.approx(true - (TOP - 16.5), abs=0.05)
    assert result.height.evidence == MARKED
    assert [n.code for n in result.height.notes] == ["ridge_crest_set"]
    (by_crest,) = [m for m in result.height.marks if m.mark == "crest-36/0"]
    assert by_crest.gradient == pytest.approx(result.bone.plane.coronal)
    for width in result.widths:
        if width.depth_mm in (3.0, 5.0, 7.0):
            expected = width_at(BODY, true - width.depth_mm)[0]
            assert width.reading.value == pytest.approx(expected, abs=0.15), width.depth_mm
            assert "ridge_crest_set" in [n.code for n in width.reading.notes]
            (by_crest,) = width.reading.marks
            beside = [width_at(BODY, true - width.depth_mm + s)[0] for s in (-0.25, 0.25)]
            steepest = max(abs(w - expected) for w in beside) / 0.25
            assert np.linalg.norm(by_crest.gradient) == pytest.approx(steepest, abs=0.3)


def test_the_crest_furthest_coronal_of_several_counts_and_one_of_another_section_does_not():
    low, high = crest_mark(beside=-4.5, name="low"), crest_mark(beside=4.0, name="high")
    plane = site((low,)).bone.plane
    assert plane.h(site((low, high)).crest_mm) == pytest.approx(plane.h(high.points[0]))
    nothing_counts_from(site((canal(), crest_mark(along=1.3))), "ridge_tooth_stands")


def test_a_crest_set_before_the_section_is_less_sure():
    result = site((canal(), crest_mark(along=0.8)))
    # The arch bends by 26 mm, the mark lies 4 mm outside it.
    assert result.crest.sd_mm == pytest.approx(0.5 * 0.8 * 30.0 / 26.0, abs=0.01)
    assert result.height.edge_sd_mm == (result.crest.sd_mm,)


@pytest.mark.parametrize(("beside", "below"), [(1.0, -5.0), (4.9, -3.6), (3.3, -2.5)])
def test_a_crest_on_the_tooth_or_away_from_all_bone_is_not_taken(beside, below):
    mark = crest_mark(beside=beside, below=below)
    nothing_counts_from(site((canal(), mark)), "ridge_crest_off_bone")


def test_where_no_tooth_stands_the_crest_is_found_in_the_image_and_not_taken_from_a_mark():
    low = crest_mark(along=7.0, below=2.0)
    result = site((canal(), low), beside=7.0)
    assert result.bone.plane.h(result.crest_mm) == pytest.approx(TOP, abs=0.12)
    assert result.crest.marks == ()


def plates_by_depth(structures):
    result = site(structures)
    volume, _, levels, finder = scene()
    scan = ScanEdges(volume=volume, levels=levels, finder=finder)
    plates = plate_thickness(scan, result.bone, result.widths)
    return [p.reading for p in plates_beside_roots(plates, result.crest, structures)]


def test_no_plate_is_given_while_a_root_may_stand_behind_it():
    unmarked = plates_by_depth((canal(), crest_mark()))
    assert all(r.value is None for r in unmarked)
    assert "plate_root_not_marked" in {n.code for r in unmarked for n in r.notes}
    # The root of 4.4 mm stands 2.8 mm behind the outer surface, the plate is 2.0 mm thick.
    marked = plates_by_depth((canal(), root(gone=False), crest_mark()))
    codes = {n.code for r in marked for n in r.notes}
    assert "plate_before_root" in codes
    assert "plate_root_not_marked" not in codes


@lru_cache
def by_the_cheek():
    """The same tooth 1.2 mm nearer to the cheek, to be removed; its crown leaves a blurred rim."""
    off = 1.2
    jaw = Jaw(outline=BODY)
    jaw.solids = [
        (lambda s, w, h, solid=solid: solid(s, w - off, h), level)
        for solid, level in (
            (pillar(2.5, TOP - 11.0, TOP + 1.0), SOFT),
            (pillar(2.2, TOP - 10.7, TOP + 3.0), DENTINE),
            (pillar(3.6, TOP + 1.5, TOP + 8.0), ENAMEL),
        )
    ]
    volume, arch = scan_of(jaw, station=STATION, voxel=0.25)
    levels = true_levels()
    finder = PlateFit.of(volume, arch, "lower", levels)
    buccal = arch.frame(STATION).buccal
    gone = replace(root(gone=True), points=root(gone=True).points + off * buccal)
    return ScanEdges(volume=volume, levels=levels, finder=finder), arch, gone


def ridge_by_the_cheek(*structures):
    scan, arch, gone = by_the_cheek()
    shapes = (canal(), gone, *structures)
    result = ridge_at_site(scan.volume, arch, STATION, scan.levels, "lower", shapes, scan.finder)
    plates = plate_thickness(scan, result.bone, result.widths)
    return result, plates, plates_beside_roots(plates, result.crest, shapes)


def test_where_a_sockets_rim_is_not_clear_the_crest_can_be_set_for_a_tooth_to_be_removed():
    before, *_ = ridge_by_the_cheek()
    assert before.crest_mm is None
    result, *_ = ridge_by_the_cheek(crest_mark())
    assert result.crest.evidence == MARKED
    crest = result.bone.plane.h(result.crest_mm)
    for width in result.widths:
        if width.depth_mm in (3.0, 5.0, 7.0):
            true = width_at(BODY, crest - width.depth_mm)[0]
            assert width.reading.value == pytest.approx(true, abs=0.2), width.depth_mm


def test_no_plate_is_given_before_a_root_that_is_to_be_removed():
    """By hand: within a millimetre of a cylinder of 4.4 mm between the root's two ends."""
    _, plates, told = ridge_by_the_cheek(crest_mark())
    first, last = by_the_cheek()[2].points
    near = []
    for before, after in zip(plates, told, strict=True):
        if before.reading.value is None:
            continue
        inner = before.reading.witness[1]
        along = np.clip((inner - first) @ (last - first) / np.sum((last - first) ** 2), 0.0, 1.0)
        off = np.linalg.norm(inner - first - along * (last - first)) - 2.2
        near.append(off < 1.0)
        assert (after.reading.value is None) == (off < 1.0)
    assert any(near)
    assert not all(near)
