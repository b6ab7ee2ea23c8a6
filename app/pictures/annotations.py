"""What stands at the edges of every picture at any zoom: directions, title, bar of mm; handles."""

from __future__ import annotations

import math
from collections.abc import Iterable
from functools import lru_cache
from typing import Protocol

from PySide6.QtCore import QPointF, QRect, QRectF, QSize, Qt
from PySide6.QtGui import QBrush, QFont, QFontMetricsF, QPainter, QPen, QPixmap, QTransform

from app.pictures.draft import Handle
from app.widgets import style
from core.drawing import Sides
from core.pictures.ink import DARK

MARGIN_PX = 6.0
SMALL_PX = 220
"""A picture narrower than this carries short words and a short bar."""
TITLED_PX = 300


def bar_mm(px_per_mm: float, most_px: float) -> float:
    """Length of the bar: the longest of 1, 2, 5, 10, 20, 50 mm that fits."""
    fitting = [n for n in (1.0, 2.0, 5.0, 10.0, 20.0, 50.0) if n * px_per_mm <= most_px]
    return fitting[-1] if fitting else 1.0


class Framed(Protocol):
    """A picture that is framed by its title, its letters and its bar."""

    title: str
    subtitle: str
    warning: str
    kind: str

    @property
    def sides(self) -> Sides | None:
        """The letters at its edges."""
        ...

    def rect(self) -> QRect:
        """Its place in the window, px."""
        ...

    def width(self) -> int:
        """Of that place, px."""
        ...

    def picture_rect(self) -> QRectF:
        """Where the picture itself lies, px."""
        ...

    def mm_per_pixel(self) -> float:
        """Its scale."""
        ...


def paint_annotations(painter: QPainter, view: Framed) -> None:
    """Directions at the four edges, title above on the left, bar below on the right."""
    whole = QRectF(view.rect()).adjusted(MARGIN_PX, MARGIN_PX - 1, -MARGIN_PX, 1 - MARGIN_PX)
    # Words stand at the edges of the picture as far as they are in sight, else of the view.
    area = view.picture_rect().intersected(whole)
    if area.width() < 60 or area.height() < 40:
        area = whole
    small = area.width() < SMALL_PX
    f = style.font(11 if small else 13)
    align = Qt.AlignmentFlag
    middle, left, right = align.AlignVCenter, align.AlignLeft, align.AlignRight
    if view.title and view.width() > TITLED_PX:
        # On a narrow picture the title must not reach the letter in the middle of its top.
        wide = view.width() > 2 * SMALL_PX
        room = whole if wide else whole.adjusted(0, 0, -whole.width() / 2 - 14, 0)
        heading = style.font(14 if wide else 12, bold=True)
        _words(painter, room, view.title, heading, left | align.AlignTop)
        _words(
            painter,
            whole.adjusted(0, 20, 0, 0),
            view.subtitle,
            style.font(12),
            left | align.AlignTop,
        )
    sides = view.sides
    if sides is not None:
        short = _short if small else str
        _words(painter, area, short(sides.left), f, left | middle)
        _words(painter, area, short(sides.right), f, right | middle)
        if not small:
            _words(painter, area, sides.top, f, align.AlignHCenter | align.AlignTop)
            _words(painter, area, sides.bottom, f, align.AlignHCenter | align.AlignBottom)
    if view.warning:
        words = view.warning if view.width() > TITLED_PX else "L / R?"
        foot = whole.adjusted(0, 0, 0, -22)
        _words(painter, foot, words, style.font(13, bold=True), left | align.AlignBottom)
    # Along the foot of a panorama stand its stations: there the bar goes to the top.
    bar_area = area.adjusted(0, 0, 0, 24 - area.height()) if view.kind == "panorama" else area
    _bar(painter, bar_area, 1 / view.mm_per_pixel(), small=small)


def _short(words: str) -> str:
    """``Lingual · R`` → ``Li``: one letter would read as the patient's left; bare letters stay."""
    name, _, letters = words.partition(" · ")
    return name[:2] if letters else name


def _words(painter: QPainter, area: QRectF, text: str, f: QFont, where: Qt.AlignmentFlag) -> None:
    """Words on a plate, so that they read on any grey."""
    if not text:
        return
    ratio = painter.device().devicePixelRatioF()
    plate = _plate(text, f.pixelSize(), f.bold(), area.width(), ratio)
    size = plate.deviceIndependentSize()
    box = QRectF(QPointF(0, 0), size)
    if where & Qt.AlignmentFlag.AlignRight:
        box.moveRight(area.right())
    elif where & Qt.AlignmentFlag.AlignHCenter:
        box.moveLeft(area.center().x() - box.width() / 2)
    else:
        box.moveLeft(area.left())
    if where & Qt.AlignmentFlag.AlignVCenter:
        box.moveTop(area.center().y() - box.height() / 2)
    elif where & Qt.AlignmentFlag.AlignBottom:
        box.moveBottom(area.bottom())
    else:
        box.moveTop(area.top())
    # On whole dots of the screen, else every letter would be smeared over two.
    at = QPointF(round(box.x() * ratio) / ratio, round(box.y() * ratio) / ratio)
    painter.drawPixmap(at, plate)


@lru_cache(maxsize=256)
def _plate(text: str, px: int, bold: bool, room_px: float, ratio: float) -> QPixmap:
    """Words on their plate, as far as there is room: the same few are painted at every step."""
    f = style.font(px, bold=bold)
    text, width, height = _fitted(text, px, bold, room_px)
    size = QSize(math.ceil((width + 8) * ratio), math.ceil((height + 1) * ratio))
    plate = QPixmap(size)
    plate.setDevicePixelRatio(ratio)
    plate.fill(Qt.GlobalColor.transparent)
    painter = QPainter(plate)
    painter.setLayoutDirection(Qt.LayoutDirection.LeftToRight)
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    ground = style.colour(DARK.casing)
    ground.setAlphaF(style.PLATE_ALPHA)
    painter.setPen(Qt.PenStyle.NoPen)
    painter.setBrush(QBrush(ground))
    box = QRectF(QPointF(0, 0), plate.deviceIndependentSize())
    painter.drawRoundedRect(box, 3, 3)
    painter.setFont(f)
    painter.setPen(style.TEXT)
    painter.drawText(box, Qt.AlignmentFlag.AlignCenter, text)
    painter.end()
    return plate


def _fitted(text: str, px: int, bold: bool, room_px: float) -> tuple[str, float, float]:
    """Words cut to their room, and how large they are."""
    metrics = QFontMetricsF(style.font(px, bold=bold))
    text = metrics.elidedText(text, Qt.TextElideMode.ElideRight, room_px)
    return text, metrics.horizontalAdvance(text), metrics.height()


def _bar(painter: QPainter, area: QRectF, px_per_mm: float, *, small: bool) -> None:
    length_mm = bar_mm(px_per_mm, 28.0 if small else 110.0)
    length = length_mm * px_per_mm
    y, right = area.bottom() - 3, area.right() - 2
    for width, ink in ((4.0, style.colour(DARK.casing)), (1.6, style.colour(DARK.ink))):
        painter.setPen(QPen(ink, width))
        painter.drawLine(QPointF(right - length, y), QPointF(right, y))
        for at in (right - length, right):
            painter.drawLine(QPointF(at, y - 4), QPointF(at, y + 1))
    text = f"{length_mm:g} mm"
    box = area.adjusted(0, 0, 0, -7)
    at = Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignBottom
    _words(painter, box, text, style.font(10 if small else 11), at)


def paint_handles(painter: QPainter, to_screen: QTransform, handles: Iterable[Handle]) -> None:
    """Marks that can be taken: rings in screen size; the chosen one filled."""
    for handle in handles:
        at = to_screen.map(QPointF(*handle.at))
        dots = Qt.PenStyle.DotLine if handle.quiet else Qt.PenStyle.SolidLine
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.setPen(QPen(style.colour(DARK.casing), 4.0))
        painter.drawEllipse(at, 5.0, 5.0)
        painter.setPen(QPen(style.colour(DARK.ink), 1.6, dots))
        if handle.chosen:
            painter.setBrush(QBrush(style.colour(DARK.ink)))
        painter.drawEllipse(at, 5.0, 5.0)
    painter.setBrush(Qt.BrushStyle.NoBrush)
