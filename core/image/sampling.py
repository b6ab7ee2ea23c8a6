"""Grey values at points, along lines and in pictures: the only place that knows memory layout.

Trilinear in stored values, then rescaled. *Scanned* is what lies inside the hull of the voxel
centres and has no neighbour (of the up to eight that count) that is padding or lies outside the
round field; everything else is NaN. Everything is one compiled kernel: samples along lines,
each the mean or the maximum of a few samples through a slab.
"""

from __future__ import annotations

import math
from functools import partial
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from core.geometry import Array, PictureGrid
from core.image.in_threads import shared
from core.image.sampling_kernels import HULL_TOLERANCE, sample_lines

FEW_SAMPLES = 4096
"""Up to so many samples are taken in the calling thread."""

_NO_FIELD = np.ones(1, dtype=np.uint8)
_NO_FIELD.flags.writeable = False


class Voxels(Protocol):
    """What sampling needs of a volume; `core.image.volume.Volume` says what each part means."""

    @property
    def voxels(self) -> NDArray[Any]:
        """(K, J, I) stored values."""
        ...

    @property
    def ijk_from_mm(self) -> Array:
        """(4, 4) patient LPS mm to voxel positions."""
        ...

    @property
    def slope(self) -> float:
        """Of grey values by stored ones."""
        ...

    @property
    def intercept(self) -> float:
        """Of grey values by stored ones."""
        ...

    @property
    def padding(self) -> tuple[float, float] | None:
        """Stored values that mean *not scanned*."""
        ...

    @property
    def field(self) -> NDArray[np.uint8] | None:
        """(J, I) 1 where the round field was scanned; None: all scanned."""
        ...

    @property
    def made_up(self) -> NDArray[np.bool_]:
        """(K,) True for a slice that was put in."""
        ...

    @property
    def shape(self) -> tuple[int, int, int]:
        """(K, J, I)."""
        ...

    @property
    def voxel_mm(self) -> Array:
        """Column step, row step, slice step."""
        ...

    def ijk(self, points_mm: Array, /) -> Array:
        """(n, 3) patient LPS mm → (n, 3) voxel positions (column, row, slice)."""
        ...


def lines(
    volume: Voxels,
    starts_mm: Array,
    steps_mm: Array,
    count: int,
    *,
    slab_steps_mm: Array | None = None,
    slab_count: int = 1,
    maximum: bool = False,
) -> NDArray[np.float32]:
    """Grey values along straight lines, each the mean or maximum through a slab.

    Parameters
    ----------
    volume : Voxels
    starts_mm : (n, 3) patient LPS mm
        First sample of each line, in the middle of its slab.
    steps_mm : (n, 3) mm
        From sample to sample.
    count : int
        Samples a line.
    slab_steps_mm : (n, 3) mm, optional
        From sample to sample through the slab, which lies on both sides of the line.
    slab_count : int
        Samples through the slab, odd.
    maximum : bool
        The maximum through the slab in place of the mean.

    Returns
    -------
    (n, count) float32 grey values, NaN where one sample was not scanned.
    """
    turn = volume.ijk_from_mm[:3, :3].T
    starts = volume.ijk(starts_mm)
    slab = np.zeros_like(starts)
    if slab_steps_mm is not None:
        slab = np.asarray(slab_steps_mm, dtype=np.float64) @ turn
        starts = starts - (slab_count - 1) / 2 * slab
    steps = np.asarray(steps_mm, dtype=np.float64) @ turn
    out = np.empty((len(starts), count), dtype=np.float32)
    low, high = volume.padding if volume.padding is not None else (0.0, -1.0)
    work = (
        volume.voxels.reshape(-1),
        volume.shape,
        _NO_FIELD if volume.field is None else volume.field.reshape(-1),
        volume.padding is not None,
        float(low),
        float(high),
        float(volume.slope),
        float(volume.intercept),
        np.ascontiguousarray(starts),
        np.ascontiguousarray(steps),
        np.ascontiguousarray(slab),
        slab_count,
        maximum,
        out,
    )
    if out.size * slab_count <= FEW_SAMPLES:
        # Waking the other threads would cost more.
        sample_lines(*work, 0, len(out))
    else:
        shared(partial(sample_lines, *work), len(out))
    return out


def at_points(volume: Voxels, points_mm: Array) -> NDArray[np.float32]:
    """Grey values at patient points, trilinear; NaN where not scanned.

    Parameters
    ----------
    points_mm : (n, 3) patient LPS mm

    Returns
    -------
    (n,) float32
    """
    p = np.atleast_2d(np.asarray(points_mm, dtype=np.float64))
    return lines(volume, p, np.zeros_like(p), 1)[:, 0]


def profiles(
    volume: Voxels, starts_mm: Array, directions: Array, step_mm: float, count: int
) -> NDArray[np.float32]:
    """Grey values along rays.

    Parameters
    ----------
    starts_mm : (n, 3) patient LPS mm
    directions : (n, 3)
        Unit vectors.
    step_mm : float
    count : int
        Samples a ray; the first at its start.

    Returns
    -------
    (n, count) float32, NaN where not scanned.
    """
    return lines(volume, starts_mm, np.asarray(directions, dtype=np.float64) * step_mm, count)


def slab_samples(volume: Voxels, slab_mm: float) -> int:
    """Samples through a slab: 2 ceil(slab / (2 · half the smallest voxel edge)) + 1."""
    if slab_mm < 0:
        raise ValueError("a slab cannot be thinner than nothing")
    half_edge = float(volume.voxel_mm.min()) / 2
    # A slab of a whole number of edges must not gain a pair of samples by rounding.
    return 2 * math.ceil(slab_mm / (2 * half_edge) - 1e-9) + 1


def picture(
    volume: Voxels, grid: PictureGrid, *, slab_mm: float = 0.0, maximum: bool = False
) -> NDArray[np.float32]:
    """Cut a flat picture.

    Parameters
    ----------
    grid : PictureGrid
    slab_mm : float
        Thickness over which is averaged for looking, from −slab/2 to +slab/2, ends included.
        No measurement uses it.
    maximum : bool
        The maximum through the slab in place of the mean.

    Returns
    -------
    (rows, cols) float32 grey values, row 0 at the top, NaN where one sample was not scanned.
    """
    down = (np.arange(grid.rows) - (grid.rows - 1) / 2) * grid.pixel_mm
    left_edge = grid.origin - (grid.cols - 1) / 2 * grid.pixel_mm * grid.right
    starts = left_edge - down[:, None] * grid.up
    steps = np.broadcast_to(grid.pixel_mm * grid.right, starts.shape)
    n = slab_samples(volume, slab_mm)
    through = None
    if n > 1:
        through = np.broadcast_to(grid.toward_viewer * (slab_mm / (n - 1)), starts.shape)
    return lines(
        volume, starts, steps, grid.cols, slab_steps_mm=through, slab_count=n, maximum=maximum
    )


def touches_made_up(volume: Voxels, points_mm: Array) -> NDArray[np.bool_]:
    """(n,) True where the grey value at a patient point rests on a slice that was made up.

    False outside the volume, where there is no grey value.
    """
    k = volume.ijk(points_mm)[:, 2]
    last = volume.shape[0] - 1
    within = (k >= -HULL_TOLERANCE) & (k <= last + HULL_TOLERANCE)
    below = np.clip(np.floor(k + HULL_TOLERANCE), 0, last).astype(np.intp)
    above = np.clip(np.ceil(k - HULL_TOLERANCE), 0, last).astype(np.intp)
    return np.asarray(within & (volume.made_up[below] | volume.made_up[above]))
