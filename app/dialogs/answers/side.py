"""The side comparison: a person says that the site's side was compared with patient or chart."""

from __future__ import annotations

from PySide6.QtWidgets import QButtonGroup, QHBoxLayout, QRadioButton, QWidget

from app.case.attestations import now_iso, with_side
from app.case.session import Session
from app.dialogs.base import Dialog, open_dialog
from app.tools.base import Desk
from app.widgets.shared_texts import tooth_words
from core.identity import Side
from core.words.catalogue import message, say

AGAINST = ("patient", "chart")
SIDES: tuple[Side, ...] = ("right", "left")
_WORDS = {
    "patient": message("dialogs.answers.side.patient"),
    "chart": message("dialogs.answers.side.chart"),
    "right": message("dialogs.answers.side.right"),
    "left": message("dialogs.answers.side.left"),
}


class SideDialog(Dialog):
    """Which side, against what, by whom: nothing is chosen beforehand."""

    heading = message("dialogs.answers.side.which-side")
    accept_words = message("dialogs.answers.side.answer")

    def __init__(self, session: Session, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(session, desk, parent)
        self.words(say("dialogs.answers.side.compare-missing-and-crowned-teeth"))
        tooth = session.tooth_here
        if tooth:
            numbering = self.settings.value.numbering
            self.words(
                say(
                    "dialogs.answers.side.the-plan-names", tooth_words=tooth_words(tooth, numbering)
                ),
                quiet=True,
            )
        self.words(say("dialogs.answers.side.i-compared-missing-and-crowned"))
        self.against = self._choices(AGAINST)
        self.words(say("dialogs.answers.side.the-site-is-on-the"))
        self.side = self._choices(SIDES)
        self.by = self.initials()

    def is_complete(self) -> bool:
        """Both answered, and signed with initials."""
        answered = self.against.checkedId() >= 0 and self.side.checkedId() >= 0
        return answered and bool(self.by.text().strip())

    def give(self) -> None:
        """Into the plan."""
        by = self.take_initials(self.by)
        side = SIDES[self.side.checkedId()]
        against = AGAINST[self.against.checkedId()]
        answer = with_side(self.session.plan, side=side, against=against, by=by, at=now_iso())
        self.session.apply(*answer)

    def _choices(self, names: tuple[str, ...]) -> QButtonGroup:
        group = QButtonGroup(self)
        row = QHBoxLayout()
        row.setContentsMargins(18, 0, 0, 0)
        for number, name in enumerate(names):
            button = QRadioButton(str(_WORDS[name]))
            group.addButton(button, number)
            row.addWidget(button)
        row.addStretch(1)
        group.idToggled.connect(self.check)
        self.body.addLayout(row)
        return group


def ask_side(session: Session, desk: Desk, parent: QWidget | None) -> Dialog:
    """Ask for the side comparison."""
    return open_dialog(SideDialog(session, desk, parent))
