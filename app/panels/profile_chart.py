"""Draws the ridge profile: a line a depth, the needed width, and the place that is looked at."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray
from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QMouseEvent, QPainter, QPaintEvent, QPen, QPolygonF
from PySide6.QtWidgets import QSizePolicy, QWidget

from app.case.session import Session
from app.widgets import style
from core.geometry import Array
from core.measuring.ridge_profile import ProfileRow
from core.structures import Structure
from core.words.catalogue import say

Place: TypeAlias = Callable[[float, float], QPointF]

_DASHES: tuple[tuple[int, tuple[int, ...]], ...] = ((1, ()), (2, (6, 3)), (2, (2, 3)))
_NAME_PX = 14.0
_LEFT, _BOTTOM, _TOP, _RIGHT = 30, 22, 10, 74


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Profile:
    """Widths to draw: stations (n,), depths, widths (n, depths) with NaN where there is none.

    `rows` are the core's own, with the heights to what was marked then (`structures`).
    """

    stations_mm: Array
    depths_mm: tuple[float, ...]
    widths_mm: Array
    rows: tuple[ProfileRow, ...]
    structures: tuple[Structure, ...]


class ProfileChart(QWidget):
    """Draws a profile; a click goes to its station."""

    def __init__(self, session: Session) -> None:
        super().__init__()
        self.session = session
        self.profile: Profile | None = None
        self.needed_mm: float | None = None
        self.needed_words = ""
        self.setMinimumSize(260, 80)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """Look at the station under the mouse."""
        if self.profile is None:
            return
        box, (first, last), _ = self._frame()
        share = (event.position().x() - box.left()) / max(box.width(), 1.0)
        if 0.0 <= share <= 1.0:
            self.session.go_to(station_mm=first + share * (last - first), across=True)

    def _frame(self) -> tuple[QRectF, tuple[float, float], tuple[float, float]]:
        box = QRectF(_LEFT, _TOP, self.width() - _LEFT - _RIGHT, self.height() - _TOP - _BOTTOM)
        profile = self.profile
        if profile is None or not np.isfinite(profile.widths_mm).any():
            return box, (0.0, 1.0), (0.0, 1.0)
        top = float(np.nanmax(profile.widths_mm))
        top = max(top, self.needed_mm or 0.0)
        span = (float(profile.stations_mm[0]), float(profile.stations_mm[-1]))
        return box, span, (0.0, float(np.ceil((top + 0.5) / 2) * 2))

    def paintEvent(self, event: QPaintEvent) -> None:
        """Axes with numerals, a line a depth, the needed width, the place looked at."""
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.fillRect(self.rect(), style.PANEL)
        profile = self.profile
        if profile is None:
            return
        box, (first, last), (_, top) = self._frame()

        def at(station: float, width: float) -> QPointF:
            x = box.left() + (station - first) / max(last - first, 1e-6) * box.width()
            return QPointF(x, box.bottom() - width / top * box.height())

        painter.setFont(style.font(11))
        for width in np.arange(0.0, top + 0.1, 2.0 if top <= 12 else 4.0):
            y = at(first, float(width)).y()
            painter.setPen(QPen(style.EDGE, 1))
            painter.drawLine(QPointF(box.left(), y), QPointF(box.right(), y))
            painter.setPen(style.QUIET)
            side = Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter
            painter.drawText(QRectF(0, y - 7, _LEFT - 5, 14), side, f"{width:g}")
        for station in np.arange(np.ceil(first / 10) * 10, last + 0.1, 10.0):
            x = at(float(station), 0.0).x()
            place = QRectF(x - 20, box.bottom() + 3, 40, 16)
            painter.drawText(place, Qt.AlignmentFlag.AlignHCenter, f"{station:g}")
        self._lines(painter, box, profile, at)
        if self.needed_mm is not None:
            y = at(first, self.needed_mm).y()
            painter.setPen(QPen(style.TEXT, 1.2, Qt.PenStyle.DashLine))
            painter.drawLine(QPointF(box.left(), y), QPointF(box.right(), y))
            painter.drawText(QPointF(box.left() + 4, y - 4), self.needed_words)
        x = at(self.session.station_mm, 0.0).x()
        if box.left() <= x <= box.right():
            painter.setPen(QPen(style.TEXT, 1.6))
            painter.drawLine(QPointF(x, box.top()), QPointF(x, box.bottom()))

    def _lines(self, painter: QPainter, box: QRectF, profile: Profile, place: Place) -> None:
        ends: list[tuple[float, str]] = []
        for number, depth in enumerate(profile.depths_mm):
            width, dashes = _DASHES[number % len(_DASHES)]
            pen = QPen(style.TEXT if number else style.QUIET, width)
            if dashes:
                pen.setDashPattern([float(d) for d in dashes])
            painter.setPen(pen)
            known = np.isfinite(profile.widths_mm[:, number])
            for run in _runs(known):
                points = [place(profile.stations_mm[n], profile.widths_mm[n, number]) for n in run]
                painter.drawPolyline(QPolygonF(points))
            if known.any():
                last = int(np.flatnonzero(known)[-1])
                y = place(profile.stations_mm[last], profile.widths_mm[last, number]).y()
                ends.append((y, say("panels.profile_chart.mm-deep", depth=depth)))
        painter.setPen(style.TEXT)
        lowest = -_NAME_PX
        for y, words in sorted(ends):
            # Pushed apart in the order of the lines, so that no name stands at another's line.
            lowest = max(y, lowest + _NAME_PX)
            painter.drawText(QPointF(box.right() + 5, lowest + 4), words)


def _runs(known: NDArray[np.bool_]) -> list[range]:
    """Stretches of stations that are all known: a gap is not drawn over."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], known, [False]]).astype(np.int8)))
    return [range(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]
