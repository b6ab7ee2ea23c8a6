"""Keeps every picture of the bench in step with the session.

Thin pictures (section, neighbours) are cut at once, in the event that asks for them, and their
charts laid over them: handing some ms of work to another thread and painting twice would cost
more. What takes longer - many charts, thick slabs, arch map, panorama - is made by workers; the
newest request wins, and what belongs to an older place is never shown.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace

import numpy as np
from PySide6.QtCore import QObject, QTimer, Signal

from app.background.tasks import Latest
from app.case.session import Session
from app.pictures.cuts import NEVER, THIN, Cut, Slab, Stop, charted, same_cut
from app.pictures.flat_view import FlatView
from app.pictures.maps import Maps
from app.pictures.panorama_view import PanoramaView
from app.pictures.places import NEIGHBOUR_MM, Place, neighbour_places, section_place
from app.pictures.rendering import Renderings
from app.widgets import style
from core.arch import Arch
from core.drawing import Line
from core.image.volume import Volume
from core.measurement import Measurement
from core.pictures.overlay import picture_height_mm
from core.words.catalogue import message, say

PAPER_NUMERAL_MM = 2.3
AT_ONCE = 2
"""So many charts of neighbours are made at once; more of them by a worker."""
AROUND_MS = 200
"""While something is dragged the pictures around the section follow no more often than this, so
that section and clearances follow every time."""

NO_ARCH = message("pictures.in_step.sections-come-with-the-arch")


class Pictures(QObject):
    """The views of one bench and what they show.

    Parameters
    ----------
    session : Session

    Signals
    -------
    shown
        Something else is shown: the active tool's draft must be asked for again.
    failed(error)
        A picture could not be made.
    """

    shown = Signal()
    failed = Signal(object)

    def __init__(self, session: Session, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._session = session
        self.section = FlatView("section")
        # A step along the arch shows most neighbours again, each in the next view.
        kept = Renderings(most=16)
        self.neighbours = tuple(FlatView("neighbour", renderings=kept) for _ in range(7))
        self._maps = Maps(session, self)
        self.arch_map, self.panorama = self._maps.arch_map, self._maps.panorama
        self._maps.shown.connect(self._maps_shown)
        self._maps.failed.connect(self.failed)
        self.section.fit_mm = (44.0, 44.0)
        self.section.empty_words = str(NO_ARCH)
        for view in self.neighbours:
            view.fit_mm = NEIGHBOUR_MM
            view.zoomed.connect(self._zoom_neighbours)
        self._height_mm = 0.0
        self._heights_of: object = None
        self._section: Cut | None = None
        self._beside: tuple[Cut, ...] = ()
        self._section_work = Latest(self._show_section, self.failed.emit, parent=self)
        self._beside_work = Latest(self._show_beside, self.failed.emit, parent=self)
        self._inked: tuple[object, ...] = ()
        self._fresh = False
        self._around = QTimer(self, singleShot=True)
        self._around.timeout.connect(self._follow_around)
        self._opening = QTimer(self, singleShot=True)
        self._opening.timeout.connect(self._show_first)
        session.scan_changed.connect(self._scan_changed)
        session.plan_changed.connect(self.refresh)
        session.plan_previewed.connect(self.refresh)
        session.place_changed.connect(self.refresh)
        session.ledger_changed.connect(self._ink_section)

    @property
    def views(self) -> tuple[FlatView | PanoramaView, ...]:
        """All of them, in the order of the Tab key."""
        return (self.section, *self.neighbours, self.arch_map, self.panorama)

    @property
    def busy(self) -> bool:
        """True while a picture or chart is on its way."""
        works = (self._section_work, self._beside_work, self._maps)
        waits = self._around.isActive() or self._opening.isActive()
        return waits or any(work.busy for work in works)

    def stop(self) -> None:
        """Ask for nothing more."""
        self._opening.stop()
        self._around.stop()
        for work in (self._section_work, self._beside_work):
            work.drop()
        self._maps.stop()

    # -- what changed --------------------------------------------------------------------

    def _scan_changed(self) -> None:
        self.stop()
        self._maps.forget()
        self._inked = ()
        self._heights_of = None
        self._fresh = True
        self._section, self._beside = None, ()
        for view in self.views:
            view.clear()
            view.fit()

    def refresh(self) -> None:
        """Bring every picture up to the session's plan and place."""
        session = self._session
        volume, arch = session.volume, session.arch
        if volume is None:
            return
        self._settle_height(arch)
        self._opening.stop()
        if self._fresh:
            # A case that was just opened is shown piece by piece: the window breathes in between.
            self._fresh = False
            self._opening.start(0)
            return
        self._cut_section(volume)
        if not session.dragging:
            self._around.stop()
            self._follow_around()
        elif not self._around.isActive():
            self._around.start(AROUND_MS)
        self.shown.emit()

    def _show_first(self) -> None:
        """The section of a case that was just opened; what stands around it comes next."""
        volume = self._session.volume
        if volume is not None:
            self._cut_section(volume)
            self.shown.emit()
            self._around.start(0)

    def _follow_around(self) -> None:
        """Bring the pictures around the section up to it."""
        volume = self._session.volume
        if volume is None:
            return
        self._cut_beside(volume)
        self._maps.ask(volume, self._session.arch, self._height_mm)
        self._mark_places()

    def _settle_height(self, arch: Arch | None) -> None:
        """The middle of sections stays at one height until jaw plane or jaw change."""
        guide = self._session.guide
        key = (guide.level, guide.jaw)
        if arch is None or self._session.dragging:
            return
        if not isinstance(self._heights_of, tuple) or any(
            a is not b for a, b in zip(key, self._heights_of, strict=True)
        ):
            self._heights_of = key
            self._height_mm = picture_height_mm(guide, arch, self._session.station_mm)

    # -- section and neighbours ----------------------------------------------------------

    def _cut_section(self, volume: Volume) -> None:
        session = self._session
        place = section_place(session, self._height_mm)
        if place is None:
            self._section = None
            self.section.clear()
            return
        before = self._section
        if before is not None and session.dragging and place.station_mm is None:
            # The plane stands still while what it is cut through is dragged.
            place = Place(
                grid=before.place.grid, title=place.title, subtitle=place.subtitle,
                sides=before.place.sides, subject=place.subject,
            )  # fmt: skip
        slab = self._slab
        same = (
            before is not None
            and before.grey is not None
            and before.slab == slab
            and same_cut(before.place, place)
        )
        view = self.section
        view.title, view.subtitle, view.sides = place.title, self._subtitle(place), place.sides
        view.station_mm = place.station_mm
        if before is not None and same:
            self._section = Cut(place, before.grey, slab=slab)
            view.show_picture(place.grid, self._section.made_grey, session.window)
        elif slab == THIN:
            self._section = Cut(place, volume.picture(place.grid))
            view.show_picture(place.grid, self._section.made_grey, session.window)
        else:
            self._section = Cut(place, None, slab=slab)
        self._ink_section()

    @property
    def _slab(self) -> Slab:
        """What pictures are taken through; without thickness there is no maximum of it."""
        session = self._session
        return (session.slab_mm, session.slab_maximum) if session.slab_mm else THIN

    def _subtitle(self, place: Place) -> str:
        slab = self._session.slab_mm
        if not slab:
            return place.subtitle
        most = self._session.slab_maximum
        kind = message("pictures.in_step.maximum" if most else "pictures.in_step.mean")
        return say(
            "pictures.in_step.of-mm-for-looking-only",
            subtitle=place.subtitle,
            kind=kind,
            slab=slab,
        )

    def _ink_section(self) -> None:
        session = self._session
        cut, volume = self._section, session.volume
        if cut is None or volume is None:
            return
        rows = self._rows(cut.place)
        drawn_at = PAPER_NUMERAL_MM / (style.NUMERAL_PX * self.section.mm_per_pixel())
        asked = (cut.place.grid, cut.place.subject, cut.grey, session.guide, drawn_at,
                 session.ledger if session.ledger_is_current else None, *cut.slab)  # fmt: skip
        if len(asked) == len(self._inked) and all(
            a is b or (isinstance(a, float | str | bool) and a == b)
            for a, b in zip(asked, self._inked, strict=True)
        ):
            return  # pose and numbers came together, each with a signal of its own
        self._inked = asked
        make = self._charted(volume, (cut,), rows, bare=False, drawn_at=drawn_at)
        if cut.grey is None:
            self._section_work.ask(make, finish_running=session.dragging)
        else:
            self._section_work.drop()
            self._show_section(make(NEVER))

    def _rows(self, place: Place) -> tuple[Measurement, ...]:
        ledger = self._session.ledger
        if ledger is None or not self._session.ledger_is_current or not place.subject:
            return ()
        return ledger.of(place.subject)

    def _cut_beside(self, volume: Volume) -> None:
        session = self._session
        cuts: list[Cut] = []
        places = neighbour_places(session, self._height_mm)
        for view, place in zip(self.neighbours, places, strict=False):
            # A step along the arch shows most of the neighbours again, one place further on.
            known = (c for c in self._beside if c.grey is not None and same_cut(c.place, place))
            before = None if session.slab_mm else next(known, None)
            grey, ink = None, None
            if before is not None:
                grey = before.grey
                ink = before.ink if before.plan is session.guide else None
            elif not session.slab_mm:
                grey = volume.picture(place.grid)
            cuts.append(Cut(place, grey, ink, session.guide, self._slab))
            view.title, view.sides, view.station_mm = place.title, place.sides, place.station_mm
            view.chosen = place is places[len(places) // 2]
            if grey is not None:
                view.show_picture(place.grid, grey, session.window)
            if ink is not None:
                view.show_ink(ink)
        self._beside = tuple(cuts)
        bare = tuple(cut for cut in cuts if cut.ink is None)
        make = self._charted(volume, bare, (), bare=True, drawn_at=1.0)
        if len(bare) <= AT_ONCE and not session.slab_mm:
            self._beside_work.drop()
            self._show_beside(make(NEVER))
        else:
            self._beside_work.ask(make, finish_running=session.dragging)

    def _charted(
        self,
        volume: Volume,
        cuts: tuple[Cut, ...],
        rows: tuple[Measurement, ...],
        *,
        bare: bool,
        drawn_at: float,
    ) -> Callable[[Stop], list[Cut]]:
        session = self._session
        return charted(
            cuts, volume=volume, plan=session.guide, rows=rows, slab=self._slab, bare=bare,
            drawn_at=drawn_at,
        )  # fmt: skip

    def _show_section(self, made: list[Cut]) -> None:
        for cut in made:
            if self._section is None or self._section.slab != cut.slab:
                continue
            if not same_cut(self._section.place, cut.place):
                continue
            if self._section.grey is None:
                self.section.show_picture(cut.place.grid, cut.made_grey, self._session.window)
            self._section = replace(cut, place=self._section.place)
            if cut.ink is not None:
                self.section.show_ink(cut.ink)
        self.shown.emit()

    def _show_beside(self, made: list[Cut]) -> None:
        shown = list(self._beside)
        for number, (view, asked) in enumerate(zip(self.neighbours, shown, strict=False)):
            cut = next((c for c in made if same_cut(c.place, asked.place)), None)
            if cut is None or cut.ink is None or cut.slab != asked.slab:
                continue
            if self._session.slab_mm:
                view.show_picture(asked.place.grid, cut.made_grey, self._session.window)
            else:
                shown[number] = replace(cut, place=asked.place)
            view.show_ink(cut.ink)
        self._beside = tuple(shown)

    def _zoom_neighbours(self) -> None:
        changed = self.sender()
        if not isinstance(changed, FlatView) or not changed.isVisible():
            return  # one that has no room is laid out all the same, to another size
        for view in self.neighbours:
            if view is not changed:
                view.look_as(changed)

    # -- where the others look -----------------------------------------------------------

    def _maps_shown(self) -> None:
        self._mark_places()
        self.shown.emit()

    def _mark_places(self) -> None:
        """The line of the section on arch map and panorama, the clicked place everywhere."""
        lines = self._maps.site_lines()
        for view in self.views:
            crossed = _cross(view, self._session.point_mm) if view.has_picture else ()
            view.show_marks([*crossed, *lines.get(view, ())])


def _cross(view: FlatView | PanoramaView, point_mm: object) -> Iterable[Line]:
    if point_mm is None:
        return
    u, v, off = view.uv_mm(np.atleast_2d(np.asarray(point_mm, dtype=np.float64)))[0]
    if view.kind not in {"panorama", "arch map"} and abs(off) > 0.5:
        return
    arm = 6 * view.mm_per_pixel()
    for du, dv in ((arm, 0.0), (0.0, arm)):
        yield Line(style="mark", points=np.array([[u - du, v - dv], [u + du, v + dv]]))
