"""Follows the canal between clicks: what is found is proposed, and confirmed stretch by stretch.

Nothing stands in the plan before it is confirmed: a proposal has no marks, no measurement and no
line in a file. Each confirmed mark is one undoable step and a mark like any other.
"""

from __future__ import annotations

from typing import ClassVar

import numpy as np
from PySide6.QtCore import QTimer
from PySide6.QtGui import QKeyEvent

from app.background.tasks import Latest
from app.case.session import Session
from app.pictures.draft import Draft
from app.pictures.hit import Hit
from app.tools.base import Desk, View
from app.tools.confirm_run import ConfirmRun, is_held_enter, is_run_key
from app.tools.curves import CIRCLE, Canal
from app.tools.mark_keys import SEEN_WORDS
from app.tools.picking import OFF_MM
from core.arch import Arch
from core.distances.floor_marks import BEYOND_MM
from core.distances.open_ends import TraceLack
from core.distances.tubes import tubes_of
from core.drawing import Dot, Label, Line
from core.errors import PlanError
from core.geometry import Array
from core.identity import Expected, Tooth, thing_words
from core.image.canal_fit import CanalFit
from core.marking.course_diameter import course_diameter
from core.marking.follow import LEAST_MM, Followed, follow_canal
from core.marking.proposed_marks import ProposedMark, proposed_marks
from core.measurement import Note
from core.measuring.expected_list import KnownHere, traces_lacking
from core.plans import edit, edit_marks
from core.plans.edit_marks import place_along
from core.plans.marks import mark_at
from core.plans.plan import Plan
from core.structures import Course, Seen
from core.words.catalogue import message, say, together
from core.words.numbers import Figure
from core.words.values import listed, side_words

BESIDE_MM = 11.0
"""From the fixture to where it is clicked on either side: clearances want 5 mm beyond it, and still
do once its axis is tilted along the neighbours (own choice, no source)."""

SAME_MM, APART_MM = 3.0, 0.5
"""Between the ends of a canal, a click further from it is another canal's; and marks nearer to an
end than this stand there already (own choice, no source)."""

FIRST_MOLAR = 6
"""In front of it the foramen is near, and the canal ends there."""

RUN_MS = 40
"""Between sections while the pictures run along a stretch."""


class FollowCanal(Canal):
    """Two clicks on the canal, and the course between is found in the image."""

    name = "Follow canal"
    words = message("tools.names.follow-canal")
    clicks_needed: ClassVar[int] = 2

    def __init__(self, session: Session, desk: Desk) -> None:
        super().__init__(session, desk)
        self.clicks: list[Array] = []
        self.proposed: tuple[ProposedMark, ...] = ()
        self._confirmed: list[Array] = []
        self._before = 0
        self._size: CanalFit | None = None
        self._following = Latest(self._found, desk.tell_error, parent=session)
        self._sizing = Latest(self._sized, desk.tell_error, parent=session)
        self._ahead: list[float] = []
        self._run = QTimer(session, interval=RUN_MS)
        self._run.timeout.connect(self._run_on)
        self.run_all = ConfirmRun(session, self._confirm_shown)
        session.scan_changed.connect(self._forget)

    # -- what it is doing ----------------------------------------------------------------

    def hint(self) -> str:
        """What a click or Enter does now."""
        if self.proposed and not self._all_confirmed():
            mark = self.proposed[self._next_number()]
            number, count = self._next_number() + 1, len(self.proposed)
            if mark.seen == "no":
                return say("tools.follow_canal.confirm-unseen", number=number, count=count)
            return say("tools.follow_canal.confirm", number=number, count=count)
        lacks = self._lacks()
        if lacks:
            return say(
                "tools.follow_canal.still-short",
                sides=listed([side_words(lack.side) for lack in lacks]),
                mm=Figure(f"{max(lack.short_mm for lack in lacks):.1f}"),
            )
        if self.clicks:
            return say("tools.follow_canal.click-next")
        if self.session.fixture is not None:
            return say("tools.follow_canal.click-beyond", mm=Figure(f"{BEYOND_MM:g}"))
        return say("tools.follow_canal.click-first")

    def busy(self) -> bool:
        """While the canal is clicked on, every click is one of these."""
        return bool(self.clicks) and not self.proposed

    def start(self) -> None:
        """Go on with the canal that is selected."""
        self._forget()
        super().start()
        self._lead_to_first()

    def stop(self) -> None:
        """Another tool: what was confirmed stays, the rest was never there."""
        self._forget()
        super().stop()

    # -- clicks --------------------------------------------------------------------------

    def press(self, view: View, hit: Hit) -> None:
        """Whoever clicks while the section runs along stops it, and nothing else."""
        if self.run_all.stop():
            self.desk.say(say("tools.confirm_run.stopped"))
            return
        super().press(view, hit)

    def key(self, event: QKeyEvent) -> bool:
        """Shift + Enter confirms on and on; any key but Enter stops that."""
        if self.run_all.active and is_held_enter(event):
            return True
        if self.run_all.stop():
            self.desk.say(say("tools.confirm_run.stopped"))
            return True
        return super().key(event)

    def extra_key(self, event: QKeyEvent) -> bool:
        """Shift + Enter: each of the proposed marks is confirmed while the section runs along."""
        if is_run_key(event) and self.proposed and not self._all_confirmed():
            self.run_all.start()
            self.desk.say(say("tools.confirm_run.runs"))
            return True
        return super().extra_key(event)

    def _confirm_shown(self) -> bool:
        """Confirm the mark that stood in view; a stretch that is not seen is a decision."""
        if not self.proposed or self._all_confirmed():
            return False
        mark = self.proposed[self._next_number()]
        if mark.seen == "no":
            self.desk.say(say("tools.confirm_run.not-seen"))
            return False
        before = len(self._confirmed_now())
        self._take(mark.point_mm, mark.seen, by_hand=False)
        return before < len(self._confirmed_now()) < len(self.proposed)

    def place(self, view: View, hit: Hit) -> None:
        """One more click on the canal; on a proposal's section: the mark, by hand."""
        if self.session.volume is None or self.session.arch is None:
            self.desk.say(say("tools.follow_canal.no-scan"))
            return
        if self.proposed and not self._all_confirmed():
            self._take(hit.point_mm, "yes", by_hand=True)
            return
        if self.proposed:
            self._forget()
        if not self.clicks:
            self._go_on_from(hit.point_mm)
        at = place_along(np.stack(self.clicks), hit.point_mm) if len(self.clicks) > 1 else 1
        self.clicks.insert(at, hit.point_mm)
        if len(self.clicks) >= self.clicks_needed:
            self._follow()
        else:
            self._lead_on(hit.point_mm)

    def finish(self) -> bool:
        """Enter: the next proposed mark is confirmed."""
        if not self.proposed or self._all_confirmed():
            return False
        if not self._run.isActive():
            mark = self.proposed[self._next_number()]
            self._take(mark.point_mm, mark.seen, by_hand=False)
        return True

    def give_up(self) -> bool:
        """Esc: drop clicks and what was not confirmed."""
        had = bool(self.clicks or self.proposed)
        dropped = bool(self.proposed) and not self._all_confirmed()
        self._forget()
        if dropped:
            self.desk.say(say("tools.follow_canal.dropped"))
        return had

    def take_back(self) -> None:
        """Right click: the last click, or the mark confirmed last."""
        if self._confirmed_now():
            super().take_back()
            self._go_to_next()
        elif self.clicks and not self.proposed:
            self.clicks.pop()

    # -- one canal, however often it is followed --------------------------------------------

    def _go_on_from(self, point_mm: Array) -> None:
        """What is followed on the side of a canal that is there belongs to that canal.

        A click beyond its end is followed from the end: one is enough.
        """
        arch, course = self.session.arch, self._nearest(point_mm)
        if arch is None or course is None:
            return
        self._active = course.id
        (first, _), (last, _) = _ends(arch, course)
        if first <= arch.station(point_mm) <= last:
            return
        away = np.linalg.norm(course.points - point_mm, axis=1)
        # So short a piece as from its very end may not show a canal: from a mark before it then.
        far = np.flatnonzero(away >= LEAST_MM)
        if len(far):
            self.clicks = [course.points[far[int(np.argmin(away[far]))]]]

    def _nearest(self, point_mm: Array) -> Course | None:
        """The canal of this side that a click goes on with; None where it lies beside them all."""
        arch, side = self.session.arch, self._side(point_mm)
        found: list[tuple[float, str, Course]] = []
        for thing in self.session.plan.structures:
            if not isinstance(thing, Course) or not self._is_mine(thing) or arch is None:
                continue
            if self._side(thing.points[0]) != side:
                continue
            (first, _), (last, _) = _ends(arch, thing)
            away = float(np.linalg.norm(tubes_of(thing)[0].points - point_mm, axis=1).min())
            if away <= SAME_MM or not first <= arch.station(point_mm) <= last:
                found.append((away, thing.id, thing))
        return min(found)[2] if found else None

    def _beyond(self, marks: tuple[ProposedMark, ...]) -> tuple[ProposedMark, ...]:
        """Those of the proposed marks that the canal has not got yet."""
        arch, course = self.session.arch, edit.find(self.session.plan, self._active)
        if arch is None or not isinstance(course, Course):
            return marks
        first, last = _ends(arch, course)
        return tuple(
            mark
            for mark in marks
            if not first[0] - APART_MM < arch.station(mark.point_mm) < last[0] + APART_MM
        )

    def _lacks(self) -> tuple[TraceLack, ...]:
        """On which sides of the fixture the canal that was led to is still short."""
        fixture, arch = self.session.fixture, self.session.arch
        if fixture is None or arch is None or not fixture.tooth:
            return ()
        known = KnownHere(plan=self.session.plan, arch=arch, fixture=fixture)
        return traces_lacking(known, Expected(any_of=(self.kind,)))

    # -- leading ---------------------------------------------------------------------------

    def _lead_to_first(self) -> None:
        """Who was led here begins in front of the fixture, or at it where the foramen is near."""
        fixture, arch = self.session.fixture, self.session.arch
        if not self.wanted or fixture is None or arch is None or not fixture.tooth:
            return
        if self._lacks():
            return  # whoever leads here knows where it goes on
        tooth = Tooth.of(fixture.tooth)
        if tooth.position >= FIRST_MOLAR:
            here = arch.station(fixture.platform) - _backwards(tooth) * BESIDE_MM
            self.session.go_to(station_mm=here, across=True)

    def _lead_on(self, point_mm: Array) -> None:
        """After the first click: to the fixture's other side, where the second one belongs."""
        fixture, arch = self.session.fixture, self.session.arch
        if not self.wanted or fixture is None or arch is None:
            return
        here, first = arch.station(fixture.platform), arch.station(point_mm)
        if fixture.tooth and abs(first - here) < 0.5 * BESIDE_MM:
            self.session.go_to(
                station_mm=here + _backwards(Tooth.of(fixture.tooth)) * BESIDE_MM, across=True
            )
        elif abs(first - here) < 2.0 * BESIDE_MM:
            beyond = here + (BESIDE_MM if here > first else -BESIDE_MM)
            self.session.go_to(station_mm=beyond, across=True)

    # -- following -----------------------------------------------------------------------

    def _follow(self) -> None:
        volume, marks = self.session.volume, np.stack(self.clicks)
        if volume is None:
            return
        self.desk.say(say("tools.follow_canal.looking"))
        self._following.ask(lambda task: follow_canal(volume, marks, cancelled=task.cancelled))

    def _found(self, found: Followed | Note) -> None:
        if isinstance(found, Note):
            # The first click stays: mostly it is the last one that was off.
            self.clicks = self.clicks[: self.clicks_needed - 1]
            self.desk.say(found.message)
            self.desk.redraw()
            return
        marks = self._beyond(proposed_marks(found))
        if not marks:
            self._forget()
            self.desk.say(say("tools.follow_canal.marked-already"))
            self.desk.redraw()
            return
        self._propose(marks)
        unseen = round(100 * (1.0 - found.share_seen))
        if unseen:
            self.desk.say(say("tools.follow_canal.found-partly", unseen=unseen))
        else:
            self.desk.say(say("tools.follow_canal.found"))
        volume = self.session.volume
        if volume is not None:
            self._sizing.ask(lambda task: course_diameter(volume, found, cancelled=task.cancelled))
        self._go_to_next()

    def _propose(self, marks: tuple[ProposedMark, ...]) -> None:
        """Show marks as proposed; the first of them is confirmed next."""
        self.proposed = marks
        course = edit.find(self.session.plan, self._active)
        self._before = len(course.points) if isinstance(course, Course) else 0
        self._confirmed, self._size = [], None

    def _sized(self, fit: CanalFit) -> None:
        self._size = fit
        if self._all_confirmed():
            self._offer_diameter()

    # -- confirming ----------------------------------------------------------------------

    def _confirmed_now(self) -> list[Array]:
        """What was confirmed and not undone since."""
        course = edit.find(self.session.plan, self._active)
        there = len(course.points) - self._before if isinstance(course, Course) else 0
        del self._confirmed[max(there, 0) :]
        return self._confirmed

    def _next_number(self) -> int:
        return min(len(self._confirmed_now()), max(len(self.proposed) - 1, 0))

    def _all_confirmed(self) -> bool:
        return bool(self.proposed) and len(self._confirmed_now()) >= len(self.proposed)

    def _take(self, point_mm: Array, seen: Seen, *, by_hand: bool) -> None:
        """Put one mark into the plan: one undoable step."""
        try:
            plan, index = self._with(point_mm, seen)
        except PlanError as error:
            self.desk.tell_error(error)
            return
        course = thing_words(self._active)
        mark = say("tools.follow_canal.mark", course=course, number=index + 1)
        text = (
            message("tools.follow_canal.by-hand", mark=mark)
            if by_hand
            else message("tools.follow_canal.confirmed", mark=mark, seen=SEEN_WORDS[seen])
        )
        if not self.do(text, lambda _: plan):
            return
        self._confirmed.append(point_mm)
        self._fresh.append(point_mm)
        self.session.go_to(selected=self._active)
        self.chosen = ("structure", self._active, str(index))
        if not self._all_confirmed():
            self._go_to_next()
            return
        done = say("tools.follow_canal.all-confirmed", course=course, count=len(self.proposed))
        if self._lacks():
            done = together(done, self.hint())
        self.desk.say(done, undo=True)
        self.clicks = []
        if self._size is not None:
            self._offer_diameter()

    def _with(self, point_mm: Array, seen: Seen) -> tuple[Plan, int]:
        plan = self.session.plan
        course = edit.find(plan, self._active)
        side = self._side(point_mm)
        other = isinstance(course, Course) and self._side(course.points[0]) != side
        if not isinstance(course, Course) or (self.sided and other):
            stem = f"{self.stem}-{side}" if self.sided else self.stem
            self._active = edit.new_id(plan, stem)
            self._before = 0
            new = Course(id=self._active, kind=self.kind, points=point_mm[None], seen=(seen,))
            return edit.with_structure(plan, new), 0
        plan, index = edit_marks.with_mark_added(plan, self._active, point_mm)
        mark = mark_at(plan, ("structure", self._active, str(index)))
        return (plan if mark is None else edit_marks.with_mark_seen(plan, mark, seen)), index

    def _offer_diameter(self) -> None:
        fit, self._size = self._size, None
        course = edit.find(self.session.plan, self._active)
        unknown = isinstance(course, Course) and course.diameter_mm is None
        if unknown and fit is not None and fit.diameter_mm is not None:
            self.desk.say(fit.words(thing_words(course.id)))
            self.ask_diameter(course, fit)
        if self.wanted:
            self.desk.lead_on()

    # -- the pictures run along ----------------------------------------------------------

    def _go_to_next(self) -> None:
        """Run the pictures along the stretch to the next proposed mark."""
        arch = self.session.arch
        if arch is None or not self.proposed or self._all_confirmed():
            return
        mark = self.proposed[self._next_number()]
        self._ahead = [arch.station(p) for p in mark.stretch_mm]
        self._run_on()
        if self._ahead:
            self._run.start()

    def _run_on(self) -> None:
        if self._ahead:
            self.session.go_to(station_mm=self._ahead.pop(0), across=True)
        if not self._ahead:
            self._run.stop()
        self.desk.redraw()

    def _forget(self) -> None:
        self._following.drop()
        self._sizing.drop()
        self._run.stop()
        self.run_all.stop()
        self.clicks, self.proposed, self._confirmed, self._ahead = [], (), [], []
        self._size = None

    # -- drawing -------------------------------------------------------------------------

    def extra_draft(self, view: View) -> Draft:
        """The clicks, and what is proposed and not confirmed, drawn as what it is."""
        if not view.has_picture:
            return Draft()
        left = self.proposed[len(self._confirmed_now()) :]
        if view.kind == "section" and left and not self._run.isActive():
            self.run_all.shown()
        dots: tuple[Dot, ...] = ()
        if self.clicks and not self.proposed:
            uv = view.uv_mm(np.stack(self.clicks))
            near = np.abs(uv[:, 2]) <= OFF_MM[view.kind]
            dots = tuple(Dot(at=(float(u), float(v))) for u, v in uv[near, :2])
        if view.kind in ("section", "neighbour"):
            lines, labels = _crossings(view, left)
        else:
            lines, labels = _courses(view, left), ()
        rings = self.fitted_rings(view)
        compares = bool(left or rings)
        return Draft(lines=(*lines, *rings), dots=dots, labels=labels, compares=compares)


def _ends(arch: Arch, course: Course) -> tuple[tuple[float, Array], tuple[float, Array]]:
    """Station and place of both ends of a course, the one nearer to the patient's right first."""
    ends = [(arch.station(point), point) for point in (course.points[0], course.points[-1])]
    return (ends[0], ends[1]) if ends[0][0] <= ends[1][0] else (ends[1], ends[0])


def _backwards(tooth: Tooth) -> float:
    """+1 where stations grow from a tooth to those behind it, else -1."""
    return 1.0 if tooth.side == "left" else -1.0


def _courses(view: View, left: tuple[ProposedMark, ...]) -> tuple[Line, ...]:
    """The proposed course as pictures along the jaw show it."""
    return tuple(
        Line(style=_style(mark), points=view.uv_mm(mark.stretch_mm)[:, :2])
        for mark in left
        if len(mark.stretch_mm) > 1
    )


def _crossings(
    view: View, left: tuple[ProposedMark, ...]
) -> tuple[tuple[Line, ...], tuple[Label, ...]]:
    """A dashed ring where the proposed course goes through a section."""
    for mark in left:
        uv = view.uv_mm(mark.stretch_mm)
        n = int(np.argmin(np.abs(uv[:, 2])))
        if abs(float(uv[n, 2])) > OFF_MM[view.kind]:
            continue
        radius = 0.5 * mark.diameter_mm
        ring = uv[n, :2] + radius * CIRCLE
        # Below the ring: above it stand the numerals of the distance lines.
        below = (float(uv[n, 0]), float(uv[n, 1] - radius - 16 * view.mm_per_pixel()))
        labels: tuple[Label, ...] = ()
        if view.kind == "section":
            labels = (Label(text=say("tools.follow_canal.proposed"), at=below, style="name"),)
        return (Line(style=_style(mark), points=ring),), labels
    return (), ()


def _style(mark: ProposedMark) -> str:
    return "proposed, not seen" if mark.seen == "no" else "proposed"
