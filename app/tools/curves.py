"""Curves and floors: canal, loop, vessel, lower border, sinus and nasal floor."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from PySide6.QtCore import Qt
from PySide6.QtGui import QKeyEvent

from app.pictures.draft import Draft
from app.tools.base import View
from app.tools.multi_mark import Series
from app.tools.picking import OFF_MM
from app.tools.prompts import read_length
from core.curve import Curve
from core.distances.tubes import ENTERED_DIAMETER_SD_MM
from core.drawing import Line
from core.geometry import Array
from core.identity import thing_words
from core.image.canal_fit import CanalFit, fit_canal
from core.kinds import KIND
from core.plans import edit
from core.plans.plausible import CANAL_DIAMETER, UNUSUAL
from core.structures import Course, Floor, kind_of
from core.trust.figures import nearest
from core.words.catalogue import message, say

_TURN = np.linspace(0.0, 2.0 * np.pi, 33)
CIRCLE = np.stack([np.cos(_TURN), np.sin(_TURN)], axis=1)
"""A circle of radius 1 as a line."""


class CourseTool(Series):
    """A curve through marks."""

    group = "Mark"
    step_mm = 2.0
    _compared: tuple[Course, CanalFit] | None = None
    """What is being asked about, with what was measured of it."""

    def hint(self) -> str:
        """With the key that fits the diameter, where the image shows it."""
        hint = super().hint()
        if self._active and KIND[self.kind].fits:
            return say("tools.curves.d-fits-its-diameter", hint=hint)
        return hint

    def new(self, structure_id: str, point_mm: Array) -> Course:
        """The curve with its first mark; its diameter is not known yet."""
        return Course(id=structure_id, kind=self.kind, points=point_mm[None, :])

    def extra_key(self, event: QKeyEvent) -> bool:
        """D: the diameter, fitted or typed."""
        if event.key() == Qt.Key.Key_D and not event.modifiers():
            return self._diameter()
        return super().extra_key(event)

    def _diameter(self) -> bool:
        course = edit.find(self.session.plan, self._active)
        if not isinstance(course, Course):
            return False
        fits = KIND[self.kind].fits
        fit = self._fit(course) if fits else CanalFit(middle_mm=course.points[0])
        return True if fit is None else self.ask_diameter(course, fit)

    def ask_diameter(self, course: Course, fit: CanalFit) -> bool:
        """Let a person confirm a fitted diameter, or type another one."""
        name = thing_words(course.id)
        fitted = "" if fit.diameter_mm is None else nearest(fit.diameter_mm, 1)
        start = fitted or ("" if course.diameter_mm is None else f"{course.diameter_mm:g}")
        # What was measured, and what it is to be compared with, stands where it is answered.
        told = fit.words(name)
        self._compared = (course, fit)
        self.desk.redraw()
        try:
            words = self.desk.ask_text(
                say("tools.curves.diameter"),
                say("tools.curves.diameter-of-mm", name=name),
                start,
                (lambda _typed: told) if told else None,
            )
        finally:
            self._compared = None
            self.desk.redraw()
        diameter = None if words is None else read_length(words)
        if diameter is None:
            if words is not None:
                self.desk.say(say("tools.curves.a-diameter-is-a-number"))
            return True
        reason = self._reason(course, diameter)
        if reason is None:
            return True
        taken = words == fitted
        key = "tools.curves.fitted-and-confirmed" if taken else "tools.curves.entered"
        sd = fit.sd_mm if taken else ENTERED_DIAMETER_SD_MM
        self.do(
            message(
                "tools.curves.diameter-mm-sd",
                name=name,
                diameter=diameter,
                how=message(key),
                sd=nearest(sd, 2),
            ),
            lambda plan: edit.with_reason(
                edit.with_diameter(plan, course.id, diameter, sd_mm=sd), course.id, reason
            ),
        )
        return True

    def extra_draft(self, view: View) -> Draft:
        """While a diameter is asked: it as it was measured, and the lumen, over the image."""
        drawn = super().extra_draft(view)
        rings = self.fitted_rings(view)
        return replace(drawn, lines=(*drawn.lines, *rings), compares=True) if rings else drawn

    def fitted_rings(self, view: View) -> tuple[Line, ...]:
        """The measured diameters where the curve goes through a section."""
        if self._compared is None or view.kind != "section" or not view.has_picture:
            return ()
        course, fit = self._compared
        points = (
            course.points if len(course.points) < 2 else Curve.through(course.points).polyline()[1]
        )
        uv = view.uv_mm(points)
        n = int(np.argmin(np.abs(uv[:, 2])))
        if abs(float(uv[n, 2])) > OFF_MM["section"]:
            return ()
        return tuple(
            Line(style="proposed", points=uv[n, :2] + 0.5 * diameter * CIRCLE)
            for diameter in (fit.diameter_mm, fit.lumen_mm)
            if diameter is not None
        )

    def _reason(self, course: Course, diameter_mm: float) -> str | None:
        """Why a diameter is unusual, empty where it is not; None where it is not taken."""
        if not kind_of(course).canal_sized:
            return ""
        name = thing_words(course.id)
        refusal = CANAL_DIAMETER.refusal(diameter_mm, name)
        if refusal is None:
            return ""
        if refusal.code == UNUSUAL:
            words = self.desk.ask_text(
                say("tools.curves.unusual-diameter"),
                say("tools.curves.reason", refusal=refusal),
                "",
            )
            return words or None
        self.desk.tell_error(refusal)
        return None

    def _fit(self, course: Course) -> CanalFit | None:
        """What the image shows around the chosen mark, to be confirmed; None: no mark chosen."""
        mark, volume, arch = self.chosen_mark(), self.session.volume, self.session.arch
        if mark is None or mark.owner != course.id or volume is None or arch is None:
            self.desk.say(say("tools.curves.choose-a-mark-in-a"))
            return None
        if len(course.points) > 1:
            curve = Curve.through(course.points)
            along = curve.tangent(curve.nearest(mark.point_mm))[0]
        else:
            along = arch.frame(arch.station(mark.point_mm)).travel
        fit = fit_canal(volume, mark.point_mm, along)
        self.desk.say(fit.words(mark.words()))
        return fit


class Canal(CourseTool):
    """The mandibular canal."""

    name = kind = "canal"
    stem = "canal"
    kinds = frozenset({"canal"})


class Loop(CourseTool):
    """The loop of the nerve in front of its foramen."""

    name = kind = "loop"
    folded = True
    stem = "loop"
    kinds = frozenset({"loop"})
    step_mm = 1.0


class Vessel(CourseTool):
    """A vessel's bony channel."""

    name = kind = "vessel"
    folded = True
    stem = "vessel"
    kinds = frozenset({"vessel"})
    step_mm = 0.0


class LowerBorder(CourseTool):
    """The lower border of the jaw."""

    name = kind = "border"
    folded = True
    stem = "border"
    sided = False
    kinds = frozenset({"border"})


class FloorTool(Series):
    """A floor: a surface through marks, in any order."""

    group = "Mark"
    kinds = frozenset({"floor"})
    by_course = False

    def new(self, structure_id: str, point_mm: Array) -> Floor:
        """The floor with its first mark."""
        return Floor(id=structure_id, of=self.kind, points=point_mm[None, :])

    def hint(self) -> str:
        """What a click does, and where the marks must lie for a height."""
        around = say("tools.curves.mark-it-before-at-and")
        if self._active:
            return say(
                "tools.curves.click-next-mark-of-enter",
                thing_words=thing_words(self._active),
                around=around,
            )
        return say(
            "tools.curves.click-first-mark-of-a",
            tool=KIND[self.kind].words,
            around=around,
        )

    def _is_mine(self, thing: object) -> bool:
        return isinstance(thing, Floor) and thing.of == self.kind


class SinusFloor(FloorTool):
    """The floor of the maxillary sinus."""

    name = kind = "sinus"
    folded = True
    stem = "sinus"


class NasalFloor(FloorTool):
    """The floor of the nose."""

    name = kind = "nasal"
    folded = True
    stem = "nasal-floor"
