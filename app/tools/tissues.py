"""Points at soft tissue, cortical bone and marrow, for a scan that does not show their levels."""

from __future__ import annotations

from app.pictures.hit import Hit
from app.tools.base import View
from app.tools.collect import Collect
from core.geometry import Array
from core.plans.plan import TISSUES
from core.plans.tissue_points import with_tissues
from core.words import sentence


class PointAtTissues(Collect):
    """Three clicks in turn, one a tissue; a new round drops the one before."""

    name = "Tissues"
    group = "Mark"
    kinds = frozenset({"tissue"})
    steps = (
        "in the middle of soft tissue: cheek, lip or tongue, not air",
        "in cortical bone where it is thickest, such as the lower border",
        "in the marrow inside the bone, away from teeth and canal",
    )

    def hint(self) -> str:
        """Which tissue comes next, and how the places are dropped."""
        drop = "" if self.collected or not self.marks() else " Del on a chosen place drops all."
        return f"{super().hint()}{drop}"

    def place(self, view: View, hit: Hit) -> None:
        """One more place, if it was scanned: what was not scanned has no brightness."""
        volume = self.session.volume
        if volume is not None and not volume.scanned_at(hit.point_mm[None, :]).all():
            tissue = TISSUES[len(self.collected)]
            self.desk.say(sentence("mark-not-accepted", {"mark": f"The place of {tissue}"}))
            return
        super().place(view, hit)

    def complete(self, marks_mm: Array) -> None:
        """Into the plan; what they are worth is found when it is measured."""
        places = dict(zip(TISSUES, marks_mm, strict=True))
        self.do("pointed at soft tissue, cortex and marrow", lambda p: with_tissues(p, places))
