"""What a panel is: a frame that shows part of the case and reads it anew when a signal comes."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QFrame, QHBoxLayout, QLabel, QVBoxLayout, QWidget

from app.session import Session
from app.tools.base import Desk


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

    title = ""

    def __init__(self, session: Session, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setObjectName("panel")
        self.session = session
        self.desk = desk
        self.heading = QLabel(self.title)
        self.heading.setObjectName("heading")
        self.aside = QLabel("")
        """Quiet words at the right end of the title's line."""
        self.aside.setObjectName("quiet")
        self.aside.setAlignment(Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter)
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
