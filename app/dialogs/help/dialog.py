"""Help: contents at the left, one topic at the right; opened at the number it explains."""

from __future__ import annotations

from html import escape

from PySide6.QtWidgets import QHBoxLayout, QListWidget, QTextBrowser, QWidget

from app.case.session import Session
from app.dialogs.base import Dialog, open_dialog
from app.dialogs.help.topics import Topic, topics
from app.tools.base import Desk
from app.widgets import style


class HelpDialog(Dialog):
    """All topics."""

    heading = "Help"
    accept_words = "Close"
    least_width = 860

    def __init__(
        self, session: Session, desk: Desk, parent: QWidget | None = None, *, topic: str = ""
    ) -> None:
        super().__init__(session, desk, parent)
        self.cancel.hide()
        self.topics = topics()
        self.list = QListWidget()
        self.list.setAccessibleName("Contents")
        self.list.setFixedWidth(210)
        self.list.addItems([page.title for page in self.topics.values()])
        self.page = QTextBrowser()
        self.page.setMinimumHeight(440)
        self.list.currentRowChanged.connect(self._show)
        row = QHBoxLayout()
        row.addWidget(self.list)
        row.addWidget(self.page, 1)
        self.body.addLayout(row, 1)
        keys = list(self.topics)
        self.list.setCurrentRow(keys.index(topic) if topic in keys else 0)
        self.list.setFocus()

    def _show(self, row: int) -> None:
        topic = list(self.topics.values())[row]
        self.page.setHtml(_html(topic))


def _html(topic: Topic) -> str:
    paragraphs = "".join(
        f"<p style='margin-bottom:8px'>{escape(words)}</p>" for words in topic.paragraphs
    )
    body = f"color:{style.TEXT.name()}; font-size:13px"
    return f"<div style='{body}'><h3>{escape(topic.title)}</h3>{paragraphs}</div>"


def show_help(session: Session, desk: Desk, parent: QWidget | None, *, topic: str = "") -> Dialog:
    """Open help at a topic."""
    return open_dialog(HelpDialog(session, desk, parent, topic=topic))
