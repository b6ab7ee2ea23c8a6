"""The image judged by a person, with drawn examples: movement, streaks, noise, field, stent.

What the program found itself stands there chosen, as found, until the person's press confirms it.
"""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtWidgets import (
    QButtonGroup,
    QGridLayout,
    QLabel,
    QPushButton,
    QRadioButton,
    QWidget,
)

from app.case.attestations import PLACE_WORDS, TROUBLE_WORDS, now_iso, with_image_check
from app.case.session import Session
from app.dialogs.base import Dialog, open_dialog
from app.dialogs.examples import example_pixmap
from app.tools.base import Desk
from app.widgets import style
from core.measuring.found_troubles import FoundTrouble, found_troubles
from core.plans.plan import TROUBLE_PLACES, TROUBLES
from core.words.catalogue import message, say

MEANS = {
    "movement": message("dialogs.answers.image_check.edges-stand-twice-no-number"),
    "streaks": message("dialogs.answers.image_check.rays-from-metal-edges-near"),
    "noise": message("dialogs.answers.image_check.grain-hides-thin-plates-and"),
    "cut-off field": message("dialogs.answers.image_check.the-jaw-leaves-the-scanned"),
    "gap under the stent": message("dialogs.answers.image_check.air-below-it-its-axis"),
}

_COLUMN_PX = 164


class ImageDialog(Dialog):
    """One answer for each trouble; only what the program found is chosen beforehand."""

    heading = message("dialogs.answers.image_check.how-good-is-the-image")
    accept_words = message("dialogs.answers.image_check.answer")
    least_width = 900

    def __init__(self, session: Session, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(session, desk, parent)
        self.words(say("dialogs.answers.image_check.look-through-the-scan-at"))
        grid = QGridLayout()
        grid.setHorizontalSpacing(14)
        grid.setVerticalSpacing(4)
        self.groups: dict[str, QButtonGroup] = {}
        self.meanings: dict[str, QLabel] = {}
        self.found: tuple[FoundTrouble, ...] = ()
        check = session.plan.image_check
        for column, trouble in enumerate(TROUBLES):
            said = "" if check is None else check.trouble.get(trouble, "")
            self._question(grid, column, trouble, said)
        self.body.addLayout(grid)
        self.none = QPushButton()
        self.none.setAutoDefault(False)
        self.none.clicked.connect(lambda _on: self._none_of_the_others())
        self.body.addWidget(self.none)
        self.by = self.initials()
        self._show_found()
        session.ledger_changed.connect(self._show_found)

    def done(self, result: int) -> None:
        """Nothing is heard any more."""
        self.session.ledger_changed.disconnect(self._show_found)
        super().done(result)

    def check(self) -> None:
        """Let the buttons follow the answers."""
        super().check()
        answered = any(group.checkedId() >= 0 for group in self.groups.values())
        words = say("dialogs.answers.image_check.none-seen")
        if answered or self.found:
            words = say("dialogs.answers.image_check.none-of-the-others")
        self.none.setText(words)

    def is_complete(self) -> bool:
        """Every trouble answered, and signed with initials."""
        answered = all(group.checkedId() >= 0 for group in self.groups.values())
        return answered and bool(self.by.text().strip())

    def give(self) -> None:
        """Into the plan."""
        trouble = {name: TROUBLE_PLACES[group.checkedId()] for name, group in self.groups.items()}
        by = self.take_initials(self.by)
        self.session.apply(
            *with_image_check(self.session.plan, trouble=trouble, by=by, at=now_iso())
        )

    def _none_of_the_others(self) -> None:
        """What is answered holds; the rest is none, but for what was found and has no place yet."""
        found = {each.trouble for each in self.found}
        for trouble, group in self.groups.items():
            if group.checkedId() < 0 and trouble not in found:
                group.button(TROUBLE_PLACES.index("none")).setChecked(True)
        left = [group for group in self.groups.values() if group.checkedId() < 0]
        if self.is_complete():
            self._accepted()
        elif left:
            left[0].button(TROUBLE_PLACES.index("at the site")).setFocus()
        else:
            self.by.setFocus()

    def _show_found(self) -> None:
        """What was found in the image, as soon as it is known; no answer is taken back by it."""
        session, volume = self.session, self.session.volume
        basis = None if volume is None else session.basis.at_hand(session.plan, volume)
        if basis is None or self.found:
            return
        self.found = found_troubles(basis, (*session.plan.fixtures, *session.plan.sites))
        for each in self.found:
            group, meaning = self.groups[each.trouble], self.meanings[each.trouble]
            told = say("dialogs.answers.image_check.found-somewhere")
            if each.place:
                told = say("dialogs.answers.image_check.found", what=each.note.message)
            meaning.setText(told)
            meaning.setToolTip(each.note.message)
            meaning.setObjectName("strong")
            if each.place and group.checkedId() < 0:
                group.button(TROUBLE_PLACES.index(each.place)).setChecked(True)
        self.check()

    def _question(self, grid: QGridLayout, column: int, trouble: str, said: str) -> None:
        """One column: what it looks like, what it is, and where it is; answers stand in line."""
        grid.setColumnMinimumWidth(column, _COLUMN_PX)
        picture = QLabel()
        picture.setPixmap(example_pixmap(trouble))
        picture.setAccessibleName(
            say("dialogs.answers.image_check.drawn-example-of", trouble=TROUBLE_WORDS[trouble])
        )
        words = str(TROUBLE_WORDS[trouble])
        name = QLabel(f"{words[:1].upper()}{words[1:]}")
        name.setFont(style.font(13, bold=True))
        meaning = QLabel(str(MEANS[trouble]))
        meaning.setObjectName("quiet")
        for label in (name, meaning):
            label.setWordWrap(True)
            label.setFixedWidth(_COLUMN_PX)
            label.setAlignment(Qt.AlignmentFlag.AlignTop)
        for row, widget in enumerate((picture, name, meaning)):
            grid.addWidget(widget, row, column)
        self.meanings[trouble] = meaning
        group = QButtonGroup(self)
        for number, place in enumerate(TROUBLE_PLACES):
            answer = str(PLACE_WORDS[place])
            if (trouble, place) == ("gap under the stent", "none"):
                answer = say("dialogs.answers.image_check.none-or-no-stent")
            button = QRadioButton(answer)
            button.setAccessibleName(f"{words}: {answer}")
            button.setChecked(place == said)
            group.addButton(button, number)
            grid.addWidget(button, 3 + number, column)
        group.idToggled.connect(self.check)
        self.groups[trouble] = group


def ask_image_check(session: Session, desk: Desk, parent: QWidget | None) -> Dialog:
    """Ask for the judgement of the image."""
    return open_dialog(ImageDialog(session, desk, parent))
