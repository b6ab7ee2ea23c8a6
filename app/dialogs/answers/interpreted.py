"""Who interpreted the whole volume, and when."""

from __future__ import annotations

import re
from datetime import date

from PySide6.QtWidgets import QWidget

from app.case.attestations import now_iso, with_interpreter
from app.case.session import Session
from app.dialogs.base import Dialog, open_dialog
from app.tools.base import Desk
from core.words.catalogue import message, say


class InterpretedDialog(Dialog):
    """Name and date of a qualified reader; an empty name only takes an earlier answer back."""

    heading = message("dialogs.answers.interpreted.whole-volume-interpreted")
    accept_words = message("dialogs.answers.interpreted.answer")

    def __init__(self, session: Session, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(session, desk, parent)
        self.words(say("dialogs.answers.interpreted.a-scan-shows-more-than"))
        plan = session.plan
        self.name = self.line(
            say("dialogs.answers.interpreted.interpreted-by"),
            plan.interpreted_by,
            hint=say("dialogs.answers.interpreted.name-empty-not-yet"),
        )
        self.on = self.line(
            say("dialogs.answers.interpreted.on-year-month-day"),
            plan.interpreted_at[:10] or now_iso()[:10],
        )
        self.by = self.initials()
        self.name.setFocus()

    def is_complete(self) -> bool:
        """A name, a day that exists, and the initials of who says so.

        Without a name nothing is said, unless one that was given is taken back.
        """
        named = bool(self.name.text().strip() or self.session.plan.interpreted_by)
        return named and _is_day(self.on.text().strip()) and bool(self.by.text().strip())

    def give(self) -> None:
        """Into the plan."""
        self.take_initials(self.by)
        plan = self.session.plan
        name, on = self.name.text().strip(), self.on.text().strip()
        self.session.apply(*with_interpreter(plan, interpreter=name, on=on))


def _is_day(text: str) -> bool:
    if re.fullmatch(r"\d{4}-\d{2}-\d{2}", text) is None:
        return False
    try:
        return date.fromisoformat(text) <= date.fromisoformat(now_iso()[:10])
    except ValueError:
        return False


def ask_interpreted(session: Session, desk: Desk, parent: QWidget | None) -> Dialog:
    """Ask who interpreted the whole volume."""
    return open_dialog(InterpretedDialog(session, desk, parent))
