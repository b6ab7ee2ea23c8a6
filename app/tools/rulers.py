"""Ruler, angle and ridge: numbers that need no fixture."""

from __future__ import annotations

from app.pictures.hit import Hit
from app.tools.base import View
from app.tools.collect import Collect
from app.tools.prompts import ask_tooth, likely_here
from core.geometry import Array
from core.identity import thing_words
from core.measuring.rulers import angle_reading, ruler_reading
from core.plans import edit, edit_pose
from core.plans.plan import Site
from core.structures import AngleMark, Ruler
from core.trust.figures import down, nearest
from core.words.catalogue import message, say, together

HERE_MM = 2.0
"""A site this near to the section is the one that is looked at."""


class RulerTool(Collect):
    """A straight distance between two marks."""

    name = "Ruler"
    words = message("tools.names.ruler")
    group = "Measure"
    kinds = frozenset({"ruler"})
    steps = (message("tools.rulers.one-end-of-the-ruler"), message("tools.rulers.its-other-end"))
    places_on = ("section", "neighbour")

    def complete(self, marks_mm: Array) -> None:
        """Put it into the plan."""
        ruler = Ruler(id=edit.numbered_id(self.session.plan, "ruler"), points=marks_mm)
        value = ruler_reading(ruler).value
        if value is None:
            self.desk.say(say("tools.rulers.both-ends-lie-on-one"))
            return
        name = thing_words(ruler.id)
        if self.do(
            message("tools.rulers.ruler-set", name=name, mm=down(value, 1)),
            lambda p: edit.with_ruler(p, ruler),
        ):
            self.chosen = ("ruler", ruler.id, "1")


class AngleTool(Collect):
    """An angle between two arms."""

    name = "Angle"
    words = message("tools.names.angle")
    group = "Measure"
    kinds = frozenset({"angle"})
    steps = (
        message("tools.rulers.the-end-of-one-arm"),
        message("tools.rulers.the-corner"),
        message("tools.rulers.the-end-of-the-other"),
    )

    def complete(self, marks_mm: Array) -> None:
        """Put it into the plan."""
        try:
            angle = AngleMark(id=edit.numbered_id(self.session.plan, "angle"), points=marks_mm)
        except ValueError:
            self.desk.say(say("tools.rulers.both-arms-of-an-angle"))
            return
        value = angle_reading(angle).value
        words = thing_words(angle.id)
        if value is not None:
            words = message("tools.rulers.angle-set", name=words, degrees=nearest(value, 1))
        if self.do(words, lambda p: edit.with_angle(p, angle)):
            self.chosen = ("angle", angle.id, "2")


class Ridge(Collect):
    """Width and height of the ridge at a site: two clicks and no fixture."""

    name = "Ridge"
    words = message("tools.names.ridge")
    group = "Measure"
    steps = (
        message("tools.rulers.the-ridge-on-its-cheek"),
        message("tools.rulers.the-ridge-on-its-tongue"),
    )

    def __init__(self, *args: object) -> None:
        super().__init__(*args)  # type: ignore[arg-type]
        self._station: float | None = None

    def hint(self) -> str:
        """With the key that takes a site away."""
        here = not self.collected and self._site_here() is not None
        return together(super().hint(), say("tools.rulers.del-deletes-the-site") if here else "")

    def delete(self) -> bool:
        """Delete the site that is looked at."""
        site = self._site_here()
        if site is None or self.collected:
            return super().delete()
        return self.do(
            message("tools.rulers.ridge-at-site-deleted", id=site.id),
            lambda p: edit_pose.without_site(p, site.id),
        )

    def _site_here(self) -> Site | None:
        """The nearest site within 2 mm of the section."""
        sites = self.session.plan.sites
        here = self.session.station_mm
        site = min(sites, key=lambda s: abs(s.station_mm - here), default=None)
        return site if site is not None and abs(site.station_mm - here) <= HERE_MM else None

    def place(self, view: View, hit: Hit) -> None:
        """Remember which section was clicked."""
        if not self.collected:
            self._station = view.station_mm
        elif self._station != view.station_mm:
            self._station = None
        super().place(view, hit)

    def complete(self, marks_mm: Array) -> None:
        """Make the site at that station; the ledger then says widths and height."""
        arch = self.session.arch
        if arch is None:
            self.desk.say(say("tools.rulers.there-is-no-arch-yet"))
            return
        station = self._station
        if station is None:
            station = sum(arch.station(mark) for mark in marks_mm) / len(marks_mm)
        at_mm = arch.frame(station).origin
        tooth = ask_tooth(
            self.session,
            self.desk,
            say("tools.rulers.which-tooth-is-to-stand"),
            self.session.tooth_here,
            at_mm=at_mm,
            may_be_empty=True,
            likely=likely_here(self.session, at_mm),
        )
        if tooth is None:
            return
        _, site = edit_pose.with_site(self.session.plan, station, tooth=tooth)
        if self.do(
            message("tools.rulers.ridge-measured-at-site", id=site.id),
            lambda p: edit_pose.with_site(p, station, tooth=tooth)[0],
        ):
            self.session.go_to(station_mm=station, across=True, selected=site.id)
