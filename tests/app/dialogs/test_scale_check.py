"""The scale check: deviation, doubt and verdict of each pair; a failing scan in capitals."""

from dataclasses import replace

import numpy as np
import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest

from app.dialogs.scale_check import show_scale_check
from app.tools.scale import ScaleObject
from core.structures import KnownObject
from tests.core.bright_phantoms import ball, block

ENDS = np.array([[-8.0, 1.0, 0.5], [8.0, -1.0, 0.0]])
LENGTH = float(np.linalg.norm(ENDS[1] - ENDS[0]))


def scan():
    parts = [(ball(end, 3.0), 2500.0) for end in ENDS]
    return block(parts, size_mm=(28.0, 16.0, 16.0))


@pytest.fixture
def checked(qtbot, session, desk, closing):
    def show(*objects):
        session.volume = scan()
        session.plan = replace(session.plan, structures=objects)
        dialog = closing(show_scale_check(session, desk, None))
        qtbot.waitUntil(lambda: dialog.check_now is not None)
        return dialog

    return show


def known(true_mm, name="scale-object-1"):
    return KnownObject(id=name, points=ENDS + 0.3, size_mm=true_mm)


def cells(dialog, row=0):
    return [dialog.table.item(row, column).text() for column in range(6)]


def test_without_objects_it_says_what_stands_instead(checked):
    dialog = checked()
    assert dialog.table.rowCount() == 0
    assert "1.2 %" in dialog.verdict.text()
    assert not dialog.out.isEnabled()


def test_a_true_scan_agrees_and_says_its_doubt(checked):
    dialog = checked(known(round(LENGTH, 2)))
    name, found, true, percent, doubt, says = cells(dialog)
    assert name == "scale object 1"
    assert float(found) == pytest.approx(LENGTH, abs=0.08)
    assert float(true) == pytest.approx(LENGTH, abs=0.01)
    assert abs(float(percent.split()[0])) < 0.5
    assert 0.5 < float(doubt.split()[0]) < 1.5
    assert says == "agrees"
    assert "no deviation" in dialog.verdict.text()
    assert "Every length includes u =" in dialog.verdict.text()


def test_a_wrong_scale_stands_in_capitals(checked):
    dialog = checked(known(LENGTH / 1.04))
    assert cells(dialog)[5] == "DEVIATES"
    assert "SCALE CHECK FAILED" in dialog.verdict.text()


def test_contradictory_objects_are_said(checked):
    dialog = checked(known(LENGTH), known(LENGTH * 1.05, "scale-object-2"))
    assert "CONTRADICT" in dialog.verdict.text()
    assert [cells(dialog, row)[5] for row in (0, 1)] == ["agrees", "DEVIATES"]


def test_one_is_taken_out_and_undone(checked, session, qtbot):
    dialog = checked(known(LENGTH))
    dialog.table.setCurrentCell(0, 0)
    QTest.mouseClick(dialog.out, Qt.MouseButton.LeftButton)
    assert session.plan.structures == ()
    qtbot.waitUntil(lambda: dialog.table.rowCount() == 0)
    session.undo_stack.undo()
    qtbot.waitUntil(lambda: dialog.table.rowCount() == 1)


def test_the_button_takes_up_the_tool(checked, desk):
    dialog = checked()
    QTest.mouseClick(dialog.ok, Qt.MouseButton.LeftButton)
    assert desk.tools == [ScaleObject.name]
