"""Work shared among threads: every part once, several callers, faults, and none where told so."""

from __future__ import annotations

import os
import subprocess
import sys
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest

from core.image import in_threads
from core.image.in_threads import SHARES, shared
from tests.watchdog import PATIENCE

ROOT = Path(in_threads.__file__).parents[2]


@pytest.fixture
def three(monkeypatch):
    """Two helpers beside the calling thread, whatever the machine has."""
    helpers = in_threads._Helpers()
    helpers.count = 2
    monkeypatch.setattr(in_threads, "_helpers", helpers)
    yield helpers
    if helpers._pool is not None:
        helpers._pool.shutdown()


@pytest.mark.parametrize("count", [0, 1, 2, 3, 11, 12, 13, 1000])
def test_every_place_is_worked_on_once(three, count):
    done = np.zeros(count, int)

    def work(first, end):
        assert first < end
        done[first:end] += 1

    shared(work, count)
    assert (done == 1).all()


def test_the_parts_are_worked_on_at_the_same_time(three):
    together = threading.Barrier(3, timeout=60 * PATIENCE)
    first_of = set()

    def work(first, end):
        if threading.get_ident() not in first_of:
            first_of.add(threading.get_ident())
            together.wait()  # breaks where fewer than three work at once

    shared(work, 3 * SHARES)
    assert len(first_of) == 3


def test_a_helper_that_has_not_begun_is_not_waited_for(three):
    free = threading.Event()
    three.asked(free.wait, 2)  # both are kept by somebody else
    mine = []
    try:
        shared(lambda first, end: mine.append(threading.get_ident()), 100)
    finally:
        free.set()
    assert set(mine) == {threading.get_ident()}


def test_a_fault_in_any_thread_is_raised_and_nothing_runs_on(three):
    running = []

    def work(first, end):
        if first:
            raise ValueError(first)
        running.append(first)
        time.sleep(0.05)
        running.pop()

    with pytest.raises(ValueError, match=r"\d"):
        shared(work, 100)
    assert not running


def test_many_callers_at_once(three):
    def total(seed):
        values = np.random.default_rng(seed).normal(size=500)
        out = np.zeros(500)

        def work(first, end):
            time.sleep(0.0001)
            out[first:end] = values[first:end]

        shared(work, 500)
        return np.array_equal(out, values)

    with ThreadPoolExecutor(8) as callers:
        assert all(callers.map(total, range(200)))


def test_one_thread_where_many_processes_share_the_cores(three):
    in_threads.one_thread_only()
    seen = set()
    shared(lambda first, end: seen.add(threading.get_ident()), 100)
    assert seen == {threading.get_ident()}


AT_THE_END = """
import atexit
from core.image.in_threads import shared
from core.image import in_threads
in_threads._helpers.count = 2
done = []
def work(first, end):
    done.extend(range(first, end))
def late():
    shared(work, 50)
    print(sorted(done) == list(range(50)))
atexit.register(late)
"""


@pytest.mark.slow
def test_while_the_program_ends_the_calling_thread_does_it():
    said = subprocess.run(
        [sys.executable, "-c", AT_THE_END], cwd=ROOT, capture_output=True, text=True,
        timeout=60 * PATIENCE, check=True,
    )  # fmt: skip
    assert said.stdout.strip() == "True", said.stderr


@pytest.mark.skipif(not hasattr(os, "fork"), reason="no fork here")
@pytest.mark.slow
def test_a_forked_process_has_threads_of_its_own():
    code = (
        "import os, signal\n"
        "from core.image import in_threads\n"
        "in_threads._helpers.count = 2\n"
        "work = lambda first, end: None\n"
        "in_threads.shared(work, 50)\n"
        "child = os.fork()\n"
        "if child == 0:\n"
        f"    signal.alarm(int(30 * {PATIENCE}))\n"
        "    futures = in_threads._helpers.asked(lambda: None, 2)\n"
        "    [one.result() for one in futures]\n"
        "    os._exit(len(futures))\n"
        "print(os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]))\n"
    )
    said = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True,
        timeout=60 * PATIENCE, check=True,
    )  # fmt: skip
    assert said.stdout.strip() == "2", said.stderr
