"""Arch map and panorama of the bench, made by workers and kept while they lie in one place."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from PySide6.QtCore import QObject, Signal

from app.background.tasks import Latest
from app.case.session import Session
from app.pictures.chart_painter import Ink
from app.pictures.cuts import Grey, ink_of, same_cut
from app.pictures.flat_view import FlatView
from app.pictures.panorama_view import PanoramaView
from app.pictures.places import Place, arch_map_place, panorama_sides
from core.arch import Arch
from core.drawing import Line
from core.image.ribbon import Ribbon, panorama
from core.image.volume import Volume
from core.pictures.overlay import Overlay, arch_map_overlay, panorama_overlay
from core.plans.plan import Plan

PANORAMA_HALF_MM = 20.0
PANORAMA_PIXEL_MM = 0.3
PANORAMA_MM = 6.0
MAP_SLAB_MM = 3.0


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


class Maps(QObject):
    """The two views along the arch and what they show.

    Signals
    -------
    shown
        Another picture is there.
    failed(error)
        A picture could not be made.
    """

    shown = Signal()
    failed = Signal(object)

    def __init__(self, session: Session, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._session = session
        self.arch_map = FlatView("arch map")
        self.panorama = PanoramaView()
        self._of: tuple[object, ...] = ()
        self._map: _Map | None = None
        self._flat: _Panorama | None = None
        self._map_work = Latest(self._show_map, self._not_made, parent=self)
        self._panorama_work = Latest(self._show_panorama, self._not_made, parent=self)

    @property
    def busy(self) -> bool:
        """True while a picture is on its way."""
        return self._map_work.busy or self._panorama_work.busy

    def stop(self) -> None:
        """Ask for nothing more."""
        self._map_work.drop()
        self._panorama_work.drop()

    def forget(self) -> None:
        """Another scan: nothing that was made counts any more."""
        self.stop()
        self._of = ()
        self._map = self._flat = None

    def ask(self, volume: Volume, arch: Arch | None, middle_mm: float) -> None:
        """Ask for both, where anything that they show is another than before.

        Parameters
        ----------
        middle_mm : float
            Height of the panorama's middle over the jaw plane.
        """
        session = self._session
        guide = session.guide
        if guide.level is None:
            self.arch_map.clear()
            self.panorama.clear()
            self._of = ()
            return
        height = 0.0
        if session.point_mm is not None:
            height = float(guide.level.height_mm(session.point_mm)[0])
        key = (guide.level, arch, guide.fixtures, guide.structures, session.window,
               round(height, 2), middle_mm)  # fmt: skip
        if len(self._of) == len(key) and all(
            a is b or (isinstance(a, float | tuple) and a == b)
            for a, b in zip(key, self._of, strict=True)
        ):
            return
        self._of = key
        place = arch_map_place(volume, guide.level, height)
        self.arch_map.level = guide.level
        drags = session.dragging
        self._map_work.ask(
            lambda _task: _make_map(volume, guide, arch, place, self._map), finish_running=drags
        )
        if arch is None:
            self.panorama.clear()
            return
        self._panorama_work.ask(
            lambda _task: _make_panorama(volume, guide, arch, middle_mm, self._flat),
            finish_running=drags,
        )

    def _not_made(self, error: Exception) -> None:
        self._of = ()  # what failed is asked for again, at the next occasion
        self.failed.emit(error)

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
        self.shown.emit()

    # -- where the others look -----------------------------------------------------------

    def site_lines(self) -> dict[FlatView | PanoramaView, list[Line]]:
        """The line of the section on both."""
        session, arch = self._session, self._session.arch
        lines: dict[FlatView | PanoramaView, list[Line]] = {self.arch_map: [], self.panorama: []}
        if self.arch_map.has_picture and arch is not None:
            lines[self.arch_map].append(_site_line(self.arch_map, arch, session.station_mm))
        if self.panorama.has_picture and self.panorama.ribbon is not None:
            lines[self.panorama].append(_upright(self.panorama, session.station_mm))
        return lines


def _make_map(
    volume: Volume, plan: Plan, arch: Arch | None, place: Place, before: _Map | None
) -> _Map:
    """The arch map; the grey values of the one before are kept where it lay in the same place."""
    if before is not None and same_cut(before.place, place):
        grey = before.grey
    else:
        grey = volume.picture(place.grid, slab_mm=MAP_SLAB_MM)
    overlay = Overlay() if arch is None else arch_map_overlay(plan, arch, place.grid)
    return _Map(place, grey, ink_of(overlay))


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
    return _Panorama(ribbon, grey, ink_of(overlay), middle_mm)


def _site_line(view: FlatView | PanoramaView, arch: Arch, station_mm: float) -> Line:
    frame = arch.frame(station_mm)
    ends = np.stack([frame.origin - 8 * frame.buccal, frame.origin + 8 * frame.buccal])
    return Line(style="site line", points=view.uv_mm(ends)[:, :2])


def _upright(view: PanoramaView, station_mm: float) -> Line:
    half = view.fit_mm[1] / 2
    u = view.u_of(station_mm)
    return Line(style="site line", points=np.array([[u, 5.0 - half], [u, half]]))
