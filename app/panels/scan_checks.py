"""Scan checks: what limits measuring on this scan and plan, and what each means."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QFrame, QLabel, QPushButton, QScrollArea, QVBoxLayout, QWidget

from app.case.scan_checks import findings_of, is_warning, parts_of
from app.case.session import Session
from app.panels.base import Panel
from app.tools.base import Desk
from app.tools.tissues import PointAtTissues
from app.widgets import style
from core.findings import Finding
from core.plans.tissue_points import without_tissue_points
from core.words.catalogue import message, say

POINT = message("panels.scan_checks.point-at-the-tissues")
DROP = message("panels.scan_checks.drop-the-places-pointed-at")
CAN_BE_POINTED_AT = frozenset(
    {
        "levels_soft_unclear", "levels_cortex_unclear", "levels_no_bone", "tissue_points_refused",
        "tissue_points_incomplete",
    }
)  # fmt: skip
"""Checks that three clicks of a person may settle."""

POINTED_AT = frozenset({"levels_pointed", "tissue_points_not_needed", "tissue_points_refused"})

SEVERITY = {
    "refused": message("panels.scan_checks.no-number"),
    "caution": message("panels.scan_checks.caution"),
    "note": message("panels.scan_checks.note"),
}


class ScanChecks(Panel):
    """The list of findings, the gravest first."""

    title = message("panels.scan_checks.scan-checks")

    def __init__(self, session: Session, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(session, desk, parent)
        self.area = QScrollArea()
        self.area.setFrameShape(QFrame.Shape.NoFrame)
        self.area.setWidgetResizable(True)
        self.area.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.area.setAccessibleName(say("panels.scan_checks.scan-checks"))
        self.area.setStyleSheet(
            f"QScrollArea > QWidget > QWidget, QScrollArea {{ background: {style.PANEL.name()}; }}"
        )
        self.body.addWidget(self.area, 1)
        self._shown: tuple[str, ...] | None = None
        for signal in (session.scan_changed, session.plan_changed, session.ledger_changed):
            signal.connect(self.read)
        self.read()

    def read(self) -> None:
        """Read the session anew."""
        session = self.session
        if session.volume is not None and session.confirmed and not session.ledger_is_current:
            return  # while it is measured the last list stands: it comes and goes too fast to read
        found = findings_of(session)
        texts = (str(session.volume is None), *(f.severity + f.message for f in found))
        if texts == self._shown:
            return
        self._shown = texts
        cautions = sum(f.severity != "note" for f in found)
        notes = len(found) - cautions
        words = ", ".join(
            (
                say("panels.scan_checks.warnings", count=cautions),
                say("panels.scan_checks.notes", count=notes),
            )
        )
        self.aside.setText(words if found else "")
        self.marks = sum(is_warning(f) for f in found)
        self.marked.emit(self.marks)
        inner = QWidget()
        column = QVBoxLayout(inner)
        column.setContentsMargins(0, 0, 6, 0)
        column.setSpacing(2)
        for finding in found:
            self._add(column, finding)
        if not found:
            words = (
                say("panels.scan_checks.open-a-scan")
                if session.volume is None
                else say("panels.scan_checks.nothing-was-found-that-limits")
            )
            column.addWidget(_label(words, quiet=True))
        column.addStretch(1)
        self.area.setWidget(inner)

    def _add(self, column: QVBoxLayout, finding: Finding) -> None:
        what, meaning = parts_of(finding)
        head = _label(f"{SEVERITY[finding.severity]}: {what}")
        head.setFont(style.font(13, bold=finding.severity != "note"))
        column.addWidget(head)
        if meaning:
            column.addWidget(_label(meaning, quiet=True))
        if finding.code in CAN_BE_POINTED_AT:
            self._offer(column, str(POINT), self._point)
        if finding.code in POINTED_AT:
            self._offer(column, str(DROP), self._drop)
        column.addSpacing(6)

    def _offer(self, column: QVBoxLayout, words: str, act: Callable[[], None]) -> None:
        button = QPushButton(words)
        button.clicked.connect(lambda _on=False: act())
        column.addWidget(button, 0, Qt.AlignmentFlag.AlignLeft)

    def _point(self) -> None:
        self.desk.take_tool(PointAtTissues.name)

    def _drop(self) -> None:
        plan = without_tissue_points(self.session.plan)
        self.session.apply(message("panels.scan_checks.places-pointed-at-as-tissues"), plan)


def _label(text: str, *, quiet: bool = False) -> QLabel:
    label = QLabel(text)
    label.setTextFormat(Qt.TextFormat.PlainText)
    label.setWordWrap(True)
    label.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
    if quiet:
        label.setObjectName("quiet")
    return label
