"""While something is dragged a panel is read no more often than its words can be followed."""

from __future__ import annotations

import time
from collections.abc import Callable

from PySide6.QtCore import QObject, QTimer

from app.case.session import Session

DRAGGED_MS = 100
"""Pictures follow every pose of a drag; a list of words that changes thirty times a second is not
read, and would keep the pictures waiting."""


class Pace(QObject):
    """Reads a panel at once; in a drag at once only where it was not read just before.

    What was put off is read when the time is over, so that the last pose is never missing.

    Parameters
    ----------
    session : Session
    read : callable
        Reads the session anew.
    """

    def __init__(self, session: Session, read: Callable[[], None], parent: QObject) -> None:
        super().__init__(parent)
        self._session = session
        self._read = read
        self._read_at = 0.0
        self._later = QTimer(self, singleShot=True)
        self._later.timeout.connect(self._now)

    def follow(self) -> None:
        """Something of the session changed."""
        if not self._session.dragging:
            self._now()
        elif not self._later.isActive():
            left = self._read_at + DRAGGED_MS / 1e3 - time.monotonic()
            if left > 0:
                self._later.start(round(left * 1e3) + 1)
            else:
                self._now()

    def _now(self) -> None:
        self._later.stop()
        self._read()
        self._read_at = time.monotonic()
