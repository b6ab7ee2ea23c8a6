"""The dial that turns the plane about the fixture's axis: drag it, or use ↑ and ↓."""

from __future__ import annotations

import math

from PySide6.QtCore import QEvent, QObject, QPointF, QRectF, Qt
from PySide6.QtGui import QKeyEvent, QMouseEvent, QPainter, QPaintEvent, QPen, QPixmap
from PySide6.QtWidgets import QWidget

from app.case.session import Session
from app.widgets import style
from core.fixture import Fixture
from core.pictures.ink import DARK
from core.words.catalogue import say

SNAP_DEG = 5.0
SIZE_PX = 92
EDGE_PX = 8


class Dial(QWidget):
    """The fixture seen along its axis from above: a line shows where the picture cuts.

    The top is mesial, as on the dial's letters; 0° shows buccal on the right of the picture.
    """

    def __init__(self, session: Session, picture: QWidget) -> None:
        super().__init__(picture)
        self._session = session
        self._picture = picture
        picture.installEventFilter(self)
        self.setFixedSize(SIZE_PX, SIZE_PX + 18)
        self._place()
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setAccessibleName(say("pictures.dial.turn-about-the-fixtures-axis"))
        self.setToolTip(say("pictures.dial.turn-the-picture-about-the"))
        self._told: tuple[object, ...] = ()
        self._drawn: tuple[tuple[object, ...], QPixmap] = ((), QPixmap())
        session.place_changed.connect(self.read)
        session.plan_changed.connect(self.read)
        session.plan_previewed.connect(self.read)
        self.read()

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        """Stay in the corner below, clear of the title and of the side's name halfway down."""
        if watched is self._picture and event.type() == QEvent.Type.Resize:
            self._place()
        return super().eventFilter(watched, event)

    def _place(self) -> None:
        self.move(EDGE_PX, self._picture.height() - self.height() - EDGE_PX)

    def read(self) -> None:
        """Show it only where there is a fixture to turn about."""
        session, fixture = self._session, self._session.fixture
        self.setVisible(fixture is not None and session.arch is not None)
        told = (session.turn_deg, session.guide.jaw, fixture is not None and bool(fixture.tooth))
        if told != self._told:
            self._told = told
            self.update()

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """Turn to the mouse."""
        self.setFocus(Qt.FocusReason.MouseFocusReason)
        self._turn_to(event)

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        """Follow the mouse."""
        if event.buttons() & Qt.MouseButton.LeftButton:
            self._turn_to(event)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Up and down turn; Esc goes back to sections across the arch."""
        fine = bool(event.modifiers() & Qt.KeyboardModifier.ShiftModifier)
        step = 1.0 if fine else SNAP_DEG
        match event.key():
            case Qt.Key.Key_Up:
                self._session.go_to(turn_deg=(self._session.turn_deg or 0.0) + step)
            case Qt.Key.Key_Down:
                self._session.go_to(turn_deg=(self._session.turn_deg or 0.0) - step)
            case Qt.Key.Key_Escape:
                self._session.go_to(across=True)
            case _:
                event.ignore()

    def _turn_to(self, event: QMouseEvent) -> None:
        event.accept()
        session = self._session
        fixture, arch = session.fixture, session.arch
        if fixture is None or arch is None:
            return
        off = event.position() - self._middle
        if math.hypot(off.x(), off.y()) < 4:
            return
        # Buccal is drawn to the right, mesial upwards; a plane has two ends, either may be taken.
        turn = math.degrees(math.atan2(-off.y(), off.x()))
        if not event.modifiers() & Qt.KeyboardModifier.ShiftModifier:
            turn = round(turn / SNAP_DEG) * SNAP_DEG
        session.go_to(station_mm=arch.station(fixture.platform), turn_deg=turn)

    @property
    def _middle(self) -> QPointF:
        return QPointF(SIZE_PX / 2, SIZE_PX / 2)

    def paintEvent(self, event: QPaintEvent) -> None:
        """Lay the dial over the picture, which is painted anew at every step."""
        session, fixture = self._session, self._session.fixture
        if fixture is None:
            return
        ratio = self.devicePixelRatioF()
        shown = (session.turn_deg, session.guide.jaw, bool(fixture.tooth), self.hasFocus(), ratio)
        if self._drawn[0] != shown:
            self._drawn = (shown, self._rendered(fixture, ratio))
        painter = QPainter(self)
        painter.drawPixmap(0, 0, self._drawn[1])
        painter.end()

    def _rendered(self, fixture: Fixture, ratio: float) -> QPixmap:
        """Ring, ticks, letters, and the line of the picture."""
        session = self._session
        rendered = QPixmap(self.size() * ratio)
        rendered.setDevicePixelRatio(ratio)
        rendered.fill(Qt.GlobalColor.transparent)
        painter = QPainter(rendered)
        painter.setLayoutDirection(Qt.LayoutDirection.LeftToRight)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        ground = style.colour(DARK.casing)
        ground.setAlphaF(style.NUMERAL_ALPHA)
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(ground)
        painter.drawEllipse(self._middle, SIZE_PX / 2 - 1, SIZE_PX / 2 - 1)
        painter.setBrush(Qt.BrushStyle.NoBrush)
        ring = SIZE_PX / 2 - 5.0
        painter.setPen(QPen(style.QUIET, 1.0))
        painter.drawEllipse(self._middle, ring, ring)
        for degrees in range(0, 360, 15):
            length = 7.0 if degrees % 45 == 0 else 4.0
            painter.drawLine(self._at(degrees, ring), self._at(degrees, ring - length))
        painter.setFont(style.font(10))
        painter.setPen(style.TEXT)
        # Two letters: L for lingual would read as the patient's left.
        inner = "Pa" if session.guide.jaw == "upper" else "Li"
        names = ("Bu", "Me", inner, "Di") if fixture.tooth else ("Bu", "←L", inner, "→R")
        for degrees, name in zip((0, 90, 180, 270), names, strict=True):
            at = self._at(degrees, ring - 15)
            painter.drawText(QRectF(at.x() - 12, at.y() - 8, 24, 16), 0x84, name)
        turn = session.turn_deg
        if turn is not None:
            painter.setPen(QPen(style.TEXT, 3.0))
            painter.drawLine(self._at(turn, ring - 22), self._at(turn + 180, ring - 22))
            painter.setBrush(style.TEXT)
            painter.drawEllipse(self._at(turn, ring), 3.5, 3.5)
        if self.hasFocus():
            painter.setPen(QPen(style.FOCUS, 1.5))
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.drawRect(QRectF(self.rect()).adjusted(1, 1, -1, -1))
        painter.setPen(style.TEXT)
        painter.setFont(style.font(11))
        words = (
            say("pictures.dial.across-the-arch")
            if turn is None
            else say("pictures.dial.turned", turn=round(turn, 1))
        )
        painter.drawText(QRectF(0, SIZE_PX, SIZE_PX, 18), 0x84, words)
        painter.end()
        return rendered

    def _at(self, degrees: float, radius: float) -> QPointF:
        a = math.radians(degrees)
        return self._middle + QPointF(radius * math.cos(a), -radius * math.sin(a))
