"""Widths of the ridge along the arch, with the width that the chosen fixture needs."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray
from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QMouseEvent, QPainter, QPaintEvent, QPen, QPolygonF, QShowEvent
from PySide6.QtWidgets import QLabel, QSizePolicy, QWidget

from app import look
from app.panels.base import Panel
from app.session import Session
from app.tasks import Latest, Task
from app.tools.base import Desk
from core.bone.ridge_height import needed_width
from core.errors import SoundingError
from core.geometry import Array
from core.identity import Tooth
from core.measuring.basis import Basis
from core.measuring.ridge_profile import PROFILE_DEPTHS_MM, ridge_profile
from core.plans.limits import limit_for
from core.plans.plan import Plan
from core.trust.figures import plain

DEPTHS_MM = (1.0, 3.0, 7.0)
STEP_MM = 2.0

Place: TypeAlias = Callable[[float, float], QPointF]

_DASHES: tuple[tuple[int, tuple[int, ...]], ...] = ((1, ()), (2, (6, 3)), (2, (2, 3)))
_LEFT, _BOTTOM, _TOP, _RIGHT = 30, 22, 10, 74


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Profile:
    """Widths to draw: stations (n,), depths, widths (n, depths) with NaN where there is none."""

    stations_mm: Array
    depths_mm: tuple[float, ...]
    widths_mm: Array


def measured_profile(plan: Plan, basis: Basis, task: Task) -> Profile:
    """The core's profile station by station, so that it can be counted and stopped."""
    stations = np.arange(0.0, basis.arch.length_mm + 1e-9, STEP_MM)
    shown = [PROFILE_DEPTHS_MM.index(depth) for depth in DEPTHS_MM]
    widths = np.full((len(stations), len(shown)), np.nan)
    for number, station in enumerate(stations):
        if task.cancelled():
            raise SoundingError("measuring-cancelled")
        (row,) = ridge_profile(plan, basis, float(station), float(station))
        for column, depth in enumerate(shown):
            value = row.widths[depth].value
            widths[number, column] = np.nan if value is None else value
        task.progress(number + 1, len(stations))
    return Profile(stations_mm=stations, depths_mm=DEPTHS_MM, widths_mm=widths)


class ProfileChart(QWidget):
    """Draws a profile; a click goes to its station."""

    def __init__(self, session: Session) -> None:
        super().__init__()
        self.session = session
        self.profile: Profile | None = None
        self.needed_mm: float | None = None
        self.needed_words = ""
        self.setMinimumSize(260, 120)
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
        painter.fillRect(self.rect(), look.PANEL)
        profile = self.profile
        if profile is None:
            return
        box, (first, last), (_, top) = self._frame()

        def at(station: float, width: float) -> QPointF:
            x = box.left() + (station - first) / max(last - first, 1e-6) * box.width()
            return QPointF(x, box.bottom() - width / top * box.height())

        painter.setFont(look.font(11))
        for width in np.arange(0.0, top + 0.1, 2.0 if top <= 12 else 4.0):
            y = at(first, float(width)).y()
            painter.setPen(QPen(look.EDGE, 1))
            painter.drawLine(QPointF(box.left(), y), QPointF(box.right(), y))
            painter.setPen(look.QUIET)
            side = Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter
            painter.drawText(QRectF(0, y - 7, _LEFT - 5, 14), side, f"{width:g}")
        for station in np.arange(np.ceil(first / 10) * 10, last + 0.1, 10.0):
            x = at(float(station), 0.0).x()
            place = QRectF(x - 20, box.bottom() + 3, 40, 16)
            painter.drawText(place, Qt.AlignmentFlag.AlignHCenter, f"{station:g}")
        self._lines(painter, box, profile, at)
        if self.needed_mm is not None:
            y = at(first, self.needed_mm).y()
            painter.setPen(QPen(look.TEXT, 1.2, Qt.PenStyle.DashLine))
            painter.drawLine(QPointF(box.left(), y), QPointF(box.right(), y))
            painter.drawText(QPointF(box.left() + 4, y - 4), self.needed_words)
        x = at(self.session.station_mm, 0.0).x()
        if box.left() <= x <= box.right():
            painter.setPen(QPen(look.TEXT, 1.6))
            painter.drawLine(QPointF(x, box.top()), QPointF(x, box.bottom()))

    def _lines(self, painter: QPainter, box: QRectF, profile: Profile, place: Place) -> None:
        ends: list[float] = []
        for number, depth in enumerate(profile.depths_mm):
            width, dashes = _DASHES[number % len(_DASHES)]
            pen = QPen(look.TEXT if number else look.QUIET, width)
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
                while any(abs(y - other) < 14 for other in ends):
                    y += 14
                ends.append(y)
                painter.setPen(look.TEXT)
                painter.drawText(QPointF(box.right() + 5, y + 4), f"{depth:g} mm deep")


class RidgeProfile(Panel):
    """Widths at 1, 3 and 7 mm below the crest, every 2 mm along the arch."""

    title = "Ridge profile"

    def __init__(self, session: Session, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(session, desk, parent)
        self.chart = ProfileChart(session)
        self.said = QLabel()
        self.said.setObjectName("quiet")
        self.said.setWordWrap(True)
        self.body.addWidget(self.said)
        self.body.addWidget(self.chart, 1)
        self._latest = Latest(
            self._measured, self._failed, progressed=self._progressed, parent=self
        )
        self._basis: Basis | None = None
        self._asked: object = None
        session.scan_changed.connect(self.read)
        session.plan_changed.connect(self.read)
        session.place_changed.connect(self.chart.update)
        self.said.hide()

    def showEvent(self, event: QShowEvent) -> None:
        """Catch up with what was put off while it was folded away."""
        super().showEvent(event)
        self.read()

    def read(self) -> None:
        """Measure anew where jaw plane, arch or scan are others than before."""
        session = self.session
        volume, plan = session.volume, session.plan
        if volume is None or not session.confirmed:
            self._latest.drop()
            self._basis = None
            self._asked = None
            self._clear("Confirm jaw plane and arch first." if volume is not None else "")
            return
        self._read_needed()
        if not self.isVisible():
            return
        if self._basis is not None and self._basis.fits(plan, volume):
            self.chart.update()
            return
        key = (id(volume), id(plan.level), id(plan.arch_points), plan.jaw, plan.arch_starts)
        if key == self._asked:
            return
        self._asked = key
        self._clear("…")

        def work(task: Task) -> tuple[Basis, Profile]:
            basis = Basis.of(plan, volume)
            return basis, measured_profile(plan, basis, task)

        self._latest.ask(work)

    def _read_needed(self) -> None:
        """The width that the chosen fixture needs with its limits on both sides."""
        fixture, plan = self.session.fixture, self.session.plan
        if fixture is None:
            self.chart.needed_mm = None
            return
        tooth = Tooth.of(fixture.tooth) if fixture.tooth else None
        buccal = limit_for("wall-buccal", plan, tooth=tooth).value
        lingual = limit_for("wall-lingual", plan, tooth=tooth).value
        size = fixture.size.diameter_mm
        self.chart.needed_mm = needed_width(size, buccal, lingual)
        self.chart.needed_words = f"Ø {plain(size)} + {plain(buccal)} + {plain(lingual)}"

    def _progressed(self, done: int, total: int) -> None:
        self._say(f"{done} of {total} sections measured …")

    def _measured(self, result: tuple[Basis, Profile]) -> None:
        self._basis, self.chart.profile = result
        self.aside.setText("width by place along the arch, mm")
        gaps = bool(np.isnan(self.chart.profile.widths_mm).any())
        self._say("No line: teeth, metal or no clear edge there." if gaps else "")
        self.chart.update()

    def _failed(self, error: Exception) -> None:
        self._clear(str(error))

    def _clear(self, text: str) -> None:
        self.chart.profile = None
        self.aside.setText("")
        self.chart.update()
        self._say(text)

    def _say(self, text: str) -> None:
        self.said.setText(text)
        self.said.setVisible(bool(text))


def _runs(known: NDArray[np.bool_]) -> list[range]:
    """Stretches of stations that are all known: a gap is not drawn over."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], known, [False]]).astype(np.int8)))
    return [range(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]
