"""What lies over the panorama stays within the panorama."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import sample_volumes
from core import load_plan
from core.geometry import PictureGrid
from core.image.ribbon import Ribbon
from core.pictures.overlay import arch_map_overlay, panorama_overlay, within_width
from core.plans.side import traced
from core.structures import Course, Tapered

HALF = 10.0
PLACES = st.tuples(st.floats(-30, 30), st.floats(-5, 5))


@given(st.lists(PLACES, min_size=2, max_size=8))
def test_what_is_left_of_a_line_is_exactly_what_lies_within(places):
    line = np.array(places)
    parts = within_width(line, HALF)
    for part in parts:
        assert np.abs(part[:, 0]).max() <= HALF + 1e-9
    # Held against many samples of the line itself: as much of its length lies within.
    ways = np.diff(line, axis=0)
    lengths = np.linalg.norm(ways, axis=1)
    t = (np.arange(2000) + 0.5) / 2000
    inside = [
        length * np.mean(np.abs(a[0] + t * way[0]) <= HALF)
        for a, way, length in zip(line, ways, lengths, strict=False)
    ]
    kept = sum(np.linalg.norm(np.diff(part, axis=0), axis=1).sum() for part in parts)
    assert kept == pytest.approx(sum(inside), abs=0.02 * len(line) + 1e-6)


def test_a_canal_longer_than_the_panorama_ends_at_its_edge():
    plan = load_plan(sample_volumes.path("lower_left_36.plan.json"))
    arch = traced(plan)
    ribbon = Ribbon.along(arch, heights_mm=(-30, 10), pixel_mm=0.5)
    half = ribbon.cols * ribbon.pixel_mm / 2
    lines = [x.points for x in panorama_overlay(plan, arch, ribbon).lines if x.style == "canal"]
    assert lines
    assert max(np.abs(points[:, 0]).max() for points in lines) == pytest.approx(half)


def sample_panorama(structures=None):
    plan = load_plan(sample_volumes.path("lower_left_36.plan.json"))
    plan = plan if structures is None else replace(plan, structures=structures)
    arch = traced(plan)
    return plan, arch, Ribbon.along(arch, heights_mm=(-35.0, 5.0), pixel_mm=0.3)


def a_border(arch, above_mm, slope):
    """A lower border along the whole arch, so far above the foot of the panorama."""
    points = []
    for station in np.arange(2.0, arch.length_mm, 4.0):
        frame = arch.frame(station)
        height = -35.0 + above_mm + slope * (station - arch.length_mm / 2)
        points.append(frame.origin + height * arch.level.up)
    return Course(id="border", kind="border", points=np.array(points))


@pytest.mark.parametrize("slope", [0.0, 0.05, -0.05])
@pytest.mark.parametrize("above_mm", [1.5, 2.5, 3.2, 4.5, 6.0])
def test_no_number_of_a_station_covers_a_line(above_mm, slope):
    _, arch, _ = sample_panorama()
    plan, arch, ribbon = sample_panorama((a_border(arch, above_mm, slope),))
    overlay = panorama_overlay(plan, arch, ribbon)
    border = [line.points for line in overlay.lines if line.style == "border"]
    numbers = [label for label in overlay.labels if label.style == "numeral"]
    assert len(numbers) >= 6
    assert len({label.at[1] for label in numbers}) == 1, "they stand in one row"
    for label in numbers:
        for points in border:
            # Many samples of the line, not the ends of its pieces that the program looks at.
            way = np.linspace(0.0, len(points) - 1.0, 20_000)
            at = np.stack([np.interp(way, np.arange(len(points)), points[:, k]) for k in (0, 1)])
            near = np.abs(at[0] - label.at[0]) < 2.0
            assert near.any()
            assert np.abs(at[1][near] - label.at[1]).min() > 1.5


def test_a_line_shorter_than_a_number_is_not_covered_either():
    _, arch, _ = sample_panorama()
    short = [arch.frame(30.0 + d).origin - 31.5 * arch.level.up for d in (-0.5, 0.5)]
    border = Course(id="border", kind="border", points=np.array(short))
    plan, arch, ribbon = sample_panorama((border,))
    overlay = panorama_overlay(plan, arch, ribbon)
    drawn = np.concatenate([x.points for x in overlay.lines if x.style == "border"])
    number = next(label for label in overlay.labels if label.text == "30")
    assert np.abs(drawn[:, 0] - number.at[0]).max() < 1.0
    assert np.abs(drawn[:, 1] - number.at[1]).min() > 1.5


def test_without_a_line_in_the_way_the_numbers_stand_at_the_foot():
    plan, arch, ribbon = sample_panorama(())
    overlay = panorama_overlay(plan, arch, ribbon)
    foot = -ribbon.rows * ribbon.pixel_mm / 2
    assert {round(label.at[1] - foot, 6) for label in overlay.labels} == {3.2}


def test_numbers_that_cannot_give_way_stay_at_the_foot():
    """A line that runs steeply through all heights leaves them where they are looked for."""
    _, arch, _ = sample_panorama()
    upright = [arch.frame(30.0).origin + h * arch.level.up for h in (-34.5, -15.0)]
    steep = Course(id="border", kind="border", points=np.array(upright))
    plan, arch, ribbon = sample_panorama((steep,))
    overlay = panorama_overlay(plan, arch, ribbon)
    foot = -ribbon.rows * ribbon.pixel_mm / 2
    assert {round(label.at[1] - foot, 6) for label in overlay.labels} == {3.2}


def test_a_marked_root_stands_in_the_panorama_as_it_was_marked():
    plan, arch, _ = sample_panorama()
    roots = [s for s in plan.structures if isinstance(s, Tapered)]
    ribbon = Ribbon.along(arch, heights_mm=(-60.0, 40.0), pixel_mm=0.3)
    drawn = [x for x in panorama_overlay(plan, arch, ribbon).lines if x.style == "root"]
    assert len(drawn) == len(roots) > 0
    for root, line in zip(roots, drawn, strict=True):
        assert line.closed
        row_col = ribbon.row_col(root.points)
        u = (row_col[:, 1] - (ribbon.cols - 1) / 2) * ribbon.pixel_mm
        v = ((ribbon.rows - 1) / 2 - row_col[:, 0]) * ribbon.pixel_mm
        low, high = line.points.min(axis=0), line.points.max(axis=0)
        for place in zip(u, v, strict=True):
            assert np.all(np.array(place) >= low - 0.6)
            assert np.all(np.array(place) <= high + 0.6)
        # As wide at its widest as it was measured.
        assert high[0] - low[0] >= max(root.diameters_mm) - 0.6


def test_numbers_of_the_arch_stand_beside_its_teeth():
    """A tooth reaches about 5 mm to the cheek of the arch's line (handbook crowns: 8 to 11 mm)."""
    plan, arch, _ = sample_panorama()
    grid = PictureGrid.of_size(
        origin=arch.frame(arch.length_mm / 2).origin, right=(1.0, 0.0, 0.0), up=(0.0, -1.0, 0.0),
        size_mm=(160.0, 160.0), pixel_mm=0.5,
    )  # fmt: skip
    labels = arch_map_overlay(replace(plan, fixtures=()), arch, grid).labels
    assert [label.text for label in labels] == [f"{n}" for n in range(0, int(arch.length_mm), 10)]
    line = grid.uv_mm(arch.curve.polyline(0.05)[1])[:, :2]
    for label in labels:
        assert np.linalg.norm(line - np.array(label.at), axis=1).min() > 8.0, label.text
