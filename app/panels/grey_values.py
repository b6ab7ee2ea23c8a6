"""Grey values beside the fixture by depth: shown only when asked for, never as a class of bone."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import Qt
from PySide6.QtWidgets import (
    QAbstractItemView,
    QHeaderView,
    QLabel,
    QTableWidget,
    QTableWidgetItem,
    QVBoxLayout,
    QWidget,
)

from core.bone.grey import BESIDE_MM, LABEL, GreyAtDepth
from core.words.catalogue import message, say

HEADS = (
    message("panels.grey_values.mm-deep"),
    message("panels.grey_values.mean"),
    message("panels.grey_values.sd"),
)
WAITS = "…"


class GreyValues(QWidget):
    """Mean and spread in a ring around the fixture, one row a millimetre of depth."""

    def __init__(self) -> None:
        super().__init__()
        self.setObjectName("clear")
        self.setStyleSheet("QWidget#clear { background: transparent; }")
        self.setFixedWidth(216)
        self.label = QLabel(
            say("panels.grey_values.within-mm-of-the-fixture", label=LABEL, beside_mm=BESIDE_MM)
        )
        self.label.setObjectName("quiet")
        self.label.setWordWrap(True)
        self.table = QTableWidget(0, len(HEADS))
        self.table.setAccessibleName(
            say("panels.grey_values.grey-values-beside-the-fixture", label=LABEL)
        )
        self.table.setHorizontalHeaderLabels([str(head) for head in HEADS])
        self.table.verticalHeader().hide()
        self.table.verticalHeader().setDefaultSectionSize(20)
        header = self.table.horizontalHeader()
        header.setSectionResizeMode(QHeaderView.ResizeMode.Stretch)
        header.setDefaultAlignment(Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter)
        self.table.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self.table.setSelectionMode(QAbstractItemView.SelectionMode.NoSelection)
        self.table.setShowGrid(False)
        self.table.setTabKeyNavigation(False)
        self.table.setMinimumHeight(40)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(2)
        column.addWidget(self.label)
        column.addWidget(self.table, 1)

    def show_rows(self, rows: Sequence[GreyAtDepth]) -> None:
        """Other values, or none."""
        self.table.setRowCount(len(rows))
        for number, row in enumerate(rows):
            if row.mean is None or row.sd is None:
                texts = (f"{row.depth_mm:g}", say("panels.grey_values.not-scanned"), "")
            else:
                texts = (f"{row.depth_mm:g}", f"{row.mean:.0f}", f"{row.sd:.0f}")
            for column, text in enumerate(texts):
                item = QTableWidgetItem(text)
                item.setTextAlignment(Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter)
                if row.note is not None:
                    item.setToolTip(row.note.message)
                self.table.setItem(number, column, item)

    def wait(self) -> None:
        """What stands there belongs to an earlier pose."""
        for number in range(self.table.rowCount()):
            for column in (1, 2):
                item = self.table.item(number, column)
                if item is not None:
                    item.setText(WAITS)
