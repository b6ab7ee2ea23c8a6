"""The user's own list of sizes, edited in a table, read from and written to CSV."""

from __future__ import annotations

from pathlib import Path

from PySide6.QtWidgets import (
    QAbstractItemView,
    QHBoxLayout,
    QHeaderView,
    QLabel,
    QPushButton,
    QTableWidget,
    QTableWidgetItem,
    QVBoxLayout,
    QWidget,
)

from app.case.settings import SettingsStore
from app.widgets.file_windows import ask_open, ask_save
from core.atomic import write_whole
from core.errors import PlanError, SoundingError
from core.plans.sizes import COLUMNS, ListedSize, listed_size, load_sizes, sizes_csv
from core.words.catalogue import message, say

HEADS = (
    message("widgets.sizes_editor.head-label"),
    message("widgets.sizes_editor.head-diameter"),
    message("widgets.sizes_editor.head-length"),
    message("widgets.sizes_editor.head-top-diameter"),
    message("widgets.sizes_editor.head-apex-diameter"),
    message("widgets.sizes_editor.head-taper"),
    message("widgets.sizes_editor.bone-at"),
)
MEANS = (
    message("widgets.sizes_editor.your-own-name-for-it"),
    message("widgets.sizes_editor.diameter-mm"),
    message("widgets.sizes_editor.length-mm"),
    message("widgets.sizes_editor.platform-diameter-mm-empty-the"),
    message("widgets.sizes_editor.apical-diameter-mm-empty-the"),
    message("widgets.sizes_editor.depth-at-which-the-taper"),
    message("widgets.sizes_editor.depth-of-the-platform-below"),
)


class SizesTable(QWidget):
    """The table with its buttons; a change is kept at once, a wrong one is said and not kept."""

    def __init__(self, settings: SettingsStore, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.settings = settings
        self._filling = False
        self.table = QTableWidget(0, len(HEADS))
        self.table.setHorizontalHeaderLabels([str(head) for head in HEADS])
        self.table.setAccessibleName(say("widgets.sizes_editor.my-sizes"))
        self.table.verticalHeader().hide()
        self.table.verticalHeader().setDefaultSectionSize(24)
        for column, meaning in enumerate(MEANS):
            head = self.table.horizontalHeaderItem(column)
            if head is not None:
                head.setToolTip(str(meaning))
        self.table.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        self.table.setTabKeyNavigation(False)
        header = self.table.horizontalHeader()
        header.setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
        header.setStretchLastSection(True)
        self.table.itemChanged.connect(self._edited)
        self.said = QLabel(say("widgets.sizes_editor.mm-only-and-length-are"))
        self.said.setObjectName("quiet")
        self.said.setWordWrap(True)
        row = QHBoxLayout()
        self.buttons: dict[str, QPushButton] = {}
        for words, act in (
            ("Add", self.add),
            (say("widgets.sizes_editor.take-out"), self.take_out),
            (say("widgets.sizes_editor.from-csv"), self._read),
            (say("widgets.sizes_editor.to-csv"), self._write),
        ):
            button = QPushButton(words)
            button.setAutoDefault(False)
            button.setObjectName("plain")
            button.clicked.connect(act)
            self.buttons[words] = button
            row.addWidget(button)
        row.addStretch(1)
        outer = QVBoxLayout(self)
        outer.setContentsMargins(0, 0, 0, 0)
        outer.addWidget(self.table, 1)
        outer.addWidget(self.said)
        outer.addLayout(row)
        settings.changed.connect(self.fill)
        self.fill()

    def fill(self) -> None:
        """Show the list as it is kept."""
        sizes = self.settings.value.sizes
        self._filling = True
        self.table.setRowCount(len(sizes))
        for number, listed in enumerate(sizes):
            for column, text in enumerate(_texts(listed)):
                self.table.setItem(number, column, QTableWidgetItem(text))
        self._filling = False

    def add(self) -> None:
        """Add a size like the chosen one, longer by a millimetre until it is a new one."""
        sizes = self.settings.value.sizes
        row = self.table.currentRow()
        like = sizes[row if 0 <= row < len(sizes) else -1].size
        length = like.length_mm + 1.0
        while any(
            s.size.length_mm == length and s.size.diameter_mm == like.diameter_mm for s in sizes
        ):
            length += 1.0
        values = dict.fromkeys(COLUMNS, "")
        values |= {"diameter_mm": str(like.diameter_mm), "length_mm": str(length)}
        self._keep((*sizes, listed_size(values, len(sizes) + 1)))
        self.table.setCurrentCell(len(sizes), 1)

    def take_out(self) -> None:
        """Take the chosen size out; the last one stays."""
        sizes, row = list(self.settings.value.sizes), self.table.currentRow()
        if len(sizes) > 1 and 0 <= row < len(sizes):
            del sizes[row]
            self._keep(tuple(sizes))

    def read_file(self, path: Path) -> None:
        """Take over a CSV file; a refusal names the row and leaves the list as it was."""
        try:
            self._keep(load_sizes(path))
        except SoundingError as error:
            self.said.setText(str(error))
        else:
            self.said.setText(
                say("widgets.sizes_editor.sizes-read", sizes=len(self.settings.value.sizes))
            )

    def write_file(self, path: Path) -> None:
        """Write the list as CSV."""
        try:
            write_whole(path, sizes_csv(self.settings.value.sizes).encode("utf-8"))
        except SoundingError as error:
            self.said.setText(str(error))
        else:
            self.said.setText(say("widgets.sizes_editor.the-list-is-written"))

    def _edited(self, item: QTableWidgetItem) -> None:
        if self._filling:
            return
        sizes = list(self.settings.value.sizes)
        row = item.row()
        cells = [self.table.item(row, column) for column in range(len(COLUMNS))]
        texts = ["" if cell is None else cell.text().replace(",", ".") for cell in cells]
        try:
            listed = listed_size(dict(zip(COLUMNS, texts, strict=True)), row + 1)
            if listed in sizes[:row] + sizes[row + 1 :]:
                raise PlanError("sizes-twice", row=row + 1, first=sizes.index(listed) + 1)
            sizes[row] = listed
            self._keep(tuple(sizes))
        except SoundingError as error:
            self.said.setText(str(error))
            self.fill()
        else:
            self.said.setText(say("widgets.sizes_editor.kept"))

    def _keep(self, sizes: tuple[ListedSize, ...]) -> None:
        self.settings.change(sizes=sizes)

    def _read(self) -> None:
        name = ask_open(
            self, say("widgets.sizes_editor.read-my-sizes"), "table", "CSV (*.csv *.txt)"
        )
        if name:
            self.read_file(Path(name))

    def _write(self) -> None:
        name = ask_save(
            self, say("widgets.sizes_editor.write-my-sizes"), "table", "my-sizes.csv", "CSV (*.csv)"
        )
        if name:
            self.write_file(Path(name))


def _texts(listed: ListedSize) -> tuple[str, ...]:
    size = listed.size
    numbers = (
        size.diameter_mm,
        size.length_mm,
        size.platform_diameter_mm,
        size.apical_diameter_mm,
        size.taper_from_mm,
        size.bone_level_mm or None,
    )
    return (listed.label, *("" if value is None else f"{value:g}" for value in numbers))
