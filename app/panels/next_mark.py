"""What the case still needs: a button that leads from one thing to the next, up to the signature.

First the fixture, then all that its tooth needs marked, and what the sheet would lack, then what
only a person can say, then the sheet, where it is signed and written. It takes a tool or opens a
question; it answers none.
"""

from __future__ import annotations

from functools import partial

from PySide6.QtCore import QTimer
from PySide6.QtGui import QKeySequence
from PySide6.QtWidgets import QMenu, QSizePolicy, QToolButton, QWidget

from app.case.session import Session
from app.dialogs.answers.image_check import ask_image_check
from app.dialogs.answers.side import ask_side
from app.dialogs.base import Dialog
from app.dialogs.sheet.dialog import show_sheet
from app.panels.rows_shown import mark_tool
from app.tools.base import Desk
from app.tools.find_floor import FindFloor
from app.tools.find_foramen import FindForamen
from app.tools.find_root import FindRoot
from app.tools.fixture import Adjust, PlaceFixture
from app.tools.follow_canal import FollowCanal
from app.tools.jaw import Midline
from app.tools.point_marks import Contact
from core.measuring.expected_list import ExpectedHere, expected_list
from core.measuring.sheet_lacks import SheetLack, sheet_lacks
from core.plans.history import sign_off_state
from core.words.catalogue import Message, message, say

KEY = "Ctrl+M"

ALONG_DEG = 90.0
"""Turn of the plane through the fixture's axis that lies along the arch."""

_STATES = {
    "marked": message("panels.next_mark.marked"),
    "declared": message("panels.next_mark.declared"),
    "missing": message("panels.next_mark.missing"),
    "sparse": message("panels.next_mark.sparse"),
}
_LACKS: dict[str, tuple[Message, str]] = {
    "midline": (message("panels.next_mark.midline"), "panels.next_mark.why-midline"),
    "contacts": (message("panels.next_mark.contacts"), "panels.next_mark.why-contacts"),
}
_LACK_TOOLS = {"midline": Midline.name, "contacts": Contact.name}
_QUICKER = {
    "canal": FollowCanal.name,
    "foramen": FindForamen.name,
    "sinus": FindFloor.name,
    "nasal floor": FindFloor.name,
}
"""Where a click proposes the whole of it, that tool comes first."""


_AFTER = {
    "fixture": message("panels.next_mark.fixture"),
    "side": message("panels.next_mark.side"),
    "image": message("panels.next_mark.image"),
    "sheet": message("panels.next_mark.sheet"),
}
"""What comes before and after the marks."""


class NextMark(QToolButton):
    """Names what comes next; pressed, it takes the tool and goes there, or asks.

    Its menu lists everything that the tooth expects, with its state, and what the sheet will miss
    though no limit needs it; that is led to as well, and left out by pressing once more.
    """

    def __init__(self, session: Session, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.session = session
        self.desk = desk
        self.items: tuple[ExpectedHere, ...] = ()
        self.lacks: tuple[SheetLack, ...] = ()
        self._led_to = ""
        """Lack that a person was led to last."""
        self._left_out: set[tuple[str, str]] = set()
        """Fixture and lack that a person went on without."""
        self._shown: object = None
        self.setObjectName("next")
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.setPopupMode(QToolButton.ToolButtonPopupMode.MenuButtonPopup)
        self.setMenu(QMenu(self))
        self.clicked.connect(self.lead)
        for signal in (session.scan_changed, session.plan_changed, session.place_changed):
            signal.connect(self.refresh)
        self.refresh()

    @property
    def missing(self) -> tuple[ExpectedHere, ...]:
        """What is neither marked nor declared, or marked too sparsely for this fixture."""
        return tuple(item for item in self.items if item.state in ("missing", "sparse"))

    @property
    def lacking(self) -> SheetLack | None:
        """What the sheet lacks first, where nobody went on without it."""
        fixture = self.session.fixture
        if fixture is None:
            return None
        wanted = (lack for lack in self.lacks if (fixture.id, lack.name) not in self._left_out)
        return next(wanted, None)

    @property
    def step(self) -> str:
        """What comes next: a key of `_AFTER`, ``mark``, ``lack``, or nothing."""
        session = self.session
        plan = session.plan
        if session.volume is None or not session.confirmed:
            return ""
        if session.fixture is None:
            return "" if plan.sites else "fixture"
        lacking = self.lacking
        # The midline first: it tells whose side marks belong to.
        if self.missing and (lacking is None or lacking.name != "midline"):
            return "mark"
        if sign_off_state(plan) == "signed":
            return ""
        if lacking is not None:
            return "lack"
        if plan.side_check is None:
            return "side"
        return "image" if plan.image_check is None else "sheet"

    def refresh(self) -> None:
        """Read the session anew."""
        session = self.session
        fixture, arch = session.fixture, session.arch
        self.items, self.lacks = (), ()
        if fixture is not None and arch is not None and session.confirmed:
            self.items = expected_list(session.plan, arch, fixture)
            self.lacks = sheet_lacks(session.plan, arch, fixture) if self.items else ()
        self._show()

    def lead(self) -> None:
        """Go on to what comes next."""
        session, step = self.session, self.step
        if step == "mark":
            self._go_to(self.missing[0])
        elif step == "lack":
            self._lead_to_lack()
        elif step == "fixture":
            self.desk.take_tool(PlaceFixture.name)
        elif step == "side":
            self._then_on(ask_side(session, self.desk, self.window()))
        elif step == "image":
            self._then_on(ask_image_check(session, self.desk, self.window()))
        elif step == "sheet":
            show_sheet(session, self.desk, self.window())

    def lead_on(self) -> None:
        """From one mark to the next; after the last back to the fixture."""
        session = self.session
        fixture, arch = session.fixture, session.arch
        if self.step in ("mark", "lack"):
            self.lead()
        elif fixture is not None and arch is not None:
            here = arch.station(fixture.platform)
            session.go_to(station_mm=here, selected=fixture.id, across=True)
            self.desk.take_tool(Adjust.name)
            self.desk.say(say("panels.next_mark.all-marked"))

    def _lead_to_lack(self) -> None:
        """Take its tool; a person who was led there and goes on goes on without it."""
        fixture, lack = self.session.fixture, self.lacking
        if fixture is None or lack is None:
            return
        if self._led_to != lack.name:
            self._mark(lack)
            return
        self._led_to = ""
        self._left_out.add((fixture.id, lack.name))
        self.refresh()
        self.lead_on()

    def _then_on(self, question: Dialog) -> None:
        """After an answer that was led to, the next question or the sheet."""

        def lead() -> None:
            if self.step in ("image", "sheet"):
                self.lead()

        question.accepted.connect(lambda: QTimer.singleShot(0, lead))

    def _show(self) -> None:
        step, left = self.step, self.missing
        words = str(_AFTER.get(step, ""))
        tip = say("panels.next_mark.leads", key=KEY)
        if step == "mark":
            sparse = left[0].state == "sparse"
            key = "panels.next_mark.next-more" if sparse else "panels.next_mark.next"
            words = say(key, what=left[0].expected.words())
            tip = say("panels.next_mark.so-many", left=len(left), of=len(self.items), key=KEY)
        elif step == "lack" and self.lacking is not None:
            what, why = _LACKS[self.lacking.name]
            going_on = self._led_to == self.lacking.name
            words = say(
                "panels.next_mark.without" if going_on else "panels.next_mark.next", what=what
            )
            tip = say(why, key=KEY)
        elif step in ("side", "image", "sheet") and self.lacks:
            missed = [say(_LACKS[lack.name][1], key=KEY) for lack in self.lacks]
            tip = "\n".join((tip, *missed))
        shown = (step, words, tip, self.items, self.lacks)
        if shown == self._shown:
            return
        self._shown = shown
        self.setVisible(bool(step))
        self.setText(f"{words}   {KEY}")
        self.setToolTip(tip)
        # A button forgets its key with every text.
        self.setShortcut(QKeySequence(KEY))
        menu = self.menu()
        menu.clear()
        for item in self.items:
            name, state = item.expected.words(), _STATES[item.state]
            action = menu.addAction(say("panels.next_mark.item", what=name, state=state))
            action.triggered.connect(partial(self._go_to, item))
        for lack in self.lacks:
            name, state = _LACKS[lack.name][0], message("panels.next_mark.not-marked")
            action = menu.addAction(say("panels.next_mark.item", what=name, state=state))
            action.triggered.connect(partial(self._mark, lack))

    def _mark(self, lack: SheetLack, _checked: bool = False) -> None:
        session, fixture, arch = self.session, self.session.fixture, self.session.arch
        self._led_to = lack.name
        if lack.name == "contacts" and fixture is not None and arch is not None:
            # Along the arch both neighbours show the surfaces that face the gap.
            here = arch.station(fixture.platform)
            session.go_to(station_mm=here, turn_deg=ALONG_DEG, selected=fixture.id)
        self.desk.take_tool(_LACK_TOOLS[lack.name], lack.name)
        self._show()

    def _go_to(self, item: ExpectedHere, _checked: bool = False) -> None:
        name = item.expected.name
        self.session.go_to(station_mm=item.station_mm, across=True)
        quicker = FindRoot.name if name.startswith("root-") else _QUICKER.get(name)
        self.desk.take_tool(quicker or mark_tool(name), name)
