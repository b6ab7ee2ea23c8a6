"""One click, a proposed floor that counts for nothing, and its confirmation by mouse and keys."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from PySide6.QtCore import Qt

from app.tools import find_floor
from app.tools.catalogue import TOOLS
from app.tools.find_floor import FindFloor
from core.arch import Arch
from core.bone.found_floor import FoundFloor
from core.fixture import Fixture, FixtureSize
from core.image.volume import Volume
from core.measurement import Note
from tests.app.tools.table import ARCH_POINTS, LEVEL, STATION


def floor(station=STATION):
    """A level floor 8 mm over the arch, seen 8 mm to either side."""
    arch = Arch.trace(ARCH_POINTS, level=LEVEL)
    stations = station + np.arange(-11.0, 11.5)
    across = np.arange(-8.0, 8.5)
    frames = [arch.frame(s) for s in stations]
    feet = np.stack([f.origin + across[:, None] * f.buccal for f in frames])
    height = np.full(feet.shape[:2], 8.0)
    return FoundFloor(
        feet_mm=feet, apical=LEVEL.up, station_mm=stations, height_mm=height,
        sd_mm=np.full_like(height, 0.1),
    )  # fmt: skip


def volume():
    """A scan around the whole arch: what is found in it is told by the test."""
    affine = np.diag([4.0, 4.0, 4.0, 1.0])
    affine[:3, 3] = -60.0
    return Volume(
        voxels=np.zeros((40, 40, 40), np.int16), mm_from_ijk=affine, made_up=np.zeros(40, bool)
    )


@pytest.fixture
def t(table, monkeypatch):
    made = table(FindFloor, jaw="upper")
    made.found, made.clicked = floor(), []

    def around(_volume, _arch, click, _points, *, site, cancelled):
        made.clicked.append(click)
        made.site = site
        return made.found

    monkeypatch.setattr(find_floor, "floor_around", around)
    made.session._measure = lambda: None
    made.session.volume = volume()
    yield made
    made.tool.stop()
    made.session.volume = None


def proposed(t, qtbot):
    point = t.click(t.section, 0.3, 8.4)
    qtbot.waitUntil(lambda: bool(t.tool.proposed))
    return point


def test_what_is_proposed_counts_for_nothing(t, qtbot):
    point = proposed(t, qtbot)
    assert t.clicked[0] == pytest.approx(point)
    assert t.now() == t.start
    drawn = t.tool.draft(t.section)
    assert [line.style for line in drawn.lines] == ["proposed"], "this section's, no other"
    assert [label.text for label in drawn.labels] == ["proposed"]
    assert len(drawn.dots) == 3
    assert len(t.tool.draft(t.map).lines) == 5
    t.type(Qt.Key.Key_Escape)
    assert t.tool.proposed == ()
    assert t.now() == t.start


def test_it_is_confirmed_section_by_section(t, qtbot):
    proposed(t, qtbot)
    arch = t.session.arch
    for n in range(5):
        assert t.session.station_mm == pytest.approx(STATION + 5.0 * (n - 2), abs=0.01)
        t.type(Qt.Key.Key_Return)
        (marked,) = t.plan.structures
        assert (marked.id, marked.of) == ("sinus-left", "sinus")
        assert len(marked.points) == 3 * (n + 1)
        here = [arch.station(p) for p in marked.points[-3:]]
        assert here == pytest.approx([STATION + 5.0 * (n - 2)] * 3, abs=0.05)
    assert t.tool.proposed == ()
    assert t.tool.draft(t.section).lines == ()
    assert "all 5 sections" in t.desk.said[-1]
    for left in (12, 9, 6, 3):
        t.session.undo_stack.undo()
        assert len(t.plan.structures[0].points) == left
    t.session.undo_stack.undo()
    assert t.now() == t.start


def test_shift_enter_confirms_each_section_after_it_stood_in_view(t, qtbot):
    t.tool.run_all._stands.setInterval(30)
    t.tool.wanted = "sinus"
    proposed(t, qtbot)
    t.type(Qt.Key.Key_Return, Qt.KeyboardModifier.ShiftModifier)
    qtbot.wait(100)
    assert t.now() == t.start, "nothing is confirmed before it is drawn"
    stations = []
    t.session.plan_changed.connect(lambda *_: stations.append(t.session.station_mm))

    def stands():
        t.tool.draft(t.section)
        return not t.tool.run_all.active

    qtbot.waitUntil(stands, timeout=10_000)
    (marked,) = t.plan.structures
    assert len(marked.points) == 15
    assert stations == pytest.approx([STATION + 5.0 * n for n in (-2, -1, 0, 1, 2)], abs=0.01)
    assert t.desk.led_on, "what was asked for is whole"


def test_a_section_that_was_undone_is_proposed_again(t, qtbot):
    proposed(t, qtbot)
    t.type(Qt.Key.Key_Return)
    t.type(Qt.Key.Key_Return)
    t.session.undo_stack.undo()
    assert "Section 2 of 5" in t.tool.hint()
    for _ in range(4):
        t.type(Qt.Key.Key_Return)
    assert len(t.plan.structures[0].points) == 15


def test_a_click_while_it_is_proposed_is_a_mark_by_hand(t, qtbot):
    proposed(t, qtbot)
    by_hand = t.click(t.section, 1.0, 7.0)
    assert t.plan.structures[0].points == pytest.approx(by_hand[None])
    t.type(Qt.Key.Key_Return)
    assert len(t.plan.structures[0].points) == 4
    assert "Section 2 of 5" in t.tool.hint()


def test_where_none_is_found_the_mark_stays_where_it_was_clicked_and_says_so(t, qtbot):
    t.found = Note("floor-not-found")
    point = t.click(t.section, 0.3, 8.4)
    qtbot.waitUntil(lambda: bool(t.plan.structures))
    assert t.plan.structures[0].points == pytest.approx(point[None])
    assert t.desk.said[-1].startswith("No floor was found around the click")


def test_a_nasal_floor_where_that_was_asked_for(t, qtbot):
    t.tool.wanted = "nasal floor"
    t.tool.start()
    proposed(t, qtbot)
    t.type(Qt.Key.Key_Return)
    assert (t.plan.structures[0].id, t.plan.structures[0].of) == ("nasal-floor-left", "nasal")


def placed(t):
    """A fixture under the floor at the site."""
    frame = t.session.arch.frame(STATION)
    fixture = Fixture(
        id="fixture-1", tooth="26", platform=frame.origin, towards_apex=frame.up,
        size=FixtureSize(diameter_mm=4.0, length_mm=6.0),
    )  # fmt: skip
    t.session.apply("fixture", replace(t.plan, fixtures=(fixture,)))
    t.session.go_to(selected=fixture.id)
    return fixture


def test_for_a_fixture_it_marks_what_its_rule_asks_for_and_leads_on(t, qtbot):
    placed(t)
    t.tool.wanted = "sinus"
    proposed(t, qtbot)
    assert t.site is not None
    while t.tool.proposed:
        t.type(Qt.Key.Key_Return)
    (marked,) = t.plan.structures
    assert t.site.lacks(marked.points) == ()
    assert t.desk.led_on


def test_where_not_all_that_it_needs_is_seen_it_says_what_and_goes_there(t, qtbot):
    placed(t)
    t.tool.wanted = "sinus"
    t.found.height_mm[15:] = np.nan
    proposed(t, qtbot)
    while t.tool.proposed:
        t.type(Qt.Key.Key_Return)
    said = t.desk.said[-1]
    assert "does not show all of the floor that this fixture needs" in said
    assert "too early on the distal side" in said
    assert not t.desk.led_on
    assert t.session.station_mm == pytest.approx(STATION + 7.0, abs=0.6)


def test_in_the_lower_jaw_it_says_why_there_is_none(table):
    made = table(FindFloor, jaw="lower")
    made.click(made.section, 0.0, 8.0)
    assert made.now() == made.start
    assert made.desk.said[-1].startswith("Find floor works in the upper jaw only")


def test_it_stands_beside_the_floors():
    names = [tool.name for tool in TOOLS]
    assert names.index("Find floor") == names.index("sinus") - 1
    assert FindFloor.title() == "Find floor"
