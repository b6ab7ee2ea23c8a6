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
from core.measuring.expected_list import ExpectedHere, expected_list
from core.words.catalogue import message, say

KEY = "Ctrl+M"

_STATES = {
    "marked": message("panels.next_mark.marked"),
    "declared": message("panels.next_mark.declared"),
    "missing": message("panels.next_mark.missing"),
}
_QUICKER = {
    "canal": FollowCanal.name,
    "foramen": FindForamen.name,
    "sinus": FindFloor.name,
    "nasal floor": FindFloor.name,
}
"""Where a click proposes the whole of it, that tool comes first."""


class NextMark(QToolButton):
    """Names what is missing first; pressed, it takes the tool and goes there.

    Its menu lists everything that the tooth expects, with its state.
    """

    def __init__(self, session: Session, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.session = session
        self.desk = desk
        self.items: tuple[ExpectedHere, ...] = ()
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
        """What is neither marked nor declared."""
        return tuple(item for item in self.items if item.state == "missing")

    def refresh(self) -> None:
        """Read the session anew."""
        session = self.session
        fixture, arch = session.fixture, session.arch
        items: tuple[ExpectedHere, ...] = ()
        if fixture is not None and arch is not None and session.confirmed:
            items = expected_list(session.plan, arch, fixture)
        if items != self.items or not items:
            self.items = items
            self._show()

    def lead(self) -> None:
        """Go on to the first thing that is missing."""
        if self.missing:
            self._go_to(self.missing[0])

    def _show(self) -> None:
        self.setVisible(bool(self.items))
        left = self.missing
        if left:
            words = left[0].expected.words()
            self.setText(say("panels.next_mark.next", what=words))
            self.setToolTip(
                say("panels.next_mark.so-many", left=len(left), of=len(self.items), key=KEY)
            )
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

    def _go_to(self, item: ExpectedHere, _checked: bool = False) -> None:
        name = item.expected.name
        self.session.go_to(station_mm=item.station_mm, across=True)
        quicker = FindRoot.name if name.startswith("root-") else _QUICKER.get(name)
        self.desk.take_tool(quicker or mark_tool(name), name)
