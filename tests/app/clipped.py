"""Finds what people cannot read whole in a window: labels, buttons and choices that are cut off."""

from __future__ import annotations

from PySide6.QtCore import QPoint, QRect, Qt
from PySide6.QtGui import QTextDocumentFragment
from PySide6.QtWidgets import (
    QAbstractButton,
    QAbstractItemView,
    QAbstractScrollArea,
    QCheckBox,
    QComboBox,
    QLabel,
    QPushButton,
    QRadioButton,
    QTabBar,
    QToolButton,
    QWidget,
)

from app.panels.base import Aside

ARROW_PX = 30
"""Edges of a button with a menu, and its arrow."""

SPARE = 1
"""Pixels that a size hint may be larger by: fractions of a letter's width."""


def clipped(window: QWidget) -> list[str]:
    """A line for each text of a window that does not show whole.

    Parameters
    ----------
    window : QWidget
        Shown, and laid out.
    """
    found = []
    for widget in window.findChildren(QWidget):
        if not widget.isVisible() or isinstance(widget.parentWidget(), QAbstractItemView):
            continue
        if isinstance(widget, Aside):  # gives way on purpose; whole in its tool tip
            continue
        words = _words(widget)
        if words and (wrong := _wrong(widget, words)):
            found.append(f"{type(widget).__name__} {words[:60]!r}: {wrong}")
        if words and (wrong := _outside(widget, window)):
            found.append(f"{type(widget).__name__} {words[:60]!r}: {wrong}")
    return found


def _words(widget: QWidget) -> str:
    if isinstance(widget, QLabel):
        text = widget.text()
        return QTextDocumentFragment.fromHtml(text).toPlainText() if "<" in text else text
    if isinstance(widget, QToolButton):
        shows = widget.toolButtonStyle() != Qt.ToolButtonStyle.ToolButtonIconOnly
        return widget.text() if shows or widget.icon().isNull() else ""
    if isinstance(widget, QAbstractButton):
        return widget.text()
    if isinstance(widget, QComboBox):
        return widget.currentText()
    return ""


def _wrong(widget: QWidget, words: str) -> str:
    wraps = isinstance(widget, QLabel) and widget.wordWrap()
    if "…" in words and not wraps:  # shortened on purpose; what it stands for is in its tool tip
        return "" if widget.toolTip() or words.rstrip().endswith("…") else "shortened, no tool tip"
    if isinstance(widget, QLabel) and wraps:
        high = widget.heightForWidth(widget.width())
        if high > widget.height() + SPARE:
            return f"{high} px high in {widget.height()}"
        width = widget.contentsRect().width()
        wide = max(widget.fontMetrics().horizontalAdvance(word) for word in words.split() or [""])
        return "" if wide <= width + SPARE else f"a word {wide} px wide in {width}"
    need = _need(widget, words)
    return "" if need <= widget.width() + SPARE else f"{need} px wide in {widget.width()}"


def _need(widget: QWidget, words: str) -> int:
    lines = words.replace("&", "").splitlines() or [""]
    wide = max(widget.fontMetrics().horizontalAdvance(line) for line in lines)
    if isinstance(widget, QCheckBox | QRadioButton):
        return max(wide, widget.sizeHint().width())
    if isinstance(widget, QComboBox):
        return wide + 20
    if isinstance(widget, QPushButton):
        return wide + (ARROW_PX if widget.menu() is not None else 8)
    return wide


def _outside(widget: QWidget, window: QWidget) -> str:
    """Beyond the edge of a parent that does not scroll."""
    here, inner = widget, QRect(QPoint(0, 0), widget.size())
    while here is not window:
        parent = here.parentWidget()
        inner.translate(here.pos())
        if isinstance(parent, QAbstractScrollArea | QTabBar):
            return ""
        if isinstance(parent.parentWidget(), QAbstractScrollArea):
            return ""
        if not parent.rect().adjusted(-SPARE, -SPARE, SPARE, SPARE).contains(inner):
            return f"beyond the edge of its {type(parent).__name__}"
        here = parent
    return ""
