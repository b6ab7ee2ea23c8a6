"""What a panel is: a frame that shows part of the case and reads it anew when a signal comes."""

from __future__ import annotations

from PySide6.QtCore import QSize, Qt, Signal
from PySide6.QtGui import QPainter, QPaintEvent
from PySide6.QtWidgets import QFrame, QHBoxLayout, QLabel, QVBoxLayout, QWidget

from app.case.session import Session
from app.tools.base import Desk
from core.words.catalogue import Words

LEAST_ASIDE_PX = 48


class Aside(QLabel):
    """Quiet words that give way first where a title's line is short: cut, whole in the tool tip."""

    def __init__(self) -> None:
        super().__init__("")
        self.setObjectName("quiet")
        self.setAlignment(Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter)

    def minimumSizeHint(self) -> QSize:
        """No width of its own."""
        return QSize(0, super().minimumSizeHint().height())

    def paintEvent(self, event: QPaintEvent) -> None:
        """The words as far as they fit; fewer than a few letters say nothing."""
        text = self.text()
        if self.width() < LEAST_ASIDE_PX < self.fontMetrics().horizontalAdvance(text):
            return
        painter = QPainter(self)
        painter.setPen(self.palette().windowText().color())
        cut = self.fontMetrics().elidedText(text, Qt.TextElideMode.ElideRight, self.width())
        painter.drawText(self.rect(), self.alignment(), cut)
        painter.end()


class Panel(QFrame):
    """A titled part of the bench.

    A subclass sets `title`, adds its widgets to `self.body`, connects to the session's signals
    and re-reads the session when they come: signals carry no state. A panel that is folded
    away is hidden: use `isVisible` to put off costly work, and `showEvent` to catch up.

    Parameters
    ----------
    session : Session
    desk : Desk
        For questions, messages, and to take up a tool.
    """

    title: Words = ""
    marked = Signal(int)
    """So many things in it want to be seen: said at the button that unfolds it."""

    def __init__(self, session: Session, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setObjectName("panel")
        self.session = session
        self.desk = desk
        self.marks = 0
        """What `marked` told last."""
        self.heading = QLabel(str(self.title))
        self.heading.setObjectName("heading")
        self.aside = Aside()
        """Quiet words at the right end of the title's line."""
        self.head = row = QHBoxLayout()
        """The title's line."""
        row.setSpacing(8)
        row.addWidget(self.heading)
        row.addWidget(self.aside, 1)
        self.body = QVBoxLayout()
        self.body.setSpacing(4)
        outer = QVBoxLayout(self)
        outer.setContentsMargins(10, 7, 10, 8)
        outer.setSpacing(4)
        if self.title:
            outer.addLayout(row)
        outer.addLayout(self.body, 1)
