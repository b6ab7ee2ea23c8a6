"""Panorama along the arch: columns at equal arc length, seen from the cheek."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from core.arch import Arch
from core.geometry import Array, vector
from core.image import sampling
from core.image.volume import Volume


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ribbon:
    """The picture's grid: which station and height each pixel shows.

    The patient's right is on the left of the picture; rows run along *up*, row 0 at the top.
    Pixel centres lie at integers.

    Parameters
    ----------
    arch : Arch
    from_mm : float
        Station of column 0.
    top_mm : float
        Height of row 0 over the jaw plane.
    rows, cols : int
    pixel_mm : float
    """

    arch: Arch
    from_mm: float
    top_mm: float
    rows: int
    cols: int
    pixel_mm: float

    def __post_init__(self) -> None:
        if self.rows < 1 or self.cols < 1 or not self.pixel_mm > 0:
            raise ValueError("a picture needs at least one pixel of positive size")

    @classmethod
    def along(
        cls,
        arch: Arch,
        *,
        heights_mm: tuple[float, float],
        pixel_mm: float,
        stations_mm: tuple[float, float] | None = None,
    ) -> Ribbon:
        """Grid over a range of heights (low, high) and of stations, the whole arch by default.

        Parameters
        ----------
        arch : Arch
        heights_mm : (low, high) mm
        pixel_mm : float
            mm.
        stations_mm : (from, to) mm or None
        """
        low, high = heights_mm
        first, last = (0.0, arch.length_mm) if stations_mm is None else stations_mm
        if not (pixel_mm > 0 and low < high and first < last):
            raise ValueError("a panorama needs a positive pixel, height and length")
        return cls(
            arch=arch,
            from_mm=first,
            top_mm=high,
            rows=round((high - low) / pixel_mm) + 1,
            cols=round((last - first) / pixel_mm) + 1,
            pixel_mm=pixel_mm,
        )

    def station(self, col: float) -> float:
        """Station that a column shows (floats allowed)."""
        return self.from_mm + col * self.pixel_mm

    def height(self, row: float) -> float:
        """Height over the jaw plane that a row shows (floats allowed)."""
        return self.top_mm - row * self.pixel_mm

    def point(self, row: float, col: float) -> Array:
        """Patient point in the middle of the thickness, LPS mm."""
        frame = self.arch.frame(self.station(col))
        return vector(frame.origin + self.height(row) * frame.up)

    def row_col(self, points_mm: ArrayLike) -> Array:
        """(n, 3) patient points → (n, 2) pixel positions (row, column), floats.

        A point off the middle surface shows where its nearest station and its height are.
        """
        p = np.atleast_2d(np.asarray(points_mm, dtype=np.float64))
        row = (self.top_mm - self.arch.level.height_mm(p)) / self.pixel_mm
        stations = self.arch.curve.nearest_stations(self.arch.level.project(p))
        return np.stack([row, (stations - self.from_mm) / self.pixel_mm], axis=1)


def panorama(
    volume: Volume,
    arch: Arch,
    *,
    heights_mm: tuple[float, float],
    pixel_mm: float,
    stations_mm: tuple[float, float] | None = None,
    thickness_mm: float = 0.0,
    maximum: bool = False,
) -> tuple[NDArray[np.float32], Ribbon]:
    """Unroll the jaw along the arch, averaged along *buccal* for looking.

    Parameters
    ----------
    volume : Volume
    arch : Arch
    heights_mm : (low, high)
        Over the jaw plane.
    pixel_mm : float
    stations_mm : (first, last), optional
        The whole traced arch by default.
    thickness_mm : float
        From −half to +half along buccal; sampled as densely as a section's slab.
    maximum : bool
        The maximum through the thickness in place of the mean.

    Returns
    -------
    (rows, cols) float32, row 0 at the top, NaN where one sample was not scanned; and its grid.
    """
    ribbon = Ribbon.along(arch, heights_mm=heights_mm, pixel_mm=pixel_mm, stations_mm=stations_mm)
    middle, _, buccal = arch.directions(ribbon.from_mm + np.arange(ribbon.cols) * pixel_mm)
    count = sampling.slab_samples(volume, thickness_mm)
    columns = sampling.lines(
        volume,
        middle + ribbon.top_mm * arch.level.up,
        np.broadcast_to(-pixel_mm * arch.level.up, middle.shape),
        ribbon.rows,
        slab_steps_mm=buccal * (thickness_mm / max(count - 1, 1)),
        slab_count=count,
        maximum=maximum,
    )
    return np.ascontiguousarray(columns.T), ribbon
