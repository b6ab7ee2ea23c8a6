"""Keeps every picture of the bench in step with the session.

Thin pictures (section, neighbours) are cut at once, in the event that asks for them, and their
charts laid over them: handing some ms of work to another thread and painting twice would cost
more. What takes longer - many charts, thick slabs, arch map, panorama - is made by workers; the
newest request wins, and what belongs to an older place is never shown.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np
from numpy.typing import NDArray
from PySide6.QtCore import QObject, QTimer, Signal

from app import look
from app.places import (
    NEIGHBOUR_MM,
    Place,
    arch_map_place,
    neighbour_places,
    panorama_sides,
    section_place,
)
from app.session import Session
from app.tasks import Latest
from app.views.chart_painter import Ink
from app.views.flat_view import FlatView
from app.views.panorama_view import PanoramaView
from app.views.rendering import Renderings
from core.arch import Arch
from core.drawing import Line
from core.image.ribbon import Ribbon, panorama
from core.image.volume import Volume
from core.measurement import Measurement
from core.pictures.overlay import (
    Overlay,
    arch_map_overlay,
    panorama_overlay,
    picture_height_mm,
    section_overlay,
)
from core.plans.plan import Plan

PANORAMA_HALF_MM = 20.0
PANORAMA_PIXEL_MM = 0.3
PANORAMA_MM = 6.0
MAP_SLAB_MM = 3.0
PAPER_NUMERAL_MM = 2.3
SAME_MM = 1e-6
AT_ONCE = 2
"""So many charts of neighbours are made at once; more of them by a worker."""
AROUND_MS = 120
"""While something is dragged the pictures around the section follow no more often than this, so
that section and clearances follow every time."""

NO_ARCH = (
    "Sections come with the arch. Take the tool Arch and click along the jaw on the arch map, from "
    "end to end; with the tool Jaw plane drag its line to the chewing surfaces first."
)

Grey = NDArray[np.float32]


@dataclass(frozen=True, slots=True, eq=False)
class _Cut:
    """A place with its grey values and its chart; None where they are still to be made."""

    place: Place
    grey: Grey | None
    ink: Ink | None = None
    plan: Plan | None = None
    """Whose lines the chart shows."""


@dataclass(frozen=True, slots=True, eq=False)
class _Map:
    place: Place
    grey: Grey
    ink: Ink


@dataclass(frozen=True, slots=True, eq=False)
class _Panorama:
    ribbon: Ribbon
    grey: Grey
    ink: Ink
    middle_mm: float


class Stop(Protocol):
    """What work in several steps asks between them."""

    def cancelled(self) -> bool:
        """True once nobody waits for it any more."""
        ...


class _Never:
    """Work that is done at once is not cancelled."""

    def cancelled(self) -> bool:
        return False


_never = _Never()


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
        self.arch_map = FlatView("arch map")
        self.panorama = PanoramaView()
        self.section.fit_mm = (44.0, 44.0)
        self.section.empty_words = NO_ARCH
        for view in self.neighbours:
            view.fit_mm = NEIGHBOUR_MM
            view.zoomed.connect(self._zoom_neighbours)
        self._height_mm = 0.0
        self._heights_of: object = None
        self._maps_of: tuple[object, ...] = ()
        self._map: _Map | None = None
        self._flat: _Panorama | None = None
        self._section: _Cut | None = None
        self._beside: tuple[_Cut, ...] = ()
        self._section_work = Latest(self._show_section, self.failed.emit, parent=self)
        self._beside_work = Latest(self._show_beside, self.failed.emit, parent=self)
        self._map_work = Latest(self._show_map, self.failed.emit, parent=self)
        self._panorama_work = Latest(self._show_panorama, self.failed.emit, parent=self)
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
        works = (self._section_work, self._beside_work, self._map_work, self._panorama_work)
        waits = self._around.isActive() or self._opening.isActive()
        return waits or any(work.busy for work in works)

    def stop(self) -> None:
        """Ask for nothing more."""
        self._opening.stop()
        self._around.stop()
        for work in (self._section_work, self._beside_work, self._map_work, self._panorama_work):
            work.drop()

    # -- what changed --------------------------------------------------------------------

    def _scan_changed(self) -> None:
        self.stop()
        self._maps_of = ()
        self._map = self._flat = None
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
        self._ask_maps(volume, self._session.arch)
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
        same = before is not None and _same_cut(before.place, place) and before.grey is not None
        view = self.section
        view.title, view.subtitle, view.sides = place.title, self._subtitle(place), place.sides
        view.station_mm = place.station_mm
        if before is not None and same:
            self._section = _Cut(place, before.grey)
            view.show_picture(place.grid, _grey(self._section), session.window)
        elif session.slab_mm == 0:
            self._section = _Cut(place, volume.picture(place.grid))
            view.show_picture(place.grid, _grey(self._section), session.window)
        else:
            self._section = _Cut(place, None)
        self._ink_section()

    def _subtitle(self, place: Place) -> str:
        slab = self._session.slab_mm
        if not slab:
            return place.subtitle
        kind = "maximum" if self._session.slab_maximum else "mean"
        return f"{place.subtitle} · {kind} of {slab:g} mm, for looking only"

    def _ink_section(self) -> None:
        session = self._session
        cut, volume = self._section, session.volume
        if cut is None or volume is None:
            return
        rows = self._rows(cut.place)
        drawn_at = PAPER_NUMERAL_MM / (look.NUMERAL_PX * self.section.mm_per_pixel())
        asked = (cut.place.grid, cut.place.subject, cut.grey, session.guide, drawn_at,
                 session.ledger if session.ledger_is_current else None,
                 session.slab_mm, session.slab_maximum)  # fmt: skip
        if len(asked) == len(self._inked) and all(
            a is b or (isinstance(a, float | str | bool) and a == b)
            for a, b in zip(asked, self._inked, strict=True)
        ):
            return  # pose and numbers came together, each with a signal of its own
        self._inked = asked
        make = self._work(volume, (cut,), rows, bare=False, drawn_at=drawn_at)
        if cut.grey is None:
            self._section_work.ask(make, finish_running=session.dragging)
        else:
            self._section_work.drop()
            self._show_section(make(_never))

    def _rows(self, place: Place) -> tuple[Measurement, ...]:
        ledger = self._session.ledger
        if ledger is None or not self._session.ledger_is_current or not place.subject:
            return ()
        return ledger.of(place.subject)

    def _cut_beside(self, volume: Volume) -> None:
        session = self._session
        cuts: list[_Cut] = []
        for view, place in zip(
            self.neighbours, neighbour_places(session, self._height_mm), strict=False
        ):
            # A step along the arch shows most of the neighbours again, one place further on.
            known = (c for c in self._beside if c.grey is not None and _same_cut(c.place, place))
            before = None if session.slab_mm else next(known, None)
            grey, ink = None, None
            if before is not None:
                grey = before.grey
                ink = before.ink if before.plan is session.guide else None
            elif not session.slab_mm:
                grey = volume.picture(place.grid)
            cuts.append(_Cut(place, grey, ink, session.guide))
            view.title, view.sides, view.station_mm = place.title, place.sides, place.station_mm
            view.chosen = place.title == "here"
            if grey is not None:
                view.show_picture(place.grid, grey, session.window)
            if ink is not None:
                view.show_ink(ink)
        self._beside = tuple(cuts)
        bare = tuple(cut for cut in cuts if cut.ink is None)
        make = self._work(volume, bare, (), bare=True, drawn_at=1.0)
        if len(bare) <= AT_ONCE and not session.slab_mm:
            self._beside_work.drop()
            self._show_beside(make(_never))
        else:
            self._beside_work.ask(make, finish_running=session.dragging)

    def _work(
        self,
        volume: Volume,
        cuts: tuple[_Cut, ...],
        rows: tuple[Measurement, ...],
        *,
        bare: bool,
        drawn_at: float,
    ) -> Callable[[Stop], list[_Cut]]:
        plan = self._session.guide
        slab, maximum = self._session.slab_mm, self._session.slab_maximum

        def make(task: Stop) -> list[_Cut]:
            out: list[_Cut] = []
            for cut in cuts:
                if task.cancelled():
                    break
                grey = cut.grey
                if grey is None:
                    grey = volume.picture(cut.place.grid, slab_mm=slab, maximum=maximum)
                overlay = section_overlay(
                    plan, cut.place.grid, rows, bare=bare, drawn_at=drawn_at,
                    most_witnesses=0 if bare else 5,
                )  # fmt: skip
                out.append(_Cut(cut.place, grey, _ink(overlay), plan))
            return out

        return make

    def _show_section(self, made: list[_Cut]) -> None:
        for cut in made:
            if self._section is None or not _same_cut(self._section.place, cut.place):
                continue
            if self._section.grey is None:
                self.section.show_picture(cut.place.grid, _grey(cut), self._session.window)
            self._section = replace(cut, place=self._section.place)
            if cut.ink is not None:
                self.section.show_ink(cut.ink)
        self.shown.emit()

    def _show_beside(self, made: list[_Cut]) -> None:
        shown = list(self._beside)
        for number, (view, asked) in enumerate(zip(self.neighbours, shown, strict=False)):
            cut = next((c for c in made if _same_cut(c.place, asked.place)), None)
            if cut is None or cut.ink is None:
                continue
            if self._session.slab_mm:
                view.show_picture(asked.place.grid, _grey(cut), self._session.window)
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

    # -- arch map and panorama -----------------------------------------------------------

    def _ask_maps(self, volume: Volume, arch: Arch | None) -> None:
        session = self._session
        guide = session.guide
        if guide.level is None:
            self.arch_map.clear()
            self.panorama.clear()
            self._maps_of = ()
            return
        height = 0.0
        if session.point_mm is not None:
            height = float(guide.level.height_mm(session.point_mm)[0])
        key = (guide.level, arch, guide.fixtures, guide.structures, session.window,
               round(height, 2))  # fmt: skip
        if len(self._maps_of) == len(key) and all(
            a is b or (isinstance(a, float | tuple) and a == b)
            for a, b in zip(key, self._maps_of, strict=True)
        ):
            return
        self._maps_of = key
        place = arch_map_place(volume, guide.level, height)
        self.arch_map.level = guide.level
        drags = session.dragging
        self._map_work.ask(
            lambda _task: _make_map(volume, guide, arch, place, self._map), finish_running=drags
        )
        if arch is None:
            self.panorama.clear()
            return
        middle = self._height_mm
        self._panorama_work.ask(
            lambda _task: _make_panorama(volume, guide, arch, middle, self._flat),
            finish_running=drags,
        )

    def _show_map(self, made: _Map) -> None:
        self._map = made
        view, grid = self.arch_map, made.place.grid
        size = (grid.cols * grid.pixel_mm, grid.rows * grid.pixel_mm)
        view.sides, view.subtitle = made.place.sides, made.place.subtitle
        view.show_picture(grid, made.grey, self._session.window)
        view.show_ink(made.ink)
        if view.fit_mm != size:
            view.fit_mm = size
            view.fit()
        self._mark_places()
        self.shown.emit()

    def _show_panorama(self, made: _Panorama) -> None:
        self._flat = made
        view, ribbon = self.panorama, made.ribbon
        size = (ribbon.cols * ribbon.pixel_mm, ribbon.rows * ribbon.pixel_mm)
        view.sides = panorama_sides(ribbon)
        view.show_picture(ribbon, made.grey, self._session.window)
        view.show_ink(made.ink)
        if view.fit_mm != size:
            view.fit_mm = size
            if not self._session.dragging:
                view.fit()
        self._mark_places()
        self.shown.emit()

    # -- where the others look -----------------------------------------------------------

    def _mark_places(self) -> None:
        """The line of the section on arch map and panorama, the clicked place everywhere."""
        session, arch = self._session, self._session.arch
        for view in self.views:
            lines: list[Line] = []
            if view.has_picture:
                lines += _cross(view, session.point_mm)
                if view is self.arch_map and arch is not None:
                    lines.append(_site_line(view, arch, session.station_mm))
                if view is self.panorama and self.panorama.ribbon is not None:
                    lines.append(_upright(self.panorama, session.station_mm))
            view.show_marks(lines)


def _grey(cut: _Cut) -> Grey:
    if cut.grey is None:
        raise RuntimeError("this picture is not cut yet")
    return cut.grey


def _same_cut(a: Place, b: Place) -> bool:
    """True where two places lie alike to a millionth of a mm: the grey values can be kept."""
    g, h = a.grid, b.grid
    return (
        (g.rows, g.cols, g.pixel_mm) == (h.rows, h.cols, h.pixel_mm)
        and bool(np.abs(g.origin - h.origin).max() < SAME_MM)
        and bool(np.abs(g.right - h.right).max() < SAME_MM)
        and bool(np.abs(g.up - h.up).max() < SAME_MM)
    )


def _ink(overlay: Overlay) -> Ink:
    return Ink(overlay.lines, overlay.dots, overlay.labels)


def _make_map(
    volume: Volume, plan: Plan, arch: Arch | None, place: Place, before: _Map | None
) -> _Map:
    """The arch map; the grey values of the one before are kept where it lay in the same place."""
    if before is not None and _same_cut(before.place, place):
        grey = before.grey
    else:
        grey = volume.picture(place.grid, slab_mm=MAP_SLAB_MM)
    overlay = Overlay() if arch is None else arch_map_overlay(plan, arch, place.grid)
    return _Map(place, grey, _ink(overlay))


def _make_panorama(
    volume: Volume, plan: Plan, arch: Arch, middle_mm: float, before: _Panorama | None
) -> _Panorama:
    """The panorama; the grey values of the one before are kept where arch and height are its."""
    if before is not None and before.ribbon.arch is arch and before.middle_mm == middle_mm:
        grey, ribbon = before.grey, before.ribbon
    else:
        grey, ribbon = panorama(
            volume,
            arch,
            heights_mm=(middle_mm - PANORAMA_HALF_MM, middle_mm + PANORAMA_HALF_MM),
            pixel_mm=PANORAMA_PIXEL_MM,
            thickness_mm=PANORAMA_MM,
        )
    overlay = panorama_overlay(plan, arch, ribbon)
    return _Panorama(ribbon, grey, _ink(overlay), middle_mm)


def _cross(view: FlatView | PanoramaView, point_mm: object) -> Iterable[Line]:
    if point_mm is None:
        return
    u, v, off = view.uv_mm(np.atleast_2d(np.asarray(point_mm, dtype=np.float64)))[0]
    if view.kind not in {"panorama", "arch map"} and abs(off) > 0.5:
        return
    arm = 6 * view.mm_per_pixel()
    for du, dv in ((arm, 0.0), (0.0, arm)):
        yield Line(style="mark", points=np.array([[u - du, v - dv], [u + du, v + dv]]))


def _site_line(view: FlatView | PanoramaView, arch: Arch, station_mm: float) -> Line:
    frame = arch.frame(station_mm)
    ends = np.stack([frame.origin - 8 * frame.buccal, frame.origin + 8 * frame.buccal])
    return Line(style="site line", points=view.uv_mm(ends)[:, :2])


def _upright(view: PanoramaView, station_mm: float) -> Line:
    half = view.fit_mm[1] / 2
    u = view.u_of(station_mm)
    return Line(style="site line", points=np.array([[u, 5.0 - half], [u, half]]))
