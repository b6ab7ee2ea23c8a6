"""Finds a sinus or nasal floor around one click: proposed, and confirmed section by section.

Nothing stands in the plan before it is confirmed; each section's marks are one undoable step, and
marks like any other.
"""

from __future__ import annotations

import numpy as np
from PySide6.QtGui import QKeyEvent

from app.background.tasks import Latest
from app.case.session import Session
from app.pictures.draft import Draft
from app.pictures.hit import Hit
from app.tools.base import Desk, View
from app.tools.confirm_run import ConfirmRun, is_held_enter, is_run_key
from app.tools.curves import FloorTool, NasalFloor, SinusFloor
from app.tools.picking import OFF_MM
from core.bone.found_floor import FloorLine, FloorSite, FoundFloor, floor_around
from core.distances.drilling import UNKNOWN_TIP_MM
from core.drawing import Dot, Label, Line
from core.errors import PlanError
from core.geometry import Array
from core.identity import Tooth, thing_words
from core.measurement import Note
from core.plans import edit, edit_marks
from core.plans.plan import Plan
from core.structures import Floor
from core.words.catalogue import message, say, together

FRONT_TEETH = 3
"""Above these stands the nose, further back the sinus."""


class FindFloor(FloorTool):
    """One click on a floor, and what is seen of it around there is found in the image."""

    name = "Find floor"
    words = message("tools.names.find-floor")

    def __init__(self, session: Session, desk: Desk) -> None:
        super().__init__(session, desk)
        self.which: type[FloorTool] = SinusFloor
        self.proposed: tuple[FloorLine, ...] = ()
        self._click: Array | None = None
        self._site: FloorSite | None = None
        self._confirmed: list[int] = []
        self._before = 0
        self._finding = Latest(self._found, desk.tell_error, parent=session)
        self.run_all = ConfirmRun(session, self._confirm_shown)
        session.scan_changed.connect(self._forget)

    # -- what it is doing ------------------------------------------------------------------

    def hint(self) -> str:
        """What a click or Enter does now."""
        if self.proposed:
            number, count = len(self._confirmed_now()) + 1, len(self.proposed)
            return say("tools.find_floor.confirm", number=number, count=count)
        return say("tools.find_floor.click")

    def start(self) -> None:
        """Which floor: the one that was asked for, that is selected, or that the tooth expects."""
        self._forget()
        super().start()
        floor = edit.find(self.session.plan, self._active)
        if isinstance(floor, Floor):
            nasal = floor.of == NasalFloor.kind
        elif self.wanted:
            nasal = self.wanted.startswith(NasalFloor.kind)
        else:
            tooth = self.session.tooth_here
            nasal = bool(tooth) and Tooth.of(tooth).position <= FRONT_TEETH
        self.which = NasalFloor if nasal else SinusFloor

    def stop(self) -> None:
        """Another tool: what was confirmed stays, the rest was never there."""
        self._forget()
        super().stop()

    def stem_of_new(self) -> str:
        """Of the floor that is looked for."""
        return self.which.stem

    def new(self, structure_id: str, point_mm: Array) -> Floor:
        """The floor with its first mark."""
        return Floor(id=structure_id, of=self.which.kind, points=point_mm[None, :])

    # -- clicks ----------------------------------------------------------------------------

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
        """Shift + Enter: each section is confirmed while the pictures run along."""
        if is_run_key(event) and self.proposed:
            self.run_all.start()
            self.desk.say(say("tools.confirm_run.runs"))
            return True
        return super().extra_key(event)

    def _confirm_shown(self) -> bool:
        """Confirm the section that stood in view."""
        before = len(self._confirmed_now())
        self.finish()
        return bool(self.proposed) and len(self._confirmed_now()) > before

    def place(self, view: View, hit: Hit) -> None:
        """Look for the floor around the click; while it is proposed, a click is a mark by hand."""
        volume, arch, plan = self.session.volume, self.session.arch, self.session.plan
        if volume is None or arch is None or plan.known_jaw != "upper":
            self.desk.say(say("tools.find_floor.only-upper"))
            return
        if self.proposed:
            self._by_hand(hit.point_mm)
            return
        self._click = click = hit.point_mm
        self._site = site = self._site_beside(click)
        points = plan.tissue_points
        self.desk.say(say("tools.find_floor.looking"))
        self._finding.ask(
            lambda task: floor_around(
                volume, arch, click, points, site=site, cancelled=task.cancelled
            )
        )

    def finish(self) -> bool:
        """Enter: the marks of the section that is shown are confirmed."""
        if not self.proposed:
            return super().finish()
        done = self._confirmed_now()
        line = self.proposed[len(done)]
        try:
            plan = self.session.plan
            for point in line.points_mm:
                plan = self._with(plan, point)
        except PlanError as error:
            self.desk.tell_error(error)
            return True
        floor, count = thing_words(self._active), len(line.points_mm)
        if not self.do(
            message("tools.find_floor.confirmed", floor=floor, count=count), lambda _: plan
        ):
            return True
        done.append(count)
        self.session.go_to(selected=self._active)
        if len(done) == len(self.proposed):
            self.proposed, self._confirmed = (), []
            self._all_confirmed(say("tools.find_floor.all-confirmed", floor=floor, count=len(done)))
        else:
            self._go_to_next()
        return True

    def _all_confirmed(self, words: str) -> None:
        """Lead on; where the fixture wants more than was seen, there, and say what."""
        site, floor = self._site, edit.find(self.session.plan, self._active)
        lacks = site.lacks(floor.points) if site and isinstance(floor, Floor) else ()
        if not lacks or site is None:
            self.desk.say(words, undo=True)
            if self.wanted:
                self.desk.lead_on()
            return
        note = lacks[0].note(self._active, site.frame)
        self.desk.say(together(words, say("tools.find_floor.unseen"), note.message), undo=True)
        if self.session.arch is not None:
            here = self.session.arch.station(lacks[0].place_mm(site.solid))
            self.session.go_to(station_mm=here, across=True)

    def _site_beside(self, click_mm: Array) -> FloorSite | None:
        """The fixture that a click is meant for."""
        fixture, arch = self.session.fixture, self.session.arch
        if fixture is None or arch is None:
            return None
        try:
            site = FloorSite.of(fixture, arch, tip_mm=UNKNOWN_TIP_MM)
        except PlanError:
            return None
        return site if site.is_beside(click_mm) else None

    def give_up(self) -> bool:
        """Esc: drop what was not confirmed."""
        had = bool(self.proposed) or self._click is not None
        if self.proposed:
            self.desk.say(say("tools.follow_canal.dropped"))
        self._forget()
        return had

    # -- found -----------------------------------------------------------------------------

    def _found(self, found: FoundFloor | Note) -> None:
        click, self._click = self._click, None
        lines = () if isinstance(found, Note) else found.lines(self._site)
        if not lines:
            # A person saw the floor there: the mark stays, and nothing more is proposed.
            if click is not None:
                self._by_hand(click)
            note = found if isinstance(found, Note) else Note("floor-not-found")
            self.desk.say(note.message)
            return
        self.proposed, self._confirmed = lines, []
        floor = edit.find(self.session.plan, self._active)
        self._before = len(floor.points) if isinstance(floor, Floor) else 0
        self.desk.say(say("tools.find_floor.found", count=len(lines)))
        self._go_to_next()

    def _confirmed_now(self) -> list[int]:
        """Marks of each section that was confirmed and not undone since."""
        floor = edit.find(self.session.plan, self._active)
        there = len(floor.points) - self._before if isinstance(floor, Floor) else 0
        while self._confirmed and sum(self._confirmed) > there:
            self._confirmed.pop()
        return self._confirmed

    def _by_hand(self, point_mm: Array) -> None:
        if self._add(point_mm):
            self._before += 1

    def _with(self, plan: Plan, point_mm: Array) -> Plan:
        floor = edit.find(plan, self._active)
        if isinstance(floor, Floor) and self._side(floor.points[0]) == self._side(point_mm):
            return edit_marks.with_mark_added(plan, self._active, point_mm, by_course=False)[0]
        self._active = edit.new_id(plan, f"{self.which.stem}-{self._side(point_mm)}")
        self._before = 0
        return edit.with_structure(plan, self.new(self._active, point_mm))

    def _go_to_next(self) -> None:
        line = self.proposed[len(self._confirmed_now())]
        self.session.go_to(station_mm=line.station_mm, across=True)
        self.desk.redraw()

    def _forget(self) -> None:
        self._finding.drop()
        self.run_all.stop()
        self.proposed, self._confirmed, self._click = (), [], None

    def _is_mine(self, thing: object) -> bool:
        return isinstance(thing, Floor)

    # -- drawing ---------------------------------------------------------------------------

    def extra_draft(self, view: View) -> Draft:
        """What is proposed and not confirmed, drawn as what it is."""
        if not view.has_picture or not self.proposed:
            return Draft()
        shown = self.proposed[len(self._confirmed_now())].station_mm
        here = view.station_mm if view.kind == "section" else None
        if here is not None and abs(here - shown) < OFF_MM["section"]:
            self.run_all.shown()
        lines: list[Line] = []
        dots: list[Dot] = []
        labels: tuple[Label, ...] = ()
        for each in self.proposed[len(self._confirmed_now()) :]:
            uv = view.uv_mm(each.line_mm)
            crosses = view.kind in ("section", "neighbour")
            if crosses and float(np.abs(uv[:, 2]).max()) > OFF_MM[view.kind]:
                continue
            lines.append(Line(style="proposed", points=uv[:, :2]))
            if not crosses:
                continue
            marks = view.uv_mm(each.points_mm)
            dots += [Dot(at=(float(u), float(v))) for u, v in marks[:, :2]]
            if view.kind == "section":
                over = (float(uv[:, 0].mean()), float(uv[:, 1].max() + 16 * view.mm_per_pixel()))
                words = say("tools.follow_canal.proposed")
                labels = (Label(text=words, at=over, style="name"),)
        return Draft(lines=tuple(lines), dots=tuple(dots), labels=labels)
