"""Settings of the practice: general, practice limits, my sizes, drills."""

from __future__ import annotations

from collections.abc import Sequence

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

from app.dialogs.base import Dialog, open_dialog
from app.number_box import NumberBox
from app.panels.sizes_editor import SizesTable
from app.session import Session
from app.settings import MOST_DRILLS, WINDOWS, Drill
from app.tools.base import Desk
from core.distances.drilling import MARK_STEP_MM
from core.errors import PlanError
from core.plans.limits import ROWS
from core.trust.figures import plain

TIP = ("yes", "no", "don't know")
NUMBERINGS = {"36 (ISO 3950) first": "iso", "19 (1–32) first": "1-32"}


class SettingsDialog(Dialog):
    """Pages at the left; general, limits and drills are kept by the button, sizes at once."""

    heading = "Settings"
    accept_words = "Keep"
    least_width = 860

    def __init__(self, session: Session, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(session, desk, parent)
        value = self.settings.value
        self.pages = QStackedWidget()
        self.list = QListWidget()
        self.list.setAccessibleName("Pages")
        self.list.setFixedWidth(150)
        self.list.currentRowChanged.connect(self.pages.setCurrentIndex)

        self.numbering = _choice(NUMBERINGS, list(NUMBERINGS.values()).index(value.numbering))
        self.paper = _choice(("A4", "Letter"), ("A4", "Letter").index(value.paper))
        self.window_choice = _choice(WINDOWS, WINDOWS.index(value.window))
        self.hide_names = QCheckBox("Hide names on the screen")
        self.hide_names.setChecked(value.names_hidden)
        self.initials_line = QLineEdit(value.initials)
        self.name = QLineEdit(value.name)
        self.role = QLineEdit(value.role)
        self._page("General", self._general())
        self.limits: dict[str, NumberBox] = {}
        self._page("Practice limits", self._limits())
        self.sizes = SizesTable(self.settings)
        self._page("My sizes", self.sizes)
        self.drills = _drill_table(value.drills)
        self._page("Drills", self._drills())

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
            ``drills-setting`` when a drill's numbers are not believable.
        OutputError
            When the file cannot be written.
        """
        limits = {
            row.key: round(self.limits[row.key].value(), 2)
            for row in ROWS
            if abs(self.limits[row.key].value() - row.value) > 1e-6
        }
        initials = self.initials_line.text().strip()
        self.settings.change(
            numbering=NUMBERINGS[self.numbering.currentText()],
            paper=self.paper.currentText(),
            window=self.window_choice.currentText(),
            names_hidden=self.hide_names.isChecked(),
            initials=initials,
            name=self.name.text().strip(),
            role=self.role.text().strip(),
            limits=limits,
            drills=_read_drills(self.drills),
        )
        self.session.operator = initials or self.session.operator

    def _page(self, name: str, page: QWidget) -> None:
        self.list.addItem(name)
        self.pages.addWidget(page)

    def _general(self) -> QWidget:
        page = QWidget()
        form = QFormLayout(page)
        form.setLabelAlignment(Qt.AlignmentFlag.AlignLeft)
        for words, widget in (
            ("Tooth number shown first", self.numbering),
            ("Paper of the sheet", self.paper),
            ("Grey window of a new scan", self.window_choice),
            ("Your initials", self.initials_line),
            ("Your name", self.name),
            ("Your role", self.role),
        ):
            widget.setAccessibleName(words)
            form.addRow(words, widget)
        form.addRow("", self.hide_names)
        note = QLabel(
            "Both tooth numbers are always shown. Initials are offered in answers; each answer "
            "still has to be given by a person."
        )
        note.setObjectName("quiet")
        note.setWordWrap(True)
        form.addRow(note)
        return page

    def _limits(self) -> QWidget:
        table = _table(("limit", "between, zone", "default", "practice"), len(ROWS))
        for number, row in enumerate(ROWS):
            for column, text in enumerate(
                (row.key.replace("-", ", "), f"{row.between}, {row.zone}", plain(row.value))
            ):
                item = QTableWidgetItem(text)
                item.setToolTip(text)
                table.setItem(number, column, item)
            box = NumberBox(row.lower_line, 20.0, unit="")
            box.setValue(self.settings.value.limits.get(row.key, row.value))
            box.setAccessibleName(f"practice limit {row.key}")
            self.limits[row.key] = box
            table.setCellWidget(number, 3, box)
        table.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        table.horizontalHeader().setSectionResizeMode(1, QHeaderView.ResizeMode.Stretch)
        table.setColumnWidth(0, 120)
        table.setColumnWidth(2, 60)
        table.setColumnWidth(3, 84)
        return _with_words(
            table,
            "They are put into each new plan as changes that stand beside the default on every "
            "row. Plans that exist keep theirs.",
        )

    def _drills(self) -> QWidget:
        add = QPushButton("Add")
        add.setAutoDefault(False)
        add.clicked.connect(self._add_drill)
        out = QPushButton("Take out")
        out.setAutoDefault(False)
        out.clicked.connect(lambda: self.drills.removeRow(self.drills.currentRow()))
        page = _with_words(
            self.drills,
            "Do the depth marks include the tip? “Don’t know” counts 1.5 mm, or the cone’s height "
            "where that is longer.",
        )
        row = QHBoxLayout()
        row.addWidget(add)
        row.addWidget(out)
        row.addStretch(1)
        layout = page.layout()
        if isinstance(layout, QVBoxLayout):
            layout.addLayout(row)
        return page

    def _add_drill(self) -> None:
        if self.drills.rowCount() < MOST_DRILLS:
            _put_drill(self.drills, self.drills.rowCount(), Drill(name="drill"))


def _choice(words: Sequence[str] | dict[str, str], current: int) -> QComboBox:
    box = QComboBox()
    box.addItems(list(words))
    box.setCurrentIndex(current)
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


def _drill_table(drills: tuple[Drill, ...]) -> QTableWidget:
    table = _table(("drill", "marks every mm", "marks include the tip", "tip mm"), 0)
    table.setAccessibleName("Drills")
    table.horizontalHeader().setSectionResizeMode(QHeaderView.ResizeMode.Stretch)
    for number, drill in enumerate(drills):
        _put_drill(table, number, drill)
    return table


def _put_drill(table: QTableWidget, row: int, drill: Drill) -> None:
    table.setRowCount(max(table.rowCount(), row + 1))
    table.setItem(row, 0, QTableWidgetItem(drill.name))
    table.setItem(row, 1, QTableWidgetItem(f"{drill.mark_step_mm:g}"))
    tip = "" if drill.tip_mm is None else f"{drill.tip_mm:g}"
    table.setItem(row, 3, QTableWidgetItem(tip))
    table.setCellWidget(row, 2, _choice(TIP, TIP.index(drill.marks_include_tip)))


def _read_drills(table: QTableWidget) -> tuple[Drill, ...]:
    drills = []
    for row in range(table.rowCount()):
        texts = [
            "" if (item := table.item(row, column)) is None else item.text().strip()
            for column in (0, 1, 3)
        ]
        box = table.cellWidget(row, 2)
        include = box.currentText() if isinstance(box, QComboBox) else TIP[2]
        try:
            step = float(texts[1].replace(",", ".") or MARK_STEP_MM)
            tip = float(texts[2].replace(",", ".")) if texts[2] else None
            believable = 0.05 <= step <= 5.0 and (tip is None or 0.0 <= tip <= 10.0)
        except ValueError:
            believable = False
        if not believable or not texts[0]:
            raise PlanError("drills-setting", row=row + 1)
        drills.append(
            Drill(name=texts[0], mark_step_mm=step, marks_include_tip=include, tip_mm=tip)  # type: ignore[arg-type]
        )
    return tuple(drills)


def show_settings(session: Session, desk: Desk, parent: QWidget | None) -> Dialog:
    """Open the settings."""
    return open_dialog(SettingsDialog(session, desk, parent))
