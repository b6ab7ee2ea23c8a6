"""Tools that need several clicks before anything stands in the plan."""

from __future__ import annotations

from typing import ClassVar

import numpy as np

from app.case.session import Session
from app.pictures.draft import Draft
from app.pictures.hit import Hit
from app.tools.base import Desk, View
from app.tools.mark_keys import KEYS_HINT, Grab
from app.tools.picking import OFF_MM
from core.drawing import Dot, Label, Line
from core.geometry import Array
from core.words.catalogue import Message, say, together


class Collect(Grab):
    """Collects marks until there are enough; they are only drawn until then."""

    steps: ClassVar[tuple[Message, ...]] = ()
    """What each click marks, for the hint."""
    endless: ClassVar[bool] = False
    """True: the last step repeats until Enter."""
    least: ClassVar[int] = 0
    """Fewest marks with which Enter ends; 0: all steps are needed."""

    def __init__(self, session: Session, desk: Desk) -> None:
        super().__init__(session, desk)
        self.collected: list[Array] = []
        self.on: View | None = None

    def complete(self, marks_mm: Array) -> None:
        """All marks are there: put them into the plan."""

    def hint(self) -> str:
        """What the next click marks."""
        step = self.steps[min(len(self.collected), len(self.steps) - 1)]
        end = (
            say("tools.collect.enter-ends")
            if self.endless and len(self.collected) >= self._least()
            else ""
        )
        back = say("tools.collect.take-back") if self.collected else f"{KEYS_HINT}."
        return together(say("tools.collect.click", step=step), end, back)

    def busy(self) -> bool:
        """While marks are collected every click is one of them."""
        return bool(self.collected)

    def place(self, view: View, hit: Hit) -> None:
        """One more mark."""
        self.on = view
        self.collected.append(hit.point_mm)
        if not self.endless and len(self.collected) == len(self.steps):
            self._done()

    def finish(self) -> bool:
        """End with the marks that are there, if they are enough."""
        if len(self.collected) < self._least():
            return False
        self._done()
        return True

    def give_up(self) -> bool:
        """Drop the marks that were collected."""
        had = bool(self.collected)
        self.collected = []
        return had

    def take_back(self) -> None:
        """Drop the last one."""
        if self.collected:
            self.collected.pop()

    def extra_draft(self, view: View) -> Draft:
        """The marks so far, joined, each with its number."""
        if not self.collected or not view.has_picture:
            return Draft()
        uv = view.uv_mm(np.stack(self.collected))
        near = np.abs(uv[:, 2]) <= OFF_MM[view.kind]
        up = 12 * view.mm_per_pixel()
        return Draft(
            lines=(Line(style="mark", points=uv[near, :2]),) if near.sum() > 1 else (),
            dots=tuple(Dot(at=(float(u), float(v))) for u, v in uv[near, :2]),
            labels=tuple(
                Label(text=str(i + 1), at=(float(uv[i, 0]), float(uv[i, 1]) + up), style="numeral")
                for i in np.flatnonzero(near)
            ),
        )

    def _least(self) -> int:
        return self.least or len(self.steps)

    def _done(self) -> None:
        marks, self.collected = np.stack(self.collected), []
        self.complete(marks)
