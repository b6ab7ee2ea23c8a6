"""The magnifier at the mouse: three times as large, by a held key and while a mark is dragged."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from PySide6.QtCore import QObject, QPoint, QPointF, QRectF, Qt, Signal
from PySide6.QtGui import QImage
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QVBoxLayout, QWidget

from app.pictures.flat_view import FlatView
from app.pictures.magnifier import BESIDE_PX, SIDE_PX, TIMES, box_beside
from app.tools.base import Tool
from app.window.picture_room import PictureRoom
from app.window.tool_controller import ToolHub
from core.geometry import PictureGrid

GRID = PictureGrid.of_size(
    origin=(0, 0, 0), right=(1, 0, 0), up=(0, 0, 1), size_mm=(40, 40), pixel_mm=0.5
)


class Page(QWidget):
    """One section with a bright disc of 2 mm radius, at (5, -3) mm."""

    def __init__(self):
        super().__init__()
        self.section = FlatView("section")
        QVBoxLayout(self).addWidget(self.section)
        v, u = np.meshgrid(
            (39.5 - np.arange(80)) * 0.5, (np.arange(80) - 39.5) * 0.5, indexing="ij"
        )
        grey = np.where(np.hypot(u - 5, v + 3) <= 2.0, 1.0, 0.0).astype(np.float32)
        self.section.show_picture(GRID, grey, (0.0, 1.0))
        self.room = PictureRoom(self, SimpleNamespace(section=self.section))

    def keyPressEvent(self, event):  # noqa: N802 (Qt's name)
        self.room.press(event)

    def keyReleaseEvent(self, event):  # noqa: N802
        self.room.release(event)


@pytest.fixture
def page(qtbot):
    made = Page()
    made.resize(620, 620)
    qtbot.addWidget(made)
    with qtbot.waitExposed(made):
        made.show()
        made.activateWindow()
    made.section.setFocus()
    return made


def on_screen(view, u, v):
    return view.to_screen().map(QPointF(u, v)).toPoint()


def bright(view, box):
    """Bright pixels in a part of a view."""
    image = (
        view.grab(box.toAlignedRect()).toImage().convertToFormat(QImage.Format.Format_Grayscale8)
    )
    rows = np.frombuffer(image.constBits(), np.uint8).reshape(image.height(), -1)
    return int((rows[:, : image.width()] > 128).sum())


def test_the_place_under_the_mouse_is_three_times_as_large_while_the_key_is_held(page):
    view = page.section
    at = on_screen(view, 5.0, -3.0)
    box = box_beside(QPointF(at), QRectF(view.rect()))
    QTest.mouseMove(view, at)
    plain = bright(view, box)
    QTest.keyPress(view, Qt.Key.Key_Z)
    assert view.magnifies
    area = np.pi * (2.0 * TIMES / view.mm_per_pixel()) ** 2
    assert area < SIDE_PX**2
    assert plain < 0.05 * area
    assert bright(view, box) == pytest.approx(area, rel=0.06)
    QTest.keyRelease(view, Qt.Key.Key_Z)
    assert not view.magnifies
    assert bright(view, box) == plain


def test_it_goes_along_with_the_mouse_and_shows_what_lies_there(page):
    view = page.section
    QTest.keyPress(view, Qt.Key.Key_Z)
    at = on_screen(view, -10.0, 10.0)
    QTest.mouseMove(view, at)
    box = box_beside(QPointF(at), QRectF(view.rect()))
    dark = bright(view, box)
    at = on_screen(view, 5.0, -3.0)
    QTest.mouseMove(view, at)
    assert bright(view, box_beside(QPointF(at), QRectF(view.rect()))) > 10 * max(dark, 1)


def test_it_never_covers_its_place_and_stays_on_the_picture():
    area = QRectF(0, 0, 600, 500)
    for x in range(0, 601, 50):
        for y in range(0, 501, 50):
            box = box_beside(QPointF(x, y), area)
            assert not box.adjusted(-BESIDE_PX + 1, -BESIDE_PX + 1, BESIDE_PX - 1,
                                    BESIDE_PX - 1).contains(QPointF(x, y))  # fmt: skip
            assert area.contains(box)


class Case(QObject):
    """A session that is dragging while a mark is."""

    scan_changed, plan_changed = Signal(), Signal(str)
    volume = object()
    dragging = False


class Marks(Tool):
    """Drags something, of a group."""

    name = "some"

    def drag(self, view, hit):
        self.session.dragging = True

    def release(self, view, hit):
        self.session.dragging = False


@pytest.mark.parametrize(("group", "shown"), [("Mark", True), ("Measure", True), ("Place", False)])
def test_while_a_mark_is_dragged_it_is_there_and_then_no_more(page, group, shown):
    view, case = page.section, Case()
    pictures = SimpleNamespace(views=[view], section=view, shown=SimpleNamespace(connect=id))
    tool = Marks(case, SimpleNamespace(tell_error=pytest.fail))
    tool.group = group
    hub = ToolHub([tool], case, pictures, tool.desk)
    at = on_screen(view, 5.0, -3.0)
    QTest.mousePress(view, Qt.MouseButton.LeftButton, pos=at)
    assert not view.magnifies
    QTest.mouseMove(view, at + QPoint(9, 0))
    assert view.magnifies is shown
    QTest.mouseRelease(view, Qt.MouseButton.LeftButton, pos=at + QPoint(9, 0))
    assert not view.magnifies
    assert hub.active is tool
