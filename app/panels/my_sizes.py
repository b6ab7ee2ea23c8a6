"""My sizes: every size of the user's list at this pose, and how many limits each would meet.

The table keeps the list's own order; no size is recommended, emphasised or coloured.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from PySide6.QtCore import (
    QAbstractTableModel,
    QModelIndex,
    QPersistentModelIndex,
    QPoint,
    Qt,
    Signal,
)
from PySide6.QtGui import QKeyEvent, QShowEvent
from PySide6.QtWidgets import (
    QAbstractItemView,
    QHeaderView,
    QLabel,
    QMenu,
    QStackedWidget,
    QTableView,
    QToolButton,
    QVBoxLayout,
    QWidget,
)

from app.background.tasks import Latest, Task
from app.case.session import Session
from app.case.settings import settings_of
from app.dialogs.help.dialog import show_help
from app.panels.base import Panel
from app.tools.base import Desk
from app.tools.two_sizes import lay_beside
from app.widgets import style
from app.widgets.sizes_editor import SizesTable
from core.errors import SoundingError
from core.fixture import FixtureSize
from core.measuring.sizes_table import SizeRow, sizes_tried
from core.plans.edit_pose import fixture_resized
from core.plans.sizes import ListedSize, size_words
from core.words.catalogue import Words, message, say

HEADS: tuple[Words, ...] = (
    "",
    message("panels.my_sizes.size"),
    message("panels.my_sizes.met"),
    message("panels.my_sizes.stopped-by"),
)
"""Short, so that none is cut where all panels are unfolded."""
MEANS = (
    message("panels.my_sizes.the-size-placed-now"),
    "size",
    message("panels.my_sizes.limits-met"),
    message("panels.my_sizes.what-stops-it-and-what"),
)
WAITS = "…"
PLACED = "▸"
_TAKES = (Qt.Key.Key_Return, Qt.Key.Key_Enter, Qt.Key.Key_Space)

Index = QModelIndex | QPersistentModelIndex


def _met_words(row: SizeRow) -> str:
    """In words: a count beside that of all measurements, which has more rows, would confuse."""
    if not row.limits:
        return say("panels.my_sizes.no-limit")
    if row.met == row.limits:
        return say("panels.my_sizes.all")
    return say("panels.my_sizes.all-but", number=row.limits - row.met)


class TriedModel(QAbstractTableModel):
    """The list's sizes with what is known of each at this pose; the rest waits with dots."""

    def __init__(self) -> None:
        super().__init__()
        self.sizes: tuple[ListedSize, ...] = ()
        self.rows: tuple[SizeRow, ...] = ()
        """Of the first sizes of the list, as far as they are tried."""
        self.placed: FixtureSize | None = None
        self.waiting = False

    def show(
        self,
        sizes: Sequence[ListedSize],
        rows: Sequence[SizeRow],
        *,
        placed: FixtureSize | None,
        waiting: bool,
    ) -> None:
        """Replace everything; the view keeps its place while the list is the same."""
        same = tuple(sizes) == self.sizes
        if same and (tuple(rows), placed, waiting) == (self.rows, self.placed, self.waiting):
            return
        if not same:
            self.beginResetModel()
        self.sizes, self.rows = tuple(sizes), tuple(rows)
        self.placed, self.waiting = placed, waiting
        if not same:
            self.endResetModel()
        elif self.sizes:
            last = self.index(len(self.sizes) - 1, len(HEADS) - 1)
            self.dataChanged.emit(self.index(0, 0), last)

    def rowCount(self, parent: Index | None = None) -> int:
        """Number of sizes."""
        return 0 if parent is not None and parent.isValid() else len(self.sizes)

    def columnCount(self, parent: Index | None = None) -> int:
        """Mark of the placed size, size, limits met, what stops it."""
        return 0 if parent is not None and parent.isValid() else len(HEADS)

    def headerData(
        self, section: int, orientation: Qt.Orientation, role: int = Qt.ItemDataRole.DisplayRole
    ) -> Any:
        """Heads of the columns; said in full to who asks."""
        if orientation != Qt.Orientation.Horizontal:
            return None
        if role == Qt.ItemDataRole.DisplayRole:
            return str(HEADS[section])
        if role in (Qt.ItemDataRole.ToolTipRole, Qt.ItemDataRole.AccessibleTextRole):
            return str(MEANS[section])
        return None

    def data(self, index: Index, role: int = Qt.ItemDataRole.DisplayRole) -> Any:
        """Words of a cell; greyed while they wait."""
        known = index.row() < len(self.rows)
        if role == Qt.ItemDataRole.DisplayRole:
            return self._words(index.row())[index.column()]
        if role == Qt.ItemDataRole.AccessibleTextRole:
            words = ", ".join(filter(None, self._words(index.row())[1:]))
            placed = self._is_placed(index.row())
            return say("panels.my_sizes.placed-now", words=words) if placed else words
        if role == Qt.ItemDataRole.ToolTipRole:
            return self._reasons(index.row()) if known else None
        if role == Qt.ItemDataRole.ForegroundRole and not known and index.column() > 1:
            return style.QUIET
        return None

    def _words(self, number: int) -> tuple[str, str, str, str]:
        mark = PLACED if self._is_placed(number) else ""
        size = self.sizes[number].words
        if number >= len(self.rows):
            dots = WAITS if self.waiting else ""
            return mark, size, dots, dots
        row = self.rows[number]
        return mark, size, _met_words(row), row.note.message if row.stopped_by is not None else ""

    def _is_placed(self, number: int) -> bool:
        return self.sizes[number].size == self.placed

    def _reasons(self, number: int) -> str:
        """The whole sentence, which a narrow column cuts, and what its row remarks."""
        row = self.rows[number]
        notes = () if row.stopped_by is None else row.stopped_by.reading.notes
        return "\n".join((row.note.message, *(n.message for n in notes)))


class _Table(QTableView):
    """A click, Return or Space takes a row."""

    taken = Signal(int)

    def __init__(self) -> None:
        super().__init__()
        self.setAccessibleName(say("panels.my_sizes.my-sizes-at-this-pose"))
        self.verticalHeader().hide()
        self.verticalHeader().setDefaultSectionSize(22)
        self.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        self.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        self.setTabKeyNavigation(False)
        self.setShowGrid(False)
        self.setWordWrap(False)
        self.clicked.connect(lambda index: self.taken.emit(index.row()))

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Arrows go through the rows; Return and Space take the one gone to."""
        if event.key() in _TAKES and self.currentIndex().isValid():
            self.taken.emit(self.currentIndex().row())
            return
        super().keyPressEvent(event)


class MySizes(Panel):
    """The list at the chosen fixture's pose, and behind it the list to edit."""

    title = message("panels.my_sizes.my-sizes")

    def __init__(self, session: Session, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(session, desk, parent)
        self.settings = settings_of(session)
        self.model = TriedModel()
        self.table = _Table()
        self.table.setModel(self.model)
        header = self.table.horizontalHeader()
        header.setDefaultAlignment(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter)
        header.setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
        header.setSectionResizeMode(len(HEADS) - 1, QHeaderView.ResizeMode.Stretch)
        self.table.taken.connect(self.take)
        self.table.setContextMenuPolicy(Qt.ContextMenuPolicy.CustomContextMenu)
        self.table.customContextMenuRequested.connect(self._ask_menu)
        self.said = QLabel("")
        self.said.setObjectName("quiet")
        self.said.setWordWrap(True)
        self.editor = SizesTable(self.settings)
        self.edit = QToolButton()
        self.edit.setText(say("panels.my_sizes.edit-list"))
        self.edit.setCheckable(True)
        self.explain = QToolButton()
        self.explain.setText(say("panels.my_sizes.explain"))
        self.explain.clicked.connect(
            lambda: show_help(self.session, self.desk, self, topic="sizes")
        )
        tried = QWidget()
        tried.setObjectName("clear")
        tried.setStyleSheet("QWidget#clear { background: transparent; }")
        column = QVBoxLayout(tried)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(4)
        column.addWidget(self.table, 1)
        column.addWidget(self.said)
        self.faces = QStackedWidget()
        self.faces.setObjectName("clear")
        self.faces.addWidget(tried)
        self.faces.addWidget(self.editor)
        self.edit.toggled.connect(lambda on: self.faces.setCurrentIndex(int(on)))
        self.body.addWidget(self.faces, 1)
        for button in (self.edit, self.explain):
            button.setObjectName("fold")
            self.head.addWidget(button)
        self._basis = session.basis
        self._latest = Latest(
            self._finished, self._failed, progressed=self._progressed, parent=self
        )
        self._tried: list[SizeRow] = []
        self._asked: object = None
        for signal in (
            session.scan_changed,
            session.plan_changed,
            session.plan_previewed,
            session.place_changed,
            session.ledger_changed,
        ):
            signal.connect(self.read)
        self.settings.changed.connect(self.read)
        self.read()

    def showEvent(self, event: QShowEvent) -> None:
        """Catch up with what was put off while it was folded away."""
        super().showEvent(event)
        self.read()

    def read(self) -> None:
        """Read the session anew; what belongs to an earlier pose is taken away at once."""
        session, sizes = self.session, self.settings.value.sizes
        fixture, volume, plan = session.fixture, session.volume, session.plan
        if fixture is None or volume is None or not session.confirmed:
            self._latest.drop()
            self._asked = None
            self._show(waiting=False)
            self._say(
                say("panels.my_sizes.choose-a-fixture")
                if plan.fixtures
                else say("panels.my_sizes.no-fixture-yet")
            )
            return
        key = (plan, fixture, sizes)
        if self._asked is not None and _same(self._asked, key):
            return
        self._latest.drop()
        self._asked = None
        self._tried = []
        self._show(waiting=True)
        self._say("")
        # The ledger comes first: both would only slow each other down.
        settled = session.ledger_is_current and session.ledger_is_whole
        if session.ledger_problem is not None and not settled and not session.dragging:
            self._show(waiting=False)
            self._say(str(session.ledger_problem))
        if not settled or session.dragging or not self.isVisible():
            return
        self._asked = key
        found = self._tried

        def work(task: Task) -> None:
            basis = self._basis.of(plan, volume)
            for row in sizes_tried(plan, fixture.id, sizes, basis):
                if task.cancelled():
                    raise SoundingError("measuring-cancelled")
                found.append(row)
                task.progress(len(found), len(sizes))

        self._latest.ask(work)

    def take(self, number: int) -> None:
        """Give the chosen fixture a size of the list; one undoable step."""
        session, listed = self.session, self.model.sizes[number]
        fixture = session.fixture
        if fixture is None:
            self.desk.say(say("panels.my_sizes.there-is-no-fixture-yet"))
            return
        if fixture.size == listed.size:
            return
        try:
            plan = fixture_resized(session.plan, fixture.id, listed.size)
        except SoundingError as error:
            self.desk.tell_error(error)
            return
        session.apply(
            message(
                "panels.my_sizes.fixture-set-to", id=fixture.id, size_words=size_words(listed.size)
            ),
            plan,
        )

    def menu(self, number: int) -> QMenu:
        """What can be done with a size of the list."""
        menu = QMenu(self.table)
        menu.aboutToHide.connect(menu.deleteLater)
        size = self.model.sizes[number].size
        for words, act in (
            (say("panels.my_sizes.take"), lambda: self.take(number)),
            (
                say("panels.fixture.look-at-beside"),
                lambda: lay_beside(self.session, self.desk, size),
            ),
        ):
            action = menu.addAction(words)
            action.setEnabled(size != self.model.placed)
            action.triggered.connect(lambda _on=False, act=act: act())
        return menu

    def _ask_menu(self, at: QPoint) -> None:
        index = self.table.indexAt(at)
        if index.isValid() and self.session.fixture is not None:
            self.menu(index.row()).popup(self.table.viewport().mapToGlobal(at))

    def _progressed(self, _done: int, _total: int) -> None:
        self._show(waiting=True)

    def _finished(self, _nothing: None) -> None:
        self._show(waiting=False)

    def _failed(self, error: Exception) -> None:
        self._tried = []
        self._show(waiting=False)
        self._say(str(error))

    def _show(self, *, waiting: bool) -> None:
        fixture = self.session.fixture
        rows = tuple(self._tried) if fixture is not None else ()
        self.model.show(
            self.settings.value.sizes,
            rows,
            placed=None if fixture is None else fixture.size,
            waiting=waiting,
        )
        self.aside.setText("" if fixture is None else say("panels.my_sizes.at-this-pose-a-click"))

    def _say(self, text: str) -> None:
        self.said.setText(text)
        self.said.setVisible(bool(text))


def _same(one: object, other: object) -> bool:
    """Whether two askings are of the very same plan, fixture and list."""
    if not isinstance(one, tuple) or not isinstance(other, tuple):
        return False
    return all(a is b for a, b in zip(one, other, strict=True))
