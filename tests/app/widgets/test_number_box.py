"""A typed number is the number that is taken, in any language and under any system's locale."""

from __future__ import annotations

import pytest
from PySide6.QtCore import QLocale, QPoint, Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QVBoxLayout, QWidget

from app.widgets.beside import Beside
from app.widgets.number_box import NumberBox
from core.words.catalogue import speaking


@pytest.fixture
def german_system():
    before = QLocale()
    QLocale.setDefault(QLocale(QLocale.Language.German, QLocale.Country.Germany))
    yield
    QLocale.setDefault(before)


@pytest.mark.parametrize("language", ["en", "de"])
@pytest.mark.parametrize("typed", ["4.5", "4,5"])
def test_comma_and_point_are_both_the_decimal_sign(qtbot, german_system, language, typed):
    with speaking(language):
        box = NumberBox(0.0, 100.0)
        qtbot.addWidget(box)
        box.show()
        box.selectAll()
        qtbot.keyClicks(box, typed)
        qtbot.keyClick(box, Qt.Key.Key_Return)
        assert box.value() == 4.5
        assert box.text() == ("4,5 mm" if language == "de" else "4.5 mm")


@pytest.fixture
def box(qtbot):
    """A box of 81.8 mm beside another one, both in a window."""
    window = QWidget()
    layout = QVBoxLayout(window)
    one, other = NumberBox(-20.0, 250.0), NumberBox(0.0, 9.0)
    layout.addWidget(one)
    layout.addWidget(other)
    qtbot.addWidget(window)
    window.resize(400, 200)
    window.show()
    qtbot.waitActive(window)
    other.setFocus()
    one.setValue(81.8)
    yield one
    window.close()


def said_beside(box):
    plates = box.window().findChildren(Beside)
    return [plate.text() for plate in plates if plate.isVisible()]


def inside(box):
    """A place in the line, left of the point."""
    line = box.lineEdit()
    return line, QPoint(line.width() - 60, line.height() // 2)


def test_what_groups_thousands_is_no_number(qtbot, german_system, box):
    box.setFocus()
    box.selectAll()
    qtbot.keyClicks(box, "1.234,5")
    assert box.text() == "1.234,5 mm", "what is typed is seen"
    qtbot.keyClick(box, Qt.Key.Key_Return)
    assert box.value() == 81.8
    assert box.text() == "81.8 mm"
    (said,) = said_beside(box)
    assert "1.234,5" in said
    assert "81.8 mm" in said


def test_a_click_into_the_box_chooses_the_whole_number(qtbot, box):
    line, place = inside(box)
    QTest.mouseClick(line, Qt.MouseButton.LeftButton, pos=place)
    assert line.selectedText() == "81.8"
    # The next click sets the cursor, as everywhere.
    QTest.mouseClick(line, Qt.MouseButton.LeftButton, pos=place, delay=700)
    assert not line.hasSelectedText()


def test_a_double_click_chooses_the_whole_number(qtbot, box):
    line, place = inside(box)
    box.setFocus()
    line.deselect()
    QTest.mouseDClick(line, Qt.MouseButton.LeftButton, pos=place)
    assert line.selectedText() == "81.8"
    QTest.mouseClick(line, Qt.MouseButton.LeftButton, pos=place)  # a hand that clicks thrice
    assert line.selectedText() == "81.8"
    qtbot.keyClicks(box, "81.0")
    qtbot.keyClick(box, Qt.Key.Key_Return)
    assert box.value() == 81.0


@pytest.mark.parametrize("typed", ["250.1", "-21", "81.05", "8l.0", "81.0.8", "8 1", "", "--5"])
def test_what_is_not_taken_is_said_beside_the_box_and_nothing_is_made_to_fit(qtbot, box, typed):
    taken = []
    box.valueChanged.connect(taken.append)
    box.setFocus()
    box.selectAll()
    qtbot.keyClick(box, Qt.Key.Key_Delete)
    qtbot.keyClicks(box, typed)
    qtbot.keyClick(box, Qt.Key.Key_Tab)
    assert box.value() == 81.8
    assert box.text() == "81.8 mm"
    assert not taken
    (said,) = said_beside(box)
    assert said == box.refused
    assert typed in said
    assert "81.8 mm" in said
    box.setFocus()
    box.selectAll()
    qtbot.keyClicks(box, "81")
    assert not said_beside(box), "gone once it is typed anew"
    qtbot.keyClick(box, Qt.Key.Key_Return)
    assert box.value() == 81.0
    assert not box.refused


@pytest.mark.parametrize("typed", ["81.0", "81,0", "81.0 mm", "81.0mm", " 81 ", "+81"])
def test_a_number_may_be_typed_with_its_unit(qtbot, box, typed):
    box.setFocus()
    box.selectAll()
    qtbot.keyClicks(box, typed)
    qtbot.keyClick(box, Qt.Key.Key_Return)
    assert box.value() == 81.0
    assert not said_beside(box)


def test_the_unit_stays(qtbot, box):
    box.setFocus()
    box.lineEdit().end(False)
    qtbot.keyClick(box, Qt.Key.Key_Backspace)
    assert box.text() == "81.8 mm"


def test_the_plate_lies_within_the_window_and_takes_no_click(qtbot, box):
    box.setFocus()
    box.selectAll()
    qtbot.keyClicks(box, "999")
    qtbot.keyClick(box, Qt.Key.Key_Return)
    (plate,) = box.window().findChildren(Beside)
    assert box.window().rect().contains(plate.geometry())
    assert not plate.geometry().intersects(box.geometry())
    assert plate.testAttribute(Qt.WidgetAttribute.WA_TransparentForMouseEvents)
    assert plate.height() >= plate.heightForWidth(plate.width())


@pytest.mark.parametrize(
    ("typed", "key", "left", "value"),
    [
        ("4.5", Qt.Key.Key_Return, 1, 4.5),
        ("9.9x", Qt.Key.Key_Return, 0, 81.8),
        ("9.9x", Qt.Key.Key_Escape, 1, 81.8),
        ("9", Qt.Key.Key_Tab, 0, 9.0),
    ],
)
def test_return_and_escape_leave_the_keys_to_others(box, typed, key, left, value):
    """Else the keys for sizes are written into the box."""
    gone = []
    box.left.connect(lambda: gone.append(1))
    box.setFocus()
    box.selectAll()
    QTest.keyClicks(box, typed)
    QTest.keyClick(box, key)
    assert len(gone) == left
    assert box.value() == value
    assert box.text() == f"{value:.1f} mm"
