"""Windows that show text of a file's header as it is, never as rich text."""

from __future__ import annotations

import html

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QLabel, QMessageBox


def plain_box(box: QMessageBox) -> None:
    """Show every text of a box as it is; the smaller text has no setting of its own."""
    for label in box.findChildren(QLabel):
        label.setTextFormat(Qt.TextFormat.PlainText)


def plain_tip(text: str) -> str:
    """A tooltip that shows a text as it is: Qt would guess whether it is rich text."""
    return f"<span>{html.escape(text)}</span>" if "<" in text else text
