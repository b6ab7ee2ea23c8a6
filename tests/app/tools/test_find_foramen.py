"""One click, a proposed foramen that counts for nothing, and its confirmation by Enter."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from PySide6.QtCore import Qt

from app.tools import find_foramen
from app.tools.catalogue import TOOLS
from app.tools.find_foramen import FindForamen
from core.arch import Arch
from core.bone.found_foramen import FoundForamen
from core.measurement import Note
from core.measuring.expected_list import expected_list
from tests.app.tools.table import ARCH_POINTS, LEVEL, STATION
from tests.app.tools.test_find_floor import volume
from tests.app.tools.test_spots_and_teeth import beside


def foramen(station=STATION + 1.0):
    """3 mm wide, 10 mm below the arch on its cheek's side."""
    frame = Arch.trace(ARCH_POINTS, level=LEVEL).frame(station)
    middle = frame.origin + 6.0 * frame.buccal - 10.0 * frame.up
    turn = np.linspace(0.0, 2.0 * np.pi, 25)
    rim = middle + 1.5 * (np.cos(turn)[:, None] * frame.travel + np.sin(turn)[:, None] * frame.up)
    return FoundForamen(
        edges_mm=np.stack([middle - 1.5 * frame.travel, middle + 1.5 * frame.travel]),
        upper_mm=middle + 1.5 * frame.up, middle_mm=middle, outline_mm=rim, station_mm=station,
    )  # fmt: skip


@pytest.fixture
def t(table, monkeypatch):
    made = table(FindForamen, jaw="lower")
    made.found, made.clicked = foramen(), []

    def around(_volume, _arch, click, _points, *, cancelled):
        made.clicked.append(click)
        return made.found

    monkeypatch.setattr(find_foramen, "foramen_around", around)
    made.session._measure = lambda: None
    made.session.volume = volume()
    yield made
    made.tool.stop()
    made.session.volume = None


def proposed(t, qtbot):
    point = t.click(t.section, 5.5, -9.5)
    qtbot.waitUntil(lambda: t.tool.proposed is not None)
    return point


def test_what_is_proposed_counts_for_nothing_and_is_drawn_as_proposed(t, qtbot):
    point = proposed(t, qtbot)
    assert t.clicked[0] == pytest.approx(point)
    assert t.now() == t.start
    assert t.desk.said[-1].startswith("A foramen 3.0 mm wide was found.")
    assert t.session.station_mm == pytest.approx(STATION + 1.0, abs=0.05)
    drawn = t.tool.draft(t.section)
    (line,) = drawn.lines
    assert line.style == "proposed"
    assert np.ptp(line.points[:, 1]) == pytest.approx(3.0, abs=0.2), (
        "from its lower rim to its upper"
    )
    assert [label.text for label in drawn.labels] == ["proposed"]
    assert len(t.tool.draft(t.panorama).lines) == 1
    t.session.go_to(station_mm=STATION + 9.0)
    assert t.tool.draft(t.section).lines == ()
    t.type(Qt.Key.Key_Escape)
    assert t.tool.proposed is None
    assert t.now() == t.start


def test_enter_makes_it_a_foramen_like_any_other(t, qtbot):
    t.tool.wanted = "foramen"
    proposed(t, qtbot)
    t.type(Qt.Key.Key_Return)
    (made,) = t.plan.structures
    assert (made.id, made.kind) == ("foramen-left", "foramen")
    # On the left stations grow backwards: the first edge is the mesial one.
    assert made.mesial == pytest.approx(t.found.edges_mm[0])
    assert made.distal == pytest.approx(t.found.edges_mm[1])
    assert made.upper == pytest.approx(t.found.upper_mm)
    assert t.desk.led_on
    assert t.undo_all() == t.start


def test_where_none_is_found_it_says_why_and_nothing_stands_anywhere(t, qtbot):
    t.found = Note("foramen-not-found")
    t.click(t.section, 5.5, -9.5)
    qtbot.waitUntil(lambda: t.desk.said[-1] == Note("foramen-not-found").message)
    assert t.tool.proposed is None
    assert t.now() == t.start


def test_in_the_upper_jaw_it_says_why_there_is_none(t):
    t.session.plan = replace(t.plan, jaw="upper")
    t.click(t.section, 5.5, -9.5)
    assert t.clicked == []
    assert t.desk.said[-1].startswith("Find foramen works in the lower jaw only")


@pytest.mark.parametrize(("tooth", "forwards_mm"), [("36", 10.5), ("35", 3.5), ("34", -3.5)])
def test_who_is_led_to_it_comes_to_between_the_premolars(t, tooth, forwards_mm):
    fixture = beside(t, STATION, tooth)
    plan = replace(t.plan, fixtures=(fixture,))
    (item,) = [
        i for i in expected_list(plan, t.session.arch, fixture) if i.expected.name == "foramen"
    ]
    assert STATION - item.station_mm == pytest.approx(forwards_mm, abs=0.1)


def test_it_stands_beside_the_foramen_that_is_marked_by_hand():
    names = [tool.name for tool in TOOLS]
    assert names.index("Find foramen") == names.index("foramen") - 1
