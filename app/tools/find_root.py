"""Finds a root around one click: proposed with its size, and confirmed by Enter.

Nothing stands in the plan before it is confirmed. What is confirmed is a root like any other: two
marks and two diameters.
"""

from __future__ import annotations

import numpy as np

from app.background.tasks import Latest
from app.case.session import Session
from app.pictures.draft import Draft
from app.pictures.hit import Hit
from app.tools.base import Desk, View
from app.tools.picking import OFF_MM
from app.tools.teeth import Root
from core.bone.found_root import FoundRoot, root_around
from core.drawing import Dot, Label, Line
from core.geometry import Array
from core.measurement import Note
from core.words.catalogue import say, together
from core.words.numbers import Figure


class FindRoot(Root):
    """One click in a root, and its axis, length and diameters are found in the image."""

    name = "Find root"

    def __init__(self, session: Session, desk: Desk) -> None:
        super().__init__(session, desk)
        self.proposed: FoundRoot | None = None
        self.is_looking = False
        self._finding = Latest(self._found, desk.tell_error, parent=session)
        session.scan_changed.connect(self._forget)

    # -- what it is doing ------------------------------------------------------------------

    def hint(self) -> str:
        """What a click or Enter does now."""
        if self.proposed is not None:
            return say("tools.find_root.confirm")
        return say("tools.find_root.click")

    def busy(self) -> bool:
        """While a root is proposed, a click looks for another one."""
        return self.proposed is not None

    def start(self) -> None:
        """Nothing is left of another time."""
        self._forget()
        super().start()

    def stop(self) -> None:
        """Another tool: what was not confirmed was never there."""
        self._forget()
        super().stop()

    # -- clicks ----------------------------------------------------------------------------

    def place(self, view: View, hit: Hit) -> None:
        """Look for the root around the click."""
        volume, arch, plan = self.session.volume, self.session.arch, self.session.plan
        jaw = plan.known_jaw
        if volume is None or arch is None or jaw is None:
            self.desk.say(say("tools.find_root.no-jaw"))
            return
        self._forget()
        click, points = hit.point_mm, plan.tissue_points
        self.is_looking = True
        self.desk.say(say("tools.find_root.looking"))
        self._finding.ask(
            lambda task: root_around(volume, arch, jaw, click, points, cancelled=task.cancelled)
        )

    def finish(self) -> bool:
        """Enter: the root that is proposed is one."""
        if self.proposed is None:
            return False
        found, was_led = self.proposed, bool(self.wanted)
        if self.make(np.stack([found.neck_mm, found.apex_mm]), found.diameters_mm):
            self.proposed = None
            if was_led:
                self.desk.lead_on()
        return True

    def give_up(self) -> bool:
        """Esc: drop what was not confirmed."""
        had = self.proposed is not None or self.is_looking
        if self.proposed is not None:
            self.desk.say(say("tools.find_root.dropped"))
        self._forget()
        return had

    def take_back(self) -> None:
        """Right click: drop the proposal."""
        self.give_up()

    # -- found -----------------------------------------------------------------------------

    def _found(self, found: FoundRoot | Note) -> None:
        self.is_looking = False
        if isinstance(found, Note):
            self.desk.say(found.message)
            self.desk.redraw()
            return
        self.proposed = found
        self.desk.say(_words(found))
        arch = self.session.arch
        if arch is not None:
            middle = 0.5 * (found.neck_mm + found.apex_mm)
            self.session.go_to(station_mm=arch.station(middle), across=True)
        self.desk.redraw()

    def _forget(self) -> None:
        self._finding.drop()
        self.proposed, self.is_looking = None, False

    # -- drawing ---------------------------------------------------------------------------

    def extra_draft(self, view: View) -> Draft:
        """What is proposed and not confirmed, drawn as what it is."""
        found = self.proposed
        if found is None or not view.has_picture:
            return Draft()
        ends = view.uv_mm(np.stack([found.neck_mm, found.apex_mm]))
        radii = 0.5 * np.array(found.diameters_mm)
        crosses = view.kind in ("section", "neighbour")
        if crosses and float(np.abs(ends[:, 2]).min()) > max(float(radii.max()), OFF_MM[view.kind]):
            return Draft()
        lines = (Line(style="proposed", points=_outline(ends[:, :2], radii)),)
        if view.kind == "arch map":
            return Draft(lines=lines)
        dots = tuple(Dot(at=(float(u), float(v))) for u, v in ends[:, :2])
        labels: tuple[Label, ...] = ()
        if view.kind == "section":
            low = float(ends[:, 1].min() - radii.max() - 16 * view.mm_per_pixel())
            words = say("tools.follow_canal.proposed")
            labels = (Label(text=words, at=(float(ends[:, 0].mean()), low), style="name"),)
        return Draft(lines=lines, dots=dots, labels=labels)


def _outline(ends_uv: Array, radii: Array) -> Array:
    """(n, 2) outline of a tapered axis in a picture, closed; a ring where it is seen along."""
    way = ends_uv[1] - ends_uv[0]
    length = float(np.linalg.norm(way))
    if length < 0.5 * float(radii.max()):
        turn = np.linspace(0.0, 2.0 * np.pi, 33)
        return np.asarray(ends_uv[0] + radii.max() * np.stack([np.cos(turn), np.sin(turn)], axis=1))
    along = way / length
    beside = np.array([-along[1], along[0]])
    first, last = radii[0] * beside, radii[1] * beside
    return np.stack(
        [ends_uv[0] + first, ends_uv[1] + last, ends_uv[1] - last, ends_uv[0] - first,
         ends_uv[0] + first]
    )  # fmt: skip


def _words(found: FoundRoot) -> str:
    """What was found, with its doubt."""
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
