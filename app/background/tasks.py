"""Background work: newest request wins, errors come back as values.

Answers come in the window's thread, through one mailbox that outlives every window.
"""

from __future__ import annotations

import logging
import threading
import time
import weakref
from collections.abc import Callable
from functools import lru_cache
from typing import Any

from PySide6.QtCore import QObject, QRunnable, Qt, QThreadPool, Signal, Slot
from shiboken6 import isValid

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


def is_working() -> bool:
    """True while a worker has something to do."""
    return pool().activeThreadCount() > 0


PROGRESS_S = 0.05
"""A count that stands still for less than this is not seen to stand still."""


class _Mailbox(QObject):
    """Brings calls of workers into the window's thread.

    Workers know only this object, which lives as long as the program: whoever asked may be gone
    by then, and a signal into an object that is being deleted would end the program.
    """

    letter = Signal(object)

    def __init__(self) -> None:
        super().__init__()
        self.letter.connect(self._open, Qt.ConnectionType.QueuedConnection)

    @Slot(object)
    def _open(self, call: Callable[[], None]) -> None:
        call()


@lru_cache(maxsize=1)
def _mailbox() -> _Mailbox:
    """The one mailbox; made at the first request, in the window's thread."""
    return _Mailbox()


class Task:
    """One piece of work on its way."""

    def __init__(self, owner: Latest) -> None:
        self._stop = threading.Event()
        self._owner = weakref.ref(owner)
        self._mailbox = _mailbox()
        self._told_at = 0.0

    def cancel(self) -> None:
        """Ask the work to stop; its result is dropped in any case."""
        self._stop.set()

    def cancelled(self) -> bool:
        """True once somebody asked to stop; passed to `core` as its ``cancelled``."""
        return self._stop.is_set()

    def progress(self, done: int, total: int) -> None:
        """Passed to `core` as its ``progress``; told now and then, and at the end.

        A letter for each of some hundred slices would keep the window from everything else.
        """
        now = time.monotonic()
        if done >= total or now - self._told_at >= PROGRESS_S:
            self._told_at = now
            self._tell("on_progress", done, total)

    def run(self, work: Callable[[Task], Any]) -> None:
        """Do the work, in a worker thread, and tell how it ended."""
        try:
            result = work(self)
        except Exception as error:  # noqa: BLE001  whatever it was, the window must hear of it
            if not self.cancelled():
                # Of an unknown fault the log needs the kind; its text could hold a name.
                log.info("work failed: %s", type(error).__name__)
            self._tell("on_failed", error)
        else:
            self._tell("on_finished", result)
        self._tell("on_ended")

    def _tell(self, what: str, *values: object) -> None:
        def deliver() -> None:
            owner = self._owner()
            if owner is not None and isValid(owner):
                getattr(owner, what)(self, *values)

        try:
            self._mailbox.letter.emit(deliver)
        except RuntimeError:
            log.debug("the program ends; nobody waits for this work any more")


class _Runner(QRunnable):
    """Runs a task's work in the pool."""

    def __init__(self, task: Task, work: Callable[[Task], Any]) -> None:
        super().__init__()
        self._task = task
        self._work = work

    def run(self) -> None:
        self._task.run(self._work)


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

    @property
    def awaited(self) -> bool:
        """True while an answer is still to come; what was dropped may run on and gives none."""
        running = self._running is not None and not self._running.cancelled()
        return running or self._waiting is not None

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

    def on_progress(self, task: Task, done: int, total: int) -> None:
        """Called through the mailbox: so far."""
        if self._wants(task) and self._progressed is not None:
            self._progressed(done, total)

    def on_finished(self, task: Task, result: object) -> None:
        """Called through the mailbox: the result."""
        if self._wants(task):
            self._done(result)

    def on_failed(self, task: Task, error: Exception) -> None:
        """Called through the mailbox: the error."""
        if self._wants(task) and self._failed is not None:
            self._failed(error)

    def on_ended(self, task: Task) -> None:
        """Called through the mailbox, last: the newest of what was asked meanwhile begins."""
        if task is not self._running:
            return
        self._running = None
        if self._waiting is not None:
            work, self._waiting = self._waiting, None
            self._start(work)

    def _start(self, work: Callable[[Task], Any]) -> None:
        task = Task(self)
        self._running = task
        pool().start(_Runner(task, work))

    def _wants(self, task: Task) -> bool:
        """False where somebody asked anew after the worker had already reported."""
        return task is self._running and not task.cancelled()
