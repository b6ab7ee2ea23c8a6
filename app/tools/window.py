"""Window: drag to change which grey values are shown as black and white."""

from __future__ import annotations

from app.pictures.hit import Hit
from app.tools.base import Tool, View
from core.words.catalogue import message

WIDTHS_A_PICTURE = 3.0
"""A drag over the whole picture changes width or level by this many present widths."""


class Window(Tool):
    """Sideways: contrast; up and down: brightness. No number depends on it."""

    name = "Window"
    words = message("tools.names.window")
    group = "View"
    key_hint = "W"

    def __init__(self, *args: object) -> None:
        super().__init__(*args)  # type: ignore[arg-type]
        self._from: tuple[tuple[float, float], tuple[float, float]] | None = None

    def hint(self) -> str:
        """What a drag does."""
        return (
            "Drag to the right: softer; up: brighter. Presets are under View. "
            "No number depends on it."
        )

    def press(self, view: View, hit: Hit) -> None:
        """Remember where it began."""
        self._from = (hit.uv_mm, self.session.window)

    def drag(self, view: View, hit: Hit) -> None:
        """Change the window with the mouse."""
        if self._from is None:
            return
        (u, v), (low, high) = self._from
        across = (hit.uv_mm[0] - u) / (view.mm_per_pixel() * max(view.width(), 1))
        upwards = (hit.uv_mm[1] - v) / (view.mm_per_pixel() * max(view.height(), 1))
        width = (high - low) * WIDTHS_A_PICTURE**across
        middle = (low + high) / 2 - (high - low) * upwards
        self.session.look_through(window=(middle - width / 2, middle + width / 2))

    def release(self, view: View, hit: Hit) -> None:
        """End."""
        self._from = None
