"""The layout of the bench: one large picture, everything else around it."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QFrame, QSplitter, QToolButton, QVBoxLayout, QWidget

from app.frames import Framed, NeighbourStrip, ProposedBar
from app.panels.base import Panel
from app.panels.catalogue import PANELS
from app.pictures import Pictures
from app.session import Session
from app.tool_hub import ToolHub
from app.toolbar import ToolRow
from app.tools.base import Desk
from app.views.dial import Dial

FOLDED = ("ridge profile", "remaining bone", "my sizes", "scan checks")


class WorkingPage(QWidget):
    """Who and which side, tools, and the pictures with their panels.

    Parameters
    ----------
    session, pictures, hub, desk
    menus : QWidget
        Stands at the right end of the bar at the top.
    """

    def __init__(
        self,
        session: Session,
        pictures: Pictures,
        hub: ToolHub,
        desk: Desk,
        parent: QWidget | None = None,
    ) -> None:
        super().__init__(parent)
        self.panels: dict[str, Panel] = {
            place: panel(session, desk) for place, panel in PANELS.items()
        }
        self.tool_row = ToolRow(tuple(hub.tools.values()))
        self.tool_row.chosen.connect(hub.take)
        hub.changed.connect(lambda: self.tool_row.show_chosen(hub.active.name))
        self.tool_row.show_chosen(hub.active.name)
        self.proposed = ProposedBar(session)
        self.proposed.edit_arch.connect(lambda: desk.take_tool("Arch"))
        self.proposed.edit_plane.connect(lambda: desk.take_tool("Jaw plane"))
        for button, tool in zip(self.proposed.editing, ("Jaw plane", "Arch"), strict=True):
            button.setVisible(tool in hub.tools)
        self.dial = Dial(session, pictures.section)
        self.dial.move(8, 52)
        self.map_frame = Framed("Arch map", pictures.arch_map)
        self.panorama_frame = Framed("Panorama", pictures.panorama)
        self.folds = {place: self._fold(place) for place in FOLDED if place in self.panels}
        pictures.shown.connect(lambda: self.map_frame.aside.setText(pictures.arch_map.subtitle))

        section = QFrame()
        section.setObjectName("panel")
        inner = QVBoxLayout(section)
        inner.setContentsMargins(4, 4, 4, 4)
        inner.addWidget(pictures.section)
        left = self._column(self.panels.get("log"), self.map_frame, sizes=(240, 300))
        right = self._column(
            self.panels.get("fixture"), self.panels.get("ledger"), sizes=(170, 420)
        )
        above = _splitter(Qt.Orientation.Horizontal, left, section, sizes=(238, 780), grows=1)
        beside = NeighbourStrip(session, pictures)
        below = _splitter(
            Qt.Orientation.Horizontal, self.panorama_frame, beside, sizes=(420, 600), grows=1
        )
        unfolded = _splitter(Qt.Orientation.Horizontal, *(self.panels[p] for p in self.folds))
        for place in self.folds:
            self.panels[place].hide()
        unfolded.hide()
        for button in self.folds.values():
            button.toggled.connect(
                lambda _on: unfolded.setVisible(any(b.isChecked() for b in self.folds.values()))
            )
        pictures_side = _splitter(
            Qt.Orientation.Vertical, above, below, unfolded, sizes=(560, 172, 190), grows=0
        )
        self.body = _splitter(
            Qt.Orientation.Horizontal, pictures_side, right, sizes=(1050, 340), grows=0
        )
        page = QVBoxLayout(self)
        page.setContentsMargins(4, 4, 4, 0)
        page.setSpacing(4)
        page.addWidget(self.panels["who"])
        page.addWidget(self.tool_row)
        page.addWidget(self.proposed)
        page.addWidget(self.body, 1)

    def show_folded(self, place: str, *, shown: bool = True) -> None:
        """Unfold or fold a panel at the bottom."""
        self.folds[place].setChecked(shown)

    def _fold(self, place: str) -> QToolButton:
        button = QToolButton()
        button.setText(self.panels[place].title or place.capitalize())
        button.setObjectName("fold")
        button.setCheckable(True)
        button.setToolTip("Unfold or fold it away")
        button.toggled.connect(self.panels[place].setVisible)
        self.panorama_frame.row.addWidget(button)
        return button

    def _column(self, *parts: QWidget | None, sizes: tuple[int, ...]) -> QWidget | None:
        present = [(part, size) for part, size in zip(parts, sizes, strict=True) if part]
        if not present:
            return None
        return _splitter(
            Qt.Orientation.Vertical,
            *(part for part, _ in present),
            sizes=tuple(size for _, size in present),
            grows=len(present) - 1,
        )


def _splitter(
    orientation: Qt.Orientation,
    *parts: QWidget | None,
    sizes: tuple[int, ...] = (),
    grows: int = 0,
) -> QSplitter:
    """Parts side by side or above each other; the one numbered `grows` takes what is left."""
    splitter = QSplitter(orientation)
    splitter.setHandleWidth(5)
    splitter.setChildrenCollapsible(False)
    for part in parts:
        if part is not None:
            splitter.addWidget(part)
    for number in range(splitter.count()):
        splitter.setStretchFactor(number, int(number == grows))
    if sizes:
        splitter.setSizes(list(sizes[: splitter.count()]))
    return splitter
