"""Which series of an export is meant: a picture, date, size, voxels and scan checks of each."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray
from PySide6.QtCore import QSize, Qt, Signal
from PySide6.QtGui import QPixmap
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

from app.loading import Contents, best_of
from app.views.rendering import grey_image
from core.drawing import window_of
from core.scan import SeriesReport
from core.sheet.who import who_is

PICTURE_PX = 120


class SeriesChooser(QWidget):
    """The series of an export; one is preselected, and a person says which.

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
        dates = sorted({r.date for r in contents.reports if r.date})
        if len(dates) > 1:
            self.why.setText(
                f"This export holds scans of {len(dates)} dates ({', '.join(dates)}). "
                "Measuring on the wrong one can hurt the patient: look at the date and the picture."
            )
        else:
            self.why.setText("This export holds several series. The finest one is preselected.")
        self.list.clear()
        pictures = contents.pictures or (None,) * len(contents.reports)
        for report, picture in zip(contents.reports, pictures, strict=True):
            row = _Row(report, picture)
            item = QListWidgetItem()
            item.setSizeHint(QSize(200, max(row.sizeHint().height(), PICTURE_PX + 12)))
            if not report.usable:
                item.setFlags(Qt.ItemFlag.ItemIsEnabled)
            self.list.addItem(item)
            self.list.setItemWidget(item, row)
        best = best_of(contents.reports)
        self.list.setCurrentRow(best if contents.reports[best].usable else -1)
        self.list.setFocus()
        self._selected()

    def _selected(self) -> None:
        self.open.setEnabled(bool(self.list.selectedItems()))

    def _take(self) -> None:
        row = self.list.currentRow()
        if self._contents is not None and row >= 0 and self._contents.reports[row].usable:
            self.chosen.emit(self._contents.path, self._contents.reports[row].key)


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
        lines.append("Can not be measured on.")
    lines += [finding.message for finding in report.findings if finding.severity != "note"]
    return lines
