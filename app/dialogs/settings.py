"""Settings of the practice: general, practice limits, my sizes, drills."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

from PySide6.QtCore import Qt
from PySide6.QtWidgets import (
    QAbstractItemView,
    QCheckBox,
    QComboBox,
    QFormLayout,
    QHBoxLayout,
    QHeaderView,
    QLabel,
    QLineEdit,
    QListWidget,
    QPushButton,
    QStackedWidget,
    QTableWidget,
    QTableWidgetItem,
    QVBoxLayout,
    QWidget,
)

from app.case.grey_presets import PRESET_WORDS
from app.case.session import Session
from app.dialogs.base import Dialog, open_dialog
from app.dialogs.language_names import LANGUAGES
from app.tools.base import Desk
from app.widgets.file_windows import ask_open
from app.widgets.number_box import NumberBox
from app.widgets.sizes_editor import SizesTable
from core.errors import PlanError
from core.measuring.drill_table import (
    COLUMNS,
    MOST_DRILLS,
    Drill,
    drill_of,
    read_drills_file,
)
from core.plans.limits import ROWS, limit_words
from core.sheet.patient_page import read_risks
from core.trust.figures import plain
from core.words.catalogue import Message, message, say

TIP = {
    "yes": message("dialogs.settings.tip-yes"),
    "no": message("dialogs.settings.tip-no"),
    "don't know": message("dialogs.settings.tip-unknown"),
}
NUMBERINGS = {
    "iso": message("dialogs.settings.numbering-iso"),
    "1-32": message("dialogs.settings.numbering-1-32"),
}
PAPERS = {
    "A4": message("dialogs.settings.paper-a4"),
    "Letter": message("dialogs.settings.paper-letter"),
}


class SettingsDialog(Dialog):
    """Pages at the left; general, limits and drills are kept by the button, sizes at once."""

    heading = message("dialogs.settings.settings")
    accept_words = message("dialogs.settings.keep")
    least_width = 860

    def __init__(self, session: Session, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(session, desk, parent)
        value = self.settings.value
        self.pages = QStackedWidget()
        self.list = QListWidget()
        self.list.setAccessibleName(say("dialogs.settings.pages"))
        self.list.setFixedWidth(150)
        self.list.currentRowChanged.connect(self.pages.setCurrentIndex)

        self.numbering = _choice(NUMBERINGS, value.numbering)
        self.paper = _choice(PAPERS, value.paper)
        self.language = _choice(LANGUAGES, value.language)
        self.sheet_language = _choice(LANGUAGES, value.sheet_language)
        self.patient_language = _choice(LANGUAGES, value.patient_language)
        self.window_choice = _choice(PRESET_WORDS, value.window)
        self.hide_names = QCheckBox(say("dialogs.settings.hide-names-on-the-screen"))
        self.hide_names.setChecked(value.names_hidden)
        self.initials_line = QLineEdit(value.initials)
        self.name = QLineEdit(value.name)
        self.role = QLineEdit(value.role)
        self.risks = QLineEdit(value.risks_file)
        self.risks.setPlaceholderText(say("dialogs.settings.none-the-page-says-that"))
        self._page(say("dialogs.settings.general"), self._general())
        self.limits: dict[str, NumberBox] = {}
        self._page(say("dialogs.settings.practice-limits"), self._limits())
        self.sizes = SizesTable(self.settings)
        self._page(say("dialogs.settings.my-sizes"), self.sizes)
        self.drills = _drill_table(value.drills)
        self._page(say("dialogs.settings.drills"), self._drills())

        row = QHBoxLayout()
        row.addWidget(self.list)
        row.addWidget(self.pages, 1)
        self.body.addLayout(row, 1)
        self.pages.setMinimumHeight(430)
        self.list.setCurrentRow(0)

    def give(self) -> None:
        """Keep everything.

        Raises
        ------
        PlanError
            ``drills-row`` when a drill's numbers are not believable.
        OutputError
            When the file cannot be written, or the text of risks cannot be used.
        """
        limits = {
            row.key: round(self.limits[row.key].value(), 2)
            for row in ROWS
            if abs(self.limits[row.key].value() - row.value) > 1e-6
        }
        initials = self.initials_line.text().strip()
        self.settings.change(
            numbering=self.numbering.currentData(),
            paper=self.paper.currentData(),
            language=self.language.currentData(),
            sheet_language=self.sheet_language.currentData(),
            patient_language=self.patient_language.currentData(),
            window=self.window_choice.currentData(),
            names_hidden=self.hide_names.isChecked(),
            initials=initials,
            name=self.name.text().strip(),
            role=self.role.text().strip(),
            limits=limits,
            risks_file=self._read_risks_file(),
            drills=_read_drills(self.drills),
        )
        self.session.operator = initials or self.session.operator

    def _read_risks_file(self) -> str:
        """The named file, once it can be used: a bad one is told here and not on the day."""
        name = self.risks.text().strip()
        if name:
            read_risks(name)
        return name

    def _page(self, name: str, page: QWidget) -> None:
        self.list.addItem(name)
        self.pages.addWidget(page)

    def _general(self) -> QWidget:
        page = QWidget()
        form = QFormLayout(page)
        form.setLabelAlignment(Qt.AlignmentFlag.AlignLeft)
        for words, widget in (
            (say("dialogs.settings.language"), self.language),
            (say("dialogs.settings.sheet-language"), self.sheet_language),
            (say("dialogs.settings.patient-language"), self.patient_language),
            (say("dialogs.settings.tooth-number-shown-first"), self.numbering),
            (say("dialogs.settings.paper-of-the-sheet"), self.paper),
            (say("dialogs.settings.grey-window-of-a-new"), self.window_choice),
            (say("dialogs.settings.your-initials"), self.initials_line),
            (say("dialogs.settings.your-name"), self.name),
            (say("dialogs.settings.your-role"), self.role),
        ):
            widget.setAccessibleName(words)
            form.addRow(words, widget)
        choose = QPushButton(say("dialogs.settings.choose"))
        choose.setAutoDefault(False)
        choose.clicked.connect(self._choose_risks)
        self.risks.setAccessibleName(say("dialogs.settings.risks-on-the-patients-page"))
        line = QHBoxLayout()
        line.addWidget(self.risks, 1)
        line.addWidget(choose)
        form.addRow(say("dialogs.settings.risks-on-the-patients-page-2"), line)
        form.addRow("", self.hide_names)
        note = QLabel(say("dialogs.settings.both-tooth-numbers-are-always"))
        note.setObjectName("quiet")
        note.setWordWrap(True)
        form.addRow(note)
        return page

    def _choose_risks(self) -> None:
        name = ask_open(
            self, say("dialogs.settings.the-practices-text-of-risks"), "table", "Text (*.txt)"
        )
        if name:
            self.risks.setText(name)

    def _limits(self) -> QWidget:
        table = _table(
            (
                say("dialogs.settings.limit"),
                say("dialogs.settings.between-zone"),
                say("dialogs.settings.default"),
                say("dialogs.settings.practice"),
            ),
            len(ROWS),
        )
        for number, row in enumerate(ROWS):
            for column, text in enumerate(
                (str(limit_words(row.key)), f"{row.between}, {row.zone}", plain(row.value))
            ):
                item = QTableWidgetItem(text)
                item.setToolTip(text)
                table.setItem(number, column, item)
            box = NumberBox(row.lower_line, 20.0, unit="")
            box.setValue(self.settings.value.limits.get(row.key, row.value))
            box.setAccessibleName(say("dialogs.settings.practice-limit", key_=row.key))
            self.limits[row.key] = box
            table.setCellWidget(number, 3, box)
        table.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        table.horizontalHeader().setSectionResizeMode(1, QHeaderView.ResizeMode.Stretch)
        table.setColumnWidth(0, 120)
        table.setColumnWidth(2, 60)
        table.setColumnWidth(3, 84)
        return _with_words(
            table,
            say("dialogs.settings.they-are-put-into-each"),
        )

    def _drills(self) -> QWidget:
        add = QPushButton(say("dialogs.settings.add"))
        add.setAutoDefault(False)
        add.clicked.connect(self._add_drill)
        out = QPushButton(say("dialogs.settings.take-out"))
        out.setAutoDefault(False)
        out.clicked.connect(lambda: self.drills.removeRow(self.drills.currentRow()))
        read = QPushButton(say("dialogs.settings.read-a-csv-file"))
        read.setAutoDefault(False)
        read.clicked.connect(self._choose_drills)
        page = _with_words(
            self.drills,
            say("dialogs.settings.marks-each-depth-that-is"),
        )
        row = QHBoxLayout()
        row.addWidget(add)
        row.addWidget(out)
        row.addWidget(read)
        row.addStretch(1)
        layout = page.layout()
        if isinstance(layout, QVBoxLayout):
            layout.addLayout(row)
        return page

    def _add_drill(self) -> None:
        if self.drills.rowCount() < MOST_DRILLS:
            _put_drill(self.drills, self.drills.rowCount(), Drill(name="drill"))

    def _choose_drills(self) -> None:
        name = ask_open(self, say("dialogs.settings.a-table-of-drills"), "table", "CSV (*.csv)")
        if name:
            self.read_drills_from(Path(name))

    def read_drills_from(self, path: Path) -> None:
        """Put the drills of a CSV file in place of the table; a refusal leaves it as it is."""
        try:
            found = read_drills_file(path)
        except PlanError as refusal:
            self.tell(str(refusal))
            return
        self.tell("")
        self.drills.setRowCount(0)
        for number, drill in enumerate(found):
            _put_drill(self.drills, number, drill)


def _choice(words: Mapping[str, Message], current: str) -> QComboBox:
    box = QComboBox()
    for value, shown in words.items():
        box.addItem(str(shown), value)
    box.setCurrentIndex(box.findData(current))
    return box


def _table(heads: tuple[str, ...], rows: int) -> QTableWidget:
    table = QTableWidget(rows, len(heads))
    table.setHorizontalHeaderLabels(heads)
    table.verticalHeader().hide()
    table.setShowGrid(False)
    table.setTabKeyNavigation(False)
    table.horizontalHeader().setDefaultAlignment(Qt.AlignmentFlag.AlignLeft)
    return table


def _with_words(widget: QWidget, words: str) -> QWidget:
    page = QWidget()
    column = QVBoxLayout(page)
    column.setContentsMargins(0, 0, 0, 0)
    note = QLabel(words)
    note.setObjectName("quiet")
    note.setWordWrap(True)
    column.addWidget(note)
    column.addWidget(widget, 1)
    return page


def _drill_table(drills: Sequence[Drill]) -> QTableWidget:
    table = _table(
        (
            say("dialogs.settings.drill"),
            "Ø mm",
            say("dialogs.settings.marks-mm"),
            say("dialogs.settings.marks-include-the-tip"),
            say("dialogs.settings.tip-mm"),
        ),
        0,
    )
    table.setAccessibleName(say("dialogs.settings.drills"))
    table.horizontalHeader().setSectionResizeMode(QHeaderView.ResizeMode.Stretch)
    for number, drill in enumerate(drills):
        _put_drill(table, number, drill)
    return table


def _put_drill(table: QTableWidget, row: int, drill: Drill) -> None:
    table.setRowCount(max(table.rowCount(), row + 1))
    numbers = ["" if v is None else f"{v:g}" for v in (drill.diameter_mm, drill.tip_mm)]
    texts = {0: str(drill.name), 1: numbers[0], 2: drill.marks_words, 4: numbers[1]}
    for column, text in texts.items():
        table.setItem(row, column, QTableWidgetItem(text))
    table.setCellWidget(row, 3, _choice(TIP, drill.marks_include_tip))


def _read_drills(table: QTableWidget) -> tuple[Drill, ...]:
    drills = []
    for row in range(table.rowCount()):
        values = {
            name: "" if (item := table.item(row, column)) is None else item.text().strip()
            for column, name in enumerate(COLUMNS)
        }
        box = table.cellWidget(row, 3)
        values["marks_include_tip"] = (
            box.currentData() if isinstance(box, QComboBox) else "don't know"
        )
        drills.append(drill_of(values, row + 1))
    return tuple(drills)


def show_settings(session: Session, desk: Desk, parent: QWidget | None) -> Dialog:
    """Open the settings."""
    return open_dialog(SettingsDialog(session, desk, parent))
