"""A plot in a window: zoom, a read-out under the cursor, and a menu."""

from __future__ import annotations

from typing import Any

from PySide6.QtCore import QEvent, QObject, QPointF, QSize, Qt, Signal
from PySide6.QtGui import (
    QContextMenuEvent,
    QFocusEvent,
    QKeyEvent,
    QMouseEvent,
    QPainter,
    QPaintEvent,
    QPen,
    QResizeEvent,
)
from PySide6.QtWidgets import QLabel, QMenu, QSizePolicy, QVBoxLayout, QWidget

from app.pictures.plot_files import PlotFiles
from app.widgets import style
from core.pictures.plot import Plot
from core.pictures.plot_layout import apart
from core.pictures.plot_words import read_out
from core.words.catalogue import say

WAITS = "…"
ZOOM = 0.8
"""One press of + shows so much of what was shown."""

TITLED_PX = 170
"""A lower plot has no room for what its axes count: that stands in its heading."""

NAMED_PX = 22.0
"""Room for half a word at either end of the lower axis."""

_STEP_PX = 4
_OVER_PX = 6


class PlotView(QWidget):
    """Shows a `Plot`; what it looks like stands in `app.pictures.plot_items`.

    Wheel or + and − zoom, dragging moves, a double click or Home shows all of it again; ← and →
    move the read-out where there is no mouse.

    Signals
    -------
    read(words)
        What stands under the cursor; empty beside the plot.
    clicked(x, y)
        A place of the plot, in the axes' units.
    """

    read = Signal(str)
    clicked = Signal(float, float)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        # Stations and depths run as they do on paper, however a script runs.
        self.setLayoutDirection(Qt.LayoutDirection.LeftToRight)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self.setMinimumSize(200, 80)
        self.plot: Plot | None = None
        self.waiting = False
        self.files = PlotFiles(self, lambda: self.plot)
        self._place: float | None = None
        self.canvas: Any = None
        """The library's widget; None until there is something to show."""
        self._items: list[Any] = []
        self._names: list[tuple[float, Any]] = []
        self._cursor: Any = None
        self._station: Any = None
        self._dots = QLabel(WAITS, self)
        self._dots.setAlignment(Qt.AlignmentFlag.AlignCenter)
        self._dots.setFont(style.font(22))
        self._dots.setObjectName("quiet")
        self._dots.setAttribute(Qt.WidgetAttribute.WA_TransparentForMouseEvents)
        self._dots.hide()
        self._over = QLabel("", self)
        self._over.setObjectName("over")
        self._over.setStyleSheet(
            f"QLabel#over {{ background: {style.GROUND.name()}; padding: 1px 5px;"
            " border-radius: 3px; font-size: 12px; }"
        )
        self._over.setWordWrap(True)
        self._over.setAttribute(Qt.WidgetAttribute.WA_TransparentForMouseEvents)
        self._over.hide()
        self._column = QVBoxLayout(self)
        self._column.setContentsMargins(1, 1, 1, 1)

    def sizeHint(self) -> QSize:
        """Room to read it."""
        return QSize(420, 200)

    # -- what it shows -------------------------------------------------------------------

    def show_plot(self, plot: Plot | None) -> None:
        """Show another plot, or none."""
        again = plot is not None and self.plot is not None and _same_axes(plot, self.plot)
        self.plot, self.waiting = plot, False
        if plot is not None:
            self.setAccessibleName(": ".join(filter(None, (plot.title, plot.subtitle))))
            self._made()
        if self.canvas is not None:
            self.canvas.setVisible(plot is not None)
            self._lay(whole=not again)
        self._dots.hide()

    def wait(self) -> None:
        """What is drawn is of something else by now: no line and no numeral of it stays."""
        self.waiting = True
        for item in self._items[1:] if self._has_field() else self._items:
            item.hide()
        for _, name in self._names:
            name.hide()
        if self._items and self._has_field():
            self._items[0].setOpacity(_dim())
        self._dots.setGeometry(self.rect())
        self._dots.show()
        self._dots.raise_()

    def show_place(self, x: float | None) -> None:
        """An upright line at the place that is looked at."""
        self._place = x
        if self._station is None:
            return
        inside = (
            self.plot is not None and x is not None and self.plot.x.low <= x <= self.plot.x.high
        )
        self._station.setVisible(inside)
        if x is not None and inside:
            self._station.setPos(x)

    def whole(self) -> None:
        """Show all of it."""
        if self.plot is None or self.canvas is None:
            return
        x, y = self.plot.x, self.plot.y
        self._box().setRange(xRange=(x.low, x.high), yRange=(y.low, y.high), padding=0.0)

    def zoom(self, by: float) -> None:
        """Show a part of what is shown, around its middle; above 1 shows more."""
        if self.plot is not None and self.canvas is not None:
            self._box().scaleBy((by, by))

    def shown(self) -> tuple[tuple[float, float], tuple[float, float]]:
        """The ends of both axes that are in sight."""
        (x0, x1), (y0, y1) = self._box().viewRange()
        return (float(x0), float(x1)), (float(y0), float(y1))

    def position(self, x: float, y: float) -> QPointF:
        """Where a place of the plot lies in this widget."""
        scene = self._box().mapViewToScene(QPointF(x, y))
        at = self.canvas.mapFromScene(scene)
        return QPointF(self.canvas.mapTo(self, at))

    # -- mouse and keys --------------------------------------------------------------------

    def contextMenuEvent(self, event: QContextMenuEvent) -> None:
        """What can be done with the plot."""
        if self.plot is None or self.waiting:
            return
        menu = self.menu()
        menu.aboutToHide.connect(menu.deleteLater)
        menu.popup(event.globalPos())

    def menu(self) -> QMenu:
        """What can be done with the plot, as entries."""
        menu = QMenu(self)
        menu.setStyleSheet(style.STYLE_SHEET)
        menu.addAction(say("pictures.plot.whole")).triggered.connect(self.whole)
        self.files.add_to(menu)
        return menu

    def paintEvent(self, event: QPaintEvent) -> None:
        """A frame where the keys act."""
        if self.hasFocus() and self.plot is not None:
            painter = QPainter(self)
            painter.setPen(QPen(style.FOCUS, 1))
            painter.drawRect(self.rect().adjusted(0, 0, -1, -1))

    def focusInEvent(self, event: QFocusEvent) -> None:
        """The frame comes."""
        super().focusInEvent(event)
        self.update()

    def focusOutEvent(self, event: QFocusEvent) -> None:
        """The frame goes."""
        super().focusOutEvent(event)
        self.update()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Zoom, all of it, and the read-out without a mouse."""
        key = event.key()
        if self.plot is None:
            super().keyPressEvent(event)
        elif key in (Qt.Key.Key_Plus, Qt.Key.Key_Equal):
            self.zoom(ZOOM)
        elif key == Qt.Key.Key_Minus:
            self.zoom(1 / ZOOM)
        elif key == Qt.Key.Key_Home:
            self.whole()
        elif by := style.STEPS.get(Qt.Key(key)):
            self._step(by)
        else:
            super().keyPressEvent(event)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Names and hatches are laid anew for other room."""
        super().resizeEvent(event)
        self._dots.setGeometry(self.rect())
        if self.plot is not None and self.canvas is not None:
            self._lay(whole=True)
            if self.waiting:
                self.wait()

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        """The mouse over the plot: its read-out, and all of it again by a double click."""
        if isinstance(event, QMouseEvent):
            if event.type() == QEvent.Type.MouseButtonPress:
                self.setFocus(Qt.FocusReason.MouseFocusReason)
            elif event.type() == QEvent.Type.MouseMove:
                self._moved(self.canvas.mapToScene(event.position().toPoint()))
            elif event.type() == QEvent.Type.MouseButtonDblClick:
                self.whole()
        elif event.type() == QEvent.Type.Leave:
            self._say(None, 0.0)
        return False

    # -- parts -----------------------------------------------------------------------------

    def _made(self) -> None:
        """The library is brought in when the first plot is shown: a start does not wait for it."""
        if self.canvas is not None:
            return
        import pyqtgraph as pg

        from app.pictures.plot_items import Numerals, pen_of

        axes = {side: Numerals(side) for side in ("left", "bottom")}
        self.canvas = pg.PlotWidget(self, background=style.PANEL, axisItems=axes, enableMenu=False)
        self.canvas.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self.canvas.setFrameShape(pg.PlotWidget.Shape.NoFrame)
        self.canvas.hideButtons()
        self.canvas.setContextMenuPolicy(Qt.ContextMenuPolicy.NoContextMenu)
        self.canvas.viewport().installEventFilter(self)
        ratio = self.devicePixelRatioF()
        self._cursor = pg.InfiniteLine(
            angle=90, pen=pen_of(style.QUIET, ratio, Qt.PenStyle.DotLine)
        )
        self._station = pg.InfiniteLine(angle=90, pen=pen_of(style.TEXT, 1.6 * ratio))
        for line in (self._cursor, self._station):
            line.setZValue(20)
            line.hide()
            self.canvas.addItem(line, ignoreBounds=True)
        for moved in (self._box().sigRangeChanged, self._box().sigResized):
            moved.connect(lambda *_: self._place_names())
        scene = self.canvas.scene()
        scene.sigMouseClicked.connect(self._mouse_clicked)
        self._column.addWidget(self.canvas)

    def _lay(self, *, whole: bool) -> None:
        from app.pictures.plot_items import (
            BESIDE_PX,
            items_of,
            name_item,
            names_beside,
            names_px,
        )

        plot, canvas = self.plot, self.canvas
        for item in self._items:
            canvas.removeItem(item)
        self._items = []
        for _, name in self._names:
            canvas.scene().removeItem(name)
        self._names = []
        if plot is None:
            return
        for side, axis in (("left", plot.y), ("bottom", plot.x)):
            canvas.getAxis(side).number(axis, titled=self.height() >= TITLED_PX)
        beside = names_px(plot)
        right = beside + 2 * BESIDE_PX if beside else NAMED_PX + 4
        left = NAMED_PX if plot.x.names else 2.0
        canvas.getPlotItem().layout.setContentsMargins(left, 8, right, 2)
        canvas.getPlotItem().layout.activate()
        box = self._box()
        box.setLimits(xMin=plot.x.low, xMax=plot.x.high, yMin=plot.y.low, yMax=plot.y.high)
        box.invertY(plot.y.downwards)
        if whole:
            self.whole()
        size = (max(box.width(), 1.0), max(box.height(), 1.0))
        canvas.getAxis("bottom").shorten(size[0])
        self._items = items_of(plot, size, self.devicePixelRatioF())
        for item in self._items:
            canvas.addItem(item, ignoreBounds=True)
        self._names = [
            (height, name_item(words, canvas.getPlotItem())) for height, words in names_beside(plot)
        ]
        self._place_names()
        self.show_place(self._place)

    def _place_names(self) -> None:
        """Names at the heights of their lines, apart from each other; none of what is not seen."""
        if not self._names:
            return
        from app.pictures.plot_items import APART_PX, BESIDE_PX

        area = self._box().geometry()
        (y0, y1) = self.shown()[1]
        down = self.plot is not None and self.plot.y.downwards
        wanted = []
        for value, name in self._names:
            share = (value - y0) / max(y1 - y0, 1e-9)
            wanted.append(area.top() + (share if down else 1.0 - share) * area.height())
            name.setVisible(0.0 <= share <= 1.0)
        seen = [n for n, (_, name) in enumerate(self._names) if name.isVisible()]
        heights = apart([wanted[n] for n in seen], APART_PX, low=area.top(), high=area.bottom())
        for n, y in zip(seen, heights, strict=True):
            name = self._names[n][1]
            name.setPos(area.right() + BESIDE_PX, y - name.boundingRect().height() / 2)

    def _box(self) -> Any:
        return self.canvas.getPlotItem().getViewBox()

    def _has_field(self) -> bool:
        return self.plot is not None and self.plot.field is not None

    def _moved(self, at: QPointF) -> None:
        place = self._box().mapSceneToView(at)
        inside = self._box().sceneBoundingRect().contains(at)
        self._say(place.x() if inside else None, place.y())

    def _say(self, x: float | None, y: float) -> None:
        """Read out a place, or nothing."""
        plot = self.plot
        words = "" if plot is None or x is None or self.waiting else read_out(plot, x, y)
        self._cursor.setVisible(bool(words))
        if words and x is not None:
            self._cursor.setPos(x)
        self.setAccessibleDescription(words)
        self._lay_over(words)
        self.read.emit(words)

    def _lay_over(self, words: str) -> None:
        """The read-out in the plot's upper right corner."""
        self._over.setVisible(bool(words))
        if not words:
            return
        self._over.setText(words)
        wide = self._over.fontMetrics().horizontalAdvance(words) + 22
        room = max(self.width() - 2 * _OVER_PX, 1)
        self._over.setFixedWidth(min(wide, room))
        self._over.adjustSize()
        self._over.move(self.width() - self._over.width() - _OVER_PX, _OVER_PX)
        self._over.raise_()

    def _step(self, by: int) -> None:
        (x0, x1), (y0, y1) = self.shown()
        shown = self._cursor.isVisible()
        at = float(self._cursor.value()) if shown else 0.5 * (x0 + x1)
        step = by * _STEP_PX * (x1 - x0) / max(self._box().width(), 1.0)
        self._say(min(max(at + step * shown, x0), x1), 0.5 * (y0 + y1))

    def _mouse_clicked(self, event: Any) -> None:
        left = event.button() == Qt.MouseButton.LeftButton
        if not left or event.double() or self.plot is None:
            return
        at = event.scenePos()
        if self._box().sceneBoundingRect().contains(at):
            place = self._box().mapSceneToView(at)
            self.clicked.emit(float(place.x()), float(place.y()))


def _same_axes(one: Plot, other: Plot) -> bool:
    """True where a zoom into one is a zoom into the other."""
    return (one.x.low, one.x.high, one.y.low, one.y.high) == (
        other.x.low, other.x.high, other.y.low, other.y.high
    )  # fmt: skip


def _dim() -> float:
    from app.pictures.plot_items import DIM

    return DIM
