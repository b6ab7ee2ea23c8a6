"""Questions and errors: what happened, why it matters, what to do; details fold out."""

from __future__ import annotations

import traceback
from collections.abc import Callable, Sequence
from pathlib import Path

from PySide6.QtCore import Qt
from PySide6.QtWidgets import (
    QInputDialog,
    QLabel,
    QLayout,
    QLineEdit,
    QMessageBox,
    QVBoxLayout,
    QWidget,
)

from app.widgets.placing import place_beside
from app.widgets.plain_text import plain_box
from core.errors import SoundingError
from core.version import PROGRAM
from core.words.catalogue import message, say, sentences_of

_QUESTION_WIDTH = 420
FAULT = message("widgets.messages.the-program-made-a-mistake")


def error_text(error: Exception) -> tuple[str, str]:
    """What to say about an error, and its details (no names of patients, no values)."""
    if isinstance(error, MemoryError):
        error = SoundingError("memory-short")
    if isinstance(error, SoundingError):
        # The code finds the place in the program; the class of the error says nothing to anybody.
        return str(error), f"{PROGRAM}\n{error.code}"
    places = [
        f"{Path(frame.filename).name}:{frame.lineno} in {frame.name}"
        for frame in traceback.extract_tb(error.__traceback__)
    ]
    return str(FAULT), "\n".join([PROGRAM, type(error).__name__, *places])


def error_box(parent: QWidget, error: Exception) -> QMessageBox:
    """A window that tells an error; the caller opens it."""
    text, details = error_text(error)
    what, *rest = sentences_of(text)
    box = QMessageBox(parent)
    box.setWindowTitle(say("widgets.messages.sounding"))
    box.setTextFormat(Qt.TextFormat.PlainText)
    box.setText(f"{what[:1].upper()}{what[1:]}")
    box.setInformativeText("\n\n".join(f"{part[:1].upper()}{part[1:]}" for part in rest))
    box.setDetailedText(details)
    box.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
    box.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
    plain_box(box)
    return box


def choose(parent: QWidget, title: str, question: str, answers: Sequence[str]) -> str | None:
    """Ask with a button an answer; None when the person turned away."""
    box = QMessageBox(parent)
    box.setWindowTitle(title)
    box.setTextFormat(Qt.TextFormat.PlainText)
    box.setText(question)
    buttons = {
        box.addButton(answer, QMessageBox.ButtonRole.ActionRole): answer for answer in answers
    }
    away = box.addButton(say("widgets.messages.cancel"), QMessageBox.ButtonRole.RejectRole)
    box.setEscapeButton(away)
    # Enter must not answer by itself what only a person can say.
    box.setDefaultButton(away)
    plain_box(box)
    place_beside(box, parent)
    box.exec()
    clicked = box.clickedButton()
    box.deleteLater()
    return next((answer for button, answer in buttons.items() if button is clicked), None)


def ask_text(
    parent: QWidget,
    title: str,
    question: str,
    value: str,
    explain: Callable[[str], str] | None = None,
) -> str | None:
    """Ask for a line of text; None when the person turned away.

    `explain` says below the line what is typed means, at every letter.
    """
    dialog = QInputDialog(parent)
    dialog.setWindowTitle(title)
    dialog.setLabelText(question)
    dialog.setTextValue(value)
    dialog.sizeHint()  # only now it has a layout, and a line
    layout, line = dialog.layout(), dialog.findChild(QLineEdit)
    dialog.setMinimumWidth(_QUESTION_WIDTH)
    for asked in dialog.findChildren(QLabel):
        asked.setWordWrap(True)
    if layout is not None:
        # Its own constraint would make it as narrow as its line, whatever width is asked for.
        layout.setSizeConstraint(QLayout.SizeConstraint.SetDefaultConstraint)
    if explain is not None and line is not None and isinstance(layout, QVBoxLayout):
        said = QLabel(explain(value))
        said.setObjectName("explained")
        said.setTextFormat(Qt.TextFormat.PlainText)
        said.setWordWrap(True)
        said.setAlignment(Qt.AlignmentFlag.AlignTop)
        layout.insertWidget(layout.indexOf(line) + 1, said)
        # Room for three lines from the beginning: the buttons do not move while one types.
        said.ensurePolished()
        said.setMinimumHeight(3 * said.fontMetrics().lineSpacing())
        dialog.textValueChanged.connect(lambda text: said.setText(explain(text)))
    place_beside(dialog, parent)
    given = dialog.exec()
    text = dialog.textValue()
    dialog.deleteLater()
    return text.strip() if given else None
