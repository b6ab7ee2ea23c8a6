"""Placing: a new fixture, and taking hold of anything that is there."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from app.case.settings import settings_of
from app.pictures.draft import Draft
from app.pictures.hit import Hit
from app.tools.base import View
from app.tools.fixture_hands import FIXTURE_KEYS, FixtureHands
from app.tools.prompts import ask_tooth, likely_here
from core.errors import PlanError
from core.fixture import FixtureSize
from core.kinds import FILE_KINDS
from core.plans import edit_pose
from core.plans.sizes import ListedSize
from core.words.catalogue import message, say

FIRST_SIZE = FixtureSize(diameter_mm=4.0, length_mm=10.0)
"""Of a plan's first fixture, where the user's list has it. No recommendation."""


def first_size(sizes: Sequence[ListedSize]) -> FixtureSize:
    """Size of a plan's first fixture, one of the user's own; later ones take the one before's."""
    listed = [each.size for each in sizes]
    return FIRST_SIZE if FIRST_SIZE in listed or not listed else listed[0]


EVERY_KIND = frozenset({*FILE_KINDS, "stent axis", "ruler", "angle", "midline", "note"})


class PlaceFixture(FixtureHands):
    """A click drops a fixture with its platform there; then everything can be adjusted."""

    name = "Fixture"
    words = message("tools.names.fixture")
    group = "Place"

    def hint(self) -> str:
        """What a click does."""
        return say("tools.fixture.click-in-a-section-a")

    def place(self, view: View, hit: Hit) -> None:
        """Drop a fixture: along the stent axis where there is one, else across the jaw plane."""
        session = self.session
        try:
            towards_apex, along = edit_pose.axis_at(session.plan, hit.point_mm)
        except PlanError as error:
            self.desk.tell_error(error)
            return
        tooth = ask_tooth(
            session, self.desk, say("tools.fixture.which-tooth-is-it-for"), session.tooth_here,
            at_mm=hit.point_mm, may_be_empty=True, likely=likely_here(session, hit.point_mm),
        )  # fmt: skip
        if tooth is None:
            return
        before = session.fixture
        _, fixture = edit_pose.with_new_fixture(
            session.plan,
            tooth=tooth,
            platform=hit.point_mm,
            towards_apex=towards_apex,
            size=first_size(settings_of(session).value.sizes) if before is None else before.size,
        )
        self.chosen = None
        if self.do(
            message("tools.fixture.fixture-placed", id=fixture.id, along=along),
            lambda p: edit_pose.with_new_fixture(
                p,
                tooth=tooth,
                platform=fixture.platform,
                towards_apex=fixture.towards_apex,
                size=fixture.size,
            )[0],
        ):
            session.go_to(selected=fixture.id)
            self.desk.ask_about_side(only_if_open=True)
            # A second click must not drop a second fixture by accident.
            self.desk.take_tool(Adjust.name)
            # Its distances say nothing before what they are measured to is marked.
            self.desk.lead_on()


class Adjust(FixtureHands):
    """Takes hold of every mark and fixture in every picture; places nothing."""

    name = "Adjust"
    words = message("tools.names.adjust")
    group = "Place"
    kinds = EVERY_KIND
    places_on = ()

    def hint(self) -> str:
        """What can be taken."""
        return say("tools.fixture.drag-any-mark-a-fixture", fixture_keys=FIXTURE_KEYS)

    def place_or_go(self, view: View, hit: Hit) -> None:
        """A click beside everything lets go of what was chosen."""
        self.choose(None)

    def draft(self, view: View) -> Draft:
        """In small pictures only what is chosen, until the mouse is there: handles hide much."""
        drawn = super().draft(view)
        if view.kind == "section" or (view is self.view and view.kind != "neighbour"):
            return drawn
        return replace(drawn, handles=tuple(h for h in drawn.handles if h.chosen))
