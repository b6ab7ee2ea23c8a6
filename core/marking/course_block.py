"""The image along marks, straightened: pictures across a curve, one behind the other.

Frames are carried along the curve without turning about it (double reflection: Wang W et al. 2008,
ACM Trans Graph 27:2), so that neighbouring pictures lie alike.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from core.geometry import Array, any_across
from core.image import sampling
from core.image.volume import Volume


def carried_frames(points_mm: Array) -> tuple[Array, Array]:
    """Tangents and frames of a polyline.

    Parameters
    ----------
    points_mm : (n, 3) patient LPS mm
        Neighbours apart, n at least 2.

    Returns
    -------
    (n, 3), (n, 2, 3)
        Unit tangents, and two unit vectors across each of them.
    """
    tangent = np.gradient(points_mm, axis=0)
    tangent /= np.linalg.norm(tangent, axis=1, keepdims=True)
    across = np.empty((len(points_mm), 2, 3))
    first = any_across(tangent[0])
    across[0] = first, np.cross(tangent[0], first)
    for n in range(1, len(points_mm)):
        step = points_mm[n] - points_mm[n - 1]
        mirrored = first - 2 * (step @ first) / (step @ step) * step
        turned = tangent[n - 1] - 2 * (step @ tangent[n - 1]) / (step @ step) * step
        other = tangent[n] - turned
        size = other @ other
        first = mirrored if size < 1e-18 else mirrored - 2 * (other @ mirrored) / size * other
        across[n] = first, np.cross(tangent[n], first)
    return tangent, across


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Block:
    """Grey values across an axis.

    Parameters
    ----------
    axis_mm : (n, 3) patient LPS mm
    across : (n, 2, 3)
        Directions of u and v at each place of the axis.
    step_mm : float
        Of u and v.
    grey : (n, m, m) float32
        By place, u, v; the middle one lies on the axis. NaN where not scanned.
    """

    axis_mm: Array
    across: Array
    step_mm: float
    grey: NDArray[np.float32]

    @property
    def offsets_mm(self) -> Array:
        """(m,) of the cells from the axis, alike for u and v."""
        count = self.grey.shape[1]
        return np.asarray((np.arange(count) - count // 2) * self.step_mm)


def cut_block(volume: Volume, axis_mm: Array, half_mm: float, step_mm: float) -> Block:
    """Cut pictures across an axis, each the mean of three samples through its neighbourhood.

    Parameters
    ----------
    volume : Volume
    axis_mm : (n, 3) patient LPS mm
        About evenly spaced.
    half_mm : float
        Half the size of the pictures.
    step_mm : float
        Between cells.
    """
    tangent, across = carried_frames(axis_mm)
    half = int(np.ceil(half_mm / step_mm))
    count = 2 * half + 1
    u = (np.arange(count) - half) * step_mm
    starts = axis_mm[:, None] + u[:, None] * across[:, None, 0] + u[0] * across[:, None, 1]
    flat = (len(axis_mm) * count, 3)
    apart = float(np.linalg.norm(np.diff(axis_mm, axis=0), axis=1).mean())
    grey = sampling.lines(
        volume,
        starts.reshape(flat),
        np.broadcast_to(step_mm * across[:, None, 1], starts.shape).reshape(flat),
        count,
        slab_steps_mm=np.broadcast_to(apart * tangent[:, None], starts.shape).reshape(flat),
        slab_count=3,
    )
    return Block(
        axis_mm=axis_mm,
        across=across,
        step_mm=step_mm,
        grey=grey.reshape(len(axis_mm), count, count),
    )
