"""A flat picture: section, neighbour, or arch map."""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import NDArray
from PySide6.QtWidgets import QWidget

from app.pictures.picture_view import PictureView
from app.pictures.rendering import Renderings
from core.geometry import Array, PictureGrid, vector
from core.level import Level

FlatKind = Literal["section", "neighbour", "arch map", "front cut", "side cut"]


class FlatView(PictureView):
    """Shows a `PictureGrid`.

    Parameters
    ----------
    kind : {'section', 'neighbour', 'arch map', 'front cut', 'side cut'}
    renderings : Renderings, optional
        Of all views that show each other's pictures; this view's own when left out.
    """

    def __init__(
        self,
        kind: FlatKind,
        parent: QWidget | None = None,
        *,
        renderings: Renderings | None = None,
    ) -> None:
        super().__init__(parent, renderings=renderings)
        self.kind = kind
        self.grid: PictureGrid | None = None
        self.station_mm: float | None = None
        """Station of a section across the arch; None for the arch map and planes through an
        axis."""
        self.level: Level | None = None
        """Arch map only: clicks land on this jaw plane, whatever height the picture shows."""
        self.setAccessibleName(kind)

    def show_picture(
        self, grid: PictureGrid, grey: NDArray[np.float32], window: tuple[float, float]
    ) -> None:
        """Show a picture; its chart follows with `show_ink`."""
        self.grid = grid
        self.show_grey(grey, grid.pixel_mm, window)

    def clear(self) -> None:
        """Show nothing."""
        self.grid = None
        super().clear()

    def point_mm(self, u: float, v: float) -> Array:
        """(3,) patient point; on the arch map its foot on the jaw plane."""
        if self.grid is None:
            raise RuntimeError("no picture is shown")
        point = vector(self.grid.origin + u * self.grid.right + v * self.grid.up)
        return point if self.level is None else vector(self.level.project(point)[0])

    def uv_mm(self, points_mm: Array) -> Array:
        """(n, 3) patient points → (n, 3): u, v, and mm off the picture's plane."""
        if self.grid is None:
            raise RuntimeError("no picture is shown")
        return self.grid.uv_mm(points_mm)
