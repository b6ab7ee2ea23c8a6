"""The menu of a picture, a row and a size: what can be done there, by mouse and by key."""

from __future__ import annotations

import pytest
from PySide6.QtCore import QPoint, Qt
from PySide6.QtGui import QContextMenuEvent
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QMenu, QMessageBox

from app.panels.ledger_list import ENTRY
from app.window.bench import Bench
from core.fixture import FixtureSize
from core.plans.edit import find, is_locked
from tests.app.window.test_bench import SCAN, opened

BY_MOUSE, BY_KEY = QContextMenuEvent.Reason.Mouse, QContextMenuEvent.Reason.Keyboard


@pytest.fixture(scope="module")
def bench(qapp, tmp_path_factory):
    made = Bench(tmp_path_factory.mktemp("case") / "cases")
    made.resize(1366, 768)
    made.show()
    yield made
    for box in made.findChildren(QMessageBox):
        box.close()
    made.close()


@pytest.fixture
def case(bench, qtbot):
    if bench.session.volume is None:
        opened(bench, qtbot, f"{SCAN}.plan.json")
    session = bench.session
    fixture = session.plan.fixtures[0]
    session.go_to(station_mm=session.arch.station(fixture.platform), across=True, selected="36")
    qtbot.waitUntil(lambda: not bench.pictures.busy, timeout=60_000)
    bench.take_tool("Move")
    yield bench
    while session.undo_stack.canUndo():
        session.undo_stack.undo()


def asked(view, at, reason=BY_MOUSE) -> QMenu | None:
    """Ask for the menu there; the one that opened."""
    QApplication.sendEvent(view, QContextMenuEvent(reason, at, view.mapToGlobal(at)))
    popup = QApplication.activePopupWidget()
    return popup if isinstance(popup, QMenu) else None


def words(menu):
    return [a.text() for a in menu.actions() if a.text()]


def press(menu, text):
    (action,) = [a for a in menu.actions() if a.text() == text]
    menu.close()
    action.trigger()


def on_fixture(bench) -> QPoint:
    fixture = bench.session.plan.fixtures[0]
    return bench.pictures.section.screen_position(fixture.on_axis(4.0)).toPoint()


def test_on_a_fixture_its_own_acts_come_first(case):
    view = case.pictures.section
    QTest.mouseClick(view, Qt.MouseButton.RightButton, pos=on_fixture(case))
    menu = asked(view, on_fixture(case))
    found = words(menu)
    assert found[0] == "Fixture (implant) 36"
    assert found.index("Adjust") < found.index("Centre all views here")
    assert {"Plane through the fixture’s axis", "Lock", "Copy picture"} <= {
        w.replace("&", "") for w in found
    }
    press(menu, "Lock")
    assert is_locked(case.session.plan, "36")
    menu = asked(view, on_fixture(case))
    press(menu, "Unlock")
    assert not is_locked(case.session.plan, "36")


def test_on_a_mark_it_is_that_mark_which_is_deleted(case, qtbot):
    session, view = case.session, case.pictures.section
    canal = find(session.plan, "canal-left")
    number = len(canal.points) // 2
    session.go_to(station_mm=session.arch.station(canal.points[number]), across=True)
    qtbot.waitUntil(lambda: not case.pictures.busy, timeout=60_000)
    at = view.screen_position(canal.points[number]).toPoint()
    menu = asked(view, at)
    assert words(menu)[0] == f"Canal left: mark {number + 1}"
    press(menu, "Delete")
    assert len(find(session.plan, "canal-left").points) == len(canal.points) - 1
    assert case.hub.active.name == "Adjust"


def test_beside_everything_all_views_go_there(case):
    view = case.pictures.arch_map
    at = view.rect().center() + QPoint(40, 10)
    place = view.point_mm(*view.place(at.toPointF()))
    menu = asked(view, at)
    assert {"Arch", "Midline", "Jaw plane"} <= set(words(menu))
    press(menu, "Centre all views here")
    assert case.session.station_mm == pytest.approx(case.session.arch.station(place), abs=1e-6)


def test_while_marks_are_set_the_right_button_takes_back_and_the_key_still_asks(case):
    view = case.pictures.section
    case.take_tool("canal")
    assert asked(view, view.rect().center()) is None
    menu = asked(view, view.rect().center(), BY_KEY)
    assert "Canal" in words(menu)
    menu.close()


def test_a_row_of_measurements_offers_what_its_keys_do(case, qtbot):
    qtbot.waitUntil(lambda: case.session.ledger_is_whole, timeout=120_000)
    panel = case.work.panels["ledger"]
    view, model = panel.view, panel.model
    for fold in [e for e in model.entries if e.kind == "fold"]:
        panel._act("unfold", fold)
    row = next(
        n for n, e in enumerate(model.entries)
        if e.row and e.row.target == "canal-left" and e.row.limit and e.row.reading.witness
    )  # fmt: skip
    index = model.index(row)
    menu = view.menu(index)
    assert [a.text() for a in menu.actions()] == [
        "Show me", "Change limit …", "Uncertainty as a plot …", "Explain",
    ]  # fmt: skip
    assert index.data(ENTRY).row.limit is not None
    press(menu, "Show me")
    assert case.session.turn_deg is not None


def test_a_size_of_the_list_is_planned_or_looked_at_beside(case):
    panel = case.work.panels["my sizes"]
    sizes = [listed.size for listed in panel.model.sizes]
    other = FixtureSize(diameter_mm=3.5, length_mm=6.0)
    planned = case.session.fixture.size
    press(panel.menu(sizes.index(other)), "Look at another size beside it")
    assert (case.session.fixture.size, case.session.fixture.other_size) == (planned, other)
    view = case.pictures.section
    press(asked(view, on_fixture(case)), "Plan the other size in this place")
    assert (case.session.fixture.size, case.session.fixture.other_size) == (other, planned)
    QTest.keyClick(view, Qt.Key.Key_X)
