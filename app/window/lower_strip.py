"""The strip below the section: panorama and neighbours, what was unfolded, or the jaw plane's cuts.

On a low screen one of them stands there at a time, so that the section stays large; on a high one
what was unfolded comes below panorama and neighbours. Of what is unfolded no more stands side by
side than has room for its words: what was unfolded first folds away.
"""

from __future__ import annotations

from collections.abc import Mapping

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import (
    QFrame,
    QHBoxLayout,
    QLabel,
    QSplitter,
    QToolButton,
    QVBoxLayout,
    QWidget,
)

from app.case.session import Session
from app.panels.base import Panel
from app.pictures.in_step import Pictures
from app.pictures.level_cuts import LevelCuts
from app.pictures.places import NEIGHBOUR_MM
from app.window.frames import NeighbourStrip
from core.words.catalogue import say

FOLDED = (
    "ridge profile",
    "remaining bone",
    "my sizes",
    "scan checks",
)
HIGH_PX = 900
"""A page from this height on has room for two rows."""
UNFOLDED_WIDE_PX = 320
"""Narrower than this a panel's heading, buttons or sentences are cut."""
HEAD_PX, ROW_PX, HIGH_ROW_PX = 30, 150, 200
"""What is unfolded in the place of the panorama is as high as it: the heads stay where they are."""
MOST_OF_PAGE = 0.27
"""On a high page the row of pictures is as high as fills its width, up to this share."""
NAME_PX, BESIDE_PX = 22, 60
"""Below a neighbour its name; between and beside the neighbours."""


class LowerStrip(QFrame):
    """Pictures and folded panels below the section.

    Signals
    -------
    wants_height(px)
        Other rows are shown: so much height is enough for them.
    """

    wants_height = Signal(int)

    def __init__(self, session: Session, pictures: Pictures, panels: Mapping[str, Panel]) -> None:
        super().__init__()
        self.setObjectName("panel")
        self.panels = {place: panels[place] for place in FOLDED if place in panels}
        self.cuts = LevelCuts(session)
        self._order: list[str] = []
        """What is unfolded, that which was unfolded first in front."""
        self._high = False
        self._page_px = 0
        self._plane = False
        self._panorama = pictures.panorama
        self._shape = 0.0
        """Width of the panorama by its height; 0 while there is none."""
        pictures.shown.connect(self._follow_shape)
        self.heading = QLabel(say("window.lower_strip.panorama"))
        self.heading.setObjectName("heading")
        self.head = QWidget()
        self.head.setObjectName("clear")
        self.head.setStyleSheet("QWidget#clear { background: transparent; }")
        head = QHBoxLayout(self.head)
        head.setContentsMargins(10, 2, 8, 0)
        head.addWidget(self.heading)
        head.addStretch(1)
        self.folds = {place: self._fold(place, head) for place in self.panels}
        self.beside = NeighbourStrip(session, pictures)
        self.pictures_row = _row(pictures.panorama, self.beside, sizes=(450, 560))
        self.pictures_row.setContentsMargins(6, 0, 0, 5)
        self.unfolded = _row(*self.panels.values(), sizes=(270, 260, 290, 200))
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(3)
        column.addWidget(self.head)
        for row in (self.pictures_row, self.unfolded, self.cuts):
            column.addWidget(row, 1)
        for panel in self.panels.values():
            panel.hide()
        self._lay()

    def show_plane(self, shown: bool) -> None:
        """Show the jaw plane's cuts in the place of everything else, or no longer."""
        if shown != self._plane:
            self._plane = shown
            self._lay()

    def set_page_height(self, px: int) -> None:
        """The page is as high as this: one row, or two."""
        high, self._page_px = px >= HIGH_PX, px
        if high or high != self._high:
            self._high = high
            self._lay()

    def _follow_shape(self) -> None:
        """Another panorama may be wider or higher: the row is laid out for it."""
        width, height = self._panorama.fit_mm
        shape = width / max(height, 1.0)
        if self._panorama.has_picture and abs(shape - self._shape) > 0.02:
            self._shape = shape
            if self._high:
                self._lay()

    def _row_px(self, *, alone: bool) -> int:
        """Height of the row of pictures: alone on a high page that at which they fill its width."""
        if not self._high:
            return ROW_PX
        if not self._shape or not alone:
            return HIGH_ROW_PX
        beside = len(self.beside.cells) * NEIGHBOUR_MM[0] / NEIGHBOUR_MM[1]
        fills = (self.width() + beside * NAME_PX - BESIDE_PX) / (self._shape + beside)
        row = round(min(max(fills, HIGH_ROW_PX), MOST_OF_PAGE * self._page_px))
        panorama = round(self._shape * row)
        self.pictures_row.setSizes([panorama, max(self.width() - panorama, 1)])
        return row

    def resizeEvent(self, event: QResizeEvent) -> None:
        """A narrower page has room for fewer panels."""
        super().resizeEvent(event)
        self._fold_surplus()
        if self._high and event.size().width() != event.oldSize().width():
            self._lay()

    def _unfold(self, place: str, shown: bool) -> None:
        self._order = [p for p in self._order if p != place] + [place] * shown
        self.panels[place].setVisible(shown)
        self._fold_surplus()
        self._lay()

    def _fold_surplus(self) -> None:
        most = max(1, self.width() // UNFOLDED_WIDE_PX)
        for place in self._order[:-most]:
            self.folds[place].setChecked(False)

    def _lay(self) -> None:
        unfolded = any(button.isChecked() for button in self.folds.values())
        self.cuts.setVisible(self._plane)
        self.unfolded.setVisible(unfolded and not self._plane)
        pictures = not self._plane and (self._high or not unfolded)
        self.pictures_row.setVisible(pictures)
        self.heading.setText(say("window.lower_strip.panorama") if pictures else "")
        self.head.setVisible(not self._plane)
        rows = self._row_px(alone=not unfolded) * pictures + ROW_PX * (self._plane or unfolded)
        self.wants_height.emit(HEAD_PX + rows)

    def _fold(self, place: str, head: QHBoxLayout) -> QToolButton:
        button = QToolButton()
        button.setText(str(self.panels[place].title) or place.capitalize())
        button.setObjectName("fold")
        button.setCheckable(True)
        button.setToolTip(say("window.lower_strip.unfold-or-fold-it-away"))
        button.toggled.connect(lambda on: self._unfold(place, on))
        head.addWidget(button)
        panel = self.panels[place]
        name = button.text()
        panel.marked.connect(lambda count: _mark(button, name, count))
        _mark(button, name, panel.marks)
        return button


def _mark(button: QToolButton, name: str, count: int) -> None:
    """Say at a button that something behind it wants to be seen: a sign and a count, no colour."""
    words = say("window.lower_strip.marked", name=name, count=count) if count else name
    button.setText(words)
    button.setProperty("marked", bool(count))
    button.style().unpolish(button)
    button.style().polish(button)


def _row(*parts: QWidget, sizes: tuple[int, ...] = (), grows: int = -1) -> QSplitter:
    splitter = QSplitter(Qt.Orientation.Horizontal)
    splitter.setHandleWidth(5)
    splitter.setChildrenCollapsible(False)
    for number, part in enumerate(parts):
        splitter.addWidget(part)
        splitter.setStretchFactor(number, int(number == grows or grows < 0))
    if sizes:
        splitter.setSizes(list(sizes))
    return splitter
