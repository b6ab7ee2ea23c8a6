from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from core.arch import Arch, expected_buccal, fixture_frame, station_words, tooth_doubt
from core.direction import CheekAnswer, SideAnswers, as_point
from core.errors import PlanError
from core.fixture import Fixture, FixtureSize
from core.geometry import angle_deg
from core.identity import Tooth
from core.level import Level

FLAT = Level(origin=(0, 0, 0), up=(0, 0, 1))
SIZE = FixtureSize(diameter_mm=4.5, length_mm=8)
MIRROR = np.array([-1.0, 1.0, 1.0])


def jaw(first=-75, last=75, count=9, height=2.0):
    """Points from the patient's right (−x) to the left (+x), front teeth at −y."""
    turn = np.radians(np.linspace(first, last, count))
    wave = height * np.cos(5 * turn)
    return np.stack([25 * np.sin(turn), 25 - 30 * np.cos(turn), wave], axis=1)


def fixture_at(arch, station, tooth="", axis=(0, 0, -1)):
    return Fixture(
        id="f", tooth=tooth, platform=arch.frame(station).origin, towards_apex=axis, size=SIZE
    )


def test_travel_runs_from_the_patients_right_to_the_left_whatever_the_order():
    for points in (jaw(), jaw()[::-1]):
        arch = Arch.trace(points, level=FLAT)
        assert arch.direction.state == "settled"
        assert arch.curve.points_mm[0, 0] < 0 < arch.curve.points_mm[-1, 0]
        frame = arch.frame(arch.length_mm / 2)
        # LPS: x grows to the patient's left, y to the back, z to the head.
        assert frame.travel == pytest.approx((1, 0, 0), abs=1e-9)
        assert frame.buccal == pytest.approx((0, -1, 0), abs=1e-9)


def test_buccal_points_to_the_cheek_on_both_sides():
    arch = Arch.trace(jaw(), level=FLAT)
    right, left = arch.frame(8.0), arch.frame(arch.length_mm - 8.0)
    assert right.buccal[0] < -0.8
    assert left.buccal[0] > 0.8


def test_the_curve_lies_on_the_jaw_plane():
    tilted = Level(
        origin=(1, 2, 3), up=Rotation.from_euler("xyz", [12, -7, 0], True).apply((0, 0, 1))
    )
    arch = Arch.trace(jaw(height=6), level=tilted)
    stations = np.linspace(-5, arch.length_mm + 5, 50)
    assert tilted.height_mm(arch.curve.at(stations)) == pytest.approx(0, abs=1e-9)
    for station in stations[::7]:
        frame = arch.frame(station)
        axes = np.stack([frame.travel, frame.up, frame.buccal])
        assert axes @ axes.T == pytest.approx(np.eye(3), abs=1e-9)
        assert np.cross(frame.travel, frame.up) == pytest.approx(frame.buccal, abs=1e-9)


def test_beyond_the_traced_points_is_told():
    arch = Arch.trace(jaw(), level=FLAT)
    assert [arch.frame(s).beyond for s in (-0.1, 0, 10, arch.length_mm, arch.length_mm + 0.1)] == [
        True, False, False, False, True,
    ]  # fmt: skip


@given(st.floats(-6, 115), st.floats(-20, 20), st.floats(-3, 3))
def test_the_station_of_a_place_off_the_curve_is_its_own(station, height, aside):
    arch = Arch.trace(jaw(), level=FLAT)
    frame = arch.frame(station)
    point = frame.origin + height * frame.up + aside * frame.buccal
    assert arch.station(point) == pytest.approx(station, abs=1e-6)


@given(st.integers(0, 10_000))
def test_stations_do_not_depend_on_where_the_patient_lies(seed):
    rng = np.random.default_rng(seed)
    # Turns that keep the patient's left on +x and the head up, as a patient moves in a scanner.
    turn = Rotation.from_euler("xyz", rng.uniform(-20, 20, 3), degrees=True).as_matrix()
    shift = rng.uniform(-60, 60, 3)
    here = Arch.trace(jaw(), level=FLAT)
    there = Arch.trace(jaw() @ turn.T + shift, level=Level(origin=shift, up=turn @ FLAT.up))
    assert there.direction.state == "settled"
    assert there.length_mm == pytest.approx(here.length_mm, abs=1e-7)
    for station in rng.uniform(-3, here.length_mm + 3, 4):
        a, b = here.frame(station), there.frame(station)
        assert b.origin == pytest.approx(turn @ a.origin + shift, abs=1e-6)
        for name in ("travel", "buccal", "up"):
            assert getattr(b, name) == pytest.approx(turn @ getattr(a, name), abs=1e-6)


def test_a_mirrored_jaw_has_mirrored_stations():
    here = Arch.trace(jaw(-75, 40), level=FLAT)
    there = Arch.trace(jaw(-75, 40) * MIRROR, level=FLAT)
    assert there.direction.state == "settled"
    for station in (0.0, 12.0, 40.0):
        a, b = here.frame(station), there.frame(there.length_mm - station)
        assert b.origin == pytest.approx(a.origin * MIRROR, abs=1e-9)
        assert b.buccal == pytest.approx(a.buccal * MIRROR, abs=1e-9)
        assert b.travel == pytest.approx(-a.travel * MIRROR, abs=1e-9)


@pytest.mark.parametrize("points", [[(0, 0, 0)], [(0, 0, 0), (0, 0, 5)], np.zeros((0, 3))])
def test_an_arch_needs_two_points_that_stand_apart_on_the_plane(points):
    with pytest.raises(PlanError, match="two points") as refusal:
        Arch.trace(points, level=FLAT)
    assert refusal.value.code == "arch-too-short"


# Which side: the bow of the curve, patient x and a person's answer.


def short_trace(bow_mm):
    """A left posterior stretch of 20 mm, bowed towards the cheek by so much."""
    return np.array([(20, 0, 0), (22 + bow_mm, 10, 0), (24, 20, 0)], dtype=float)


LEFT_BACK = SideAnswers(region="left back")


def test_a_trace_without_a_bow_asks_for_the_tongue():
    for points in (short_trace(0.7), short_trace(0.7)[::-1], short_trace(-0.7), short_trace(0)):
        arch = Arch.trace(points, level=FLAT, answers=LEFT_BACK)
        assert arch.side_is_open
        assert arch.direction.ask == ("front end", "tongue")
        assert arch.direction.finding.severity == "refused"
    bowed = Arch.trace(short_trace(1.3), level=FLAT, answers=LEFT_BACK)
    assert bowed.direction.ask == ("front end",)


def test_a_back_piece_of_which_nobody_named_the_teeth_is_open():
    for points in (short_trace(2), short_trace(-2), short_trace(0)):
        arch = Arch.trace(points, level=FLAT)
        assert arch.direction.state == "open"
        assert arch.direction.ask[0] == "teeth"


def test_a_trace_that_bows_both_ways_tells_nothing_by_its_shape():
    wave = np.array([(20, 0, 0), (22, 9, 0), (20.5, 18, 0), (19, 27, 0), (21, 36, 0)], dtype=float)
    assert "shape" not in Arch.trace(wave, level=FLAT, answers=LEFT_BACK).direction.spoken


def test_a_bow_against_the_scans_coordinates_is_a_contradiction():
    # The arch of a scan whose y axis is swapped bows backwards.
    backwards = jaw() * np.array([1, -1, 1])
    for points, answers in (
        (backwards, SideAnswers()),
        (backwards[::-1], SideAnswers()),
        (short_trace(-2), LEFT_BACK),
    ):
        arch = Arch.trace(points, level=FLAT, answers=answers)
        assert arch.direction.state == "contradicted"
        assert arch.side_is_open
        assert "patient or the chart" in arch.direction.finding.message


def test_a_plane_upside_down_is_a_contradiction():
    arch = Arch.trace(jaw(), level=Level(origin=(0, 0, 0), up=(0, 0, -1)))
    assert arch.direction.state == "contradicted"


def test_no_answer_rules_against_another_sign():
    for end, agrees in ((0, True), (-1, False)):
        told = SideAnswers(right_end=as_point(jaw()[end]))
        arch = Arch.trace(jaw(), level=FLAT, answers=told)
        assert arch.direction.state == ("settled" if agrees else "contradicted")
        front = SideAnswers(region="left back", front_end=as_point(short_trace(2)[end]))
        piece = Arch.trace(short_trace(2), level=FLAT, answers=front)
        assert piece.direction.state == ("settled" if agrees else "contradicted")
    for towards, agrees in (((1, 0, 0), True), ((-1, 0, 0), False)):
        cheek = CheekAnswer(at=(22.0, 10.0, 0.0), towards=towards)
        told = SideAnswers(region="left back", front_end=(20.0, 0.0, 0.0), cheek=cheek)
        arch = Arch.trace(short_trace(0), level=FLAT, answers=told)
        assert arch.direction.state == ("settled" if agrees else "contradicted")


def test_an_answer_about_a_place_that_is_no_end_any_more_falls_away():
    told = SideAnswers(region="left back", front_end=(22.0, 10.0, 0.0))
    assert Arch.trace(short_trace(2), level=FLAT, answers=told).direction.ask == ("front end",)


def test_teeth_named_where_they_cannot_stand_are_a_contradiction():
    for region in ("front", "whole arch", "right back"):
        answers = SideAnswers(region=region)
        assert Arch.trace(short_trace(2), level=FLAT, answers=answers).direction.against


@pytest.mark.parametrize(
    ("tooth", "direction"),
    [("16", (-1, 0, 0)), ("43", (-1, 0, 0)), ("23", (1, 0, 0)), ("38", (1, 0, 0)),
     ("11", (0, -1, 0)), ("22", (0, -1, 0)), ("31", (0, -1, 0)), ("42", (0, -1, 0))],
)  # fmt: skip
def test_where_buccal_is_expected(tooth, direction):
    assert expected_buccal(Tooth.of(tooth)) == pytest.approx(direction)


def test_a_tooth_of_the_wrong_side_is_told():
    arch = Arch.trace(jaw(), level=FLAT)
    right, front, left = 10.0, arch.length_mm / 2, arch.length_mm - 10
    for station, fits in ((right, "46 16 43"), (front, "11 21 31 41 12"), (left, "36 26 33")):
        for tooth in fits.split():
            assert tooth_doubt(arch, station, tooth) is None
    for station, wrong in ((right, "36 26 33"), (left, "46 17 43"), (front, "46 36")):
        for tooth in wrong.split():
            doubt = tooth_doubt(arch, station, tooth)
            assert (doubt.code, doubt.severity) == ("side-against-tooth", "caution")
            assert str(Tooth.of(tooth).words()) in doubt.message
    assert tooth_doubt(arch, right, "") is None


def test_agreement_of_a_fifth_is_the_line():
    # A premolar where buccal leans 78 degrees from the side: cos 78.5° = 0.199.
    turn = np.radians(np.linspace(-80, 80, 41))
    arch = Arch.trace(26 * np.stack([np.sin(turn), -np.cos(turn), 0 * turn], axis=1), level=FLAT)
    for degrees, agrees in ((11.2, False), (11.9, True)):
        station = 26 * np.radians(80 + degrees)
        assert (tooth_doubt(arch, station, "24") is None) is agrees


def test_a_canine_at_the_corner_may_face_forwards_but_never_to_the_other_side():
    turn = np.radians(np.linspace(-80, 80, 41))
    arch = Arch.trace(26 * np.stack([np.sin(turn), -np.cos(turn), 0 * turn], axis=1), level=FLAT)
    for degrees, agrees in ((2.0, True), (-2.0, False)):
        assert (tooth_doubt(arch, 26 * np.radians(80 + degrees), "23") is None) is agrees


# Directions at a fixture.


@pytest.mark.parametrize(
    ("tooth", "share", "towards_left"),
    [("46", 0.1, True), ("16", 0.1, True), ("36", 0.9, False), ("26", 0.9, False)],
)
def test_mesial_points_to_the_midline(tooth, share, towards_left):
    arch = Arch.trace(jaw(), level=FLAT)
    frame = fixture_frame(fixture_at(arch, share * arch.length_mm, tooth), arch)
    assert frame.named_by_tooth
    assert (float(frame.m @ frame.station.travel) > 0) is towards_left
    # Towards the midline is forwards (−y) at a molar.
    assert frame.m[1] < -0.5
    assert frame.b == pytest.approx(frame.station.buccal, abs=1e-9)
    assert frame.a == pytest.approx((0, 0, 1))


def test_without_a_tooth_there_is_no_mesial():
    arch = Arch.trace(jaw(), level=FLAT)
    for share in (0.1, 0.9):
        frame = fixture_frame(fixture_at(arch, share * arch.length_mm), arch)
        assert not frame.named_by_tooth
        assert float(frame.m @ frame.station.travel) > 0.99


@given(st.floats(0, 110), st.floats(0, 45), st.floats(0, 360), st.sampled_from(["", "46", "36"]),
       st.booleans())  # fmt: skip
def test_the_directions_of_a_tilted_fixture(station, tilt, around, tooth, upper):
    arch = Arch.trace(jaw(), level=FLAT)
    lean = Rotation.from_euler("zxz", [around, tilt, -around], degrees=True)
    axis = lean.apply((0, 0, 1 if upper else -1))
    frame = fixture_frame(fixture_at(arch, station, tooth, axis), arch)
    axes = np.stack([frame.a, frame.b, frame.m])
    assert axes @ axes.T == pytest.approx(np.eye(3), abs=1e-9)
    assert frame.a == pytest.approx(-axis)
    assert float(frame.b @ frame.station.buccal) > 0
    against = tooth == "36"
    assert float(frame.m @ frame.station.travel) * (-1 if against else 1) > 0
    for turn in (0, 37, 90, 180, 270):
        assert angle_deg(frame.direction(turn), frame.b) == pytest.approx(
            turn if turn <= 180 else 360 - turn, abs=1e-5
        )
    assert frame.direction(90) == pytest.approx(frame.m)
    assert frame.direction(180) == pytest.approx(-frame.b)


def test_left_and_right_fixtures_mirror_each_other():
    arch = Arch.trace(jaw(), level=FLAT)
    for first, second in (("46", "36"), ("16", "26")):
        a = fixture_frame(fixture_at(arch, 10, first, (0.2, 0.1, -1)), arch)
        b = fixture_frame(fixture_at(arch, arch.length_mm - 10, second, (-0.2, 0.1, -1)), arch)
        for name in ("a", "b", "m"):
            assert getattr(b, name) == pytest.approx(getattr(a, name) * MIRROR, abs=1e-6)


@pytest.mark.parametrize("name", ["travel", "buccal"])
def test_a_fixture_that_lies_level_is_refused(name):
    arch = Arch.trace(jaw(), level=FLAT)
    axis = getattr(arch.frame(30.0), name)
    with pytest.raises(PlanError, match="fixture f") as refusal:
        fixture_frame(fixture_at(arch, 30.0, axis=axis), arch)
    assert refusal.value.code == "fixture-axis-level"


# Stations for people.


def test_stations_are_told_from_the_midline():
    arch = Arch.trace(jaw(), level=FLAT)
    midline = arch.frame(arch.length_mm / 2).origin + np.array([0, -3, 4])
    middle = arch.length_mm / 2
    assert str(station_words(arch, middle + 21.42, midline)) == "21.4 mm left of the midline"
    assert str(station_words(arch, middle - 3.06, midline)) == "3.1 mm right of the midline"
    assert str(station_words(arch, middle - 0.04, midline)) == "at the midline"
    assert str(station_words(arch, 12.3, None)) == "12.3 mm along the arch from its right end"
    beyond = str(station_words(arch, arch.length_mm + 2, midline))
    assert beyond.endswith("left of the midline, beyond the traced arch")


def test_an_open_side_is_never_named():
    arch = Arch.trace(short_trace(0), level=FLAT)
    words = str(station_words(arch, 5.0, arch.frame(1).origin))
    assert words == "5.0 mm along the traced arch, side not settled"
