"""Collects Python's cyclic garbage in the window's thread only.

Left to itself the collector runs in whichever thread happens to allocate. In a worker it could
delete windows and their parts there, which the toolkit does not allow: the program would end.
"""

from __future__ import annotations

import gc

from PySide6.QtCore import QObject, QTimer

EVERY_MS = 500
"""With ten times a second a step along the arch took 3 ms longer, loading held the window for 10
ms more and longer, and writing for no less (`bench_speed.md`, in turns)."""


class Tidying(QObject):
    """While it lives, garbage is collected by a timer of its thread, never elsewhere."""

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        gc.disable()
        self._timer = QTimer(self)
        self._timer.timeout.connect(self.collect)
        self._timer.start(EVERY_MS)

    def set_aside(self) -> None:
        """Never look again at what is there now: the program and its window, kept to the end.

        Walking through all of it takes a tenth of a second, in which nothing moves.
        """
        gc.collect()
        gc.freeze()

    def collect(self) -> None:
        """Collect each generation that has grown over its threshold, the youngest first."""
        for generation, (count, most) in enumerate(
            zip(gc.get_count(), gc.get_threshold(), strict=True)
        ):
            if count > most:
                gc.collect(generation)
