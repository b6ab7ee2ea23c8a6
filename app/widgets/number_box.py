"""A box for a number in mm or degrees: typed, or stepped with ↑ and ↓; no tiny buttons."""

from __future__ import annotations

import re

from PySide6.QtCore import QElapsedTimer, QEvent, QLocale, QObject, Qt, Signal
from PySide6.QtGui import QFocusEvent, QKeyEvent, QMouseEvent, QValidator, QWheelEvent
from PySide6.QtWidgets import QApplication, QDoubleSpinBox

from app.widgets.beside import Beside
from core.words.catalogue import say
from core.words.numbers import Figure

# `NoButtons` leaves a styled box without room for its text, so the buttons are made nothing.
_STYLE = """
QDoubleSpinBox::up-button, QDoubleSpinBox::down-button { width: 0px; border: none; }
"""
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)")
_RETURN = (Qt.Key.Key_Return, Qt.Key.Key_Enter)


class NumberBox(QDoubleSpinBox):
    """One decimal; the wheel scrolls what lies around it and never changes a number by chance.

    A click into it and a double click choose the whole number, so that what is typed takes its
    place. What is typed stays as it was typed until it is taken over; what is no number of the
    range is then not taken, which is said beside the box: no letter is dropped in silence, and
    nothing is made to fit.
    """

    left = Signal()
    """Return took what was typed over, or Escape gave it up: the keys are free."""

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
        self._beside: Beside | None = None
        self._refused = ""
        self._clicked_into = False
        self._double_clicked = QElapsedTimer()
        self.lineEdit().installEventFilter(self)
        self.lineEdit().textEdited.connect(lambda _text: self._hush())

    @property
    def refused(self) -> str:
        """What was said when the last entry was not taken; empty once it is edited anew."""
        return self._refused

    def show_value(self, value: float) -> None:
        """Show a number; where it stands there already nothing is painted again."""
        if self.lineEdit().isModified() or round(value, self.decimals()) != self.value():
            self.setValue(value)

    def textFromValue(self, value: float) -> str:
        """With the decimal sign of the language."""
        return f"{Figure(super().textFromValue(value))}"

    def valueFromText(self, text: str) -> float:
        """Comma and point are both the decimal sign, whatever the language."""
        read = self._number(text)
        return self.value() if read is None else read

    def validate(self, text: str, place: int) -> tuple[QValidator.State, str, int]:
        """Anything may be typed except into the unit; whether it is taken is told at the end."""
        unit = self.suffix()
        body = text.removesuffix(unit)
        if any(body.endswith(unit[:cut]) for cut in range(1, len(unit)) if unit[:cut].strip()):
            return QValidator.State.Invalid, text, place
        if self._is_special(text) or self._number(text) is not None:
            return QValidator.State.Acceptable, text, place
        return QValidator.State.Intermediate, text, place

    def fixup(self, text: str) -> str:
        """Nothing is made to fit: the number stays, and what was typed is said not to count."""
        typed = text.removesuffix(self.suffix()).strip()
        fields = {
            "typed": typed,
            "low": self.textFromValue(self.minimum()),
            "high": self.textFromValue(self.maximum()),
            "still": self.textFromValue(self.value()) + self.suffix(),
        }
        if not typed:
            self._refused = say("widgets.number_box.nothing-entered", **fields)
        elif self.decimals():
            self._refused = say("widgets.number_box.not-taken", **fields)
        else:
            self._refused = say("widgets.number_box.whole-not-taken", **fields)
        self._say_refused()
        return text

    def taken_over(self) -> bool:
        """Take over what is typed; False, and said once more, where it was not taken.

        The person saw it then: asked again, the number that stands in the box is theirs.
        """
        self.interpretText()
        if not self._refused:
            return True
        self._say_refused()
        self._refused = ""
        self.setFocus()
        return False

    def _say_refused(self) -> None:
        if self._beside is None:
            self._beside = Beside(self)
        self._beside.tell(self._refused)

    def wheelEvent(self, event: QWheelEvent) -> None:
        """Left to the surroundings."""
        event.ignore()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Return on what is not taken ends there: it must not press a window's button as well."""
        if event.key() in _RETURN and not self.lineEdit().hasAcceptableInput():
            self.interpretText()
            self.selectAll()
            return
        if event.key() == Qt.Key.Key_Escape:
            self._hush()
            self.setValue(self.value())
        super().keyPressEvent(event)
        if event.key() in (*_RETURN, Qt.Key.Key_Escape):
            self.left.emit()

    def focusInEvent(self, event: QFocusEvent) -> None:
        """A click into the box is about to choose its whole number."""
        self._refused = ""
        self._clicked_into = event.reason() == Qt.FocusReason.MouseFocusReason
        super().focusInEvent(event)

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        """Of the line: Qt would choose only the figures before the point."""
        if watched is self.lineEdit() and isinstance(event, QMouseEvent):
            kind = event.type()
            if kind == QEvent.Type.MouseButtonDblClick:
                self.selectAll()
                self._double_clicked.start()
                return True
            if kind == QEvent.Type.MouseButtonPress and self._is_third_click():
                return True
            if kind == QEvent.Type.MouseButtonRelease and self._clicked_into:
                self._clicked_into = False
                if not self.lineEdit().hasSelectedText():
                    self.selectAll()
        return super().eventFilter(watched, event)

    def _is_third_click(self) -> bool:
        since = self._double_clicked
        return since.isValid() and since.elapsed() < QApplication.doubleClickInterval()

    def _hush(self) -> None:
        self._refused = ""
        if self._beside is not None:
            self._beside.hide()

    def _is_special(self, text: str) -> bool:
        return bool(self.specialValueText()) and text == self.specialValueText()

    def _number(self, text: str) -> float | None:
        """What a text says; None where it is no number of the range with the box's decimals."""
        if self._is_special(text):
            return self.minimum()
        plain = text.removesuffix(self.suffix()).replace(",", ".").replace("\u2212", "-").strip()
        plain = plain.removesuffix(self.suffix().strip()).strip() if self.suffix() else plain
        if not _NUMBER.fullmatch(plain) or len(plain.partition(".")[2]) > self.decimals():
            return None
        value = float(plain)
        return value if self.minimum() <= value <= self.maximum() else None
