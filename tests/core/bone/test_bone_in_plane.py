"""Which part of a section is bone: marrow that reaches the end of the picture is no way in."""

from dataclasses import replace

import numpy as np
import pytest

from core.bone.bone_in_plane import PIXEL_MM, BoneInPlane, Plane, bone_in_plane
from tests.core.bone_phantoms import Jaw, scan_of, true_levels

TOP, STATION = -4.0, 58.0


@pytest.mark.parametrize("spongy", [1500.0, 1150.0], ids=["bright as bone", "hardly bright"])
def test_marrow_that_reaches_the_end_of_the_section_does_not_part_the_ridge(spongy):
    # The body runs on towards the tongue beyond what a section shows, under a ridge of 8 mm.
    outline = np.array(
        [[-40, -28], [4, -28], [4, TOP], [-4, TOP], [-4, TOP - 8.0], [-40, TOP - 8.0]]
    )
    jaw = Jaw(outline=outline, spongy=spongy)
    volume, arch = scan_of(jaw, station=STATION, voxel=0.3, reach=20.0)
    f = arch.frame(STATION)
    plane = Plane(origin=f.origin, across=f.buccal, coronal=f.up)
    levels = replace(true_levels(0.3), spongy=spongy)
    bone = bone_in_plane(volume, levels, plane, crown_level_mm=0.0, upper=False)
    intervals = bone.intervals(TOP - 4.0)
    assert len(intervals) == 1
    low, high = intervals[0]
    assert abs(low + 4.0) < 0.4
    assert abs(high - 4.0) < 0.4


def test_marrow_of_a_large_upper_jaw_is_no_sinus_where_it_is_seen_to_be_bone():
    outline = np.array([[-9, -28], [9, -28], [9, TOP], [-9, TOP]])
    volume, arch = scan_of(Jaw(outline=outline, upper=True), station=STATION, voxel=0.3)
    f = arch.frame(STATION)
    plane = Plane(origin=f.origin, across=f.buccal, coronal=-f.up)
    bone = bone_in_plane(volume, true_levels(0.3), plane, crown_level_mm=0.0, upper=True)
    assert len(bone.intervals(TOP - 4.0)) == 1


def test_what_runs_on_above_the_bone_is_its_top_and_blur_is_not():
    volume, arch = scan_of(
        Jaw(outline=np.array([[-4, -28], [4, -28], [4, TOP], [-4, TOP]])),
        station=STATION,
        voxel=0.3,
    )
    f = arch.frame(STATION)
    plane = Plane(origin=f.origin, across=f.buccal, coronal=f.up)
    bone = bone_in_plane(volume, true_levels(0.3), plane, crown_level_mm=0.0, upper=False)
    middle = np.array([0.0])
    assert bone.top_joined(middle) == bone.top(middle)
    # The top of a thin ridge under air: dark in the picture, and joined to what is bright.
    above = (np.abs(bone.w) < 1.0) & (bone.h[:, None] > TOP) & (bone.h[:, None] < TOP + 2.0)
    thin = replace(bone, joined=bone.joined | above)
    assert thin.top_joined(middle) == pytest.approx(TOP + 2.0, abs=0.3)
    assert thin.top_joined(np.array([3.0])) == bone.top(np.array([3.0]))


# -- what a section answers, on masks drawn by hand ------------------------------------------------

PLANE = Plane(origin=(10.0, 20.0, 30.0), across=(0.6, 0.8, 0.0), coronal=(0.0, 0.0, 1.0))


def drawn(mask, *, other=(), brighter=(), socket=(), joined=()):
    """A section of 9 rows and 13 columns of 0.25 mm from (-1.5, -1.0); strings, top row first."""

    def flags(rows):
        out = np.zeros((9, 13), dtype=bool)
        for k, row in enumerate(rows):
            out[len(rows) - 1 - k, : len(row)] = [c == "#" for c in row]
        return out

    return BoneInPlane(
        plane=PLANE,
        w=-1.5 + PIXEL_MM * np.arange(13),
        h=-1.0 + PIXEL_MM * np.arange(9),
        mask=flags(mask),
        other=flags(other),
        brighter=flags(brighter),
        socket=flags(socket),
        joined=flags(joined or mask),
    )


RIDGE = drawn(
    [
        "....##.......",
        "....##.......",
        "..######..##.",
        "..##..##..##.",
        "..##..##.....",
    ],
    other=[
        "........#####",
        "..##.........",
        ".............",
        ".............",
        ".............",
        ".............",
        ".............",
        ".............",
    ],
    socket=["....##.......", "....##......."],
)


class TestPlane:
    def test_points_and_places_are_inverse(self):
        points = PLANE.points(np.array([0.0, 5.0, -5.0]), np.array([0.0, 2.0, -1.0]))
        assert points == pytest.approx(np.array([(10, 20, 30), (13, 24, 32), (7, 16, 29)]))
        assert [PLANE.w(p) for p in points] == pytest.approx([0, 5, -5])
        assert [PLANE.h(p) for p in points] == pytest.approx([0, 2, -1])
        assert PLANE.points(5.0, 2.0) == pytest.approx(points[1:2])
        assert PLANE.normal == pytest.approx([0.8, -0.6, 0.0])


class TestSection:
    def test_the_top_is_the_upper_end_of_the_highest_pixel_of_its_column(self):
        # Columns 2 and 4 of the drawing: rows 2 and 4 from below, 0.125 mm above their middles.
        tops = RIDGE.top(np.array([-1.0, -0.5, -0.4, 1.0, 0.75]))
        assert tops[:4] == pytest.approx([-0.375, 0.125, 0.125, -0.375])
        assert np.isnan(tops[4])
        # Beyond its ends the last column stands.
        assert np.isnan(RIDGE.top(np.array([-9.0, 9.0]))).all()

    def test_empty_and_cut_off(self):
        assert not RIDGE.empty
        assert not RIDGE.cut_off
        assert drawn([]).empty
        assert drawn(["#"] * 9).cut_off
        assert not drawn(["#"] * 8).cut_off

    @pytest.mark.parametrize(("more", "counts"), [(2, False), (3, True)])
    def test_what_is_joined_is_the_top_from_three_quarters_of_a_millimetre_on(self, more, counts):
        column = drawn(["#"], joined=["#"] * (1 + more))
        expected = -0.875 + (0.25 * more if counts else 0.0)
        assert column.top_joined(np.array([-1.5])) == pytest.approx([expected])

    def test_intervals_are_ends_of_pixels_and_a_socket_between_bone_is_no_gap(self):
        assert RIDGE.intervals(-1.0) == [(-1.125, 0.375)]
        assert RIDGE.intervals(-0.75) == [(-1.125, 0.375), (0.875, 1.375)]
        assert RIDGE.intervals(-0.63) == [(-1.125, 0.375), (0.875, 1.375)], "the nearest row"
        assert RIDGE.intervals(0.0) == [(-0.625, -0.125)]
        assert RIDGE.intervals(-1.2) == []
        assert RIDGE.intervals(1.2) == []
        assert RIDGE.intervals(1.0) == []
        no_socket = drawn(["..##..##....."])
        assert no_socket.intervals(-1.0) == [(-1.125, -0.625), (-0.125, 0.375)]

    def test_over_a_socket(self):
        assert RIDGE.over_socket(-1.0)
        assert RIDGE.over_socket(-0.75)
        assert not RIDGE.over_socket(-0.5)
        assert not RIDGE.over_socket(-1.2)
        assert not RIDGE.over_socket(1.3)
        half_filled = drawn(["..##..##....."], socket=["....#........"])
        assert not half_filled.over_socket(-1.0)

    def test_free_height_up_to_other_bright_things(self):
        # Over column 2 other things begin at row 6 from below: their lower end is one pixel off.
        top = RIDGE.top(np.array([-1.0]))
        assert RIDGE.lead_above(np.array([-1.0]), top) == pytest.approx([0.9])
        far = RIDGE.lead_above(np.array([-1.0]), np.array([-0.875]))
        assert far == pytest.approx([0.9]), "its own bone counts where it stands above"
        assert RIDGE.lead_above(np.array([-0.5]), np.array([0.125])) == pytest.approx([2.5])
        tall = drawn(["#"], other=["#", *"........"])
        assert tall.lead_above(np.array([-1.5]), np.array([-0.875])) == pytest.approx([1.625])

    @pytest.mark.parametrize(
        ("w", "sign", "free"),
        [(0.0, 1.0, 1.0), (0.0, -1.0, 2.5), (-0.25, 1.0, 1.25), (0.2, 1, 0.9)],
    )
    def test_free_width_beside_a_border(self, w, sign, free):
        beside = drawn([], other=[".........#...", *[""] * 4])
        at = 0.0
        stands = -1.5 + 9 * PIXEL_MM
        assert beside.lead_beside(at, stands - 1.25 + w, sign) == pytest.approx(free)
        assert beside.lead_beside(at + 0.25, stands - 1.25 + w, sign) == 2.5

    def test_the_border_nearest_to_a_height(self):
        two = drawn([".", ".", ".", "#", "#", ".", "#", "#", "#"])
        # Bone from -1.125 to -0.375, and from -0.125 to 0.375.
        assert two.top_near(-1.5, -1.0) == pytest.approx(-0.375)
        assert two.top_near(-1.5, -0.3) == pytest.approx(-0.375)
        assert two.top_near(-1.5, -0.2) == pytest.approx(0.375)
        assert two.top_near(-1.5, 6.3) == pytest.approx(0.375)
        assert np.isnan(two.top_near(-1.5, 6.4)), "6 mm off it is another bone"
        assert two.top_near(-1.5, -7.1) == pytest.approx(-0.375)
        assert np.isnan(two.top_near(-1.5, -7.2))
        assert np.isnan(two.top_near(-1.0, 0.0))
        crowned = drawn(
            [".", ".", ".", "#", "#", ".", "#", "#", "#"],
            brighter=[".", ".", ".", "#", ".", ".", ".", ".", "."],
        )
        assert crowned.top_near(-1.5, 0.3) == pytest.approx(-0.375)
        apart = drawn([], other=["#", "#"])
        assert apart.top_near(-1.5, 0.0) == pytest.approx(-0.625)


def test_lines_of_equal_value_are_joined_end_to_end():
    from core.bone.bone_in_plane import _iso_lines

    axis = np.arange(-3.0, 3.01, 0.25)
    w, h = np.meshgrid(axis, axis)
    (circle,) = _iso_lines(4.0 - np.hypot(w, h), 2.0, axis, axis)
    assert np.hypot(*circle.T) == pytest.approx(np.full(len(circle), 2.0), abs=0.01)
    assert circle[0] == pytest.approx(circle[-1])
    (level,) = _iso_lines(1.0 * h, 0.3, axis, axis)
    assert level[:, 1] == pytest.approx(np.full(len(level), 0.3))
    assert sorted(level[:, 0]) == pytest.approx(axis)
    assert np.abs(np.diff(level[:, 0])) == pytest.approx(np.full(len(level) - 1, 0.25))
    assert _iso_lines(np.hypot(w, h), 0.2, axis, axis) == [], "a dozen points at least"
