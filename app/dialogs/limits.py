"""The limits of this plan: default, source, lower line; changed with who, when and why."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtGui import QFont
from PySide6.QtWidgets import (
    QAbstractItemView,
    QHBoxLayout,
    QHeaderView,
    QLabel,
    QTableWidget,
    QTableWidgetItem,
    QWidget,
)

from app.case.attestations import now_iso, with_limit, without_limit
from app.case.session import Session
from app.dialogs.base import Dialog, open_dialog
from app.tools.base import Desk
from app.widgets import style
from app.widgets.number_box import NumberBox
from app.widgets.shared_texts import short_time
from core.identity import Tooth
from core.plans.limits import ROWS, limit_for, limit_words, row_for
from core.trust.figures import plain
from core.words.catalogue import message, say

HEADS = (
    "limit",
    message("dialogs.limits.between-zone"),
    "mm",
    "default",
    message("dialogs.limits.lower-line"),
    "source",
)
MOST_MM = 20.0


class LimitsDialog(Dialog):
    """A table of all limits, and one of them to change."""

    heading = message("dialogs.limits.limits-of-this-plan")
    accept_words = message("dialogs.limits.change")
    least_width = 980

    def __init__(
        self, session: Session, desk: Desk, parent: QWidget | None = None, *, key: str = ""
    ) -> None:
        super().__init__(session, desk, parent)
        self.words(say("dialogs.limits.planning-margins-no-proven-thresholds"))
        # The limits of the tooth looked at, else of the one that is planned.
        plan = session.plan
        planned = (*(f.tooth for f in plan.fixtures), *(s.tooth for s in plan.sites))
        tooth = session.tooth_here or next(filter(None, planned), "")
        self._tooth = Tooth.of(tooth) if tooth else None
        self.table = self._table()
        self.body.addWidget(self.table, 1)
        row = QHBoxLayout()
        self.name = QLabel()
        self.name.setFont(style.font(13, bold=True))
        self.value = NumberBox(0.0, MOST_MM)
        self.value.setKeyboardTracking(True)
        self.value.setAccessibleName(say("dialogs.limits.new-limit"))
        self.value.valueChanged.connect(self.check)
        row.addWidget(self.name)
        row.addWidget(self.value)
        row.addStretch(1)
        self.body.addLayout(row)
        self.reason = self.line(
            say("dialogs.limits.reason"), hint=say("dialogs.limits.why-this-plan-needs-another")
        )
        self.by = self.initials()
        self.table.currentCellChanged.connect(self._chosen)
        keys = [r.key for r in ROWS]
        self.table.setCurrentCell(keys.index(key) if key in keys else 0, 0)
        self._chosen()
        self.resize(self.least_width, 640)

    @property
    def key(self) -> str:
        """Key of the chosen limit."""
        return ROWS[max(self.table.currentRow(), 0)].key

    def is_complete(self) -> bool:
        """Another value than the one in force, with reason and initials."""
        limit = limit_for(self.key, self.session.plan, tooth=self._tooth)
        texts = (self.reason.text().strip(), self.by.text().strip())
        return abs(self.value.value() - limit.value) > 1e-6 and all(texts)

    def give(self) -> None:
        """Into the plan; back at the default the change is taken out."""
        by = self.take_initials(self.by)
        value, plan = round(self.value.value(), 2), self.session.plan
        default = limit_for(self.key, plan, tooth=self._tooth).default
        if abs(value - default) < 1e-6 and self.key in plan.limits:
            self.session.apply(*without_limit(plan, key=self.key))
            return
        reason = self.reason.text().strip()
        self.session.apply(
            *with_limit(
                plan, key=self.key, value=value, reason=reason, by=by, at=now_iso(),
                tooth=self._tooth,
            )
        )  # fmt: skip

    def _chosen(self) -> None:
        limit = limit_for(self.key, self.session.plan, tooth=self._tooth)
        self.name.setText(say("dialogs.limits.new-value", replace=limit_words(self.key)))
        self.value.setRange(limit.lower_line or 0.0, MOST_MM)
        self.value.setValue(limit.value)
        self.check()

    def _table(self) -> QTableWidget:
        table = QTableWidget(len(ROWS), len(HEADS))
        table.setHorizontalHeaderLabels([str(head) for head in HEADS])
        table.setAccessibleName(say("dialogs.limits.limits"))
        table.verticalHeader().hide()
        table.setShowGrid(False)
        table.setWordWrap(True)
        table.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        table.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        table.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        table.setTabKeyNavigation(False)
        bold = QFont(style.font(13, bold=True))
        for number, shipped in enumerate(ROWS):
            row = row_for(shipped.key, tooth=self._tooth)
            limit = limit_for(row.key, self.session.plan, tooth=self._tooth)
            source = str(row.source)
            if limit.changed:
                source = say(
                    "dialogs.limits.changed-by-default",
                    by=limit.changed_by or say("dialogs.limits.nobody-named"),
                    at=short_time(limit.changed_at),
                    reason=limit.reason or say("dialogs.limits.no-reason"),
                    source=source,
                )
            texts = (
                str(limit_words(row.key)),
                f"{row.between}, {row.zone}",
                plain(limit.value),
                plain(limit.default),
                plain(row.lower_line),
                source,
            )
            for column, text in enumerate(texts):
                item = QTableWidgetItem(text)
                item.setToolTip(text)
                if column in (2, 3, 4):
                    item.setTextAlignment(Qt.AlignmentFlag.AlignCenter)
                if limit.changed and column == 2:
                    item.setFont(bold)
                table.setItem(number, column, item)
        header = table.horizontalHeader()
        for column, width in enumerate((130, 300, 48, 66, 88, 340)):
            table.setColumnWidth(column, width)
        header.setSectionResizeMode(5, QHeaderView.ResizeMode.Stretch)
        header.setDefaultAlignment(Qt.AlignmentFlag.AlignLeft)
        table.setMinimumHeight(300)
        return table


def ask_limits(session: Session, desk: Desk, parent: QWidget | None, *, key: str = "") -> Dialog:
    """Show the limits of the plan; `key` is chosen beforehand."""
    return open_dialog(LimitsDialog(session, desk, parent, key=key))
