"""Cases on processes of this machine: one a worker at a time, each with a bound on its memory.

A worker that dies takes its case with it and nothing else: the case becomes a row with that
reason, and another worker takes its place.
"""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import queue
import threading
from collections.abc import Callable, Iterator, Sequence
from multiprocessing.connection import Connection
from typing import Any

from app.studies.cases import Case
from app.studies.one_case import Row, fault_row, measured_rows
from core.errors import SoundingError

Measure = Callable[[Case], list[Row]]
Result = tuple[Case, list[Row]]


def on_processes(
    cases: Sequence[Case], *, workers: int, memory_mb: int, measure: Measure = measured_rows
) -> Iterator[Result]:
    """Each case with its rows, as they are done.

    Parameters
    ----------
    cases : sequence of Case
    workers : int
    memory_mb : int
        Most address space of a worker (where the system can bound it: not on Windows).
    measure : callable
        Runs in the workers.
    """
    waiting: queue.SimpleQueue[Case] = queue.SimpleQueue()
    done: queue.SimpleQueue[Result | None] = queue.SimpleQueue()
    stopped = threading.Event()
    for case in cases:
        waiting.put(case)
    count = min(workers, len(cases))
    threads = [
        threading.Thread(target=_served, args=(waiting, done, stopped, memory_mb, measure))
        for _ in range(count)
    ]
    for thread in threads:
        thread.start()
    try:
        left = count
        while left:
            result = done.get()
            if result is None:
                left -= 1
            else:
                yield result
    finally:
        stopped.set()
        for thread in threads:
            thread.join()


def _served(
    waiting: queue.SimpleQueue[Case],
    done: queue.SimpleQueue[Result | None],
    stopped: threading.Event,
    memory_mb: int,
    measure: Measure,
) -> None:
    """One place for a worker: hands it cases until there are none, and replaces a dead one."""
    worker: _Worker | None = None
    try:
        while not stopped.is_set():
            try:
                case = waiting.get_nowait()
            except queue.Empty:
                break
            worker = worker or _Worker(memory_mb, measure)
            rows = worker.rows(case, stopped)
            if rows is None:
                worker.end()
                worker = None
                if stopped.is_set():
                    break
                rows = [fault_row(case, SoundingError("study-worker-died"))]
            done.put((case, rows))
    finally:
        if worker is not None:
            worker.end()
        done.put(None)


class _Worker:
    """A child process that measures what it is handed."""

    def __init__(self, memory_mb: int, measure: Measure) -> None:
        context = multiprocessing.get_context("spawn")
        self._pipe, theirs = context.Pipe()
        self._process: Any = context.Process(target=_child, args=(theirs, memory_mb, measure))
        self._process.start()
        theirs.close()

    def rows(self, case: Case, stopped: threading.Event) -> list[Row] | None:
        """Rows of a case; None where the child died or the work was stopped."""
        try:
            self._pipe.send(case)
            while not self._pipe.poll(0.2):
                if stopped.is_set():
                    return None
            found: list[Row] = self._pipe.recv()
        except (EOFError, OSError):
            return None
        return found

    def end(self) -> None:
        """End the child; it holds nothing that has to be written."""
        self._pipe.close()
        self._process.terminate()
        self._process.join()


def _child(pipe: Connection, memory_mb: int, measure: Measure) -> None:
    _bound(memory_mb)
    with contextlib.suppress(EOFError, KeyboardInterrupt):
        while True:
            pipe.send(measure(pipe.recv()))


def _bound(memory_mb: int) -> None:
    """Past this an allocation fails, which becomes the case's row."""
    with contextlib.suppress(ImportError, ValueError, OSError):
        import resource

        most = memory_mb * 1_000_000
        resource.setrlimit(resource.RLIMIT_AS, (most, most))


def cores() -> int:
    """Cores that this process may use."""
    affinity = getattr(os, "sched_getaffinity", None)
    return len(affinity(0)) if affinity is not None else os.cpu_count() or 1
