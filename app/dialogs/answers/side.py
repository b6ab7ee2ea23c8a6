"""The side comparison: a person says that the site's side was compared with patient or chart."""

from __future__ import annotations

from PySide6.QtWidgets import (
    QAbstractButton,
    QButtonGroup,
    QGridLayout,
    QLabel,
    QLineEdit,
    QRadioButton,
    QWidget,
)

from app.case.attestations import now_iso, with_side
from app.case.session import Session
from app.dialogs.base import Dialog, open_dialog
from app.tools.base import Desk
from app.widgets.shared_texts import tooth_words
from core.identity import Side
from core.words.catalogue import message, say

AGAINST = ("patient", "chart")
SIDES: tuple[Side, ...] = ("right", "left")
ANSWERS = tuple((against, side) for against in AGAINST for side in SIDES)
_WORDS = {
    "patient": message("dialogs.answers.side.patient"),
    "chart": message("dialogs.answers.side.chart"),
    "right": message("dialogs.answers.side.right"),
    "left": message("dialogs.answers.side.left"),
}


class SideDialog(Dialog):
    """Which side, against what, by whom: nothing is chosen beforehand, one click answers both."""

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
        self.group = QButtonGroup(self)
        self.by = self._answers()

    def is_complete(self) -> bool:
        """Answered, and signed with initials."""
        return self.group.checkedId() >= 0 and bool(self.by.text().strip())

    def give(self) -> None:
        """Into the plan."""
        by = self.take_initials(self.by)
        against, side = ANSWERS[self.group.checkedId()]
        answer = with_side(self.session.plan, side=side, against=against, by=by, at=now_iso())
        self.session.apply(*answer)

    def button(self, against: str, side: str) -> QAbstractButton:
        """The button of one answer."""
        return self.group.button(ANSWERS.index((against, side)))

    def _answers(self) -> QLineEdit:
        """One answer says both, against what and which side; then who says so."""
        grid = QGridLayout()
        grid.setContentsMargins(18, 0, 0, 0)
        grid.setHorizontalSpacing(24)
        for number, (against, side) in enumerate(ANSWERS):
            row, column = AGAINST.index(against), SIDES.index(side)
            if not column:
                grid.addWidget(QLabel(str(_WORDS[against])), row, 0)
            button = QRadioButton(str(_WORDS[side]))
            button.setAccessibleName(f"{_WORDS[against]} {_WORDS[side]}")
            self.group.addButton(button, number)
            grid.addWidget(button, row, 1 + column)
        grid.setColumnStretch(3, 1)
        self.body.addLayout(grid)
        by = self.initials()
        self.group.idToggled.connect(self.check)
        # Whoever answered types who they are, or presses Enter where that is known.
        self.group.idClicked.connect(lambda _: by.setFocus())
        return by


def ask_side(session: Session, desk: Desk, parent: QWidget | None) -> Dialog:
    """Ask for the side comparison."""
    return open_dialog(SideDialog(session, desk, parent))
