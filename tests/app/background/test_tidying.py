"""Garbage is collected in the window's thread and nowhere else."""

from __future__ import annotations

import gc
import threading

from app.background.gui_gc import Tidying


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
