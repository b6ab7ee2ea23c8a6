"""The lower border followed around one click, on a bottom that is known to the last digit."""

from __future__ import annotations

import numpy as np
import pytest

from core.bone.edges import EdgeSet
from core.bone.found_border import find_border
from tests.core.bone_phantoms import RADIUS_MM, arc_arch


class DrawnBottom:
    """Edges of a bottom drawn over (station, out): its lowest line with a bowl across it."""

    def __init__(self, line, *, middle=lambda s: 0.0 * s, wide=6.0, sd=0.05, bend=0.1):
        self.line, self.middle, self.wide, self.sd, self.bend = line, middle, wide, sd, bend
        self.asked = []

    def outer(self, starts, direction, max_mm):
        assert direction.tolist() == [0.0, 0.0, 1.0]
        x, y, height = starts.T
        s = RADIUS_MM * (np.arctan2(x, RADIUS_MM - y) + np.radians(75))
        out = np.hypot(x, y - RADIUS_MM) - RADIUS_MM
        self.asked.append((float(s.mean()), out, height, max_mm))
        away = out - self.middle(s)
        distance = self.line(s) + self.bend * away**2 - height
        found = (distance > 0) & (distance < max_mm) & (np.abs(away) < self.wide)
        return EdgeSet(
            distance_mm=np.where(found, distance, np.nan),
            sd_mm=np.where(found, self.sd, np.nan), found=found,
            reason=np.where(found, "", "nothing"), hint_mm=distance,
        )  # fmt: skip


ARCH = arc_arch()
HERE = 34.0


def place(station, out, height):
    frame = ARCH.frame(station)
    return frame.origin + out * frame.buccal + height * frame.up


def along(found_mm):
    """Station, out and height of each place."""
    out = []
    for point in found_mm:
        station = ARCH.station(point)
        frame = ARCH.frame(station)
        out.append(
            (station, *(float((point - frame.origin) @ w) for w in (frame.buccal, frame.up)))
        )
    return np.array(out)


def drawn(line, *, click=(0.0, -20.0), **how):
    scan = DrawnBottom(line, **how)
    return find_border(scan, ARCH, place(HERE, *click)), scan


class TestDrawn:
    """An arc of 26 mm, and a bottom that is known to the last digit."""

    @pytest.mark.parametrize("slope", [0.0, 0.5, -0.5])
    def test_the_line_is_followed_twelve_millimetres_to_both_sides(self, slope):
        border, _ = drawn(lambda s: -20.0 + slope * (s - HERE), middle=lambda s: 0.05 * (s - HERE))
        found_at = along(border)
        assert len(found_at) == 25
        assert found_at[:, 0] == pytest.approx(HERE + np.arange(-12, 13), abs=0.02)
        assert found_at[:, 1] == pytest.approx(0.05 * np.arange(-12, 13), abs=0.02)
        assert found_at[:, 2] == pytest.approx(-20.0 + slope * np.arange(-12, 13), abs=0.02)

    def test_rays_run_up_side_by_side_from_below_it(self):
        _, scan = drawn(lambda s: -20.0 + 0.0 * s, click=(0.5, -19.0))
        _, out, height, most = scan.asked[0]
        assert out == pytest.approx(0.5 + 0.5 * np.arange(-8, 9), abs=0.02)
        assert height == pytest.approx(np.full(17, -24.0))
        assert most == 10.0
        _, out, height, most = scan.asked[1]
        assert out == pytest.approx(0.5 * np.arange(-8, 9), abs=0.02)
        assert height == pytest.approx(np.full(17, -22.5), abs=1e-6)
        assert most == 5.0

    def test_the_next_section_is_looked_at_where_the_slope_leads(self):
        """Half of each step's slope is added: 0.4, then 0.2 + 0.4 / 2 more."""
        _, scan = drawn(lambda s: -20.0 + 0.8 * (s - HERE))
        after = [height[0] for at, _, height, _ in scan.asked[1:] if at > HERE + 0.5]
        expected, slope = [], 0.0
        for n in range(12):
            expected.append(-20.0 + 0.8 * n + slope - 2.5)
            slope = 0.5 * slope + 0.4
        assert after == pytest.approx(expected, abs=0.03)

    @pytest.mark.parametrize(
        ("click", "seen"),
        [((0.0, -17.1), True), ((0.0, -16.9), False), ((2.2, -18.2), True), ((2.4, -17.8), False)],
    )
    def test_a_click_lies_within_three_millimetres(self, click, seen):
        border, _ = drawn(lambda s: -20.0 + 0.0 * s, click=click)
        assert isinstance(border, np.ndarray) is seen

    @pytest.mark.parametrize(("jump", "runs_on"), [(1.1, True), (1.3, False), (-1.3, False)])
    def test_a_jump_by_more_than_one_and_a_fifth_ends_it(self, jump, runs_on):
        border, _ = drawn(lambda s: -20.0 + jump * (s > HERE + 6.5))
        last = along(border)[-1, 0]
        assert last == pytest.approx(HERE + (12.0 if runs_on else 6.0), abs=0.05)
        assert along(border)[0, 0] == pytest.approx(HERE - 12.0, abs=0.05)

    @pytest.mark.parametrize(("aside", "runs_on"), [(1.4, True), (1.6, False), (-1.6, False)])
    def test_so_does_one_by_more_than_one_and_a_half_aside(self, aside, runs_on):
        border, _ = drawn(
            lambda s: -20.0 + 0.0 * s, middle=lambda s: aside * (s < HERE - 7.5), wide=9.0
        )
        first = along(border)[0, 0]
        assert first == pytest.approx(HERE - (12.0 if runs_on else 7.0), abs=0.05)

    @pytest.mark.parametrize(("reach", "enough"), [(4.5, False), (5.5, True)])
    @pytest.mark.parametrize("way", [-1, 1])
    def test_five_millimetres_to_either_side_are_needed(self, reach, enough, way):
        border, _ = drawn(lambda s: np.where(way * (s - HERE) < reach, -20.0, -40.0))
        assert isinstance(border, np.ndarray) is enough
        if not enough:
            assert border.code == "border-not-found"

    @pytest.mark.parametrize(("sd", "seen"), [(0.29, True), (0.31, False)])
    def test_edges_known_to_three_tenths_count(self, sd, seen):
        assert isinstance(drawn(lambda s: -20.0 + 0.0 * s, sd=sd)[0], np.ndarray) is seen

    @pytest.mark.parametrize(("wide", "seen"), [(1.1, True), (0.9, False)])
    def test_five_rays_side_by_side_at_least(self, wide, seen):
        border, _ = drawn(lambda s: -20.0 + 0.0 * s, wide=wide)
        assert isinstance(border, np.ndarray) is seen

    def test_where_no_bottom_shows_between_the_rays_it_may_lie_beyond(self):
        assert drawn(lambda s: -20.0 + 0.0 * s, bend=-0.1)[0].code == "border-not-found"
        # The bowl's bottom lies further out than the rays reach.
        aside, _ = drawn(lambda s: -20.0 + 0.0 * s, middle=lambda s: 0.0 * s + 5.0, wide=12.0)
        assert aside.code == "border-not-found"

    def test_of_a_flat_bottom_with_steep_sides_the_lowest_rays_tell(self):
        scan = DrawnBottom(lambda s: -20.0 + 0.0 * s)
        plain = scan.outer

        def walled(starts, direction, max_mm):
            edges = plain(starts, direction, max_mm)
            out = np.hypot(starts[:, 0], starts[:, 1] - RADIUS_MM) - RADIUS_MM
            steep = np.where(np.abs(out) > 1.75, 2.0, 0.0)
            return EdgeSet(
                distance_mm=edges.distance_mm + steep, sd_mm=edges.sd_mm, found=edges.found,
                reason=edges.reason, hint_mm=edges.hint_mm,
            )  # fmt: skip

        scan.outer = walled
        border = find_border(scan, ARCH, place(HERE, 0.3, -20.0))
        assert along(border)[:, 2] == pytest.approx(np.full(25, -20.0), abs=0.02)
        assert along(border)[:, 1] == pytest.approx(np.zeros(25), abs=0.02)
