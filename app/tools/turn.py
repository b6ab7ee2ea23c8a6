"""Turn: drag to turn the picture about the fixture's axis."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtGui import QKeyEvent

from app.pictures.hit import Hit
from app.tools.base import Tool, View
from app.widgets import style
from core.words.catalogue import message, say

DEG_A_PIXEL = 0.5
STEP_DEG = 5.0


class Turn(Tool):
    """Plane through the axis of the fixture; the arrows up and down turn it too."""

    name = "Turn"
    words = message("tools.names.turn")
    group = "View"
    key_hint = "T"

    def __init__(self, *args: object) -> None:
        super().__init__(*args)  # type: ignore[arg-type]
        self._from: tuple[float, float] | None = None

    def hint(self) -> str:
        """What a drag does."""
        if self.session.fixture is None:
            return say("tools.turn.there-is-no-fixture-yet")
        return say("tools.turn.drag-sideways-or-turn-about")

    def start(self) -> None:
        """Show the plane through the axis."""
        fixture, arch = self.session.fixture, self.session.arch
        if fixture is not None and arch is not None:
            turn = 0.0 if self.session.turn_deg is None else self.session.turn_deg
            self.session.go_to(
                station_mm=arch.station(fixture.platform), turn_deg=turn, selected=fixture.id
            )

    def press(self, view: View, hit: Hit) -> None:
        """Remember where it began."""
        if view.kind == "section" and self.session.turn_deg is not None:
            self._from = (hit.uv_mm[0], self.session.turn_deg)

    def drag(self, view: View, hit: Hit) -> None:
        """Turn with the mouse."""
        if self._from is not None:
            u, turn = self._from
            moved = (hit.uv_mm[0] - u) / view.mm_per_pixel()
            self.session.go_to(turn_deg=turn + DEG_A_PIXEL * moved)

    def release(self, view: View, hit: Hit) -> None:
        """End."""
        self._from = None

    def key(self, event: QKeyEvent) -> bool:
        """Up and down turn."""
        turn = self.session.turn_deg
        held = event.modifiers() & ~style.KEYPAD
        if turn is None or event.key() not in (Qt.Key.Key_Up, Qt.Key.Key_Down):
            return False
        if held not in (style.NO_KEY, style.SHIFT):
            return False
        fine = held == style.SHIFT
        step = 1.0 if fine else STEP_DEG
        self.session.go_to(turn_deg=turn + (step if event.key() == Qt.Key.Key_Up else -step))
        return True
