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
from core.sheet.patient_words import patient_words
from core.words.catalogue import say

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
        heading = QLabel(say("window.series_chooser.which-scan"))
        heading.setObjectName("heading")
        self.why = QLabel("")
        self.why.setObjectName("strong")
        self.why.setWordWrap(True)
        self.list = QListWidget()
        self.list.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        self.list.setVerticalScrollMode(QAbstractItemView.ScrollMode.ScrollPerPixel)
        self.list.setSpacing(4)
        self.list.setAccessibleName(say("window.series_chooser.series-of-the-export"))
        self.list.itemSelectionChanged.connect(self._selected)
        self.list.itemActivated.connect(lambda _item: self._take())
        self.open = QPushButton(say("window.series_chooser.open-this-one"))
        self.open.clicked.connect(self._take)
        back = QPushButton(say("window.series_chooser.back"))
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
        self.open.setText(say("window.series_chooser.open-this-one"))
        if self._contents is not None and chosen >= 0:
            report = self._contents.reports[chosen]
            name = patient_words(report.identity, "").name
            self.open.setText(
                say(
                    "window.series_chooser.open",
                    name=name,
                    date=report.date or say("window.series_chooser.no-date"),
                ).replace("&", "&&")
            )

    def _take(self) -> None:
        row = self.list.currentRow()
        if self._contents is not None and row >= 0 and self._contents.reports[row].usable:
            self.chosen.emit(self._contents.path, self._contents.reports[row].key)


def _headline(reports: Sequence[SeriesReport], *, several: bool) -> str:
    """What makes the choice dangerous, the worst first."""
    dates = sorted({r.date for r in reports if r.date})
    of = say("window.series_chooser.dates", dates=len(dates), dates2=", ".join(dates))
    if several:
        return say("window.series_chooser.this-export-holds-scans-of", of=of)
    if len(dates) > 1:
        return say("window.series_chooser.this-export-holds-scans-of-2", of=of)
    return say("window.series_chooser.this-export-holds-several-series")


class _Row(QFrame):
    """One series."""

    def __init__(self, report: SeriesReport, picture: NDArray[Any] | None) -> None:
        super().__init__()
        self.setObjectName("panel")
        image = QLabel(say("window.series_chooser.no-picture"))
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
    voxel = say("window.series_chooser.voxel-size-unknown")
    if report.voxel_mm is not None:
        edges = " × ".join(f"{edge:.3g}" for edge in report.voxel_mm)
        voxel = say("window.series_chooser.voxel-mm", edges=edges)
    field = ""
    if report.field_mm is not None:
        edges = " × ".join(f"{edge:.0f}" for edge in report.field_mm)
        field = say("window.series_chooser.field-mm", edges=edges)
    who = patient_words(report.identity, "")
    kernel = (
        say("window.series_chooser.reconstruction", kernel=report.identity.kernel)
        if report.identity.kernel
        else ""
    )
    date = report.date or say("window.series_chooser.no-date")
    description = report.description or say("window.series_chooser.no-description")
    size = say("window.series_chooser.voxels", modality=report.modality, i=i, j=j, k=k, voxel=voxel)
    lines = [
        f"{date}   {description}",
        f"{who.name}, {who.birth}, {who.patient_id}",
        ", ".join(part for part in (size, field, kernel) if part),
    ]
    if not report.usable:
        lines.append(say("window.series_chooser.cannot-be-measured-on"))
    lines += [
        finding.message
        for finding in report.findings
        if finding.severity != "note" and finding.code not in IN_HEADLINE
    ]
    return lines
