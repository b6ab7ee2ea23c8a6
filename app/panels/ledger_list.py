"""The painted list of the ledger: a model of entries and a delegate that draws them.

All bars stand on one scale, 0 to `BAR_MM`; a longer value ends in an arrow.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from PySide6.QtCore import (
    QAbstractListModel,
    QModelIndex,
    QPersistentModelIndex,
    QPointF,
    QRect,
    QRectF,
    QSize,
    Qt,
)
from PySide6.QtGui import QColor, QFont, QFontMetrics, QPainter, QPen
from PySide6.QtWidgets import QStyle, QStyledItemDelegate, QStyleOptionViewItem

from app.panels.ledger_details import Detail
from app.panels.ledger_entries import Entry
from app.widgets import style
from core.measurement import Measurement
from core.measurement_kinds import MeasurementKind
from core.words.catalogue import message

BAR_MM = 6.0
GLYPH_PX, PAD, LINE, SECOND, BAR_HEIGHT = 22, 6, 19, 16, 12
HEAD_PX = 70
ENTRY = Qt.ItemDataRole.UserRole

Index = QModelIndex | QPersistentModelIndex
DetailsOf = Callable[[Measurement], tuple[Detail, ...]]


class LedgerModel(QAbstractListModel):
    """Entries by row; keeps the view's place when only values change."""

    def __init__(self) -> None:
        super().__init__()
        self.entries: tuple[Entry, ...] = ()

    def show(self, entries: Sequence[Entry]) -> None:
        """Replace the entries; a change of values alone moves nothing."""
        same = [(e.key, e.opened) for e in entries] == [(e.key, e.opened) for e in self.entries]
        if same:
            self.entries = tuple(entries)
            if self.entries:
                self.dataChanged.emit(self.index(0), self.index(len(self.entries) - 1))
            return
        self.beginResetModel()
        self.entries = tuple(entries)
        self.endResetModel()

    def row_of(self, key: str) -> int:
        """Row of a key; -1 where it is not shown."""
        return next((n for n, e in enumerate(self.entries) if e.key == key), -1)

    def rowCount(self, parent: Index | None = None) -> int:
        """Number of entries."""
        return 0 if parent is not None and parent.isValid() else len(self.entries)

    def data(self, index: Index, role: int = Qt.ItemDataRole.DisplayRole) -> Any:
        """The entry, or its sentence."""
        entry = self.entries[index.row()]
        if role == ENTRY:
            return entry
        if role in (Qt.ItemDataRole.DisplayRole, Qt.ItemDataRole.AccessibleTextRole):
            return entry.spoken
        return None

    def flags(self, index: Index) -> Qt.ItemFlag:
        """Rows and folds can be chosen; headings and words are only read."""
        entry = self.entries[index.row()]
        if entry.kind in ("row", "fold"):
            return Qt.ItemFlag.ItemIsEnabled | Qt.ItemFlag.ItemIsSelectable
        return Qt.ItemFlag.ItemIsEnabled


ACTS = {
    "show": message("panels.ledger_list.show-me"),
    "mark": message("panels.ledger_list.mark-it"),
    "declare": message("panels.ledger_list.declare"),
    "limit": message("panels.ledger_list.change-limit"),
    "explain": message("panels.ledger_list.explain"),
    "budget": message("panels.ledger_list.uncertainty"),
    "grey": message("panels.ledger_list.grey-along"),
}
"""What can be done on a row, and the words on its button or in its menu."""


def buttons_of(entry: Entry) -> tuple[str, ...]:
    """What can be done on a row: keys of `ACTS`."""
    if entry.kind != "row" or entry.row is None:
        return ()
    if entry.markable:
        return ("mark", "declare")
    if entry.opened:
        shows = ("show",) if entry.row.reading.witness is not None and not entry.waiting else ()
        limit = ("limit",) if entry.row.limit is not None else ()
        return (*shows, *limit, "explain")
    return ()


def acts_of(entry: Entry) -> tuple[str, ...]:
    """All that can be done on a row, its buttons' acts first: keys of `ACTS`."""
    row = entry.row
    if entry.kind != "row" or row is None:
        return ()
    whole = not entry.waiting
    possible = {
        "mark": entry.markable,
        "declare": entry.markable,
        "show": whole and row.reading.witness is not None,
        "limit": row.limit is not None,
        "budget": whole and row.budget is not None and row.budget.u > 0,
        "grey": row.kind is MeasurementKind.RULER,
        "explain": True,
    }
    return tuple(act for act, can in possible.items() if can)


class LedgerDelegate(QStyledItemDelegate):
    """Draws entries and tells where their buttons lie."""

    def __init__(self, details_of: DetailsOf) -> None:
        super().__init__()
        self._details_of = details_of

    def sizeHint(self, option: QStyleOptionViewItem, index: Index) -> QSize:
        """Height for the view's width."""
        entry: Entry = index.data(ENTRY)
        width = option.rect.width() if option.rect.width() > 0 else 300
        return QSize(width, self._height(entry, width))

    def _height(self, entry: Entry, width: int) -> int:
        if entry.kind == "subject":
            return 40
        if entry.kind == "group":
            return 24
        if entry.kind == "fold":
            return LINE + 5 + (_below_fold(entry, width) if _fold_wraps(entry, width) else 0)
        if entry.kind in ("summary", "words", "reason"):
            return _wrapped(entry.text, _words_font(entry), width - 2 * PAD) + 10
        height = LINE + _second(entry, width) + 6
        if _has_bar(entry):
            height += BAR_HEIGHT
        if buttons_of(entry):
            height += 26
        if entry.opened and entry.row is not None:
            height += sum(_detail_height(d, width) for d in self._details_of(entry.row)) + 4
        return height

    def paint(self, painter: QPainter, option: QStyleOptionViewItem, index: Index) -> None:
        """Draw one entry."""
        entry: Entry = index.data(ENTRY)
        rect = option.rect
        painter.save()
        # Where a script runs to the left, ≥ would be drawn as ≤.
        painter.setLayoutDirection(Qt.LayoutDirection.LeftToRight)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        chosen = bool(option.state & QStyle.StateFlag.State_Selected)
        if chosen and entry.kind in ("row", "fold"):
            painter.fillRect(rect, style.RAISED)
            if option.state & QStyle.StateFlag.State_HasFocus:
                painter.setPen(QPen(style.FOCUS, 1))
                painter.drawRect(QRectF(rect).adjusted(0.5, 0.5, -0.5, -0.5))
        {
            "subject": self._subject,
            "group": self._group,
            "row": self._row,
            "fold": self._fold,
            "summary": self._words,
            "reason": self._words,
            "words": self._words,
        }[entry.kind](painter, rect, entry)
        painter.restore()

    def button_rects(self, entry: Entry, rect: QRect) -> list[tuple[str, QRect]]:
        """Where the buttons of an entry lie in the view."""
        y = rect.top() + LINE + _second(entry, rect.width()) + 5
        y += BAR_HEIGHT if _has_bar(entry) else 0
        x = rect.left() + GLYPH_PX + PAD
        metrics = QFontMetrics(style.font(12))
        found = []
        for act in buttons_of(entry):
            width = metrics.horizontalAdvance(str(ACTS[act])) + 18
            found.append((act, QRect(x, y, width, 21)))
            x += width + 6
        return found

    # -- the kinds --------------------------------------------------------------------------

    def _subject(self, painter: QPainter, rect: QRect, entry: Entry) -> None:
        painter.setPen(QPen(style.EDGE, 1))
        painter.drawLine(rect.left() + PAD, rect.top() + 2, rect.right() - PAD, rect.top() + 2)
        box = rect.adjusted(PAD, 5, -PAD, 0)
        _text(painter, box, entry.text, style.font(13, bold=True), style.TEXT)
        _text(painter, box.adjusted(0, 17, 0, 0), entry.aside, style.font(12), style.QUIET)

    def _group(self, painter: QPainter, rect: QRect, entry: Entry) -> None:
        box = rect.adjusted(PAD, 7, -PAD, 0)
        _text(painter, box, entry.text, style.font(12, italic=True), style.QUIET)

    def _fold(self, painter: QPainter, rect: QRect, entry: Entry) -> None:
        arrow = "▾" if entry.opened else "▸"
        colour = style.QUIET if entry.waiting else style.TEXT
        left = rect.adjusted(PAD, 2, -PAD, 0)
        _text(painter, left, arrow, style.font(12), style.QUIET)
        words = left.adjusted(GLYPH_PX, 0, 0, 0)
        _text(painter, words, entry.text, style.font(13), colour)
        if _fold_wraps(entry, rect.width()):
            below = words.adjusted(0, LINE - 1, 0, 0)
            _lines(painter, below, entry.aside, style.QUIET)
        else:
            _text(painter, words, entry.aside, style.font(12), style.QUIET, right=True)

    def _words(self, painter: QPainter, rect: QRect, entry: Entry) -> None:
        painter.setFont(_words_font(entry))
        painter.setPen(style.QUIET if entry.kind == "words" else style.TEXT)
        box = rect.adjusted(PAD, 6, -PAD, 0)
        painter.drawText(box, Qt.TextFlag.TextWordWrap, entry.text)

    def _row(self, painter: QPainter, rect: QRect, entry: Entry) -> None:
        row = entry.row
        if row is None:
            return
        below = row.verdict == "below limit" and not entry.waiting
        weighs = entry.not_met and not entry.waiting
        ink = style.QUIET if entry.waiting else style.TEXT
        top = rect.adjusted(PAD, 2, -PAD, 0)
        glyph = style.BELOW if below else ink
        _text(painter, top, entry.glyph, style.font(16, bold=True), glyph)
        value = style.font(16, bold=True)
        value_width = QFontMetrics(value).horizontalAdvance(entry.value) + 6
        _text(painter, top, entry.value, value, glyph, right=True)
        name = top.adjusted(GLYPH_PX, 1, -value_width, 0)
        first, why = _told_as(entry, rect.width())
        _text(painter, name, first, style.font(13, bold=weighs), ink)
        second = top.adjusted(GLYPH_PX, LINE, 0, 0)
        _lines(painter, second, why, style.TEXT if weighs else style.QUIET)
        y = rect.top() + LINE + _second(entry, rect.width()) + 5
        if _has_bar(entry):
            bar = QRect(rect.left() + GLYPH_PX + PAD, y, rect.width() - GLYPH_PX - 2 * PAD, 8)
            _bar(painter, bar, row)
        self._buttons(painter, rect, entry)
        if entry.opened:
            self._details(painter, rect, entry, row)

    def _buttons(self, painter: QPainter, rect: QRect, entry: Entry) -> None:
        painter.setFont(style.font(12))
        for act, box in self.button_rects(entry, rect):
            painter.setPen(QPen(style.QUIET, 1))
            painter.setBrush(style.PANEL)
            painter.drawRoundedRect(QRectF(box).adjusted(0.5, 0.5, -0.5, -0.5), 3, 3)
            painter.setPen(style.TEXT)
            painter.drawText(box, Qt.AlignmentFlag.AlignCenter, str(ACTS[act]))
        painter.setBrush(Qt.BrushStyle.NoBrush)

    def _details(self, painter: QPainter, rect: QRect, entry: Entry, row: Measurement) -> None:
        y = rect.top() + LINE + _second(entry, rect.width()) + 6
        y += BAR_HEIGHT if _has_bar(entry) else 0
        y += 26 if buttons_of(entry) else 0
        left = rect.left() + PAD
        for detail in self._details_of(row):
            height = _detail_height(detail, rect.width())
            head = QRect(left, y, HEAD_PX - 4, height)
            _text(painter, head, detail.head, style.font(11, italic=True), style.QUIET)
            if detail.share is not None:
                most = (rect.width() - HEAD_PX - 2 * PAD) * 0.9
                width = max(2.0, detail.share * most)
                painter.fillRect(QRectF(left + HEAD_PX, y + 2, width, 4), style.QUIET)
                box = QRect(left + HEAD_PX, y + 7, rect.width() - HEAD_PX - 2 * PAD, height)
            else:
                box = QRect(left + HEAD_PX, y, rect.width() - HEAD_PX - 2 * PAD, height)
            painter.setFont(style.font(11))
            painter.setPen(style.TEXT)
            painter.drawText(box, Qt.TextFlag.TextWordWrap, detail.text)
            y += height


def _has_bar(entry: Entry) -> bool:
    row = entry.row
    if entry.kind != "row" or row is None or row.limit is None or row.value is None:
        return False
    return entry.opened or entry.not_met


def _bar(painter: QPainter, rect: QRect, row: Measurement) -> None:
    """Value with its *at least* on the scale of all bars; an upright stroke is the limit."""
    if row.value is None or row.limit is None:
        return
    y = rect.center().y() + 0.5

    def x(mm: float) -> float:
        return rect.left() + min(max(mm, 0.0), BAR_MM) / BAR_MM * rect.width()

    painter.setPen(QPen(style.EDGE, 1))
    painter.drawLine(QPointF(rect.left(), y), QPointF(rect.right(), y))
    ink = style.BELOW if row.verdict == "below limit" else style.TEXT
    if row.at_least is not None and not row.reading.upper_bound:
        painter.setPen(QPen(ink, 2.5))
        painter.drawLine(QPointF(x(row.at_least), y), QPointF(x(row.value), y))
    painter.setPen(QPen(style.TEXT, 1.4))
    painter.drawLine(QPointF(x(row.limit.value), y - 5), QPointF(x(row.limit.value), y + 5))
    painter.setPen(Qt.PenStyle.NoPen)
    painter.setBrush(ink)
    painter.drawEllipse(QPointF(x(row.value), y), 3.4, 3.4)
    painter.setBrush(Qt.BrushStyle.NoBrush)
    if row.value > BAR_MM:
        painter.setPen(QPen(ink, 1.4))
        painter.drawLine(QPointF(rect.right() - 4, y - 4), QPointF(rect.right(), y))
        painter.drawLine(QPointF(rect.right() - 4, y + 4), QPointF(rect.right(), y))


def _text(
    painter: QPainter, rect: QRect, text: str, font: QFont, colour: QColor, *, right: bool = False
) -> None:
    """One line, cut with an ellipsis where it does not fit."""
    if not text:
        return
    painter.setFont(font)
    painter.setPen(colour)
    metrics = QFontMetrics(font)
    box = QRect(rect.left(), rect.top(), rect.width(), metrics.height())
    side = Qt.AlignmentFlag.AlignRight if right else Qt.AlignmentFlag.AlignLeft
    cut = metrics.elidedText(text, Qt.TextElideMode.ElideRight, box.width())
    painter.drawText(box, side | Qt.AlignmentFlag.AlignVCenter, cut)


def _lines(painter: QPainter, rect: QRect, text: str, colour: QColor) -> None:
    """A second line that goes on in further ones where it does not fit: never cut."""
    painter.setFont(style.font(12))
    painter.setPen(colour)
    painter.drawText(rect, Qt.TextFlag.TextWordWrap, text)


def _second(entry: Entry, width: int) -> int:
    """Height of what stands below a row's name."""
    _, why = _told_as(entry, width)
    return max(SECOND, _wrapped(why, style.font(12), width - 2 * PAD - GLYPH_PX))


def _below_fold(entry: Entry, width: int) -> int:
    """Height of a fold's quiet words below it."""
    return max(SECOND, _wrapped(entry.aside, style.font(12), width - 2 * PAD - GLYPH_PX))


def _told_as(entry: Entry, width: int) -> tuple[str, str]:
    """A row's name as far as it has room beside the value, and what stands below it."""
    weighs = entry.not_met and not entry.waiting
    value = QFontMetrics(style.font(16, bold=True)).horizontalAdvance(entry.value) + 6
    room = width - 2 * PAD - GLYPH_PX - value
    first, rest = split_name(entry.text, style.font(13, bold=weighs), room)
    return first, " · ".join(part for part in (rest, entry.why) if part)


def split_name(text: str, font: QFont, width: int) -> tuple[str, str]:
    """A name that does not fit, cut before its last part: two rows often differ only in that."""
    if QFontMetrics(font).horizontalAdvance(text) <= width or ", " not in text:
        return text, ""
    first, _, rest = text.rpartition(", ")
    return first, rest


def _words_font(entry: Entry) -> QFont:
    return style.font({"summary": 13, "reason": 12}.get(entry.kind, 11))


def _wrapped(text: str, font: QFont, width: int) -> int:
    box = QRect(0, 0, max(width, 40), 10_000)
    return QFontMetrics(font).boundingRect(box, Qt.TextFlag.TextWordWrap, text).height()


def _detail_height(detail: Detail, width: int) -> int:
    text = _wrapped(detail.text, style.font(11), width - HEAD_PX - 2 * PAD)
    return text + (11 if detail.share is not None else 4)


def _fold_wraps(entry: Entry, width: int) -> bool:
    words = QFontMetrics(style.font(13)).horizontalAdvance(entry.text)
    aside = QFontMetrics(style.font(12)).horizontalAdvance(entry.aside)
    return words + aside + GLYPH_PX + 2 * PAD + 12 > width
