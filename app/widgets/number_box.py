"""A box for a number in mm or degrees: typed, or stepped with ↑ and ↓; no tiny buttons."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtGui import QWheelEvent
from PySide6.QtWidgets import QDoubleSpinBox

# `NoButtons` leaves a styled box without room for its text, so the buttons are made nothing.
_STYLE = """
QDoubleSpinBox::up-button, QDoubleSpinBox::down-button { width: 0px; border: none; }
"""


class NumberBox(QDoubleSpinBox):
    """One decimal; the wheel scrolls what lies around it and never changes a number by chance."""

    def __init__(self, low: float, high: float, *, step: float = 0.1, unit: str = " mm") -> None:
        super().__init__()
        self.setRange(low, high)
        self.setDecimals(1)
        self.setSingleStep(step)
        self.setSuffix(unit)
        self.setKeyboardTracking(False)
        self.setAlignment(Qt.AlignmentFlag.AlignRight)
        self.setMinimumWidth(72)
        self.setStyleSheet(_STYLE)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)

    def show_value(self, value: float) -> None:
        """Show a number; where it stands there already nothing is painted again."""
        if self.lineEdit().isModified() or round(value, self.decimals()) != self.value():
            self.setValue(value)

    def wheelEvent(self, event: QWheelEvent) -> None:
        """Left to the surroundings."""
        event.ignore()
