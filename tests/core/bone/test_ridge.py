"""Ridge readings on swept analytic jaws: both jaws, both sides, noise and blur."""

from functools import lru_cache

import numpy as np
import pytest

from core.arch import fixture_frame
from core.bone.bone_in_plane import outline
from core.bone.edges import ScanEdges
from core.bone.half_maximum import HalfMaximum
from core.bone.level_learning import bone_levels
from core.bone.plate_fit import PlateFit
from core.bone.plates import plate_thickness
from core.bone.ridge import ridge_at_fixture, ridge_at_site
from core.bone.ridge_height import needed_width
from core.bone.ridge_likely import without_single_plates
from core.fixture import Fixture, FixtureSize
from core.geometry import unit
from core.measurement import Reading
from core.structures import Course, Floor, Tapered
from tests.core.bone_phantoms import METAL, SOFT, Jaw, rounded, scan_of, width_at

TOP = -4.0
BODY = rounded(10.0, 26.0, TOP, radius=4.0)
KNIFE = np.array([[-6, -28], [6, -28], [6, -14], [0.6, TOP], [-0.6, TOP], [-6, -14.0]])
LEFT, RIGHT = 58.0, 10.0


@lru_cache
def case(name):
    """(volume, arch, levels, finder, station, jaw) of a named phantom."""
    station = RIGHT if "right" in name else LEFT
    jaw, more = Jaw(outline=BODY, holes=[(0.5, -23.0, 1.5, SOFT)]), {}
    if "upper" in name:
        jaw.upper = True
    if "turned" in name:
        more = {"turn_deg": 17.0}
    if "knife" in name:
        jaw = Jaw(outline=KNIFE)
    if "flat" in name:
        jaw = Jaw(outline=np.array([[-7, -12], [7, -12], [7, TOP], [-7.0, TOP]]))
    if "filling" in name:
        jaw.solids = [
            (lambda s, w, h: np.maximum(np.hypot(s - LEFT, w) - 1.5, np.abs(h + 0.5) - 2.0), METAL)
        ]
    if "one plate" in name:
        # The tongue's plate and the marrow are as dark as what lies around.
        jaw = Jaw(outline=BODY, cortex=lambda w, h: np.where(w > 0.5, 0.9, 0.0), spongy=SOFT)
    if "socket" in name:
        jaw.solids = [(lambda s, w, h: np.maximum(np.hypot(s - LEFT, w) - 2.0, -12.0 - h), SOFT)]
    if "empty" in name:
        jaw.outline = np.add(BODY, (60.0, 0.0))
    volume, arch = scan_of(jaw, station=station, voxel=0.3, **more)
    borrowed = "empty" in name or "one plate" in name
    base, base_arch = case("lower left")[:2] if borrowed else (volume, arch)
    levels = bone_levels(base, base_arch)
    name_of_jaw = "upper" if jaw.upper else "lower"
    return volume, arch, levels, HalfMaximum(levels=levels), station, name_of_jaw


def site(name, structures=(), **more):
    volume, arch, levels, finder, station, jaw = case(name)
    return ridge_at_site(volume, arch, station, levels, jaw, structures, finder, **more)


def canal(name, w=0.5, h=-23.0, r=1.5):
    _, arch, _, _, station, jaw = case(name)
    frames = [arch.frame(station + ds) for ds in (-6, -2, 2, 6)]
    sign = -1 if jaw == "upper" else 1
    points = [f.origin + w * f.buccal + sign * h * f.up for f in frames]
    return Course(id="canal-left", kind="canal", points=points, diameter_mm=2 * r)


@pytest.mark.parametrize(
    "name", ["lower left", "lower right", "upper left", "upper right", "lower left turned"]
)
def test_crest_and_widths_are_those_of_the_outline(name):
    result = site(name)
    _, arch, _, _, station, jaw = case(name)
    frame = arch.frame(station)
    height = (result.crest_mm - frame.origin) @ frame.up * (1 if jaw == "lower" else -1)
    assert height == pytest.approx(TOP, abs=0.12)
    for width in result.widths:
        true, lingual, buccal = width_at(BODY, TOP - width.depth_mm)
        assert width.reading.value == pytest.approx(true, abs=0.3 if width.depth_mm < 2 else 0.1)
        assert width.least.value <= width.reading.value + 0.05
        ends = [(p - frame.origin) @ frame.buccal for p in width.reading.witness]
        assert ends == pytest.approx([buccal, lingual], abs=0.2)
        assert all(0.04 < sd < 0.2 for sd in width.reading.edge_sd_mm[:2])
        # The crest's doubt counts by how fast the ridge widens there, above or below.
        beside = [width_at(BODY, TOP - width.depth_mm + step)[0] for step in (-0.25, 0.25)]
        wider = max(abs(w - true) for w in beside) / 0.25
        by_crest = width.reading.edge_sd_mm[2]
        assert by_crest == pytest.approx(wider * result.crest.sd_mm, abs=0.04)


def test_the_right_and_the_left_of_the_patient_are_told_by_coordinates():
    for name, sign in (("lower right", -1), ("lower left", 1)):
        buccal, lingual = site(name).widths[2].reading.witness
        assert np.sign(buccal[0]) == sign
        assert abs(buccal[0]) > abs(lingual[0])


def test_knife_edge_reads_narrow_and_flat_ridge_wide():
    knife, flat = site("knife lower left"), site("flat lower left")
    for width in knife.widths[1:]:
        true = width_at(KNIFE, knife.bone.plane.h(knife.crest_mm) - width.depth_mm)[0]
        assert width.reading.value == pytest.approx(true, abs=0.15)
    assert TOP - 0.8 < knife.bone.plane.h(knife.crest_mm) < TOP + 0.1
    for width in flat.widths[:4]:
        if width.depth_mm < 7.5:
            assert width.reading.value == pytest.approx(14.0, abs=0.15)
    assert flat.widths[4].reading.value is None
    assert flat.widths[4].reading.notes[0].code == "ridge_no_bone_at_depth"


def test_a_filling_over_the_gum_is_not_the_crest():
    result = site("filling lower left")
    assert result.bone.plane.h(result.crest_mm) == pytest.approx(TOP, abs=0.12)


def test_a_socket_makes_two_intervals_and_no_width():
    result = site("socket lower left")
    width = result.widths[1].reading
    assert width.value is None
    assert width.notes[0].code == "ridge_two_intervals"
    assert result.widths[4].reading.value == pytest.approx(10.0, abs=0.15)


def test_without_bone_nothing_is_measured_and_the_reason_is_given():
    result = site("empty lower left")
    assert result.crest_mm is None
    assert {w.reading.notes[0].code for w in result.widths} == {"ridge_no_bone"}
    assert result.height.value is None


def test_height_ends_at_the_level_of_a_canal_beside_the_axis():
    beside = canal("lower left", w=3.5, h=-20.0)
    result = site("lower left", (beside,))
    assert result.height.value == pytest.approx(TOP - (-20.0 + 1.5), abs=0.15)
    assert result.heights[0].target == "canal-left"
    assert sum(
        m.gradient @ case("lower left")[1].frame(LEFT).up for m in result.height.marks
    ) == pytest.approx(-1.0, abs=1e-3)
    assert site("lower left").height.notes[0].code == "height_nothing_marked"


def test_height_under_a_floor_in_the_upper_jaw():
    _, arch, *_ = case("upper left")
    f = arch.frame(LEFT)
    marks = [
        f.origin + w * f.buccal + s * f.travel + h * f.up
        for w, s, h in ((-5, -5, 16), (5, -5, 16), (-5, 5, 16), (5, 5, 16), (0, 0, 14.0))
    ]
    result = site("upper left", (Floor(id="sinus-left", of="sinus", points=marks),))
    assert result.height.value == pytest.approx(14.0 + TOP, abs=0.15)
    assert sum(m.gradient @ f.up for m in result.height.marks) == pytest.approx(1.0, abs=0.01)
    far = Floor(id="sinus-left", of="sinus", points=np.array(marks) + 30.0 * f.travel)
    assert site("upper left", (far,)).height.notes[0].code == "height_not_in_section"
    in_line = Floor(id="sinus-left", of="sinus", points=[
        f.origin + s * f.travel + 16 * f.up for s in (-3.0, 0.0, 3.0)
    ])  # fmt: skip
    (note,) = site("upper left", (in_line,)).height.notes
    assert note.code == "height_floor_no_surface", "marked on both sides, and still no surface"
    assert "sinus floor left" in note.message


def test_usable_height_loses_what_is_too_narrow():
    marked = canal("knife lower left", w=0, h=-24.0)
    result = site("knife lower left", (marked,), needed_width_mm=6.1)
    crest = result.bone.plane.h(result.crest_mm)
    level = -4.0 - (6.1 - 1.2) / (12 - 1.2) * 10.0
    assert result.usable.lost.value == pytest.approx(crest - level, abs=0.25)
    assert result.usable.height.value == pytest.approx(level - (-24.0 + 1.5), abs=0.25)
    wide = site("knife lower left", (marked,), needed_width_mm=13.0)
    assert wide.usable.height.value == 0.0
    above = site("knife lower left", (canal("knife lower left", w=0, h=2.0),), needed_width_mm=6.1)
    assert above.height.value < 0.0, "the canal lies above the crest"
    assert (above.usable.height.value, above.usable.lost.value) == (0.0, 0.0)


def test_a_crest_that_blur_has_rounded_is_read_where_it_is():
    """The half-way surface of a blurred arc of radius R lies about s² / 2R inside it."""
    narrow = rounded(3.0, 20.0, TOP, radius=1.5)
    volume, arch = scan_of(Jaw(outline=narrow, cortex=2.0), station=LEFT, voxel=0.25, noise=20.0)
    levels = bone_levels(*case("lower left")[:2])
    learnt = PlateFit.of(*case("lower left")[:2], "lower", levels)
    crests = [
        ridge_at_site(volume, arch, LEFT, levels, "lower", (), finder)
        for finder in (learnt, HalfMaximum(levels=levels))
    ]
    fitted, half = (r.bone.plane.h(r.crest_mm) - TOP for r in crests)
    assert half < -0.02
    assert fitted == pytest.approx(0.0, abs=0.03)


def test_a_ridge_that_runs_on_into_the_palate_is_wide_enough_there():
    shelf = np.array(
        [[-5, TOP], [5, TOP], [5, -26], [-17.5, -26], [-17.5, -13], [-5.0, -13]], dtype=float
    )
    volume, arch = scan_of(Jaw(outline=shelf), station=LEFT, voxel=0.3)
    levels = bone_levels(*case("lower left")[:2])
    finder = HalfMaximum(levels=levels)
    marked = canal("lower left", w=0.0, h=-23.0)
    result = ridge_at_site(
        volume, arch, LEFT, levels, "lower", (marked,), finder, needed_width_mm=7.0
    )
    assert result.usable.height.value == pytest.approx(TOP + 23.0 - 1.5, abs=0.6)
    assert "usable_seen_wide" in [n.code for n in result.usable.height.notes]
    wide = ridge_at_site(
        volume, arch, LEFT, levels, "lower", (marked,), finder, needed_width_mm=21.0
    )
    assert wide.usable.height.value is None or wide.usable.height.value < 1.0


def root(w=0.0, h=(-1.0, -16.0), *, lean=0.0, gone=False, kind="root"):
    """A root in the section; `lean` moves its coronal end along the arch."""
    _, arch, *_ = case("lower left")
    top, tip = arch.frame(LEFT + lean), arch.frame(LEFT)
    return Tapered(
        id="root-36",
        kind=kind,
        tooth="36",
        points=[
            top.origin + w * top.buccal + h[0] * top.up,
            tip.origin + w * tip.buccal + h[1] * tip.up,
        ],
        diameters_mm=(4.0, 2.0),
        to_be_removed=gone,
    )


def test_a_root_that_leans_into_the_section_ends_the_height_and_one_at_the_crest_leaves_none():
    deep = canal("lower left")
    alone = site("lower left", (deep,)).height.value
    leaning = site("lower left", (deep, root(lean=9.0))).heights[0]
    assert leaning.target == "root-36"
    assert 3.0 < leaning.reading.value < alone - 3.0
    standing = site("lower left", (deep, root())).heights[0].reading
    assert standing.value is None
    assert standing.notes[0].code == "height_root_at_crest"
    # Its socket is not bone: the crest is that beside it, on a top that is nearly flat.
    removed = site("lower left", (deep, root(gone=True))).height.value
    assert alone - 0.3 < removed <= alone


def test_needed_width_is_the_arithmetic_of_the_margins():
    """Ridge rule d + buccal + lingual: 4.1 + 1 + 1 = 6.1, 4.1 + 2 + 1 = 7.1."""
    assert needed_width(4.1, 1, 1) == pytest.approx(6.1)
    assert needed_width(4.1, 2, 1) == pytest.approx(7.1)
    assert needed_width(4.0, 1, 1) == pytest.approx(6.0)


def fixture_at(name, *, down=1.0, tilt=0.0, w=0.0):
    _, arch, _, _, station, jaw = case(name)
    f = arch.frame(station)
    coronal = f.up if jaw == "lower" else -f.up
    axis = unit(-np.cos(np.radians(tilt)) * coronal + np.sin(np.radians(tilt)) * f.buccal)
    return Fixture(
        id="f",
        platform=f.origin + (TOP - down) * coronal + w * f.buccal,
        towards_apex=axis,
        size=FixtureSize(diameter_mm=4.0, length_mm=10.0),
    )


@pytest.mark.parametrize("name", ["lower left", "upper right"])
def test_fixture_reads_along_axis_and_along_up(name):
    volume, arch, levels, finder, _, jaw = case(name)
    fixture = fixture_at(name, tilt=15.0)
    marked = canal(name)
    result = ridge_at_fixture(volume, arch, fixture, levels, jaw, (marked,), lambda s: 2.0, finder)
    assert [w.along for w in result.widths] == ["axis"] * 5 + ["up"] * 5
    assert [h.along for h in result.heights] == ["axis", "up"]
    # Across a body with upright walls the tilted line is longer: cosine law.
    tilted, upright = result.widths[3].reading.value, result.widths[8].reading.value
    assert upright == pytest.approx(10.0, abs=0.12)
    assert tilted == pytest.approx(10.0 / np.cos(np.radians(15)), abs=0.15)
    assert set(result.platform_depths) == {"buccal", "lingual", "mesial", "distal"}


def test_platform_depths_are_the_bone_over_each_place_of_the_rim():
    volume, arch, levels, finder, _, jaw = case("lower left")
    fixture = fixture_at("lower left", down=1.0, w=3.0)
    result = ridge_at_fixture(volume, arch, fixture, levels, jaw, (), lambda s: 0.0, finder)
    depth = {k: v.value for k, v in result.platform_depths.items()}
    # Top is flat to w = 1, then a circle of 4 mm about (1, TOP - 4).
    assert depth["lingual"] == pytest.approx(1.0, abs=0.12)
    assert depth["mesial"] == pytest.approx(1.0 - (4 - np.sqrt(16 - 2.0**2)), abs=0.15)
    assert depth["distal"] == pytest.approx(depth["mesial"], abs=0.15)
    assert result.height.notes[0].code == "height_nothing_marked"


def test_a_crest_beside_the_axis_is_a_sloping_crest():
    volume, arch, levels, finder, _, jaw = case("knife lower left")
    fixture = fixture_at("knife lower left", down=1.0, w=2.5)
    result = ridge_at_fixture(volume, arch, fixture, levels, jaw, (), lambda s: 0.0, finder)
    assert result.crest.notes[0].code == "ridge_sloping_crest"
    assert result.crest.notes[0].fields["above"] > 1.0


def test_fixture_half_outside_the_scan_is_not_assessed():
    volume, arch, levels, finder, _, jaw = case("lower left")
    fixture = fixture_at("lower left", w=16.0)
    result = ridge_at_fixture(volume, arch, fixture, levels, jaw, (), lambda s: 0.0, finder)
    assert result.crest_mm is None
    assert all(r.value is None for r in result.platform_depths.values())


def test_plates_of_two_millimetres_along_the_normal():
    volume, _, levels, finder, *_ = case("lower left")
    result = site("lower left")
    scan = ScanEdges(volume=volume, levels=levels, finder=finder)
    plates = plate_thickness(scan, result.bone, result.widths)
    assert len(plates) == 10
    for plate in plates[2:]:
        assert plate.reading.value == pytest.approx(2.0, abs=0.15)


def test_outline_runs_along_the_jaw():
    volume, _, levels, *_ = case("lower left")
    lines = outline(volume, levels, site("lower left").bone.plane, crown_level_mm=0, upper=False)
    longest = max(lines, key=len)
    assert np.ptp(longest[:, 0]) == pytest.approx(10.0, abs=0.3)
    assert np.ptp(longest[:, 1]) == pytest.approx(26.0, abs=0.4)


def test_frames_name_buccal_by_the_arch():
    _, arch, *_ = case("lower right")
    frame = fixture_frame(fixture_at("lower right"), arch)
    assert frame.b[0] < 0


def test_one_plate_is_not_taken_for_the_ridge():
    """Widths of 0.5 to 0.8 mm were told in ridges of 9 to 12 mm whose other plate did not show."""
    result = site("one plate")
    assert result.crest_mm is not None
    assert len(result.widths) == 5
    for width in result.widths:
        assert width.reading.value is None, width.depth_mm
        assert [n.code for n in width.reading.notes] == ["ridge_one_plate"]


def test_one_plate_is_told_though_a_deeper_width_was_read_whole():
    """Widths of 0.8 mm stood in a ridge of 9 to 10 mm, which was read whole at 10 mm depth."""
    depths = np.array([1.0, 3.0, 5.0, 7.0, 10.0])
    found = [Reading(value=value) for value in (0.9, 0.83, 0.81, 0.86, 10.6)]
    kept = without_single_plates(depths, found)
    assert [r.value for r in kept] == [None, None, None, None, 10.6]
    assert {n.code for r in kept[:4] for n in r.notes} == {"ridge_one_plate"}


def test_a_narrow_crest_alone_is_no_plate():
    depths = np.array([1.0, 3.0, 5.0])
    found = [Reading(value=1.4), Reading(value=2.6), Reading(value=3.9)]
    assert without_single_plates(depths, found) == found


def test_a_knife_edge_that_widens_is_a_ridge():
    widths = {w.depth_mm: w.reading.value for w in site("knife").widths}
    assert widths[3.0] < 5.0
    assert widths[10.0] == pytest.approx(width_at(KNIFE, TOP - 10.0)[0], abs=0.3)
