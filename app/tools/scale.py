"""Scale objects: bright objects whose true distance was measured, for the scale check."""

from __future__ import annotations

import numpy as np

from app.background.tasks import Latest
from app.case.session import Session
from app.pictures.draft import Draft
from app.tools.base import Desk, View
from app.tools.collect import Collect
from app.tools.picking import OFF_MM
from app.tools.prompts import read_length, unread_words
from core.drawing import Label, Line
from core.geometry import Array
from core.identity import thing_words
from core.plans import edit
from core.structures import KnownObject
from core.trust.figures import plain
from core.trust.scale_check import Deviation, deviation, deviation_words
from core.words.catalogue import message, say


class ScaleObject(Collect):
    """Two objects and the distance between their middles; then further ones from the last."""

    name = kind = "object"
    words = message("tools.names.scale-object")
    folded = True
    group = "Measure"
    kinds = frozenset({"object"})
    steps = (message("tools.scale.the-middle-of-a-bright"), message("tools.scale.the-other-one"))

    def __init__(self, session: Session, desk: Desk) -> None:
        super().__init__(session, desk)
        self._goes_on = False
        self._looking = Latest(self._found, desk.tell_error, parent=session)

    def hint(self) -> str:
        """After the first pair each further object is measured from the last."""
        if self._goes_on and len(self.collected) == 1:
            return say("tools.scale.click-the-next-object-whose")
        return super().hint()

    def give_up(self) -> bool:
        """Esc: the row of objects ends."""
        self._goes_on = False
        return super().give_up()

    def stop(self) -> None:
        """Another tool: what is being looked for is dropped."""
        self._looking.drop()
        super().stop()

    def complete(self, marks_mm: Array) -> None:
        """Ask for the true distance, put both into the plan, and say what the scan shows."""
        question = say("tools.scale.measured-distance-between-the-middles")
        wanted = "tools.scale.a-distance-is-a-number"
        told = unread_words(read_length, wanted)
        words = self.desk.ask_text(self.title(), question, "", told)
        length = None if words is None else read_length(words)
        if length is None:
            self._goes_on = False
            if words is not None:
                self.desk.say(say(wanted))
            return
        known = KnownObject(
            id=edit.numbered_id(self.session.plan, "scale-object"), points=marks_mm, size_mm=length
        )
        done = self.do(
            message(
                "tools.scale.mm-between-the-middles",
                thing_words=thing_words(known.id),
                length=plain(length),
            ),
            lambda plan: edit.with_structure(plan, known),
        )
        if not done:
            return
        self.session.go_to(selected=known.id)
        self.chosen = ("structure", known.id, "1")
        self.collected, self._goes_on = [marks_mm[1]], True
        volume = self.session.volume
        if volume is not None:
            self._looking.ask(lambda _task: deviation(volume, known))

    def _found(self, found: Deviation) -> None:
        self.desk.say(deviation_words(found))

    def extra_draft(self, view: View) -> Draft:
        """A line from middle to middle, with the true distance."""
        drawn = super().extra_draft(view)
        if not view.has_picture:
            return drawn
        lines, labels = list(drawn.lines), list(drawn.labels)
        for known in self.session.plan.structures:
            if not isinstance(known, KnownObject):
                continue
            uv = view.uv_mm(known.points)
            if (np.abs(uv[:, 2]) > OFF_MM[view.kind]).any():
                continue
            u, v = uv[:, :2].mean(axis=0)
            lines.append(Line(style="witness", points=uv[:, :2]))
            at = (float(u), float(v))
            labels.append(Label(text=f"{plain(known.size_mm)} mm", at=at, style="witness"))
        return Draft(lines=tuple(lines), dots=drawn.dots, labels=tuple(labels))
