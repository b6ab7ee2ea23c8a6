"""Which series of an export is meant: a picture, date, size, voxels and scan checks of each.

Of an export with scans of several patients none is preselected: a person says whose it is.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PySide6.QtCore import QSize, Qt, Signal
from PySide6.QtGui import QPixmap, QResizeEvent, QShowEvent
from PySide6.QtWidgets import (
    QAbstractItemView,
    QFrame,
    QHBoxLayout,
    QLabel,
    QListWidget,
    QListWidgetItem,
    QPushButton,
    QVBoxLayout,
    QWidget,
)

from app.case.loading import Contents, best_of
from app.pictures.rendering import grey_image
from core.drawing import window_of
from core.scan import SeriesReport
from core.sheet.who import who_is

PICTURE_PX = 120
IN_HEADLINE = {"scan_two_patients", "scan_two_dates"}
"""What is said once above the list, not in every row of it."""


class SeriesChooser(QWidget):
    """The series of an export; the best of one patient is preselected, and a person says which.

    Signals
    -------
    chosen(path, key)
    cancelled
    """

    chosen = Signal(str, str)
    cancelled = Signal()

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._contents: Contents | None = None
        heading = QLabel("Which scan?")
        heading.setObjectName("heading")
        self.why = QLabel("")
        self.why.setObjectName("strong")
        self.why.setWordWrap(True)
        self.list = QListWidget()
        self.list.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        self.list.setVerticalScrollMode(QAbstractItemView.ScrollMode.ScrollPerPixel)
        self.list.setSpacing(4)
        self.list.setAccessibleName("series of the export")
        self.list.itemSelectionChanged.connect(self._selected)
        self.list.itemActivated.connect(lambda _item: self._take())
        self.open = QPushButton("Open this one")
        self.open.clicked.connect(self._take)
        back = QPushButton("Back")
        back.clicked.connect(self.cancelled)
        buttons = QHBoxLayout()
        buttons.addStretch(1)
        buttons.addWidget(back)
        buttons.addWidget(self.open)
        column = QVBoxLayout(self)
        column.setContentsMargins(40, 24, 40, 24)
        column.addWidget(heading)
        column.addWidget(self.why)
        column.addWidget(self.list, 1)
        column.addLayout(buttons)

    def show_contents(self, contents: Contents) -> None:
        """List what an export holds, the best preselected."""
        self._contents = contents
        several = any(
            f.code == "scan_two_patients" for report in contents.reports for f in report.findings
        )
        self.why.setText(_headline(contents.reports, several=several))
        self.list.clear()
        pictures = contents.pictures or (None,) * len(contents.reports)
        for report, picture in zip(contents.reports, pictures, strict=True):
            row = _Row(report, picture)
            item = QListWidgetItem()
            if not report.usable:
                item.setFlags(Qt.ItemFlag.ItemIsEnabled)
            self.list.addItem(item)
            self.list.setItemWidget(item, row)
        self._lay()
        best = best_of(contents.reports)
        preselected = contents.reports[best].usable and not several
        self.list.setCurrentRow(best if preselected else -1)
        self.list.setFocus()
        self._selected()

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Sentences break elsewhere, and the rows are as high as they need."""
        super().resizeEvent(event)
        self._lay()

    def showEvent(self, event: QShowEvent) -> None:
        """Only now the list has its width."""
        super().showEvent(event)
        self._lay()

    def _lay(self) -> None:
        wide = self.list.viewport().width() - 2 * self.list.spacing()
        for number in range(self.list.count()):
            item = self.list.item(number)
            row = self.list.itemWidget(item)
            item.setSizeHint(QSize(wide, max(row.heightForWidth(wide), PICTURE_PX + 12)))

    def _selected(self) -> None:
        chosen = self.list.currentRow() if self.list.selectedItems() else -1
        for number in range(self.list.count()):
            row = self.list.itemWidget(self.list.item(number))
            row.setObjectName("notice" if number == chosen else "panel")
            # A style sheet looks at a name only when it is asked to.
            row.style().unpolish(row)
            row.style().polish(row)
        self.open.setEnabled(chosen >= 0)
        self.open.setText("Open this one")
        if self._contents is not None and chosen >= 0:
            report = self._contents.reports[chosen]
            name = who_is(report.identity, "").name
            self.open.setText(f"Open {name}, {report.date or 'no date'}".replace("&", "&&"))

    def _take(self) -> None:
        row = self.list.currentRow()
        if self._contents is not None and row >= 0 and self._contents.reports[row].usable:
            self.chosen.emit(self._contents.path, self._contents.reports[row].key)


def _headline(reports: Sequence[SeriesReport], *, several: bool) -> str:
    """What makes the choice dangerous, the worst first."""
    dates = sorted({r.date for r in reports if r.date})
    of = f"{len(dates)} dates ({', '.join(dates)})"
    if several:
        return (
            f"This export holds scans of several patients, of {of}. Measuring on the wrong one "
            "hurts a patient: compare name, birth date and ID, then choose."
        )
    if len(dates) > 1:
        return (
            f"This export holds scans of {of}. Measuring on the wrong one can hurt the patient: "
            "look at the date and the picture."
        )
    return "This export holds several series. The finest one is preselected."


class _Row(QFrame):
    """One series."""

    def __init__(self, report: SeriesReport, picture: NDArray[Any] | None) -> None:
        super().__init__()
        self.setObjectName("panel")
        image = QLabel("no picture")
        image.setObjectName("quiet")
        image.setFixedSize(PICTURE_PX, PICTURE_PX)
        image.setAlignment(Qt.AlignmentFlag.AlignCenter)
        if picture is not None:
            grey = np.ascontiguousarray(picture, dtype=np.float32)
            pixmap = QPixmap.fromImage(grey_image(grey, window_of(grey)))
            image.setPixmap(
                pixmap.scaled(
                    PICTURE_PX,
                    PICTURE_PX,
                    Qt.AspectRatioMode.KeepAspectRatio,
                    Qt.TransformationMode.SmoothTransformation,
                )
            )
        words = QVBoxLayout()
        words.setSpacing(3)
        for number, text in enumerate(_lines(report)):
            label = QLabel(text)
            label.setTextFormat(Qt.TextFormat.PlainText)
            label.setWordWrap(True)
            if number == 0:
                label.setObjectName("heading")
            elif number > 2:
                label.setObjectName("quiet")
            words.addWidget(label)
        words.addStretch(1)
        row = QHBoxLayout(self)
        row.setContentsMargins(6, 6, 6, 6)
        row.setSpacing(14)
        row.addWidget(image)
        row.addLayout(words, 1)


def _lines(report: SeriesReport) -> list[str]:
    """What is said about a series: date first, then whose, size, checks."""
    k, j, i = report.shape
    voxel = "voxel size unknown"
    if report.voxel_mm is not None:
        voxel = "voxel " + " × ".join(f"{edge:.3g}" for edge in report.voxel_mm) + " mm"
    field = ""
    if report.field_mm is not None:
        field = ", field " + " × ".join(f"{edge:.0f}" for edge in report.field_mm) + " mm"
    who = who_is(report.identity, "")
    kernel = f", reconstruction {report.identity.kernel}" if report.identity.kernel else ""
    lines = [
        f"{report.date or 'no date'}   {report.description or 'no description'}",
        f"{who.name}, {who.birth}, {who.patient_id}",
        f"{report.modality}, {i} × {j} × {k} voxels, {voxel}{field}{kernel}",
    ]
    if not report.usable:
        lines.append("Cannot be measured on.")
    lines += [
        finding.message
        for finding in report.findings
        if finding.severity != "note" and finding.code not in IN_HEADLINE
    ]
    return lines
