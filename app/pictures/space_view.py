"""A look at a site in space that turns under the mouse; for orientation, never to measure on."""

from __future__ import annotations

import numpy as np
from PySide6.QtCore import QPointF, QRectF, Qt, QTimer
from PySide6.QtGui import (
    QFontMetricsF,
    QImage,
    QKeyEvent,
    QMouseEvent,
    QPainter,
    QPaintEvent,
    QPen,
    QWheelEvent,
)
from PySide6.QtWidgets import QSizePolicy, QWidget

from app.pictures.chart_painter import plate_text
from app.widgets import style
from core.pictures.ink import DARK
from core.sheet.space_picture import Eye, SiteScene, looking, side_letters, space_picture
from core.words.catalogue import say

START_DEG = (25.0, 18.0)
"""Turn and lift of the first look: from the cheek, a little from above and beside."""

ACROSS_MM = 46.0
"""So much is in sight at first."""

COARSE, REST_MS = 2, 160
"""While it turns a pixel of it is so many of the screen's wide; at rest it is sharp again."""

_DEG_PER_PX, _KEY_DEG = 0.45, 7.5
_MOST_LIFT = 89.0
_LEAST_ZOOM, _MOST_ZOOM = 0.5, 6.0
_MARGIN_PX = 26.0


class SpaceView(QWidget):
    """Turns by dragging or the arrows, zooms by the wheel or + and −; Home is the first look."""

    def __init__(self) -> None:
        super().__init__()
        # The patient's sides are told by letters, however a script runs.
        self.setLayoutDirection(Qt.LayoutDirection.LeftToRight)
        self.scene: SiteScene | None = None
        self.turn_deg, self.lift_deg = START_DEG
        self.nearer = 1.0
        self._from: QPointF | None = None
        self._turning = QTimer(self, interval=REST_MS, singleShot=True)
        self._turning.timeout.connect(self.update)
        self._seen: tuple[tuple[float, ...], QImage] | None = None
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self.setMinimumSize(320, 260)
        self.setAttribute(Qt.WidgetAttribute.WA_OpaquePaintEvent)
        self.setAccessibleName(say("pictures.space.title"))
        self.setCursor(Qt.CursorShape.OpenHandCursor)

    def show_scene(self, scene: SiteScene | None) -> None:
        """Look at another site, or at none."""
        self.scene = scene
        self._seen = None
        self.update()

    def turn(self, right_deg: float, up_deg: float) -> None:
        """Turn what is looked at."""
        self.turn_deg = (self.turn_deg + right_deg + 180.0) % 360.0 - 180.0
        self.lift_deg = float(np.clip(self.lift_deg + up_deg, -_MOST_LIFT, _MOST_LIFT))
        self._turning.start()
        self.update()

    def zoom(self, by: float) -> None:
        """Look from nearer or from further away."""
        self.nearer = float(np.clip(self.nearer * by, _LEAST_ZOOM, _MOST_ZOOM))
        self.update()

    def first_look(self) -> None:
        """As it was at first."""
        (self.turn_deg, self.lift_deg), self.nearer = START_DEG, 1.0
        self.update()

    def eye(self, *, coarse: int = 1) -> Eye | None:
        """From where it is seen now; coarse, with fewer pixels."""
        if self.scene is None:
            return None
        ratio = self.devicePixelRatioF() / coarse
        size = (max(round(self.width() * ratio), 1), max(round(self.height() * ratio), 1))
        turned = looking(self.scene, turn_deg=self.turn_deg, lift_deg=self.lift_deg)
        return Eye(turned=turned, px_per_mm=min(size) / ACROSS_MM * self.nearer, size=size)

    # -- events --------------------------------------------------------------------------

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """Take hold of it."""
        self.setFocus(Qt.FocusReason.MouseFocusReason)
        self._from = event.position()
        self.setCursor(Qt.CursorShape.ClosedHandCursor)

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        """It turns with the mouse."""
        if self._from is not None:
            way = event.position() - self._from
            self._from = event.position()
            self.turn(-way.x() * _DEG_PER_PX, way.y() * _DEG_PER_PX)

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:
        """Let go."""
        self._from = None
        self.setCursor(Qt.CursorShape.OpenHandCursor)

    def mouseDoubleClickEvent(self, event: QMouseEvent) -> None:
        """The first look again."""
        self.first_look()

    def wheelEvent(self, event: QWheelEvent) -> None:
        """Nearer and further."""
        event.accept()
        self.zoom(1.15 ** (event.angleDelta().y() / 120))

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Arrows turn, + and − zoom, Home is the first look."""
        turns = {
            Qt.Key.Key_Left: (_KEY_DEG, 0.0),
            Qt.Key.Key_Right: (-_KEY_DEG, 0.0),
            Qt.Key.Key_Up: (0.0, -_KEY_DEG),
            Qt.Key.Key_Down: (0.0, _KEY_DEG),
        }
        key = Qt.Key(event.key())
        if key in turns:
            self.turn(*turns[key])
        elif key in (Qt.Key.Key_Plus, Qt.Key.Key_Equal):
            self.zoom(1.15)
        elif key == Qt.Key.Key_Minus:
            self.zoom(1 / 1.15)
        elif key == Qt.Key.Key_Home:
            self.first_look()
        else:
            super().keyPressEvent(event)

    # -- painting ------------------------------------------------------------------------

    def paintEvent(self, event: QPaintEvent) -> None:
        """The picture, measured distances without a number, letters, and what it is for."""
        painter = QPainter(self)
        painter.fillRect(self.rect(), style.PICTURE)
        eye = self.eye()
        if self.scene is not None and eye is not None:
            painter.setRenderHint(QPainter.RenderHint.SmoothPixmapTransform)
            seen = self.eye(coarse=COARSE) if self._turning.isActive() else eye
            painter.drawImage(QRectF(self.rect()), self._image(self.scene, seen or eye))
            painter.setRenderHint(QPainter.RenderHint.Antialiasing)
            self._distances(painter, self.scene, eye)
            self._letters(painter, eye)
        self._purpose(painter)
        if self.hasFocus():
            painter.setPen(QPen(style.FOCUS, 1.5))
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.drawRect(QRectF(self.rect()).adjusted(0.75, 0.75, -0.75, -0.75))
        painter.end()

    def _image(self, scene: SiteScene, eye: Eye) -> QImage:
        key = (*eye.turned.ravel(), eye.px_per_mm, *eye.size)
        if self._seen is None or self._seen[0] != key:
            seen = np.ascontiguousarray(space_picture(scene, eye))
            height, width, _ = seen.shape
            image = QImage(seen.data, width, height, 3 * width, QImage.Format.Format_RGB888)
            self._seen = key, image.copy()  # owns its memory
        return self._seen[1]

    def _distances(self, painter: QPainter, scene: SiteScene, eye: Eye) -> None:
        ratio = self.devicePixelRatioF()
        for segment in scene.distances:
            first, second = (
                QPointF(x / ratio, y / ratio) for x, y, _ in eye.places(segment.ends, scene.middle)
            )
            ink = style.BELOW_INK if segment.below else style.colour(DARK.ink)
            for pen in (QPen(style.colour(DARK.casing), 4.0), QPen(ink, 1.8)):
                painter.setPen(pen)
                painter.drawLine(first, second)
            painter.setPen(QPen(style.colour(DARK.casing), 1.2))
            painter.setBrush(ink)
            for end in (first, second):
                painter.drawEllipse(end, 3.0, 3.0)
            painter.setBrush(Qt.BrushStyle.NoBrush)

    def _letters(self, painter: QPainter, eye: Eye) -> None:
        """At the edge towards which each direction of the patient runs."""
        middle = QPointF(self.width() / 2, self.height() / 2)
        across, up = self.width() / 2 - _MARGIN_PX, self.height() / 2 - _MARGIN_PX
        for letter, right, high in side_letters(eye):
            reach = min(across / max(abs(right), 1e-6), up / max(abs(high), 1e-6))
            at = middle + QPointF(right * reach, -high * reach)
            plate_text(painter, at, letter, style.font(13, bold=True), below=False)

    def _purpose(self, painter: QPainter) -> None:
        words = [say("pictures.space.orientation-only")]
        if self.scene is not None and self.scene.why_no_jaw:
            words.append(self.scene.why_no_jaw)
        painter.setFont(style.font(12))
        metrics = QFontMetricsF(style.font(12))
        room = QRectF(self.rect()).adjusted(10, 8, -10, -8)
        flags = Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignTop | Qt.TextFlag.TextWordWrap
        text = "\n".join(words)
        box = metrics.boundingRect(room, int(flags), text)
        ground = style.colour(DARK.casing)
        ground.setAlphaF(style.NUMERAL_ALPHA)
        painter.fillRect(box.adjusted(-5, -2, 5, 2), ground)
        painter.setPen(style.TEXT)
        painter.drawText(box, int(flags), text)
