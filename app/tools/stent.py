"""The stent axis: found from one click on its filling, or its two ends set by hand."""

from __future__ import annotations

import numpy as np
from PySide6.QtCore import Qt
from PySide6.QtGui import QKeyEvent

from app.background.tasks import Latest
from app.case.session import Session
from app.pictures.hit import Hit
from app.tools.base import Desk, View
from app.tools.collect import Collect
from core.geometry import Array
from core.identity import thing_words
from core.image.stent_axis import StentAxisFit, stent_axis
from core.plans import edit
from core.structures import StentAxis
from core.trust.figures import nearest, up
from core.words.catalogue import Words, message, say

BY_HAND = message("tools.stent.set-its-two-ends-by")


class StentAxisTool(Collect):
    """One click on the stent's radiopaque filling; where that finds none, its two ends."""

    name = "Stent axis"
    words = message("tools.names.stent-axis")
    group = "Mark"
    kinds = frozenset({"stent axis"})
    steps = (
        message("tools.stent.the-occlusal-end-of-the"),
        message("tools.stent.its-gingival-end"),
    )

    def __init__(self, session: Session, desk: Desk) -> None:
        super().__init__(session, desk)
        self.by_hand = False
        self._looking = Latest(self._found, self._failed, parent=session)

    def hint(self) -> str:
        """One click, or two."""
        if self.by_hand or self.collected:
            return say("tools.stent.h-finds-it-from-one", hint=super().hint())
        return say("tools.stent.click-on-the-stents-filling")

    def stop(self) -> None:
        """Another tool: what is being looked for is dropped."""
        self._looking.drop()
        self.by_hand = False
        super().stop()

    def extra_key(self, event: QKeyEvent) -> bool:
        """H: by hand, or found in the image."""
        if event.key() == Qt.Key.Key_H and not event.modifiers():
            self.by_hand = not self.by_hand
            self.give_up()
            self.desk.say(self.hint())
            return True
        return super().extra_key(event)

    def place(self, view: View, hit: Hit) -> None:
        """Look for the filling at the click; by hand: one more end."""
        session = self.session
        volume, arch, jaw = session.volume, session.arch, session.guide.known_jaw
        if self.by_hand or volume is None or arch is None or jaw is None:
            super().place(view, hit)
            return
        coronal = arch.level.up if jaw == "lower" else -arch.level.up
        name, click = edit.numbered_id(session.plan, "stent-axis"), hit.point_mm
        self.desk.say(say("tools.stent.looking-for-the-stents-filling"))
        # A second of work: the window goes on meanwhile.
        self._looking.ask(lambda _task: stent_axis(volume, click, coronal=coronal, name=name))

    def complete(self, marks_mm: Array) -> None:
        """Both ends were set by hand."""
        try:
            axis = StentAxis(
                id=edit.numbered_id(self.session.plan, "stent-axis"),
                occlusal=marks_mm[0],
                gingival=marks_mm[1],
            )
        except ValueError:
            self.desk.say(say("tools.stent.both-ends-of-the-stent"))
            return
        self._keep(axis, message("tools.stent.marked-by-hand"))

    def _found(self, fit: StentAxisFit) -> None:
        axis = fit.axis
        if axis is None:
            why = "" if fit.note is None else fit.note.message
            if self.desk.choose("Stent axis", why, (str(BY_HAND),)) == str(BY_HAND):
                self.by_hand = True
                self.desk.say(self.hint())
            return
        length = float(np.linalg.norm(axis.gingival - axis.occlusal))
        self._keep(
            axis,
            message(
                "tools.stent.found-mm-as-it-shows",
                diameter_mm=nearest(axis.diameter_mm, 1),
                length=nearest(length, 1),
                offset_sd_mm=up(axis.offset_sd_mm, 2),
                direction_sd_deg=up(axis.direction_sd_deg, 1),
            ),
        )

    def _failed(self, error: Exception) -> None:
        self.desk.tell_error(error)

    def _keep(self, axis: StentAxis, how: Words) -> None:
        words = message("tools.stent.axis-kept", name=thing_words(axis.id), how=how)
        if self.do(words, lambda plan: edit.with_stent_axis(plan, axis)):
            self.session.go_to(selected=axis.id)
            self.chosen = ("stent axis", axis.id, "gingival")
