"""What every dialog shares: title, words, an answer that cannot be given half, initials."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtWidgets import (
    QDialog,
    QDialogButtonBox,
    QHBoxLayout,
    QLabel,
    QLineEdit,
    QPushButton,
    QVBoxLayout,
    QWidget,
)

from app.case.session import Session
from app.case.settings import settings_of
from app.tools.base import Desk
from app.widgets import style
from app.widgets.number_box import NumberBox
from core.errors import SoundingError
from core.words.catalogue import Words, message, say

MOST_WIDTH, MOST_HEIGHT = 1180, 690
"""Every dialog fits a screen of 1366 × 768 with its title bar."""


class Dialog(QDialog):
    """A window that asks; `accept` is only reached with a whole answer.

    A subclass fills `self.body`, calls `check` when something changes, and answers
    `is_complete` and `give`.
    """

    heading: Words = ""
    accept_words: Words = message("dialogs.base.ok")
    least_width = 560

    def __init__(self, session: Session, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.session = session
        self.desk = desk
        self.settings = settings_of(session)
        self.setWindowTitle(str(self.heading))
        self.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        self.setStyleSheet(style.STYLE_SHEET)
        self.setMinimumWidth(min(self.least_width, MOST_WIDTH))
        self.setMaximumSize(MOST_WIDTH, MOST_HEIGHT)
        outer = QVBoxLayout(self)
        outer.setContentsMargins(18, 14, 18, 14)
        outer.setSpacing(10)
        title = QLabel(str(self.heading))
        title.setFont(style.font(16, bold=True))
        outer.addWidget(title)
        if session.side.warning:
            warning = QLabel(session.side.warning.upper())
            warning.setObjectName("warning")
            warning.setFont(style.font(13, bold=True))
            outer.addWidget(warning)
        self.body = QVBoxLayout()
        self.body.setSpacing(8)
        outer.addLayout(self.body, 1)
        self.trouble = QLabel("")
        self.trouble.setWordWrap(True)
        self.trouble.setVisible(False)
        outer.addWidget(self.trouble)
        box = QDialogButtonBox()
        self.ok = QPushButton(str(self.accept_words))
        self.cancel = QPushButton(say("dialogs.base.cancel"))
        # Return in a field accepts, or does nothing yet: it never throws the answers away.
        self.cancel.setAutoDefault(False)
        box.addButton(self.cancel, QDialogButtonBox.ButtonRole.RejectRole)
        box.addButton(self.ok, QDialogButtonBox.ButtonRole.AcceptRole)
        self.ok.setDefault(True)
        box.accepted.connect(self._accepted)
        box.rejected.connect(self.reject)
        outer.addWidget(box)

    def is_complete(self) -> bool:
        """True when everything that is asked has an answer."""
        return True

    def give(self) -> None:
        """Put the answer where it belongs.

        Raises
        ------
        SoundingError
            Its sentence is shown in the dialog, which stays open.
        """

    def check(self) -> None:
        """Let the button follow the answer."""
        self.ok.setEnabled(self.is_complete())

    def tell(self, text: str) -> None:
        """Say what is wrong, in the dialog itself."""
        self.trouble.setText(text)
        self.trouble.setVisible(bool(text))

    def _accepted(self) -> None:
        # Pressing the button left the box with what was typed: its old number is not the answer.
        if not all(box.taken_over() for box in self.findChildren(NumberBox) if box.isVisible()):
            return
        if not self.is_complete():
            return
        try:
            self.give()
        except SoundingError as error:
            self.tell(str(error))
            return
        self.accept()

    # -- parts ------------------------------------------------------------------------------

    def words(self, text: str, *, quiet: bool = False) -> QLabel:
        """A paragraph."""
        label = QLabel(text)
        label.setTextFormat(Qt.TextFormat.PlainText)
        label.setWordWrap(True)
        if quiet:
            label.setObjectName("quiet")
        self.body.addWidget(label)
        return label

    def line(self, label: str, value: str = "", *, hint: str = "") -> QLineEdit:
        """A named line of text below what stands there already."""
        edit = QLineEdit(value)
        edit.setPlaceholderText(hint)
        edit.textChanged.connect(self.check)
        self.field(label, edit)
        return edit

    def field(self, label: str, field: QWidget) -> None:
        """A field with its name before it, below what stands there already."""
        row = QHBoxLayout()
        name = QLabel(label)
        name.setMinimumWidth(150)
        name.setBuddy(field)
        field.setAccessibleName(label)
        row.addWidget(name)
        row.addWidget(field, 1)
        self.body.addLayout(row)

    def initials(self) -> QLineEdit:
        """Line for the initials of who answers; a whole name does as well, and stays whole."""
        kept = self.settings.value
        known = self.session.operator or kept.initials or kept.name
        return self.line(say("dialogs.base.answered-by-initials"), known)

    def take_initials(self, edit: QLineEdit) -> str:
        """As it was typed, kept for the next answer of this session; a name for signing too."""
        words = edit.text().strip()
        if " " in words:
            self.settings.remember(name=words)
        self.session.operator = words
        return words


def open_dialog(dialog: Dialog) -> Dialog:
    """Show a dialog over its window; it lives until it is closed."""
    dialog.check()
    # An answer is one line, however long its language makes it.
    whole = dialog.layout()
    wide = 0 if whole is None else whole.totalMinimumSize().width()
    dialog.setMinimumWidth(min(max(dialog.minimumWidth(), wide), MOST_WIDTH))
    if whole is not None and whole.hasHeightForWidth():
        # Words that wrap are higher than their hint: what stands below them is never laid over.
        high = whole.totalHeightForWidth(max(dialog.minimumWidth(), dialog.sizeHint().width()))
        dialog.setMinimumHeight(min(max(dialog.minimumHeight(), high), MOST_HEIGHT))
    # The button box is laid before the body: without this Tab can pass over the second button.
    QWidget.setTabOrder(dialog.ok, dialog.cancel)
    dialog.open()
    return dialog
