"""Single points: a mark, gum, stent's top, cusps, contacts, opponent, crest; and notes."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import ClassVar

from app.case.settings import settings_of
from app.pictures.draft import Draft
from app.pictures.hit import Hit
from app.tools.base import View
from app.tools.mark_keys import KEYS_HINT, Grab
from app.tools.names import TOOL_WORDS
from app.tools.picking import seen_in
from app.tools.prompts import ask_tooth
from app.widgets.shared_texts import tooth_words
from core.distances.drilling import NEAR_AXIS_MM, off_axis_mm
from core.drawing import Label
from core.geometry import Array
from core.identity import thing_words
from core.plans import edit, notes
from core.structures import PointMarks
from core.words.catalogue import Words, message, say


class Spot(Grab):
    """Every click is one point."""

    group = "Mark"
    kind: ClassVar[str] = "mark"
    what: ClassVar[Words] = ""
    asks_tooth: ClassVar[bool] = False
    of_fixture: ClassVar[bool] = False
    """It belongs to the fixture that stands there, and to that one's tooth."""

    def hint(self) -> str:
        """What a click marks."""
        return say("tools.point_marks.click", what=self.what, keys_hint=KEYS_HINT)

    def place(self, view: View, hit: Hit) -> None:
        """One more point."""
        tooth = ""
        if self.asks_tooth:
            answer = ask_tooth(
                self.session,
                self.desk,
                say("tools.point_marks.of-which-tooth", tool=TOOL_WORDS[self.name]),
                may_be_empty=True,
            )
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
        question = say("tools.point_marks.of-which-tooth", tool=TOOL_WORDS[self.name])
        chosen = self.desk.choose(str(TOOL_WORDS[self.name]), question, tuple(answers))
        return None if chosen is None else answers[chosen]


class PointMark(Spot):
    """A point of the person's own."""

    name = "Mark"
    kinds = frozenset({"mark"})
    kind = "mark"
    what = message("tools.point_marks.a-mark-of-your-own")


class Gum(Spot):
    """The gum's surface."""

    name = "Gum"
    kinds = frozenset({"gum"})
    kind = "gum"
    what = message("tools.point_marks.the-gums-surface-on-the")
    of_fixture = True


class StentTop(Spot):
    """The stent's top."""

    name = "Stent top"
    kinds = frozenset({"stent_top"})
    kind = "stent_top"
    what = message("tools.point_marks.the-stents-top-on-the")
    of_fixture = True


class Cusp(Spot):
    """Cusps of the neighbours."""

    name = "Cusp"
    kinds = frozenset({"cusp"})
    kind = "cusp"
    what = message("tools.point_marks.the-tip-of-a-cusp")
    asks_tooth = True


class Contact(Spot):
    """Facing surfaces of the neighbours."""

    name = "Contact"
    kinds = frozenset({"contact"})
    kind = "contact"
    what = message("tools.point_marks.the-surface-of-a-neighbour")
    asks_tooth = True


class Opponent(Spot):
    """The opposing tooth."""

    name = "Opponent"
    kinds = frozenset({"opponent"})
    kind = "opponent"
    what = message("tools.point_marks.the-opposing-tooth-where-it")


class CrestMark(Spot):
    """The bone's crest beside a tooth, where the image shows the tooth alone."""

    name = "Crest"
    kinds = frozenset({"crest"})
    kind = "crest"
    what = message("tools.point_marks.the-edge-of-the-bone")


class Note(Grab):
    """A note at a place; it is kept in the plan and printed in the log."""

    name = "Note"
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
