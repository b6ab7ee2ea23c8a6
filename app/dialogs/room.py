"""Room for the crown: were the teeth together in this scan, or was the room measured elsewhere."""

from __future__ import annotations

from PySide6.QtWidgets import QButtonGroup, QLineEdit, QRadioButton, QWidget

from app.case.attestations import now_iso, with_entered_room, with_teeth_together
from app.case.session import Session
from app.dialogs.base import Dialog, open_dialog
from app.tools.base import Desk
from app.tools.prompts import read_length
from core.measuring.rows_crown import entered_room_mm, teeth_together
from core.words.catalogue import message, say
from core.words.values import row_of

TOGETHER = (
    message("dialogs.room.the-teeth-were-together-in"),
    message("dialogs.room.they-were-apart-or-nobody"),
)


class RoomDialog(Dialog):
    """One answer for the scan, and a room for each fixture that rules where it is entered."""

    heading = message("dialogs.room.room-for-the-crown")
    accept_words = message("dialogs.room.answer")

    def __init__(self, session: Session, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(session, desk, parent)
        self.words(say("dialogs.room.with-the-mouth-open-the"))
        self.together = QButtonGroup(self)
        for number, words in enumerate(TOGETHER):
            button = QRadioButton(str(words))
            self.together.addButton(button, number)
            self.body.addWidget(button)
        if teeth_together(session.plan):
            self.together.button(0).setChecked(True)
        self.together.idToggled.connect(self.check)
        self.rooms: dict[str, QLineEdit] = {}
        if session.plan.fixtures:
            self.words(
                say("dialogs.room.or-enter-the-room-from"), quiet=True,
            )  # fmt: skip
        for fixture in session.plan.fixtures:
            room = entered_room_mm(session.plan, fixture.id)
            value = "" if room is None else f"{room:g}"
            name = say("dialogs.room.room-at-mm", id=fixture.id)
            self.rooms[fixture.id] = self.line(name, value, hint=say("dialogs.room.empty-none"))
        self.by = self.initials()

    def is_complete(self) -> bool:
        """Something is answered, every room is a length, and initials stand there."""
        rooms = [line.text().strip() for line in self.rooms.values()]
        readable = all(read_length(text) is not None for text in rooms if text)
        said = self.together.checkedId() >= 0 or any(rooms) or bool(self._changed())
        return said and readable and bool(self.by.text().strip())

    def _changed(self) -> dict[str, float | None]:
        """Rooms that differ from what the plan holds."""
        found: dict[str, float | None] = {}
        for fixture_id, line in self.rooms.items():
            text = line.text().strip()
            room = read_length(text) if text else None
            if room != entered_room_mm(self.session.plan, fixture_id):
                found[fixture_id] = room
        return found

    def give(self) -> None:
        """Into the plan, as one step."""
        by, at = self.take_initials(self.by), now_iso()
        plan, texts = self.session.plan, []
        together = self.together.checkedId()
        if together >= 0:
            text, plan = with_teeth_together(plan, together=together == 0, by=by, at=at)
            texts.append(text)
        for fixture_id, room in self._changed().items():
            text, plan = with_entered_room(plan, fixture_id=fixture_id, mm=room, by=by, at=at)
            texts.append(text)
        self.session.apply(
            row_of(texts) or message("dialogs.room.room-for-the-crown-nothing"), plan
        )


def ask_room(session: Session, desk: Desk, parent: QWidget | None) -> Dialog:
    """Ask about the room for the crown."""
    return open_dialog(RoomDialog(session, desk, parent))
