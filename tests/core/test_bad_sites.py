"""Sites where measuring goes wrong: the right number, or none with the reason.

No bone, a fixture half outside the scan, metal streaks, a flat and a knife-edge ridge, a fixture
in a tooth, a fresh socket, the upper jaw; all with edges found as by default.
"""

from functools import lru_cache

import numpy as np
import pytest

from core.arch import fixture_frame
from core.bone.edges import ScanEdges
from core.bone.level_learning import bone_levels
from core.bone.plate_fit import PlateFit
from core.bone.plates import plate_thickness
from core.bone.remaining_bone import NOT_SCANNED, TO_ROOT, remaining_bone_map
from core.bone.remaining_bone_minima import minima
from core.bone.ridge import ridge_at_fixture, ridge_at_site
from core.bone.surface import bone_surface
from core.fixture import Fixture, FixtureSize
from core.image.volume import Volume
from core.structures import Tapered
from tests.core.bone_phantoms import SOFT, Jaw, rounded, scan_of, width_at

TOP, STATION = -4.0, 58.0
BODY = rounded(10.0, 26.0, TOP, radius=4.0)
FLAT = np.array([[-7, -16], [7, -16], [7, TOP], [-7.0, TOP]])
KNIFE = np.array([[-6, -28], [6, -28], [6, -14], [0.6, TOP], [-0.6, TOP], [-6, -14.0]])
OUTLINES = {"flat": FLAT, "knife": KNIFE}


def streaked(volume):
    """Bright and dark fans from a point beside the site, half as strong as cortex."""
    k, j, i = np.indices(volume.shape, dtype=np.float32)
    _, nj, ni = volume.shape
    angle = np.arctan2(j - 0.35 * nj, i - 0.1 * ni)
    near = 1.0 / (1.0 + np.hypot(j - 0.35 * nj, i - 0.1 * ni) * 0.3 / 12.0)
    wave = 2600.0 * near * np.sign(np.sin(28.0 * angle + 0.2 * np.sin(k)))
    voxels = np.clip(volume.voxels + wave, 0, 32000).astype(np.int16)
    return Volume(voxels=voxels, mm_from_ijk=volume.mm_from_ijk, made_up=volume.made_up)


@lru_cache
def scene(kind):
    """(volume, arch, levels, finder, jaw)."""
    jaw = Jaw(outline=OUTLINES.get(kind, BODY), upper=kind == "upper")
    if kind == "socket":
        jaw.solids = [(lambda s, w, h: np.maximum(np.hypot(s - STATION, w) - 2.6, -13.0 - h), SOFT)]
    volume, arch = scan_of(jaw, station=STATION, voxel=0.3, reach=14.0)
    levels = bone_levels(volume, arch)
    name = "upper" if jaw.upper else "lower"
    finder = PlateFit.of(volume, arch, name, levels)
    if kind == "empty":
        # Levels of a jaw, at a place of it where there is none.
        volume, _ = scan_of(Jaw(outline=np.add(BODY, (60.0, 0.0))), station=STATION, voxel=0.3)
    if kind == "streaks":
        volume = streaked(volume)
    return volume, arch, levels, finder, name


def site(kind):
    volume, arch, levels, finder, name = scene(kind)
    return ridge_at_site(volume, arch, STATION, levels, name, (), finder)


def placed(kind, *, w=0.0, down=1.0, tooth="36"):
    _, arch, _, _, name = scene(kind)
    f = arch.frame(STATION)
    up = f.up if name == "lower" else -f.up
    return Fixture(
        id="f",
        tooth=tooth,
        platform=f.origin + (TOP - down) * up + w * f.buccal,
        towards_apex=-up,
        size=FixtureSize(diameter_mm=4.0, length_mm=8.0),
    )


def walls(kind, fixture, structures=()):
    volume, arch, levels, finder, _ = scene(kind)
    frame = fixture_frame(fixture, arch)
    return remaining_bone_map(volume, fixture, frame, levels, finder, structures)


def surfaces(kind, fixture):
    volume, arch, levels, finder, name = scene(kind)
    frame = fixture_frame(fixture, arch)
    return bone_surface(fixture, frame, volume, levels, finder, upper=name == "upper")


def test_without_bone_there_is_no_number_anywhere():
    result = site("empty")
    assert result.crest_mm is None
    readings = [w.reading for w in result.widths]
    readings += [least.reading for least in minima(walls("empty", placed("empty"))).values()]
    for reading in readings:
        assert reading.notes
        # A wall without bone is the fixture standing free: never more than nothing.
        assert reading.value is None or reading.value <= -1.9
    assert all(r.value is None for r in surfaces("empty", placed("empty")).values())


def test_a_fixture_half_outside_the_scan_is_not_assessed_on_the_lost_side():
    fixture = placed("usual", w=12.0)
    least = minima(walls("usual", fixture))["buccal"].reading
    assert least.value is None or least.upper_bound or least.value < 0
    assert least.notes
    lost = surfaces("usual", fixture)["buccal"]
    assert lost.value is None or lost.value < 0
    volume, arch, levels, finder, name = scene("usual")
    ridge = ridge_at_fixture(volume, arch, fixture, levels, name, (), lambda s: 0.0, finder)
    assert all(r.value is None and r.notes for r in ridge.platform_depths.values())


def test_in_streaks_a_reading_is_right_or_it_is_none():
    result = site("streaks")
    seen = 0
    for width in result.widths:
        true = width_at(BODY, TOP - width.depth_mm)[0]
        if width.reading.value is None:
            assert width.reading.notes
            continue
        seen += 1
        assert width.reading.value == pytest.approx(true, abs=0.6 if width.depth_mm < 2 else 0.4)
    volume, _, levels, finder, _ = scene("streaks")
    scan = ScanEdges(volume=volume, levels=levels, finder=finder)
    for plate in plate_thickness(scan, result.bone, result.widths):
        if plate.reading.value is None:
            assert plate.reading.notes
            continue
        seen += 1
        sd = np.hypot.reduce(plate.reading.edge_sd_mm)
        assert abs(plate.reading.value - 2.0) < max(0.3, 3.0 * sd)
    assert seen < 15


def test_a_flat_ridge_is_as_wide_as_it_is():
    for width in site("flat").widths[:4]:
        assert width.reading.value == pytest.approx(14.0, abs=0.1)


def test_a_knife_edge_is_narrow_and_its_crest_is_not_lifted():
    result = site("knife")
    crest = result.bone.plane.h(result.crest_mm)
    assert TOP - 0.5 < crest < TOP + 0.1
    for width in result.widths[1:]:
        true = width_at(KNIFE, crest - width.depth_mm)[0]
        # At 10 mm the outline has a corner, which blur rounds off.
        assert width.reading.value == pytest.approx(true, abs=0.1 if width.depth_mm < 9 else 0.2)


def test_a_fixture_in_a_tooth_has_no_bone_beside_it():
    fixture = placed("usual")
    root = Tapered(
        id="root-36",
        kind="root",
        tooth="36",
        diameters_mm=(6.0, 5.0),
        points=[fixture.on_axis(-1.0), fixture.on_axis(12.0)],
    )
    remaining = walls("usual", fixture, (root,))
    # Two directions leave this small field on the way in.
    assert np.isin(remaining.state, (TO_ROOT, NOT_SCANNED)).all()
    assert (remaining.state == TO_ROOT).mean() > 0.95
    for least in minima(remaining).values():
        assert least.reading.value == pytest.approx(0.0, abs=0.05)
        assert "wall_to_root" in [n.code for n in least.reading.notes]


def test_in_a_fresh_socket_only_bone_counts_and_the_gap_is_told():
    fixture = placed("socket", down=1.0)
    root = Tapered(
        id="root-36",
        kind="root",
        tooth="36",
        diameters_mm=(5.2, 5.2),
        points=[fixture.on_axis(-1.0), fixture.on_axis(8.0)],
        to_be_removed=True,
    )
    for structures in ((), (root,)):
        remaining = walls("socket", fixture, structures)
        rows = (remaining.depths_mm > 3.0) & (remaining.depths_mm < 6.5)
        buccal = remaining.turns_deg == 0.0
        assert np.median(remaining.gap_mm[rows][:, buccal]) == pytest.approx(0.6, abs=0.25)
        assert np.median(remaining.bone_mm[rows][:, buccal]) == pytest.approx(2.4, abs=0.3)
    widths = [w.reading for w in site("socket").widths]
    assert widths[1].notes[0].code == "ridge_two_intervals"
    assert widths[4].value == pytest.approx(10.0, abs=0.1)


def test_the_upper_jaw_reads_as_the_lower_one():
    for width in site("upper").widths:
        true = width_at(BODY, TOP - width.depth_mm)[0]
        assert width.reading.value == pytest.approx(true, abs=0.25 if width.depth_mm < 2 else 0.1)
    least = minima(walls("upper", placed("upper", down=4.0, tooth="26")))
    for side in ("buccal", "lingual"):
        assert least[side].reading.value == pytest.approx(3.0, abs=0.15)
