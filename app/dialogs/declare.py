"""A structure that is not marked, declared by a person with a reason."""

from __future__ import annotations

from PySide6.QtWidgets import QButtonGroup, QComboBox, QRadioButton, QWidget

from app.answers import DECLARED_STATES, now_iso
from app.dialogs.base import Dialog, open_dialog
from app.session import Session
from app.tools.base import Desk
from core.identity import Tooth, expected_structures, structure_words
from core.plans.edit import with_declaration
from core.plans.plan import Plan
from core.plans.plan_checks import DECLARABLE

MEANS = {
    "not near this site": "it leaves the summary",
    "looked for, not visible": "it may still be there: counts as not met",
    "outside the scanned region": "this scan cannot tell: counts as not met",
}


class DeclareDialog(Dialog):
    """Which structure, which state, why, by whom."""

    heading = "Declare a structure"
    accept_words = "Declare"

    def __init__(
        self, session: Session, desk: Desk, parent: QWidget | None = None, *, structure: str = ""
    ) -> None:
        super().__init__(session, desk, parent)
        self.words("Only for what is not marked. What can be seen is marked, even faintly.")
        self.structure = QComboBox()
        self.structure.setAccessibleName("Structure")
        for name in declarable(session.plan):
            self.structure.addItem(structure_words(name), name)
        chosen = self.structure.findData(structure.replace("nasal-floor", "nasal floor"))
        self.structure.setCurrentIndex(max(chosen, 0))
        self.body.addWidget(self.structure)
        self.state = QButtonGroup(self)
        for number, state in enumerate(DECLARED_STATES):
            button = QRadioButton(f"{state}: {MEANS[state]}")
            self.state.addButton(button, number)
            self.body.addWidget(button)
        self.state.idToggled.connect(self.check)
        self.reason = self.line("Reason", hint="why you can say so")
        self.by = self.initials()

    def is_complete(self) -> bool:
        """State, reason and initials."""
        texts = (self.reason.text().strip(), self.by.text().strip())
        return self.state.checkedId() >= 0 and all(texts)

    def give(self) -> None:
        """Into the plan."""
        by = self.take_initials(self.by)
        name = str(self.structure.currentData())
        state, reason = DECLARED_STATES[self.state.checkedId()], self.reason.text().strip()
        plan = with_declaration(self.session.plan, name, state, reason=reason, by=by, at=now_iso())
        self.session.apply(f"{structure_words(name)} declared: {state} ({reason})", plan)


def declarable(plan: Plan) -> tuple[str, ...]:
    """Names that can be declared: the fixed ones, and the roots beside the plan's teeth."""
    teeth = [f.tooth for f in plan.fixtures if f.tooth] + [s.tooth for s in plan.sites if s.tooth]
    roots = [
        name
        for tooth in teeth
        for expected in expected_structures(Tooth.of(tooth))
        for name in expected.any_of
        if name.startswith("root-")
    ]
    return tuple(dict.fromkeys((*DECLARABLE, *roots)))


def ask_declaration(
    session: Session, desk: Desk, parent: QWidget | None, *, structure: str = ""
) -> Dialog:
    """Ask for a declaration; `structure` is chosen beforehand."""
    return open_dialog(DeclareDialog(session, desk, parent, structure=structure))
