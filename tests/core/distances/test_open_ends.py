"""What the marks do not cover: the bounds of every rule, each from both of its sides."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import pytest

from core.distances.clearance import clearance
from core.distances.floor_surface import FloorSurface
from core.distances.open_ends import (
    ends_there,
    floor_end_notes,
    open_end_notes,
    short_note,
    spacing_doubt,
)
from core.distances.solid import FixtureSolid
from core.distances.tubes import tubes_of
from core.fixture import Fixture, FixtureSize
from core.structures import Course, Floor, Foramen, PointMarks, Tapered

FIXTURE = Fixture(
    id="36", platform=(0, 0, 0), towards_apex=(0, 0, -1),
    size=FixtureSize(diameter_mm=4.0, length_mm=10.0),
)  # fmt: skip
SOLID = FixtureSolid.of(FIXTURE)


@dataclass(frozen=True)
class Side:
    m: np.ndarray
    b: np.ndarray


MESIAL_Y = Side(np.array([0.0, 1.0, 0.0]), np.array([1.0, 0.0, 0.0]))


def course(*marks, kind="canal", ident="c", diameter=3.0):
    return Course(id=ident, kind=kind, points=marks, diameter_mm=diameter)


def line(low, high, *, kind="canal", ident="c", count=9, x=0.0):
    y = np.linspace(low, high, count)
    marks = np.column_stack([np.full(count, x), y, np.full(count, -14.0)])
    return course(*marks, kind=kind, ident=ident)


def notes_of(structure, station, *, frame=MESIAL_Y, others=()):
    (tube,) = tubes_of(structure)
    found = open_end_notes(SOLID, structure, tube, station, frame=frame, others=others)
    return [note.code for note in found]


class TestEnds:
    @pytest.mark.parametrize(
        ("station", "is_end"),
        [(0.0, True), (0.009, True), (0.02, False), (8.0, False), (15.98, False), (15.995, True),
         (16.0, True)],
    )  # fmt: skip
    def test_an_end_is_within_a_hundredth_of_the_first_or_last_mark(self, station, is_end):
        canal = line(-8, 8)
        (tube,) = tubes_of(canal)
        assert tube.length_mm == pytest.approx(16.0)
        assert ends_there(canal, tube, station, others=()) is is_end

    @pytest.mark.parametrize(("gap", "joined"), [(2.9, True), (3.1, False)])
    def test_an_end_within_3_mm_of_a_foramens_edge_is_joined_to_it(self, gap, joined):
        """The foramen is a ball of 1.5 mm; the gap is counted from its surface."""
        canal = line(-8, 8)
        (tube,) = tubes_of(canal)
        middle = 8 + gap + 1.5
        foramen = Foramen(id="f", mesial=(0, middle + 1.5, -14), distal=(0, middle - 1.5, -14))
        for station, near in ((16.0, True), (0.0, False)):
            expected = not (joined and near)
            assert ends_there(canal, tube, station, others=[foramen]) is expected

    def test_a_single_mark_is_all_end_even_beside_a_foramen(self):
        canal = Course(id="c", kind="canal", points=[(0, 8, -14)], diameter_mm=3.0)
        (tube,) = tubes_of(canal)
        assert tube.length_mm == 0.0
        beside = Foramen(id="f", mesial=(0, 11, -14), distal=(0, 8, -14))
        assert ends_there(canal, tube, 0.0, others=[beside])

    @pytest.mark.parametrize(
        ("other", "joined"),
        [
            (line(8, 20, kind="loop", ident="l"), True),
            (line(8, 20, kind="canal", ident="d"), True),
            (line(8, 20, kind="vessel", ident="v"), False),
            (line(8, 20, kind="canal", ident="c"), False),
            (PointMarks(id="m", kind="mark", points=[(0, 8, -14)]), False),
        ],
    )
    def test_only_another_canal_loop_or_foramen_joins_an_end(self, other, joined):
        canal = line(-8, 8)
        (tube,) = tubes_of(canal)
        assert ends_there(canal, tube, 16.0, others=[other]) is not joined

    @pytest.mark.parametrize(
        ("diameters", "open_end"), [((5.0, 2.0), "first"), ((2.0, 5.0), "last"), ((3, 3), "first")]
    )
    def test_a_root_goes_on_only_above_its_wider_end(self, diameters, open_end):
        root = Tapered(id="r", kind="root", points=[(0, 6, 0), (0, 6, -9)], diameters_mm=diameters)
        (tube,) = tubes_of(root)
        found = {
            name
            for name, station in (("first", 0.0), ("middle", 4.5), ("last", 9.0))
            if ends_there(root, tube, station, others=())
        }
        assert found == {open_end}
        near = {"first": 0.02, "last": 8.98}[open_end]
        assert not ends_there(root, tube, near, others=())
        metal = Tapered(
            id="r", kind="existing", points=[(0, 6, 0), (0, 6, -9)], diameters_mm=diameters
        )
        for station in (0.0, 9.0):
            assert not ends_there(metal, tubes_of(metal)[0], station, others=())

    def test_what_is_said_of_each(self):
        root = Tapered(id="r", kind="root", points=[(0, 6, 0), (0, 6, -9)], diameters_mm=(5, 2))
        assert short_note(root).code == "root_traced_too_short"
        assert short_note(line(-8, 8)).code == "traced_too_short"
        assert short_note(root).fields["id"] == "r"


class TestBeyond:
    """The fixture reaches from y = -2 to 2: marks must go on to 7 mm on both sides."""

    @pytest.mark.parametrize(
        ("low", "high", "short"),
        [(-7.1, 7.1, False), (-6.9, 7.1, True), (-7.1, 6.9, True), (-7.1, 30, False)],
    )
    def test_five_millimetres_on_both_sides(self, low, high, short):
        found = notes_of(line(low, high), 7.0)
        assert found == (["marks_stop_near_fixture"] if short else [])

    def test_an_end_that_joins_is_not_short_the_other_still_is(self):
        loop = line(5.5, 12, kind="loop", ident="l")
        assert notes_of(line(-20, 5), 10.0) == ["marks_stop_near_fixture"]
        assert notes_of(line(-20, 5), 10.0, others=[loop]) == []
        assert notes_of(line(-5, 5), 5.0, others=[loop]) == ["marks_stop_near_fixture"]

    def test_not_asked_without_a_frame_nor_of_what_crosses_the_jaw(self):
        assert notes_of(line(-4, 4), 4.0, frame=None) == []
        assert notes_of(line(-4, 4, kind="vessel"), 4.0) == []
        assert notes_of(line(-4, 4, kind="border"), 4.0) == ["marks_stop_near_fixture"]
        root = Tapered(id="r", kind="root", points=[(0, 6, 0), (0, 6, -9)], diameters_mm=(5, 2))
        assert notes_of(root, 4.5) == []

    def test_the_open_end_is_told_before_the_short_one(self):
        assert notes_of(line(-4, 4), 0.0) == ["traced_too_short"]


class TestFloor:
    UPPER = FixtureSolid.of(
        Fixture(id="15", platform=(0, 0, 0), towards_apex=(0, 0, 1), size=FIXTURE.size)
    )

    def notes(self, marks, place=None, frame=None):
        floor = Floor(id="s", of="sinus", points=marks)
        surface = FloorSurface.through(floor.points)
        at = surface.foot(np.array([0.0, 0.0, 12.0]))[0] if place is None else place(surface)
        found = floor_end_notes(self.UPPER, floor, surface, at, frame=frame)
        return [note.code for note in found]

    RIM = ((-20, -20, 12), (-20, 20, 12), (20, -20, 12), (20, 20, 12))

    def ring(self, radius, degrees):
        return [
            (radius * np.cos(np.radians(d)), radius * np.sin(np.radians(d)), 12.0) for d in degrees
        ]

    @pytest.mark.parametrize(
        ("radius", "degrees", "narrow"),
        [
            (4.9, (10, 100, 190, 280), False),
            (5.1, (10, 100, 190, 280), True),
            (4.9, (10, 100, 190), True),  # three marks
            (4.9, (5, 60, 120, 179), True),  # the axis stands outside of their ring
            (4.9, (5, 60, 120, 184), True),
            (4.9, (5, 60, 120, 186), False),
            (4.9, (-177, -60, 0, 2), True),
            (4.9, (-179, -60, 0, 2), False),
        ],
    )
    def test_four_marks_within_5_mm_around_the_axis(self, radius, degrees, narrow):
        found = self.notes([*self.RIM, *self.ring(radius, degrees)])
        assert found == (["floor_marked_too_narrow"] if narrow else [])

    @pytest.mark.parametrize(("inside", "narrow"), [(0.04, True), (0.06, False), (-1.0, True)])
    def test_a_least_place_at_the_rim_of_the_marks(self, inside, narrow):
        marks = [*self.RIM, *self.ring(4, (10, 100, 190, 280))]

        def place(surface):
            return surface.foot(np.array([20.0 - inside, 0.0, 12.0]))[0]

        assert bool(self.notes(marks, place)) is narrow

    @pytest.mark.parametrize(
        ("low", "high", "narrow"), [(-7.1, 7.1, False), (-6.9, 7.1, True), (-7.1, 6.9, True)]
    )
    def test_marks_go_on_5_mm_beyond_the_fixture_where_its_frame_is_known(self, low, high, narrow):
        marks = [(x, y, 12.0) for x in (-20, 20) for y in (low, high)]
        marks += self.ring(4, (10, 100, 190, 280))
        assert bool(self.notes(marks, frame=MESIAL_Y)) is narrow
        assert not self.notes(marks)

    def told(self, marks, place=None):
        floor = Floor(id="sinus-left", of="sinus", points=marks)
        surface = FloorSurface.through(floor.points)
        at = surface.foot(np.array([0.0, 0.0, 12.0]))[0] if place is None else place(surface)
        return floor_end_notes(self.UPPER, floor, surface, at, frame=MESIAL_Y)

    @pytest.mark.parametrize(
        ("degrees", "side"),
        [((-60, 0, 60, 85), "palatal"), ((120, 180, 240, 250), "buccal"),
         ((200, 240, 280, 330), "mesial"), ((20, 60, 120, 160), "distal")],
    )  # fmt: skip
    def test_the_note_says_on_which_side_of_the_axis_marks_are_missing(self, degrees, side):
        (note,) = self.told([*self.RIM, *self.ring(4, degrees)])
        assert note.code == "floor_marks_round_axis"
        assert (note.fields["side"], note.fields["marks"]) == (side, 4)
        assert f"on the {side} side of the fixture's axis" in note.message

    @pytest.mark.parametrize(
        ("low", "high", "side", "short"), [(-4.63, 9, "distal", "2.4"), (-9, 6.9, "mesial", "0.1")]
    )
    def test_and_by_how_much_they_end_too_early(self, low, high, side, short):
        # The fixture reaches 2 mm to both sides, so the marks must reach 7.
        marks = [(x, y, 12.0) for x in (-20, 20) for y in (low, high)]
        (note,) = self.told([*marks, *self.ring(4, (10, 100, 190, 280))])
        assert note.code == "floor_stops_short"
        assert (note.fields["side"], note.fields["short"]) == (side, short)
        assert f"end {short} mm too early on the {side} side" in note.message

    @pytest.mark.parametrize(
        ("x", "y", "side"),
        [(19.99, 3, "buccal"), (-19.99, 3, "palatal"), (4, 19.99, "mesial"), (4, -21, "distal")],
    )
    def test_and_at_which_edge_it_is_nearest(self, x, y, side):
        marks = [*self.RIM, *self.ring(4, (10, 100, 190, 280))]
        (note,) = self.told(marks, lambda surface: surface.foot(np.array([x, y, 12.0]))[0])
        assert note.code == "floor_nearest_at_rim"
        assert note.fields["side"] == side
        assert note.message.startswith("Sinus floor left: nearest at the")

    def test_every_lack_is_told(self):
        marks = [(x, y, 12.0) for x in (-3, 20) for y in (-4, 4)]
        codes = [note.code for note in self.told(marks)]
        assert codes == ["floor_marks_round_axis", "floor_stops_short", "floor_stops_short"]
        one_sided = [(x, y, 12.0) for x in (15, 20) for y in (-9, 0, 9)]
        assert self.told(one_sided)[0].fields["side"] == "palatal"
        assert self.told(one_sided)[0].fields["marks"] == 0

    def test_the_axis_decides_not_the_scanners_directions(self):
        turned = FixtureSolid.of(
            Fixture(id="15", platform=(0, 0, 0), towards_apex=(1, 0, 0), size=FIXTURE.size)
        )
        marks = [
            (12.0, y, z) for _, y, z in [(0, -20, -20), (0, 20, -20), (0, -20, 20), (0, 20, 20)]
        ]
        marks += [(12.0, 4 * np.cos(t), 4 * np.sin(t)) for t in (0.1, 1.7, 3.3, 4.9)]
        floor = Floor(id="s", of="sinus", points=marks)
        surface = FloorSurface.through(floor.points)
        at = surface.foot(np.array([12.0, 0, 0]))[0]
        assert floor_end_notes(turned, floor, surface, at, frame=None) == ()
        assert floor_end_notes(self.UPPER, floor, surface, at, frame=None) != ()


class TestSpacing:
    """The canal's wall lies 2.5 mm below the fixture; sd = 0.25 sqrt((s/5)^3 - 1) in the middle."""

    def doubt(self, structure):
        (tube,) = tubes_of(structure)
        return spacing_doubt(SOLID, tube, structure)

    @pytest.mark.parametrize("step", [5.2, 6.0, 8.0, 12.0])
    def test_the_middle_of_a_span_below_the_fixture(self, step):
        marks = [(0, k * step + step / 2, -14) for k in range(-3, 3)]
        sd, found = self.doubt(course(*marks))
        assert found
        assert sd == pytest.approx(0.25 * np.sqrt((step / 5) ** 3 - 1), abs=1e-6)

    def test_spans_of_5_mm_add_nothing(self):
        assert self.doubt(line(-19.9, 19.9, count=9)) == (0.0, False)

    def test_only_spans_within_10_mm_of_the_fixture_count(self):
        # The wide span begins beside the last of the close ones, its wall 9.7 or 10.7 mm away.
        for start, near in ((13.0, True), (14.0, False)):
            marks = [(0, y, -12.0) for y in (-12, -8, -4, 0, 4.5, 9.2, start, start + 9)]
            away = np.hypot(start - 2, 2.0) - 1.5
            assert bool(away < 10) is near
            assert self.doubt(course(*marks))[1] is near

    def test_a_span_that_cannot_hold_the_nearest_place_says_so_and_adds_nothing(self):
        marks = [(0, y, -14) for y in (-12, -8, -4, 0, 4, 8, 17)]
        assert self.doubt(course(*marks)) == (0.0, True)

    def test_a_line_that_is_traced_or_not_smooth_has_no_such_doubt(self):
        marks = [(0, y, -14) for y in (-16, -8, 0, 8, 16)]
        traced = Course(
            id="c",
            kind="canal",
            points=marks,
            diameter_mm=3.0,
            course=[(0, -30, -14), (0, 30, -14)],
        )
        assert self.doubt(traced) == (0.0, False)
        assert self.doubt(course(*marks, kind="border")) == (0.0, False)
        assert self.doubt(course(*marks))[1]

    def test_a_place_off_the_middle_counts_as_it_could_be_the_nearest(self):
        """A brute search over the span by the same published form."""
        slanted = course(*[(0, y, -14 - 0.25 * y) for y in (-20, -10, 0, 10, 20)])
        sd, found = self.doubt(slanted)
        (tube,) = tubes_of(slanted)
        share = np.linspace(0, 1, 41)
        least = clearance(FIXTURE, slanted).value
        worst = 0.0
        marks = tube.curve.mark_stations
        for a, b in pairwise(marks):
            gap = SOLID.signed_distance(tube.at(a + (b - a) * share)[0]) - 1.5
            spread = 0.25 * np.sqrt(((b - a) / 5) ** 3 - 1) * (4 * share * (1 - share)) ** 1.5
            rivals = spread[(gap - 2 * spread <= least) & (gap.min() < 10)]
            worst = max(worst, rivals.max(initial=0.0))
        assert found
        assert sd == pytest.approx(worst, abs=1e-6)
