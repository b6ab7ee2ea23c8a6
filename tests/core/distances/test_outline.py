"""Outlines that a picture's plane cuts, point by point where they are known."""

from __future__ import annotations

import numpy as np
import pytest

from core.distances.outline import (
    distance_lines,
    fixture_outline,
    structure_lines,
    style_of,
)
from core.fixture import Fixture, FixtureSize
from core.geometry import PictureGrid
from core.structures import Course, Floor, KnownObject, PointMarks, Tapered

TAPERED = FixtureSize(
    diameter_mm=4.0, length_mm=10.0, platform_diameter_mm=4.6, apical_diameter_mm=2.0,
    taper_from_mm=3.0,
)  # fmt: skip


def picture(*, origin=(0, 0, 0), right=(1, 0, 0), up=(0, 0, 1), size=(30.0, 30.0)):
    return PictureGrid.of_size(origin=origin, right=right, up=up, size_mm=size, pixel_mm=0.2)


def fixture(towards_apex=(0, 0, -1), platform=(1.0, 0.0, 2.0)):
    return Fixture(id="f", platform=platform, towards_apex=towards_apex, size=TAPERED)


class TestFixture:
    def test_along_its_axis_the_profile_itself_there_and_back(self):
        (outline,) = fixture_outline(fixture(), picture())
        # (u, v) = (x, z): platform at (1, 2); the profile's waist is drawn, not its hull.
        right = [(3.3, 2.0), (3.0, 1.5), (3.0, -1.0), (2.0, -8.0)]
        left = [(0.0, -8.0), (-1.0, -1.0), (-1.0, 1.5), (-1.3, 2.0)]
        there = np.array(right + left)
        back = np.array(left[::-1] + right[::-1])
        assert np.allclose(outline, there) or np.allclose(outline, back)

    def test_a_tilted_axis_in_the_plane_carries_the_profile_with_it(self):
        (outline,) = fixture_outline(fixture((0.6, 0, -0.8), (0, 0, 0)), picture())
        along, side = np.array([0.6, -0.8]), np.array([0.8, 0.6])
        depth, radius = TAPERED.profile.T
        assert outline @ along == pytest.approx(np.concatenate([depth, depth[::-1]]))
        assert np.abs(outline @ side) == pytest.approx(np.concatenate([radius, radius[::-1]]))
        assert len({*np.sign(outline @ side)[:4], 0.0}) == 2

    @pytest.mark.parametrize(("height", "radius"), [(-3.0, 12 / 7), (1.0, 2.0), (-5.5, 9.5 / 7)])
    def test_across_its_axis_a_circle_of_the_radius_there(self, height, radius):
        grid = picture(origin=(0, 0, height), right=(1, 0, 0), up=(0, 1, 0))
        (outline,) = fixture_outline(fixture(), grid)
        away = np.linalg.norm(outline - (1.0, 0.0), axis=1)
        # The side falls from 2 mm at depth 3 to 1 mm at depth 10: at z = 2 - depth.
        assert away == pytest.approx(np.full(len(away), radius), abs=0.01)

    def test_beside_its_axis_the_flat_ends_and_the_chord(self):
        grid = picture(origin=(0, 1.2, 0))
        (outline,) = fixture_outline(fixture(platform=(0, 0, 0)), grid)
        assert outline[:, 1].max() == pytest.approx(0.0, abs=0.02)
        # Where the radius has come down to 1.2 mm: depth 3 + 7 x 0.8.
        assert outline[:, 1].min() == pytest.approx(-8.6, abs=0.05)
        middle = np.abs(outline[:, 1] + 2.0) < 0.2
        assert np.abs(outline[middle, 0]) == pytest.approx(
            np.full(middle.sum(), np.sqrt(4 - 1.44)), abs=0.01
        )

    def test_a_picture_that_misses_it_has_no_outline(self):
        assert fixture_outline(fixture(), picture(origin=(0, 4.0, 0))) == []
        assert fixture_outline(fixture(), picture(origin=(60, 0.5, 0))) == []
        assert fixture_outline(fixture(), picture(origin=(-60, 0.5, 0))) == []
        near_the_rim = picture(origin=(1.0 - 15.0 - 1.5, 0.5, 0))
        assert fixture_outline(fixture(), near_the_rim) != []


class TestStructures:
    CANAL = Course(
        id="c", kind="canal", points=[(x, 0, -3) for x in (-12, -4, 4, 12)], diameter_mm=3.0
    )

    def test_a_canal_across_the_picture_is_its_circle_with_a_hatch(self):
        grid = picture(origin=(2, 0, 0), right=(0, 1, 0))
        lines = structure_lines((self.CANAL,), grid)
        outlines = [line for line in lines if line.style == "canal"]
        assert len(outlines) == 1
        assert outlines[0].closed
        away = np.linalg.norm(outlines[0].points - (0.0, -3.0), axis=1)
        assert away == pytest.approx(np.full(len(away), 1.5), abs=0.01)
        hatches = [line for line in lines if line.style == "canal hatch"]
        assert len(hatches) >= 3
        for line in hatches:
            assert np.linalg.norm(line.points - (0.0, -3.0), axis=1).max() < 1.5 + 0.25

    def test_along_the_picture_two_walls_three_millimetres_apart(self):
        lines = structure_lines((self.CANAL,), picture(size=(16.0, 16.0)))
        walls = [line.points for line in lines if line.style == "canal"]
        heights = np.concatenate(walls)[:, 1]
        assert np.abs(heights + 3.0) == pytest.approx(np.full(len(heights), 1.5), abs=0.01)
        assert not any(line.closed for line in lines if line.style == "canal")

    def test_a_floor_is_one_line_at_its_height_within_its_marks(self):
        floor = Floor(
            id="s", of="sinus", points=[(x, y, 5 + 0.1 * x) for x in (-6, 0, 6) for y in (-4, 4)]
        )
        (line,) = structure_lines((floor,), picture())
        assert line.style == "floor"
        assert line.points[:, 1] == pytest.approx(5 + 0.1 * line.points[:, 0], abs=1e-6)
        assert line.points[:, 0].min() == pytest.approx(-6, abs=0.25)
        assert line.points[:, 0].max() == pytest.approx(6, abs=0.25)
        assert structure_lines((floor,), picture(origin=(0, 4.3, 0))) == ()

    def test_a_mark_is_a_cross_within_half_a_millimetre_of_the_picture(self):
        mark = PointMarks(id="m", kind="mark", points=[(2, 0.5, -1), (5, 0.51, 1)])
        lines = structure_lines((mark,), picture())
        assert [line.style for line in lines] == ["mark", "mark"]
        first, second = (line.points for line in lines)
        assert first == pytest.approx(np.array([(1.2, -1.8), (2.8, -0.2)]))
        assert second == pytest.approx(np.array([(1.2, -0.2), (2.8, -1.8)]))

    def test_styles_by_kind(self):
        assert style_of(self.CANAL) == "canal"
        root = Tapered(id="r", kind="root", points=[(0, 0, 0), (0, 0, 5)], diameters_mm=(4, 2))
        assert style_of(root) == "root"
        gone = Tapered(
            id="r", kind="root", points=[(0, 0, 0), (0, 0, 5)], diameters_mm=(4, 2),
            to_be_removed=True,
        )  # fmt: skip
        assert style_of(gone) == "root to be removed"
        balls = KnownObject(id="k", points=[(0, 0, 0), (9, 0, 0)], size_mm=9.0)
        assert style_of(balls) is None
        assert structure_lines((balls,), picture()) == ()

    def test_lines_of_equal_distance_stand_that_far_off_and_only_around_dangers(self):
        grid = picture(origin=(2, 0, 0), right=(0, 1, 0))
        mark = PointMarks(id="m", kind="mark", points=[(2, 6, 6)])
        found = distance_lines((self.CANAL, mark), grid, (1.0, 2.0))
        assert [level for level, _ in found] == [1.0, 2.0]
        for level, line in found:
            away = np.linalg.norm(line - (0.0, -3.0), axis=1)
            assert away == pytest.approx(np.full(len(away), 1.5 + level), abs=0.01)
        assert distance_lines((mark,), grid, (1.0,)) == ()
