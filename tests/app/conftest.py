"""What panels and dialogs are tested on."""

import gc

import pytest

pytest.importorskip("PySide6")

from tests.app.case_at_hand import ListeningDesk, QuietSession, ledger, plan, volume

TURN_AWAY_MS = 450_000
"""Longer than any test needs that answers by itself, shorter than the limit of a test."""


@pytest.fixture
def desk():
    return ListeningDesk()


@pytest.fixture
def session(qapp):
    from app.widgets import style

    style.load_fonts()
    qapp.setStyleSheet(style.STYLE_SHEET)
    case = QuietSession()
    case.open(volume(), plan(), source="folder", window=(0.0, 1000.0))
    case.show_ledger(ledger(case.plan))
    yield case
    case.close()


@pytest.fixture
def closing():
    """Closes windows that a test left open; those that deleted themselves are gone already."""
    from shiboken6 import isValid

    windows = []

    def keep(window):
        windows.append(window)
        return window

    yield keep
    for window in windows:
        if isValid(window):
            window.close()


@pytest.fixture(autouse=True)
def _no_question_waits_for_ever(request):
    """A question that nobody answers is turned away, so that the test fails and the run goes on."""
    if "qapp" not in request.fixturenames and "qtbot" not in request.fixturenames:
        yield
        return
    from PySide6.QtCore import QTimer
    from PySide6.QtWidgets import QApplication, QDialog

    def turn_away():
        window = QApplication.activeModalWidget()
        if isinstance(window, QDialog):
            window.reject()

    timer = QTimer(interval=TURN_AWAY_MS)
    timer.timeout.connect(turn_away)
    timer.start()
    yield
    timer.stop()


@pytest.fixture(autouse=True, scope="module")
def _imported_is_no_garbage():
    """What stands before the first test is not walked through again after each of them."""
    gc.collect()
    gc.freeze()


@pytest.fixture(autouse=True)
def _garbage_in_this_thread():
    """As in the program: a worker must never collect the windows that a test left behind."""
    gc.disable()
    yield
    gc.collect()
