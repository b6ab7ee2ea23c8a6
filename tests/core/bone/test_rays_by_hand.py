"""What becomes of the rays of a pose, step by step, on edges and hollows written by hand."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from core.bone.edges import STEP_MM, EdgeSet
from core.bone.remaining_bone_rays import (
    EDGE,
    GAP,
    NO_BONE,
    NOT_FOUND,
    NOT_SCANNED,
    OTHER,
    REACHES,
    ROOT,
    _edges,
    _end_at_hollow,
    _marked,
    _meets,
    _shows_faintly,
    _unrounded,
    _within_bone,
)
from core.structures import Course, Floor, Tapered

COUNT = 141
FAR = 14.0
X = np.array([1.0, 0.0, 0.0])


def edges(distance, reason=None, sd=0.1):
    distance = np.array(distance, dtype=float)
    reason = np.where(np.isfinite(distance), "", "weak") if reason is None else reason
    return EdgeSet(
        distance_mm=distance, sd_mm=np.where(np.isfinite(distance), sd, np.nan),
        found=np.isfinite(distance), reason=np.array(reason, dtype="<U16"), hint_mm=distance,
    )  # fmt: skip


class Finder:
    """Gives edges that were written, and keeps what it was asked."""

    def __init__(self, *answers, rounding=0.0):
        self.answers, self.asked, self.rounding = list(answers), [], rounding

    def outer(self, volume, starts, ways, max_mm):
        self.asked.append((starts, ways, max_mm))
        return self.answers.pop(0)

    def rounding_mm2(self, volume, way):
        return self.rounding * abs(float(way[0]))


def rays(count):
    return np.zeros((count, 3)), np.tile(X, (count, 1))


def span(*parts, count=COUNT):
    """True from one place to another, mm."""
    t = STEP_MM * np.arange(count)
    out = np.zeros(count, bool)
    for low, high in parts:
        out |= (t >= low - 1e-9) & (t < high - 1e-9)
    return out


class TestEdges:
    def test_each_reason_has_its_state_and_places_count_from_the_axis(self):
        reasons = ["", "nothing", "not scanned", "weak", "graze", "starts inside", "", "levels"]
        finder = Finder(edges([9.0, np.nan, np.nan, np.nan, np.nan, np.nan, 14.5, np.nan], reasons))
        axis, outward = rays(8)
        edge, sd, state = _edges(
            None, finder, axis, outward, far=FAR, outside=np.zeros((8, COUNT), bool)
        )
        assert state.tolist() == [
            EDGE, NO_BONE, NOT_SCANNED, NOT_FOUND, NOT_FOUND, REACHES, NO_BONE, NOT_FOUND,
        ]  # fmt: skip
        assert edge[0] == pytest.approx(5.0)
        assert edge[5] == np.inf
        assert np.isnan(edge[[1, 2, 3, 4, 6, 7]]).all()
        assert sd[0] == 0.1
        starts, ways, most = finder.asked[0]
        assert starts.tolist() == (FAR * outward).tolist()
        assert ways.tolist() == (-outward).tolist()
        assert most == FAR

    @pytest.mark.parametrize(("dark", "again"), [(3.9, False), (4.0, True)])
    def test_one_that_ends_in_bone_again_is_looked_for_from_where_it_is_outside(self, dark, again):
        """Outside from 6 mm on for 4 mm: again from 2 mm further out."""
        finder = Finder(edges([np.nan], ["starts inside"]), edges([2.5]))
        axis, outward = rays(1)
        outside = span((6.0, 6.0 + dark))[None]
        edge, _, state = _edges(None, finder, axis, outward, far=FAR, outside=outside)
        assert state.tolist() == [EDGE if again else REACHES]
        assert edge[0] == (pytest.approx(5.5) if again else np.inf)
        if again:
            starts, ways, _ = finder.asked[1]
            assert starts[0] == pytest.approx([8.0, 0, 0])
            assert ways[0] == pytest.approx([-1.0, 0, 0])

    def test_it_may_find_none_the_second_time_either(self):
        finder = Finder(
            edges([3.0, np.nan, np.nan], ["", "starts inside", "starts inside"]),
            edges([np.nan, 1.0], ["weak", ""]),
        )
        outside = np.stack([span(), span((5.0, 10.0)), span((4.0, 10.0))])
        axis, outward = rays(3)
        edge, sd, state = _edges(None, finder, axis, outward, far=FAR, outside=outside)
        assert state.tolist() == [EDGE, NOT_FOUND, EDGE]
        assert edge[[0, 2]] == pytest.approx([11.0, 5.0])
        assert np.isnan(sd).tolist() == [False, True, False]


class TestWithinBone:
    def left(self, edge_mm, near, bone=()):
        edge, sd = np.array([edge_mm]), np.array([0.1])
        state = np.array([EDGE])
        seen = span(*bone)[None] if bone else np.ones((1, COUNT), bool)
        _within_bone(span(*near)[None], seen, edge=edge, sd=sd, state=state)
        return int(state[0]), float(edge[0])

    @pytest.mark.parametrize(
        ("begins", "kept"), [(5.3, True), (6.2, True), (6.3, False), (5.0, True)]
    )
    def test_the_outside_lies_within_one_and_a_fifth_beyond(self, begins, kept):
        state, edge = self.left(5.0, [(begins, 14.1)])
        assert (state, edge) == ((EDGE, 5.0) if kept else (REACHES, np.inf))

    def test_outside_before_it_is_none_beyond(self):
        assert self.left(5.0, [(0.0, 5.2)]) == (REACHES, np.inf)

    def test_without_any_it_is_not_found_where_bone_does_not_go_on(self):
        state, edge = self.left(5.0, [], bone=[(0.0, 9.0), (9.1, 14.1)])
        assert state == NOT_FOUND
        assert np.isnan(edge)

    def test_at_the_end_of_the_ray_the_last_sample_counts(self):
        assert self.left(13.9, [(14.0, 14.1)])[0] == EDGE

    def test_other_rays_are_left_alone(self):
        edge, sd, state = np.array([np.inf]), np.array([np.nan]), np.array([REACHES])
        _within_bone(np.zeros((1, COUNT), bool), np.zeros((1, COUNT), bool),
                     edge=edge, sd=sd, state=state)  # fmt: skip
        assert (edge[0], state[0]) == (np.inf, REACHES)


class TestHollow:
    def ended(self, hollow, *, edge=np.nan, state=NOT_FOUND, near=None, answer=None):
        finder = Finder(*([edges(answer)] if answer is not None else []))
        edge, sd, state = np.array([edge]), np.array([0.2]), np.array([state])
        axis, outward = rays(1)
        _end_at_hollow(
            None, finder, axis, outward, span(*hollow)[None],
            span(*(hollow if near is None else near))[None], edge=edge, sd=sd, state=state,
        )  # fmt: skip
        return int(state[0]), float(edge[0]), finder.asked

    def test_the_bone_ends_where_the_hollow_is_met_looking_back(self):
        """A hollow from 6 mm on: from 7.1 mm back on to its floor."""
        state, edge, asked = self.ended([(6.0, 12.0)], edge=11.0, state=EDGE, answer=[1.3])
        assert state == EDGE
        assert edge == pytest.approx(5.8)
        assert asked[0][0][0] == pytest.approx([7.1, 0, 0])
        assert asked[0][1][0] == pytest.approx([-1, 0, 0])
        assert asked[0][2] == pytest.approx(7.1)

    @pytest.mark.parametrize("answer", [[np.nan], [7.3]])
    def test_where_nothing_is_met_or_only_behind_the_axis_it_is_not_found(self, answer):
        state, edge, _ = self.ended([(6.0, 12.0)], edge=11.0, state=EDGE, answer=answer)
        assert state == NOT_FOUND
        assert np.isnan(edge)

    def test_an_edge_before_the_hollow_stays(self):
        assert self.ended([(6.0, 12.0)], edge=6.0, state=EDGE)[:2] == (EDGE, 6.0)
        assert self.ended([], edge=6.0, state=EDGE)[:2] == (EDGE, 6.0)

    @pytest.mark.parametrize(("long", "ends"), [(1.1, False), (1.2, True)])
    def test_a_hollow_that_is_only_grazed_leaves_nothing_found(self, long, ends):
        answer = [1.2] if ends else None
        state, edge, _ = self.ended([(6.0, 6.0 + long)], edge=11.0, state=EDGE, answer=answer)
        assert state == (EDGE if ends else NOT_FOUND)
        assert np.isnan(edge) is not ends or edge == pytest.approx(5.9)

    def test_so_does_one_that_is_only_near(self):
        state, edge, _ = self.ended([], edge=11.0, state=EDGE, near=[(8.0, 8.3)])
        assert state == NOT_FOUND
        assert np.isnan(edge)
        assert self.ended([], edge=8.0, state=EDGE, near=[(8.0, 8.3)])[:2] == (EDGE, 8.0)
        assert self.ended([], edge=np.inf, state=REACHES, near=[(8.0, 8.3)])[0] == NOT_FOUND


class TestMeets:
    LOW, HIGH = np.array([2.0, -1.0, -1.0]), np.array([4.0, 1.0, 1.0])

    @pytest.mark.parametrize(
        ("start", "way", "met"),
        [
            ((0, 0, 0), (1, 0, 0), True),
            ((0, 0, 0), (-1, 0, 0), False),
            ((0, 0.99, 0), (1, 0, 0), True),
            ((0, 1.01, 0), (1, 0, 0), False),
            ((0, 0, -1.01), (1, 0, 0), False),
            ((3, 0, 0), (0, 1, 0), True),
            ((3, 5, 0), (0, -1, 0), True),
            ((3, 5, 0), (0, 1, 0), False),
            ((-6, 0, 0), (1, 0, 0), True),
            ((-6.1, 0, 0), (1, 0, 0), False),
            ((0, -1.5, 0), (0.8, 0.6, 0), True),
            ((0, -4.1, 0), (0.8, 0.6, 0), False),
            ((0, -3.9, 0), (0.8, 0.6, 0), True),
        ],
    )
    def test_a_box_within_8_mm(self, start, way, met):
        found = _meets(np.array([start], float), np.array([way], float), self.LOW, self.HIGH, 8.0)
        assert found.tolist() == [met]


class TestMarked:
    def marked(self, *structures):
        axis = np.zeros((36, 3))
        turn = np.radians(np.arange(0.0, 360.0, 10.0))
        outward = np.stack([np.cos(turn), np.sin(turn), 0 * turn], axis=1)
        return _marked(axis, outward, structures, 101), outward

    def ball_line(self, middle, diameter=2.0):
        x, y = middle
        return Course(
            id="canal-left", kind="canal", points=[(x, y, -9.0), (x, y, 9.0)], diameter_mm=diameter
        )

    @pytest.mark.parametrize("turn", [0, 9, 18, 27])
    def test_a_canal_across_the_rays_is_where_it_is(self, turn):
        at = np.radians(10.0 * turn)
        found, outward = self.marked(self.ball_line((5 * np.cos(at), 5 * np.sin(at))))
        t = STEP_MM * np.arange(101)
        places = t[:, None] * outward[:, None, :]
        away = np.linalg.norm(places - 5.0 * outward[turn], axis=-1)
        assert (found[away < 0.85] == OTHER).all()
        assert (found[away > 1.15] == 0).all()
        ends = STEP_MM * np.flatnonzero(found[turn])[[0, -1]]
        assert ends == pytest.approx([4.0, 6.0], abs=0.21)

    def test_every_second_sample_is_asked_and_stands_for_two(self):
        found, _ = self.marked(self.ball_line((5.0, 0.0)))
        assert found.shape == (36, 101)
        assert np.array_equal(found[:, 0:100:2], found[:, 1:101:2])

    @pytest.mark.parametrize(("gone", "kind"), [(False, ROOT), (True, GAP)])
    def test_a_root_that_stays_and_one_that_goes(self, gone, kind):
        root = Tapered(
            id="root-35", kind="root", tooth="35", points=[(0, 4, 5), (0, 4, -5)],
            diameters_mm=(3.0, 3.0), to_be_removed=gone,
        )  # fmt: skip
        found, _ = self.marked(root)
        assert set(np.unique(found)) == {0, kind}
        assert found[9, 40] == kind
        both, _ = self.marked(root, self.ball_line((0.0, 4.0)))
        assert both[9, 40] == max(kind, OTHER)

    def test_a_floor_is_nothing_along_a_ray(self):
        floor = Floor(
            id="floor-left", of="sinus",
            points=[(3, -3, 0), (3, 3, 0), (5, -3, 0), (5, 3, 0), (4, 0, 0)],
        )  # fmt: skip
        assert not self.marked(floor)[0].any()


class TestFaint:
    LEVELS = SimpleNamespace(soft=100.0, cortical=1100.0, noise_sd=50.0)

    def shown(self, rise, at=(2, 4, 60), size=(3, 3, 5), levels=LEVELS):
        grid = np.full((5, 12, 120), 100.0)
        i, j, k = (slice(a - n // 2, a + n // 2 + 1) for a, n in zip(at, size, strict=True))
        grid[i, j, k] += rise
        return _shows_faintly(grid, levels).reshape(5, 12)

    @pytest.mark.parametrize(("rise", "seen"), [(99.0, False), (101.0, True)])
    def test_by_a_tenth_of_the_contrast_around_a_place(self, rise, seen):
        assert bool(self.shown(rise)[2, 4]) is seen

    @pytest.mark.parametrize(("rise", "seen"), [(159.0, False), (161.0, True)])
    def test_or_by_eight_tenths_of_the_noise(self, rise, seen):
        noisy = SimpleNamespace(soft=100.0, cortical=1100.0, noise_sd=200.0)
        assert bool(self.shown(rise, levels=noisy)[2, 4]) is seen

    def test_directions_go_round_and_what_was_not_scanned_is_soft(self):
        grid = np.full((5, 12, 120), 100.0)
        grid[1:4, [11, 0, 1], 58:63] += 101.0
        found = _shows_faintly(grid, self.LEVELS).reshape(5, 12)
        assert np.argwhere(found).tolist() == [[2, 0]]
        assert not _shows_faintly(np.full((3, 4, 9), np.nan), self.LEVELS).any()


class TestUnrounded:
    def test_a_cylinder_is_set_out_again_by_its_curvature(self):
        """Ways along x and y by turns: half of the square of the blur is that of each way."""
        turn = np.radians(np.arange(-180.0, 180.0, 7.5))
        ways = np.stack([np.cos(turn), np.sin(turn), 0 * turn], axis=1)
        rows = 9
        axis = np.repeat(np.arange(rows)[:, None] * 0.5 * np.array([0, 0, 1.0]), len(turn), axis=0)
        outward = np.tile(ways, (rows, 1))
        edge = np.full(len(axis), 4.0)
        edge[5] = np.nan
        edge[6] = np.inf
        found, sd = _unrounded(
            None, Finder(rounding=0.04), axis, outward, edge, np.full(len(axis), 0.1),
            turns=len(turn),
        )  # fmt: skip
        middle = slice(4 * len(turn), 5 * len(turn))
        wanted = 0.04 * np.abs(np.cos(turn)) / 4.0
        assert found[middle] - 4.0 == pytest.approx(wanted, abs=4e-4)
        assert sd[middle] == pytest.approx(np.hypot(0.1, 0.8 * wanted), abs=4e-4)
        assert np.isnan(found[5])
        assert found[6] == np.inf

    def test_without_a_known_blur_nothing_is_set_out(self):
        axis, outward = rays(12)
        edge, sd = np.full(12, 4.0), np.full(12, 0.1)
        found = _unrounded(None, Finder(), axis, outward, edge, sd, turns=4)
        assert found[0] is edge
        assert found[1] is sd
