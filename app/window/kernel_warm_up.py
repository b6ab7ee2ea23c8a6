"""The first use on a computer: what measures is compiled in a process of its own, and said so.

Compiled beside the window it would take seconds from whatever somebody clicks; compiled before
anything is shown it would look like a program that does not start.
"""

from __future__ import annotations

import gc
import hashlib
import multiprocessing
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
from PySide6.QtCore import QObject, QTimer, Signal

from core import kernel_cache
from core.words.catalogue import say

STEPS = 4
LOOK_MS = 200


def mark() -> Path:
    """The file that says: what nearly every scan needs was compiled for this processor."""
    kernel_cache.prepare()
    # What is compiled belongs to the folder that the program stands in.
    here = hashlib.sha256(str(Path(kernel_cache.__file__).parent).encode()).hexdigest()[:16]
    return Path(os.environ["NUMBA_CACHE_DIR"]) / f"whole-{here}"


def compile_all(tell: Callable[[int], None]) -> None:
    """Compile the kernels that nearly every scan needs.

    Parameters
    ----------
    tell : callable
        Called with the number of steps done, of `STEPS`.
    """
    from core.bone import plate_profiles
    from core.distances import plane_field_kernels, solid
    from core.image import sampling_warm_up

    # The type of nearly every scan; another one is compiled while such a scan is loaded.
    sampling_warm_up.prepare(np.dtype(np.int16))
    tell(1)
    plate_profiles.prepare()
    tell(2)
    solid.prepare()
    tell(3)
    plane_field_kernels.prepare()
    mark().touch()
    tell(STEPS)


def _child(done: Any) -> None:
    if hasattr(os, "nice"):
        os.nice(5)  # whoever opens a scan meanwhile comes first
    gc.disable()  # a compiler makes many things and drops few: a tenth of its time, for nothing

    def tell(steps: int) -> None:
        done.value = steps

    compile_all(tell)


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
        self._child = context.Process(target=_child, args=(self._done,), daemon=True)
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
