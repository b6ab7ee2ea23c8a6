"""One click on the lower border, a proposal that counts for nothing, and its confirmation."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from PySide6.QtCore import Qt

from app.tools import find_border
from app.tools.catalogue import TOOLS
from app.tools.find_border import FindBorder
from core.arch import Arch
from core.measurement import Note
from tests.app.tools.table import ARCH_POINTS, LEVEL, STATION
from tests.app.tools.test_find_floor import volume


def border():
    """14 mm below the arch, 12 mm to either side."""
    arch = Arch.trace(ARCH_POINTS, level=LEVEL)
    frames = [arch.frame(STATION + n) for n in np.arange(-12.0, 12.5)]
    return np.stack([f.origin + 1.0 * f.buccal - 14.0 * f.up for f in frames])


@pytest.fixture
def t(table, monkeypatch):
    made = table(FindBorder, jaw="lower")
    made.found, made.clicked = border(), []

    def around(_volume, _arch, click, _points, *, cancelled):
        made.clicked.append(click)
        return made.found

    monkeypatch.setattr(find_border, "border_around", around)
    made.session._measure = lambda: None
    made.session.volume = volume()
    yield made
    made.tool.stop()
    made.session.volume = None


def proposed(t, qtbot):
    point = t.click(t.section, 0.5, -13.5)
    qtbot.waitUntil(lambda: bool(t.tool.proposed))
    at_rest(t, qtbot)
    return point


def at_rest(t, qtbot):
    qtbot.waitUntil(lambda: not t.tool._run.isActive(), timeout=10_000)


def test_one_click_proposes_it_and_it_counts_for_nothing(t, qtbot):
    point = proposed(t, qtbot)
    assert t.clicked[0] == pytest.approx(point)
    assert t.now() == t.start
    assert [line.style for line in t.tool.draft(t.section).lines] == ["proposed"]
    assert "counts for nothing" in t.desk.said[-1]
    t.type(Qt.Key.Key_Escape)
    assert t.tool.proposed == ()
    assert t.now() == t.start


def test_it_is_confirmed_mark_by_mark(t, qtbot):
    proposed(t, qtbot)
    count = len(t.tool.proposed)
    assert count == 7, "less than 5 mm apart"
    for n in range(count):
        t.type(Qt.Key.Key_Return)
        at_rest(t, qtbot)
        (marked,) = t.plan.structures
        assert (marked.id, marked.kind) == ("border", "border")
        assert len(marked.points) == n + 1
    assert marked.points[[0, -1]] == pytest.approx(t.found[[0, -1]])
    assert set(marked.seen) == {"yes"}
    assert t.undo_all() == t.start


def test_where_none_is_found_it_says_why_and_nothing_stands_anywhere(t, qtbot):
    t.found = Note("border-not-found")
    t.click(t.section, 0.5, -13.5)
    qtbot.waitUntil(lambda: t.desk.said[-1] == Note("border-not-found").message)
    assert t.tool.clicks == []
    assert t.now() == t.start


def test_in_the_upper_jaw_it_says_why_there_is_none(t):
    t.session.plan = replace(t.plan, jaw="upper")
    t.click(t.section, 0.5, -13.5)
    assert t.clicked == []
    assert t.desk.said[-1].startswith("Find lower border works in the lower jaw only")


def test_it_stands_beside_the_border_that_is_marked_by_hand():
    names = [tool.name for tool in TOOLS]
    assert names.index("Find lower border") == names.index("border") - 1
