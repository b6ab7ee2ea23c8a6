"""A magnifier at the mouse: the voxels around it three times as large, framed by a scale of mm."""

from __future__ import annotations

from collections.abc import Iterable

from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QBrush, QImage, QPainter, QPen, QTransform

from app.pictures.annotations import paint_handles
from app.pictures.chart_painter import Ink
from app.pictures.draft import Handle
from app.widgets import style
from core.pictures.ink import DARK

TIMES = 3.0
SIDE_PX = 176.0
BESIDE_PX = 26.0
"""Between the place and the magnifier, so that the hand covers neither."""
LEAST_PX = 260
"""A smaller picture has no room for it."""

_BORDER_PX = 5.0
_GAP_PX, _ARM_PX = 7.0, 22.0
_NARROW_PX = 4.0


def box_beside(at: QPointF, area: QRectF) -> QRectF:
    """Where the magnifier of a place stands: beside it, to that side where there is room."""
    box = QRectF(0, 0, SIDE_PX, SIDE_PX)
    right = at.x() + BESIDE_PX + SIDE_PX <= area.right()
    above = at.y() - BESIDE_PX - SIDE_PX >= area.top()
    box.moveLeft(at.x() + BESIDE_PX if right else at.x() - BESIDE_PX - SIDE_PX)
    box.moveTop(at.y() - BESIDE_PX - SIDE_PX if above else at.y() + BESIDE_PX)
    return box


def paint_magnifier(  # noqa: PLR0917 - painter and place, then what is looked at
    painter: QPainter,
    at: QPointF,
    area: QRectF,
    image: QImage,
    pixels: QTransform,
    to_screen: QTransform,
    inks: Iterable[Ink] = (),
    handles: Iterable[Handle] = (),
) -> None:
    """Paint a magnifier.

    Parameters
    ----------
    painter : QPainter
    at : QPointF
        The place, in the view's pixels.
    area : QRectF
        The view.
    image : QImage
    pixels : QTransform
        From the image's pixels to the plane's mm.
    to_screen : QTransform
        From the plane's mm to the view's pixels.
    inks : iterable of Ink
        Their lines are shown, their words are not.
    handles : iterable of Handle
    """
    box = box_beside(at, area)
    middle = box.center()
    nearer = QTransform(
        to_screen.m11() * TIMES, 0, 0, to_screen.m22() * TIMES,
        middle.x() + TIMES * (to_screen.dx() - at.x()),
        middle.y() + TIMES * (to_screen.dy() - at.y()),
    )  # fmt: skip
    painter.save()
    painter.setClipRect(box)
    painter.fillRect(box, style.PICTURE)
    painter.save()
    painter.setRenderHint(QPainter.RenderHint.SmoothPixmapTransform)
    painter.setTransform(pixels * nearer, combine=True)
    painter.drawImage(QPointF(0, 0), image)
    painter.restore()
    for ink in inks:
        ink.paint(painter, nearer, words=False)
    paint_handles(painter, nearer, handles)
    _cross(painter, middle)
    painter.restore()
    _border(painter, box, nearer.m11())


def _cross(painter: QPainter, middle: QPointF) -> None:
    """Four arms that leave the place itself free."""
    for ink, width in ((style.colour(DARK.casing), 3.0), (style.colour(DARK.ink), 1.2)):
        painter.setPen(QPen(ink, width))
        for x, y in ((1, 0), (-1, 0), (0, 1), (0, -1)):
            painter.drawLine(middle + QPointF(x, y) * _GAP_PX, middle + QPointF(x, y) * _ARM_PX)


def _border(painter: QPainter, box: QRectF, px_per_mm: float) -> None:
    """A chart's border: dark and light by turns, a millimetre each, counted from the middle."""
    painter.save()
    painter.setRenderHint(QPainter.RenderHint.Antialiasing, on=False)
    outer = box.adjusted(-_BORDER_PX, -_BORDER_PX, _BORDER_PX, _BORDER_PX)
    light, dark = style.colour(DARK.ink), style.colour(DARK.casing)
    painter.setPen(Qt.PenStyle.NoPen)
    painter.setBrush(QBrush(dark))
    for side in (
        QRectF(outer.topLeft(), box.topRight() + QPointF(_BORDER_PX, 0)),
        QRectF(box.bottomLeft() - QPointF(_BORDER_PX, 0), outer.bottomRight()),
        QRectF(outer.topLeft(), box.bottomLeft()),
        QRectF(box.topRight(), outer.bottomRight()),
    ):
        painter.drawRect(side)
    painter.setBrush(QBrush(light))
    step = px_per_mm if px_per_mm >= _NARROW_PX else 5.0 * px_per_mm
    half = box.width() / 2
    count = int(half / step) + 1
    for n in range(-count, count):
        if n % 2:
            continue
        start, end = max(n * step, -half), min((n + 1) * step, half)
        if end <= start:
            continue
        x, y, long = box.center().x() + start, box.center().y() + start, end - start
        thick = _BORDER_PX - 2
        painter.drawRect(QRectF(x, outer.top() + 1, long, thick))
        painter.drawRect(QRectF(x, box.bottom() + 1, long, thick))
        painter.drawRect(QRectF(outer.left() + 1, y, thick, long))
        painter.drawRect(QRectF(box.right() + 1, y, thick, long))
    painter.restore()
    painter.setFont(style.font(11))
    painter.setPen(style.colour(DARK.ink))
    words = f"× {TIMES:g}"
    place = box.adjusted(6, 0, -6, -3)
    painter.drawText(place, Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignBottom, words)
