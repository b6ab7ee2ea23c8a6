"""The log: what is open on top, then what was really done, newest first, with date and initials.

Nothing here is ticked by software: an open point goes only when a person has answered, or has
marked or declared what was missing.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import islice
from typing import Any

from PySide6.QtCore import (
    QAbstractListModel,
    QEvent,
    QModelIndex,
    QPersistentModelIndex,
    QRect,
    QSize,
    Qt,
    Signal,
)
from PySide6.QtGui import QFontMetrics, QKeyEvent, QPainter, QResizeEvent
from PySide6.QtWidgets import (
    QAbstractItemView,
    QListView,
    QStyle,
    QStyledItemDelegate,
    QStyleOptionViewItem,
    QWidget,
)

from app.case.scan_checks import warnings_of
from app.case.session import Session
from app.dialogs.answers.confirm_jaw import confirm_jaw
from app.panels.base import Panel
from app.panels.open_points import OpenPoint, open_points
from app.panels.rows_shown import mark_tool
from app.tools.base import Desk
from app.tools.prompts import ask_tooth, likely_here
from app.widgets import style
from app.widgets.shared_texts import short_time
from core.findings import Finding
from core.identity import Tooth
from core.plans.edit_pose import with_fixture_tooth
from core.plans.history import done_words
from core.plans.plan import Jaw
from core.words.catalogue import Message, message, say

CONFIRM: dict[Jaw, Message] = {
    "lower": message("panels.log.confirm-lower-jaw"),
    "upper": message("panels.log.confirm-upper-jaw"),
}
TIME_PX, BY_PX, PAD = 46, 30, 4
MOST_INITIALS = 4
MOST_LINES = 400
Index = QModelIndex | QPersistentModelIndex


@dataclass(frozen=True, slots=True, kw_only=True)
class LogLine:
    """A line: an open point, or one entry of the plan's history.

    Parameters
    ----------
    settled : bool
        It was an open point, and stands where it stood while the pointer is among the lines.
    """

    text: str
    at: str = ""
    by: str = ""
    point: OpenPoint | None = None
    settled: bool = False

    @property
    def weighs(self) -> bool:
        """True for what is open, or was: it keeps its height."""
        return self.settled or self.point is not None


def log_lines(
    points: tuple[OpenPoint, ...], history: tuple[Mapping[str, object], ...]
) -> tuple[LogLine, ...]:
    """Open points, then the history backwards; equal steps in a row are one line."""
    lines = [LogLine(text=p.text, point=p) for p in points]
    last: LogLine | None = None
    count = 1
    for entry in islice(reversed(history), MOST_LINES):
        text = str(done_words(entry))
        by, at = str(entry.get("who", "")), str(entry.get("when", ""))
        if last is not None and (last.text, last.by, last.at[:10]) == (text, by, at[:10]):
            count += 1
            words = f"{_capital(text)} (× {count})"
            lines[-1] = LogLine(text=words, at=last.at, by=by)
            continue
        count = 1
        last = LogLine(text=text, at=at, by=by)
        lines.append(LogLine(text=_capital(text), at=at, by=by))
    return tuple(lines)


def held(before: tuple[LogLine, ...], after: tuple[LogLine, ...]) -> tuple[LogLine, ...]:
    """The new lines, with every open point where it stood: nothing moves below a hand.

    What is open no more keeps its place and says so; what is newly open comes behind the others.
    """
    now = {line.text: line for line in after if line.point is not None}
    kept = [
        now.pop(line.text, LogLine(text=line.text, settled=True)) for line in before if line.weighs
    ]
    rest = tuple(line for line in after if line.point is None)
    return (*kept, *now.values(), *rest)


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


class _Lines(QAbstractListModel):
    def __init__(self) -> None:
        super().__init__()
        self.lines: tuple[LogLine, ...] = ()

    def show(self, lines: tuple[LogLine, ...]) -> None:
        if lines != self.lines:
            self.beginResetModel()
            self.lines = lines
            self.endResetModel()

    def rowCount(self, parent: Index | None = None) -> int:
        return 0 if parent is not None and parent.isValid() else len(self.lines)

    def data(self, index: Index, role: int = Qt.ItemDataRole.DisplayRole) -> Any:
        line = self.lines[index.row()]
        if role == Qt.ItemDataRole.UserRole:
            return line
        if role == Qt.ItemDataRole.DisplayRole:
            return " ".join(part for part in (short_time(line.at), line.text, line.by) if part)
        if role == Qt.ItemDataRole.ToolTipRole:
            return " ".join(part for part in (short_time(line.at), line.text, line.by) if part)
        return None


class _Delegate(QStyledItemDelegate):
    """Time or *open*, all of the text, initials at the right; a name whole after the text."""

    def __init__(self, view: QListView) -> None:
        super().__init__(view)
        self._view = view

    def sizeHint(self, option: QStyleOptionViewItem, index: Index) -> QSize:
        line: LogLine = index.data(Qt.ItemDataRole.UserRole)
        width = self._view.viewport().width()
        font = style.font(12, bold=line.weighs)
        box = QRect(0, 0, self._text_width(width, line), 2_000)
        text = _with_name(line)
        height = QFontMetrics(font).boundingRect(box, Qt.TextFlag.TextWordWrap, text).height()
        return QSize(width, height + 6)

    def paint(self, painter: QPainter, option: QStyleOptionViewItem, index: Index) -> None:
        line: LogLine = index.data(Qt.ItemDataRole.UserRole)
        rect = option.rect
        shown = self._view.viewport().height()
        if rect.bottom() > shown and rect.top() > 0:
            return  # half a line is read as a whole one; the bar tells that there are more
        painter.save()
        if option.state & QStyle.StateFlag.State_Selected:
            painter.fillRect(rect, style.RAISED)
        top = rect.adjusted(PAD, 2, -PAD, -1)
        painter.setFont(style.font(11, italic=True))
        painter.setPen(style.QUIET)
        state = say("panels.log.is-settled") if line.settled else say("panels.log.is-open")
        painter.drawText(top, Qt.AlignmentFlag.AlignLeft, line.at[11:16] or state)
        if _has_initials(line):
            painter.setFont(style.font(11))
            painter.drawText(top, Qt.AlignmentFlag.AlignRight, line.by)
        painter.setFont(style.font(12, bold=line.weighs))
        painter.setPen(style.QUIET if line.settled else style.TEXT)
        width = self._text_width(rect.width(), line)
        box = QRect(top.left() + TIME_PX, top.top(), width, top.height())
        box = QStyle.visualRect(option.direction, top, box)
        painter.drawText(box, Qt.TextFlag.TextWordWrap, _with_name(line))
        painter.restore()

    def _text_width(self, width: int, line: LogLine) -> int:
        return width - TIME_PX - 2 * PAD - (BY_PX if _has_initials(line) else 0)


def _has_initials(line: LogLine) -> bool:
    """True where who did it has room beside the text: a name is never cut to fit there."""
    return 0 < len(line.by) <= MOST_INITIALS


def _with_name(line: LogLine) -> str:
    """The text, and after it a name that is too long to stand beside it."""
    named = bool(line.by) and not _has_initials(line)
    return f"{line.text} · {line.by}" if named else line.text


class _View(QListView):
    left = Signal()
    """The pointer is among the lines no more."""

    def leaveEvent(self, event: QEvent) -> None:
        """What was held in its place for the pointer need not be held any longer."""
        super().leaveEvent(event)
        self.left.emit()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Nudges are the bench's; the rest moves as in every list."""
        if style.is_nudge(event):
            event.ignore()
        else:
            super().keyPressEvent(event)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Heights hang on the width, also where only the scroll bar took some of it."""
        super().resizeEvent(event)
        self.scheduleDelayedItemsLayout()


class Log(Panel):
    """Open points and the dated lines of the work."""

    title = message("panels.log.log")

    def __init__(self, session: Session, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(session, desk, parent)
        self.model = _Lines()
        self.view = _View()
        self.view.setModel(self.model)
        self._delegate = _Delegate(self.view)
        self.view.setItemDelegate(self._delegate)
        self.view.setResizeMode(QListView.ResizeMode.Adjust)
        self.view.setVerticalScrollMode(QAbstractItemView.ScrollMode.ScrollPerItem)
        self.view.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.view.setAccessibleName(say("panels.log.log"))
        self.view.setToolTip(say("panels.log.return-or-a-click-on"))
        self.view.clicked.connect(self._act)
        self.view.activated.connect(self._act)
        self.view.left.connect(self.refresh)
        self.body.addWidget(self.view, 1)
        self._acting = False
        self._warnings: tuple[Finding, ...] = ()
        for signal in (session.scan_changed, session.plan_changed, session.ledger_changed):
            signal.connect(self.refresh)
        self.refresh()

    def refresh(self) -> None:
        """Read the session anew."""
        session = self.session
        if session.volume is None:
            self.model.show(())
            self.aside.setText("")
            return
        current = session.ledger if session.ledger_is_current else None
        side = session.side
        if current is None and session.confirmed and session.plan.fixtures:
            # While it is measured nobody knows what is missing: keep what was said last.
            kept = tuple(
                line.point
                for line in self.model.lines
                if line.point is not None and line.point.act == "mark"
            )
            # The same holds of scan checks that only the measuring finds.
            points = open_points(
                session.plan, None, confirmed=True, side=side, warnings=self._warnings
            )
            split = next((n for n, p in enumerate(points) if p.act in ("image", "interpreted")), 99)
            points = (*points[:split], *kept, *points[split:])
        else:
            self._warnings = warnings_of(session)
            points = open_points(
                session.plan,
                current,
                confirmed=session.confirmed,
                side=side,
                warnings=self._warnings,
            )
        lines = log_lines(points, session.plan.history)
        scrolled = self.view.verticalScrollBar().value()
        self.model.show(held(self.model.lines, lines) if self.view.underMouse() else lines)
        if scrolled:
            # Lines that are shown anew begin at the top; who reads further down stays there.
            self.view.doItemsLayout()
            self.view.verticalScrollBar().setValue(scrolled)
        self.aside.setText(
            say("panels.log.open", points=len(points)) if points else say("panels.log.nothing-open")
        )

    def _act(self, index: QModelIndex) -> None:
        line: LogLine = index.data(Qt.ItemDataRole.UserRole)
        # A click is told twice where the system activates on single click.
        if line.point is None or self._acting:
            return
        self._acting = True
        try:
            self._settle(line.point)
        finally:
            self._acting = False

    def _settle(self, point: OpenPoint) -> None:
        from app.dialogs.answers.image_check import ask_image_check
        from app.dialogs.answers.interpreted import ask_interpreted
        from app.dialogs.answers.side import ask_side
        from app.dialogs.answers.side_question import ask_about_side

        if point.act == "confirm":
            self._confirm()
        elif point.act == "side":
            ask_side(self.session, self.desk, self)
        elif point.act == "which side":
            ask_about_side(self.session, self.desk, self)
        elif point.act == "image":
            ask_image_check(self.session, self.desk, self)
        elif point.act == "interpreted":
            ask_interpreted(self.session, self.desk, self)
        elif point.act == "checks":
            self.desk.show_checks()
        elif point.act == "mark":
            self.desk.take_tool(mark_tool(point.target), point.target)
        elif point.act == "tooth":
            self._name_tooth(point.target)

    def _name_tooth(self, fixture_id: str) -> None:
        session = self.session
        placed = next((f for f in session.plan.fixtures if f.id == fixture_id), None)
        at_mm = None if placed is None else placed.platform
        tooth = ask_tooth(
            session, self.desk, say("panels.log.which-tooth-is-it-for"),
            at_mm=at_mm, replaces=fixture_id,
            likely=None if at_mm is None else likely_here(session, at_mm),
        )  # fmt: skip
        if tooth:
            plan, called = with_fixture_tooth(self.session.plan, fixture_id, tooth)
            self.session.apply(
                message(
                    "panels.log.fixture-is-for",
                    fixture_id=fixture_id,
                    words=Tooth.of(tooth).words(),
                ),
                plan,
            )
            self.session.go_to(selected=called)

    def _confirm(self) -> None:
        if self.session.guide.arch_points is None:
            self.desk.take_tool("Arch")
            self.desk.say(say("panels.log.no-arch-was-recognised-click"))
            return
        if not self.session.plane_is_found:
            self.desk.take_tool("Jaw plane")
            self.desk.say(say("panels.log.the-jaw-plane-was-not"))
            return
        answer = self.desk.choose(
            say("panels.log.jaw-plane-and-arch"),
            say("panels.log.every-height-and-every-side"),
            [str(words) for words in CONFIRM.values()],
        )
        for jaw, words in CONFIRM.items():
            if answer == str(words):
                confirm_jaw(self.session, self.desk, jaw)
