"""The jaw plane laid by its line in front and side cut, by real drags and keys on the bench."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from PySide6.QtCore import QPoint, Qt
from PySide6.QtTest import QTest

from app.tools.level_line import LevelLine
from core.geometry import angle_deg
from tests.app.window.test_bench import SCAN, bench, opened

__all__ = ["bench"]
LEFT, NONE = Qt.MouseButton.LeftButton, Qt.KeyboardModifier.NoModifier
CTRL, ALT = Qt.KeyboardModifier.ControlModifier, Qt.KeyboardModifier.AltModifier
SIDES = ["front", "side"]


@pytest.fixture
def cuts(bench, qtbot):
    opened(bench, qtbot, f"{SCAN}.plan.json")
    bench.take_tool("Jaw plane")
    shown = bench.work.strip.cuts
    qtbot.waitUntil(lambda: all(v.has_picture for v in shown.views), timeout=20000)
    return shown


def line(bench, view):
    return LevelLine.of(view, bench.session.guide.level)


def drag(view, place_uv, shift_px, *, release=True):
    """Drag by whole pixels; the way in the patient."""
    x, y = view.to_screen().map(*place_uv)
    first = QPoint(round(x), round(y))
    last = first + QPoint(*shift_px)
    a, b = (view.point_mm(*view.place(p.toPointF())) for p in (first, last))
    QTest.mousePress(view, LEFT, NONE, first)
    QTest.mouseMove(view, first + QPoint(*shift_px) / 2)
    QTest.mouseMove(view, last)
    if release:
        QTest.mouseRelease(view, LEFT, NONE, last)
    return b - a


@pytest.mark.parametrize("which", SIDES)
def test_the_line_moves_the_plane_and_its_ends_turn_it(bench, cuts, qtbot, which):
    session = bench.session
    view = getattr(cuts, which)
    other = cuts.side if view is cuts.front else cuts.front
    before = session.plan.level
    way = drag(view, line(bench, view).ends_uv.mean(axis=0), (0, -14))
    moved = session.plan.level
    assert moved.up == pytest.approx(before.up, abs=1e-12)
    assert moved.height_mm(before.origin + way) == pytest.approx(0, abs=1e-9)
    assert session.undo_stack.count() == 1
    was, beside = line(bench, view), line(bench, other)
    way = drag(view, was.ends_uv[1], (0, -20))
    now = line(bench, view)
    # The end went with the mouse, the other stayed, and the other cut leans as before.
    ends = [view.point_mm(*uv) for uv in was.ends_uv]
    assert session.plan.level.height_mm(ends[0]) == pytest.approx(0, abs=1e-9)
    assert session.plan.level.height_mm(ends[1] + way) == pytest.approx(0, abs=1e-9)
    assert now.lean_deg > was.lean_deg + 1
    assert line(bench, other).lean_deg == pytest.approx(beside.lean_deg, abs=1e-6)
    assert f"rotated in the {which} cut" in session.undo_stack.undoText()
    tilt = angle_deg(session.plan.level.up, (0, 0, 1))
    assert f"tilted {tilt:.1f}°" in session.undo_stack.undoText()
    session.undo_stack.undo()
    session.undo_stack.undo()
    assert session.plan.level is before


def test_pictures_follow_while_it_is_dragged_and_escape_puts_it_back(bench, cuts, qtbot):
    session, view = bench.session, cuts.front
    before, grid = session.plan.level, bench.pictures.section.grid
    drag(view, line(bench, view).ends_uv[0], (0, 18), release=False)
    qtbot.waitUntil(lambda: angle_deg(session.plan.level.up, before.up) > 1)
    qtbot.waitUntil(lambda: angle_deg(bench.pictures.section.grid.up, grid.up) > 1)
    assert session.undo_stack.count() == 0
    QTest.keyClick(view, Qt.Key.Key_Escape)
    assert session.plan.level is before
    QTest.mouseRelease(view, LEFT)
    assert session.undo_stack.count() == 0


def test_how_far_it_lies_off_the_teeth_follows_the_line(bench, cuts):
    """Lifted by so much, every tip lies lower against it by as much."""
    session = bench.session
    assert session.proposal.crown_tips is not None
    drag(cuts.front, line(bench, cuts.front).ends_uv.mean(axis=0), (0, -40))
    level, tips = session.plan.level, session.proposal.crown_tips
    worst = np.abs(level.height_mm(tips)).max()
    assert max(each.mm for each in session.plane_misses) == pytest.approx(worst)
    assert f"{worst:.1f}" in cuts.misses.text()


def test_its_tilt_stands_at_the_line(bench, cuts):
    (label,) = bench.hub.active.draft(cuts.front).labels
    assert label.text == f"{abs(line(bench, cuts.front).lean_deg):.1f}°"


@pytest.mark.parametrize("which", SIDES)
def test_keys_lift_and_turn_it(bench, cuts, which):
    session, view = bench.session, getattr(cuts, which)
    view.setFocus()
    before = session.plan.level
    QTest.keyClick(bench.windowHandle(), Qt.Key.Key_Up, CTRL)
    place = line(bench, view)
    assert session.plan.level.height_mm(before.origin + 0.5 * np.eye(3)[2]) == pytest.approx(
        0, abs=1e-9
    )
    QTest.keyClick(bench.windowHandle(), Qt.Key.Key_Up, ALT)
    assert line(bench, view).lean_deg - place.lean_deg == pytest.approx(0.5, abs=1e-6)


def test_a_click_beside_the_line_looks_there_and_sets_nothing(bench, cuts):
    session = bench.session
    before, station = session.plan.level, session.station_mm
    QTest.mouseClick(cuts.front, LEFT, NONE, QPoint(cuts.front.width() // 2 - 60, 150))
    assert session.plan.level is before
    assert session.station_mm != station
    assert not bench.hub.active.busy()


def test_the_line_is_dragged_after_a_first_point_too(bench, cuts):
    session = bench.session
    before = session.plan.level
    QTest.mouseClick(bench.pictures.section, LEFT, NONE, bench.pictures.section.rect().center())
    assert bench.hub.active.busy()
    assert not bench.said.text(), "what the next click marks stands at the right already"
    drag(cuts.front, line(bench, cuts.front).ends_uv.mean(axis=0), (0, -14))
    assert session.plan.level is not before
    assert not bench.hub.active.busy()
    # Beside the line a click is a click: the points stay.
    QTest.mouseClick(bench.pictures.section, LEFT, NONE, bench.pictures.section.rect().center())
    QTest.mouseClick(cuts.front, LEFT, NONE, QPoint(cuts.front.width() // 2 - 60, 150))
    assert bench.hub.active.busy()


def test_the_jaw_is_asked_once_and_turning_away_leaves_everything(bench, cuts, monkeypatch):
    session = bench.session
    session.apply("no jaw yet", replace(session.plan, jaw=None))
    before, answers = session.plan.level, [None, "Upper jaw"]
    monkeypatch.setattr(bench, "choose", lambda *_words: answers.pop(0))
    middle = line(bench, cuts.side).ends_uv.mean(axis=0)
    drag(cuts.side, middle, (0, 12))
    assert session.plan.level is before
    assert session.undo_stack.count() == 1
    drag(cuts.side, middle, (0, 12))
    assert session.plan.jaw == "upper"
    assert session.undo_stack.count() == 2


def test_the_buttons_take_it_from_what_is_marked(bench, cuts):
    session = bench.session
    assert not cuts.proposed.isEnabled()  # a plane is set already
    QTest.mouseClick(cuts.stent, LEFT)
    axis = session.plan.stent_axes[0]
    assert angle_deg(session.plan.level.up, axis.occlusal - axis.gingival) < 1e-6
    QTest.mouseClick(cuts.roots, LEFT)
    assert "roots" in session.undo_stack.undoText()


def test_the_cuts_stand_there_only_while_the_plane_is_set(bench, cuts):
    assert cuts.isVisible()
    assert not bench.pictures.panorama.isVisible()
    bench.take_tool("Move")
    assert not cuts.isVisible()
    assert bench.pictures.panorama.isVisible()


def test_a_plane_far_off_the_fixtures_axis_is_told_beside_the_fixture(bench, cuts, qtbot):
    session, warning = bench.session, bench.work.panels["fixture"].warning
    qtbot.waitUntil(lambda: session.ledger_is_whole, timeout=60000)
    assert not warning.isVisible()
    cuts.front.setFocus()
    up = session.plan.level.up
    for _ in range(34):
        QTest.keyClick(cuts.front, Qt.Key.Key_Up, ALT)
    lean = angle_deg(session.plan.level.up, -session.plan.fixtures[0].towards_apex)
    assert lean > 15 > angle_deg(up, -session.plan.fixtures[0].towards_apex)
    qtbot.waitUntil(lambda: session.ledger_is_current and warning.isVisible(), timeout=60000)
    assert f"is tilted {lean:.0f} degrees from the jaw plane" in warning.text()
