"""Where a question stands: beside the picture that it is about, never over it."""

from __future__ import annotations

from PySide6.QtCore import QPoint
from PySide6.QtWidgets import QDialog, QWidget

NARROW = 0.4
"""Up to this share of its window a question leaves the large picture's middle free."""
EDGE_PX = 18


def place_beside(dialog: QDialog, parent: QWidget) -> None:
    """Move a question to the right end of its window, where numbers stand and no picture.

    A wide one is left where it comes up: it would cover the picture's middle all the same.
    """
    window = parent.window()
    size = dialog.sizeHint().expandedTo(dialog.minimumSize())
    if size.width() > NARROW * window.width():
        return
    right = window.width() - size.width() - EDGE_PX
    top = (window.height() - size.height()) // 2
    dialog.move(window.mapToGlobal(QPoint(right, max(top, 0))))
