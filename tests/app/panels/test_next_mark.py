"""The button that leads from one missing mark to the next, by real clicks and its key."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest

from app.dialogs.answers.image_check import ImageDialog
from app.dialogs.answers.side import SideDialog
from app.dialogs.sheet.dialog import SheetDialog
from app.panels.next_mark import NextMark
from app.tools.jaw import Midline
from app.tools.point_marks import Contact
from core.arch import fixture_frame
from core.plans.edit import with_declaration, with_structure
from core.plans.plan import ImageCheck, SideCheck
from core.plans.side import arch_of
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


def said(button):
    """Its words without its key, which stands beside them."""
    assert button.text().endswith("   Ctrl+M")
    return button.text().removesuffix("   Ctrl+M")


def press(button):
    QTest.mouseClick(button, Qt.MouseButton.LeftButton, pos=button.rect().center() / 2)


CANAL = Course(
    id="canal-left", kind="canal", points=[(17.0, 2.0, 2.0), (19.0, 10.0, 2.0), (20.0, 38.0, 2.0)]
)


def test_it_names_what_is_missing_first_and_takes_its_tool(session, button):
    assert said(button) == "Next: canal"
    assert "4 of 4" in button.toolTip()
    press(button)
    assert button.desk.tools == ["Follow canal"]


def test_marking_leads_on_to_the_next_and_undo_leads_back(session, button):
    session.apply("canal", with_structure(session.plan, CANAL))
    assert said(button) == "Next: foramen"
    press(button)
    assert button.desk.tools == ["Find foramen"]
    session.apply(
        "declared",
        with_declaration(
            session.plan, "foramen", "looked for, not visible", reason="", by="LM", at="now"
        ),
    )
    assert said(button) == "Next: root of 35"
    here = session.arch.station(session.fixture.platform)
    press(button)
    assert button.desk.tools[-1] == "Find root"
    assert session.station_mm < here, "35 stands before 36, on the left"
    session.undo_stack.undo()
    assert said(button) == "Next: foramen"


def test_a_canal_traced_too_short_is_led_to_where_it_stops(session, button):
    short = Course(id="canal-left", kind="canal", points=CANAL.points[:2])
    session.apply("canal", with_structure(session.plan, short))
    assert said(button) == "Next: more marks of canal"
    here = session.arch.station(session.fixture.platform)
    press(button)
    assert button.desk.tools == ["Follow canal"]
    assert session.station_mm == pytest.approx(here + 9.0, abs=0.8), "behind 36, 2 mm past enough"


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
    """All four marked or declared, with the neighbours' contacts."""
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
    place, frame = plan.fixtures[0].platform, fixture_frame(plan.fixtures[0], arch_of(plan))
    above = place + np.array([0.0, 0.0, 3.0])
    points = np.stack([above + 4.0 * frame.m, above - 4.0 * frame.m])
    return with_structure(plan, PointMarks(id="contact-1", kind="contact", points=points))


def without_contacts(plan):
    """As it is before the contacts are marked."""
    return replace(plan, structures=tuple(s for s in plan.structures if s.kind != "contact"))


@pytest.fixture
def almost(qtbot):
    """All that limits need is marked; nothing of what the sheet will miss."""
    session = QuietSession()
    made = without_contacts(everything(replace(plan(), structures=(), declared=())))
    tooth = replace(made.fixtures[0], tooth="")
    session.open(volume(), replace(made, side_check=None, image_check=None, sign_off=None))
    button = NextMark(session, ListeningDesk())
    button.nameless = replace(session.plan, fixtures=(tooth,), midline=None)
    qtbot.addWidget(button)
    button.show()
    return button


def test_after_the_marks_that_limits_need_it_leads_to_the_contacts(almost):
    session = almost.session
    assert said(almost) == "Next: contacts of the neighbours"
    assert "no entry point from the neighbours" in almost.toolTip()
    (action,) = almost.menu().actions()[4:]
    assert action.text() == "contacts of the neighbours: not marked, the sheet will lack it"
    session.go_to(station_mm=1.0)
    press(almost)
    assert (almost.desk.tools, almost.desk.wanted) == ([Contact.name], "contacts")
    assert session.turn_deg == 90.0, "both surfaces stand in the plane along the arch"
    assert session.station_mm == pytest.approx(session.arch.station(session.fixture.platform))
    session.apply("contacts", everything(session.plan))
    assert said(almost) == "Next: confirm the side"


def test_pressed_once_more_it_goes_on_without_them(almost):
    press(almost)
    assert said(almost) == "Go on without contacts of the neighbours"
    press(almost)
    assert almost.desk.tools == [Contact.name, "Adjust"], "back to the fixture"
    assert said(almost) == "Next: confirm the side"
    assert "no entry point from the neighbours" in almost.toolTip(), "said until it is signed"
    almost.menu().actions()[4].trigger()
    assert almost.desk.tools[-1] == Contact.name, "and marked at any time"


def test_a_midline_that_is_needed_comes_before_the_marks(almost):
    almost.session.apply("nameless", replace(almost.nameless, structures=(), declared=()))
    assert said(almost) == "Next: midline"
    assert "told apart by distance only" in almost.toolTip()
    press(almost)
    assert almost.desk.tools == [Midline.name]
    press(almost)
    assert almost.desk.tools[-1] == "Follow canal", "without it to the marks"


def test_after_the_last_mark_it_leads_back_to_the_fixture_that_is_adjusted_now(qtbot):
    session = QuietSession()
    session.open(volume(), everything(replace(plan(), structures=(), declared=())))
    button = NextMark(session, ListeningDesk())
    qtbot.addWidget(button)
    session.go_to(station_mm=1.0, selected="root-35")
    button.lead_on()
    assert button.desk.tools == ["Adjust"]
    assert session.selected == session.fixture.id
    assert session.station_mm == pytest.approx(session.arch.station(session.fixture.platform))


def test_it_leads_from_the_fixture_to_the_signature(qtbot):
    session = QuietSession()
    made = everything(replace(plan(), structures=(), declared=(), side_check=None,
                              image_check=None, sign_off=None))  # fmt: skip
    session.open(volume(), replace(made, fixtures=()))
    button = NextMark(session, ListeningDesk())
    qtbot.addWidget(button)
    button.show()
    assert said(button) == "Next: place the fixture in the gap"
    press(button)
    assert button.desk.tools == ["Fixture"]
    session.apply("fixture", made)
    asked = []
    for words, answered, dialog in (
        ("confirm the side", {"side_check": SideCheck(side="left", against="chart")}, SideDialog),
        ("judge the image", {"image_check": ImageCheck(trouble={})}, ImageDialog),
        ("look at the sheet and sign", {}, SheetDialog),
    ):
        assert said(button) == f"Next: {words}"
        press(button)
        found = [d for d in button.window().findChildren(dialog) if d.isVisible()]
        asked += found
        assert len(found) == 1, words
        found[0].reject()
        session.apply(words, replace(session.plan, **answered))
    assert button.isVisible(), "until it is signed"


def test_before_the_jaw_is_confirmed_it_is_not_there(session, button):
    assert button.isVisible()
    session.apply("plane away", replace(session.plan, level=None))
    assert not button.isVisible()


def test_one_answer_leads_to_the_next_question_and_on_to_the_sheet(qtbot):
    session = QuietSession()
    made = everything(replace(plan(), structures=(), declared=(), side_check=None,
                              image_check=None, sign_off=None))  # fmt: skip
    session.open(volume(), made)
    session.operator = "LM"
    button = NextMark(session, ListeningDesk())
    qtbot.addWidget(button)
    button.show()

    def open_one(kind):
        return next((d for d in button.window().findChildren(kind) if d.isVisible()), None)

    press(button)
    side = open_one(SideDialog)
    side.button("chart", "left").click()
    QTest.keyClick(side.by, Qt.Key.Key_Return)
    qtbot.waitUntil(lambda: open_one(ImageDialog) is not None)
    QTest.mouseClick(open_one(ImageDialog).none, Qt.MouseButton.LeftButton)
    qtbot.waitUntil(lambda: open_one(SheetDialog) is not None)
    open_one(SheetDialog).reject()
    session.operator = ""
