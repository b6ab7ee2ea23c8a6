"""One picture of the scan: grey image, chart over it, and mouse events in patient space.

The view works in millimetres of the picture's plane (u to the right, v up). `image_transform`
is the one place where pixels become plane millimetres; it holds the half-pixel shift between
pixel centres at integers (`core`) and pixel corners at integers (the toolkit). `to_screen` is
the one place where plane millimetres become the widget's pixels.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from PySide6.QtCore import QEvent, QPoint, QPointF, QRectF, Qt, Signal
from PySide6.QtGui import (
    QContextMenuEvent,
    QFocusEvent,
    QImage,
    QKeyEvent,
    QMouseEvent,
    QPainter,
    QPaintEvent,
    QPen,
    QResizeEvent,
    QTransform,
    QWheelEvent,
)
from PySide6.QtWidgets import QSizePolicy, QWidget

from app.pictures.annotations import paint_annotations, paint_handles
from app.pictures.chart_painter import Ink
from app.pictures.draft import Draft
from app.pictures.hit import Hit
from app.pictures.magnifier import LEAST_PX, paint_magnifier
from app.pictures.rendering import Renderings
from app.widgets import style
from core.drawing import Line, Sides
from core.geometry import Array

REACH_PX = 10.0
LEAST_PX_PER_MM, MOST_PX_PER_MM = 1.0, 80.0


def image_transform(rows: int, cols: int, pixel_mm: float) -> QTransform:
    """Transform from image pixels (column, row; corners at integers) to plane mm (u, v).

    The centre of pixel (row r, column c) is drawn at (c + 0.5, r + 0.5) by the toolkit and
    lies at ``uv = ((c - (cols-1)/2) p, -(r - (rows-1)/2) p)``.
    """
    p = pixel_mm
    return QTransform(p, 0, 0, -p, -cols * p / 2, rows * p / 2)


class PictureView(QWidget):
    """Base of all pictures: shows grey values and tells where in the patient it was clicked.

    Subclasses say which patient point a place of the plane is (`point_mm`) and the reverse
    (`uv_mm`).
    """

    pressed = Signal(object)
    dragged = Signal(object)
    released = Signal(object)
    double_clicked = Signal(object)
    hovered = Signal(object)
    stepped = Signal(int)
    zoomed = Signal()
    menu_wanted = Signal(QPoint, bool)
    """Where, and whether by a key: what can be done there is asked for."""

    kind = ""

    def __init__(
        self, parent: QWidget | None = None, *, renderings: Renderings | None = None
    ) -> None:
        super().__init__(parent)
        # Sides and scales are those of the patient, however a script runs.
        self.setLayoutDirection(Qt.LayoutDirection.LeftToRight)
        self._renderings = Renderings() if renderings is None else renderings
        self.title = ""
        self.subtitle = ""
        self.warning = ""
        """Stands across the foot of the picture, whatever its size."""
        self.sides: Sides | None = None
        self.chosen = False
        self.empty_words = ""
        """What stands where there is no picture yet: how to get one."""
        self.fit_mm: tuple[float, float] = (40.0, 40.0)
        """Width and height that `fit` makes visible."""
        self._middle = (0.0, 0.0)
        self._scale = 5.0
        self._fitted = True
        self._image: QImage | None = None
        self._grey: NDArray[np.float32] | None = None
        self._window = (0.0, 1.0)
        self._pixels = QTransform()
        self._chart = Ink()
        self._marks: tuple[Line, ...] = ()
        self._mark_ink = Ink()
        self._draft: Draft | None = None
        self._draft_ink = Ink()
        self._bare = False
        self._magnified: frozenset[str] = frozenset()
        """Why the magnifier is shown: a key is held, a mark is dragged."""
        self._pointer: QPointF | None = None
        self._pan_from: QPointF | None = None
        self._held = Qt.MouseButton.NoButton
        self._wheel = 0
        # It paints every pixel of itself: what lies behind need not be painted at each step.
        self.setAttribute(Qt.WidgetAttribute.WA_OpaquePaintEvent)
        self.setMouseTracking(True)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self.setMinimumSize(40, 40)

    # -- what it shows -------------------------------------------------------------------

    @property
    def has_picture(self) -> bool:
        """True once something is shown, so that a place in it is a place in the patient."""
        return self._image is not None

    def point_mm(self, u: float, v: float) -> Array:
        """(3,) patient point of a place in the plane."""
        raise NotImplementedError

    def uv_mm(self, points_mm: Array) -> Array:
        """(n, 3) patient points → (n, 3): u, v, and mm off the picture."""
        raise NotImplementedError

    def show_grey(
        self, grey: NDArray[np.float32], pixel_mm: float, window: tuple[float, float]
    ) -> None:
        """Show grey values; the chart of the former picture goes.

        The same grey values keep their chart until the next one is there, also through another
        window: while something is dragged nothing flickers, and no line is lost.
        """
        if grey is self._grey and window == self._window and self._image is not None:
            return
        if grey is not self._grey:
            self._chart = Ink()
        self._grey, self._window = grey, window
        self._image = self._renderings.image(grey, window, pixel_mm)
        self._pixels = image_transform(grey.shape[0], grey.shape[1], pixel_mm)
        self.update()

    def show_ink(self, ink: Ink) -> None:
        """Lay the chart over the picture that is shown."""
        self._chart = ink
        self.update()

    def show_marks(self, lines: Sequence[Line]) -> None:
        """Lines that follow the place looked at, over the chart."""
        if _alike(self._marks, lines):
            return
        self._marks = tuple(lines)
        self._mark_ink = Ink(self._marks)
        self.update()

    def show_draft(self, draft: Draft) -> None:
        """What the active tool wants drawn."""
        if draft is self._draft or (_is_empty(draft) and _is_empty(self._draft)):
            return
        self._draft = draft
        self._draft_ink = Ink(draft.lines, draft.dots, draft.labels)
        self.update()

    @property
    def _chart_now(self) -> Ink:
        """The chart; while something is compared with the image nothing of it lies over that."""
        compares = self._draft is not None and self._draft.compares
        return self._chart.without_distances if compares else self._chart

    def show_drawn(self, *, shown: bool) -> None:
        """Show or hide chart, marks and draft; letters and bar at the edges stay."""
        if self._bare == shown:
            self._bare = not shown
            self.update()

    def magnify(self, why: str, *, shown: bool) -> None:
        """Show the magnifier at the mouse for a reason, or no longer for it."""
        reasons = self._magnified | {why} if shown else self._magnified - {why}
        if reasons != self._magnified:
            self._magnified = reasons
            self.update()

    @property
    def magnifies(self) -> bool:
        """True while the magnifier is to be seen."""
        room = min(self.width(), self.height()) >= LEAST_PX
        return bool(self._magnified) and room and self._pointer is not None and self.has_picture

    def clear(self) -> None:
        """Show nothing."""
        self._renderings.clear()
        self._image = self._grey = None
        self._chart = self._mark_ink = self._draft_ink = Ink()
        self._draft = None
        self.sides = None
        self.title = self.subtitle = ""
        self.update()

    # -- plane and screen ----------------------------------------------------------------

    def to_screen(self) -> QTransform:
        """Transform from plane mm to the widget's (device-independent) pixels."""
        s = self._scale
        u, v = self._middle
        return QTransform(s, 0, 0, -s, self.width() / 2 - s * u, self.height() / 2 + s * v)

    def picture_rect(self) -> QRectF:
        """The picture in the widget's pixels, whether in sight or not."""
        if self._image is None:
            return QRectF()
        corners = QRectF(0, 0, self._image.width(), self._image.height())
        return (self._pixels * self.to_screen()).mapRect(corners)

    def mm_per_pixel(self) -> float:
        """Millimetres of the plane under one screen pixel."""
        return 1.0 / self._scale

    def place(self, position: QPointF) -> tuple[float, float]:
        """(u, v) mm under a widget position, fractions of a pixel kept."""
        inverse, _ = self.to_screen().inverted()
        at = inverse.map(position)
        return at.x(), at.y()

    def screen_position(self, point_mm: Array) -> QPointF:
        """Widget position of a patient point's foot on the picture."""
        u, v, _ = self.uv_mm(np.atleast_2d(point_mm))[0]
        return self.to_screen().map(QPointF(u, v))

    def fit(self) -> None:
        """Show the whole of `fit_mm` around the picture's middle, now and when resized."""
        self._fitted = True
        width, height = self.fit_mm
        self._middle = (0.0, 0.0)
        self._scale = min(self.width() / max(width, 1e-3), self.height() / max(height, 1e-3))
        self.zoomed.emit()
        self.update()

    def zoom_to(self, px_per_mm: float, about: QPointF | None = None) -> None:
        """Take a scale in screen pixels a mm; the place under `about` stays where it is."""
        at = QPointF(self.width() / 2, self.height() / 2) if about is None else about
        u, v = self.place(at)
        self._scale = min(max(px_per_mm, LEAST_PX_PER_MM), MOST_PX_PER_MM)
        now_u, now_v = self.place(at)
        self._middle = (self._middle[0] + u - now_u, self._middle[1] + v - now_v)
        self._fitted = False
        self.zoomed.emit()
        self.update()

    def zoom(self, factor: float, about: QPointF | None = None) -> None:
        """Enlarge by a factor."""
        self.zoom_to(self._scale * factor, about)

    def pan(self, right_px: float, down_px: float) -> None:
        """Move the picture under the glass."""
        u, v = self._middle
        self._middle = (u - right_px / self._scale, v + down_px / self._scale)
        self._fitted = False
        self.zoomed.emit()
        self.update()

    def look_as(self, other: PictureView) -> None:
        """Take another view's scale and middle, without telling anybody."""
        self._scale, self._middle, self._fitted = other._scale, other._middle, other._fitted
        self.update()

    # -- events --------------------------------------------------------------------------

    def hit(self, event: QMouseEvent, button: Qt.MouseButton | None = None) -> Hit | None:
        """The point under the mouse; None until a picture is shown."""
        if not self.has_picture:
            return None
        u, v = self.place(event.position())
        return Hit(
            (u, v),
            self.point_mm(u, v),
            REACH_PX * self.mm_per_pixel(),
            event.button() if button is None else button,
            event.modifiers(),
        )

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """Middle: pan; others: the tool."""
        self.setFocus(Qt.FocusReason.MouseFocusReason)
        event.accept()
        self._point_at(event.position())
        self._forget_lost_release(event.buttons() & ~event.button())
        if self._pan_from is not None or self._held != Qt.MouseButton.NoButton:
            return  # a second button during a drag means nothing
        if event.button() == Qt.MouseButton.MiddleButton:
            self._pan_from = event.position()
        elif (hit := self.hit(event)) is not None:
            self._held = event.button()
            self.pressed.emit(hit)

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        """Pan, drag or hover."""
        event.accept()
        self._point_at(event.position())
        self._forget_lost_release(event.buttons())
        if self._pan_from is not None:
            delta = event.position() - self._pan_from
            self._pan_from = event.position()
            self.pan(delta.x(), delta.y())
        elif (hit := self.hit(event, self._held)) is not None:
            (self.hovered if self._held == Qt.MouseButton.NoButton else self.dragged).emit(hit)

    def _point_at(self, position: QPointF | None) -> None:
        """The mouse is there now, or left: the magnifier goes along."""
        self._pointer = position
        if self._magnified:
            self.update()

    def _forget_lost_release(self, buttons: Qt.MouseButton) -> None:
        """A question that a press opened takes its release: nothing is held any more then."""
        if not buttons & Qt.MouseButton.MiddleButton:
            self._pan_from = None
        if not buttons & self._held:
            self._held = Qt.MouseButton.NoButton

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:
        """End of a drag or pan."""
        event.accept()
        if event.button() == Qt.MouseButton.MiddleButton:
            self._pan_from = None
        elif event.button() == self._held:
            self._held = Qt.MouseButton.NoButton
            if (hit := self.hit(event)) is not None:
                self.released.emit(hit)

    def mouseDoubleClickEvent(self, event: QMouseEvent) -> None:
        """Second press of two."""
        event.accept()
        if event.button() == Qt.MouseButton.MiddleButton:
            self.fit()
        elif (hit := self.hit(event)) is not None:
            self._held = event.button()
            self.double_clicked.emit(hit)

    def contextMenuEvent(self, event: QContextMenuEvent) -> None:
        """The right button, or the menu key: then at the mouse where it is on the picture."""
        event.accept()
        by_key = event.reason() == QContextMenuEvent.Reason.Keyboard
        at = event.pos()
        if by_key:
            at = self.rect().center() if self._pointer is None else self._pointer.toPoint()
        self.menu_wanted.emit(at, by_key)

    def wheelEvent(self, event: QWheelEvent) -> None:
        """Wheel steps; with Ctrl it zooms about the pointer."""
        event.accept()
        # Finer wheels send parts of a notch (120): they are added up.
        self._wheel += event.angleDelta().y() or event.angleDelta().x()
        notches = int(self._wheel / 120)
        self._wheel -= 120 * notches
        if notches == 0:
            return
        if event.modifiers() & Qt.KeyboardModifier.ControlModifier:
            self.zoom(1.2**notches, event.position())
        else:
            many = 5 if event.modifiers() & Qt.KeyboardModifier.ShiftModifier else 1
            self.stepped.emit(-many * notches)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Zoom and pan of this picture; everything else belongs to the bench."""
        match event.key():
            case Qt.Key.Key_Plus | Qt.Key.Key_Equal:
                self.zoom(1.2)
            case Qt.Key.Key_Minus:
                self.zoom(1 / 1.2)
            case Qt.Key.Key_0:
                self.fit()
            case _:
                event.ignore()

    def leaveEvent(self, event: QEvent) -> None:
        """The pointer left: nothing is hovered any more."""
        self._point_at(None)
        self.hovered.emit(None)
        super().leaveEvent(event)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Stay fitted until somebody zooms or pans."""
        super().resizeEvent(event)
        if self._fitted:
            self.fit()

    def focusInEvent(self, event: QFocusEvent) -> None:
        """Show the frame of focus."""
        self.update()
        super().focusInEvent(event)

    def focusOutEvent(self, event: QFocusEvent) -> None:
        """Take the frame of focus away."""
        self.update()
        super().focusOutEvent(event)

    # -- painting ------------------------------------------------------------------------

    def paintEvent(self, event: QPaintEvent) -> None:
        """Grey picture, chart, marks, the tool's draft, then words and bar at the edges."""
        painter = QPainter(self)
        painter.setLayoutDirection(Qt.LayoutDirection.LeftToRight)
        painter.fillRect(self.rect(), style.PICTURE)
        if self._image is not None:
            to_screen = self.to_screen()
            ground = self._renderings.ground(
                self._image,
                Ink() if self._bare else self._chart_now,
                pixels=self._pixels,
                to_screen=to_screen,
                size=self.size(),
                ratio=painter.device().devicePixelRatioF(),
            )
            painter.drawPixmap(0, 0, ground)
            painter.setRenderHint(QPainter.RenderHint.Antialiasing)
            for ink in () if self._bare else (self._mark_ink, self._draft_ink):
                ink.paint(painter, to_screen)
            if self._draft is not None and not self._bare:
                paint_handles(painter, to_screen, self._draft.handles)
            paint_annotations(painter, self)
            if self.magnifies and self._pointer is not None:
                self._paint_magnifier(painter, self._pointer)
        elif self.empty_words:
            painter.setFont(style.font(13))
            painter.setPen(style.QUIET)
            box = self.rect().adjusted(12, 12, -12, -12)
            words = Qt.AlignmentFlag.AlignCenter | Qt.TextFlag.TextWordWrap
            painter.drawText(box, words, self.empty_words)
        if self.hasFocus() or self.chosen:
            pen = QPen(style.FOCUS if self.hasFocus() else style.QUIET, 1.5)
            painter.setPen(pen)
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.drawRect(QRectF(self.rect()).adjusted(0.75, 0.75, -0.75, -0.75))
        painter.end()

    def _paint_magnifier(self, painter: QPainter, at: QPointF) -> None:
        if self._image is None:
            return
        drawn = () if self._bare else (self._chart_now, self._mark_ink, self._draft_ink)
        handles = self._draft.handles if self._draft is not None and not self._bare else ()
        area, to_screen = QRectF(self.rect()), self.to_screen()
        paint_magnifier(painter, at, area, self._image, self._pixels, to_screen, drawn, handles)


def _alike(first: Sequence[Line], second: Sequence[Line]) -> bool:
    """True where two sets of lines look the same."""
    return len(first) == len(second) and all(
        a.style == b.style and np.array_equal(a.points, b.points)
        for a, b in zip(first, second, strict=True)
    )


def _is_empty(draft: Draft | None) -> bool:
    return draft is None or not (draft.lines or draft.dots or draft.labels or draft.handles)
