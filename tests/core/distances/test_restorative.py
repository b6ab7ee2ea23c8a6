"""Angles, offsets, rooms and the entry point, by hand; derivatives by finite differences."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pytest

from core.distances.entry import depth_below, entry_from_grooves, entry_from_neighbour
from core.distances.restorative import (
    axis_angle,
    gum_thickness,
    mesiodistal_room,
    occlusal_plane,
    offset_at_occlusal_plane,
    offset_at_platform,
    opponent_room,
    screw_exit,
)
from core.fixture import Fixture, FixtureSize
from core.level import Level
from core.measurement import MarkInfluence, Note, Reading
from core.structures import PointMarks, StentAxis
from core.trust.uncertainty import budget

SIZE = FixtureSize(diameter_mm=4.0, length_mm=10.0)
FIXTURE = Fixture(id="36", platform=(0, 0, 0), towards_apex=(0, 0, -1), size=SIZE)
LEVEL = Level(origin=(0, 0, 0), up=(0, 0, 1))


@dataclass(frozen=True)
class Frame:
    """Buccal +x, mesial +y."""

    b: np.ndarray
    m: np.ndarray


FRAME = Frame(np.array([1.0, 0, 0]), np.array([0, 1.0, 0]))


def marks(ident, *points, kind="contact"):
    return PointMarks(id=ident, kind=kind, points=points)


def leaning(degrees, *, occlusal=(0, 0, 8), length=6.0):
    angle = np.radians(degrees)
    way = np.array([np.sin(angle), 0, -np.cos(angle)]) * length
    return StentAxis(id="channel-36", occlusal=occlusal, gingival=np.array(occlusal) + way)


@pytest.mark.parametrize("degrees", [0, 1, 10, 30, 89])
def test_angle_between_fixture_and_stent_axis(degrees):
    reading = axis_angle(FIXTURE, leaning(degrees))
    assert reading.value == pytest.approx(degrees, abs=1e-9)
    assert reading.unit == "deg"
    turned = leaning(degrees)
    turned = StentAxis(id="s", occlusal=turned.gingival, gingival=turned.occlusal)
    assert axis_angle(FIXTURE, turned).value == pytest.approx(degrees, abs=1e-9)


def test_offsets_at_the_platform_and_at_the_occlusal_plane():
    stent = leaning(0, occlusal=(1.5, 0, 8))
    assert offset_at_platform(FIXTURE, stent).value == pytest.approx(1.5)
    # 10 degrees about a point 2 mm above the platform: 6 tan 10 at 8 mm, 2 sin 10 at the platform.
    tilted = StentAxis(
        id="s",
        occlusal=(-6 * np.tan(np.radians(10)), 0, 8),
        gingival=(0, 0, 2),
    )
    plane = Level(origin=(0, 0, 8), up=(0, 0, 1))
    assert offset_at_occlusal_plane(FIXTURE, tilted, plane).value == pytest.approx(
        6 * np.tan(np.radians(10))
    )
    assert offset_at_platform(FIXTURE, tilted).value == pytest.approx(2 * np.sin(np.radians(10)))
    along = Level(origin=(0, 0, 8), up=(1, 0, 0))
    missing = offset_at_occlusal_plane(FIXTURE, tilted, along)
    assert missing.value is None
    assert missing.notes[0].message.endswith(".")


def test_a_found_stent_axis_carries_its_own_doubt_and_no_marks():
    """Middle and slope are independent; held to a Monte Carlo of the two (JCGM 101:2008)."""
    stent = replace(leaning(12, occlusal=(1.5, 0.6, 8)), offset_sd_mm=0.05, direction_sd_deg=0.4)
    plane = Level(origin=(0, 0, 9), up=(0, 0, 1))
    readings = {
        "angle": lambda s: axis_angle(FIXTURE, s),
        "platform": lambda s: offset_at_platform(FIXTURE, s),
        "occlusal": lambda s: offset_at_occlusal_plane(FIXTURE, s, plane),
    }
    rng = np.random.default_rng(7)
    way = stent.gingival - stent.occlusal
    half, middle = np.linalg.norm(way) / 2, (stent.gingival + stent.occlusal) / 2
    across = np.linalg.svd(way[None])[2][1:]
    draws = {name: [] for name in readings}
    for _ in range(4000):
        shift, turn = rng.normal(size=2) * 0.05, rng.normal(size=2) * np.radians(0.4)
        lean = way / (2 * half) + turn @ across
        ends = [middle + shift @ across - half * lean, middle + shift @ across + half * lean]
        drawn = StentAxis(id="s", occlusal=ends[0], gingival=ends[1])
        for name, of in readings.items():
            draws[name].append(of(drawn).value)
    for name, of in readings.items():
        reading = of(stent)
        assert reading.marks == ()
        assert reading.fit_sd == pytest.approx(np.std(draws[name], ddof=1), rel=0.05), name


def test_an_axis_through_the_platform_itself_is_not_without_doubt():
    """By hand too: no direction is the worst there, and one stands for all."""
    by_hand = offset_at_platform(FIXTURE, leaning(0))
    assert by_hand.value == pytest.approx(0.0)
    assert budget(by_hand).u > 0.2
    found = replace(leaning(0), offset_sd_mm=0.05, direction_sd_deg=0.4)
    assert 0.05 < budget(offset_at_platform(FIXTURE, found)).u < 0.1


def test_screw_exit_from_the_middle_between_the_neighbours():
    tilted = replace(FIXTURE, towards_apex=(np.tan(np.radians(20)), 0, -1))
    plane = Level(origin=(0, 0, 8), up=(0, 0, 1))
    found = screw_exit(tilted, plane, FRAME, marks("a", (0, 5, 8)), marks("b", (0, -7, 7)))
    # A screw that leans lingually by 20 degrees leaves 8 tan 20 lingual.
    np.testing.assert_allclose(found.point, [-8 * np.tan(np.radians(20)), 0, 8], atol=1e-9)
    assert found.buccal.value == pytest.approx(-8 * np.tan(np.radians(20)))
    assert found.mesial.value == pytest.approx(1.0)
    assert screw_exit(tilted, Level(origin=(0, 0, 8), up=(0, 1, 0)), FRAME, marks("a", (0, 5, 8)),
                      marks("b", (0, -7, 7))) is None  # fmt: skip


def test_occlusal_plane_from_cusps():
    tilt = marks("c", (0, 0, 8), (10, 0, 9), (0, 10, 8), (10, 10, 9), kind="cusp")
    plane = occlusal_plane([tilt], LEVEL)
    np.testing.assert_allclose(plane.up, np.array([-0.1, 0, 1]) / np.hypot(0.1, 1), atol=1e-9)
    one = occlusal_plane([marks("c", (0, 0, 8), kind="cusp")], LEVEL)
    np.testing.assert_allclose(one.up, [0, 0, 1])
    line = marks("c", (0, 0, 8), (5, 0, 9), (10, 0, 10), kind="cusp")
    np.testing.assert_allclose(occlusal_plane([line], LEVEL).up, [0, 0, 1])
    assert occlusal_plane([], LEVEL) is None


@pytest.mark.parametrize(("aside", "tells"), [(1.2, True), (0.2, False)])
def test_three_cusps_tell_a_plane_only_where_one_stands_aside_of_the_other_two(aside, tells):
    # By hand: one at `aside` from the line of two lies 2/3 of it from the middle of the three, so
    # they spread by sqrt(2/3) aside: 0.98 and 0.16 mm, against the 0.17 from which a plane is told.
    tilted = np.array([0.0, np.cos(0.3), np.sin(0.3)])
    plane = occlusal_plane([marks("c", (0, 0, 8), (6, 0, 8), (3, 0, 8) + aside * tilted,
                                  kind="cusp")], LEVEL)  # fmt: skip
    assert plane.up == pytest.approx((0, -np.sin(0.3), np.cos(0.3)) if tells else (0, 0, 1))


def test_rooms():
    near, far = marks("a", (0, 4, 6), (0, 9, 6)), marks("b", (0, -4.3, 6))
    assert mesiodistal_room(near, far).value == pytest.approx(8.3)
    opponent = marks("o", (1, 0, 7.5), (0, 1, 7.1), kind="opponent")
    assert opponent_room(FIXTURE, opponent, teeth_together=True).value == pytest.approx(7.1)
    for kwargs in ({}, {"teeth_together": True}):
        given = opponent if not kwargs else None
        reading = opponent_room(FIXTURE, given, **kwargs)
        assert reading.value is None
        assert reading.notes[0].message.endswith(".")
    entered = opponent_room(FIXTURE, None, entered_mm=6.5)
    assert entered.value == 6.5
    assert entered.notes[0].message.endswith(".")
    with pytest.raises(ValueError, match="positive"):
        opponent_room(FIXTURE, None, entered_mm=0.0)


def test_gum_thickness_only_where_the_gum_stands_free():
    gum = marks("g", (0, 0, 2.5), kind="gum")
    rim = Reading(value=0.4, edge_sd_mm=(0.1,))
    reading = gum_thickness(FIXTURE, gum, rim, gum_stands_free=True)
    assert reading.value == pytest.approx(2.1)
    assert reading.edge_sd_mm == (0.1,)
    hidden = gum_thickness(FIXTURE, gum, rim)
    assert hidden.value is None
    assert "Probe" in hidden.notes[0].message
    for probed_mm in (3.0, 0.5, 0.0):
        assert gum_thickness(FIXTURE, gum, rim, probed_mm=probed_mm).value == probed_mm
    for nonsense in (-0.1, float("nan"), float("inf")):
        with pytest.raises(ValueError, match="probed"):
            gum_thickness(FIXTURE, gum, rim, probed_mm=nonsense)
    assert gum_thickness(FIXTURE, None, rim, gum_stands_free=True).value is None


def test_entry_point_from_the_neighbours():
    assert entry_from_neighbour(FIXTURE, marks("a", (1, 4.2, 6)), FRAME).value == pytest.approx(4.2)
    assert entry_from_neighbour(FIXTURE, marks("b", (1, -5, 6)), FRAME).value == pytest.approx(5)
    # The line runs from x = 1 to x = -2 over 12 mm; at the platform (a third on) it is at 0.
    reading = entry_from_grooves(FIXTURE, marks("a", (1, 4, 8)), marks("b", (-2, -8, 7)), FRAME)
    assert reading.value == pytest.approx(0.0, abs=1e-9)
    shifted = replace(FIXTURE, platform=(0.7, 0, 0))
    assert entry_from_grooves(
        shifted, marks("a", (1, 4, 8)), marks("b", (-2, -8, 7)), FRAME
    ).value == pytest.approx(0.7)
    across = entry_from_grooves(FIXTURE, marks("a", (5, 0, 8)), marks("b", (-5, 0, 7)), FRAME)
    assert across.value is None
    assert across.notes[0].message.endswith(".")
    assert depth_below(FIXTURE, marks("e", (0, 6, 3))).value == pytest.approx(3.0)


STENT = StentAxis(id="s", occlusal=(-1.2, 0.4, 8), gingival=(0.3, -0.5, 2))
PLANE = Level(origin=(0, 0, 8), up=(0.1, 0.05, 1))


@pytest.mark.parametrize(
    "measured",
    [
        lambda stent: axis_angle(FIXTURE, stent),
        lambda stent: offset_at_platform(FIXTURE, stent),
    ],
)
def test_stent_derivatives_against_finite_differences(measured):
    step = 1e-5
    for influence in measured(STENT).marks:
        end = influence.mark.split("/")[1]
        for k in range(3):
            shift = np.eye(3)[k] * step
            ahead, back = (
                measured(replace(STENT, **{end: getattr(STENT, end) + s * shift})).value
                for s in (1, -1)
            )
            assert influence.gradient[k] == pytest.approx((ahead - back) / (2 * step), abs=1e-4)


@pytest.mark.parametrize(
    "measured",
    [
        mesiodistal_room,
        lambda a, b: entry_from_grooves(FIXTURE, a, b, FRAME),
        lambda a, b: screw_exit(FIXTURE, PLANE, FRAME, a, b).mesial,
        lambda a, b: screw_exit(FIXTURE, PLANE, FRAME, a, b).buccal,
    ],
)
def test_mark_derivatives_against_finite_differences(measured):
    step = 1e-5
    pair = {"a": marks("a", (1, 4, 8)), "b": marks("b", (-2, -8, 7))}
    found: tuple[MarkInfluence, ...] = measured(*pair.values()).marks
    assert {m.mark for m in found} == {"a/0", "b/0"}
    for influence in found:
        name = influence.mark[0]
        for k in range(3):
            values = []
            for sign in (1, -1):
                moved = np.array(pair[name].points)
                moved[0, k] += sign * step
                values.append(measured(*{**pair, name: marks(name, *moved)}.values()).value)
            slope = (values[0] - values[1]) / (2 * step)
            assert influence.gradient[k] == pytest.approx(slope, abs=1e-5)


class TestReadings:
    """Witnesses, marks and evidence of each row."""

    def test_contacts_on_one_place_have_no_room_and_no_direction(self):
        reading = mesiodistal_room(marks("a", (0, 4, 6)), marks("b", (0, 4, 6)))
        assert reading.value == 0.0
        for influence in reading.marks:
            assert influence.gradient == pytest.approx([0, 0, 0])

    def test_room_between_the_nearest_contacts_in_space(self):
        first = marks("a", (0, 4, 6), (3, 0, 4))
        second = marks("b", (0, -9, 6), (0, 0, 0), (0, -7, 6))
        reading = mesiodistal_room(first, second)
        assert reading.value == pytest.approx(5.0)
        assert [m.mark for m in reading.marks] == ["a/1", "b/1"]
        assert reading.marks[0].gradient == pytest.approx([0.6, 0, 0.8])
        assert reading.marks[1].gradient == pytest.approx([-0.6, 0, -0.8])
        assert reading.witness[1] == pytest.approx([0, 0, 0])

    def test_the_opponents_nearest_mark_counts_along_the_axis(self):
        leaning_one = replace(FIXTURE, towards_apex=(0.6, 0, -0.8))
        opponent = marks("o", (-6, 0, 8), (0, 0, 8), kind="opponent")
        reading = opponent_room(leaning_one, opponent, teeth_together=True)
        assert reading.value == pytest.approx(6.4)
        assert reading.witness[0] == pytest.approx([-3.84, 0, 5.12])
        assert reading.witness[1] == pytest.approx([0, 0, 8])
        assert reading.marks[0].mark == "o/1"
        assert reading.marks[0].gradient == pytest.approx([-0.6, 0, 0.8])
        for nonsense in (float("nan"), float("inf"), -1.0):
            with pytest.raises(ValueError, match="positive"):
                opponent_room(FIXTURE, None, entered_mm=nonsense)

    def test_gum_over_the_bone_carries_both_ends(self):
        gum = marks("g", (0, 0, 2.5), kind="gum")
        rim = Reading(
            value=0.4, edge_sd_mm=(0.1,),
            marks=(MarkInfluence(mark="x/0", gradient=(0, 0.5, 0)),),
        )  # fmt: skip
        reading = gum_thickness(FIXTURE, gum, rim, gum_stands_free=True)
        assert reading.witness[0] == pytest.approx([0, 0, 0.4])
        assert reading.witness[1] == pytest.approx([0, 0, 2.5])
        assert [m.mark for m in reading.marks] == ["x/0", "g/0"]
        assert reading.marks[0].gradient == pytest.approx([0, -0.5, 0])
        assert reading.marks[1].gradient == pytest.approx([0, 0, 1])
        assert not reading.evidence.is_sound, "the rim had no evidence"
        lost = Reading(value=None, notes=(Note("rim_not_found"),))
        assert gum_thickness(FIXTURE, gum, lost, gum_stands_free=True) is lost

    def test_offsets_have_their_ends_and_shares(self):
        stent = StentAxis(id="s", occlusal=(3, 0, 8), gingival=(3, 0, 2))
        reading = offset_at_platform(FIXTURE, stent)
        assert reading.witness[1] == pytest.approx([3, 0, 0])
        occlusal, gingival = reading.marks
        # The platform lies a third of the axis beyond its gingival end.
        assert occlusal.gradient == pytest.approx([-1 / 3, 0, 0])
        assert gingival.gradient == pytest.approx([4 / 3, 0, 0])
        plane = Level(origin=(0, 0, 5), up=(0, 0, 1))
        middle = offset_at_occlusal_plane(FIXTURE, stent, plane)
        assert middle.value == pytest.approx(3.0)
        assert [m.gradient[0] for m in middle.marks] == pytest.approx([0.5, 0.5])
        assert middle.witness[0] == pytest.approx([0, 0, 5])

    @pytest.mark.parametrize(("cosine", "meets"), [(0.21, True), (0.19, False)])
    def test_an_axis_nearly_along_the_plane_does_not_meet_it(self, cosine, meets):
        up = np.array([np.sqrt(1 - cosine**2), 0, cosine])
        plane = Level(origin=(0, 0, 8), up=up)
        stent = StentAxis(id="s", occlusal=(0, 0, 8), gingival=up * -3)
        reading = offset_at_occlusal_plane(FIXTURE, stent, plane)
        assert (reading.value is not None) is meets
        assert (screw_exit(FIXTURE, plane, FRAME, marks("a", (0, 5, 8)), marks("b", (0, -7, 7)))
                is not None) is meets  # fmt: skip

    def test_a_parallel_stent_axis_opens_its_angle_with_any_shift(self):
        reading = axis_angle(FIXTURE, leaning(0, length=6.0))
        assert reading.value == pytest.approx(0.0)
        for influence in reading.marks:
            assert np.linalg.norm(influence.gradient) == pytest.approx(np.degrees(1) / 6)
            assert influence.gradient[2] == pytest.approx(0.0)

    def test_the_screws_exit_is_measured_in_the_plane(self):
        """Neighbours of several marks count by their middles; heights do not enter."""
        tilted = Level(origin=(0, 0, 8), up=(0.6, 0, 0.8))
        found = screw_exit(
            FIXTURE, tilted, FRAME, marks("a", (1, 5, 9), (3, 5, 7)), marks("b", (2, -7, 40))
        )
        assert found.point == pytest.approx([0, 0, 8])
        middle = np.array([2, -1, 24.0])
        flat = np.array([0.8, 0, -0.6])
        assert found.buccal.value == pytest.approx(((0, 0, 8) - middle) @ flat)
        assert found.mesial.value == pytest.approx(1.0)
        assert [m.mark for m in found.buccal.marks] == ["a/0", "a/1", "b/0"]
        assert found.buccal.marks[0].gradient == pytest.approx(-flat / 4)
        assert found.buccal.marks[2].gradient == pytest.approx(-flat / 2)


class TestEntry:
    """Distances that a hand can measure in the mouth."""

    def test_the_nearest_contact_along_the_arch_and_its_sense(self):
        contact = marks("a", (1, 6, 6), (9, -4.2, 6))
        reading = entry_from_neighbour(FIXTURE, contact, FRAME)
        assert reading.value == pytest.approx(4.2)
        assert reading.marks[0].mark == "a/1"
        assert reading.marks[0].gradient == pytest.approx([0, -1, 0])
        assert reading.witness[1] == pytest.approx([9, -4.2, 6])
        ahead = entry_from_neighbour(FIXTURE, marks("a", (1, 6, 6)), FRAME)
        assert ahead.marks[0].gradient == pytest.approx([0, 1, 0])

    @pytest.mark.parametrize(("across", "told"), [(4.8, True), (5.0, False)])
    def test_a_line_that_runs_across_the_arch_tells_nothing(self, across, told):
        """Told where its part along the arch is a fifth of it or more: 1 in sqrt(24) aside."""
        first, second = marks("a", (across / 2, 0.5, 8)), marks("b", (-across / 2, -0.5, 8))
        reading = entry_from_grooves(FIXTURE, first, second, FRAME)
        assert (reading.value is not None) is told

    def test_grooves_have_their_shares_and_place(self):
        reading = entry_from_grooves(FIXTURE, marks("a", (1, 3, 8)), marks("b", (-1, -1, 8)), FRAME)
        # At y = 0, three quarters on, the line stands at x = -0.5.
        assert reading.value == pytest.approx(0.5)
        assert reading.witness[1] == pytest.approx([-0.5, 0, 8])
        slant = np.array([1, -0.5, 0])
        assert reading.marks[0].gradient == pytest.approx(-0.25 * slant)
        assert reading.marks[1].gradient == pytest.approx(-0.75 * slant)

    def test_depth_below_the_mark_nearest_to_the_axis(self):
        reading = depth_below(FIXTURE, marks("e", (0, 6, 3), (1, 0, 2.2)))
        assert reading.value == pytest.approx(2.2)
        assert reading.marks[0].mark == "e/1"
        assert reading.marks[0].gradient == pytest.approx([0, 0, 1])
        assert reading.witness[1] == pytest.approx([0, 0, 2.2])
