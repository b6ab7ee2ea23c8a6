"""Compiled work on many lines, shared among the processor's cores by threads of our own.

A kernel that lets go of the interpreter's lock needs no compiled loop of its own for that: one
less thing to compile, and it may be entered from any number of threads.
"""

from __future__ import annotations

import itertools
import os
import threading
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor

SHARES = 4
"""Parts of the work for each thread: who is kept waiting for takes fewer."""

Work = Callable[[int, int], None]


class _Helpers:
    """Threads that work beside the calling one; made when they are first needed."""

    def __init__(self) -> None:
        self._making = threading.Lock()
        self._pool: ThreadPoolExecutor | None = None
        self.count = _cores() - 1

    def asked(self, work: Callable[[], None], count: int) -> list[Future[None]]:
        """Work handed to helpers; fewer, or none, where no thread can be had any more."""
        with self._making:
            if self._pool is None:
                self._pool = ThreadPoolExecutor(max(self.count, 1), "sharing")
        try:
            return [self._pool.submit(work) for _ in range(min(count, self.count))]
        except RuntimeError:  # the program ends
            return []


def _cores() -> int:
    """Of the processor, those that this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


_helpers = _Helpers()


def _after_fork() -> None:
    """A forked process has none of the threads."""
    global _helpers
    count, _helpers = _helpers.count, _Helpers()
    _helpers.count = count


if hasattr(os, "register_at_fork"):
    os.register_at_fork(after_in_child=_after_fork)


def one_thread_only() -> None:
    """From now on the calling thread does everything: many processes share the cores."""
    _helpers.count = 0


def shared(work: Work, count: int) -> None:
    """Do ``work(first, end)`` for parts that make up ``range(count)``, in several threads.

    Parameters
    ----------
    work : callable
        Must let go of the interpreter's lock, and touch nothing that another part touches.
    count : int

    Raises
    ------
    Exception
        Whatever `work` raised first, after every part that was begun has ended.
    """
    parts = min(count, SHARES * (_helpers.count + 1))
    edges = [count * n // parts for n in range(parts + 1)] if parts else [0]
    following = itertools.count()  # asking it is one step, which no other thread divides

    def take() -> None:
        while (n := next(following)) < parts:
            work(edges[n], edges[n + 1])

    helping = _helpers.asked(take, parts - 1) if parts > 1 else []
    try:
        take()
    finally:
        # Who has not begun has nothing left to do; nobody waits for it.
        begun = [one for one in helping if not one.cancel()]
        for one in begun:
            one.exception()
    for one in begun:
        one.result()
