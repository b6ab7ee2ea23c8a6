"""Structures of any number of marks, placed one after the other from section to section.

Every click is one undoable step. After a click in a section the view steps on, so that a canal is
marked from section to section without touching anything else.
"""

from __future__ import annotations

from typing import ClassVar

import numpy as np
from PySide6.QtCore import Qt
from PySide6.QtGui import QKeyEvent

from app.case.session import Session
from app.pictures.hit import Hit
from app.tools.base import Desk, View
from app.tools.mark_keys import Grab
from core.errors import PlanError
from core.geometry import Array
from core.identity import thing_words
from core.kinds import KIND
from core.plans import edit, edit_marks
from core.plans.marks import Mark
from core.plans.plan import Plan
from core.plans.side import side_here
from core.structures import Structure, kind_of
from core.words.catalogue import message, say

STEPS_MM = (0.0, 1.0, 2.0, 3.0, 5.0)


class Series(Grab):
    """A structure of any number of marks, placed one after the other."""

    kind: ClassVar[str] = ""
    """Id of what it marks in `core.kinds`."""
    stem: ClassVar[str] = ""
    sided: ClassVar[bool] = True
    by_course: ClassVar[bool] = True
    step_mm = 0.0

    def __init__(self, session: Session, desk: Desk) -> None:
        super().__init__(session, desk)
        self._active = ""
        self._begun_here = False
        self._fresh: list[Array] = []
        self._sense = 0
        """Which way the view steps on: +1 towards the patient's left, -1 right, 0 not settled."""

    def stem_of_new(self) -> str:
        """What the id of a new structure begins with."""
        return self.stem

    def new(self, structure_id: str, point_mm: Array) -> Structure:
        """The structure with its first mark."""
        raise NotImplementedError

    def hint(self) -> str:
        """What a click does now."""
        what = thing_words(self._active) or say(
            "tools.multi_mark.a-new", self_=KIND[self.kind].words
        )
        if self._active:
            return say("tools.multi_mark.click-next-mark-of-1", what=what)
        then = (
            say("tools.multi_mark.then-the-section-steps-on", step_mm=self.step_mm)
            if self.step_mm
            else ""
        )
        return say("tools.multi_mark.click-first-mark-of-set", what=what, then=then)

    def start(self) -> None:
        """Go on with what is selected, if it is of this kind."""
        thing = edit.find(self.session.plan, self.session.selected)
        self._active = thing.id if thing is not None and self._is_mine(thing) else ""
        self._begun_here = False
        self._sense = 0

    def busy(self) -> bool:
        """Clicks on marks always take them."""
        return False

    def choose(self, mark: Mark | None) -> None:
        """Go on with the structure that was taken."""
        if mark is not None and mark.sort == "structure":
            self._begun_here = self._begun_here and mark.owner == self._active
            self._active = mark.owner
        super().choose(mark)

    def place(self, view: View, hit: Hit) -> None:
        """One more mark."""
        if self._add(hit.point_mm):
            self._step_on(view, hit.point_mm)

    def finish(self) -> bool:
        """The next click begins another one."""
        had = self._active
        self._leave()
        if had:
            self.desk.say(
                say("tools.multi_mark.ended-the-next-click-begins", thing_words=thing_words(had))
            )
        return bool(had)

    def give_up(self) -> bool:
        """Leave; what was begun and has not been ended goes, as one step that can be undone."""
        active, begun = self._active, self._begun_here
        self._leave()
        if begun and edit.find(self.session.plan, active) is not None:
            name = thing_words(active)
            self.do(
                message("tools.multi_mark.abandoned", name=name),
                lambda plan: edit.without(plan, active),
            )
            return True
        return bool(active)

    def stop(self) -> None:
        """Another tool: what was marked stays."""
        self._leave()
        super().stop()

    def _leave(self) -> None:
        self._active, self._begun_here = "", False
        self._fresh = []

    def take_back(self) -> None:
        """Delete the mark that was placed last in this run; older ones are never taken back."""
        mark = None
        while self._fresh and mark is None:
            place = self._fresh.pop()
            # None: undone, moved or deleted since.
            mark = next((m for m in self.marks() if np.array_equal(m.point_mm, place)), None)
        if mark is None:
            return
        last = mark
        self.do(
            message("tools.multi_mark.taken-back", words=last.words()),
            lambda plan: edit_marks.without_mark(plan, last),
        )
        left = [m for m in self.marks() if m.owner == last.owner]
        self.chosen = left[-1].key if left else None
        if not left:
            self._leave()

    def marks(self) -> list[Mark]:
        """Marks of its own structures: both floors have the same kind."""
        plan = self.session.plan
        mine = {s.id for s in plan.structures if self._is_mine(s)}
        return [m for m in super().marks() if m.owner in mine]

    def extra_key(self, event: QKeyEvent) -> bool:
        """Brackets change the step, B its direction."""
        at = STEPS_MM.index(self.step_mm)
        match event.key():
            case Qt.Key.Key_BracketLeft:
                self.step_mm = STEPS_MM[max(at - 1, 0)]
            case Qt.Key.Key_BracketRight:
                self.step_mm = STEPS_MM[min(at + 1, len(STEPS_MM) - 1)]
            case Qt.Key.Key_B:
                self._sense = -(self._sense or 1)
            case _:
                return False
        way = {
            1: say("tools.multi_mark.towards-the-patients-left"),
            -1: say("tools.multi_mark.towards-the-patients-right"),
            0: "",
        }
        self.desk.say(
            say(
                "tools.multi_mark.steps-on-mm-after-each",
                step_mm=self.step_mm,
                way=way[self._sense],
            )
        )
        return True

    def _is_mine(self, thing: object) -> bool:
        # A fixture, a ruler or a note may be selected too.
        return isinstance(thing, Structure) and kind_of(thing).file_kind in self.kinds

    def _add(self, point_mm: Array) -> bool:
        before = self.session.plan
        if edit.find(before, self._active) is None:
            stem = self.stem_of_new()
            stem = f"{stem}-{self._side(point_mm)}" if self.sided else stem
            new_id = edit.new_id(before, stem)
            name = message("tools.multi_mark.mark-1-placed", thing_words=thing_words(new_id))
            structure = self.new(new_id, point_mm)
            if not self.do(name, lambda plan: edit.with_structure(plan, structure)):
                return False
            self._active, self._begun_here = new_id, True
            self.session.go_to(selected=new_id)
            part = "0"
        else:
            added = self._with_mark(before, point_mm)
            if added is None:
                return False
            plan, index = added
            words = message(
                "tools.multi_mark.mark-placed",
                thing_words=thing_words(self._active),
                index=index + 1,
            )
            if not self.do(words, lambda _: plan):
                return False
            part = str(index)
        self._fresh.append(point_mm)
        self.chosen = ("structure", self._active, part)
        self.desk.redraw()
        return True

    def _with_mark(self, plan: Plan, point_mm: Array) -> tuple[Plan, int] | None:
        try:
            return edit_marks.with_mark_added(
                plan, self._active, point_mm, by_course=self.by_course
            )
        except PlanError as error:
            self.desk.tell_error(error)
            return None

    def _side(self, point_mm: Array) -> str:
        return side_here(self.session.plan, float(point_mm[0]))

    def _step_on(self, view: View, point_mm: Array) -> None:
        if view.kind != "section" or view.station_mm is None or self.step_mm == 0.0:
            return
        if self._sense == 0:
            # Away from the midline, the way a canal is followed from its foramen.
            self._sense = 1 if self._side(point_mm) == "left" else -1
        self.session.go_to(station_mm=view.station_mm + self._sense * self.step_mm, across=True)
