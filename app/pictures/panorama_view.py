"""The panorama along the arch: u along the arch, v along *up*."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from PySide6.QtWidgets import QWidget

from app.pictures.picture_view import PictureView
from core.geometry import Array
from core.image.ribbon import Ribbon
from core.words.catalogue import say


class PanoramaView(PictureView):
    """Shows a `Ribbon`."""

    kind = "panorama"
    station_mm: float | None = None

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.ribbon: Ribbon | None = None
        self.setAccessibleName(say("pictures.panorama_view.panorama"))

    def show_picture(
        self, ribbon: Ribbon, grey: NDArray[np.float32], window: tuple[float, float]
    ) -> None:
        """Show a picture; its chart follows with `show_ink`."""
        self.ribbon = ribbon
        self.show_grey(grey, ribbon.pixel_mm, window)

    def clear(self) -> None:
        """Show nothing."""
        self.ribbon = None
        super().clear()

    def u_of(self, station_mm: float) -> float:
        """Place along the picture of a station, mm."""
        ribbon = self._shown
        return station_mm - ribbon.from_mm - (ribbon.cols - 1) / 2 * ribbon.pixel_mm

    def point_mm(self, u: float, v: float) -> Array:
        """(3,) patient point in the middle of the thickness."""
        ribbon = self._shown
        row = (ribbon.rows - 1) / 2 - v / ribbon.pixel_mm
        return ribbon.point(row, u / ribbon.pixel_mm + (ribbon.cols - 1) / 2)

    def uv_mm(self, points_mm: Array) -> Array:
        """(n, 3) patient points → (n, 3): u, v, and mm off the middle surface, + buccal."""
        ribbon = self._shown
        p = np.atleast_2d(np.asarray(points_mm, dtype=np.float64))
        row_col = ribbon.row_col(p)
        u = (row_col[:, 1] - (ribbon.cols - 1) / 2) * ribbon.pixel_mm
        v = ((ribbon.rows - 1) / 2 - row_col[:, 0]) * ribbon.pixel_mm
        middle, _, buccal = ribbon.arch.directions(ribbon.from_mm + row_col[:, 1] * ribbon.pixel_mm)
        off = np.einsum("ij,ij->i", ribbon.arch.level.project(p) - middle, buccal)
        return np.stack([u, v, off], axis=1)

    @property
    def _shown(self) -> Ribbon:
        if self.ribbon is None:
            raise RuntimeError("no picture is shown")
        return self.ribbon
