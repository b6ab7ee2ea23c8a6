"""Finds the mental foramen around one click: proposed, and confirmed by Enter."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from app.background.tasks import Task
from app.pictures.draft import Draft
from app.tools.base import View
from app.tools.picking import OFF_MM
from app.tools.propose_one import ProposeOne
from app.tools.teeth import ForamenTool
from core.bone.found_foramen import FoundForamen, foramen_around
from core.drawing import Dot, Label, Line
from core.geometry import Array
from core.measurement import Note
from core.plans.plan import Jaw
from core.words.catalogue import message, say
from core.words.numbers import Figure


class FindForamen(ProposeOne[FoundForamen], ForamenTool):
    """One click on the foramen, and its edges are found in the cheek's plate."""

    name = "Find foramen"
    words = message("tools.names.find-foramen")
    folded = False
    click_words = message("tools.find_foramen.click")
    confirm_words = message("tools.find_foramen.confirm")
    looking_words = message("tools.find_foramen.looking")

    def search(self, jaw: Jaw, click_mm: Array) -> Callable[[Task], FoundForamen | Note] | None:
        """Around a click in the lower jaw."""
        volume, arch = self.session.volume, self.session.arch
        points = self.session.plan.tissue_points
        if jaw != "lower":
            self.desk.say(say("tools.find_foramen.only-lower"))
            return None
        if volume is None or arch is None:
            return None
        return lambda task: foramen_around(volume, arch, click_mm, points, cancelled=task.cancelled)

    def confirm(self, found: FoundForamen) -> bool:
        """A foramen of three marks."""
        return self.make(found.marks_mm)

    def words_of(self, found: FoundForamen) -> str:
        """How wide it is."""
        return say("tools.find_foramen.found", width=Figure(f"{found.width_mm:.1f}"))

    def station_of(self, found: FoundForamen) -> float:
        """The section through its middle."""
        return found.station_mm

    def extra_draft(self, view: View) -> Draft:
        """Its rim and its edges, drawn as proposed."""
        found = self.proposed
        if found is None or not view.has_picture:
            return Draft()
        rim, marks = view.uv_mm(found.outline_mm), view.uv_mm(found.marks_mm)
        if view.kind not in ("section", "neighbour"):
            return Draft(lines=(Line(style="proposed", points=rim[:, :2]),))
        inside = np.abs(rim[:, 2]) <= OFF_MM[view.kind]
        if not inside.any():
            return Draft()
        # A section cuts the rim above and below: the way between is the opening.
        low, high = (rim[inside][int(n(rim[inside][:, 1])), :2] for n in (np.argmin, np.argmax))
        near = np.abs(marks[:, 2]) <= OFF_MM[view.kind]
        labels: tuple[Label, ...] = ()
        if view.kind == "section":
            over = (float(high[0]), float(high[1] + 16 * view.mm_per_pixel()))
            labels = (Label(text=say("tools.follow_canal.proposed"), at=over, style="name"),)
        return Draft(
            lines=(Line(style="proposed", points=np.stack([low, high])),),
            dots=tuple(Dot(at=(float(u), float(v))) for u, v in marks[near, :2]),
            labels=labels,
            compares=True,
        )
