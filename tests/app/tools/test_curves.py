"""Canal, loop, vessel, border and floors by real clicks and keys."""

from __future__ import annotations

import numpy as np
import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest

from app.tools.curves import Canal, Loop, LowerBorder, NasalFloor, SinusFloor, Vessel
from core.plans import edit
from core.structures import Course, Floor
from tests.app.tools.table import tube_along_the_arch

CTRL = Qt.KeyboardModifier.ControlModifier
RIGHT = Qt.MouseButton.RightButton


def canal_points(t):
    return edit.find(t.plan, "canal-left").points


def test_a_canal_is_marked_from_section_to_section_and_undone_mark_by_mark(table):
    t = table(Canal)
    station = t.session.station_mm
    first = t.click(t.section, 2.0, -12.0)
    assert t.session.station_mm == pytest.approx(station + 2)  # away from the midline, on the left
    second = t.click(t.section, 2.5, -11.0)
    assert canal_points(t) == pytest.approx(np.stack([first, second]))
    assert t.desk.said[-1] == "canal left: mark 2 placed"
    assert t.session.undo_stack.undoText() == "canal left: mark 2 placed"
    t.session.undo_stack.undo()
    assert canal_points(t) == pytest.approx(first[None, :])
    assert t.undo_all() == t.start
    t.session.undo_stack.redo()
    assert canal_points(t) == pytest.approx(first[None, :])


def test_on_the_patients_right_it_steps_to_the_right(table):
    t = table(Canal)
    t.session.go_to(station_mm=20.0)
    t.click(t.section, 2.0, -12.0)
    assert t.plan.structures[0].id == "canal-right"
    assert t.session.station_mm == pytest.approx(18.0)


def test_step_and_direction_are_keys(table):
    t = table(Canal)
    station = t.session.station_mm
    t.type(Qt.Key.Key_BracketRight)
    t.type(Qt.Key.Key_B)
    t.click(t.section, 2.0, -12.0)
    assert t.session.station_mm == pytest.approx(station - 3)


def test_seen_faint_not_seen_for_each_mark(table):
    t = table(Canal)
    for key in (Qt.Key.Key_1, Qt.Key.Key_2, Qt.Key.Key_3):
        t.click(t.section, 2.0, -12.0)
        t.type(key)
    assert edit.find(t.plan, "canal-left").seen == ("yes", "faint", "no")


def test_right_click_takes_back_what_was_placed_in_this_run_only(table):
    t = table(Canal)
    first = t.click(t.section, 2.0, -12.0)
    t.click(t.section, 2.0, -11.0)
    t.click(t.section, 0.0, 0.0, RIGHT)
    assert canal_points(t) == pytest.approx(first[None, :])
    t.type(Qt.Key.Key_Return)
    t.click(t.section, 0.0, 0.0, RIGHT)
    assert canal_points(t) == pytest.approx(first[None, :])


def test_escape_abandons_what_was_begun_and_enter_keeps_it(table):
    t = table(Canal)
    t.click(t.section, 2.0, -12.0)
    t.type(Qt.Key.Key_Escape)
    assert t.plan.structures == ()
    t.session.undo_stack.undo()
    assert len(t.plan.structures) == 1
    t.undo_all()
    t.tool.start()
    t.click(t.section, 2.0, -12.0)
    t.type(Qt.Key.Key_Return)
    t.type(Qt.Key.Key_Escape)
    assert len(t.plan.structures) == 1
    t.click(t.section, 3.0, -12.0)
    assert [s.id for s in t.plan.structures] == ["canal-left", "canal-left-2"]


def test_a_double_click_ends_the_curve_with_one_mark_not_two(table):
    t = table(Vessel)  # does not step on, so that both clicks meet the same picture
    pixel = t.pixel(t.section, t.section.point_mm(2.0, -12.0))
    left, none = Qt.MouseButton.LeftButton, Qt.KeyboardModifier.NoModifier
    QTest.mouseClick(t.section, left, none, pixel)
    QTest.mouseDClick(t.section, left, none, pixel)  # the second press only
    QTest.mouseRelease(t.section, left, none, pixel)
    assert len(t.plan.structures[0].points) == 1
    t.click(t.section, 6.0, -6.0)
    assert [s.id for s in t.plan.structures] == ["vessel-left", "vessel-left-2"]


def test_a_mark_is_dragged_in_the_pictures_plane_in_one_step(table):
    t = table(Vessel)
    t.click(t.section, 2.0, -12.0)
    before = t.now()
    (mark,) = t.plan.structures[0].points
    way = t.drag(t.section, mark, (30, -20))
    assert np.linalg.norm(way) == pytest.approx(np.hypot(3, 2))  # 10 pixels a mm
    assert t.plan.structures[0].points[0] == pytest.approx(mark + way)
    assert t.session.undo_stack.undoText() == "vessel left: mark 1 moved"
    t.session.undo_stack.undo()
    assert t.now() == before


@pytest.mark.parametrize("where", ["section", "panorama"])
def test_a_mark_off_the_plane_stays_as_far_off_when_dragged(table, where):
    t = table(Canal)
    arch = t.session.arch
    frame = arch.frame(t.session.station_mm + 0.4)
    place = frame.origin - 12 * frame.up + 1.5 * frame.buccal
    t.session.plan = edit.with_structure(
        t.plan, Course(id="canal-left", kind="canal", points=place[None, :])
    )
    view = getattr(t, where)
    off = view.uv_mm(place[None, :])[0, 2]
    t.drag(view, place, (8, 20))
    after = canal_points(t)
    assert not np.allclose(after[0], place, atol=0.2)
    assert view.uv_mm(after)[0, 2] == pytest.approx(off, abs=0.05)


def test_the_mark_of_the_section_before_is_not_taken_by_mistake(table):
    t = table(Loop)  # steps 1 mm
    t.click(t.section, 2.0, -12.0)
    t.click(t.section, 2.0, -12.0)
    assert len(t.plan.structures[0].points) == 2


def test_escape_during_a_drag_puts_the_mark_back(table):
    t = table(Vessel)
    t.click(t.section, 2.0, -12.0)
    before = t.now()
    t.drag(t.section, t.plan.structures[0].points[0], (40, 0), release=False)
    assert t.now() != before
    t.type(Qt.Key.Key_Escape)
    assert t.now() == before
    assert len(t.plan.structures) == 1


def test_delete_nudge_lock_and_name_by_keys(table):
    t = table(Vessel)
    t.click(t.section, 2.0, -12.0)
    t.click(t.section, 5.0, -9.0)
    (first, second) = t.plan.structures[0].points
    t.type(Qt.Key.Key_N)
    t.type(Qt.Key.Key_N)
    t.type(Qt.Key.Key_Right, CTRL)
    moved = t.plan.structures[0].points[1]
    assert moved - second == pytest.approx(0.1 * t.section.grid.right)
    assert t.desk.said[-1] == "vessel left: mark 2 moved 0.1 mm buccal"
    t.type(Qt.Key.Key_L)
    t.type(Qt.Key.Key_Left, CTRL)
    assert t.desk.errors[-1].code == "edit-locked"
    t.drag(t.section, moved, (40, 0))
    assert t.plan.structures[0].points[1] == pytest.approx(moved)
    t.type(Qt.Key.Key_L)
    t.desk.answers = ["tongue side vessel"]
    t.type(Qt.Key.Key_F2)
    assert t.plan.structures[0].id == "tongue-side-vessel"
    t.click_on(t.section, first)
    t.type(Qt.Key.Key_Delete)
    assert t.plan.structures[0].points == pytest.approx(moved[None, :])
    assert t.undo_all() == t.start


def test_arrows_alone_never_move_a_mark(table):
    t = table(Vessel)
    t.click(t.section, 2.0, -12.0)
    before = t.now()
    for key in (Qt.Key.Key_Left, Qt.Key.Key_Right, Qt.Key.Key_Up, Qt.Key.Key_Down):
        t.type(key)
    assert t.now() == before


def test_everything_without_a_mouse(table):
    t = table(Canal)
    t.type(Qt.Key.Key_C)
    for _ in range(4):
        t.type(Qt.Key.Key_Right, CTRL)
    t.type(Qt.Key.Key_Down, CTRL | Qt.KeyboardModifier.ShiftModifier)
    expected = t.section.point_mm(2.0, -5.0)
    t.type(Qt.Key.Key_Space)
    assert canal_points(t) == pytest.approx(expected[None, :])
    t.type(Qt.Key.Key_Space)
    assert len(canal_points(t)) == 2
    t.type(Qt.Key.Key_Return)
    t.type(Qt.Key.Key_Escape)
    assert len(canal_points(t)) == 2


@pytest.mark.parametrize("where", ["map", "panorama"])
def test_a_canal_is_not_placed_where_a_direction_is_hidden(table, where):
    t = table(Canal)
    t.click(getattr(t, where), 10.0, 3.0)
    assert t.plan.structures == ()
    assert "Now click in the cross-section" in t.desk.said[-1]
    assert t.session.turn_deg is None


@pytest.mark.parametrize(
    ("tool", "kind", "new_id"),
    [(Loop, "loop", "loop-left"), (Vessel, "vessel", "vessel-left"),
     (LowerBorder, "border", "border")],
)  # fmt: skip
def test_other_curves(table, tool, kind, new_id):
    t = table(tool)
    point = t.click(t.section, 1.0, -9.0)
    (curve,) = t.plan.structures
    assert (curve.id, curve.kind) == (new_id, kind)
    assert curve.points == pytest.approx(point[None, :])
    assert t.undo_all() == t.start


@pytest.mark.parametrize(
    ("tool", "of", "new_id"),
    [(SinusFloor, "sinus", "sinus-left"), (NasalFloor, "nasal", "nasal-floor-left")],
)
def test_floors_keep_the_order_of_the_clicks_and_to_themselves(table, tool, of, new_id):
    other = Floor(id="other", of="nasal" if of == "sinus" else "sinus", points=[(0, 0, 0)])
    t = table(tool, structures=(other,))
    places = [t.click(t.section, u, v) for u, v in ((-4, 5), (4, 6), (0, 4))]
    floor = edit.find(t.plan, new_id)
    assert floor.of == of
    assert floor.points == pytest.approx(np.stack(places))
    assert {m.owner for m in t.tool.marks()} == {new_id}
    assert t.undo_all() == t.start


def test_going_on_with_a_curve_that_was_chosen(table):
    t = table(Vessel)
    t.click(t.section, 2.0, -12.0)
    t.type(Qt.Key.Key_Return)
    t.click_on(t.section, t.plan.structures[0].points[0])
    t.click(t.section, 6.0, -12.0)
    assert [len(s.points) for s in t.plan.structures] == [2]


def test_the_diameter_is_fitted_in_a_clear_section_and_confirmed_by_a_person(table):
    t = table(Canal)
    t.tool.step_mm = 0.0
    t.click(t.section, 0.0, -10.0)
    middle = canal_points(t)[0]
    along = t.session.arch.frame(t.session.station_mm).travel
    t.session.volume = tube_along_the_arch(middle, along, diameter_mm=3.2)
    t.desk.answers = ["as offered"]
    t.type(Qt.Key.Key_D)
    canal = edit.find(t.plan, "canal-left")
    assert canal.diameter_mm == pytest.approx(3.2, abs=0.35)
    assert "measured and confirmed" in t.desk.said[-1]
    assert 0.05 <= canal.diameter_sd_mm < 0.35
    t.desk.answers = ["2,8"]
    t.type(Qt.Key.Key_D)
    assert edit.find(t.plan, "canal-left").diameter_mm == 2.8
    assert "entered" in t.desk.said[-1]
    # Typing takes no doubt away: it is two edges read off a picture.
    assert edit.find(t.plan, "canal-left").diameter_sd_mm == 0.35
    t.desk.answers = [None]
    t.type(Qt.Key.Key_D)
    assert edit.find(t.plan, "canal-left").diameter_mm == 2.8
    t.session.volume = None
    assert t.undo_all() == t.start


def test_handles_show_what_can_be_taken(table):
    t = table(Vessel)
    t.click(t.section, 2.0, -12.0)
    draft = t.tool.draft(t.section)
    assert len(draft.handles) == 1
    assert draft.handles[0].chosen
    assert not draft.handles[0].quiet
    assert draft.labels[0].text == "vessel left: mark 1"
    assert t.tool.draft(t.neighbour).handles == ()  # 3 mm away
    t.type(Qt.Key.Key_2)
    assert t.tool.draft(t.section).handles[0].quiet


def test_a_floor_says_that_one_section_is_not_enough(table):
    """Three marks in one section bound no surface, and the height stays open."""
    t = table(SinusFloor)
    assert "mesial to, at and distal" in t.tool.hint()
    assert "0 mm" not in t.tool.hint()
    t.click(t.section, 2.0, -12.0)
    assert "next point" in t.tool.hint()
    assert "mesial to, at and distal" in t.tool.hint()


def test_the_chosen_mark_is_named_in_the_section_and_not_in_a_small_picture(table):
    """There the name was cut off at both ends."""
    t = table(Vessel)
    at = t.neighbour.station_mm
    t.click(t.section, 2.0, -12.0)
    assert [label.text for label in t.tool.draft(t.section).labels] == ["vessel left: mark 1"]
    t.session.go_to(station_mm=at - 3.0 - 3.0)
    assert t.tool.draft(t.neighbour).handles
    assert t.tool.draft(t.neighbour).labels == ()


def test_the_crosshair_stays_in_the_picture(table):
    """Else it is lost: nothing says where it went, and Space would mark there."""
    t = table(Canal)
    t.section.setFocus()
    t.type(Qt.Key.Key_C)
    shift = Qt.KeyboardModifier.ShiftModifier
    for key in (Qt.Key.Key_Down, Qt.Key.Key_Left, Qt.Key.Key_Up, Qt.Key.Key_Right):
        for _ in range(30):
            t.type(key, CTRL | shift)
        u, v = t.tool.crosshair
        at = t.section.to_screen().map(u, v)
        assert -1 <= at[0] <= t.section.width() + 1, key
        assert -1 <= at[1] <= t.section.height() + 1, key


def test_before_the_first_click_the_foot_names_what_is_begun(table):
    t = table(Canal)
    assert t.tool.hint().startswith("Click the first point of a new canal")
