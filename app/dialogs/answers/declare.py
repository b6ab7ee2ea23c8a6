"""A structure that is not marked, declared by a person with a reason."""

from __future__ import annotations

from PySide6.QtWidgets import QButtonGroup, QComboBox, QPushButton, QRadioButton, QWidget

from app.case.attestations import DECLARED_STATES, STATE_WORDS, now_iso
from app.case.session import Session
from app.dialogs.base import Dialog, open_dialog
from app.tools.base import Desk
from core.identity import Tooth, expected_structures, structure_words
from core.plans.edit import with_declaration, without_declaration
from core.plans.plan import MISSING, Declaration, Plan
from core.plans.plan_checks import DECLARABLE
from core.words.catalogue import message, say

MEANS = {
    "not near this site": message("dialogs.answers.declare.it-leaves-the-summary"),
    "looked for, not visible": message("dialogs.answers.declare.it-may-still-be-there"),
    "outside the scanned region": message("dialogs.answers.declare.this-scan-cannot-tell-counts"),
    "tooth missing": message("dialogs.answers.declare.there-is-no-root-so"),
}


class DeclareDialog(Dialog):
    """Which structure, which state, why, by whom."""

    heading = message("dialogs.answers.declare.declare-a-structure")
    accept_words = message("dialogs.answers.declare.declare")

    def __init__(
        self, session: Session, desk: Desk, parent: QWidget | None = None, *, structure: str = ""
    ) -> None:
        super().__init__(session, desk, parent)
        self.words(say("dialogs.answers.declare.only-for-what-is-not"))
        self.structure = QComboBox()
        self.structure.setAccessibleName(say("dialogs.answers.declare.structure"))
        for name in declarable(session.plan):
            self.structure.addItem(str(structure_words(name)), name)
        chosen = self.structure.findData(structure.replace("nasal-floor", "nasal floor"))
        self.structure.setCurrentIndex(max(chosen, 0))
        self.structure.currentIndexChanged.connect(self._read)
        self.body.addWidget(self.structure)
        self.before = self.words("", quiet=True)
        self.back = QPushButton(say("dialogs.answers.declare.take-this-declaration-back"))
        self.back.setAutoDefault(False)
        self.back.clicked.connect(self._take_back)
        self.body.addWidget(self.back)
        self.state = QButtonGroup(self)
        for number, state in enumerate(DECLARED_STATES):
            button = QRadioButton(f"{STATE_WORDS[state]}: {MEANS[state]}")
            self.state.addButton(button, number)
            self.body.addWidget(button)
        self.state.idToggled.connect(self.check)
        self.reason = self.line(
            say("dialogs.answers.declare.reason"),
            hint=say("dialogs.answers.declare.why-you-can-say-so"),
        )
        self.by = self.initials()
        self._read()

    def is_complete(self) -> bool:
        """State, reason and initials."""
        texts = (self.reason.text().strip(), self.by.text().strip())
        return self.state.checkedId() >= 0 and all(texts)

    def _read(self) -> None:
        """Say what the chosen structure is declared as already."""
        said = self._declared()
        of_a_tooth = str(self.structure.currentData()).startswith("root-")
        missing = self.state.button(DECLARED_STATES.index(MISSING))
        missing.setVisible(of_a_tooth)
        if not of_a_tooth and missing.isChecked():
            self.state.setExclusive(False)
            missing.setChecked(False)
            self.state.setExclusive(True)
        self.before.setVisible(said is not None)
        self.back.setVisible(said is not None)
        if said is not None:
            self.before.setText(
                say(
                    "dialogs.answers.declare.declared-2",
                    state=STATE_WORDS[said.state],
                    reason=said.reason,
                    by=said.by or "–",
                )
            )

    def _declared(self) -> Declaration | None:
        name = str(self.structure.currentData())
        return next((d for d in self.session.plan.declared if d.structure == name), None)

    def _take_back(self) -> None:
        name = str(self.structure.currentData())
        text = message(
            "dialogs.answers.declare.declaration-taken-back", structure_words=structure_words(name)
        )
        self.session.apply(text, without_declaration(self.session.plan, name))
        self._read()

    def give(self) -> None:
        """Into the plan."""
        by = self.take_initials(self.by)
        name = str(self.structure.currentData())
        state, reason = DECLARED_STATES[self.state.checkedId()], self.reason.text().strip()
        plan = with_declaration(self.session.plan, name, state, reason=reason, by=by, at=now_iso())
        self.session.apply(
            message(
                "dialogs.answers.declare.declared",
                structure_words=structure_words(name),
                state=STATE_WORDS[state],
                reason=reason,
            ),
            plan,
        )


def declarable(plan: Plan) -> tuple[str, ...]:
    """What can be declared or is: the fixed names, and the roots beside the plan's teeth."""
    teeth = [f.tooth for f in plan.fixtures if f.tooth] + [s.tooth for s in plan.sites if s.tooth]
    roots = [
        name
        for tooth in teeth
        for expected in expected_structures(Tooth.of(tooth))
        for name in expected.any_of
        if name.startswith("root-")
    ]
    declared = [d.structure for d in plan.declared]
    return tuple(dict.fromkeys((*DECLARABLE, *roots, *declared)))


def ask_declaration(
    session: Session, desk: Desk, parent: QWidget | None, *, structure: str = ""
) -> Dialog:
    """Ask for a declaration; `structure` is chosen beforehand."""
    return open_dialog(DeclareDialog(session, desk, parent, structure=structure))
