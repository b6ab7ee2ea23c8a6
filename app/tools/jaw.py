"""Jaw plane, arch and midline: what everything else is counted from."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from PySide6.QtCore import Qt
from PySide6.QtGui import QKeyEvent

from app.case.session import Session
from app.pictures.draft import Draft
from app.pictures.hit import Hit
from app.tools.base import Desk, View
from app.tools.collect import Collect
from app.tools.level_line import CUTS, LevelLine
from app.tools.mark_keys import ARROWS, KEYS_HINT, Grab
from app.widgets import style
from core.errors import SoundingError
from core.geometry import Array, angle_deg
from core.level import Level
from core.plans import edit_pose
from core.plans.edit_marks import place_along, with_mark_moved
from core.plans.marks import Mark, marks_of
from core.plans.plan import Jaw, Plan
from core.structures import StentAxis, Tapered
from core.trust.figures import nearest
from core.words.catalogue import Message, Words, message, say, together

NOT_FOUND = message("tools.jaw.the-plane-shown-is-only")
LIFT_MM, TURN_DEG = 0.5, 0.5
UPWARD = np.array([0.0, 0.0, 1.0])
JAWS: dict[Jaw, Message] = {
    "lower": message("tools.jaw.lower-jaw"),
    "upper": message("tools.jaw.upper-jaw"),
}

_CUTS = {
    "front cut": message("tools.jaw.front-cut"),
    "side cut": message("tools.jaw.side-cut"),
}


class JawPlane(Collect):
    """The jaw plane, by three clicks or from axes that were marked."""

    name = "Jaw plane"
    words = message("tools.names.jaw-plane")
    group = "Place"
    steps = (
        message("tools.jaw.the-first-of-three-chewing"),
        message("tools.jaw.the-second-chewing-surface-on"),
        message("tools.jaw.the-third-chewing-surface"),
    )

    def hint(self) -> str:
        """The tilt as it is, and the other ways."""
        if self.collected:
            return super().hint()
        level = self.session.guide.level
        tilt = "" if level is None else say("tools.jaw.now", tilt=_tilt_words(level))
        if not self.session.plane_is_found:
            tilt = str(NOT_FOUND)
        return together(say("tools.jaw.drag-its-line-in-the"), tilt)

    # -- by its line -----------------------------------------------------------------------

    def line(self, view: View) -> LevelLine | None:
        """The plane's line in a front or side cut; None in other pictures."""
        return LevelLine.of(view, self.session.guide.level)

    def press(self, view: View, hit: Hit) -> None:
        """The line can be dragged at any time: points that were clicked give way to it."""
        line = self.line(view)
        left = hit.button == Qt.MouseButton.LeftButton
        if left and line is not None and line.part_at(hit) is not None and self.give_up():
            self.desk.say(say("tools.jaw.points-give-way"))
        super().press(view, hit)

    def take(self, view: View, hit: Hit) -> bool:
        """Hold the line or one of its ends."""
        line = self.line(view)
        part = None if line is None else line.part_at(hit)
        if line is None or part is None:
            return super().take(view, hit)
        before, plan = line.level, self.session.plan
        self.hold(
            hit,
            lambda shift: edit_pose.with_level(plan, line.moved(part, shift)),
            lambda after: _moved_words(before, after.level, view),
        )
        return True

    def place_or_go(self, view: View, hit: Hit) -> None:
        """Beside the line in a cut: look there."""
        if view.kind not in CUTS:
            super().place_or_go(view, hit)
        elif self.session.arch is not None:
            station = self.session.arch.station(hit.point_mm)
            self.session.go_to(point_mm=hit.point_mm, station_mm=station, across=True)

    def release(self, view: View, hit: Hit) -> None:
        """One step; a person says once which jaw it is for."""
        held = self._held
        if held is not None and self._moved and self.session.plan.jaw is None:
            jaw = self._jaw()
            if jaw is None:
                self.let_go()
                return
            change = held.change
            self._held = replace(held, change=lambda way: edit_pose.with_jaw(change(way), jaw))
        super().release(view, hit)

    def arrow(self, event: QKeyEvent, held: Qt.KeyboardModifier) -> bool:
        """In a cut Ctrl + ↑ ↓ lift and lower the plane, Alt + arrows turn its line."""
        view = self.key_view()
        line = None if view is None else self.line(view)
        if view is None or line is None or not held & (style.CTRL | style.ALT):
            return super().arrow(event, held)
        across, up = ARROWS[Qt.Key(event.key())]
        if held & style.CTRL:
            shift = up * LIFT_MM * UPWARD
            self._set_by_line(lambda: line.moved("line", shift), line.level, view)
        else:
            self._set_by_line(lambda: line.turned(TURN_DEG * (up or -across)), line.level, view)
        return True

    def extra_draft(self, view: View) -> Draft:
        """In the cuts the plane's line, elsewhere the clicks so far."""
        line = self.line(view)
        return super().extra_draft(view) if line is None else line.draft()

    def _set_by_line(self, make: Callable[[], Level], before: Level, view: View) -> None:
        try:
            level = make()
        except ValueError:
            return  # no such plane: it stays as it is
        jaw = self._jaw()
        if jaw is not None:
            self.do(
                _moved_words(before, level, view),
                lambda p: edit_pose.with_level(edit_pose.with_jaw(p, jaw), level),
            )

    # -- by points and axes ----------------------------------------------------------------

    def set_from(self, source: str) -> None:
        """From the stent axis, from the roots, or as it was proposed: buttons beside the cuts."""
        {"stent": self._from_stent, "roots": self._from_roots, "proposed": self.finish}[source]()

    def complete(self, marks_mm: Array) -> None:
        """Through the three points."""
        self._set(message("tools.jaw.set-from-three-points"), lambda: Level.through(marks_mm))

    def finish(self) -> bool:
        """Take the proposal over, where no click was made."""
        proposed = self.session.guide
        if self.collected or self.session.plan.level is not None or proposed.level is None:
            return False
        if not self.session.plane_is_found:
            self.desk.say(str(NOT_FOUND))
            return True
        level = proposed.level
        self._set(message("tools.jaw.confirmed-as-proposed"), lambda: level)
        return True

    def extra_key(self, event: QKeyEvent) -> bool:
        """S and T: from axes."""
        ways = {Qt.Key.Key_S: self._from_stent, Qt.Key.Key_T: self._from_roots}
        way = ways.get(Qt.Key(event.key()))
        if way is None or event.modifiers():
            return False
        way()
        return True

    def _from_stent(self) -> None:
        axis = _chosen_axis(self.session)
        if axis is None:
            self.desk.say(say("tools.jaw.there-is-no-stent-axis"))
        else:
            self._set(
                message("tools.jaw.set-from-the-stent-axis"),
                lambda: edit_pose.level_from_stent(axis),
            )

    def _from_roots(self) -> None:
        structures = self.session.plan.structures
        roots = tuple(s for s in structures if isinstance(s, Tapered) and s.kind == "root")
        if roots:
            self._set(
                message("tools.jaw.set-from-the-roots-axes"),
                lambda: edit_pose.level_from_roots(roots),
            )
        else:
            self.desk.say(say("tools.jaw.there-are-no-roots-yet"))

    def _set(self, how: Words, make: Callable[[], Level]) -> None:
        try:
            level = make()
        except SoundingError as error:
            self.desk.tell_error(error)
            return
        jaw = self._jaw()
        if jaw is None:
            return
        text = message("tools.jaw.jaw-plane-2", how=how, tilt_words=_tilt_words(level))
        self.do(text, lambda p: edit_pose.with_level(edit_pose.with_jaw(p, jaw), level))

    def _jaw(self) -> Jaw | None:
        """Which jaw: a person says it once."""
        if self.session.plan.jaw is not None:
            return self.session.plan.jaw
        answer = self.desk.choose(
            say("tools.jaw.which-jaw"),
            say("tools.jaw.which-jaw-is-this-plan"),
            tuple(map(str, JAWS.values())),
        )
        return next((jaw for jaw, words in JAWS.items() if str(words) == answer), None)


class ArchTool(Grab):
    """The arch: click adds, drag moves, Del removes, F asks which teeth are there."""

    name = "Arch"
    words = message("tools.names.arch")
    group = "Place"
    kinds = frozenset({"arch"})
    places_on = ("arch map",)

    def __init__(self, session: Session, desk: Desk) -> None:
        super().__init__(session, desk)
        self._first: Array | None = None

    def hint(self) -> str:
        """What a click does."""
        return say("tools.jaw.click-on-the-arch-map")

    def marks(self) -> list[Mark]:
        """Points of the arch that the pictures follow: the person's, else the proposed one's."""
        return [m for m in marks_of(self._own(self.session.plan)) if m.kind == "arch"]

    def do(self, text: Words, change: Callable[[Plan], Plan]) -> bool:
        """Every edit works on the arch that is seen: a proposed one becomes the person's own."""
        return super().do(text, lambda plan: change(self._own(plan)))

    def take(self, view: View, hit: Hit) -> bool:
        """Hold a point; the plan it moves in has the arch that is seen."""
        if not super().take(view, hit):
            return False
        held = self._held
        mark = self.chosen_mark()
        if held is not None and mark is not None:
            own = self._own(self.session.plan)
            self.hold(
                hit, lambda shift: with_mark_moved(own, mark, mark.point_mm + shift), held.words
            )
        return True

    def chosen_mark(self) -> Mark | None:
        """Of the arch that is seen."""
        return next((m for m in self.marks() if m.key == self.chosen), None)

    def place(self, view: View, hit: Hit) -> None:
        """One more point; the first alone is only remembered, an arch needs two."""
        own = self._own(self.session.plan)
        if own.arch_points is None:
            if self._first is None:
                self._first = hit.point_mm
                self.desk.say(say("tools.jaw.first-point-of-the-arch"))
                return
            both = np.stack([self._first, hit.point_mm])
            self._first = None
            if self.do(
                message("tools.jaw.arch-begun"), lambda p: edit_pose.with_arch_points(p, both)
            ):
                self.chosen = ("arch", "arch", "1")
            return
        index = place_along(own.arch_points, hit.point_mm)
        if self.do(
            message("tools.jaw.arch-point-added", index=index + 1),
            lambda p: edit_pose.with_arch_point(p, hit.point_mm)[0],
        ):
            self.chosen = ("arch", "arch", str(index))

    def finish(self) -> bool:
        """Take the proposal over."""
        if self.session.plan.arch_points is not None or self.session.guide.arch_points is None:
            return False
        if not self.do(message("tools.jaw.arch-confirmed-as-proposed"), lambda p: p):
            return False
        self.desk.ask_about_side(only_if_open=True)
        return True

    def give_up(self) -> bool:
        """Forget the first point."""
        had, self._first = self._first is not None, None
        return had

    def take_back(self) -> None:
        """Forget the first point of an arch that was only begun."""
        self._first = None

    def extra_key(self, event: QKeyEvent) -> bool:
        """F: the questions about left and right."""
        if event.key() != Qt.Key.Key_F or event.modifiers() or self.session.arch is None:
            return False
        self.desk.ask_about_side()
        return True

    def _own(self, plan: Plan) -> Plan:
        """The plan with the arch that the pictures follow."""
        guide = self.session.guide
        if plan.arch_points is not None or guide.arch_points is None:
            return plan
        return edit_pose.with_arch_points(plan, guide.arch_points)


class Midline(Grab):
    """The midline: one click."""

    name = "Midline"
    words = message("tools.names.midline")
    group = "Place"
    kinds = frozenset({"midline"})
    places_on = ("arch map", "section", "neighbour", "panorama")

    def hint(self) -> str:
        """What a click does."""
        return say("tools.jaw.click-the-midline-of-the", keys_hint=KEYS_HINT)

    def place(self, view: View, hit: Hit) -> None:
        """Set it, or put it elsewhere."""
        if self.do(
            message("tools.jaw.midline-marked"), lambda p: edit_pose.with_midline(p, hit.point_mm)
        ):
            self.chosen = ("midline", "midline", "0")
            if self.wanted:
                self.desk.lead_on()


def _chosen_axis(session: Session) -> StentAxis | None:
    """The stent axis that is selected, else the first."""
    axes = session.plan.stent_axes
    named = [a for a in axes if a.id == session.selected]
    return next(iter((*named, *axes)), None)


def _moved_words(before: Level, after: Level | None, view: View) -> Message:
    """What became of a plane whose line was moved in a cut."""
    if after is None:
        return message("tools.jaw.jaw-plane-3")
    if angle_deg(before.up, after.up) < 0.01:
        mm = float((after.origin - before.origin) @ before.up)
        far = nearest(abs(mm), 1)
        if mm > 0:
            return message("tools.jaw.jaw-plane-moved-up", mm=far)
        return message("tools.jaw.jaw-plane-moved-down", mm=far)
    return message(
        "tools.jaw.jaw-plane-turned-in-the", kind=_CUTS[view.kind], tilt_words=_tilt_words(after)
    )


def _tilt_words(level: Level) -> Message:
    """How far a plane leans from the scanner's own level."""
    return message(
        "tools.jaw.tilted-to-the-scanners-level",
        angle_deg=nearest(angle_deg(level.up, (0.0, 0.0, 1.0)), 1),
    )
