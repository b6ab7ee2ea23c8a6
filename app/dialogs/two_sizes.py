"""Two sizes in one place side by side: every row with a limit, of the planned and the other one."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtWidgets import (
    QAbstractItemView,
    QHeaderView,
    QTableWidget,
    QTableWidgetItem,
    QWidget,
)

from app.background.tasks import Latest, Task
from app.case.session import Session
from app.dialogs.base import Dialog, open_dialog
from app.tools.base import Desk
from app.tools.two_sizes import exchange
from core.errors import SoundingError
from core.fixture import Fixture, FixtureSize
from core.measurement import Measurement
from core.measuring.row_names import row_words
from core.measuring.sizes_table import SizeRow, sizes_tried
from core.pictures.ink import GLYPHS
from core.plans.sizes import ListedSize, size_words
from core.trust.figures import is_to_surface, shown_at_least, told
from core.trust.verdict import judged_words, shown_verdict
from core.words.catalogue import message, say
from core.words.numbers import Figure

WAITS = "…"


class TwoSizesDialog(Dialog):
    """The button plans the other size; the rows are then those of the same two sizes."""

    heading = message("dialogs.two_sizes.heading")
    accept_words = message("dialogs.two_sizes.exchange")
    least_width = 860

    def __init__(
        self, session: Session, desk: Desk, parent: QWidget | None, *, fixture: Fixture
    ) -> None:
        super().__init__(session, desk, parent)
        self._fixture = fixture
        other = fixture.size if fixture.other_size is None else fixture.other_size
        self._sizes = (fixture.size, other)
        self.words(say("dialogs.two_sizes.means"), quiet=True)
        self.table = QTableWidget(0, 3)
        self.table.setAccessibleName(str(self.heading))
        self.table.setHorizontalHeaderLabels(
            [
                say("dialogs.two_sizes.measurement"),
                say("dialogs.two_sizes.planned", size=size_words(self._sizes[0])),
                say("dialogs.two_sizes.other", size=size_words(self._sizes[1])),
            ]
        )
        header = self.table.horizontalHeader()
        header.setDefaultAlignment(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter)
        header.setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
        header.setSectionResizeMode(0, QHeaderView.ResizeMode.Stretch)
        self.table.verticalHeader().hide()
        self.table.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self.table.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        self.table.setShowGrid(False)
        self.table.setTabKeyNavigation(False)
        self.body.addWidget(self.table, 1)
        self.summary = self.words(WAITS)
        self.cancel.setText(say("dialogs.two_sizes.close"))
        self.rows: tuple[SizeRow, ...] = ()
        self._latest = Latest(self._found, self._failed, parent=self)
        self._ask()
        self.resize(self.least_width, 560)

    def give(self) -> None:
        """Plan the other size."""
        exchange(self.session, self.desk)

    def _ask(self) -> None:
        plan, volume, fixture = self.session.plan, self.session.volume, self._fixture
        if volume is None:
            return
        kept, sizes = self.session.basis, [ListedSize(size=size) for size in self._sizes]

        def work(task: Task) -> tuple[SizeRow, ...]:
            found: list[SizeRow] = []
            for row in sizes_tried(plan, fixture.id, sizes, kept.of(plan, volume)):
                if task.cancelled():
                    raise SoundingError("measuring-cancelled")
                found.append(row)
            return tuple(found)

        self._latest.ask(work)

    def _found(self, rows: tuple[SizeRow, ...]) -> None:
        self.rows = rows
        planned, other = ({m.id: m for m in row.rows} for row in rows)
        jaw = self.session.plan.known_jaw
        ids = list(dict.fromkeys((*planned, *other)))
        self.table.setRowCount(len(ids))
        for number, row_id in enumerate(ids):
            pair = (planned.get(row_id), other.get(row_id))
            named = next(m for m in pair if m is not None)
            cells = (row_words(named, jaw=jaw), *(_cell(m) for m in pair))
            for column, text in enumerate(cells):
                item = QTableWidgetItem(text)
                measured = pair[column - 1] if column else None
                if measured is not None:
                    spoken = judged_words(measured)
                    item.setToolTip(spoken)
                    item.setData(Qt.ItemDataRole.AccessibleTextRole, f"{text}, {spoken}")
                self.table.setItem(number, column, item)
        self.summary.setText(
            "\n".join(
                _summary(size, row, key)
                for size, row, key in zip(
                    self._sizes,
                    rows,
                    ("dialogs.two_sizes.planned-met", "dialogs.two_sizes.other-met"),
                    strict=True,
                )
            )
        )

    def _failed(self, error: Exception) -> None:
        self.summary.setText(str(error))


def show_two_sizes(session: Session, desk: Desk, parent: QWidget | None) -> Dialog | None:
    """Both sizes of the chosen fixture side by side."""
    fixture = session.fixture
    if fixture is None or fixture.other_size is None:
        desk.say(say("tools.two_sizes.no-other"))
        return None
    return open_dialog(TwoSizesDialog(session, desk, parent, fixture=fixture))


def _cell(row: Measurement | None) -> str:
    """Sign of the verdict, the value, and what it could be as little as."""
    if row is None:
        return ""
    least = shown_at_least(row)
    glyph = GLYPHS[shown_verdict(row)]
    if row.value is None or least == "–":
        return f"{glyph} {told(row)}"
    if least.startswith("-"):
        overlap = Figure(least.removeprefix("-"))
        if is_to_surface(row):
            return say("dialogs.two_sizes.outside", glyph=glyph, value=told(row), least=overlap)
        return say("dialogs.two_sizes.overlap", glyph=glyph, value=told(row), least=overlap)
    return say("dialogs.two_sizes.cell", glyph=glyph, value=told(row), least=least)


def _summary(size: FixtureSize, row: SizeRow, key: str) -> str:
    return say(key, size=size_words(size), met=row.met, limits=row.limits)
