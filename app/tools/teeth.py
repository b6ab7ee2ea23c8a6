"""Foramen, roots, and existing implants or metal: a few clicks that make one structure."""

from __future__ import annotations

from dataclasses import replace
from typing import ClassVar

from PySide6.QtCore import Qt
from PySide6.QtGui import QKeyEvent

from app.tools.collect import Collect
from app.tools.prompts import ask_tooth, ask_two_lengths, likely_here
from core.geometry import Array
from core.identity import thing_words
from core.measuring.expected_list import BESIDE_MM, expected_list
from core.plans import edit
from core.plans.side import side_here
from core.structures import Tapered
from core.words.catalogue import message, say

NEAR_WANTED_MM = 0.75 * BESIDE_MM
"""Further from where a neighbour is expected, it is asked whose root it is."""


class ForamenTool(Collect):
    """The mental foramen: both edges, then its upper edge."""

    name = kind = "foramen"
    folded = True
    group = "Mark"
    kinds = frozenset({"foramen"})
    steps = (
        message("tools.teeth.the-mesial-or-distal-edge"),
        message("tools.teeth.its-other-edge"),
        message("tools.teeth.its-upper-edge-enter-leaves"),
    )
    least = 2

    def complete(self, marks_mm: Array) -> None:
        """Make the foramen, and lead on who was led here."""
        if self.make(marks_mm) and self.wanted:
            self.desk.lead_on()

    def make(self, marks_mm: Array) -> bool:
        """Put it into the plan; which edge is mesial follows from the arch."""
        plan, arch = self.session.plan, self.session.arch
        side = side_here(plan, float(marks_mm[:2, 0].mean()))
        foramen = edit.foramen_of(plan, arch, edit.new_id(plan, f"foramen-{side}"), marks_mm[:2])
        if len(marks_mm) > 2:
            foramen = replace(foramen, upper=marks_mm[2])
        name = thing_words(foramen.id)
        if not self.do(
            message("tools.teeth.marked", name=name), lambda p: edit.with_structure(p, foramen)
        ):
            return False
        self.session.go_to(selected=foramen.id)
        return True


class TaperedTool(Collect):
    """Marks along an axis, and a diameter at either end."""

    group = "Mark"
    endless = True
    least = 2
    kind: ClassVar[str] = "root"
    diameters_mm: ClassVar[tuple[float, float]] = (6.0, 2.5)
    what: ClassVar[str] = ""

    def complete(self, marks_mm: Array) -> None:
        """Ask for what marks cannot say, then make it."""
        was_led = bool(self.wanted)
        if self.make(marks_mm):
            if was_led:
                self.desk.lead_on()
        else:
            # The person turned away from a question: the marks are not lost.
            self.collected = list(marks_mm)

    def make(self, marks_mm: Array, ends: tuple[float, float] | None = None) -> bool:
        """Put it into the plan, with known diameters or asked ones; False: turned away."""
        tooth = ""
        if self.kind == "root":
            answer = self.shown_tooth(marks_mm) or self.ask_whose(marks_mm)
            if not answer:
                return False
            tooth = answer
        if ends is None:
            question = say("tools.teeth.diameters-mm")
            if tooth:
                question = say("tools.teeth.diameters-of-root-mm", tooth=tooth)
            ends = ask_two_lengths(self.desk, self.title(), question, self.diameters_mm)
        if ends is None:
            return False
        self.wanted = ""
        plan = self.session.plan
        new_id = edit.new_id(plan, f"root-{tooth}") if tooth else edit.numbered_id(plan, "existing")
        thing = Tapered(id=new_id, kind=self.kind, tooth=tooth, points=marks_mm, diameters_mm=ends)
        name = thing_words(new_id)
        if self.do(
            message("tools.teeth.marked", name=name), lambda p: edit.with_structure(p, thing)
        ):
            self.session.go_to(selected=new_id)
        return True

    def shown_tooth(self, marks_mm: Array) -> str:
        """The tooth that a person sees named before they confirm; empty: it is asked."""
        return self._wanted_tooth(marks_mm)

    def ask_whose(self, marks_mm: Array) -> str | None:
        """Ask whose root it is, with what is plain from named teeth offered."""
        question, at_mm = say("tools.teeth.root-of-which-tooth"), marks_mm[0]
        likely = likely_here(self.session, at_mm)
        return ask_tooth(self.session, self.desk, question, at_mm=at_mm, likely=likely)

    def _wanted_tooth(self, marks_mm: Array) -> str:
        """The tooth whose root a person went on to mark, where the marks lie about there."""
        session, arch = self.session, self.session.arch
        if session.fixture is None or arch is None:
            return ""
        here = arch.station(marks_mm[0])
        for item in expected_list(session.plan, arch, session.fixture):
            near = abs(item.station_mm - here) < NEAR_WANTED_MM
            if item.expected.name == self.wanted and item.state == "missing" and near:
                return self.wanted.removeprefix("root-")
        return ""


class Root(TaperedTool):
    """The root of a neighbouring tooth."""

    name = kind = "root"
    folded = True
    kinds = frozenset({"root"})
    steps = (
        message("tools.teeth.the-root-where-it-enters"),
        message("tools.teeth.further-along-the-root-to"),
    )

    def hint(self) -> str:
        """With the key that takes a root out of the limits."""
        return say("tools.teeth.r-to-be-removed", hint=super().hint())

    def extra_key(self, event: QKeyEvent) -> bool:
        """R: to be removed, or not."""
        mark = self.chosen_mark()
        if event.key() != Qt.Key.Key_R or event.modifiers() or mark is None:
            return False
        root = edit.find(self.session.plan, mark.owner)
        removed, name = not root.to_be_removed, thing_words(root.id)
        return self.do(
            message("tools.teeth.is-to-be-removed", name=name)
            if removed
            else message("tools.teeth.stays", name=name),
            lambda plan: edit.with_removal(plan, root.id, to_be_removed=removed),
        )


class Existing(TaperedTool):
    """An existing implant or other metal: its centre line, not the bloomed edge."""

    name = kind = "existing"
    folded = True
    kinds = frozenset({"existing"})
    diameters_mm = (4.0, 4.0)
    steps = (
        message("tools.teeth.one-end-of-its-centre"),
        message("tools.teeth.further-along-its-centre-line"),
    )
