"""A fixture that was just dropped obeys the keys at once, through the whole window."""

from __future__ import annotations

import numpy as np
import pytest
from PySide6.QtCore import QPoint, Qt, QTimer
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QInputDialog

from app.tools.fixture import Adjust
from core.structures import Course
from tests.app.tools.test_fixture import CTRL, frame, ready, standing, the
from tests.app.window.test_bench import bench, opened

__all__ = ["bench"]
NONE = Qt.KeyboardModifier.NoModifier
LEFT = Qt.MouseButton.LeftButton


def answer_with_a_mouse_that_was_let_go(words):
    """As on a real screen: the question takes the release, the picture never sees it."""
    typed = QTimer(interval=30)

    def answer():
        box = QApplication.activeModalWidget()
        if isinstance(box, QInputDialog):
            typed.stop()
            QTest.mouseRelease(box, LEFT)
            box.setTextValue(words)
            box.accept()

    typed.timeout.connect(answer)
    typed.start()
    return typed


def test_ctrl_arrows_move_what_was_just_dropped(bench, qtbot):
    opened(bench, qtbot)
    session, section = bench.session, bench.pictures.section
    QTest.mouseClick(bench.work.proposed.for_lower, LEFT)
    QTest.mouseClick(bench.work.tool_row.button("Fixture"), LEFT)
    timer = answer_with_a_mouse_that_was_let_go("36")
    QTest.mousePress(section, LEFT, NONE, section.rect().center())
    assert not timer.isActive()
    (before,) = session.plan.fixtures
    # The placed fixture leads to its marks; who adjusts it first goes back and takes the tool.
    qtbot.wait(100)
    session.go_to(station_mm=session.arch.station(before.platform), across=True)
    qtbot.waitUntil(lambda: not bench.pictures.busy)
    bench.take_tool("Adjust")
    section.setFocus()
    # To the window, not to a picture: it reaches whatever has the focus.
    QTest.keyClick(bench.windowHandle(), Qt.Key.Key_Right, CTRL)
    (after,) = session.plan.fixtures
    assert np.linalg.norm(after.platform - before.platform) == pytest.approx(0.1)
    # Moving the mouse with no button down drags nothing, and the next press is not swallowed.
    stays = after.platform.copy()
    QTest.mouseMove(section, section.rect().center() + QPoint(40, 25))
    assert np.array_equal(session.plan.fixtures[0].platform, stays)
    at = section.screen_position(after.on_axis(5.0)).toPoint()
    QTest.mousePress(section, LEFT, NONE, at)
    QTest.mouseMove(section, at + QPoint(30, 0))
    QTest.mouseRelease(section, LEFT, NONE, at + QPoint(30, 0))
    qtbot.waitUntil(lambda: not session.dragging)
    assert not np.array_equal(session.plan.fixtures[0].platform, stays)


@pytest.mark.parametrize("tool", ["Move", "Turn"])
def test_a_selected_fixture_is_nudged_whatever_looks_around(bench, qtbot, tool):
    opened(bench, qtbot, "lower_left_36.plan.json")
    session = bench.session
    bench.take_tool(tool)
    before, turn = session.plan.fixtures[0].platform, session.turn_deg
    QTest.keyClick(bench.windowHandle(), Qt.Key.Key_Up, CTRL)
    moved = session.plan.fixtures[0].platform - before
    assert moved @ bench.pictures.section.grid.up == pytest.approx(0.1)
    assert session.turn_deg == turn
    session.go_to(selected="canal-left")
    QTest.keyClick(bench.windowHandle(), Qt.Key.Key_Up, CTRL)
    assert np.array_equal(session.plan.fixtures[0].platform, before + moved)


@pytest.mark.parametrize("place", ["ledger", "log"])
def test_nudges_go_through_lists_that_have_the_focus(bench, qtbot, place):
    opened(bench, qtbot, "lower_left_36.plan.json")
    session = bench.session
    bench.take_tool("Adjust")
    bench.work.panels[place].view.setFocus()
    before = session.plan.fixtures[0].platform
    QTest.keyClick(bench.windowHandle(), Qt.Key.Key_Right, CTRL)
    assert np.linalg.norm(session.plan.fixtures[0].platform - before) == pytest.approx(0.1)


def test_a_pressed_button_does_not_take_the_focus_from_the_picture(bench, qtbot):
    opened(bench, qtbot, "lower_left_36.plan.json")
    section = bench.pictures.section
    section.setFocus()
    QTest.mouseClick(bench.work.panels["fixture"].lock, LEFT)
    assert section.hasFocus()


def test_keys_without_any_focus_act_on_the_picture_used_last(bench, qtbot):
    opened(bench, qtbot, "lower_left_36.plan.json")
    session = bench.session
    bench.take_tool("Adjust")
    bench.setFocus()
    before = session.plan.fixtures[0].platform
    QTest.keyClick(bench.windowHandle(), Qt.Key.Key_Right, CTRL)
    moved = session.plan.fixtures[0].platform - before
    assert moved @ bench.pictures.section.grid.right == pytest.approx(0.1)


def test_a_mark_chosen_before_does_not_take_the_keys(table):
    f = frame()
    mark = f.origin - 7 * f.up
    canal = Course(id="canal-left", kind="canal", points=[mark, mark + 5 * f.travel])
    t = ready(table, standing(), structures=(canal,))
    t.click_on(t.section, mark)
    assert t.tool.chosen_mark() is not None
    t.session.go_to(selected="36")  # as a drop, the ledger or the fixture panel does
    before = the(t)
    t.type(Qt.Key.Key_Right, CTRL)
    assert np.linalg.norm(the(t).platform - before.platform) == pytest.approx(0.1)
    assert np.array_equal(t.plan.structures[0].points[0], mark)


def test_redone_it_still_obeys_but_is_not_deleted_by_a_stray_key(table):
    t = ready(table, standing(), tool=Adjust)
    t.session.go_to(selected="")
    before = the(t)
    t.type(Qt.Key.Key_Delete)
    assert t.plan.fixtures == (before,)
    t.type(Qt.Key.Key_Right, CTRL)
    assert np.linalg.norm(the(t).platform - before.platform) == pytest.approx(0.1)
