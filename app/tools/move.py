"""Move: a click takes every picture to that place; a drag on a section moves it under the glass."""

from __future__ import annotations

from PySide6.QtCore import Qt

from app.pictures.hit import Hit
from app.tools.base import Tool, View
from core.words.catalogue import message, say


class Move(Tool):
    """The tool to look around with: it never changes the plan."""

    name = "Move"
    words = message("tools.names.move")
    group = "View"
    key_hint = "V"

    def __init__(self, *args: object) -> None:
        super().__init__(*args)  # type: ignore[arg-type]
        self._from: tuple[float, float] | None = None

    def hint(self) -> str:
        """What a click does."""
        return say("tools.move.click-all-pictures-go-there")

    def stop(self) -> None:
        """Nothing stays under way."""
        self._from = None

    def press(self, view: View, hit: Hit) -> None:
        """Go to the place, and take up what stands there."""
        self._from = hit.uv_mm
        volume = self.session.volume
        scanned = volume is None or bool(volume.scanned_at(hit.point_mm)[0])
        if not scanned:
            # Arch map and panorama would follow to a height where there is nothing to see.
            self.desk.say(say("tools.move.nothing-was-scanned-at-this"))
        selected = self._fixture_at(hit)
        station = self._station(view, hit)
        self.session.go_to(
            point_mm=hit.point_mm if scanned else None,
            station_mm=station,
            across=station is not None,
            selected=selected,
        )

    def drag(self, view: View, hit: Hit) -> None:
        """Follow on arch map and panorama; shift a section."""
        if self._from is None:
            return
        if view.kind in ("section", "neighbour"):
            if hit.button == Qt.MouseButton.LeftButton:
                u, v = hit.uv_mm
                scale = 1 / view.mm_per_pixel()
                # The picture moves with the mouse, so the place under it stays the one taken.
                view.pan((u - self._from[0]) * scale, -(v - self._from[1]) * scale)
            return
        station = self._station(view, hit)
        if station is not None:
            self.session.go_to(point_mm=hit.point_mm, station_mm=station, across=True)

    def release(self, view: View, hit: Hit) -> None:
        """End."""
        self._from = None

    def double_click(self, view: View, hit: Hit) -> None:
        """Show the whole picture again."""
        view.fit()

    def _station(self, view: View, hit: Hit) -> float | None:
        """Station to go to; None: the pictures across the arch stay where they are."""
        if view.kind == "neighbour":
            return view.station_mm
        arch = self.session.arch
        if arch is None or view.kind == "section":
            return None
        return arch.station(hit.point_mm)

    def _fixture_at(self, hit: Hit) -> str | None:
        """The fixture whose body the place lies in."""
        for fixture in self.session.plan.fixtures:
            way = hit.point_mm - fixture.platform
            depth = float(way @ fixture.towards_apex)
            off = float(((way - depth * fixture.towards_apex) ** 2).sum()) ** 0.5
            if 0 <= depth <= fixture.size.length_mm and off <= fixture.size.diameter_mm / 2:
                return fixture.id
        return None
