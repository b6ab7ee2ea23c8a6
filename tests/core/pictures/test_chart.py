"""Pictures: what is drawn lies where geometry says, and letters come from the patient."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from core.distances.outline import distance_lines, fixture_outline, structure_lines
from core.drawing import hatch, patient_letters, window_of
from core.geometry import PictureGrid
from core.pictures.chart import (
    View,
    across_arch_chart,
    neighbour_charts,
    through_axis_chart,
)
from core.pictures.chart_desk import Desk
from core.pictures.map_chart import arch_map_chart, panorama_chart
from core.structures import Course, Floor, Tapered
from tests.sheet_material import (
    CANAL_Z_MM,
    RADIUS_MM,
    arch_of,
    fixture_at,
    ledger_of,
    plan_with,
    round_jaw,
)

VOLUME = round_jaw()
PLAN = plan_with(fixture_at(15.0, "36"))
ARCH = arch_of(PLAN)
FIXTURE = PLAN.fixtures[0]
STATION = ARCH.station(FIXTURE.platform)


def lines_of(chart, style):
    return [line for line in chart.lines if line.style == style]


def flat(origin, right, up, size=(30.0, 30.0)):
    return PictureGrid.of_size(origin=origin, right=right, up=up, size_mm=size, pixel_mm=0.2)


def test_canal_below_the_arch_is_cut_as_a_circle():
    # A plane through the axis of a torus cuts its tube as a circle of the tube's radius.
    chart = across_arch_chart(VOLUME, PLAN, ARCH, STATION)
    (ring,) = lines_of(chart, "canal")
    centre = chart.grid.uv_mm(np.append(FIXTURE.platform[:2], CANAL_Z_MM))[0, :2]
    radii = np.linalg.norm(ring.points - centre, axis=1)
    assert ring.closed
    assert radii == pytest.approx(1.5, abs=0.02)


def test_distance_lines_lie_at_their_distance_in_space():
    grid = across_arch_chart(VOLUME, PLAN, ARCH, STATION).grid
    found = distance_lines(PLAN.structures, grid, (1.0, 2.0, 3.0))
    centre = grid.uv_mm(np.append(FIXTURE.platform[:2], CANAL_Z_MM))[0, :2]
    assert [level for level, _ in found] == [1.0, 2.0, 3.0]
    for level, line in found:
        radii = np.linalg.norm(line - centre, axis=1)
        assert radii == pytest.approx(1.5 + level, abs=0.02)


def test_oblique_cut_of_a_straight_tube_is_an_ellipse():
    # Cylinder of radius r cut at 60 degrees to its axis: semi-axes r and r / sin 60.
    turn = np.radians(60.0)
    along = np.array([np.cos(turn), 0.0, np.sin(turn)])
    tube = Course(id="c", kind="canal", points=[-30 * along, 30 * along], diameter_mm=4.0)
    (ring,) = [line for line in structure_lines((tube,), flat((0, 0, 0), (1, 0, 0), (0, 1, 0)))
               if line.style == "canal"]  # fmt: skip
    half = np.ptp(ring.points, axis=0) / 2
    assert half == pytest.approx((2.0 / np.sin(turn), 2.0), abs=0.03)


def test_root_is_cut_with_the_radius_of_its_depth():
    root = Tapered(id="r", kind="root", points=[(0, 0, 0), (0, 0, -10)], diameters_mm=(6.0, 2.0))
    (ring,) = structure_lines((root,), flat((0, 0, -5), (1, 0, 0), (0, 1, 0)))
    # Balls of radius 3 - 0.2 s at depth s: their envelope at depth 5 is the cone's own radius
    # 2 / cos a, with sin a the slope 0.2 (the ball that touches lies a little higher).
    expected = 2.0 / np.sqrt(1 - 0.2**2)
    assert np.linalg.norm(ring.points, axis=1) == pytest.approx(expected, abs=0.03)


def test_floor_is_cut_along_its_surface_and_ends_at_its_rim():
    marks = [(x, y, 2.0) for x in (-5.0, 5.0) for y in (-5.0, 5.0)]
    floor = Floor(id="f", of="sinus", points=marks)
    (line,) = structure_lines((floor,), flat((0, 0, 0), (1, 0, 0), (0, 0, 1)))
    assert line.points[:, 1] == pytest.approx(2.0, abs=1e-6)
    assert np.abs(line.points[:, 0]).max() == pytest.approx(5.0, abs=0.25)


def test_fixture_is_drawn_with_its_own_profile():
    grid = through_axis_chart(VOLUME, PLAN, ARCH, FIXTURE).grid
    (ring,) = fixture_outline(FIXTURE, grid)
    assert np.ptp(ring, axis=0) == pytest.approx((4.0, 8.0), abs=1e-9)
    lowest = ring[ring[:, 1] < ring[:, 1].min() + 1e-9]
    assert np.ptp(lowest[:, 0]) == pytest.approx(3.0, abs=1e-9)


def test_section_beside_the_axis_cuts_the_fixture_as_a_chord():
    # At 1.2 mm from the axis a circle of radius 2 has the chord 2 sqrt(4 - 1.44) = 3.2.
    middle = FIXTURE.on_axis(0.5)
    grid = flat(middle + np.array([1.2, 0, 0]), (0, 1, 0), (0, 0, 1))
    (ring,) = fixture_outline(FIXTURE, grid)
    assert np.ptp(ring[:, 0]) == pytest.approx(3.2, abs=0.03)
    assert (
        fixture_outline(FIXTURE, flat(middle + np.array([3.0, 0, 0]), (0, 1, 0), (0, 0, 1))) == []
    )


@pytest.mark.parametrize(
    ("degrees", "tooth", "outer"), [(15.0, "36", "L"), (165.0, "46", "R"), (15.0, "26", "L")]
)
def test_buccal_and_mesial_on_both_sides(degrees, tooth, outer):
    plan = plan_with(fixture_at(degrees, tooth), jaw="upper" if tooth == "26" else "lower")
    inner = {"L": "R", "R": "L"}[outer]
    across = across_arch_chart(VOLUME, plan, ARCH, ARCH.station(plan.fixtures[0].platform))
    tongue = "Palatal" if tooth == "26" else "Lingual"
    assert across.sides.right == f"Buccal · {outer}"
    assert across.sides.left == f"{tongue} · {inner}"
    assert (across.sides.top, across.sides.bottom) == ("S", "I")
    turned = through_axis_chart(VOLUME, plan, ARCH, plan.fixtures[0], turn_deg=90.0)
    assert turned.sides.right.startswith("Mesial · A")
    assert turned.sides.left.startswith("Distal · P")


def test_letters_follow_the_grid_and_not_the_picture():
    plan = plan_with(fixture_at(15.0, "36"))
    plain = through_axis_chart(VOLUME, plan, ARCH, plan.fixtures[0], turn_deg=0.0)
    mirror = through_axis_chart(VOLUME, plan, ARCH, plan.fixtures[0], turn_deg=180.0)
    assert (mirror.sides.left, mirror.sides.right) == (plain.sides.right, plain.sides.left)


def test_without_a_tooth_nothing_is_called_mesial():
    plan = plan_with(replace(FIXTURE, tooth=""))
    chart = through_axis_chart(VOLUME, plan, ARCH, plan.fixtures[0], turn_deg=90.0)
    assert not any(w in chart.sides.right + chart.sides.left for w in ("Mesial", "Distal"))


@given(st.tuples(*[st.floats(-1, 1)] * 3).filter(lambda d: np.linalg.norm(d) > 0.1))
def test_opposite_directions_have_opposite_letters(direction):
    other = str.maketrans("RLAPIS", "LRPASI")
    letters = patient_letters(direction)
    assert letters
    assert patient_letters(-np.array(direction)) == letters.translate(other)


def test_the_two_kinds_of_section_never_share_a_title():
    titles = {through_axis_chart(VOLUME, PLAN, ARCH, FIXTURE, turn_deg=t).title for t in (0, 45)}
    titles.add(across_arch_chart(VOLUME, PLAN, ARCH, STATION).title)
    assert len(titles) == 3
    assert "Section across the arch" in titles


def test_arch_map_and_panorama_keep_the_patients_right_on_the_left():
    chart = arch_map_chart(VOLUME, PLAN, ARCH)
    assert (chart.sides.left, chart.sides.right) == ("R", "L")
    assert (chart.sides.top, chart.sides.bottom) == ("A", "P")
    (arch,) = lines_of(chart, "arch")
    assert arch.points[0, 0] < arch.points[-1, 0]  # travel runs from the right to the left
    strip = panorama_chart(VOLUME, PLAN, ARCH, station_mm=STATION)
    assert (strip.sides.left, strip.sides.right) == ("R", "L")
    (ring,) = lines_of(strip, "fixture")
    assert ring.points[:, 0].mean() == pytest.approx(STATION - ARCH.length_mm / 2, abs=0.2)


@pytest.mark.parametrize(
    ("degrees", "tooth", "first", "last"),
    [
        (15.0, "36", "3 mm mesial", "3 mm distal"),
        (165.0, "46", "3 mm distal", "3 mm mesial"),
        (165.0, "", "3 mm to R", "3 mm to L"),
    ],
)
def test_neighbours_run_from_the_patients_right_to_the_left(degrees, tooth, first, last):
    """As the bench's strip, the panorama and the mesiodistal plane beside them."""
    station = ARCH.station(fixture_at(degrees, tooth or "46").platform)
    charts = neighbour_charts(VOLUME, PLAN, ARCH, station, tooth=tooth)
    assert [c.title for c in charts][0::3] == [first, "here", last]
    # The front is a smaller y: on the right side travel goes towards it, on the left away.
    y = [c.grid.origin[1] for c in charts]
    assert y == sorted(y, reverse=degrees > 90.0)


def test_only_below_limit_is_marked_so():
    deep = plan_with(fixture_at(15.0, "36", length_mm=12.0, depth_mm=1.0))
    for plan, below in ((PLAN, False), (deep, True)):
        ledger = ledger_of(plan)
        row = ledger.get("36/clearance/canal-left")
        assert (row.verdict == "below limit") is below
        chart = across_arch_chart(VOLUME, plan, ARCH, STATION, ledger)
        drawn = lines_of(chart, "witness") + lines_of(chart, "witness off plane")
        assert len(drawn) >= 1
        canal = [line for line in drawn if line.below]
        assert bool(canal) is below
        assert all(not line.below for line in chart.lines if "witness" not in line.style)


def test_a_distance_far_off_the_plane_is_not_drawn_on_it():
    ledger = ledger_of(PLAN)
    chart = across_arch_chart(VOLUME, PLAN, ARCH, STATION, ledger)
    root = ledger.get("36/clearance/root-35").reading
    off = np.abs(chart.grid.uv_mm(np.stack(root.witness))[:, 2]).max()
    assert off > 3.0
    numerals = [label.text for label in chart.labels if label.style == "witness"]
    assert numerals == ["5.5"]  # platform at 20, 8 long, canal's upper edge at 6.5


def test_not_scanned_is_hatched_and_nothing_else():
    mask = np.zeros((40, 60), dtype=bool)
    mask[:10, 30:] = True
    segments = hatch(mask, pixel_mm=0.5, size_mm=(30.0, 20.0), spacing_mm=1.0)
    points = np.concatenate(segments)
    assert len(segments) > 5
    assert points[:, 0].min() >= -0.5
    assert points[:, 1].min() >= 4.5
    assert hatch(~mask & mask, pixel_mm=0.5, size_mm=(30.0, 20.0), spacing_mm=1.0) == []


def test_a_picture_beyond_the_scan_is_hatched_there():
    chart = across_arch_chart(VOLUME, PLAN, ARCH, STATION, view=View(size_mm=(60.0, 80.0)))
    beyond = np.isnan(chart.grey)
    assert 0.1 < beyond.mean() < 0.9
    assert lines_of(chart, "not scanned")
    assert (chart.shades()[beyond] == 0).all()


def test_window_ignores_metal_and_empty_corners():
    rng = np.random.default_rng(3)
    tissue = np.concatenate(
        [rng.normal(-1000, 30, 4000), rng.normal(0, 60, 8000), rng.normal(1400, 150, 3000)]
    )
    plain = window_of(tissue)
    spoiled = window_of(np.concatenate([tissue, np.full(4000, np.nan), np.full(12, 30000.0)]))
    assert plain == pytest.approx(spoiled, abs=60)
    assert -700 < plain[0] < -200
    assert 1500 < plain[1] < 2000


@pytest.mark.parametrize("grey", [np.full((5, 5), 7.0), np.full((5, 5), np.nan), np.zeros(0)])
def test_window_of_a_picture_without_contrast(grey):
    low, high = window_of(grey)
    assert high > low


def test_labels_keep_clear_of_each_other():
    desk = Desk(flat((0, 0, 0), (1, 0, 0), (0, 1, 0)))
    places = [np.array([x, 0.0]) for x in np.linspace(-10, 10, 9)]
    for n in range(4):
        desk.put(str(n), "numeral", places)
    spots = [label.at[0] for label in desk.labels]
    assert len(set(spots)) == 4
    assert min(np.diff(sorted(spots))) >= 2.0


def test_radius_of_the_material():
    assert ARCH.length_mm == pytest.approx(np.pi * RADIUS_MM, abs=0.01)
