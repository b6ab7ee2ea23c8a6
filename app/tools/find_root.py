"""Finds a root around one click: proposed with its size, and confirmed by Enter."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from PySide6.QtCore import Qt
from PySide6.QtGui import QKeyEvent

from app.background.tasks import Task
from app.case.session import Session
from app.case.settings import settings_of
from app.pictures.draft import Draft
from app.tools.base import Desk, View
from app.tools.picking import OFF_MM
from app.tools.prompts import likely_here
from app.tools.propose_one import ProposeOne
from app.tools.teeth import Root
from core.bone.found_root import FoundRoot, root_around
from core.drawing import Dot, Label, Line
from core.geometry import Array
from core.identity import Tooth
from core.measurement import Note
from core.plans.plan import Jaw
from core.tooth_entry import number_of
from core.words.catalogue import message, say, together
from core.words.numbers import Figure

BESIDE_PX = 42
"""From the outline to the middle of its name."""


class FindRoot(ProposeOne[FoundRoot], Root):
    """One click in a root, and its axis, length and diameters are found in the image."""

    name = "Find root"
    words = message("tools.names.find-root")
    folded = False
    click_words = message("tools.find_root.click")
    confirm_words = message("tools.find_root.confirm")
    looking_words = message("tools.find_root.looking")

    def __init__(self, session: Session, desk: Desk) -> None:
        super().__init__(session, desk)
        self._other_tooth = ""

    def hint(self) -> str:
        """Whose root Enter makes of it, where that is plain."""
        found = self.proposed
        tooth = "" if found is None else self.shown_tooth(found.marks_mm)
        if not tooth:
            return super().hint()
        return say("tools.find_root.confirm-of", tooth=self._number(tooth))

    def extra_key(self, event: QKeyEvent) -> bool:
        """T: the proposed root is another tooth's."""
        found = self.proposed
        if found is None or event.key() != Qt.Key.Key_T or event.modifiers():
            return super().extra_key(event)
        self._other_tooth = self.ask_whose(found.marks_mm) or self._other_tooth
        self.desk.redraw()
        return True

    def shown_tooth(self, marks_mm: Array) -> str:
        """As typed, as it was led to, or as the named tooth beside it tells; shown at its neck."""
        likely = likely_here(self.session, marks_mm[0])
        plain = "" if likely is None else likely.tooth.iso
        return self._other_tooth or super().shown_tooth(marks_mm) or plain

    def _number(self, tooth: str) -> str:
        return number_of(Tooth.of(tooth), settings_of(self.session).value.numbering)

    def search(self, jaw: Jaw, click_mm: Array) -> Callable[[Task], FoundRoot | Note] | None:
        """Around a click in either jaw."""
        volume, arch = self.session.volume, self.session.arch
        points = self.session.plan.tissue_points
        self._other_tooth = ""
        if volume is None or arch is None:
            return None
        return lambda task: root_around(
            volume, arch, jaw, click_mm, points, cancelled=task.cancelled
        )

    def confirm(self, found: FoundRoot) -> bool:
        """A root of two marks and two diameters; whose it is is asked where nobody was led here."""
        return self.make(found.marks_mm, found.mark_diameters_mm)

    def words_of(self, found: FoundRoot) -> str:
        """Length and diameters."""
        neck, apex = found.diameters_mm
        fields = {
            "length": Figure(f"{found.length_mm:.1f}"),
            "neck": Figure(f"{neck:.1f}"),
            "apex": Figure(f"{apex:.1f}"),
            "sd": Figure(f"{2.0 * found.diameter_sd_mm:.1f}"),
        }
        oval = ""
        if found.is_oval:
            oval = say("tools.find_root.oval", more=Figure(f"{found.oval_mm:.1f}"))
        return together(say("tools.find_root.found", **fields), oval)

    def station_of(self, found: FoundRoot) -> float:
        """The section through its middle."""
        arch = self.session.arch
        middle = 0.5 * (found.neck_mm + found.apex_mm)
        return self.session.station_mm if arch is None else arch.station(middle)

    # -- drawing ---------------------------------------------------------------------------

    def extra_draft(self, view: View) -> Draft:
        """What is proposed and not confirmed, drawn as what it is."""
        found = self.proposed
        if found is None or not view.has_picture:
            return Draft()
        ends = view.uv_mm(found.marks_mm)
        radii = 0.5 * np.array(found.mark_diameters_mm)
        crosses = view.kind in ("section", "neighbour")
        if crosses and float(np.abs(ends[:, 2]).min()) > max(float(radii.max()), OFF_MM[view.kind]):
            return Draft()
        lines = (Line(style="proposed", points=_outline(ends[:, :2], radii)),)
        if view.kind == "arch map":
            return Draft(lines=lines)
        dots = tuple(Dot(at=(float(u), float(v))) for u, v in ends[:, :2])
        labels: tuple[Label, ...] = ()
        if view.kind == "section":
            # Beside the neck: below the apex the canal may lie, which nobody proposed.
            beside = float(ends[0, 0] + radii[0] + BESIDE_PX * view.mm_per_pixel())
            tooth = self.shown_tooth(found.marks_mm)
            words = say("tools.follow_canal.proposed")
            if tooth:
                words = say("tools.find_root.proposed-of", tooth=self._number(tooth))
            labels = (Label(text=words, at=(beside, float(ends[0, 1])), style="name"),)
        return Draft(lines=lines, dots=dots, labels=labels, compares=True)


def _outline(ends_uv: Array, radii: Array) -> Array:
    """(n, 2) outline of two balls and what lies between them, closed: what will be marked."""
    way = ends_uv[1] - ends_uv[0]
    length = float(np.linalg.norm(way))
    taper = (radii[0] - radii[1]) / max(length, 1e-9)
    if abs(taper) >= 1.0:
        # Seen along its axis: the smaller ball lies within the larger one.
        turn = np.linspace(0.0, 2.0 * np.pi, 33)
        middle = ends_uv[int(np.argmax(radii))]
        return np.asarray(middle + radii.max() * np.stack([np.cos(turn), np.sin(turn)], axis=1))
    along = way / length
    beside = np.array([-along[1], along[0]])
    # From the axis, where the straight sides leave both balls.
    leaves = float(np.arccos(taper))
    last = np.linspace(leaves, -leaves, 17)
    first = np.linspace(-leaves, leaves - 2.0 * np.pi, 17)
    arcs = [
        end + radius * (np.cos(turn)[:, None] * along + np.sin(turn)[:, None] * beside)
        for end, radius, turn in ((ends_uv[1], radii[1], last), (ends_uv[0], radii[0], first))
    ]
    return np.vstack([*arcs, arcs[0][:1]])
