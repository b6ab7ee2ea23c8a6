"""Everything at the bench can be reached and used with keys alone."""

from __future__ import annotations

import pytest
from PySide6.QtCore import Qt, QTimer
from PySide6.QtTest import QTest
from PySide6.QtWidgets import (
    QAbstractButton,
    QAbstractItemView,
    QAbstractSpinBox,
    QApplication,
    QComboBox,
    QLineEdit,
    QMenu,
    QTextEdit,
    QWidget,
)

from app.panels.fixture import FixturePanel
from app.pictures.dial import Dial
from app.pictures.picture_view import PictureView
from app.tools.catalogue import TOOL, TOOLS
from app.widgets import messages
from tests.app.window.test_bench import SCAN, bench, opened

__all__ = ["bench"]
ALT, NONE = Qt.KeyboardModifier.AltModifier, Qt.KeyboardModifier.NoModifier
CONTROLS = (
    QAbstractButton, QAbstractItemView, QAbstractSpinBox, QComboBox, QLineEdit, QTextEdit,
    PictureView, Dial,
)  # fmt: skip


def controls_of(page):
    """What a hand with a mouse could use there now; parts of other controls count as those."""
    found = []
    for widget in page.findChildren(QWidget):
        if not isinstance(widget, CONTROLS) or not widget.isVisible() or not widget.isEnabled():
            continue
        parent = widget.parentWidget()
        within = False
        while parent is not None and parent is not page:
            within = within or isinstance(parent, CONTROLS)
            parent = parent.parentWidget()
        # The corner of a table selects all: not a function of its own.
        if not within and not type(widget).__name__.startswith("QTableCorner"):
            found.append(widget)
    return found


def round_of_tab(bench, start):
    """Everything that the Tab key comes to until it is back where it began."""
    start.setFocus()
    seen = [start]
    for _ in range(400):
        QTest.keyClick(bench.focusWidget(), Qt.Key.Key_Tab)
        here = bench.focusWidget()
        if here is start:
            return seen
        seen.append(here)
    raise AssertionError("the Tab key never comes back")


def names(widgets):
    return sorted(f"{type(w).__name__} {getattr(w, 'text', w.accessibleName)()!r}" for w in widgets)


def missed(bench, page, start):
    """Controls that Tab never comes to; tools of one row are gone through with the arrows."""
    seen = round_of_tab(bench, start)
    row = bench.work.tool_row
    by_arrows = {row.button(tool.name) for tool in TOOLS if not tool.folded}
    return names(w for w in controls_of(page) if w not in seen and w not in by_arrows)


def test_the_first_screen(bench):
    first = controls_of(bench.start)[0]
    assert missed(bench, bench.start, first) == []


@pytest.mark.parametrize("unfolded", [False, True])
@pytest.mark.parametrize("plan", ["", f"{SCAN}.plan.json"])
def test_every_control_of_the_bench(bench, qtbot, plan, unfolded):
    opened(bench, qtbot, plan)
    if not plan:
        bench.opening.guided_case()
    for place in bench.work.folds:
        bench.work.folds[place].setChecked(unfolded)
    assert missed(bench, bench.work, bench.pictures.section) == []


@pytest.mark.parametrize(("key", "jaw"), [(Qt.Key.Key_W, "lower"), (Qt.Key.Key_U, "upper")])
def test_the_proposal_is_confirmed_by_its_letter(bench, qtbot, monkeypatch, key, jaw):
    """The scan is one of a lower jaw: for the upper one it is asked once more."""
    opened(bench, qtbot)
    asked = []

    def yes(title, question, answers):
        asked.append(question)
        return answers[0]

    monkeypatch.setattr(bench, "choose", yes)
    bench.activateWindow()
    qtbot.waitUntil(bench.isActiveWindow)
    bench.pictures.section.setFocus()
    QTest.keyClick(bench.pictures.section, key, ALT)
    qtbot.waitUntil(lambda: bench.session.plan.jaw is not None, timeout=2000)
    assert bench.session.plan.jaw == jaw
    assert bench.session.confirmed
    assert len(asked) == (jaw == "upper")


def test_after_confirming_the_keys_go_to_the_section(bench, qtbot):
    """Else the next Space would press a button of the guide."""
    opened(bench, qtbot)
    bench.opening.guided_case()
    button = bench.work.proposed.for_lower
    button.setFocus()
    qtbot.waitUntil(button.hasFocus)
    QTest.keyClick(button, Qt.Key.Key_Space)
    assert bench.session.confirmed
    qtbot.waitUntil(bench.pictures.section.hasFocus)


def test_the_cuts_of_the_jaw_plane(bench, qtbot):
    opened(bench, qtbot, f"{SCAN}.plan.json")
    bench.take_tool("Jaw plane")
    assert missed(bench, bench.work, bench.pictures.section) == []


def test_every_tool_is_taken_by_keys(bench, qtbot):
    """Arrows go from tool to tool; what is folded is in a menu that Space opens."""
    opened(bench, qtbot, f"{SCAN}.plan.json")
    row = bench.work.tool_row
    row.button("Move").setFocus()
    taken = set()
    for _ in range(len(TOOLS)):
        taken.add(bench.hub.active.name)
        QTest.keyClick(bench.focusWidget(), Qt.Key.Key_Right)
    for name in sorted(tool.name for tool in TOOLS if tool.folded):
        button = row.button(name)
        menu = button.menu()
        menu.popup(button.mapToGlobal(button.rect().bottomLeft()))  # as Space does
        for _ in menu.actions():
            QTest.keyClick(menu, Qt.Key.Key_Down)
            if menu.activeAction() is not None and menu.activeAction().text() == TOOL[name].title():
                QTest.keyClick(menu, Qt.Key.Key_Return)
                break
        taken.add(bench.hub.active.name)
    assert taken == {tool.name for tool in TOOLS}


def entries(menu):
    return [a for a in menu.actions() if not a.isSeparator() and a.isVisible()]


def walk(menu, path=()):
    """Go down a menu by keys; every entry that can be chosen must be come to."""
    reached = set()
    wanted = {a.text() for a in entries(menu) if a.isEnabled()}
    for _ in range(2 * len(menu.actions()) + 2):
        QTest.keyClick(menu, Qt.Key.Key_Down)
        action = menu.activeAction()
        if action is None or action.text() in reached:
            continue
        reached.add(action.text())
        if action.menu() is not None:
            QTest.keyClick(menu, Qt.Key.Key_Right)
            assert action.menu().isVisible(), (*path, action.text())
            walk(action.menu(), (*path, action.text()))
            QTest.keyClick(action.menu(), Qt.Key.Key_Left)
    assert reached == wanted, path


def test_every_entry_of_every_menu(bench, qtbot):
    opened(bench, qtbot, f"{SCAN}.plan.json")
    bench.activateWindow()
    letters = set()
    for action in bench.menuBar().actions():
        letter = action.text()[action.text().index("&") + 1].upper()
        letters.add(letter)
        QTest.keyClick(bench, getattr(Qt.Key, f"Key_{letter}"), ALT)
        menu = action.menu()
        qtbot.waitUntil(menu.isVisible, timeout=2000)
        walk(menu, (action.text(),))
        menu.close()
        assert QApplication.activePopupWidget() is None
    assert len(letters) == len(bench.menuBar().actions()), "two menus have one letter"


def test_no_two_functions_have_one_key(bench, qtbot):
    opened(bench, qtbot, f"{SCAN}.plan.json")
    keys = [
        key.toString()
        for menu in bench.findChildren(QMenu)
        for action in menu.actions()
        for key in action.shortcuts()
    ]
    keys += [tool.key_hint for tool in TOOLS if tool.key_hint]
    assert len(keys) > 10
    assert sorted(keys) == sorted(set(keys))


def test_f6_goes_from_panel_to_panel_and_back(bench, qtbot):
    opened(bench, qtbot, f"{SCAN}.plan.json")
    bench.pictures.section.setFocus()
    seen = []
    for _ in range(12):
        QTest.keyClick(bench.focusWidget(), Qt.Key.Key_F6)
        seen.append(bench.focusWidget())
        if seen[-1] is bench.pictures.section:
            break
    assert seen[-1] is bench.pictures.section
    assert bench.work.panels["ledger"].view in seen
    assert bench.work.panels["log"].view in seen
    assert bench.pictures.panorama in seen
    assert bench.pictures.arch_map in seen
    assert bench.work.tool_row.button("Move") in seen
    QTest.keyClick(bench.focusWidget(), Qt.Key.Key_F6, Qt.KeyboardModifier.ShiftModifier)
    assert bench.focusWidget() is seen[-2]


def test_a_question_of_a_tool_is_answered_by_keys(bench, qtbot):
    """Space places at the crosshair, the question takes the typed answer: no mouse at all."""
    from PySide6.QtCore import QTimer
    from PySide6.QtWidgets import QInputDialog

    opened(bench, qtbot, f"{SCAN}.plan.json")
    bench.take_tool("cusp")
    bench.pictures.section.setFocus()
    timer = QTimer(interval=30)

    def answer():
        box = QApplication.activeModalWidget()
        if isinstance(box, QInputDialog):
            timer.stop()
            QTest.keyClicks(box.findChild(QLineEdit), "35")
            QTest.keyClick(box, Qt.Key.Key_Return)

    timer.timeout.connect(answer)
    timer.start()
    QTest.keyClick(bench.windowHandle(), Qt.Key.Key_C)
    QTest.keyClick(bench.windowHandle(), Qt.Key.Key_Space)
    assert any(s.id == "cusp-35-1" for s in bench.session.plan.structures)


def test_enter_alone_answers_no_question(bench, qtbot):
    """What only a person can say must be chosen: a key that was meant elsewhere turns away."""

    def press():
        box = QApplication.activeModalWidget()
        QTest.keyClick(box, Qt.Key.Key_Return)

    QTimer.singleShot(200, press)
    assert messages.choose(bench, "Which jaw", "Which is it?", ("Lower jaw", "Upper jaw")) is None


def test_a_size_key_after_a_typed_number_is_a_size_key(bench, qtbot):
    """Written into the box it would look as if the size had been changed."""
    opened(bench, qtbot, f"{SCAN}.plan.json")
    bench.take_tool("Adjust")
    box = bench.findChild(FixturePanel).boxes["deeper"]
    box.setFocus()
    box.selectAll()
    QTest.keyClicks(box, "0.5")
    QTest.keyClick(bench.windowHandle(), Qt.Key.Key_Return)
    assert bench.pictures.section.hasFocus()
    before = bench.session.fixture.size.diameter_mm
    QTest.keyClick(bench.windowHandle(), Qt.Key.Key_Less)
    assert bench.session.fixture.size.diameter_mm < before
