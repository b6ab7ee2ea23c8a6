"""One picture at full size and back, and nothing drawn while a key is held, by real keys."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from PySide6.QtCore import Qt
from PySide6.QtGui import QImage
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QLabel, QSplitter, QVBoxLayout, QWidget

from app.pictures.chart_painter import Ink
from app.pictures.draft import Draft, Handle
from app.pictures.flat_view import FlatView
from app.pictures.plot_view import PlotView
from app.window.frames import NeighbourStrip, PictureName
from app.window.picture_room import PictureRoom
from core.drawing import Line
from core.geometry import PictureGrid
from core.pictures.plot import Axis, Plot, Series

GRID = PictureGrid.of_size(
    origin=(0, 0, 0), right=(1, 0, 0), up=(0, 0, 1), size_mm=(20, 20), pixel_mm=0.5
)


class Page(QWidget):
    """Who at the top, then two pictures and a list around them, as on the bench."""

    def __init__(self):
        super().__init__()
        self.who = QLabel("who and which side")
        self.section, self.other = FlatView("section"), FlatView("neighbour")
        self.ledger = QLabel("numbers")
        self.left = QSplitter(Qt.Orientation.Vertical)
        self.left.addWidget(self.section)
        self.left.addWidget(self.other)
        self.body = QSplitter()
        self.body.addWidget(self.left)
        self.body.addWidget(self.ledger)
        column = QVBoxLayout(self)
        column.addWidget(self.who)
        column.addWidget(self.body, 1)
        grey = np.zeros((40, 40), np.float32)
        for view in (self.section, self.other):
            view.show_picture(GRID, grey, (0.0, 1.0))
        self.room = PictureRoom(self, self)

    def keyPressEvent(self, event):  # noqa: N802 (Qt's name)
        self.room.press(event)

    def keyReleaseEvent(self, event):  # noqa: N802
        self.room.release(event)


@pytest.fixture
def page(qtbot):
    made = Page()
    made.resize(700, 500)
    qtbot.addWidget(made)
    with qtbot.waitExposed(made):
        made.show()
    return made


def seen(page):
    widgets = (page.who, page.section, page.other, page.ledger)
    return [widget.isVisible() for widget in widgets]


def test_a_picture_gets_the_room_of_all_others_but_never_of_who_it_is(page, qtbot):
    page.body.setSizes([400, 280])
    page.left.setSizes([250, 200])
    qtbot.waitUntil(lambda: 300 < page.section.width() < 450)
    before = page.section.size(), page.left.sizes(), page.body.sizes()
    page.section.setFocus()
    page.room.toggle()
    assert page.room.is_full
    assert seen(page) == [True, True, False, False]
    qtbot.waitUntil(lambda: page.section.width() > 650 and page.section.height() > 400)
    page.room.toggle()
    assert seen(page) == [True] * 4
    qtbot.waitUntil(lambda: (page.section.size(), page.left.sizes(), page.body.sizes()) == before)


def test_it_is_the_picture_with_the_focus(page, qtbot):
    with qtbot.waitActive(page):
        page.activateWindow()
    page.other.setFocus()
    page.room.toggle()
    assert seen(page) == [True, False, True, False]


def test_without_a_picture_in_focus_it_is_the_section(page):
    page.ledger.setFocus()
    page.room.toggle()
    assert seen(page) == [True, True, False, False]


def test_a_neighbour_stands_alone_under_its_name(qtbot):
    page = QWidget()
    views = [FlatView("neighbour") for _ in range(7)]
    strip = NeighbourStrip(
        None, SimpleNamespace(neighbours=views, shown=SimpleNamespace(connect=lambda _call: None))
    )
    QVBoxLayout(page).addWidget(strip)
    grey = np.zeros((40, 40), np.float32)
    for view in views:
        view.show_picture(GRID, grey, (0.0, 1.0))
    for n, name in enumerate(strip.findChildren(PictureName)):
        name.name(f"{n} mm mesial", bold=False)
    page.resize(900, 400)
    qtbot.addWidget(page)
    with qtbot.waitExposed(page):
        page.show()
        page.activateWindow()
    room = PictureRoom(page, SimpleNamespace(section=views[0]))
    views[4].setFocus()
    qtbot.waitUntil(views[4].hasFocus)
    room.toggle()
    page.resize(905, 410)
    qtbot.waitUntil(lambda: views[4].width() > 800)
    assert [view.isVisible() for view in views] == [n == 4 for n in range(7)]
    shown = [name for name in strip.findChildren(PictureName) if name.isVisible()]
    assert [name.text() for name in shown] == ["4 mm mesial"]
    room.toggle()
    assert all(view.isVisible() for view in views)


def test_a_press_on_the_name_of_a_small_picture_goes_there_whatever_is_marked(qtbot):
    gone = []
    views = [FlatView("neighbour") for _ in range(7)]
    session = SimpleNamespace(go_to=lambda **place: gone.append(place))
    strip = NeighbourStrip(
        session,
        SimpleNamespace(neighbours=views, shown=SimpleNamespace(connect=lambda _call: None)),
    )
    qtbot.addWidget(strip)
    strip.resize(900, 150)
    with qtbot.waitExposed(strip):
        strip.show()
    names = strip.findChildren(PictureName)
    QTest.mouseClick(names[1], Qt.MouseButton.LeftButton)
    assert gone == [], "nothing is shown there yet"
    for n, view in enumerate(views):
        view.show_picture(GRID, np.zeros((40, 40), np.float32), (0.0, 1.0))
        view.station_mm = 10.0 + n
    QTest.mouseClick(names[1], Qt.MouseButton.LeftButton)
    assert gone == [{"station_mm": 11.0, "across": True}]


def test_what_was_hidden_before_stays_hidden(page):
    page.other.hide()
    page.room.toggle()
    page.room.toggle()
    assert seen(page) == [True, True, False, True]


def pixels(view):
    image = view.grab().toImage().convertToFormat(QImage.Format.Format_RGB32)
    return np.frombuffer(image.constBits(), np.uint8).copy()


def test_drawings_are_hidden_as_long_as_the_key_is_held(page):
    bare = pixels(page.section)
    line = np.array([[-8.0, -8.0], [8.0, 8.0]])
    page.section.show_ink(Ink((Line(style="canal", points=line),)))
    page.section.show_draft(Draft(handles=(Handle(at=(3.0, 0.0), chosen=True),)))
    drawn = pixels(page.section)
    assert not np.array_equal(drawn, bare)
    QTest.keyPress(page, Qt.Key.Key_Q)
    assert np.array_equal(pixels(page.section), bare)
    QTest.keyRelease(page, Qt.Key.Key_Q)
    assert np.array_equal(pixels(page.section), drawn)


def test_with_ctrl_it_is_another_key(page):
    page.section.show_ink(Ink((Line(style="canal", points=[[-8.0, 0.0], [8.0, 0.0]]),)))
    drawn = pixels(page.section)
    QTest.keyPress(page, Qt.Key.Key_Q, Qt.KeyboardModifier.ControlModifier)
    assert np.array_equal(pixels(page.section), drawn)


def test_a_plot_gets_the_room_of_all_too(page, qtbot):
    plot = PlotView()
    page.left.addWidget(plot)
    x = np.arange(3.0)
    axis = Axis(words="", low=0.0, high=2.0)
    plot.show_plot(
        Plot(title="", x=axis, y=axis, series=(Series(name="", style="share", x=x, y=x),))
    )
    plot.show()
    page.activateWindow()
    qtbot.wait(30)
    viewport = plot.canvas.viewport()
    QTest.mouseClick(viewport, Qt.MouseButton.LeftButton, pos=viewport.rect().center())
    assert plot.hasFocus()
    page.room.toggle()
    assert page.section.isHidden()
    assert page.ledger.isHidden()
    assert plot.isVisible()
    assert page.who.isVisible()
    page.room.toggle()
    assert page.section.isVisible()
