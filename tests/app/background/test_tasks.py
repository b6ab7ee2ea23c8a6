"""Background work: the newest request wins, and slots run in the window's own thread."""

from __future__ import annotations

import threading

from PySide6.QtCore import QObject

from app.background.tasks import Latest


def test_the_newest_of_many_requests_is_answered_in_this_thread(qtbot):
    answers, threads, ran = [], [], []
    gate = threading.Event()
    latest = Latest(lambda value: (answers.append(value), threads.append(threading.get_ident())))

    def work(n):
        def run(_task):
            ran.append(n)
            gate.wait(5)
            return n

        return run

    for n in range(5):
        latest.ask(work(n))
    gate.set()
    qtbot.waitUntil(lambda: not latest.busy, timeout=5000)
    assert answers == [4]
    assert ran in ([0, 4], [4])
    assert threads == [threading.get_ident()]


def test_a_request_under_way_is_finished_where_that_was_asked(qtbot):
    answers = []
    gate = threading.Event()
    latest = Latest(answers.append)
    latest.ask(lambda _task: gate.wait(5) and "first")
    latest.ask(lambda _task: "second", finish_running=True)
    gate.set()
    qtbot.waitUntil(lambda: not latest.busy, timeout=5000)
    assert answers == ["first", "second"]


def test_an_error_comes_back_as_a_value_and_progress_is_counted(qtbot):
    errors, counts = [], []
    latest = Latest(
        lambda _value: None,
        errors.append,
        progressed=lambda done, total: counts.append((done, total)),
    )

    def work(task):
        task.progress(1, 2)
        raise ValueError("no")

    latest.ask(work)
    qtbot.waitUntil(lambda: not latest.busy, timeout=5000)
    assert [type(e) for e in errors] == [ValueError]
    assert counts == [(1, 2)]


def test_a_long_count_is_told_now_and_then_and_to_its_end(qtbot):
    counts = []
    latest = Latest(lambda _value: None, progressed=lambda done, total: counts.append(done))

    def work(task):
        for done in range(1, 1001):
            task.progress(done, 1000)

    latest.ask(work)
    qtbot.waitUntil(lambda: not latest.busy, timeout=5000)
    assert counts[0] == 1
    assert counts[-1] == 1000
    assert len(counts) < 500
    assert counts == sorted(counts)


def test_a_dropped_request_is_never_answered(qtbot):
    answers = []
    gate = threading.Event()
    latest = Latest(answers.append)
    latest.ask(lambda _task: gate.wait(5))
    latest.drop()
    gate.set()
    qtbot.waitUntil(lambda: not latest.busy, timeout=5000)
    assert answers == []


def test_whoever_asked_may_be_gone_before_the_answer(qtbot):
    """Deleting the asker while a worker runs drops the answer, and nothing falls over."""
    answers = []
    parents = [QObject() for _ in range(40)]
    gate = threading.Event()
    for parent in parents:
        Latest(answers.append, parent=parent).ask(lambda task: gate.wait(5) and task.progress(1, 2))
    for parent in parents[1:]:
        parent.deleteLater()
    qtbot.wait(20)
    gate.set()
    qtbot.waitUntil(lambda: len(answers) == 1, timeout=8000)
    qtbot.wait(50)
    assert answers == [None]
