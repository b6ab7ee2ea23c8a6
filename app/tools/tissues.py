"""Points at soft tissue, cortical bone and marrow, for a scan that does not show their levels."""

from __future__ import annotations

from app.pictures.hit import Hit
from app.tools.base import View
from app.tools.collect import Collect
from core.geometry import Array
from core.plans.plan import TISSUES
from core.plans.tissue_points import with_tissues
from core.words import sentence
from core.words.catalogue import message, say, together


class PointAtTissues(Collect):
    """Three clicks in turn, one a tissue; a new round drops the one before."""

    name = "Tissues"
    words = message("tools.names.tissues")
    folded = True
    group = "Mark"
    kinds = frozenset({"tissue"})
    steps = (
        message("tools.tissues.in-the-middle-of-soft"),
        message("tools.tissues.in-cortical-bone-where-it"),
        message("tools.tissues.in-the-marrow-inside-the"),
    )

    def hint(self) -> str:
        """Which tissue comes next, and how the places are dropped."""
        drops = not self.collected and self.marks()
        return together(super().hint(), say("tools.tissues.drop") if drops else "")

    def place(self, view: View, hit: Hit) -> None:
        """One more place, if it was scanned: what was not scanned has no brightness."""
        volume = self.session.volume
        if volume is not None and not volume.scanned_at(hit.point_mm[None, :]).all():
            tissue = TISSUES[len(self.collected)]
            self.desk.say(
                sentence(
                    "mark-not-accepted", {"mark": say("tools.tissues.the-place-of", tissue=tissue)}
                )
            )
            return
        super().place(view, hit)

    def complete(self, marks_mm: Array) -> None:
        """Into the plan; what they are worth is found when it is measured."""
        places = dict(zip(TISSUES, marks_mm, strict=True))
        self.do(
            message("tools.tissues.pointed-at-soft-tissue-cortex"),
            lambda p: with_tissues(p, places),
        )
