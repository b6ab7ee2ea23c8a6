"""A plot in a window: wheel, drag, double click, keys, read-out, menu and files."""

from __future__ import annotations

import numpy as np
import pytest
from PySide6.QtCore import QPoint, QPointF, Qt
from PySide6.QtGui import QWheelEvent
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication

from app.pictures import plot_files
from app.pictures.plot_view import PlotView
from app.widgets import style
from core.pictures.plot import Axis, Field, Level, Plot, Series, plot_csv


def lines(high: float = 10.0) -> Plot:
    x = np.arange(0.0, 21.0)
    return Plot(
        title="two", x=Axis(words="along", low=0.0, high=20.0, unit=" mm"),
        y=Axis(words="width", low=0.0, high=high, unit=" mm"),
        series=(Series(name="a", style="width near the crest", x=x, y=x / 4),
                Series(name="b", style="width at depth", x=x, y=x / 3)),
        levels=(Level(name="needed", style="needed width", value=4.0),),
    )  # fmt: skip


def field() -> Plot:
    values = np.repeat(np.linspace(0.0, 4.0, 9)[:, None], 13, axis=1)
    below = values < 1.0
    return Plot(
        title="bone", x=Axis(words="", low=0.0, high=12.0),
        y=Axis(words="depth", low=0.0, high=8.0, unit=" mm", downwards=True),
        field=Field(words="bone", unit=" mm", x=np.arange(13.0), y=np.arange(9.0), values=values,
                    unknown=np.zeros_like(below), below=below, shades=(-3.0, 5.0)),
    )  # fmt: skip


@pytest.fixture
def view(qtbot):
    style.load_fonts()
    made = PlotView()
    qtbot.addWidget(made)
    made.resize(520, 260)
    made.show_plot(lines())
    made.show()
    qtbot.waitExposed(made)
    return made


def on_canvas(view: PlotView, x: float, y: float) -> QPoint:
    return view.canvas.viewport().mapFrom(view, view.position(x, y).toPoint())


def wheel(view: PlotView, x: float, y: float, notches: int) -> None:
    viewport = view.canvas.viewport()
    at = on_canvas(view, x, y)
    event = QWheelEvent(
        QPointF(at), QPointF(viewport.mapToGlobal(at)), QPoint(), QPoint(0, 120 * notches),
        Qt.MouseButton.NoButton, Qt.KeyboardModifier.NoModifier, Qt.ScrollPhase.NoScrollPhase,
        False,
    )  # fmt: skip
    QApplication.sendEvent(viewport, event)


def test_the_wheel_zooms_about_the_mouse_and_a_double_click_shows_all_again(qtbot, view):
    assert view.shown() == ((0.0, 20.0), (0.0, 10.0))
    wheel(view, 10.0, 5.0, 3)
    (x0, x1), (y0, y1) = view.shown()
    assert x1 - x0 < 15.0
    assert y1 - y0 < 7.5
    assert x0 < 10.0 < x1
    QTest.mouseDClick(view.canvas.viewport(), Qt.MouseButton.LeftButton, pos=on_canvas(view, 10, 5))
    qtbot.waitUntil(lambda: view.shown() == ((0.0, 20.0), (0.0, 10.0)), timeout=3_000)


def test_nobody_zooms_out_of_the_plot(view):
    wheel(view, 10.0, 5.0, -5)
    (x0, x1), (y0, y1) = view.shown()
    assert (x0, x1, y0, y1) == pytest.approx((0.0, 20.0, 0.0, 10.0))


def test_keys_zoom_show_all_and_move_the_read_out(qtbot, view):
    said = []
    view.read.connect(said.append)
    view.setFocus()
    QTest.keyClick(view, Qt.Key.Key_Plus)
    (x0, x1), _ = view.shown()
    assert x1 - x0 == pytest.approx(16.0, abs=0.01)
    QTest.keyClick(view, Qt.Key.Key_Home)
    assert view.shown()[0] == (0.0, 20.0)
    QTest.keyClick(view, Qt.Key.Key_Right)
    assert said[-1] == "along 10.0 mm · a 2.5 mm · b 3.3 mm"
    QTest.keyClick(view, Qt.Key.Key_Left)
    assert said[-1].startswith("along 9.")
    assert view.accessibleDescription() == said[-1]


def test_the_mouse_reads_out_in_mm_and_leaving_takes_it_away(qtbot, view):
    said = []
    view.read.connect(said.append)
    QTest.mouseMove(view.canvas.viewport(), on_canvas(view, 12.0, 5.0))
    qtbot.waitUntil(lambda: bool(said), timeout=3_000)
    along = float(said[-1].split()[1])
    assert along == pytest.approx(12.0, abs=0.1)
    assert said[-1].split(" · ")[1] == f"a {round(along / 4 + 1e-9, 1):.1f} mm"
    QTest.mouseMove(view.canvas.viewport(), QPoint(2, 2))
    qtbot.waitUntil(lambda: said[-1] == "", timeout=3_000)


def test_a_click_tells_its_place(qtbot, view):
    found = []
    view.clicked.connect(lambda x, y: found.append((x, y)))
    pos = on_canvas(view, 6.0, 8.0)
    QTest.mouseClick(view.canvas.viewport(), Qt.MouseButton.LeftButton, pos=pos)
    qtbot.waitUntil(lambda: bool(found), timeout=3_000)
    assert found[0] == pytest.approx((6.0, 8.0), abs=0.1)


def test_another_plot_of_the_same_axes_keeps_the_zoom(view):
    wheel(view, 10.0, 5.0, 3)
    zoomed = view.shown()
    view.show_plot(lines())
    assert view.shown() == zoomed
    view.show_plot(lines(high=12.0))
    assert view.shown() == ((0.0, 20.0), (0.0, 12.0))


def test_while_it_waits_nothing_of_the_old_plot_can_be_read(qtbot, view):
    view.show_plot(field())
    said = []
    view.read.connect(said.append)
    view.wait()
    assert [item.isVisible() for item in view._items[1:]] == [False] * (len(view._items) - 1)
    QTest.mouseMove(view.canvas.viewport(), on_canvas(view, 6.0, 5.0))
    qtbot.wait(50)
    assert not any(said)
    view.show_plot(field())
    assert all(item.isVisible() for item in view._items)


def test_depths_run_downwards_and_below_the_limit_is_vermilion(view):
    view.show_plot(field())
    assert view.position(6.0, 8.0).y() > view.position(6.0, 1.0).y() + 50
    image = view.grab().toImage()
    top = [image.pixelColor(x, int(view.position(6, 0.4).y())) for x in range(60, 460)]
    low = [image.pixelColor(x, int(view.position(6, 7.0).y())) for x in range(60, 460)]
    assert any(c.red() > c.blue() + 80 for c in top)
    assert not any(c.red() > c.blue() + 80 for c in low)


def test_its_numbers_and_its_picture_leave_by_the_menu(qtbot, view, tmp_path, monkeypatch):
    answers = {"plot.csv": tmp_path / "a.csv", "plot.png": tmp_path / "a.png"}
    monkeypatch.setattr(
        plot_files, "ask_save", lambda _parent, _title, _kind, name, _filter: str(answers[name])
    )
    menu = view.menu()
    words = [action.text() for action in menu.actions()]
    assert words[0] == "Show all of it"
    for action in menu.actions()[1:]:
        action.trigger()
    assert (tmp_path / "a.csv").read_bytes() == plot_csv(lines())
    assert (tmp_path / "a.png").read_bytes().startswith(b"\x89PNG")


def test_a_file_that_cannot_be_written_is_told(view, tmp_path):
    failed = []
    view.files.failed.connect(failed.append)
    view.files.write_csv(tmp_path / "no" / "folder" / "a.csv")
    assert len(failed) == 1


def test_every_line_has_its_name_beside_the_axes_apart_from_the_others(view):
    right = view._box().geometry().right()
    shown = [(name.text(), name.pos().y()) for _, name in view._names]
    assert [words for words, _ in shown] == ["needed", "a", "b"]
    assert all(name.pos().x() >= right for _, name in view._names)
    ends = [name.pos().x() + name.boundingRect().width() for _, name in view._names]
    assert max(ends) <= view.canvas.width(), "none is cut"
    heights = dict(shown)
    assert heights["b"] < heights["a"] < heights["needed"], "as high as their lines"
    assert min(abs(p - q) for p in heights.values() for q in heights.values() if p != q) >= 14.0
    wheel(view, 10.0, 9.5, 8)
    assert not any(name.isVisible() for _, name in view._names), "of what is not in sight"


def test_a_dot_is_bright_where_it_lies(view):
    axis = Axis(words="", low=0.0, high=10.0)
    dots = Series(
        name="", style="witness", shape="dots", x=np.array([2.0, 7.0]), y=np.array([3.0, 8.0])
    )
    view.show_plot(Plot(title="", x=axis, y=axis, series=(dots,)))
    image = view.grab().toImage()
    for x, y in ((2.0, 3.0), (7.0, 8.0)):
        assert image.pixelColor(view.position(x, y).toPoint()).lightness() > 180
    assert image.pixelColor(view.position(5.0, 5.0).toPoint()).lightness() < 60
