"""How often a panel is read in a drag: at once, then now and then, and the last pose."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

pytest.importorskip("PySide6")

from PySide6.QtCore import QObject

from app.panels import pace as module
from app.panels.pace import DRAGGED_MS, Pace
from tests.watchdog import PATIENCE


@pytest.fixture
def clock(monkeypatch):
    now = SimpleNamespace(seconds=1000.0)
    monkeypatch.setattr(module.time, "monotonic", lambda: now.seconds)
    return now


@pytest.fixture
def panel(qtbot, clock):
    """A panel that shows the session's pose, and every pose it was read at."""
    session = SimpleNamespace(dragging=False, pose=0)
    parent = QObject()
    read = []
    pace = Pace(session, lambda: read.append(session.pose), parent)
    return SimpleNamespace(session=session, read=read, pace=pace, parent=parent)


def follow(panel, pose):
    panel.session.pose = pose
    panel.pace.follow()


def test_without_a_drag_every_change_is_read_at_once(panel):
    for pose in (1, 2, 3):
        follow(panel, pose)
    assert panel.read == [1, 2, 3]


def test_in_a_drag_the_first_pose_at_once_then_no_more_than_one_in_its_time(panel, clock):
    panel.session.dragging = True
    for pose in range(30):
        follow(panel, pose)
        clock.seconds += DRAGGED_MS / 1e3 / 10
    assert panel.read == [0]


def test_what_was_put_off_is_read_when_the_time_is_over(panel, qtbot):
    panel.session.dragging = True
    for pose in (1, 2, 3):
        follow(panel, pose)
    assert panel.read == [1]
    qtbot.waitUntil(lambda: panel.read == [1, 3], timeout=10_000 * PATIENCE)


def test_a_pose_long_after_the_last_is_read_at_once(panel, clock):
    panel.session.dragging = True
    follow(panel, 1)
    clock.seconds += DRAGGED_MS / 1e3
    follow(panel, 2)
    assert panel.read == [1, 2]


def test_the_end_of_a_drag_is_read_at_once_and_once(panel, qtbot):
    panel.session.dragging = True
    follow(panel, 1)
    follow(panel, 2)
    panel.session.dragging = False
    follow(panel, 3)
    assert panel.read == [1, 3]
    qtbot.wait(2 * DRAGGED_MS)
    assert panel.read == [1, 3]
