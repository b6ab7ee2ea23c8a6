"""The bone left around the chosen fixture: depth down, direction across, buccal in the middle."""

from __future__ import annotations

import numpy as np
from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import (
    QBrush,
    QFontMetricsF,
    QImage,
    QPainter,
    QPainterPath,
    QPaintEvent,
    QPen,
    QPolygonF,
    QShowEvent,
)
from PySide6.QtWidgets import QLabel, QSizePolicy, QWidget

from app import look
from app.panels.base import Panel
from app.session import Session
from app.tasks import Latest, Task
from app.tools.base import Desk
from core.arch import fixture_frame
from core.bone.wall import wall_map
from core.measuring.basis import Basis
from core.pictures.wall_picture import WallLine, WallPicture, wall_picture
from core.plans.plan import Jaw

MOST_MM = 5.0
"""Bone of this and more has the lightest grey."""

_LEFT, _BOTTOM, _TOP, _RIGHT = 30, 20, 8, 8


class WallChart(QWidget):
    """Draws a `WallPicture`."""

    def __init__(self) -> None:
        super().__init__()
        self.picture: WallPicture | None = None
        self.inner = "lingual"
        self.setMinimumSize(240, 120)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self._grey: QImage | None = None

    def show_picture(self, picture: WallPicture | None, jaw: Jaw | None) -> None:
        """Draw another picture, or none."""
        self.picture = picture
        self.inner = "palatal" if jaw == "upper" else "lingual"
        self._grey = None if picture is None else _grey_image(picture)
        self.update()

    def paintEvent(self, event: QPaintEvent) -> None:
        """Greys, hatch where nothing was found, lines with numerals, names and depths."""
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.fillRect(self.rect(), look.PANEL)
        picture = self.picture
        if picture is None or self._grey is None:
            return
        box = QRectF(_LEFT, _TOP, self.width() - _LEFT - _RIGHT, self.height() - _TOP - _BOTTOM)
        painter.setRenderHint(QPainter.RenderHint.SmoothPixmapTransform)
        painter.drawImage(box, self._grey)
        self._hatch(painter, box, picture)
        painter.setClipRect(box)
        for line in picture.lines:
            self._line(painter, box, picture, line)
        taken: list[QRectF] = []
        for line in sorted(picture.lines, key=lambda item: -len(item.points)):
            self._numeral(painter, box, picture, line, taken)
        painter.setClipping(False)
        self._frame(painter, box, picture)

    def _at(self, box: QRectF, picture: WallPicture, turn: float, depth: float) -> QPointF:
        deepest = float(picture.depths_mm[-1])
        return QPointF(
            box.left() + (turn + 180.0) / 360.0 * box.width(),
            box.top() + depth / deepest * box.height(),
        )

    def _hatch(self, painter: QPainter, box: QRectF, picture: WallPicture) -> None:
        rows, cols = picture.unknown.shape
        wide, high = box.width() / max(cols - 1, 1), box.height() / max(rows - 1, 1)
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(QBrush(look.QUIET, Qt.BrushStyle.BDiagPattern))
        painter.setClipRect(box)
        for row, col in np.argwhere(picture.unknown):
            x, y = box.left() + (col - 0.5) * wide, box.top() + (row - 0.5) * high
            painter.drawRect(QRectF(x, y, wide, high))
        painter.setBrush(Qt.BrushStyle.NoBrush)

    def _line(self, painter: QPainter, box: QRectF, picture: WallPicture, line: WallLine) -> None:
        path = QPainterPath()
        path.addPolygon(QPolygonF([self._at(box, picture, t, d) for t, d in line.points]))
        ink = look.BELOW if line.is_limit else look.TEXT
        painter.setPen(QPen(look.GROUND, 4.5 if line.is_limit else 2.6))
        painter.drawPath(path)
        painter.setPen(QPen(ink, 2.6 if line.is_limit else 1.1))
        painter.drawPath(path)

    def _numeral(
        self,
        painter: QPainter,
        box: QRectF,
        picture: WallPicture,
        line: WallLine,
        taken: list[QRectF],
    ) -> None:
        """The numeral in the line, where it covers no other."""
        font = look.font(11, bold=line.is_limit, italic=True)
        metrics = QFontMetricsF(font)
        size = metrics.size(0, line.label)
        count = len(line.points)
        if count < 8:
            return
        for share in (0.5, 0.35, 0.65, 0.2, 0.8):
            turn, depth = line.points[int(share * (count - 1))]
            plate = QRectF(0, 0, size.width() + 6, size.height())
            plate.moveCenter(self._at(box, picture, turn, depth))
            if not box.contains(plate) or any(plate.intersects(other) for other in taken):
                continue
            taken.append(plate)
            painter.setPen(Qt.PenStyle.NoPen)
            painter.setBrush(look.GROUND)
            painter.drawRoundedRect(plate, 3, 3)
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.setFont(font)
            painter.setPen(look.BELOW if line.is_limit else look.TEXT)
            painter.drawText(plate, Qt.AlignmentFlag.AlignCenter, line.label)
            return

    def _frame(self, painter: QPainter, box: QRectF, picture: WallPicture) -> None:
        painter.setPen(QPen(look.EDGE, 1))
        painter.drawRect(box)
        painter.setFont(look.font(11))
        metrics = QFontMetricsF(painter.font())
        names = ((-180, self.inner), (-90, "distal"), (0, "buccal"), (90, "mesial"))
        for turn, name in (*names, (180, self.inner)):
            x = self._at(box, picture, turn, 0.0).x()
            width = metrics.horizontalAdvance(name)
            x = min(max(x - width / 2, 0.0), self.width() - width)
            painter.setPen(look.QUIET)
            painter.drawText(QPointF(x, self.height() - 5), name)
            painter.setPen(QPen(look.EDGE, 1))
        deepest = float(picture.depths_mm[-1])
        for depth in np.arange(0.0, deepest + 1e-6, 2.0):
            y = self._at(box, picture, 0.0, float(depth)).y()
            painter.setPen(look.QUIET)
            text = f"{depth:g}"
            place = QRectF(0, y - 7, _LEFT - 7, 14)
            painter.drawText(
                place, Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter, text
            )
            painter.setPen(QPen(look.QUIET, 1))
            painter.drawLine(QPointF(_LEFT - 4, y), QPointF(_LEFT, y))


class RemainingBone(Panel):
    """The picture of the chosen fixture; measured only while it is shown."""

    title = "Remaining bone"

    def __init__(self, session: Session, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(session, desk, parent)
        self.chart = WallChart()
        self.said = QLabel()
        self.said.setObjectName("quiet")
        self.said.setWordWrap(True)
        self.body.addWidget(self.said)
        self.body.addWidget(self.chart, 1)
        self._latest = Latest(self._measured, self._failed, parent=self)
        self._basis: Basis | None = None
        self._asked: object = None
        for signal in (
            session.scan_changed,
            session.plan_changed,
            session.plan_previewed,
            session.place_changed,
        ):
            signal.connect(self.read)
        self._say("")

    def showEvent(self, event: QShowEvent) -> None:
        """Catch up with what was put off while it was folded away."""
        super().showEvent(event)
        self.read()

    def read(self) -> None:
        """Read the session anew; during a drag the picture waits for its end."""
        session = self.session
        if session.volume is None:
            self._basis = None
        if not self.isVisible():
            self._asked = None
            return
        fixture, volume, plan = session.fixture, session.volume, session.plan
        if fixture is None or volume is None or not session.confirmed:
            self._latest.drop()
            self._asked = None
            self._clear("Choose a fixture." if session.plan.fixtures else "No fixture yet.")
            return
        if self._asked == (id(plan), fixture.id):
            return
        self._asked = (id(plan), fixture.id)
        self._clear("…")
        if session.dragging:
            self._asked = None
            return
        known = self._basis

        def work(_task: Task) -> tuple[Basis, WallPicture | str]:
            basis = known if known is not None and known.fits(plan, volume) else None
            basis = Basis.of(plan, volume) if basis is None else basis
            frame = fixture_frame(fixture, basis.arch)
            wall = wall_map(volume, fixture, frame, basis.levels, basis.finder, plan.structures)
            if wall.trouble is not None:
                return basis, wall.trouble.message
            return basis, wall_picture(wall, plan, fixture)

        self._latest.ask(work)

    def _measured(self, result: tuple[Basis, WallPicture | str]) -> None:
        self._basis, picture = result
        if isinstance(picture, str):
            self._clear(picture)
            return
        self.chart.show_picture(picture, self.session.plan.jaw)
        unknown = int(picture.unknown.sum())
        self._say("Hatched: not found or not scanned." if unknown else "")
        self.aside.setText("mm, by depth and direction")

    def _failed(self, error: Exception) -> None:
        self._clear(str(error))

    def _clear(self, text: str) -> None:
        self.chart.show_picture(None, None)
        self.aside.setText("")
        self._say(text)

    def _say(self, text: str) -> None:
        self.said.setText(text)
        self.said.setVisible(bool(text))


def _grey_image(picture: WallPicture) -> QImage:
    bone = np.nan_to_num(picture.bone_mm, nan=0.0)
    shade = 34 + np.clip(bone / MOST_MM, 0.0, 1.0) * 120
    grey = np.ascontiguousarray(shade.astype(np.uint8))
    rows, cols = grey.shape
    return QImage(grey.data, cols, rows, cols, QImage.Format.Format_Grayscale8).copy()
