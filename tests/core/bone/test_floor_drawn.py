"""A floor followed around one click, over a hollow that is known to the last digit."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from core.bone import found_floor
from core.bone.edges import EdgeSet
from core.bone.found_floor import FoundFloor, _bounds_marrow, _feet, find_floor
from tests.core.bone_phantoms import RADIUS_MM, arc_arch

ARCH = arc_arch()
HERE = 34.0


def place(station, out, height):
    frame = ARCH.frame(station)
    return frame.origin + out * frame.buccal + height * frame.up


def along(points):
    """Station and way out of places around the arc."""
    x, y = points[..., 0], points[..., 1]
    station = RADIUS_MM * (np.arctan2(x, RADIUS_MM - y) + np.radians(75))
    return station, np.hypot(x, y - RADIUS_MM) - RADIUS_MM


class Drawn:
    """Rays down on to a floor drawn over (station from the click, way out)."""

    def __init__(self, floor, *, sd=0.05, seen=lambda s, out: True | (s < 0)):
        self.floor, self.sd, self.seen, self.asked = floor, sd, seen, []
        self.volume = self.levels = None

    def outer(self, starts, ways, max_mm):
        starts = np.atleast_2d(starts)
        assert np.allclose(ways, [0.0, 0.0, -1.0])
        station, out = along(starts)
        s = station - HERE
        self.asked.append((s, out, starts[:, 2], max_mm))
        distance = starts[:, 2] - self.floor(s, out)
        found = (distance > 0) & (distance < max_mm) & self.seen(s, out)
        return EdgeSet(
            distance_mm=np.where(found, distance, np.nan),
            sd_mm=np.where(found, np.broadcast_to(self.sd, found.shape), np.nan), found=found,
            reason=np.where(found, "", "nothing"), hint_mm=distance,
        )  # fmt: skip


@pytest.fixture(autouse=True)
def no_marrow(monkeypatch):
    monkeypatch.setattr(found_floor, "_bounds_marrow", lambda *_: False)


def followed(floor, *, click=(0.0, 0.0, 20.0), **how):
    scan = Drawn(floor, **how)
    at = place(HERE + click[0], click[1], click[2])
    return find_floor(scan, ARCH, at), scan


def flat(s, out):
    return 20.0 + 0.0 * s


class TestFollowed:
    @pytest.mark.parametrize(
        "floor",
        [
            flat,
            lambda s, out: 20.0 + 0.4 * s,
            lambda s, out: 20.0 - 0.5 * out,
            lambda s, out: 20.0 + 0.02 * s**2 + 0.03 * out**2,
            lambda s, out: 20.0 + 1.5 * np.sin(s / 4.0),
        ],
        ids=["flat", "rising", "leaning", "bowl", "waves"],
    )
    def test_the_floor_is_where_it_is_all_round(self, floor):
        found, _ = followed(floor)
        assert isinstance(found, FoundFloor)
        assert found.height_mm.shape == (23, 17)
        assert found.seen.all()
        station, out = along(found.points_mm)
        assert station[:, 8] - HERE == pytest.approx(np.arange(-11, 12), abs=0.01)
        assert out[11] == pytest.approx(np.arange(-8, 9), abs=0.01)
        assert found.points_mm[..., 2] == pytest.approx(floor(station - HERE, out), abs=1e-6)
        assert found.station_mm == pytest.approx(HERE + np.arange(-11.0, 12.0), abs=0.01)
        assert found.sd_mm == pytest.approx(np.full((23, 17), 0.05))
        assert found.apical.tolist() == [0.0, 0.0, 1.0]

    def test_the_click_is_met_from_four_millimetres_above_it(self):
        _, scan = followed(flat, click=(0.0, 1.0, 19.0))
        s, out, height, most = scan.asked[0]
        assert (s[0], out[0], height[0], most) == pytest.approx((0.0, 1.0, 23.0, 8.0), abs=0.01)
        _, _, height, most = scan.asked[1]
        assert height == pytest.approx(np.full(4, 22.5))
        assert most == 5.0

    @pytest.mark.parametrize(("off", "seen"), [(1.9, True), (-1.9, True), (2.1, False),
                                               (-2.1, False)])  # fmt: skip
    def test_a_click_lies_within_two_millimetres(self, off, seen):
        found, _ = followed(flat, click=(0.0, 0.0, 20.0 + off))
        assert isinstance(found, FoundFloor) is seen
        if not seen:
            assert found.code == "floor-not-found"

    @pytest.mark.parametrize(("sd", "seen"), [(0.29, True), (0.31, False)])
    def test_edges_known_to_three_tenths_count(self, sd, seen):
        """The click's own edge does not matter: it is a proposal of one place."""
        assert isinstance(followed(flat, sd=sd)[0], FoundFloor) is seen

    @pytest.mark.parametrize(("step", "over"), [(1.1, True), (1.3, False), (-1.3, False)])
    def test_a_step_of_more_than_one_and_a_fifth_is_not_crossed(self, step, over):
        found, _ = followed(lambda s, out: 20.0 + step * (s > 4.5))
        reached = found.seen.any(axis=1)
        assert reached[:14].all()
        assert bool(reached[-1]) is over

    def test_a_wall_is_gone_round(self):
        """Across half of the arch's way stands a wall; behind it the floor goes on."""

        def walled(s, out):
            return np.where((np.abs(s - 4) < 0.6) & (out < 2.5), 30.0, 20.0)

        found, _ = followed(walled)
        s, out = along(found.feet_mm)
        wall = (np.abs(s - HERE - 4) < 0.6) & (out < 2.5)
        assert not found.seen[wall].any()
        assert found.seen[-1, :4].all()

    @pytest.mark.parametrize(("reach", "enough"), [(2.5, False), (3.5, True)])
    @pytest.mark.parametrize("way", [-1, 1])
    def test_three_millimetres_to_both_sides_at_least(self, reach, enough, way):
        found, _ = followed(flat, seen=lambda s, out: way * s < reach)
        assert isinstance(found, FoundFloor) is enough

    @pytest.mark.parametrize(("across", "enough"), [(0.5, False), (2.5, True)])
    def test_twenty_five_places_at_least(self, across, enough):
        found, _ = followed(flat, seen=lambda s, out: np.abs(out) < across)
        assert isinstance(found, FoundFloor) is enough

    def test_it_stops_when_asked(self):
        scan = Drawn(flat)
        found = find_floor(scan, ARCH, place(HERE, 0, 20.0), cancelled=lambda: True)
        assert found.code == "floor-not-found"
        assert len(scan.asked) == 1

    def test_what_bounds_marrow_is_said(self, monkeypatch):
        monkeypatch.setattr(found_floor, "_bounds_marrow", lambda *_: True)
        assert followed(flat)[0].code == "floor-in-marrow"


def test_feet_lie_across_the_arch_on_the_clicks_height_and_way_out():
    stations = HERE + np.arange(-2.0, 3.0)
    click = place(HERE, 1.5, 12.0)
    feet = _feet(ARCH, stations, click, click)
    assert feet.shape == (5, 17, 3)
    station, out = along(feet)
    assert station == pytest.approx(np.tile(stations[:, None], 17), abs=0.01)
    assert out == pytest.approx(np.tile(1.5 + np.arange(-8.0, 9.0), (5, 1)), abs=0.01)
    assert feet[..., 2] == pytest.approx(np.full((5, 17), 12.0))


class TestLines:
    def lines(self, floor, seen=None):
        found, _ = followed(floor, **({} if seen is None else {"seen": seen}))
        return found, found.lines()

    def test_five_sections_with_their_ends_and_middle(self):
        found, lines = self.lines(flat)
        assert [line.station_mm - HERE for line in lines] == pytest.approx(
            [-10, -5, 0, 5, 10], abs=0.01
        )
        for line in lines:
            assert len(line.points_mm) == 3
            assert along(line.points_mm)[1] == pytest.approx([-8, 0, 8], abs=0.01)
            assert len(line.line_mm) == 17
        assert found.lines()[0].line_mm == pytest.approx(found.points_mm[1])

    def test_more_marks_where_it_bends_until_a_tenth_is_left(self):
        def bent(s, out):
            return 20.0 + 0.05 * out**2 * (1 + s / 20.0)

        found, lines = self.lines(bent)
        assert sum(len(line.points_mm) for line in lines) > 15
        assert max(len(line.points_mm) for line in lines) > 3
        for line in lines:
            out = along(line.points_mm)[1]
            assert (np.diff(out) > 0).all()
        rows = {round(line.station_mm - HERE): len(line.points_mm) for line in lines}
        marks = {row + 11: found._ends(row + 11) for row in rows}
        assert found._worst(marks) is not None
        everything = {row + 11: np.arange(17) for row in rows}
        assert found._worst(everything) is None

    def test_at_most_six_a_section(self):
        rough = np.random.default_rng(3).uniform(-0.5, 0.5, (40, 40))

        def uneven(s, out):
            return 20.0 + rough[np.rint(s).astype(int), np.rint(out).astype(int)]

        _, lines = self.lines(uneven)
        assert sum(len(line.points_mm) for line in lines) == 6 * len(lines)

    def test_sections_that_hardly_show_any_are_left_out(self):
        def gap(s, out):
            return (np.abs(s - 5.0) > 0.6) | (np.abs(out) < 0.6)

        found, lines = self.lines(flat, gap)
        assert [round(line.station_mm - HERE) for line in lines] == [-10, -5, 0, 10]
        assert found._worst({}) is None


class TestMarrow:
    """What lies over the floor, and whether air of a sinus lies further up."""

    def bounds(self, monkeypatch, *, joined, hollow_from, seen=lambda s, out: s < 99.0):
        monkeypatch.undo()
        found, scan = self.floor(monkeypatch, seen)
        asked = {}

        class Outside:
            @classmethod
            def around(cls, _volume, platform, ways, _levels, *, reach_mm, depth_mm):
                asked.update(platform=platform, ways=ways, reach=reach_mm, depth=depth_mm)
                return cls()

            def widened(self):
                return SimpleNamespace(at=self.near)

            @staticmethod
            def near(points):
                asked["near"] = points
                station, out = along(points)
                return None, joined(station - HERE, out)

            @staticmethod
            def at(points):
                asked.setdefault("far", points)
                return None, points[:, 2] > hollow_from

        monkeypatch.setattr(found_floor, "Outside", Outside)
        middle = (found.height_mm.shape[0] // 2, found.height_mm.shape[1] // 2)
        return _bounds_marrow(scan, ARCH, found, middle), asked

    def floor(self, monkeypatch, seen):
        monkeypatch.setattr(found_floor, "_bounds_marrow", lambda *_: False)
        found = followed(flat, seen=seen)
        monkeypatch.undo()
        return found

    @pytest.mark.parametrize(("share", "marrow"), [(0.62, False), (0.5, True)])
    def test_more_than_four_tenths_not_joined_with_air_further_up(self, monkeypatch, share, marrow):
        found, _ = self.bounds(
            monkeypatch, joined=lambda s, out: s < -11.5 + 23 * share, hollow_from=29.0
        )
        assert found is marrow

    @pytest.mark.parametrize(("air", "marrow"), [(32.9, True), (33.1, False)])
    def test_air_within_fourteen_millimetres(self, monkeypatch, air, marrow):
        """From 2 mm over it, each millimetre: up to 13."""
        found, asked = self.bounds(monkeypatch, joined=lambda s, out: s > 99, hollow_from=air)
        assert found is marrow
        heights = np.unique(np.round(asked["far"][:, 2], 6))
        assert heights == pytest.approx(20.0 + np.arange(2.0, 14.0))
        assert asked["near"][:, 2] == pytest.approx(np.full(len(asked["near"]), 21.2))

    def test_the_block_reaches_from_the_mouth_to_over_the_floor(self, monkeypatch):
        _, asked = self.bounds(monkeypatch, joined=lambda s, out: s > 99, hollow_from=50.0)
        assert asked["platform"] == pytest.approx(place(HERE, 0.0, 10.0))
        assert (asked["reach"], asked["depth"]) == (11.0, 24.0)
        frame = ARCH.frame(HERE)
        assert asked["ways"].b == pytest.approx(frame.buccal)
        assert asked["ways"].m == pytest.approx(frame.travel)
        assert asked["ways"].a.tolist() == [0.0, 0.0, -1.0]
