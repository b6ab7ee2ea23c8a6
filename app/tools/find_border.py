"""Finds the lower border around one click: proposed, and confirmed mark by mark as a canal is."""

from __future__ import annotations

from typing import ClassVar

import numpy as np

from app.background.tasks import Latest
from app.case.session import Session
from app.pictures.hit import Hit
from app.tools.base import Desk, View
from app.tools.follow_canal import FollowCanal
from core.bone.found_border import border_around
from core.geometry import Array
from core.marking.proposed_marks import marks_along
from core.measurement import Note
from core.words.catalogue import message, say

RING_MM = 1.0
"""Of the ring that shows where a section is crossed: the border itself has no thickness."""


class FindBorder(FollowCanal):
    """One click on the lower border, and its course to both sides is found in the image."""

    name = "Find lower border"
    words = message("tools.names.find-border")
    folded = True
    stem = "border"
    sided = False
    kinds = frozenset({"border"})
    kind = "border"
    clicks_needed: ClassVar[int] = 1

    def __init__(self, session: Session, desk: Desk) -> None:
        super().__init__(session, desk)
        self._searching = Latest(self._border_found, desk.tell_error, parent=session)

    def hint(self) -> str:
        """What a click or Enter does now."""
        if self.proposed and not self._all_confirmed():
            return super().hint()
        return say("tools.find_border.click")

    def place(self, view: View, hit: Hit) -> None:
        """Look for the border around the click."""
        if self.session.plan.known_jaw != "lower":
            self.desk.say(say("tools.find_border.only-lower"))
            return
        super().place(view, hit)

    def _follow(self) -> None:
        volume, arch, click = self.session.volume, self.session.arch, self.clicks[-1]
        points = self.session.plan.tissue_points
        if volume is None or arch is None:
            return
        self.desk.say(say("tools.find_border.looking"))
        self._searching.ask(
            lambda task: border_around(volume, arch, click, points, cancelled=task.cancelled)
        )

    def _border_found(self, found: Array | Note) -> None:
        if isinstance(found, Note):
            self._forget()
            self.desk.say(found.message)
            self.desk.redraw()
            return
        self._propose(marks_along(np.asarray(found), "yes", RING_MM))
        self.desk.say(say("tools.follow_canal.found"))
        self._go_to_next()

    def _forget(self) -> None:
        super()._forget()
        self._searching.drop()
