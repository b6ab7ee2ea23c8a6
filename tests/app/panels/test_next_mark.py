"""The button that leads from one missing mark to the next, by real clicks and its key."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest

from app.panels.next_mark import NextMark
from app.tools.jaw import Midline
from app.tools.point_marks import Contact
from core.plans.edit import with_declaration, with_structure
from core.structures import Course, PointMarks, Tapered
from tests.app.case_at_hand import ListeningDesk, QuietSession, plan, volume


@pytest.fixture
def session():
    made = QuietSession()
    made.open(volume(), replace(plan(), structures=(), declared=()))
    return made


@pytest.fixture
def button(qtbot, session):
    made = NextMark(session, ListeningDesk())
    qtbot.addWidget(made)
    made.show()
    return made


def press(button):
    QTest.mouseClick(button, Qt.MouseButton.LeftButton, pos=button.rect().center() / 2)


CANAL = Course(id="canal-left", kind="canal", points=[(19.0, 10.0, 2.0), (20.0, 28.0, 2.0)])


def test_it_names_what_is_missing_first_and_takes_its_tool(session, button):
    assert button.text() == "Next: canal"
    assert "4 of 4" in button.toolTip()
    press(button)
    assert button.desk.tools == ["Follow canal"]


def test_marking_leads_on_to_the_next_and_undo_leads_back(session, button):
    session.apply("canal", with_structure(session.plan, CANAL))
    assert button.text() == "Next: foramen"
    press(button)
    assert button.desk.tools == ["Find foramen"]
    session.apply(
        "declared",
        with_declaration(
            session.plan, "foramen", "looked for, not visible", reason="", by="LM", at="now"
        ),
    )
    assert button.text() == "Next: root of 35"
    here = session.arch.station(session.fixture.platform)
    press(button)
    assert button.desk.tools[-1] == "Find root"
    assert session.station_mm < here, "35 stands before 36, on the left"
    session.undo_stack.undo()
    assert button.text() == "Next: foramen"


def test_its_key_leads_on_whatever_it_says(qtbot, session, button):
    session.apply("canal", with_structure(session.plan, CANAL))
    with qtbot.waitActive(button):
        button.activateWindow()
    QTest.keyClick(button.windowHandle(), Qt.Key.Key_M, Qt.KeyboardModifier.ControlModifier)
    qtbot.waitUntil(lambda: button.desk.tools == ["Find foramen"])


def test_its_menu_lists_everything_with_its_state(session, button):
    session.apply("canal", with_structure(session.plan, CANAL))
    words = [action.text() for action in button.menu().actions()]
    assert words == [
        "canal: marked",
        "foramen: still missing",
        "root of 35: still missing",
        "root of 37: still missing",
    ]
    button.menu().actions()[3].trigger()
    assert button.desk.tools == ["Find root"]


def everything(plan):
    """All four marked or declared."""
    root = {
        tooth: Tapered(
            id=f"root-{tooth}", kind="root", tooth=tooth, diameters_mm=(5, 2),
            points=np.add(plan.fixtures[0].platform, [[0, 0, 0], [0, 0, -9.0]]),
        )
        for tooth in ("35", "37")
    }  # fmt: skip
    for structure in root.values():
        plan = with_structure(plan, structure)
    for name in ("canal", "foramen"):
        plan = with_declaration(plan, name, "looked for, not visible", reason="", by="LM", at="now")
    return plan


def test_what_the_sheet_will_miss_is_named_before_nothing_is_left(qtbot):
    session = QuietSession()
    made = everything(replace(plan(), structures=(), declared=()))
    session.open(volume(), replace(made, midline=None))
    button = NextMark(session, ListeningDesk())
    qtbot.addWidget(button)
    button.show()
    assert button.text() == "For the sheet: midline"
    assert "counted from the end of the arch" in button.toolTip()
    assert [a.text() for a in button.menu().actions()][4:] == [
        "midline: not marked, the sheet will lack it",
        "contacts of the neighbours: not marked, the sheet will lack it",
    ]
    button.lead_on()
    assert button.desk.tools == [], "nobody is led on to what no limit needs"
    press(button)
    assert button.desk.tools == [Midline.name]
    session.open(volume(), made)
    assert button.text() == "For the sheet: contacts of the neighbours"
    press(button)
    assert button.desk.tools == [Midline.name, Contact.name]
    arch, fixture = session.arch, session.fixture
    here = arch.station(fixture.platform)
    points = [arch.frame(here + side).origin for side in (-4.0, 4.0)]
    marks = PointMarks(id="contact-1", kind="contact", points=np.stack(points))
    session.open(volume(), with_structure(made, marks))
    assert button.text() == "Nothing left to mark"


def test_without_a_fixture_or_before_the_jaw_is_confirmed_it_is_not_there(session, button):
    session.apply("fixture away", replace(session.plan, fixtures=()))
    assert not button.isVisible()
    session.undo_stack.undo()
    assert button.isVisible()
    session.apply("plane away", replace(session.plan, level=None))
    assert not button.isVisible()
