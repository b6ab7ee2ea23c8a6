"""Remaining bone and bone surface around a fixture in a ridge with known sides."""

from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest

from core.arch import fixture_frame
from core.bone.half_maximum import HalfMaximum
from core.bone.remaining_bone import (
    NO_BONE,
    NOT_FOUND,
    NOT_SCANNED,
    REACHES,
    TO_ROOT,
    remaining_bone_map,
)
from core.bone.remaining_bone_minima import minima, openings
from core.bone.surface import bone_surface
from core.fixture import Fixture, FixtureSize
from core.measurement import Note
from core.structures import Course, Tapered
from tests.core.bone_phantoms import RADIUS_MM, SOFT, Jaw, scan_of, true_levels

TOP, HALF = -4.0, 5.0
BLOCK = np.array([[-HALF, -30], [HALF, -30], [HALF, TOP], [-HALF, TOP]])


@lru_cache
def scene(kind="block", side="left"):
    jaw, station = Jaw(outline=BLOCK, cortex=1.8), 58.0 if side == "left" else 10.0
    if kind == "canal":
        jaw.holes = [(0.0, -19.5, 1.5, SOFT)]
    if kind == "socket":
        jaw.solids = [(lambda s, w, h: np.maximum(np.hypot(s - station, w) - 3.2, -14.0 - h), SOFT)]
    if kind == "faint":
        jaw.cortex = lambda w, h: np.where(w > 0, 0.05, 1.8)
    if kind == "window":
        jaw.cortex = 2.8
        jaw.solids = [
            (
                lambda s, w, h: np.maximum(
                    np.maximum(3.2 - w, np.abs(h + 10.0) - 1.5), np.abs(s - station) - 6.0
                ),
                SOFT,
            )
        ]
    volume, arch = scan_of(jaw, station=station, voxel=0.3, heights=(-32.0, 2.0))
    levels = true_levels(0.3)
    return volume, arch, levels, HalfMaximum(levels=levels), station


def placed(kind="block", side="left", *, down=1.0, w=0.0, length=10.0, tooth="36"):
    volume, arch, levels, finder, station = scene(kind, side)
    f = arch.frame(station)
    fixture = Fixture(
        id="f",
        tooth=tooth,
        platform=f.origin + (TOP - down) * f.up + w * f.buccal,
        towards_apex=-f.up,
        size=FixtureSize(diameter_mm=4.0, length_mm=length),
    )
    return volume, fixture, fixture_frame(fixture, arch), levels, finder


def mapped(*args, structures=(), **more):
    volume, fixture, frame, levels, finder = placed(*args, **more)
    return remaining_bone_map(volume, fixture, frame, levels, finder, structures)


def expected(turn_deg, w=0.0):
    """Distance from the fixture's side to the swept wall, along a ray at φ (arch radius 26 mm)."""
    a = np.radians(turn_deg)
    centre = RADIUS_MM + w
    t = np.linspace(0, 12, 24001)
    r = np.hypot(centre + t * np.cos(a), t * np.sin(a))
    out = np.abs(r - RADIUS_MM) > HALF
    return t[np.argmax(out)] - 2.0


@pytest.mark.parametrize(("side", "tooth"), [("left", "36"), ("right", "46")])
@pytest.mark.parametrize("w", [0.0, 1.0])
def test_bone_around_is_that_of_the_block(side, tooth, w):
    remaining = mapped("block", side, w=w, tooth=tooth)
    rows = remaining.depths_mm >= 1.0
    for turn in (0.0, 30.0, -30.0, 180.0, -180.0, 150.0):
        column = np.flatnonzero(remaining.turns_deg == (-180.0 if turn == 180.0 else turn))[0]
        true = expected(turn, w)
        assert np.median(remaining.bone_mm[rows, column]) == pytest.approx(true, abs=0.1)
        assert np.abs(remaining.bone_mm[rows, column] - true).max() < 0.25
    least = minima(remaining)
    assert least["buccal"].reading.value == pytest.approx(3.0 - w, abs=0.2)
    assert least["lingual"].reading.value == pytest.approx(3.0 + w, abs=0.2)
    assert (
        remaining.state[rows][:, np.abs(np.abs(remaining.turns_deg) - 90.0) < 1] == REACHES
    ).all()


def test_a_canal_inside_the_bone_is_not_the_outside():
    remaining = mapped("canal", down=6.0)
    last = remaining.bone_mm[-1]
    assert last[remaining.turns_deg == 0.0][0] == pytest.approx(3.0, abs=0.25)


def test_a_marked_canal_is_other_and_not_bone():
    _, arch, *_, station = scene("canal")
    points = [arch.frame(station + s).origin + -19.5 * arch.frame(station).up for s in (-8, 0, 8)]
    marked = Course(id="canal-left", kind="canal", points=points, diameter_mm=3.0)
    plain, remaining = mapped("canal", down=6.0), mapped("canal", down=6.0, structures=(marked,))
    assert remaining.other_mm.max() > 0.5
    assert np.nansum(remaining.bone_mm) < np.nansum(plain.bone_mm)


def test_a_root_stops_the_ray_and_an_old_socket_is_a_gap():
    _, arch, *_, station = scene()
    f = arch.frame(station + 6.0)
    line = [f.origin + (TOP - 0.5) * f.up, f.origin + (TOP - 12.0) * f.up]
    keep, gone = (
        Tapered(
            id="root-35",
            kind="root",
            tooth="35",
            points=line,
            diameters_mm=(4.0, 4.0),
            to_be_removed=flag,
        )
        for flag in (False, True)
    )
    remaining = mapped(structures=(keep,))
    mesial = np.flatnonzero((remaining.state == TO_ROOT).any(axis=0))
    assert len(mesial)
    hit = remaining.bone_mm[10][remaining.state[10] == TO_ROOT].min()
    assert hit == pytest.approx(6.0 - 2.0 - 2.0, abs=0.25)
    old = mapped(structures=(gone,))
    assert not (old.state == TO_ROOT).any()
    assert old.gap_mm.max() > 2.0


def test_a_fresh_socket_is_a_gap_and_only_the_bone_beyond_counts():
    remaining = mapped("socket")
    column = remaining.turns_deg == 0.0
    row = np.argmin(np.abs(remaining.depths_mm - 4.0))
    assert remaining.gap_mm[row, column][0] == pytest.approx(1.2, abs=0.4)
    assert remaining.bone_mm[row, column][0] == pytest.approx(1.8, abs=0.4)


def test_outside_bone_the_wall_is_negative():
    remaining = mapped(w=4.0)
    rows = remaining.depths_mm >= 1.0
    assert remaining.bone_mm[rows][:, remaining.turns_deg == 0.0] == pytest.approx(-1.0, abs=0.2)
    assert minima(remaining)["buccal"].reading.value < -0.8
    away = mapped(w=9.5)
    assert (away.state[:, away.turns_deg == 0.0] == NO_BONE).all()
    assert minima(away)["buccal"].reading.notes[-1].code == "wall_no_bone"


def test_a_plate_too_faint_is_not_found_and_never_drawn_as_bone():
    volume, fixture, frame, levels, finder = placed("faint", w=0.5)
    remaining = remaining_bone_map(volume, fixture, frame, levels, finder)
    middle = remaining.state[2:, remaining.turns_deg == 0.0]
    assert (middle == NOT_FOUND).all()
    assert np.isnan(remaining.bone_mm[2:, remaining.turns_deg == 0.0]).all()
    least = minima(remaining)["buccal"].reading
    assert least.value is None or least.upper_bound
    assert least.notes[0].code in ("wall_not_found", "wall_partly_found")
    assert minima(remaining)["lingual"].reading.value == pytest.approx(3.5, abs=0.25)
    surface = bone_surface(fixture, frame, volume, levels, finder)
    assert surface["buccal"].value is None
    assert surface["buccal"].notes[0].code == "surface_unclear"


def holed(*holes, unscanned=()):
    """A map with rays that have no edge, at (row, turn)."""
    remaining = mapped()
    bone, state = remaining.bone_mm.copy(), remaining.state.copy()
    for row, turn in (*holes, *unscanned):
        at = row, int(np.flatnonzero(remaining.turns_deg == turn)[0])
        bone[at] = np.nan
        state[at] = NOT_SCANNED if (row, turn) in unscanned else NOT_FOUND
    return replace(remaining, bone_mm=bone, state=state)


def told(remaining):
    reading = minima(remaining)["buccal"].reading
    return reading.upper_bound, {n.code: n.fields["missing"] for n in reading.notes}


def test_a_small_hole_between_found_rays_is_judged_by_them_and_told():
    assert told(holed((6, 25.0))) == (False, {"wall_between_found": 1})
    # The wall is least at 0° and thicker to both sides: at 30° its rim says that it is.
    two_by_two = [(r, t) for r in (6, 7) for t in (30.0, 35.0)]
    assert told(holed(*two_by_two)) == (False, {"wall_between_found": 4})


def test_a_hole_beside_the_least_bone_a_wide_one_and_an_unscanned_one_are_not():
    remaining = mapped()
    least = minima(remaining)["buccal"]
    row = int(np.argmin(np.abs(remaining.depths_mm - least.depth_mm)))
    row = min(max(row, 2), len(remaining.depths_mm) - 4)
    beside = [(row + 1, least.turn_deg), (row + 1, least.turn_deg + 5.0)]
    assert told(holed(*beside))[0]
    wide = [(r, t) for r in (6, 7, 8) for t in (25.0, 30.0, 35.0)]
    upper_bound, codes = told(holed(*wide))
    assert upper_bound
    assert codes["wall_partly_found"] >= 1
    assert told(holed(unscanned=((6, 25.0),))) == (True, {"wall_partly_found": 1})
    # At the platform the bone may end just above: nothing speaks for a ray there.
    assert told(holed((0, 25.0))) == (True, {"wall_partly_found": 1})


def test_unscanned_is_told():
    volume, fixture, frame, levels, finder = placed()
    away = Fixture(
        id="f",
        platform=fixture.platform + 60.0,
        towards_apex=fixture.towards_apex,
        size=fixture.size,
    )
    least = minima(remaining_bone_map(volume, away, frame, levels, finder))
    assert least["buccal"].reading.value is None
    assert least["buccal"].reading.notes[0].code == "wall_not_scanned"


def test_dehiscence_and_fenestration():
    limit = lambda depth: 2.0  # noqa: E731
    assert openings(mapped(), "buccal", limit) == ()
    out = openings(mapped(w=1.5), "buccal", limit)
    assert [o.kind for o in out] == ["possible dehiscence"]
    window = openings(mapped("window"), "buccal", limit)
    assert [o.kind for o in window] == ["possible fenestration"]
    assert window[0].from_mm == pytest.approx(3.5, abs=0.8)
    assert window[0].to_mm == pytest.approx(6.5, abs=0.8)
    assert window[0].lacking_mm == pytest.approx(2.0 - 1.2, abs=0.3)


def test_bone_surface_by_side():
    volume, fixture, frame, levels, finder = placed(w=1.0, down=3.0)
    found = bone_surface(fixture, frame, volume, levels, finder)
    assert found["buccal"].value == pytest.approx(2.0, abs=0.15)
    assert found["lingual"].value == pytest.approx(4.0, abs=0.15)
    fixture_end, surface = found["lingual"].witness
    assert np.linalg.norm(surface - fixture_end) == pytest.approx(found["lingual"].value, abs=1e-6)


def test_bone_surface_below_the_apex_and_with_the_tip():
    volume, fixture, frame, levels, finder = placed(down=12.5)
    base = 30.0 - 4.0 - 12.5 - 10.0
    plain = bone_surface(fixture, frame, volume, levels, finder)
    tip = bone_surface(fixture, frame, volume, levels, finder, tip_mm=1.5)
    # The nearest deeper surface is the side wall just beyond the apex.
    assert plain["apical"].value == pytest.approx(3.0, abs=0.2)
    assert base == pytest.approx(3.5)
    assert tip["apical"].value == pytest.approx(base - 1.5, abs=0.15)


def test_a_fixture_out_of_the_side_is_negative():
    volume, fixture, frame, levels, finder = placed(w=4.0, down=2.0)
    found = bone_surface(fixture, frame, volume, levels, finder)
    assert found["buccal"].value < -0.5
    assert found["lingual"].value == pytest.approx(7.0, abs=0.2)


def test_levels_in_trouble_are_told_everywhere():
    volume, fixture, frame, levels, _ = placed()
    lost = replace(levels, trouble=Note("levels_no_bone"))
    finder = HalfMaximum(levels=lost)
    assert bone_surface(fixture, frame, volume, lost, finder)["apical"].value is None
    least = minima(remaining_bone_map(volume, fixture, frame, lost, finder))
    assert least["lingual"].reading.notes[0].code == "levels_no_bone"
