"""One click, a proposed root that counts for nothing, and its confirmation by Enter."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from PySide6.QtCore import Qt

from app.tools import find_root
from app.tools.catalogue import TOOLS
from app.tools.find_root import FindRoot
from core.arch import Arch
from core.bone.found_root import FoundRoot
from core.distances.tubes import tubes_of
from core.measurement import Note
from tests.app.tools.table import ARCH_POINTS, LEVEL, STATION
from tests.app.tools.test_find_floor import volume
from tests.app.tools.test_spots_and_teeth import beside

RIGHT = Qt.MouseButton.RightButton


def root(station=STATION + 1.0):
    """From 2 mm over the arch to 9 mm below it, 1 mm beside the section that is shown."""
    frame = Arch.trace(ARCH_POINTS, level=LEVEL).frame(station)
    return FoundRoot(
        neck_mm=frame.origin + 2.0 * frame.up, apex_mm=frame.origin - 9.0 * frame.up,
        diameters_mm=(4.61, 2.03), diameter_sd_mm=0.14, axis_sd_deg=0.5,
        oval_mm=0.1, seen=0.95, outline_mm=np.zeros((0, 3)),
    )  # fmt: skip


@pytest.fixture
def t(table, monkeypatch):
    made = table(FindRoot, jaw="lower")
    made.found, made.clicked = root(), []

    def around(_volume, _arch, jaw, click, _points, *, cancelled):
        made.clicked.append((jaw, click))
        return made.found

    monkeypatch.setattr(find_root, "root_around", around)
    made.session._measure = lambda: None
    made.session.volume = volume()
    yield made
    made.tool.stop()
    made.session.volume = None


def proposed(t, qtbot):
    point = t.click(t.section, 0.3, -3.0)
    qtbot.waitUntil(lambda: t.tool.proposed is not None)
    return point


def test_what_is_proposed_counts_for_nothing_and_is_told_with_its_doubt(t, qtbot):
    point = proposed(t, qtbot)
    assert t.clicked[0][0] == "lower"
    assert t.clicked[0][1] == pytest.approx(point)
    assert t.now() == t.start
    assert not t.session.undo_stack.canUndo()
    said = t.desk.said[-1]
    assert said.startswith("A root of 11.0 mm was found, 4.6 mm wide at the neck and 2.0 mm")
    assert "± 0.3 mm" in said
    assert "counts for nothing until you confirm it" in said
    t.type(Qt.Key.Key_Escape)
    assert t.tool.proposed is None
    assert t.now() == t.start
    assert t.tool.draft(t.section).lines == ()


def test_its_outline_is_drawn_as_proposed_in_the_section_through_it(t, qtbot):
    proposed(t, qtbot)
    assert t.session.station_mm == pytest.approx(STATION + 1.0, abs=0.05), "to where it stands"
    drawn = t.tool.draft(t.section)
    (line,) = drawn.lines
    assert line.style == "proposed"
    # A ball at the neck, and one at the apex that goes beyond the tip by about half its radius.
    assert np.ptp(line.points[:, 1]) == pytest.approx(11.0 + 4.61 / 2 + 0.57, abs=0.05)
    assert np.ptp(line.points[:, 0]) == pytest.approx(4.61, abs=0.05)
    assert [label.text for label in drawn.labels] == ["proposed"]
    # Beside the neck: at the apex it would be read as the canal's name.
    assert drawn.labels[0].at[1] == pytest.approx(2.0, abs=0.2)
    assert drawn.labels[0].at[0] > line.points[:, 0].max()
    assert drawn.compares
    assert len(t.tool.draft(t.panorama).lines) == 1
    assert len(t.tool.draft(t.map).lines) == 1
    t.session.go_to(station_mm=STATION + 9.0)
    assert t.tool.draft(t.section).lines == (), "not in a section that it does not reach"


def test_enter_makes_it_a_root_like_any_other(t, qtbot):
    proposed(t, qtbot)
    t.desk.answers = ["35"]
    t.type(Qt.Key.Key_Return)
    (made,) = t.plan.structures
    assert (made.id, made.kind, made.tooth) == ("root-35", "root", "35")
    assert made.points == pytest.approx(t.found.marks_mm)
    assert made.diameters_mm == pytest.approx(t.found.mark_diameters_mm)
    assert t.desk.asked[0].startswith("Root of which tooth?")
    assert t.tool.proposed is None
    assert t.session.selected == "root-35"
    assert t.undo_all() == t.start


def test_what_is_confirmed_is_what_was_drawn_as_proposed(t, qtbot):
    """Every place of the drawn outline lies on the confirmed chain of balls."""
    proposed(t, qtbot)
    (line,) = t.tool.draft(t.section).lines
    drawn = np.array([t.section.point_mm(*uv) for uv in line.points])
    t.desk.answers = ["35"]
    t.type(Qt.Key.Key_Return)
    (tube,) = tubes_of(t.plan.structures[0])
    centres, radii = tube.at(np.linspace(0.0, tube.length_mm, 2001))
    off = (np.linalg.norm(drawn[:, None] - centres, axis=2) - radii).min(axis=1)
    assert off == pytest.approx(np.zeros(len(off)), abs=0.03)


def test_turned_away_from_the_tooth_it_stays_proposed(t, qtbot):
    proposed(t, qtbot)
    t.desk.answers = [None]
    t.type(Qt.Key.Key_Return)
    assert t.tool.proposed is not None
    assert t.now() == t.start


def test_led_to_it_nobody_is_asked_and_the_next_one_follows(t, qtbot):
    fixture = beside(t, STATION + 8.0, "36")
    t.session.apply("fixture", replace(t.session.plan, fixtures=(fixture,)))
    t.session.go_to(selected=fixture.id)
    t.tool.wanted = "root-35"
    proposed(t, qtbot)
    t.type(Qt.Key.Key_Return)
    assert t.desk.asked == []
    assert [s.tooth for s in t.plan.structures] == ["35"]
    assert t.desk.led_on


def test_where_none_is_found_it_says_why_and_nothing_stands_anywhere(t, qtbot):
    for code in ("root-not-found", "root-touches", "root-metal", "root-not-scanned"):
        t.found = Note(code)
        t.click(t.section, 0.3, -3.0)
        qtbot.waitUntil(lambda code=code: t.desk.said[-1] == Note(code).message)
        assert t.tool.proposed is None
        assert t.now() == t.start


def test_a_further_click_searches_there_and_a_right_click_drops_it(t, qtbot):
    proposed(t, qtbot)
    proposed(t, qtbot)
    assert len(t.clicked) == 2
    t.click(t.section, 5.0, 5.0, button=RIGHT)
    assert t.tool.proposed is None
    assert t.now() == t.start


def test_of_an_oval_root_it_says_what_is_taken(t, qtbot):
    t.found = replace(root(), oval_mm=1.2)
    proposed(t, qtbot)
    assert t.desk.said[-1].endswith("It is oval by 1.2 mm; its larger diameter is taken all round.")


def test_it_stands_beside_the_root_that_is_marked_by_hand():
    names = [tool.name for tool in TOOLS]
    assert names.index("Find root") == names.index("root") - 1
    assert FindRoot.title() == "Find root"


def with_a_fixture_at(t, away_mm):
    fixture = beside(t, STATION + away_mm, "36")
    t.session.apply("fixture", replace(t.session.plan, fixtures=(fixture,)))
    t.session.go_to(selected=fixture.id)


def test_beside_a_named_tooth_enter_takes_the_tooth_with_the_mark_that_shows_it(t, qtbot):
    with_a_fixture_at(t, 8.0)
    proposed(t, qtbot)
    assert [label.text for label in t.tool.draft(t.section).labels] == ["proposed: root of 35"]
    assert "Enter confirms it as the root of 35" in t.tool.hint()
    t.type(Qt.Key.Key_Return)
    assert t.desk.asked == []
    assert [s.id for s in t.plan.structures] == ["root-35"]


def test_by_t_the_proposed_root_is_another_tooths(t, qtbot):
    with_a_fixture_at(t, 8.0)
    proposed(t, qtbot)
    t.desk.answers = ["34"]
    t.type(Qt.Key.Key_T)
    assert [label.text for label in t.tool.draft(t.section).labels] == ["proposed: root of 34"]
    t.type(Qt.Key.Key_Return)
    assert [s.id for s in t.plan.structures] == ["root-34"]
    # The next one is not named after it.
    t.session.go_to(station_mm=STATION)
    proposed(t, qtbot)
    assert "34" not in t.tool.hint()


def test_where_no_neighbour_is_plain_it_is_asked_whose_root_it_is(t, qtbot):
    with_a_fixture_at(t, 16.0)
    proposed(t, qtbot)
    assert [label.text for label in t.tool.draft(t.section).labels] == ["proposed"]
    t.desk.answers = ["34"]
    t.type(Qt.Key.Key_Return)
    assert t.desk.asked[0].startswith("Root of which tooth?")
