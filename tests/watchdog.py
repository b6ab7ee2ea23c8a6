"""What keeps the run from hanging: a limit that ends the worker; waits for a busy machine.

A limit raised as an exception is lost where Qt calls the test's code: Qt swallows it and waits on.
So the limit of `pyproject.toml` ends the process (``timeout_method = "thread"``); run by workers,
the test is then red and the rest goes on in a new one. That needs Python to be free: where foreign
code holds the interpreter, the watchdog below, which needs no Python, ends the process a little
later.
"""

from __future__ import annotations

import faulthandler
import os
import sys

import pytest

GRACE_S = 30.0
"""After the limit, for its report."""

PATIENCE = 5
"""How much longer the tests' waits may take on a machine that is busy with other things.

A wait ends when what it waits for is there, so patience costs a green run nothing.
"""


def limit_of(item) -> float:
    """Seconds that a test may take, its own limit before the usual one."""
    mark = item.get_closest_marker("timeout")
    asked = item.config.getoption("timeout")
    usual = float(item.config.getini("timeout") or 0.0) if asked is None else float(asked)
    return float(mark.args[0]) if mark is not None and mark.args else usual


@pytest.hookimpl(wrapper=True)
def pytest_runtest_protocol(item, nextitem):
    """Watch a test from its set-up to its end."""
    limit = limit_of(item)
    if limit <= 0:
        return (yield)
    faulthandler.dump_traceback_later(limit + GRACE_S, exit=True, file=sys.__stderr__)
    try:
        return (yield)
    finally:
        faulthandler.cancel_dump_traceback_later()


if os.environ.get("SOUNDING_WITHOUT_QT") != "1":
    from pytestqt.qtbot import QtBot

    class PatientBot(QtBot):
        """Waits as the plug-in's own, only longer."""

        def waitUntil(self, callback, *, timeout=5000):  # noqa: N802  the plug-in's name
            """Wait until something is so."""
            super().waitUntil(callback, timeout=timeout * PATIENCE)

        def waitSignal(self, signal, *, timeout=5000, **how):  # noqa: N802
            """Wait for a signal."""
            return super().waitSignal(signal, timeout=timeout * PATIENCE, **how)

        def waitExposed(self, widget, *, timeout=5000):  # noqa: N802
            """Wait until a window is on the screen."""
            return super().waitExposed(widget, timeout=timeout * PATIENCE)

    @pytest.fixture
    def qtbot(qapp, request):
        """The plug-in's fixture, patient."""
        return PatientBot(request)
