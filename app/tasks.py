"""Background work: newest request wins, errors come back as values.

Slots run in the thread of the object that asked, whatever function they are: a worker's signals
go to a method of a `QObject` of that thread, which calls the function.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable
from typing import Any

from PySide6.QtCore import QObject, QRunnable, QThreadPool, Signal, SignalInstance, Slot

log = logging.getLogger("sounding.tasks")

WORKERS = 4
"""More than the cores: most work waits for the one kernel lock or for files, and a long one
must not keep a short one from starting."""


def pool() -> QThreadPool:
    """The program's worker threads."""
    threads = QThreadPool.globalInstance()
    if threads.maxThreadCount() < WORKERS:
        threads.setMaxThreadCount(WORKERS)
    return threads


class Task(QObject):
    """One piece of work on its way.

    Signals arrive in the thread that made the task, once connected to a method of a `QObject`
    that lives there.
    """

    progressed = Signal(int, int)
    finished = Signal(object)
    failed = Signal(object)
    ended = Signal()

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._stop = threading.Event()

    def cancel(self) -> None:
        """Ask the work to stop; its result is dropped in any case."""
        self._stop.set()

    def cancelled(self) -> bool:
        """True once somebody asked to stop; passed to `core` as its ``cancelled``."""
        return self._stop.is_set()

    def progress(self, done: int, total: int) -> None:
        """Passed to `core` as its ``progress``."""
        _emit(self.progressed, done, total)


class _Runner(QRunnable):
    """Runs a function in the pool and reports through its task's signals."""

    def __init__(self, task: Task, work: Callable[[Task], Any]) -> None:
        super().__init__()
        self._task = task
        self._work = work

    def run(self) -> None:
        task = self._task
        try:
            result = self._work(task)
        except Exception as error:  # noqa: BLE001  whatever it was, the window must hear of it
            if not task.cancelled():
                # Of an unknown fault the log needs the place; its text could hold a name.
                log.info("work failed: %s", type(error).__name__)
                _emit(task.failed, error)
        else:
            if not task.cancelled():
                _emit(task.finished, result)
        _emit(task.ended)


def _emit(signal: SignalInstance, *values: object) -> None:
    """Emit from a worker; at the program's end the receiver may be gone already."""
    try:
        signal.emit(*values)
    except RuntimeError:
        log.debug("nobody waits for this work any more")


class Latest(QObject):
    """Runs work of one kind so that only the newest request is answered.

    While one request runs, at most one more waits: the newest. Older ones are dropped
    without having run, so that a drag never queues up stale work.

    Parameters
    ----------
    done : callable
        Called in the thread of this object with the result of the newest request.
    failed : callable, optional
        Called with the exception instead.
    progressed : callable (done, total), optional
    """

    def __init__(
        self,
        done: Callable[[Any], None],
        failed: Callable[[Exception], None] | None = None,
        *,
        progressed: Callable[[int, int], None] | None = None,
        parent: QObject | None = None,
    ) -> None:
        super().__init__(parent)
        self._done = done
        self._failed = failed
        self._progressed = progressed
        self._running: Task | None = None
        self._waiting: Callable[[Task], Any] | None = None

    @property
    def busy(self) -> bool:
        """True while a request runs or waits."""
        return self._running is not None

    def ask(self, work: Callable[[Task], Any], *, finish_running: bool = False) -> None:
        """Request work; an unfinished older request is dropped.

        With `finish_running` the one under way is still answered: while something is dragged a
        picture that is one step late is better than none until the hand rests.
        """
        if self._running is None:
            self._start(work)
            return
        self._waiting = work
        if not finish_running:
            self._running.cancel()

    def drop(self) -> None:
        """Forget everything that was asked."""
        self._waiting = None
        if self._running is not None:
            self._running.cancel()

    def _start(self, work: Callable[[Task], Any]) -> None:
        task = Task(self)
        self._running = task
        task.progressed.connect(self._on_progress)
        task.finished.connect(self._on_finished)
        task.failed.connect(self._on_failed)
        task.ended.connect(self._on_ended)
        pool().start(_Runner(task, work))

    @property
    def _wanted(self) -> bool:
        """False where somebody asked anew after the worker had already reported."""
        return self._running is not None and not self._running.cancelled()

    @Slot(int, int)
    def _on_progress(self, done: int, total: int) -> None:
        if self._wanted and self._progressed is not None:
            self._progressed(done, total)

    @Slot(object)
    def _on_finished(self, result: object) -> None:
        if self._wanted:
            self._done(result)

    @Slot(object)
    def _on_failed(self, error: Exception) -> None:
        if self._wanted and self._failed is not None:
            self._failed(error)

    @Slot()
    def _on_ended(self) -> None:
        if self._running is not None:
            self._running.deleteLater()
        self._running = None
        if self._waiting is not None:
            work, self._waiting = self._waiting, None
            self._start(work)
