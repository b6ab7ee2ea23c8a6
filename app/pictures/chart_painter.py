"""Draws a chart's lines, dots and labels over its picture, from the same list as the sheet."""

from __future__ import annotations

from collections.abc import Iterable
from functools import cached_property
from itertools import groupby

import numpy as np
from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QBrush, QFont, QFontMetricsF, QPainter, QPainterPath, QPen, QTransform

from app.widgets import style
from core.drawing import Dot, Label, Line
from core.geometry import Array
from core.pictures.chart_desk import DISTANCE_LINE
from core.pictures.ink import DARK

SCREEN_ANCHORED = frozenset({"ruler"})
"""Styles that the view draws by itself at the edge of the screen, at any zoom."""

HIDDEN_MM = 0.006
"""So far off a line nothing is seen: a tenth of a pixel at 16 pixels a mm."""


class Ink:
    """Lines, dots and labels made ready for painting, in plane millimetres.

    Neighbouring lines of one meaning become one path, so that the casing of one never cuts
    the ink of the next.
    """

    def __init__(
        self,
        lines: Iterable[Line] = (),
        dots: Iterable[Dot] = (),
        labels: Iterable[Label] = (),
    ) -> None:
        drawn = [x for x in lines if len(x.points) > 1 and x.style not in SCREEN_ANCHORED]
        self.paths = [
            (line_style, below, _path(same))
            for (line_style, below), same in groupby(drawn, key=lambda x: (x.style, x.below))
        ]
        self._dots = tuple(dots)
        self._labels = tuple(x for x in labels if x.style != "scale")

    @cached_property
    def without_distances(self) -> Ink:
        """The same without distance lines and their numerals."""
        calm = Ink()
        calm.paths = [path for path in self.paths if path[0] != DISTANCE_LINE]
        calm._dots = self._dots
        calm._labels = tuple(label for label in self._labels if label.style != "numeral")
        return calm

    def paint(self, painter: QPainter, to_screen: QTransform, *, words: bool = True) -> None:
        """Paint in the widget's pixels; `to_screen` maps plane mm to them."""
        px_per_mm = abs(to_screen.m11())
        ratio = painter.device().devicePixelRatioF()
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.save()
        painter.setTransform(to_screen, combine=True)
        for line_style, below, path in self.paths:
            for pen in style.pens(line_style, below=below, px_per_mm=px_per_mm, ratio=ratio):
                if pen is not None and pen.style() != Qt.PenStyle.NoPen:
                    painter.setPen(pen)
                    painter.drawPath(path)
        painter.restore()
        for dot in self._dots:
            _dot(painter, to_screen.map(QPointF(*dot.at)), below=dot.below)
        for label in self._labels if words else ():
            _label(painter, to_screen.map(QPointF(*label.at)), label)


def _path(lines: Iterable[Line]) -> QPainterPath:
    path = QPainterPath()
    for line in lines:
        finite = _thinned(line.points[np.isfinite(line.points).all(axis=1)])
        if len(finite) < 2:
            continue
        first, *others = finite.tolist()  # plain numbers are handed over faster than numpy's
        path.moveTo(*first)
        for u, v in others:
            path.lineTo(u, v)
        if line.closed:
            path.closeSubpath()
    return path


def _thinned(points: Array) -> Array:
    """A line (n, 2) without points that its neighbours already stand for, the ends kept.

    In each round every other point goes that lies within `HIDDEN_MM` of the chord between its
    neighbours: strokes cost by the piece, and charts come finer than any screen shows.
    """
    for _ in range(3):
        if len(points) < 5:
            break
        before, middle, after = points[:-2:2], points[1:-1:2], points[2::2]
        count = len(middle)
        chord = after[:count] - before[:count]
        off = middle - before[:count]
        length = np.hypot(chord[:, 0], chord[:, 1])
        apart = np.abs(chord[:, 0] * off[:, 1] - chord[:, 1] * off[:, 0])
        # A point beyond its neighbours (a tip drawn there and back) is no part of their chord.
        along = (chord * off).sum(axis=1)
        hidden = (apart <= HIDDEN_MM * length) & (along >= 0) & (along <= length**2) & (length > 0)
        keep = np.ones(len(points), dtype=bool)
        keep[1:-1:2] = ~hidden
        points = points[keep]
    return points


def _dot(painter: QPainter, at: QPointF, *, below: bool) -> None:
    ink = style.BELOW_INK if below else style.colour(DARK.ink)
    painter.setPen(QPen(style.colour(DARK.casing), 1.5))
    painter.setBrush(QBrush(ink))
    painter.drawEllipse(at, 3.5, 3.5)
    painter.setBrush(Qt.BrushStyle.NoBrush)


def _label(painter: QPainter, at: QPointF, label: Label) -> None:
    witness = label.style == "witness"
    f = style.font(style.NUMERAL_PX if witness else style.NAME_PX, bold=witness, italic=not witness)
    plate_text(painter, at, label.text, f, below=label.below)


def plate_text(painter: QPainter, at: QPointF, text: str, f: QFont, *, below: bool) -> None:
    """A word or numeral centred on a place, on a small dark plate."""
    painter.setFont(f)
    size = QFontMetricsF(f).boundingRect(text)
    plate = QRectF(0, 0, size.width() + 7, size.height() + 2)
    plate.moveCenter(at)
    ground = style.colour(DARK.casing)
    ground.setAlphaF(style.NUMERAL_ALPHA)
    painter.setPen(QPen(style.BELOW_INK, 1.2) if below else QPen(Qt.PenStyle.NoPen))
    painter.setBrush(QBrush(ground))
    painter.drawRoundedRect(plate, 3, 3)
    painter.setPen(style.colour(DARK.ink))
    painter.drawText(plate, Qt.AlignmentFlag.AlignCenter, text)
    painter.setBrush(Qt.BrushStyle.NoBrush)
