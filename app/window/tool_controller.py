"""Which tool is active, and the events of the pictures on their way to it."""

from __future__ import annotations

import logging
from collections.abc import Callable, Sequence
from functools import partial
from typing import Any

from PySide6.QtCore import QObject, QTimer, Signal
from PySide6.QtGui import QKeyEvent

from app.case.session import Session
from app.pictures.draft import NOTHING
from app.pictures.in_step import Pictures
from app.tools.base import Desk, Tool, View
from app.widgets import style

log = logging.getLogger("sounding.tools")

HAND = "Adjust"
"""The tool whose keys move a selected fixture."""


class ToolHub(QObject):
    """All tools, one of them active.

    Parameters
    ----------
    tools : sequence of Tool
        The first one is active at the start of a case.

    Signals
    -------
    changed
        Another tool is active, or its hint may read differently.
    """

    changed = Signal()

    def __init__(
        self,
        tools: Sequence[Tool],
        session: Session,
        pictures: Pictures,
        desk: Desk,
        parent: QObject | None = None,
    ) -> None:
        super().__init__(parent)
        self.tools = {tool.name: tool for tool in tools}
        self.active = tools[0]
        self._session = session
        self._pictures = pictures
        self._desk = desk
        self._redraw = QTimer(self, interval=0, singleShot=True)
        self._redraw.timeout.connect(self._show_drafts)
        self._views: list[View] = []
        self._under_hand: View | None = None
        for view in pictures.views:
            self.add_view(view)
        pictures.shown.connect(self.redraw)
        session.scan_changed.connect(self._start_anew)
        session.plan_changed.connect(self.redraw)

    def add_view(self, view: View) -> None:
        """Let the active tool work in a further picture."""
        self._views.append(view)
        view.pressed.connect(partial(self._pass, view, "press"))
        view.dragged.connect(partial(self._pass, view, "drag"))
        view.released.connect(partial(self._pass, view, "release"))
        view.double_clicked.connect(partial(self._pass, view, "double_click"))
        view.hovered.connect(partial(self._pass, view, "hover"))
        view.zoomed.connect(self.redraw)

    def take(self, name: str, wanted: str = "") -> None:
        """Make a tool the active one; taking up the active one starts it anew.

        `wanted` is what the person asked to mark with it, see `Desk.take_tool`.
        """
        before = self.active
        self._try(before.stop)
        before.wanted = ""
        self.tools[name].wanted = wanted
        self.active = self.tools[name]
        # Keys go on to act on the same picture, whoever has the focus now.
        self.active.view = before.view or self._pictures.section
        if self._session.volume is not None:
            self._try(self.active.start)
        self.redraw()
        self.changed.emit()

    def key(self, event: QKeyEvent) -> bool:
        """Offer a key to the active tool."""
        if self._session.volume is None:
            return False
        took = bool(self._try(self.active.key, event)) or self._nudged(event)
        if took:
            self.redraw()
            self.changed.emit()
        return took

    def _nudged(self, event: QKeyEvent) -> bool:
        """Whoever looks around may still nudge the fixture that is selected."""
        fixtures = self._session.plan.fixtures
        if self.active.group != "View" or not style.is_nudge(event):
            return False
        if self._session.selected not in [f.id for f in fixtures]:
            return False
        hand = self.tools[HAND]
        hand.view = self.active.view or self._pictures.section
        return bool(self._try(hand.key, event))

    def redraw(self) -> None:
        """Ask for the drafts again, once, when the present event is over."""
        self._redraw.start()

    def _start_anew(self) -> None:
        self._try(self.active.stop)
        self.active = next(iter(self.tools.values()))
        self.changed.emit()

    def _pass(self, view: View, event: str, hit: object) -> None:
        if self._session.volume is None:
            return
        self._under_hand = view
        self._try(getattr(self.active, event), view, hit)
        if event in ("drag", "release"):
            marks = self.active.group in ("Mark", "Measure") and self._session.dragging
            view.magnify("drag", shown=event == "drag" and marks)
        if event != "hover":
            self.changed.emit()
        self.redraw()

    def _show_drafts(self) -> None:
        dragging = self._session.dragging
        for view in self._views:
            if dragging and view is not self._under_hand and view is not self._pictures.section:
                continue  # the others follow when the hand rests
            if view.has_picture:
                draft = self._try(self.active.draft, view)
                view.show_draft(NOTHING if draft is None else draft)

    def _try(self, call: Callable[..., Any], *values: object) -> Any:
        """Whatever goes wrong in a tool is told; the window goes on."""
        try:
            return call(*values)
        except Exception as error:
            log.exception("a tool failed")
            self._session.abandon()
            self._desk.tell_error(error)
            return None
