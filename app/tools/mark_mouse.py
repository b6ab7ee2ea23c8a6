"""What the mouse does in all marking tools: take a mark and drag it, or place one.

Left on a mark takes it, left elsewhere places; right takes back the last unfinished mark.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
from PySide6.QtCore import Qt

from app.case.session import Session
from app.pictures.hit import Hit
from app.tools.base import Desk, Tool, View
from app.tools.picking import nearest_mark
from core.errors import SoundingError
from core.geometry import Array
from core.plans import edit, edit_marks
from core.plans.marks import Mark, mark_at, marks_of
from core.plans.plan import Plan
from core.words.catalogue import Words, message, say

DRAG_PX = 3.0
"""A press that moves less is a click."""


@dataclass(frozen=True, slots=True, eq=False)
class Held:
    """What the mouse holds: how its shift changes the plan, and what that is called."""

    plan: Plan
    from_mm: Array
    from_uv: tuple[float, float]
    change: Callable[[Array], Plan]
    words: Callable[[Plan], Words]


class Hands(Tool):
    """Takes, drags and places marks with the mouse."""

    kinds: ClassVar[frozenset[str]] = frozenset()
    """Kinds of marks that it shows as handles and takes."""
    places_on: ClassVar[tuple[str, ...]] = ("section", "neighbour")

    def __init__(self, session: Session, desk: Desk) -> None:
        super().__init__(session, desk)
        self.chosen: tuple[str, str, str] | None = None
        self._held: Held | None = None
        self._moved = False
        self.crosshair: tuple[float, float] | None = None

    # -- for subclasses ------------------------------------------------------------------

    def place(self, view: View, hit: Hit) -> None:
        """A click on no mark."""

    def finish(self) -> bool:
        """Enter or double click: end what is under way; False when nothing was."""
        return False

    def give_up(self) -> bool:
        """Esc: abandon what is unfinished; False when nothing was."""
        return False

    def take_back(self) -> None:
        """Right click: take back the last unfinished mark."""

    def busy(self) -> bool:
        """True while marks are placed that belong together: then clicks place, never take."""
        return False

    # -- doing ---------------------------------------------------------------------------

    def do(self, text: Words, change: Callable[[Plan], Plan]) -> bool:
        """Make one step, or say why not; a drag that is under way is abandoned."""
        self.let_go()
        try:
            plan = change(self.session.plan)
        except SoundingError as error:
            self.desk.tell_error(error)
            return False
        if not self.session.apply(text, plan):
            return False
        self.desk.say(str(text), undo=True)
        self.desk.redraw()
        return True

    def marks(self) -> list[Mark]:
        """The marks of its kinds."""
        return [m for m in marks_of(self.session.plan) if m.kind in self.kinds]

    def chosen_mark(self) -> Mark | None:
        """The mark that keys act on."""
        return None if self.chosen is None else mark_at(self.session.plan, self.chosen)

    def choose(self, mark: Mark | None) -> None:
        """Make a mark the one that keys act on."""
        self.chosen = None if mark is None else mark.key
        if mark is not None:
            # What no panel can select leaves nothing selected: keys act on one thing only.
            owned = mark.sort in ("structure", "stent axis")
            self.session.go_to(selected=mark.owner if owned else "")
        self.desk.redraw()

    # -- mouse ---------------------------------------------------------------------------

    def stop(self) -> None:
        """Another tool: nothing stays under way."""
        self.let_go()
        self.give_up()
        self.crosshair = None
        self.chosen = None

    def press(self, view: View, hit: Hit) -> None:
        """Take what is under the mouse, or place."""
        self.view = view
        if hit.button == Qt.MouseButton.RightButton:
            self.take_back()
            self.desk.redraw()
            return
        if hit.button != Qt.MouseButton.LeftButton:
            return
        self.crosshair = None
        if not self.busy() and self.take(view, hit):
            return
        self.place_or_go(view, hit)

    def take(self, view: View, hit: Hit) -> bool:
        """Hold the mark under the mouse; False where there is none."""
        mark = nearest_mark(view, hit, self.marks())
        if mark is None:
            return False
        self.choose(mark)
        if edit.is_locked(self.session.plan, mark.owner):
            self.desk.say(say("tools.mark_mouse.is-locked-l-unlocks", words=mark.words()))
            return True
        plan = self.session.plan
        self.hold(
            hit,
            lambda shift: edit_marks.with_mark_moved(plan, mark, mark.point_mm + shift),
            lambda _: message("tools.mark_mouse.moved", words=mark.words()),
        )
        return True

    def hold(
        self, hit: Hit, change: Callable[[Array], Plan], words: Callable[[Plan], Words]
    ) -> None:
        """Let the mouse hold something until it is released."""
        self._held = Held(self.session.plan, hit.point_mm, hit.uv_mm, change, words)
        self._moved = False

    def drag(self, view: View, hit: Hit) -> None:
        """Move what is held in the picture's plane; how far it lies off it stays."""
        held = self._held
        if held is None:
            return
        way = np.subtract(hit.uv_mm, held.from_uv)
        if not self._moved and float(np.linalg.norm(way)) < DRAG_PX * view.mm_per_pixel():
            return
        try:
            plan = held.change(hit.point_mm - held.from_mm)
        except ValueError:
            return  # no such pose or shape: the last one stays until the mouse is elsewhere
        self._moved = True
        self.session.preview(plan)

    def release(self, view: View, hit: Hit) -> None:
        """One undoable step for the whole drag."""
        held, moved = self._held, self._moved
        self._held, self._moved = None, False
        if held is None or not moved:
            return
        try:
            plan = held.change(hit.point_mm - held.from_mm)
            text = held.words(plan)
        except ValueError:
            # No such pose, or back where it began: a way of no length has no direction to name.
            self.session.abandon()
            return
        self.session.preview(plan)
        self.session.commit(text)
        self.desk.say(str(text), undo=True)

    def double_click(self, view: View, hit: Hit) -> None:
        """End what is under way; its first click has placed already."""
        self.view = view
        if hit.button == Qt.MouseButton.LeftButton:
            self.finish()
            self.desk.redraw()

    def hover(self, view: View, hit: Hit | None) -> None:
        """Keys go to the picture under the mouse unless another one has the focus."""
        if hit is not None:
            self.view = view

    def let_go(self) -> bool:
        """Drop what is held, as if it had not been moved; False when nothing was."""
        held, self._held, self._moved = self._held, None, False
        if self.session.dragging:
            self.session.abandon()
            return True
        return held is not None

    def place_or_go(self, view: View, hit: Hit) -> None:
        """Place in a picture that shows every direction; in others go to that place."""
        if view.kind in self.places_on:
            self.place(view, hit)
            self.desk.redraw()
            return
        station = None if self.session.arch is None else self.session.arch.station(hit.point_mm)
        self.session.go_to(point_mm=hit.point_mm, station_mm=station, across=station is not None)
        self.desk.say(say("tools.mark_mouse.the-pictures-went-there-now", kind=view.kind))
