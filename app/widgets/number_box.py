"""A box for a number in mm or degrees: typed, or stepped with ↑ and ↓; no tiny buttons."""

from __future__ import annotations

from PySide6.QtCore import QLocale, Qt
from PySide6.QtGui import QValidator, QWheelEvent
from PySide6.QtWidgets import QDoubleSpinBox

from core.words.numbers import Figure

# `NoButtons` leaves a styled box without room for its text, so the buttons are made nothing.
_STYLE = """
QDoubleSpinBox::up-button, QDoubleSpinBox::down-button { width: 0px; border: none; }
"""


class NumberBox(QDoubleSpinBox):
    """One decimal; the wheel scrolls what lies around it and never changes a number by chance."""

    def __init__(self, low: float, high: float, *, step: float = 0.1, unit: str = " mm") -> None:
        super().__init__()
        # Under some systems' locale a point groups thousands, so that 4.5 would be read as 45.
        plain = QLocale.c()
        plain.setNumberOptions(
            QLocale.NumberOption.OmitGroupSeparator | QLocale.NumberOption.RejectGroupSeparator
        )
        self.setLocale(plain)
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

    def textFromValue(self, value: float) -> str:
        """With the decimal sign of the language."""
        return f"{Figure(super().textFromValue(value))}"

    def valueFromText(self, text: str) -> float:
        """Comma and point are both the decimal sign, whatever the language."""
        return super().valueFromText(text.replace(",", "."))

    def validate(self, text: str, place: int) -> tuple[QValidator.State, str, int]:
        """As `valueFromText` reads it; what is typed stays as it was typed."""
        state, read, place = super().validate(text.replace(",", "."), place)
        return state, text if read == text.replace(",", ".") else read, place

    def wheelEvent(self, event: QWheelEvent) -> None:
        """Left to the surroundings."""
        event.ignore()
