"""Foramen, roots, existing implants, single points, stent axis and notes by real clicks."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from PySide6.QtCore import Qt

from app.case.settings import settings_of
from app.tools.point_marks import Contact, CrestMark, Cusp, Gum, Note, Opponent, PointMark, StentTop
from app.tools.prompts import ask_tooth, ask_two_lengths
from app.tools.stent import StentAxisTool
from app.tools.teeth import Existing, ForamenTool, Root
from core.fixture import Fixture, FixtureSize
from core.plans import notes
from tests.app.tools.table import STATION

RIGHT = Qt.MouseButton.RightButton


def step(t, mm):
    t.session.go_to(station_mm=t.session.station_mm + mm)


@pytest.mark.parametrize("distal_first", [True, False])
def test_a_foramens_edges_are_told_apart_along_the_arch(table, distal_first):
    t = table(ForamenTool)
    station = t.session.station_mm
    first = t.click(t.section, 4.0, -10.0)
    assert t.plan.structures == ()
    step(t, -3.0 if distal_first else 3.0)
    second = t.click(t.section, 4.0, -10.0)
    upper = t.click(t.section, 4.0, -8.0)
    (foramen,) = t.plan.structures
    assert foramen.id == "foramen-left"
    # On the left, stations grow away from the midline: mesial is the smaller one.
    mesial, distal = (second, first) if distal_first else (first, second)
    assert foramen.mesial == pytest.approx(mesial)
    assert foramen.distal == pytest.approx(distal)
    assert foramen.upper == pytest.approx(upper)
    assert t.session.station_mm != station
    assert t.undo_all() == t.start


def test_enter_leaves_the_upper_edge_out_and_escape_leaves_all(table):
    t = table(ForamenTool)
    t.click(t.section, 4.0, -10.0)
    t.type(Qt.Key.Key_Return)
    assert t.plan.structures == ()
    t.type(Qt.Key.Key_Escape)
    t.click(t.section, 3.0, -10.0)
    t.click(t.section, 6.0, -10.0)
    t.type(Qt.Key.Key_Return)
    (foramen,) = t.plan.structures
    assert foramen.upper is None


def test_a_root_asks_for_tooth_and_both_diameters(table):
    t = table(Root)
    marks = [t.click(t.section, 0.0, v) for v in (2.0, -3.0, -9.0)]
    t.desk.answers = ["35", "6.5 2,5"]
    t.type(Qt.Key.Key_Return)
    (root,) = t.plan.structures
    assert (root.id, root.kind, root.tooth, root.diameters_mm) == (
        "root-35", "root", "35", (6.5, 2.5),
    )  # fmt: skip
    assert root.points == pytest.approx(np.stack(marks))
    t.click_on(t.section, marks[1])
    t.type(Qt.Key.Key_R)
    assert t.plan.structures[0].to_be_removed
    assert t.desk.said[-1] == "root of 35: to be removed"
    t.type(Qt.Key.Key_R)
    assert not t.plan.structures[0].to_be_removed
    assert t.undo_all() == t.start


def beside(t, station, tooth):
    """A fixture whose axis runs straight down from the arch."""
    return Fixture(
        id=tooth, tooth=tooth, platform=t.session.arch.frame(station).origin,
        towards_apex=(0, 0, -1), size=FixtureSize(diameter_mm=4.0, length_mm=8.0),
    )  # fmt: skip


@pytest.mark.parametrize("tool", [Gum, StentTop])
def test_gum_and_stent_belong_to_the_fixture_that_stands_there(table, tool):
    t = table(tool)
    t.session.plan = replace(t.plan, jaw="lower", fixtures=(beside(t, STATION, "36"),))
    t.click(t.section, 0.0, 2.0)
    assert t.plan.structures[-1].tooth == "36"
    assert t.desk.asked == []
    far = replace(t.plan, fixtures=(beside(t, STATION - 15.0, "34"),))
    t.session.plan = far
    t.click(t.section, 3.0, 4.0)
    assert t.plan.structures[-1].tooth == "", "no fixture stands there"


def test_between_two_fixtures_it_is_asked_whose_gum_it_is(table):
    t = table(Gum)
    both = beside(t, STATION - 3.5, "35"), beside(t, STATION + 3.5, "36")
    t.session.plan = replace(t.plan, jaw="lower", fixtures=both)
    t.desk.answers = [None]
    t.click(t.section, 0.0, 2.0)
    assert t.plan.structures == (), "turned away"
    t.desk.answers = ["35, lower left second premolar (20 in 1–32)"]
    t.click(t.section, 0.0, 2.0)
    assert t.plan.structures[-1].tooth == "35"
    assert t.desk.asked == ["Gum of which tooth?"] * 2


def test_led_to_a_root_nobody_is_asked_whose_it_is_where_it_lies_about_there(table):
    """A fixture at 36 expects the roots of 35 and 37, 8 mm to either side."""
    t = table(Root)
    where = t.section.point_mm(0.0, 0.0)
    fixture = Fixture(
        id="36", tooth="36", platform=t.session.arch.frame(STATION + 8.0).origin,
        towards_apex=(0, 0, -1), size=FixtureSize(diameter_mm=4.0, length_mm=8.0),
    )  # fmt: skip
    assert t.session.arch.station(where) == pytest.approx(STATION, abs=0.5)
    t.session.plan = replace(t.plan, jaw="lower", fixtures=(fixture,))
    t.session.go_to(selected="36")
    t.tool.wanted = "root-35"
    t.click(t.section, 0.0, 2.0)
    t.click(t.section, 0.0, -9.0)
    t.desk.answers = ["5.2 2"]
    t.type(Qt.Key.Key_Return)
    (root,) = t.plan.structures
    assert (root.tooth, root.diameters_mm) == ("35", (5.2, 2.0))
    assert t.desk.asked == ["Root of 35: diameters at the first and at the last mark, mm"]
    assert t.tool.wanted == "", "the next one is asked for"


def test_led_to_one_neighbour_the_other_is_still_asked_for(table):
    t = table(Root)
    fixture = Fixture(
        id="36", tooth="36", platform=t.session.arch.frame(STATION + 8.0).origin,
        towards_apex=(0, 0, -1), size=FixtureSize(diameter_mm=4.0, length_mm=8.0),
    )  # fmt: skip
    t.session.plan = replace(t.plan, jaw="lower", fixtures=(fixture,))
    t.session.go_to(selected="36")
    t.tool.wanted = "root-37"
    t.click(t.section, 0.0, 2.0)
    t.click(t.section, 0.0, -9.0)
    t.desk.answers = ["35", "5.2 2"]
    t.type(Qt.Key.Key_Return)
    assert t.plan.structures[0].tooth == "35"
    assert t.desk.asked[0].startswith("Root of which tooth?")


@pytest.mark.parametrize(
    "answers", [[None], ["99"], ["35", None], ["35", "6 nothing"], ["35", "6 3 2"], ["35", ""]]
)
def test_a_question_turned_away_keeps_the_marks_and_makes_no_root(table, answers):
    t = table(Root)
    t.click(t.section, 0.0, 2.0)
    t.click(t.section, 0.0, -9.0)
    t.desk.answers = answers
    t.type(Qt.Key.Key_Return)
    assert t.plan.structures == ()
    t.desk.answers = ["35", "6 3"]
    t.type(Qt.Key.Key_Return)
    assert len(t.plan.structures[0].points) == 2


def test_right_click_takes_the_last_mark_of_a_root_back(table):
    t = table(Root)
    first = t.click(t.section, 0.0, 2.0)
    t.click(t.section, 0.0, -4.0)
    t.click(t.section, 0.0, 0.0, RIGHT)
    last = t.click(t.section, 0.5, -9.0)
    t.desk.answers = ["35", "6 mm / 3 mm"]
    t.type(Qt.Key.Key_Return)
    assert t.plan.structures[0].points == pytest.approx(np.stack([first, last]))


def test_an_existing_implant(table):
    t = table(Existing)
    marks = [t.click(t.section, 1.0, v) for v in (0.0, -9.0)]
    t.desk.answers = ["4"]
    t.type(Qt.Key.Key_Return)
    (thing,) = t.plan.structures
    assert (thing.id, thing.kind, thing.tooth) == ("existing-1", "existing", "")
    assert thing.points == pytest.approx(np.stack(marks))
    assert t.undo_all() == t.start


@pytest.mark.parametrize(
    ("tool", "kind"),
    [
        (PointMark, "mark"),
        (Gum, "gum"),
        (StentTop, "stent_top"),
        (Opponent, "opponent"),
        (CrestMark, "crest"),
    ],
)
def test_single_points(table, tool, kind):
    t = table(tool)
    points = [t.click(t.section, u, 5.0) for u in (-3.0, 3.0)]
    assert [s.kind for s in t.plan.structures] == [kind, kind]
    for spot, point in zip(t.plan.structures, points, strict=True):
        assert spot.points == pytest.approx(point[None, :])
    way = t.drag(t.section, points[0], (12, 7))
    assert t.plan.structures[0].points[0] == pytest.approx(points[0] + way)
    t.type(Qt.Key.Key_Delete)
    assert len(t.plan.structures) == 1
    assert t.undo_all() == t.start


@pytest.mark.parametrize(("tool", "kind"), [(Cusp, "cusp"), (Contact, "contact")])
def test_points_of_a_tooth(table, tool, kind):
    t = table(tool)
    t.desk.answers = ["35", "", None, "18x"]
    for u in (-6.0, -2.0, 2.0, 6.0):
        t.click(t.section, u, 5.0)
    assert [(s.id, s.kind, s.tooth) for s in t.plan.structures] == [
        (f"{kind}-35-1", kind, "35"),
        (f"{kind}-1", kind, ""),
    ]
    assert t.desk.errors[-1].code == "tooth-unknown"


def test_a_mark_gets_a_label_by_f2(table):
    t = table(PointMark)
    t.click(t.section, 0.0, 5.0)
    t.desk.answers = ["odd shadow"]
    t.type(Qt.Key.Key_F2)
    assert t.plan.structures[0].label == "odd shadow"


def test_stent_axis_by_two_clicks_and_dragged(table):
    t = table(StentAxisTool)
    occlusal, gingival = t.click(t.section, 0.0, 12.0), t.click(t.section, 1.0, 4.0)
    (axis,) = t.plan.stent_axes
    assert axis.occlusal == pytest.approx(occlusal)
    assert axis.gingival == pytest.approx(gingival)
    way = t.drag(t.section, gingival, (-20, 5))
    assert t.plan.stent_axes[0].gingival == pytest.approx(gingival + way)
    assert t.plan.stent_axes[0].occlusal == pytest.approx(occlusal)
    t.type(Qt.Key.Key_Delete)
    assert t.plan.stent_axes == ()
    assert t.undo_all() == t.start


def test_a_stent_axis_without_length_is_not_made(table):
    t = table(StentAxisTool)
    t.click(t.section, 0.0, 12.0)
    t.click(t.section, 0.0, 12.0)
    assert t.plan.stent_axes == ()
    assert "same place" in t.desk.said[-1]


def test_a_note_stands_at_its_place(table):
    t = table(Note)
    t.desk.answers = [" look again ", "  "]
    point = t.click(t.section, 2.0, 3.0)
    t.click(t.section, 2.0, 3.0)
    (note,) = t.plan.notes
    assert note["text"] == "look again"
    assert note["point"] == pytest.approx(point)
    assert notes.with_note(t.plan, "x", point, at="now").notes[0] == note
    assert t.undo_all() == t.start


def test_what_is_collected_is_drawn_with_its_numbers(table):
    t = table(Root)
    t.click(t.section, 0.0, 2.0)
    t.click(t.section, 0.0, -4.0)
    draft = t.tool.draft(t.section)
    assert [label.text for label in draft.labels] == ["1", "2"]
    assert len(draft.dots) == 2
    assert draft.lines[0].points[1] == pytest.approx((0.0, -4.0), abs=0.06)
    assert t.tool.draft(t.neighbour).dots == ()


def test_another_tool_drops_what_was_only_collected(table):
    t = table(Root)
    t.click(t.section, 0.0, 2.0)
    t.tool.stop()
    assert t.tool.draft(t.section).dots == ()
    assert t.now() == t.start


def test_a_note_is_dragged_rewritten_locked_and_deleted(table):
    t = table(Note)
    t.desk.answers = ["look again", "on the lingual side"]
    point = t.click(t.section, 5.0, 3.0)
    t.click(t.section, -8.0, 3.0)
    first, second = t.tool.marks()
    assert [m.text for m in (first, second)] == ["look again", "on the lingual side"]
    assert {label.text for label in t.tool.draft(t.section).labels} == {
        "look again", "note 2: on the lingual side",
    }  # fmt: skip
    way = t.drag(t.section, point, (20, -10))
    assert t.tool.marks()[0].point_mm == pytest.approx(point + way)
    assert t.session.undo_stack.undoText() == "note 1: look again moved"
    t.desk.answers = ["look once more"]
    t.type(Qt.Key.Key_F2)
    assert t.plan.notes[0]["text"] == "look once more"
    t.type(Qt.Key.Key_L)
    place = t.tool.marks()[0].point_mm
    t.drag(t.section, place, (20, 0))
    t.type(Qt.Key.Key_Delete)
    t.desk.answers = ["other words"]
    t.type(Qt.Key.Key_F2)
    assert t.desk.errors, "what is locked is not changed"
    assert t.tool.marks()[0].point_mm == pytest.approx(place)
    assert t.plan.notes[0]["text"] == "look once more"
    t.type(Qt.Key.Key_L)
    t.type(Qt.Key.Key_Delete)
    assert [note["text"] for note in t.plan.notes] == ["on the lingual side"]
    assert t.undo_all() == t.start


def test_a_number_of_the_other_system_offers_the_tooth_that_is_meant(table):
    t = table(Contact)
    t.desk.answers = ["19", "Yes, 36"]
    t.click(t.section, 0.0, 5.0)
    assert "36, lower left first molar" in t.desk.asked[-1]
    assert [s.tooth for s in t.plan.structures] == ["36"]
    t.desk.answers = ["19", None]
    t.click(t.section, 4.0, 5.0)
    assert len(t.plan.structures) == 1


@pytest.mark.parametrize(
    ("jaw", "numbering", "example"),
    [("upper", "iso", "26"), ("lower", "iso", "36"), ("upper", "1-32", "14"),
     ("lower", "1-32", "19"), (None, "iso", "36")],
)  # fmt: skip
def test_the_example_of_a_tooth_is_one_of_the_plan_s_jaw(session, desk, jaw, numbering, example):
    session.plan = replace(session.plan, jaw=jaw)
    settings = settings_of(session)
    before = settings.value.numbering
    settings.change(numbering=numbering)
    asked = []
    desk.ask_text = lambda _title, question, *_rest: asked.append(question)
    ask_tooth(session, desk, "Root of which tooth?")
    settings.change(numbering=before)
    assert asked[0].startswith("Root of which tooth? ")
    assert asked[0].endswith(f"such as {example}.")


@pytest.mark.parametrize(
    ("typed", "read"),
    [("6.0  2.5", True), ("6,0 2,5", True), ("6", True), ("6 2 1", False), ("6 0", False),
     ("l.5", False), ("120", False), ("", True)],
)  # fmt: skip
def test_a_length_that_cannot_be_read_is_told_while_it_is_typed(desk, typed, read):
    explained = []
    desk.ask_text = lambda _title, _question, _start, explain: explained.append(explain(typed))
    ask_two_lengths(desk, "Root", "Diameters", (6.0, 2.5))
    assert explained == ["" if read else "Enter two lengths above 0 mm, such as 5.5 2.0, or one "
                         "for both."]  # fmt: skip


def test_a_contact_beside_a_planned_tooth_is_its_neighbours_by_enter(table):
    t = table(Contact, jaw="lower")
    fixture = beside(t, STATION - 5.0, "36")
    t.session.apply("fixture", replace(t.session.plan, fixtures=(fixture,)))
    t.desk.answers = ["as offered"]
    t.click(t.section, 0.0, 4.0)
    assert [s.tooth for s in t.plan.structures] == ["37"]
    assert "Proposed, as it lies beside 36." in t.desk.explained[0]
