"""Garbage is collected in the window's thread and nowhere else."""

from __future__ import annotations

import gc
import threading
from types import SimpleNamespace

import pytest

from app.background import gui_gc
from app.background.gui_gc import Tidying
from app.background.tasks import Latest, pool


class _Ring:
    def __init__(self, gone):
        self.me = self
        self.gone = gone

    def __del__(self):
        self.gone.append(threading.get_ident())


def test_a_worker_never_collects_what_the_window_left(qtbot):
    gone = []
    tidying = Tidying()
    _Ring(gone)

    def allocate():
        kept = [[n] for n in range(200_000)]
        assert kept

    worker = threading.Thread(target=allocate)
    worker.start()
    worker.join()
    assert gone == []
    keep = [[n] for n in range(5_000)]
    qtbot.waitUntil(lambda: bool(gone), timeout=8000)
    assert keep
    assert gone == [threading.get_ident()]
    tidying.deleteLater()
    assert not gc.isenabled()


def test_what_was_set_aside_is_not_walked_through_again(qtbot):
    tidying = Tidying()
    gc.unfreeze()  # what the suite has set aside itself
    try:
        tidying.set_aside()
        assert gc.get_freeze_count() > 1000
        assert len(gc.get_objects()) < 1000
    finally:
        gc.unfreeze()
        tidying.deleteLater()


@pytest.fixture
def walks(qtbot, monkeypatch):
    """Asks a collector that has seen so many things at such a time how far it walks."""
    tidying = Tidying()
    tidying._timer.stop()
    now, counts, done = [1000.0], [(0, 0, 0)], []
    tidying._walked_at = now[0]
    monkeypatch.setattr(gui_gc, "time", SimpleNamespace(monotonic=lambda: now[0]))
    stands_in = SimpleNamespace(
        get_count=lambda: counts[0], get_threshold=lambda: (700, 10, 10), collect=done.append
    )
    monkeypatch.setattr(gui_gc, "gc", stands_in)

    def after(seconds, *seen):
        now[0] += seconds
        counts[0] = seen
        done.clear()
        tidying.collect()
        return list(done)

    yield after
    tidying.deleteLater()


def test_little_is_walked_through_twice_a_second(walks):
    assert walks(0.05, 5000, 0, 0) == []
    assert walks(0.5, 5000, 0, 0) == [0]
    assert walks(0.05, 5000, 0, 0) == []
    assert walks(0.5, 5000, 11, 0) == [1]
    assert walks(5.0, 100, 11, 11) == []


def test_much_is_walked_through_at_once_and_not_again(walks):
    assert walks(0.05, gui_gc.MANY + 1, 0, 0) == [1]
    assert walks(0.05, gui_gc.MANY + 1, 0, 1) == [1]
    assert walks(0.05, 5000, 0, 2) == []


def test_all_of_it_is_walked_through_once_no_worker_is_left(walks):
    go_on = threading.Event()
    latest = Latest(lambda _found: None)
    latest.ask(lambda _task: go_on.wait(20))
    try:
        assert walks(0.5, 5000, 0, 11) == [0]
        assert walks(0.5, 5000, 11, 11) == [1]
        assert walks(0.5, 5000, 0, 10 * gui_gc.UNTIL_CALM + 1) == [2]
    finally:
        go_on.set()
        pool().waitForDone(5000)
    assert walks(0.5, 5000, 0, 11) == [2]
