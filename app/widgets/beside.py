"""A few words beside a field, for some seconds: what happened to what was typed in it."""

from __future__ import annotations

from PySide6.QtCore import QPoint, Qt, QTimer
from PySide6.QtGui import QAccessible, QAccessibleEvent
from PySide6.QtWidgets import QLabel, QWidget

STAYS_MS = 10_000
MOST_WIDTH = 320
_GAP = 4


class Beside(QLabel):
    """A plate of words over the window, below its field or above it where there is no room.

    It is no window of its own and takes no click, so that nothing lies in the way of the next.
    """

    def __init__(self, of: QWidget) -> None:
        super().__init__(of.window())
        self.setObjectName("beside")
        self.setTextFormat(Qt.TextFormat.PlainText)
        self.setWordWrap(True)
        self.setAttribute(Qt.WidgetAttribute.WA_TransparentForMouseEvents)
        self.hide()
        self._of = of
        self._hush = QTimer(self, singleShot=True, interval=STAYS_MS)
        self._hush.timeout.connect(self.hide)

    def tell(self, text: str) -> None:
        """Show words; a screen reader speaks them at once."""
        window = self._of.window()
        if self.parentWidget() is not window:
            self.setParent(window)
        self.setText(text)
        self.ensurePolished()  # else the height is counted without the plate's edge
        self.setFixedWidth(min(MOST_WIDTH, window.width() - 2 * _GAP))
        self.setFixedHeight(self.heightForWidth(self.width()))
        place = self._of.mapTo(window, QPoint(0, self._of.height() + _GAP))
        if place.y() + self.height() > window.height():
            place = self._of.mapTo(window, QPoint(0, -self.height() - _GAP))
        most = window.width() - self.width() - _GAP
        self.move(max(_GAP, min(place.x(), most)), max(_GAP, place.y()))
        self.raise_()
        self.show()
        self._hush.start()
        QAccessible.updateAccessibility(QAccessibleEvent(self, QAccessible.Event.Alert))
