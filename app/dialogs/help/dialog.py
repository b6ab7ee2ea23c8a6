"""Help: a search and contents at the left, one topic at the right."""

from __future__ import annotations

from html import escape

from PySide6.QtWidgets import (
    QHBoxLayout,
    QLineEdit,
    QListWidget,
    QTextBrowser,
    QVBoxLayout,
    QWidget,
)

from app.case.session import Session
from app.dialogs.base import Dialog, open_dialog
from app.dialogs.help.topics import Topic, topics
from app.tools.base import Desk
from app.widgets import style
from core.words.catalogue import message, say

LIST_WIDTH = 210


class HelpDialog(Dialog):
    """All topics."""

    heading = message("dialogs.help.dialog.help")
    accept_words = message("dialogs.help.dialog.close")
    least_width = 860

    def __init__(
        self, session: Session, desk: Desk, parent: QWidget | None = None, *, topic: str = ""
    ) -> None:
        super().__init__(session, desk, parent)
        self.cancel.hide()
        self.topics = topics()
        self.list = QListWidget()
        self.list.setAccessibleName(say("dialogs.help.dialog.contents"))
        self.list.setFixedWidth(LIST_WIDTH)
        self.list.addItems([page.title for page in self.topics.values()])
        self.page = QTextBrowser()
        self.page.setMinimumHeight(440)
        self.list.currentRowChanged.connect(self._show)
        self.search = QLineEdit()
        self.search.setFixedWidth(LIST_WIDTH)
        self.search.setPlaceholderText(say("dialogs.help.dialog.search-the-help"))
        self.search.setAccessibleName(say("dialogs.help.dialog.search-the-help"))
        self.search.setClearButtonEnabled(True)
        self.search.textChanged.connect(self._find)
        left = QVBoxLayout()
        left.addWidget(self.search)
        left.addWidget(self.list, 1)
        row = QHBoxLayout()
        row.addLayout(left)
        row.addWidget(self.page, 1)
        self.body.addLayout(row, 1)
        keys = list(self.topics)
        self.list.setCurrentRow(keys.index(topic) if topic in keys else 0)
        self.list.setFocus()

    def _show(self, row: int) -> None:
        topic = list(self.topics.values())[row]
        self.page.setHtml(_html(topic, self.search.text()))

    def _find(self, words: str) -> None:
        """Show the topics that hold every word of the search; the first one is opened."""
        found = [found_in(topic, words) for topic in self.topics.values()]
        for row, there in enumerate(found):
            self.list.item(row).setHidden(not there)
        at = self.list.currentRow()
        if not any(found):
            self.page.setPlainText(
                say("dialogs.help.dialog.nothing-was-found-for-try", words=words.strip())
            )
        elif found[at]:
            self._show(at)
        else:
            self.list.setCurrentRow(found.index(True))


def found_in(topic: Topic, words: str) -> bool:
    """True where a topic holds every word, in its title or its text; capitals count alike."""
    text = " ".join((topic.title, *topic.paragraphs)).casefold()
    return all(word in text for word in words.casefold().split())


def _html(topic: Topic, searched: str) -> str:
    """The topic as a page; of a search, the paragraphs that hold its words come first."""
    words = searched.casefold().split()
    ordered = sorted(topic.paragraphs, key=lambda p: not all(w in p.casefold() for w in words))
    paragraphs = "".join(f"<p style='margin-bottom:8px'>{escape(p)}</p>" for p in ordered)
    body = f"color:{style.TEXT.name()}; font-size:13px"
    return f"<div style='{body}'><h3>{escape(topic.title)}</h3>{paragraphs}</div>"


def show_help(session: Session, desk: Desk, parent: QWidget | None, *, topic: str = "") -> Dialog:
    """Open help at a topic."""
    return open_dialog(HelpDialog(session, desk, parent, topic=topic))
