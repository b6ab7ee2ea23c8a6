"""The live ledger: what is not met first, every number with its reason one key away."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import ClassVar

from PySide6.QtCore import QElapsedTimer, QEvent, QModelIndex, QPoint, QSize, Qt, Signal
from PySide6.QtGui import QContextMenuEvent, QKeyEvent, QMouseEvent, QResizeEvent
from PySide6.QtWidgets import QAbstractItemView, QListView, QMenu, QWidget

from app.case.session import Session
from app.panels.base import Panel
from app.panels.ledger_details import Detail, details
from app.panels.ledger_entries import Entry, entries
from app.panels.ledger_list import ACTS, BAR_MM, ENTRY, LedgerDelegate, LedgerModel, acts_of
from app.panels.pace import Pace
from app.panels.rows_shown import mark_tool, show_row
from app.tools.base import Desk
from app.widgets import style
from core.measurement import Measurement
from core.measurement_kinds import MeasurementKind
from core.measuring.ledger import Ledger
from core.words.catalogue import message, say

HAND_MS = 600
"""So long a hand is on its way to what it saw: a press in that time meant what stood there."""
KEYS = message("panels.ledger.choose-a-row-space-or")


class LedgerView(QListView):
    """The list with its keys: each does what a button on the chosen row does."""

    acted = Signal(str, object)

    _KEYS: ClassVar[dict[Qt.Key, str]] = {
        Qt.Key.Key_S: "show",
        Qt.Key.Key_M: "mark",
        Qt.Key.Key_D: "declare",
        Qt.Key.Key_L: "limit",
        Qt.Key.Key_F1: "explain",
        Qt.Key.Key_U: "budget",
        Qt.Key.Key_G: "grey",
        Qt.Key.Key_Space: "unfold",
        Qt.Key.Key_Return: "unfold",
        Qt.Key.Key_Enter: "unfold",
    }

    def __init__(self, model: LedgerModel, delegate: LedgerDelegate) -> None:
        super().__init__()
        self._delegate = delegate
        self.setModel(model)
        self.setItemDelegate(delegate)
        self.setVerticalScrollMode(QAbstractItemView.ScrollMode.ScrollPerPixel)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setUniformItemSizes(False)
        self.setResizeMode(QListView.ResizeMode.Adjust)
        self.setMouseTracking(True)
        self.setAccessibleName(say("panels.ledger.ledger"))
        self._pointer: QPoint | None = None
        self._moved_px = 0
        self._meant = ""
        self._since = QElapsedTimer()

    @contextmanager
    def keeping_place(self) -> Iterator[None]:
        """Rows that come or go move nothing under the pointer.

        What was under it stays there as far as the list can be scrolled; where it cannot, a press
        just afterwards is no answer to the row that slid below it.
        """
        at = self._pointer
        if at is None or not self.indexAt(at).isValid():
            yield
            return
        index = self.indexAt(at)
        key, before = index.data(ENTRY).key, self.visualRect(index).top()
        model, bar = self.model(), self.verticalScrollBar()
        value = bar.value()
        yield
        rows = (model.index(n, 0) for n in range(model.rowCount()))
        index = next((i for i in rows if i.data(ENTRY).key == key), QModelIndex())
        if index.isValid():
            bar.setValue(bar.value() + self.visualRect(index).top() - before)
            self._moved_px += bar.value() - value
        under = self.indexAt(at)
        if not under.isValid() or under.data(ENTRY).key != key:
            self._meant = key
            self._since.start()

    def _slid_below(self, index: QModelIndex) -> bool:
        """True where another row was under the pointer a moment ago: a hand was on its way."""
        return (
            self._since.isValid()
            and self._since.elapsed() < HAND_MS
            and index.data(ENTRY).key != self._meant
        )

    def leaveEvent(self, event: QEvent) -> None:
        """What came above while the pointer was here is shown now."""
        self._pointer = None
        bar = self.verticalScrollBar()
        bar.setValue(bar.value() - self._moved_px)
        self._moved_px = 0
        super().leaveEvent(event)

    def sizeHint(self) -> QSize:
        """Takes what is left of its column."""
        return QSize(320, 240)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """A letter acts on the chosen row; the rest moves as in every list."""
        if style.is_nudge(event):
            event.ignore()
            return
        index = self.currentIndex()
        act = self._KEYS.get(Qt.Key(event.key()))
        if act is not None and index.isValid() and not event.modifiers():
            self.acted.emit(act, index.data(ENTRY))
            return
        super().keyPressEvent(event)

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """On a button: act; on the rest of a row: choose it and unfold or fold it."""
        index = self.indexAt(event.position().toPoint())
        if index.isValid() and self._slid_below(index):
            return
        super().mousePressEvent(event)
        if event.button() != Qt.MouseButton.LeftButton:
            return
        if index.isValid():
            self.acted.emit(self._act_at(index, event.position().toPoint()), index.data(ENTRY))

    def contextMenuEvent(self, event: QContextMenuEvent) -> None:
        """What can be done on the row under the mouse, or on the chosen one."""
        by_key = event.reason() == QContextMenuEvent.Reason.Keyboard
        index = self.currentIndex() if by_key else self.indexAt(event.pos())
        menu = self.menu(index)
        if menu is None:
            return
        box = self.visualRect(index)
        menu.popup(self.viewport().mapToGlobal(box.center()) if by_key else event.globalPos())

    def menu(self, index: QModelIndex) -> QMenu | None:
        """What can be done on a row; None where that is nothing."""
        entry: Entry | None = index.data(ENTRY) if index.isValid() else None
        acts = () if entry is None else acts_of(entry)
        if not acts:
            return None
        menu = QMenu(self)
        menu.aboutToHide.connect(menu.deleteLater)
        for act in acts:
            done = menu.addAction(str(ACTS[act])).triggered
            done.connect(lambda _on=False, act=act: self.acted.emit(act, entry))
        return menu

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        """A pointing hand over what can be pressed."""
        self._pointer = event.position().toPoint()
        index = self.indexAt(self._pointer)
        kind = index.data(ENTRY).kind if index.isValid() else ""
        pressable = kind in ("row", "fold")
        shape = Qt.CursorShape.PointingHandCursor if pressable else Qt.CursorShape.ArrowCursor
        self.viewport().setCursor(shape)
        super().mouseMoveEvent(event)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Heights hang on the width."""
        super().resizeEvent(event)
        self.scheduleDelayedItemsLayout()

    def _act_at(self, index: QModelIndex, at: QPoint) -> str:
        entry: Entry = index.data(ENTRY)
        for words, box in self._delegate.button_rects(entry, self.visualRect(index)):
            if box.contains(at):
                return words
        return "unfold"


class LedgerPanel(Panel):
    """The ledger of the open case."""

    title = message("panels.ledger.ledger")

    def __init__(self, session: Session, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(session, desk, parent)
        self.aside.setText(say("panels.ledger.mm-bars-0-to", bar_mm=BAR_MM))
        self.setMinimumWidth(320)
        self.model = LedgerModel()
        self.delegate = LedgerDelegate(self._details_of)
        self.view = LedgerView(self.model, self.delegate)
        self.view.setToolTip(str(KEYS))
        self.view.acted.connect(self._act)
        self.body.addWidget(self.view, 1)
        self.opened: set[str] = set()
        self._earlier: Ledger | None = None
        self._details: dict[int, tuple[Measurement, tuple[Detail, ...]]] = {}
        session.scan_changed.connect(self._other_scan)
        pace = Pace(session, self.refresh, self)
        session.ledger_changed.connect(pace.follow)
        session.plan_changed.connect(pace.follow)
        self.refresh()

    def refresh(self) -> None:
        """Read the session anew."""
        session = self.session
        if session.ledger is not None and session.ledger_is_current and session.ledger_is_whole:
            self._earlier = session.ledger
        chosen = self._chosen_key()
        found = entries(
            session.plan,
            session.ledger,
            None if session.ledger is None else self._earlier,
            current=session.ledger_is_current,
            whole=session.ledger_is_whole,
            opened=self.opened,
        )
        plan = session.plan
        if session.ledger_problem is not None:
            # A plan that cannot be measured says why, and shows no heads without rows.
            found = self._nothing()
        elif session.ledger is None or plan.fixtures or plan.sites or session.ledger.measurements:
            found = found or self._nothing()
        else:
            # The closing sentences alone would not say how a number comes about.
            found = (*self._nothing(), *found)
        with self.view.keeping_place():
            self.model.show(found)
            row = self.model.row_of(chosen)
            if row >= 0 and self.view.currentIndex().row() != row:
                self.view.setCurrentIndex(self.model.index(row))
        self.view.viewport().update()

    def changeEvent(self, event: QEvent) -> None:
        """Another font or style: heights are computed anew."""
        super().changeEvent(event)
        if event.type() in (QEvent.Type.FontChange, QEvent.Type.StyleChange):
            self.model.layoutChanged.emit()

    def _nothing(self) -> tuple[Entry, ...]:
        session = self.session
        if session.ledger_problem is not None:
            text = str(session.ledger_problem)
        elif session.volume is None:
            text = say("panels.ledger.open-a-scan-to-measure")
        elif not session.confirmed:
            text = say("panels.ledger.no-number-is-shown-until")
        elif not session.plan.fixtures and not session.plan.sites:
            text = say("panels.ledger.measure-a-ridge-at-a")
        else:
            text = "Measuring …"
        return (Entry(kind="summary", key="nothing", text=text),)

    def _other_scan(self) -> None:
        self._earlier = None
        self.opened.clear()
        self._details.clear()
        self.refresh()

    def _chosen_key(self) -> str:
        index = self.view.currentIndex()
        return index.data(ENTRY).key if index.isValid() else ""

    def _details_of(self, row: Measurement) -> tuple[Detail, ...]:
        kept = self._details.get(id(row))
        if kept is None or kept[0] is not row:
            if len(self._details) > 200:
                self._details.clear()
            kept = row, details(row, self.session.plan, self.session.arch)
            self._details[id(row)] = kept
        return kept[1]

    def _act(self, act: str, entry: Entry) -> None:
        if act == "unfold":
            self._unfold(entry)
        elif entry.row is not None:
            self._act_on_row(act, entry, entry.row)

    def _unfold(self, entry: Entry) -> None:
        if entry.kind not in ("row", "fold") or (entry.kind == "row" and entry.waiting):
            return
        self.opened.symmetric_difference_update({entry.key})
        self.refresh()
        row = self.model.row_of(entry.key)
        if row >= 0:
            self.view.setCurrentIndex(self.model.index(row))

    def _act_on_row(self, act: str, entry: Entry, row: Measurement) -> None:
        from app.dialogs.answers.declare import ask_declaration
        from app.dialogs.help.dialog import show_help
        from app.dialogs.limits import ask_limits
        from app.dialogs.plots import show_budget, show_grey_along

        if act == "show" and not entry.waiting:
            if not show_row(self.session, row):
                self.desk.say(say("panels.ledger.this-row-has-no-place"))
        elif act == "mark" and entry.markable:
            self.desk.take_tool(mark_tool(row.target), row.target)
        elif act == "declare" and entry.markable:
            ask_declaration(self.session, self.desk, self, structure=row.target)
        elif act == "limit" and row.limit is not None:
            ask_limits(self.session, self.desk, self, key=row.limit.key)
        elif act == "budget" and not entry.waiting:
            show_budget(self.session, self.desk, self, row=row)
        elif act == "grey" and row.kind is MeasurementKind.RULER:
            show_grey_along(self.session, self.desk, self, ruler=row.target)
        elif act == "explain":
            show_help(self.session, self.desk, self, topic=row.kind)
