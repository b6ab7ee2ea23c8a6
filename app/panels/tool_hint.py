"""What a click or a key does now with the tool that is taken, where the eye is led anyway."""

from __future__ import annotations

import math

from PySide6.QtCore import Qt
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import QLabel

LONGEST = 140
"""Letters of the sentences of most tools, at most."""


class ToolHint(QLabel):
    """A tool's sentence, whole and as large as any text.

    As high at a width as the longest sentence needs, so that what lies below it stays where it is
    from tool to tool; one that is longer still is not cut.
    """

    def __init__(self) -> None:
        super().__init__("")
        self.setObjectName("hint")
        self.setWordWrap(True)
        self.setTextFormat(Qt.TextFormat.PlainText)
        self.setAlignment(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignTop)

    def tell(self, words: str) -> None:
        """Show a sentence; nothing takes no room."""
        self.setText(words)
        self.setVisible(bool(words))
        self._keep_room()

    def resizeEvent(self, event: QResizeEvent) -> None:
        """A narrower column breaks a sentence into more lines."""
        super().resizeEvent(event)
        if event.size().width() != event.oldSize().width():
            self._keep_room()

    def _keep_room(self) -> None:
        metrics = self.fontMetrics()
        lines = math.ceil(LONGEST * metrics.averageCharWidth() / max(self.width(), 1))
        if self.isVisible():
            self.setMinimumHeight(lines * metrics.lineSpacing() + 2)
