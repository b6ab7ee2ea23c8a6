"""Single points: a mark, gum, stent's top, cusps, contacts, opponent, crest; and notes."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from typing import ClassVar

import numpy as np

from app.background.tasks import Latest
from app.case.session import Session
from app.case.settings import settings_of
from app.pictures.draft import Draft
from app.pictures.hit import Hit
from app.tools.base import Desk, View
from app.tools.mark_keys import KEYS_HINT, Grab
from app.tools.picking import OFF_MM, seen_in
from app.tools.prompts import ask_tooth, facing_here, likely_here
from app.widgets.shared_texts import tooth_words
from core.distances.drilling import NEAR_AXIS_MM, off_axis_mm
from core.drawing import Dot, Label, Line
from core.geometry import Array
from core.identity import thing_words
from core.marking.likely_tooth import LikelyTooth
from core.marking.near_edge import NearEdge, edge_near
from core.measuring.sheet_lacks import sheet_lacks
from core.plans import edit, edit_marks, notes
from core.plans.marks import Mark, mark_at
from core.plans.plan import Plan
from core.structures import PointMarks
from core.words.catalogue import Words, message, say
from core.words.numbers import Figure
from core.words.values import row_of

SAME_MM = 0.1
"""Nearer to the edge, a mark lies on it."""


class Spot(Grab):
    """Every click is one point."""

    group = "Mark"
    kind: ClassVar[str] = "mark"
    what: ClassVar[Words] = ""
    asks_tooth: ClassVar[bool] = False
    of_fixture: ClassVar[bool] = False
    """It belongs to the fixture that stands there, and to that one's tooth."""
    on_edge: ClassVar[bool] = False
    """It belongs on an edge in the picture: the nearest one is offered."""

    def __init__(self, session: Session, desk: Desk) -> None:
        super().__init__(session, desk)
        self._offers: list[tuple[Mark, NearEdge]] = []
        self._mark: Mark | None = None
        self._seeking = Latest(self._found, desk.tell_error, parent=session)

    @property
    def edge(self) -> NearEdge | None:
        """The edge that is offered last; None where none is."""
        standing = self._standing()
        return standing[-1][1] if standing else None

    def hint(self) -> str:
        """What a click marks."""
        return say("tools.point_marks.click", what=self.what, keys_hint=KEYS_HINT)

    def stop(self) -> None:
        """Another tool: what was not taken was never offered."""
        self._drop()
        super().stop()

    def still_wanted(self) -> bool:
        """True while more of what a person was led to is missing."""
        return False

    def place(self, view: View, hit: Hit) -> None:
        """One more point."""
        tooth = ""
        if self.asks_tooth:
            answer = self._whose(hit.point_mm)
            if answer is None:
                return
            tooth = answer
        if self.of_fixture:
            answer = self._fixtures_tooth(hit.point_mm)
            if answer is None:
                return
            tooth = answer
        plan = self.session.plan
        stem = self.kind.replace("_", "-")
        new_id = edit.numbered_id(plan, f"{stem}-{tooth}" if tooth else stem)
        spot = PointMarks(id=new_id, kind=self.kind, points=hit.point_mm[None, :], tooth=tooth)
        name = thing_words(new_id)
        if self.do(
            message("tools.point_marks.placed", name=name), lambda p: edit.with_structure(p, spot)
        ):
            self.chosen = ("structure", new_id, "0")
            self.session.go_to(selected=new_id)
            if not self.wanted:
                self._drop()
            if self.on_edge:
                self._seek(view, hit)

    def likely(self, at_mm: Array) -> LikelyTooth | None:
        """The tooth that is proposed for a mark; None where it is not plain."""
        return likely_here(self.session, at_mm)

    def _whose(self, at_mm: Array) -> str | None:
        """Whose mark it is: plain where a person was led to it, else asked; None: turned away."""
        likely = self.likely(at_mm)
        if self.wanted and likely is not None:
            return likely.tooth.iso
        question = say("tools.point_marks.of-which-tooth", tool=self.title())
        return ask_tooth(self.session, self.desk, question, may_be_empty=True, likely=likely)

    # -- the edge beside it ------------------------------------------------------------------

    def finish(self) -> bool:
        """Enter: what was just placed moves onto the edges that are offered."""
        offers = self._standing()
        self._drop()
        if not offers:
            return False
        words = row_of([mark.words() for mark, _ in offers])
        off = row_of([Figure(f"{edge.off_mm:.1f}") for _, edge in offers])

        def onto_edges(plan: Plan) -> Plan:
            for mark, edge in offers:
                plan = edit_marks.with_mark_moved(plan, mark, edge.point_mm)
            return plan

        self.do(message("tools.point_marks.onto-edge", words=words, off=off), onto_edges)
        self._lead_on()
        return True

    def give_up(self) -> bool:
        """Esc: marks stay where they were clicked."""
        had = bool(self._standing())
        self._drop()
        if had:
            self._lead_on()
        return had

    def extra_draft(self, view: View) -> Draft:
        """From each mark to the edge that is offered, drawn as proposed."""
        draft = Draft()
        for mark, edge in self._standing() if view.has_picture else ():
            uv = view.uv_mm(np.stack([mark.point_mm, edge.point_mm]))
            if float(np.abs(uv[:, 2]).max()) > OFF_MM[view.kind]:
                continue
            end = (float(uv[1, 0]), float(uv[1, 1]))
            line = Line(style="proposed", points=uv[:, :2])
            draft = replace(draft, lines=(*draft.lines, line), dots=(*draft.dots, Dot(at=end)))
        return draft

    def _seek(self, view: View, hit: Hit) -> None:
        """Look for the nearest edge in the picture that was clicked in."""
        volume, at = self.session.volume, hit.point_mm
        if volume is None:
            return
        self._mark = self.chosen_mark()
        u, v = hit.uv_mm
        right, up = view.point_mm(u + 1.0, v) - at, view.point_mm(u, v + 1.0) - at
        self._seeking.ask(lambda _task: edge_near(volume, at, right, up))

    def _found(self, edge: NearEdge | None) -> None:
        mark, self._mark = self._mark, None
        if mark is None or not self._lies_there(mark):
            return
        if edge is not None and edge.off_mm >= SAME_MM:
            self._offers.append((mark, edge))
            off = Figure(f"{edge.off_mm:.1f}")
            self.desk.say(say("tools.point_marks.edge-near", words=mark.words(), off=off))
            self.desk.redraw()
        elif not self._standing():
            self._lead_on()

    def _lead_on(self) -> None:
        """On to what is missing next, once all of what a person was led to is there."""
        if self.wanted and not self.still_wanted():
            self.desk.lead_on()

    def _standing(self) -> list[tuple[Mark, NearEdge]]:
        """What is offered to marks that still lie where they were clicked."""
        return [offer for offer in self._offers if self._lies_there(offer[0])]

    def _lies_there(self, mark: Mark) -> bool:
        now = mark_at(self.session.plan, mark.key)
        return now is not None and np.array_equal(now.point_mm, mark.point_mm)

    def _drop(self) -> None:
        self._seeking.drop()
        self._offers, self._mark = [], None

    def _fixtures_tooth(self, point_mm: Array) -> str | None:
        """Tooth of the one fixture that stands there; asked where there are several.

        Empty where no fixture stands there yet; None: turned away.
        """
        near = [
            f.tooth for f in self.session.plan.fixtures
            if off_axis_mm(f, point_mm[None, :]) < NEAR_AXIS_MM
        ]  # fmt: skip
        if len(near) < 2:
            return near[0] if near else ""
        numbering = settings_of(self.session).value.numbering
        answers = {tooth_words(tooth, numbering): tooth for tooth in near if tooth}
        question = say("tools.point_marks.of-which-tooth", tool=self.title())
        chosen = self.desk.choose(self.title(), question, tuple(answers))
        return None if chosen is None else answers[chosen]


class PointMark(Spot):
    """A point of the person's own."""

    name = kind = "mark"
    words = message("tools.names.mark")
    folded = True
    kinds = frozenset({"mark"})
    what = message("tools.point_marks.a-mark-of-your-own")


class Gum(Spot):
    """The gum's surface."""

    name = kind = "gum"
    folded = True
    kinds = frozenset({"gum"})
    what = message("tools.point_marks.the-gums-surface-on-the")
    of_fixture = True
    on_edge = True


class StentTop(Spot):
    """The stent's top."""

    name = kind = "stent_top"
    folded = True
    kinds = frozenset({"stent_top"})
    what = message("tools.point_marks.the-stents-top-on-the")
    of_fixture = True


class Cusp(Spot):
    """Cusps of the neighbours."""

    name = kind = "cusp"
    folded = True
    kinds = frozenset({"cusp"})
    what = message("tools.point_marks.the-tip-of-a-cusp")
    asks_tooth = True


class Contact(Spot):
    """Facing surfaces of the neighbours."""

    name = kind = "contact"
    folded = True
    kinds = frozenset({"contact"})
    what = message("tools.point_marks.the-surface-of-a-neighbour")
    asks_tooth = True
    on_edge = True

    def likely(self, at_mm: Array) -> LikelyTooth | None:
        """The neighbour that faces the site."""
        return facing_here(self.session, at_mm)

    def hint(self) -> str:
        """Led here, both neighbours are clicked one after the other."""
        return say("tools.point_marks.both-contacts") if self.wanted else super().hint()

    def still_wanted(self) -> bool:
        """One on each side where a neighbour stands."""
        session, fixture, arch = self.session, self.session.fixture, self.session.arch
        if fixture is None or arch is None:
            return False
        lacks = sheet_lacks(session.plan, arch, fixture)
        return any(lack.name == "contacts" for lack in lacks)


class Opponent(Spot):
    """The opposing tooth."""

    name = kind = "opponent"
    folded = True
    kinds = frozenset({"opponent"})
    what = message("tools.point_marks.the-opposing-tooth-where-it")


class CrestMark(Spot):
    """The bone's crest beside a tooth, where the image shows the tooth alone."""

    name = kind = "crest"
    folded = True
    kinds = frozenset({"crest"})
    what = message("tools.point_marks.the-edge-of-the-bone")
    on_edge = True


class Note(Grab):
    """A note at a place; it is kept in the plan and printed in the log."""

    name = "Note"
    words = message("tools.names.note")
    folded = True
    group = "Mark"
    kinds = frozenset({"note"})

    def hint(self) -> str:
        """What a click does."""
        return say("tools.point_marks.click-where-the-note-belongs", keys_hint=KEYS_HINT)

    def place(self, view: View, hit: Hit) -> None:
        """Ask for the words."""
        words = self.desk.ask_text("Note", say("tools.point_marks.what-is-to-be-remembered"))
        if words is None or not words.strip():
            return
        now = datetime.now(UTC).astimezone().isoformat(timespec="seconds")
        if self.do(
            message("tools.point_marks.note-written"),
            lambda p: notes.with_note(p, words, hit.point_mm, at=now),
        ):
            self.choose(self.marks()[-1])

    def extra_draft(self, view: View) -> Draft:
        """What the notes say, beside their places; the small neighbours have no room for it."""
        if view.kind == "neighbour":
            return Draft()
        up = 22 * view.mm_per_pixel()
        chosen = self.chosen_mark()
        labels = [
            Label(text=seen.mark.text, at=(seen.at[0], seen.at[1] + up), style="name")
            for seen in seen_in(view, self.marks())
            # The chosen one has its name beside it already.
            if chosen is None or seen.mark.key != chosen.key
        ]
        return Draft(labels=tuple(labels))
