"""The first use on a computer: what measures is compiled in a process of its own, and said so.

Compiled beside the window it would take seconds from whatever somebody clicks; compiled before
anything is shown it would look like a program that does not start.
"""

from __future__ import annotations

import multiprocessing
from typing import Any

from PySide6.QtCore import QObject, QTimer, Signal

from app.window.first_compile import STEPS, compile_all, mark
from core.words.catalogue import say

LOOK_MS = 200


class FirstUse(QObject):
    """Runs `compile_all` in a child process where it never ran; nothing waits for it.

    Signals
    -------
    told(text)
        How far it is; empty once nothing more is to be said.
    """

    told = Signal(str)

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._child: Any = None
        self._done: Any = None
        self._timer = QTimer(self, interval=LOOK_MS)
        self._timer.timeout.connect(self._look)

    @property
    def running(self) -> bool:
        """True while something is being compiled."""
        return self._child is not None

    def begin(self) -> None:
        """Start, where there is something to compile."""
        if self.running or mark().exists():
            return
        context = multiprocessing.get_context("spawn")
        self._done = context.Value("i", 0)
        self._child = context.Process(target=compile_all, args=(self._done,), daemon=True)
        self._child.start()
        self._timer.start()
        self._look()

    def _look(self) -> None:
        if self._child.is_alive():
            self.told.emit(
                say(
                    "window.kernel_warm_up.first-use-on-this-computer",
                    done=self._done.value,
                    steps=STEPS,
                )
            )
            return
        # However it ended: what is missing is compiled when it is needed.
        self._timer.stop()
        self._child.join()
        self._child = self._done = None
        self.told.emit("")

    def stop(self) -> None:
        """The program ends: so does the child."""
        self._timer.stop()
        if self._child is not None:
            self._child.terminate()
            self._child.join()
            self._child = None
