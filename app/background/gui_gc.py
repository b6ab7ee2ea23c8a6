"""Collects Python's cyclic garbage in the window's thread only.

Left to itself the collector runs in whichever thread happens to allocate. In a worker it could
delete windows and their parts there, which the toolkit does not allow: the program would end.

While it walks nothing moves, and how long it walks depends on how much it walks through: a worker
that makes archive objects makes a hundred thousand things in half a second. So what has come is
counted often and walked through early where it is much; where it is little, twice a second.
"""

from __future__ import annotations

import gc
import time

from PySide6.QtCore import QObject, QTimer

from app.background.tasks import is_working

COUNT_MS = 50
EVERY_S = 0.5
"""With ten walks a second a step along the arch took 3 ms longer (`bench_speed.md`, in turns)."""

MANY = 15_000
"""New things that are walked through at once: some 5 ms."""

UNTIL_CALM = 20
"""Times the collector's own threshold: as long a walk through all of it waits for workers."""


class Tidying(QObject):
    """While it lives, garbage is collected by a timer of its thread, never elsewhere."""

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        gc.disable()
        self._walked_at = time.monotonic()
        self._timer = QTimer(self)
        self._timer.timeout.connect(self.collect)
        self._timer.start(COUNT_MS)

    def set_aside(self) -> None:
        """Never look again at what is there now: the program and its window, kept to the end.

        Walking through all of it takes a tenth of a second, in which nothing moves.
        """
        gc.collect()
        gc.freeze()

    def collect(self) -> None:
        """Walk through what has come where that is much or half a second old."""
        new, walks, older_walks = gc.get_count()
        most_new, most_walks, most_older = gc.get_threshold()
        if new > MANY:
            # What outlives this walk is not walked through again by the next one.
            self._walk(1)
        elif new > most_new and time.monotonic() - self._walked_at >= EVERY_S:
            # All of it takes a twentieth of a second, and what a worker still holds as much again.
            if older_walks > most_older * (UNTIL_CALM if is_working() else 1):
                self._walk(2)
            else:
                self._walk(1 if walks > most_walks else 0)

    def _walk(self, oldest: int) -> None:
        gc.collect(oldest)
        self._walked_at = time.monotonic()
