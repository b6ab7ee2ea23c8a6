"""What counts as the outside around a fixture: mouth and sinus, and never closed marrow."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from core.arch import fixture_frame
from core.bone.half_maximum import HalfMaximum
from core.bone.outside import _highest, _joined, _without_specks
from core.bone.remaining_bone import NOT_FOUND, remaining_bone_map
from core.bone.remaining_bone_minima import minima
from core.fixture import Fixture, FixtureSize
from tests.core.bone_phantoms import AIR, CORTEX, SOFT, Jaw, scan_of, true_levels

TOP, STATION = -4.0, 58.0


def mapped(*, half=5.0, cortex=1.8, spongy=None, holes=(), down=1.0):
    """The wall around a fixture 4 mm wide and 10 mm long in the middle of a block."""
    outline = np.array([[-half, -30], [half, -30], [half, TOP], [-half, TOP]])
    jaw = Jaw(outline=outline, cortex=cortex)
    if spongy is not None:
        jaw.spongy = spongy
    jaw.holes = list(holes)
    volume, arch = scan_of(jaw, station=STATION, voxel=0.3, heights=(-32.0, 2.0), noise=20.0)
    levels = replace(true_levels(0.3), spongy=jaw.spongy)
    f = arch.frame(STATION)
    fixture = Fixture(
        id="f",
        tooth="36",
        platform=f.origin + (TOP - down) * f.up,
        towards_apex=-f.up,
        size=FixtureSize(diameter_mm=4.0, length_mm=10.0),
    )
    frame = fixture_frame(fixture, arch)
    return remaining_bone_map(volume, fixture, frame, levels, HalfMaximum(levels=levels))


def test_fatty_marrow_under_thin_cortex_is_no_gap():
    # Cortex of 0.9 mm, which half maximum still places; marrow darker than soft tissue.
    remaining = mapped(cortex=0.9, spongy=SOFT - 90.0)
    sides = remaining.sector("buccal") | remaining.sector("lingual")
    rows = remaining.depths_mm >= 1.0
    assert remaining.gap_mm[rows][:, sides].max() == 0.0
    for side in ("buccal", "lingual"):
        assert minima(remaining, rows)[side].reading.value == pytest.approx(3.0, abs=0.2)


def test_bone_beyond_a_sinus_is_not_bone_around_the_fixture():
    # Air from 4 to 7 mm beside the axis at 7 mm below the platform, bone beyond it.
    remaining = mapped(half=10.0, holes=[(5.5, -12.0, 2.5, CORTEX), (5.5, -12.0, 1.5, AIR)])
    column = remaining.turns_deg == 0.0
    row = int(np.argmin(np.abs(remaining.depths_mm - 7.0)))
    assert remaining.bone_mm[row, column][0] == pytest.approx(2.0, abs=0.15)
    assert minima(remaining)["buccal"].reading.value < 2.2


def test_the_lining_at_the_apex_is_outside_though_its_air_lies_deeper():
    # At the apex, 10 mm below the platform, the fixture's buccal side stands in the lining of a
    # sinus whose air begins 1.7 mm deeper; bone goes on beyond it.
    sinus = [(3.5, -16.5, 3.2, CORTEX), (3.5, -16.5, 2.5, SOFT), (3.5, -18.3, 1.6, AIR)]
    remaining = mapped(half=10.0, holes=sinus)
    deepest = int(np.argmin(np.abs(remaining.depths_mm - 10.0)))
    # By hand: at 15 below the arch's level the lining begins at 3.5 - sqrt(2.5² - 1.5²) = 1.5 from
    # the axis, half a millimetre inside the fixture.
    at_apex = remaining.bone_mm[deepest, remaining.turns_deg == 0.0][0]
    assert at_apex == pytest.approx(-0.5, abs=0.1)
    assert minima(remaining)["buccal"].reading.value == pytest.approx(-0.5, abs=0.1)


def test_a_ray_that_skims_the_crest_claims_no_bone():
    remaining = mapped(down=0.1)
    sides = remaining.sector("buccal")
    assert (remaining.state[0, sides] == NOT_FOUND).all()
    least = minima(remaining)["buccal"].reading
    assert least.upper_bound
    assert not least.evidence.is_sound
    deeper = mapped(down=1.0)
    assert not minima(deeper)["buccal"].reading.upper_bound


def test_the_mouth_is_not_looked_for_where_a_field_cut_aslant_begins_in_the_bone():
    # Steps of 0.3 mm; the platform lies at the 20th. Far along the arch the field begins at it.
    scanned = np.ones((81, 81, 60), dtype=bool)
    scanned[:, 70:, :18] = False
    seeds = _highest(scanned)
    assert seeds[:, 40, 0].all()
    assert not seeds[:, 66:].any()
    low = np.zeros_like(scanned)
    low[:, :, 15:] = True
    assert _highest(low)[:, 40, 15].all()


def test_a_pinhole_in_a_plate_is_no_way_in_and_a_wide_hole_is():
    # Steps of 0.3 mm: a plate at the middle, marrow beyond it.
    def reached(hole):
        dark = np.ones((41, 21, 21), dtype=bool)
        dark[20] = False
        dark[20, 10 - hole : 11 + hole, 10 - hole : 11 + hole] = True
        # The field begins at the fourth step.
        scanned = np.ones_like(dark)
        scanned[:3] = False
        seeds = np.zeros_like(dark)
        seeds[3] = True
        return _joined(seeds, dark & scanned, scanned)

    assert reached(0)[3:20].all()
    assert not reached(0)[24:].any()
    assert reached(1)[24:].all()


def test_specks_of_noise_are_filled_and_a_plate_as_thin_as_a_step_is_not():
    part = np.ones((21, 21, 21), dtype=bool)
    part[5, 5, 5:8] = False
    part[12] = False
    filled = _without_specks(part)
    assert filled[5, 5].all()
    assert not filled[12].any()
