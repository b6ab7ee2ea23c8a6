"""Draws the picture of remaining bone in a window: greys, hatches, lines with numerals, depths."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import (
    QBrush,
    QColor,
    QFontMetricsF,
    QImage,
    QPainter,
    QPainterPath,
    QPaintEvent,
    QPen,
    QPolygonF,
)
from PySide6.QtWidgets import QSizePolicy, QWidget

from app.widgets import style
from core.pictures.remaining_bone_chart import direction_marks
from core.pictures.remaining_bone_picture import RemainingBoneLine, RemainingBonePicture

MOST_MM = 5.0
"""Bone of this and more has the lightest grey."""

WAITS = "…"
_WAITING_OPACITY = 0.35
_LEFT, _BOTTOM, _TOP, _RIGHT = 30, 20, 8, 8
_APART_PX = 6.0
"""Between two names of directions."""
_LEAST_PX = 40.0


class RemainingBoneChart(QWidget):
    """Draws a `RemainingBonePicture`; waiting, only its greys, dimmed, and dots over them."""

    def __init__(self) -> None:
        super().__init__()
        self.picture: RemainingBonePicture | None = None
        self.waiting = False
        self.marks: tuple[tuple[float, str], ...] = ()
        self.setMinimumSize(200, 80)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self._grey: QImage | None = None

    def show_picture(
        self, picture: RemainingBonePicture | None, *, jaw: str | None = None, named: bool = True
    ) -> None:
        """Draw another picture, or none."""
        self.picture, self.waiting = picture, False
        self.marks = direction_marks(jaw, named=named)
        self._grey = None if picture is None else _grey_image(picture)
        self.update()

    def wait(self) -> None:
        """What is drawn belongs to an earlier pose: no line and no numeral of it stays."""
        self.waiting = True
        self.update()

    def paintEvent(self, event: QPaintEvent) -> None:
        """Greys, hatches, lines with numerals, names and depths."""
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.fillRect(self.rect(), style.PANEL)
        box = QRectF(_LEFT, _TOP, self.width() - _LEFT - _RIGHT, self.height() - _TOP - _BOTTOM)
        picture = self.picture
        if picture is not None and self._grey is not None:
            painter.setRenderHint(QPainter.RenderHint.SmoothPixmapTransform)
            painter.setOpacity(_WAITING_OPACITY if self.waiting else 1.0)
            painter.drawImage(box, self._grey)
            painter.setOpacity(1.0)
            if not self.waiting:
                self._ink(painter, box, picture)
            self._frame(painter, box, picture)
        if self.waiting:
            painter.setFont(style.font(22))
            painter.setPen(style.QUIET)
            painter.drawText(box, Qt.AlignmentFlag.AlignCenter, WAITS)

    def _ink(self, painter: QPainter, box: QRectF, picture: RemainingBonePicture) -> None:
        painter.setClipRect(box)
        # As on paper: what is below its limit rises to the right, what is not known falls.
        self._hatch(painter, box, picture.below, style.BELOW, Qt.BrushStyle.BDiagPattern)
        self._hatch(painter, box, picture.unknown, style.GROUND, Qt.BrushStyle.SolidPattern)
        self._hatch(painter, box, picture.unknown, style.QUIET, Qt.BrushStyle.FDiagPattern)
        for line in picture.lines:
            self._line(painter, box, picture, line)
        taken: list[QRectF] = []
        for line in sorted(picture.lines, key=lambda item: -len(item.points)):
            self._numeral(painter, box, picture, line, taken)
        painter.setClipping(False)

    def _at(self, box: QRectF, picture: RemainingBonePicture, turn: float, depth: float) -> QPointF:
        deepest = float(picture.depths_mm[-1])
        return QPointF(
            box.left() + (turn + 180.0) / 360.0 * box.width(),
            box.top() + depth / deepest * box.height(),
        )

    def _hatch(
        self,
        painter: QPainter,
        box: QRectF,
        mask: NDArray[np.bool_],
        ink: QColor,
        pattern: Qt.BrushStyle,
    ) -> None:
        rows, cols = mask.shape
        wide, high = box.width() / max(cols - 1, 1), box.height() / max(rows - 1, 1)
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(QBrush(ink, pattern))
        for row, col in np.argwhere(mask):
            x, y = box.left() + (col - 0.5) * wide, box.top() + (row - 0.5) * high
            painter.drawRect(QRectF(x, y, wide, high))
        painter.setBrush(Qt.BrushStyle.NoBrush)

    def _line(
        self, painter: QPainter, box: QRectF, picture: RemainingBonePicture, line: RemainingBoneLine
    ) -> None:
        path = QPainterPath()
        path.addPolygon(QPolygonF([self._at(box, picture, t, d) for t, d in line.points]))
        ink = style.BELOW if line.is_limit else style.TEXT
        painter.setPen(QPen(style.GROUND, 4.5 if line.is_limit else 2.6))
        painter.drawPath(path)
        painter.setPen(QPen(ink, 2.6 if line.is_limit else 1.1))
        painter.drawPath(path)

    def _numeral(
        self,
        painter: QPainter,
        box: QRectF,
        picture: RemainingBonePicture,
        line: RemainingBoneLine,
        taken: list[QRectF],
    ) -> None:
        """The numeral in the line, where it covers no other."""
        font = style.font(11, bold=line.is_limit, italic=True)
        metrics = QFontMetricsF(font)
        size = metrics.size(0, line.label)
        count = len(line.points)
        places = [self._at(box, picture, t, d) for t, d in line.points]
        # A short ring around a single ray is noise, not a line to read.
        if sum(math.dist(a.toTuple(), b.toTuple()) for a, b in pairwise(places)) < _LEAST_PX:
            return
        for share in (0.5, 0.35, 0.65, 0.2, 0.8):
            plate = QRectF(0, 0, size.width() + 6, size.height())
            plate.moveCenter(places[int(share * (count - 1))])
            if not box.contains(plate) or any(plate.intersects(other) for other in taken):
                continue
            taken.append(plate)
            painter.setPen(Qt.PenStyle.NoPen)
            painter.setBrush(style.GROUND)
            painter.drawRoundedRect(plate, 3, 3)
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.setFont(font)
            painter.setPen(style.BELOW if line.is_limit else style.TEXT)
            painter.drawText(plate, Qt.AlignmentFlag.AlignCenter, line.label)
            return

    def _names(
        self, box: QRectF, picture: RemainingBonePicture, metrics: QFontMetricsF
    ) -> list[tuple[float, str]]:
        """Left edge and words of the directions; two letters each where words would touch."""
        placed: list[tuple[float, str]] = []
        for letters in (None, 2):
            placed = []
            touch, end = False, -np.inf
            for turn, name in self.marks:
                words = name if letters is None else name[:letters].capitalize()
                width = metrics.horizontalAdvance(words)
                middle = self._at(box, picture, turn, 0.0).x()
                x = min(max(middle - width / 2, 0.0), self.width() - width)
                touch = touch or x < end + _APART_PX
                end = x + width
                placed.append((x, words))
            if not touch:
                break
        return placed

    def _frame(self, painter: QPainter, box: QRectF, picture: RemainingBonePicture) -> None:
        painter.setPen(QPen(style.EDGE, 1))
        painter.drawRect(box)
        painter.setFont(style.font(11))
        metrics = QFontMetricsF(painter.font())
        for x, name in self._names(box, picture, metrics):
            painter.setPen(style.QUIET)
            painter.drawText(QPointF(x, self.height() - 5), name)
        deepest = float(picture.depths_mm[-1])
        for depth in np.arange(0.0, deepest + 1e-6, 2.0):
            y = self._at(box, picture, 0.0, float(depth)).y()
            painter.setPen(style.QUIET)
            place = QRectF(0, y - 7, _LEFT - 7, 14)
            side = Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter
            painter.drawText(place, side, f"{depth:g}")
            painter.setPen(QPen(style.QUIET, 1))
            painter.drawLine(QPointF(_LEFT - 4, y), QPointF(_LEFT, y))


def _grey_image(picture: RemainingBonePicture) -> QImage:
    bone = np.nan_to_num(picture.bone_mm, nan=0.0)
    shade = 34 + np.clip(bone / MOST_MM, 0.0, 1.0) * 120
    grey = np.ascontiguousarray(shade.astype(np.uint8))
    rows, cols = grey.shape
    return QImage(grey.data, cols, rows, cols, QImage.Format.Format_Grayscale8).copy()
