"""What the chosen fixture's tooth still needs marked: a button that leads from one to the next."""

from __future__ import annotations

from functools import partial

from PySide6.QtGui import QKeySequence
from PySide6.QtWidgets import QMenu, QToolButton, QWidget

from app.case.session import Session
from app.panels.rows_shown import mark_tool
from app.tools.base import Desk
from app.tools.find_floor import FindFloor
from app.tools.find_foramen import FindForamen
from app.tools.find_root import FindRoot
from app.tools.follow_canal import FollowCanal
from app.tools.jaw import Midline
from app.tools.point_marks import Contact
from core.measuring.expected_list import ExpectedHere, expected_list
from core.measuring.sheet_lacks import SheetLack, sheet_lacks
from core.words.catalogue import Message, message, say

KEY = "Ctrl+M"

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


class NextMark(QToolButton):
    """Names what is missing first; pressed, it takes the tool and goes there.

    Its menu lists everything that the tooth expects, with its state, and what the sheet will miss
    though no limit needs it.
    """

    def __init__(self, session: Session, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.session = session
        self.desk = desk
        self.items: tuple[ExpectedHere, ...] = ()
        self.lacks: tuple[SheetLack, ...] = ()
        # One stop of F6 a panel: here the list; the button has a key of its own.
        self.setObjectName("fold")
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

    def refresh(self) -> None:
        """Read the session anew."""
        session = self.session
        fixture, arch = session.fixture, session.arch
        items: tuple[ExpectedHere, ...] = ()
        lacks: tuple[SheetLack, ...] = ()
        if fixture is not None and arch is not None and session.confirmed:
            items = expected_list(session.plan, arch, fixture)
            lacks = sheet_lacks(session.plan, arch, fixture) if items else ()
        if (items, lacks) != (self.items, self.lacks) or not items:
            self.items, self.lacks = items, lacks
            self._show()

    def lead(self) -> None:
        """Go on to the first thing that is missing, or that the sheet will miss."""
        if self.missing:
            self._go_to(self.missing[0])
        elif self.lacks:
            self._mark(self.lacks[0])

    def lead_on(self) -> None:
        """From one mark to the next that a limit needs; what else is marked a person chooses."""
        if self.missing:
            self.lead()

    def _show(self) -> None:
        self.setVisible(bool(self.items))
        left = self.missing
        if left:
            words = left[0].expected.words()
            sparse = left[0].state == "sparse"
            key = "panels.next_mark.next-more" if sparse else "panels.next_mark.next"
            self.setText(say(key, what=words))
            self.setToolTip(
                say("panels.next_mark.so-many", left=len(left), of=len(self.items), key=KEY)
            )
        elif self.lacks:
            words, reason = _LACKS[self.lacks[0].name]
            self.setText(say("panels.next_mark.for-the-sheet", what=words))
            self.setToolTip(say(reason, key=KEY))
        else:
            self.setText(say("panels.next_mark.nothing-missing"))
            self.setToolTip("")
        # A button forgets its key with every text.
        self.setShortcut(QKeySequence(KEY))
        menu = self.menu()
        menu.clear()
        for item in self.items:
            words, state = item.expected.words(), _STATES[item.state]
            action = menu.addAction(say("panels.next_mark.item", what=words, state=state))
            action.triggered.connect(partial(self._go_to, item))
        for lack in self.lacks:
            words, state = _LACKS[lack.name][0], message("panels.next_mark.not-marked")
            action = menu.addAction(say("panels.next_mark.item", what=words, state=state))
            action.triggered.connect(partial(self._mark, lack))

    def _mark(self, lack: SheetLack, _checked: bool = False) -> None:
        if lack.station_mm is not None:
            self.session.go_to(station_mm=lack.station_mm, across=True)
        self.desk.take_tool(_LACK_TOOLS[lack.name])

    def _go_to(self, item: ExpectedHere, _checked: bool = False) -> None:
        name = item.expected.name
        self.session.go_to(station_mm=item.station_mm, across=True)
        quicker = FindRoot.name if name.startswith("root-") else _QUICKER.get(name)
        self.desk.take_tool(quicker or mark_tool(name), name)
