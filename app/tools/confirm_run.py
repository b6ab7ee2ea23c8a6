"""Confirms what is proposed one after the other while the section runs along.

Each is confirmed only after its picture has stood in view for a while; any key or click stops the
run, and it stops by itself where something asks for a decision of its own.
"""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import QObject, Qt, QTimer
from PySide6.QtGui import QKeyEvent

STANDS_MS = 700
"""How long each picture stands in view before it is confirmed: enough to see whether a ring lies on
a canal, and to stop (common practice, no source)."""


class ConfirmRun:
    """A run over proposals that are shown one after the other.

    Parameters
    ----------
    parent : QObject
    confirm : callable
        Confirms what is shown; True where the next one may follow by itself.
    """

    def __init__(self, parent: QObject, confirm: Callable[[], bool]) -> None:
        self.active = False
        self._confirm = confirm
        self._stands = QTimer(parent, interval=STANDS_MS, singleShot=True)
        self._stands.timeout.connect(self._next)

    def start(self) -> None:
        """Go on from what is proposed next."""
        self.active = True

    def stop(self) -> bool:
        """Leave what is left for single keys; False when nothing ran."""
        was, self.active = self.active, False
        self._stands.stop()
        return was

    def shown(self) -> None:
        """The picture of what is proposed next stands in view now."""
        if self.active and not self._stands.isActive():
            self._stands.start()

    def _next(self) -> None:
        if self.active and not self._confirm():
            self.active = False


def is_run_key(event: QKeyEvent) -> bool:
    """Shift + Enter."""
    held = event.modifiers() & ~Qt.KeyboardModifier.KeypadModifier
    enter = event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter)
    return bool(enter and held == Qt.KeyboardModifier.ShiftModifier)


def is_held_enter(event: QKeyEvent) -> bool:
    """Enter once more, or Shift before it: who presses them while it runs wants it to go on."""
    return event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter, Qt.Key.Key_Shift)
