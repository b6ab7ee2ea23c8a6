"""The layout of the bench: one large picture, everything else around it."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import QApplication, QFrame, QSplitter, QVBoxLayout, QWidget

from app.case.session import Session
from app.guide.bar import GuideBar
from app.panels.base import Panel
from app.panels.catalogue import PANELS
from app.panels.next_mark import NextMark
from app.panels.tool_hint import ToolHint
from app.pictures.dial import Dial
from app.pictures.in_step import Pictures
from app.tools.base import Desk
from app.tools.jaw import JawPlane
from app.window.frames import Framed, ProposedBar
from app.window.height_slider import HeightSlider
from app.window.lower_strip import HEAD_PX, ROW_PX, LowerStrip
from app.window.tool_controller import ToolHub
from app.window.toolbar import ToolRow
from core.words.catalogue import say

MAP_PX = 196
"""Least height of the arch map with its name: numerals and letters still stand apart."""
LOG_PX = 130
"""Least height of the log: its first open points are read without scrolling."""


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
        self.pictures: Pictures = pictures
        self._hub = hub
        self.panels: dict[str, Panel] = {
            place: panel(session, desk) for place, panel in PANELS.items()
        }
        self.tool_row = ToolRow(tuple(hub.tools.values()))
        self.tool_row.chosen.connect(hub.take)
        hub.changed.connect(lambda: self.tool_row.show_chosen(hub.active.name))
        self.tool_row.show_chosen(hub.active.name)
        self.proposed: ProposedBar = ProposedBar(session, desk)
        self.proposed.edit_arch.connect(lambda: desk.take_tool("Arch"))
        self.proposed.left.connect(pictures.section.setFocus)
        self.proposed.edit_plane.connect(lambda: desk.take_tool("Jaw plane"))
        for button, tool in zip(self.proposed.editing, ("Jaw plane", "Arch"), strict=True):
            button.setVisible(tool in hub.tools)
        self.dial = Dial(session, pictures.section)
        self.height_slider = HeightSlider(session)
        self.map_frame = Framed(
            say("window.working_page.arch-map"), pictures.arch_map, beside=self.height_slider
        )
        self.map_frame.setMinimumHeight(MAP_PX)
        pictures.shown.connect(lambda: self.map_frame.aside.setText(pictures.arch_map.subtitle))

        self.panels["log"].setMinimumHeight(LOG_PX)
        section = QFrame()
        section.setObjectName("panel")
        inner = QVBoxLayout(section)
        inner.setContentsMargins(4, 4, 4, 4)
        inner.addWidget(pictures.section)
        # The map is as high as its width lets it be; the log has the rest.
        left = self._column(self.panels.get("log"), self.map_frame, sizes=(240, 230), grows=0)
        # The proposal stands where the numbers will: over the pictures it would make them lower.
        self.next_mark = NextMark(session, desk)
        self.hint = ToolHint()
        right = _stack(
            self.proposed,
            self.next_mark,
            self.hint,
            self._column(self.panels.get("fixture"), self.panels.get("ledger"), sizes=(170, 420)),
        )
        above = _splitter(Qt.Orientation.Horizontal, left, section, sizes=(238, 780), grows=1)
        self.strip = LowerStrip(session, pictures, self.panels)
        self.folds = self.strip.folds
        for view in self.strip.cuts.views:
            hub.add_view(view)
        self.strip.cuts.asked.connect(self._plane_asked)
        hub.changed.connect(lambda: self.strip.show_plane(self.active_tool == JawPlane.name))
        self._pictures_side = _splitter(
            Qt.Orientation.Vertical, above, self.strip, sizes=(560, HEAD_PX + ROW_PX), grows=0
        )
        self.strip.wants_height.connect(self._give_height)
        self.body = _splitter(
            Qt.Orientation.Horizontal, self._pictures_side, right, sizes=(1050, 340), grows=0
        )
        page = QVBoxLayout(self)
        page.setContentsMargins(4, 4, 4, 0)
        page.setSpacing(4)
        page.addWidget(self.panels["patient line"])
        page.addWidget(self.tool_row)
        self.guide = GuideBar(session, self, self)
        page.addWidget(self.guide)
        page.addWidget(self.body, 1)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """A high page shows what was unfolded below the panorama, not in its place."""
        super().resizeEvent(event)
        self.strip.set_page_height(self.height())

    def _give_height(self, wanted: int) -> None:
        """The strip below gets what its rows need, the section all the rest."""
        whole = sum(self._pictures_side.sizes())
        if whole > wanted:
            self._pictures_side.setSizes([whole - wanted, wanted])

    def _plane_asked(self, source: str) -> None:
        tool = self._hub.tools.get(JawPlane.name)
        if isinstance(tool, JawPlane):
            tool.set_from(source)

    def focus_next(self, way: int) -> None:
        """Take the focus from part to part of the page: pictures, lists, boxes, tools."""
        stops = [stop for stop in self._stops() if stop.isVisible() and stop.isEnabled()]
        here = QApplication.focusWidget()
        at = next((n for n, stop in enumerate(stops) if stop is here), None)
        if at is None:
            # Somewhere within a part: go on from the part that holds it.
            at = next((n for n, stop in enumerate(stops) if _one_part(stop, here)), -1)
        stops[(at + way) % len(stops)].setFocus(Qt.FocusReason.TabFocusReason)

    def _stops(self) -> list[QWidget]:
        pictures = self.pictures
        found: list[QWidget] = [pictures.section, pictures.neighbours[3], pictures.panorama]
        found += [*self.strip.cuts.views, pictures.arch_map]
        for panel in self.panels.values():
            found += [w for w in panel.findChildren(QWidget) if _is_stop(w)][:1]
        return [*found, self.tool_row.button(self.active_tool)]

    @property
    def active_tool(self) -> str:
        """Name of the tool that is taken."""
        return self._hub.active.name

    def take_tool(self, name: str) -> None:
        """Take a tool, as its button does."""
        self._hub.take(name)

    def _column(
        self, *parts: QWidget | None, sizes: tuple[int, ...], grows: int = -1
    ) -> QWidget | None:
        present = [(part, size) for part, size in zip(parts, sizes, strict=True) if part]
        if not present:
            return None
        return _splitter(
            Qt.Orientation.Vertical,
            *(part for part, _ in present),
            sizes=tuple(size for _, size in present),
            grows=range(len(present))[grows],
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


def _stack(*parts: QWidget | None) -> QWidget:
    """Parts above each other; the last takes what is left."""
    whole = QWidget()
    column = QVBoxLayout(whole)
    column.setContentsMargins(0, 0, 0, 0)
    column.setSpacing(4)
    for part in parts:
        if part is not None:
            column.addWidget(part, int(part is parts[-1]))
    return whole


def _is_stop(widget: QWidget) -> bool:
    """True for what Tab comes to, lists and boxes before buttons in the head of a panel."""
    wanted = widget.focusPolicy() & Qt.FocusPolicy.TabFocus
    return bool(wanted) and widget.isVisible() and widget.objectName() != "fold"


def _one_part(stop: QWidget, here: QWidget | None) -> bool:
    """True where both lie in one panel or frame."""
    frame: QWidget | None = stop
    while frame is not None and frame.objectName() != "panel":
        frame = frame.parentWidget()
    return frame is not None and here is not None and frame.isAncestorOf(here)
