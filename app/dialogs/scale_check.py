"""The scale check: what the scan shows between objects whose true distance was measured."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtWidgets import (
    QAbstractItemView,
    QHBoxLayout,
    QHeaderView,
    QLabel,
    QPushButton,
    QTableWidget,
    QTableWidgetItem,
    QWidget,
)

from app.background.tasks import Latest
from app.case.session import Session
from app.dialogs.base import Dialog, open_dialog
from app.tools.base import Desk
from app.tools.scale import ScaleObject
from core.errors import SoundingError
from core.identity import thing_words
from core.plans import edit
from core.trust.scale_check import ScaleCheck, percent, scale_check
from core.words.catalogue import message, say

HEADS = (
    message("dialogs.scale_check.objects"),
    message("dialogs.scale_check.scan-shows-mm"),
    message("dialogs.scale_check.measured-mm"),
    message("dialogs.scale_check.deviation"),
    message("dialogs.scale_check.u"),
    message("dialogs.scale_check.says"),
)
NONE_YET = message("dialogs.scale_check.no-object-of-known-distance")


class ScaleCheckDialog(Dialog):
    """A line a pair; below, what all of them say together, and what lengths carry for it."""

    heading = message("dialogs.scale_check.scale-check")
    accept_words = message("dialogs.scale_check.mark-objects")
    least_width = 860

    def __init__(self, session: Session, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(session, desk, parent)
        self.cancel.setText(say("dialogs.scale_check.close"))
        self.words(say("dialogs.scale_check.only-distances-from-middle-to"))
        self.table = QTableWidget(0, len(HEADS))
        self.table.setHorizontalHeaderLabels([str(head) for head in HEADS])
        self.table.setAccessibleName(say("dialogs.scale_check.scale-objects"))
        self.table.verticalHeader().hide()
        self.table.setShowGrid(False)
        self.table.setTabKeyNavigation(False)
        self.table.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self.table.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        self.table.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        header = self.table.horizontalHeader()
        header.setDefaultAlignment(Qt.AlignmentFlag.AlignLeft)
        for column, width in enumerate((130, 118, 110, 90, 70)):
            self.table.setColumnWidth(column, width)
        header.setSectionResizeMode(len(HEADS) - 1, QHeaderView.ResizeMode.Stretch)
        self.table.setMinimumHeight(150)
        self.body.addWidget(self.table, 1)
        self.out = QPushButton(say("dialogs.scale_check.take-the-chosen-one-out"))
        self.out.setAutoDefault(False)
        self.out.clicked.connect(self._take_out)
        row = QHBoxLayout()
        row.addWidget(self.out)
        row.addStretch(1)
        self.body.addLayout(row)
        self.verdict = QLabel("")
        self.verdict.setWordWrap(True)
        self.verdict.setTextFormat(Qt.TextFormat.PlainText)
        self.body.addWidget(self.verdict)
        self.resize(self.least_width, 540)
        self.check_now: ScaleCheck | None = None
        self._checking = Latest(self._checked, self._not_checked, parent=self)
        session.plan_changed.connect(self._read)
        self._read()

    def give(self) -> None:
        """Take up the tool that marks objects."""
        self.desk.take_tool(ScaleObject.name)

    def done(self, result: int) -> None:
        """Let go of work under way."""
        self._checking.drop()
        super().done(result)

    def _read(self) -> None:
        plan, volume = self.session.plan, self.session.volume
        if volume is not None:
            self._checking.ask(lambda _task: scale_check(plan, volume))

    def _checked(self, check: ScaleCheck) -> None:
        self.check_now = check
        self.table.setRowCount(len(check.deviations))
        for number, found in enumerate(check.deviations):
            says = (
                say("dialogs.scale_check.agrees")
                if found.agrees
                else say("dialogs.scale_check.deviates")
            )
            if found.by_hand:
                says = f"{says}, {say('dialogs.scale_check.middles-as-marked')}"
            texts = (
                str(thing_words(found.id)),
                f"{found.found_mm:.2f}",
                f"{found.true_mm:.2f}",
                f"{100 * found.relative:+.1f} %",
                f"{200 * found.relative_u:.1f} %",
                says,
            )
            for column, text in enumerate(texts):
                self.table.setItem(number, column, QTableWidgetItem(text))
        self.out.setEnabled(bool(check.deviations))
        if not check.deviations:
            self.verdict.setText(str(NONE_YET))
            return
        told = "\n".join(finding.message for finding in check.findings)
        carried = say(
            "dialogs.scale_check.every-length-carries-u-of", percent=percent(check.scale.relative_u)
        )
        self.verdict.setText(f"{told}\n{carried} ({check.scale.source}).")

    def _not_checked(self, error: Exception) -> None:
        self.tell(str(error))

    def _take_out(self) -> None:
        row = self.table.currentRow()
        if self.check_now is None or not 0 <= row < len(self.check_now.deviations):
            return
        chosen = self.check_now.deviations[row].id
        try:
            plan = edit.without(self.session.plan, chosen)
        except SoundingError as error:
            self.tell(str(error))
            return
        self.session.apply(
            message("dialogs.scale_check.deleted", thing_words=thing_words(chosen)), plan
        )


def show_scale_check(session: Session, desk: Desk, parent: QWidget | None) -> Dialog:
    """Open the scale check."""
    return open_dialog(ScaleCheckDialog(session, desk, parent))
