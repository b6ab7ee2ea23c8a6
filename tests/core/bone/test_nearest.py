"""Nearest is nearest: what could lie nearer, is dark or was not seen reassures nobody."""

from dataclasses import replace

import numpy as np
import pytest

from core.arch import fixture_frame
from core.bone.edges import ScanEdges
from core.bone.half_maximum import HalfMaximum
from core.bone.plate_fit import PlateFit
from core.bone.plates import plate_thickness
from core.bone.remaining_bone import remaining_bone_map
from core.bone.remaining_bone_minima import minima
from core.bone.ridge import ridge_at_fixture, ridge_at_site
from core.bone.rounded import rounded_off
from core.bone.surface import bone_surface
from core.fixture import Fixture, FixtureSize
from core.measurement import Limit
from core.trust.verdict import judge
from tests.core.bone_phantoms import (
    AIR,
    CORTEX,
    SOFT,
    SPONGY,
    Jaw,
    rounded,
    scan_of,
    true_levels,
    width_at,
)

TOP, STATION = -4.0, 58.0


def block(half=5.0, **more):
    outline = np.array([[-half, -30], [half, -30], [half, TOP], [-half, TOP]])
    return Jaw(outline=outline, **more)


def cut(low, high, reach, beyond):
    """Soft tissue between two heights, beyond a place towards the cheek, along a few mm."""

    def distance(s, w, h):
        across = np.maximum(beyond - w, np.maximum(low - h, h - high))
        return np.maximum(across, np.abs(s - STATION) - reach)

    return distance, SOFT


def read(jaw, *, down=1.0, w=0.0, length=10.0, **more):
    """Both readings of a fixture 4 mm wide, by the phantom's own levels and half maximum."""
    volume, arch = scan_of(jaw, station=STATION, voxel=0.3, heights=(-32.0, 2.0), **more)
    levels = replace(true_levels(0.3), spongy=jaw.spongy)
    finder = HalfMaximum(levels=levels)
    f = arch.frame(STATION)
    fixture = Fixture(
        id="f",
        tooth="36",
        platform=f.origin + (TOP - down) * f.up + w * f.buccal,
        towards_apex=-f.up,
        size=FixtureSize(diameter_mm=4.0, length_mm=length),
    )
    frame = fixture_frame(fixture, arch)
    surface = bone_surface(fixture, frame, volume, levels, finder)
    return surface, minima(remaining_bone_map(volume, fixture, frame, levels, finder))


def verdict(reading, limit_mm):
    limit = Limit(key="surface", value=limit_mm, lower_line=None, source="", default=limit_mm)
    return judge(reading, None, limit)


def test_rays_without_an_edge_are_not_outvoted_by_those_around_them():
    # The plate is gone over 2.4 mm, and the spongy bone behind it lies 0.45 mm nearer.
    jaw = block(cortex=0.5, solids=[cut(-11.2, -8.8, 1.2, 4.55)])
    surface, _ = read(jaw, w=1.5, noise=30.0)
    buccal = surface["buccal"]
    assert 1.0 < buccal.value < 1.7
    assert buccal.upper_bound
    assert buccal.evidence.nearer.code == "surface_unclear"
    assert buccal.evidence.nearer in buccal.notes
    assert verdict(buccal, 1.0) == "not assessed"
    assert verdict(buccal, 2.0) == "below limit"


def test_fatty_marrow_is_not_a_gap():
    fatty = block(cortex=1.0, spongy=SOFT - 60.0)
    _, remaining = read(fatty)
    assert remaining["buccal"].reading.value == pytest.approx(3.0, abs=0.2)
    assert remaining["lingual"].reading.value == pytest.approx(3.0, abs=0.2)


def test_a_socket_that_is_open_over_the_crest_is_a_gap_in_fatty_marrow_too():
    def socket(s, w, h):
        return np.maximum(np.hypot(s - STATION, w) - 4.0, -9.0 - h)

    fatty = block(cortex=1.0, spongy=SOFT - 60.0, solids=[(socket, SOFT)])
    _, remaining = read(fatty, down=2.0)
    # The socket takes the marrow and leaves the plate.
    assert remaining["buccal"].reading.value == pytest.approx(1.0, abs=0.35)


def test_at_least_reach_is_said_only_where_bone_is_seen_on_every_ray():
    wide = block(half=13.0)
    seen, _ = read(wide, noise=40.0)
    assert seen["buccal"].lower_bound
    assert seen["buccal"].value == 8.0
    # Half of all between is bone still, and none of the hollow lies on the middle ray.
    hollow = block(half=13.0, holes=[(6.0, -7.5, 1.6, SOFT)])
    unseen, _ = read(hollow, noise=40.0)
    assert unseen["buccal"].value is None
    assert unseen["buccal"].notes[0].code == "surface_not_found"
    assert unseen["lingual"].lower_bound
    # Marrow that looks like soft tissue is not seen to be bone.
    fatty, _ = read(block(half=13.0, spongy=SOFT - 60.0), noise=40.0)
    assert fatty["lingual"].value is None


def test_a_crest_below_the_platform_is_a_surface_of_the_bone():
    surface, _ = read(block(), down=-1.0)
    assert surface["buccal"].value == pytest.approx(-1.0, abs=0.15)


@pytest.mark.parametrize(("bends", "both"), [("one way", 1.0), ("two ways", 2.0)])
def test_a_curved_surface_lies_further_out_by_its_curvatures(bends, both):
    radius, half_variance = 4.0, 0.05
    x, y = np.meshgrid(np.arange(-2, 2.1, 0.5), np.arange(-2, 2.1, 0.5), indexing="ij")
    z = np.sqrt(radius**2 - x**2 - (y**2 if both == 2.0 else 0.0))
    points = np.stack([x, y, z], axis=-1)
    outward = np.broadcast_to([0.0, 0.0, 1.0], points.shape)
    shift, sd = rounded_off(points, outward, np.full(x.shape, half_variance), (3, 3), ring=False)
    assert shift[4, 4] == pytest.approx(half_variance * both / radius, rel=0.12)
    assert 0 < sd[4, 4] < shift[4, 4]
    hollow, _ = rounded_off(points, -outward, np.full(x.shape, half_variance), (3, 3), ring=False)
    assert hollow[4, 4] == pytest.approx(-shift[4, 4])
    points[1:] = np.nan
    alone, _ = rounded_off(points, outward, np.full(x.shape, half_variance), (3, 3), ring=False)
    assert (alone == 0.0).all()


def test_near_the_crest_what_blur_may_take_off_a_width_is_in_its_doubt():
    """Half-way edges of a blurred, bent surface lie inside it: 1 mm below a crest by 0.06 mm."""
    outline = rounded(8.0, 26.0, TOP, radius=3.0)
    volume, arch = scan_of(
        Jaw(outline=outline, cortex=1.2), station=STATION, voxel=0.25, noise=60.0
    )
    levels = true_levels(0.25, 60.0)
    finder = PlateFit.of(volume, arch, "lower", levels)
    off, doubt = [], []
    for station in STATION + np.array([-2.0, -1.0, 0.0, 1.0, 2.0]):
        ridge = ridge_at_site(volume, arch, station, levels, "lower", (), finder)
        near = ridge.widths[0]
        assert near.depth_mm == 1.0
        off.append(near.reading.value - width_at(outline, TOP - 1.0)[0])
        doubt.append(2.0 * np.hypot.reduce(near.reading.edge_sd_mm))
        flat = 2.0 * np.hypot.reduce(ridge.widths[3].reading.edge_sd_mm)
        assert doubt[-1] > 2.0 * flat
    assert (np.abs(off) < doubt).all()


def plates_of(outline, spongy, cortex):
    jaw = Jaw(outline=outline, cortex=cortex, spongy=spongy)
    volume, arch = scan_of(jaw, station=STATION, voxel=0.25, noise=40.0)
    levels = replace(true_levels(0.25, 40.0), spongy=spongy)
    scan = ScanEdges(
        volume=volume, levels=levels, finder=PlateFit.of(volume, arch, "lower", levels)
    )
    ridge = ridge_at_site(volume, arch, STATION, levels, "lower", (), scan.finder)
    assert all(w.reading.value is not None for w in ridge.widths)
    return plate_thickness(scan, ridge.bone, ridge.widths)


def test_a_plate_that_cannot_be_told_from_the_bone_behind_it_has_no_thickness():
    knife = np.array([[-6, -28], [6, -28], [6, -14], [1.5, TOP], [-1.5, TOP], [-6, -14.0]])
    for plate in plates_of(knife, 2200.0, 0.5):
        assert plate.reading.value is None, (plate.side, plate.depth_mm)
        assert plate.reading.notes[0].code == "edge_no_inner_edge"


def test_plates_over_sclerotic_bone_are_read_where_they_still_stand_out():
    # Spongy bone a quarter of the contrast below cortex.
    broad = np.array([[-6, -28], [6, -28], [6, TOP], [-6, TOP]])
    deep = [
        plate.reading
        for plate in plates_of(broad, CORTEX - 0.25 * (CORTEX - SOFT), 1.5)
        if plate.depth_mm >= 5.0
    ]
    assert len(deep) == 6
    for reading in deep:
        assert reading.value == pytest.approx(1.5, abs=0.2)
        assert abs(reading.value - 1.5) < 2.0 * np.hypot.reduce(reading.edge_sd_mm)


def test_what_falls_off_further_in_than_any_plate_is_thick_is_no_inner_edge():
    broad = np.array([[-8, -28], [8, -28], [8, TOP], [-8, TOP]])
    for plate in plates_of(broad, SPONGY, 5.5):
        assert plate.reading.value is None
        assert plate.reading.notes[0].code == "edge_no_inner_edge"


@pytest.mark.parametrize("place", ["mesial", "distal", "buccal", "lingual"])
def test_over_dark_marrow_the_rim_meets_the_crest_and_not_the_base(place):
    volume, arch = scan_of(
        block(cortex=1.0, spongy=SOFT - 60.0), station=STATION, voxel=0.3, heights=(-32.0, 2.0)
    )
    levels = replace(true_levels(0.3), spongy=SOFT - 60.0)
    f = arch.frame(STATION)
    fixture = Fixture(
        id="f",
        tooth="36",
        platform=f.origin + (TOP - 1.5) * f.up,
        towards_apex=-f.up,
        size=FixtureSize(diameter_mm=4.0, length_mm=10.0),
    )
    ridge = ridge_at_fixture(
        volume, arch, fixture, levels, "lower", (), lambda _: 0.0, HalfMaximum(levels=levels)
    )
    assert ridge.platform_depths[place].value == pytest.approx(1.5, abs=0.15)


@pytest.mark.parametrize("tip_mm", [0.0, 1.5])
def test_the_floor_of_a_sinus_that_is_closed_in_all_round_is_the_nearest_surface(tip_mm):
    """In the section bone closes it in as it does marrow: 1.36 and, with the tip, 1.36 again were
    told where 0.86 and −0.25 are true.

    By hand: the apex stands at 13 below the arch's level, the hollow's lowest line 16.5 below it.
    """
    sinus = [(0.0, -20.0, 4.5, CORTEX), (0.0, -20.0, 3.5, AIR)]
    jaw = Jaw(outline=rounded(14.0, 26.0, TOP, radius=4.0), holes=sinus, upper=True)
    volume, arch = scan_of(jaw, station=STATION, voxel=0.3, noise=30.0)
    levels = true_levels(0.3, noise=30.0)
    f = arch.frame(STATION)
    fixture = Fixture(
        id="f",
        tooth="26",
        platform=f.origin - (TOP - 1.0) * f.up,
        towards_apex=f.up,
        size=FixtureSize(diameter_mm=4.0, length_mm=8.0),
    )
    frame = fixture_frame(fixture, arch)
    finder = HalfMaximum(levels=levels)
    found = bone_surface(fixture, frame, volume, levels, finder, tip_mm=tip_mm, upper=True)
    assert found["apical"].value == pytest.approx(3.5 - tip_mm, abs=0.2)
