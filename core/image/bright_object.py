"""A bright, closed object found from one click: a stent's filling, or a ball of a scale check.

Levels come from the image around the click, never from a table: the object's own, that of what
lies around it, and the threshold halfway between. Bright objects bloom in such scans, so their
size is never a scale; their middle is hardly moved by it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.ndimage import binary_dilation, binary_erosion, label

from core.geometry import Array, vector
from core.image import sampling
from core.image.volume import Volume

STEP_MM = 0.3
CLICK_MM = 1.5
"""How far beside the object a click may lie (common practice, no source)."""

_CONTRAST = 6.0
_METAL = 1.35
_SHELL = (3, 7)
_LEAST_VOXELS = 30
_Mask = NDArray[np.bool_]

Refusal: TypeAlias = Literal[
    "not scanned", "nothing there", "several", "touches metal", "not closed"
]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BrightObject:
    """What is connected to the click above the halfway threshold, on a grid of 0.3 mm.

    Parameters
    ----------
    points_mm : (n, 3) patient LPS mm
    grey : (n,)
    inside, around : float
        Grey levels of the object and of what lies around it.
    noise_sd : float
        Of one sample.
    """

    points_mm: Array
    grey: Array
    inside: float
    around: float
    noise_sd: float

    @property
    def threshold(self) -> float:
        """Halfway between the object and what lies around it."""
        return 0.5 * (self.inside + self.around)

    @property
    def middle_mm(self) -> Array:
        """Centre of its points, weighted by how far they stand above the threshold."""
        weight = self.grey - self.threshold
        return np.asarray(weight @ self.points_mm / weight.sum())


def bright_object(
    volume: Volume, click_mm: ArrayLike, *, reach_mm: float
) -> BrightObject | Refusal:
    """Grow from a click, or say why there is no such object.

    Parameters
    ----------
    volume : Volume
    click_mm : (3,) patient LPS mm
        On the object or up to 1.5 mm beside it.
    reach_mm : float
        Half the edge of the box that it must lie in.

    Returns
    -------
    BrightObject, or why there is none.
    """
    click = vector(click_mm)
    count = round(reach_mm / STEP_MM)
    offsets = np.arange(-count, count + 1) * STEP_MM
    grid = np.stack(np.meshgrid(offsets, offsets, offsets, indexing="ij"), axis=-1)
    starts = (click + grid[:, :, 0]).reshape(-1, 3)
    upright = np.broadcast_to([0.0, 0.0, 1.0], starts.shape)
    raw = sampling.profiles(volume, starts, upright, STEP_MM, len(offsets))
    grey = raw.reshape(grid.shape[:3]).astype(np.float64)
    away = np.linalg.norm(grid, axis=-1)
    if not np.isfinite(grey[away < CLICK_MM]).any() or not np.isfinite(grey[count, count, count]):
        return "not scanned"
    noise = _noise(grey)
    levels = _first_levels(grey, away)
    found: _Mask | Refusal = "nothing there"
    for _ in range(3):
        inside, around = levels
        if inside - around < _CONTRAST * noise:
            return "nothing there"
        found = _connected(grey > 0.5 * (inside + around), away)
        # Asked in each round: levels taken from an object with metal on it are the metal's.
        if isinstance(found, str) or _holds_metal(grey[found], levels):
            return found if isinstance(found, str) else "touches metal"
        levels = _levels(grey, found)
    if isinstance(found, str) or _holds_metal(grey[found], levels):
        return found if isinstance(found, str) else "touches metal"
    inside, around = levels
    if _leaves_the_box(found) or not np.isfinite(grey[binary_dilation(found)]).all():
        return "not closed"
    return BrightObject(
        points_mm=click + grid[found],
        grey=grey[found],
        inside=inside,
        around=around,
        noise_sd=noise,
    )


def _noise(grey: Array) -> float:
    """SD of one sample from differences of neighbours; edges are rarer than flat places."""
    steps = np.abs(np.diff(grey, axis=0))
    return float(1.4826 * np.nanmedian(steps) / np.sqrt(2.0))


def _first_levels(grey: Array, away: Array) -> tuple[float, float]:
    """Level of the brightest near the click, and of what lies 3 to 6 mm from it."""
    near = grey[away < CLICK_MM]
    around = grey[(away > 3.0) & (away < 6.0)]
    return float(np.nanpercentile(near, 95)), float(np.nanmedian(around))


def _levels(grey: Array, found: _Mask) -> tuple[float, float]:
    """Levels well inside an object and in a shell about 1 to 2 mm outside it."""
    core = binary_erosion(found, iterations=2)
    # A small object is all edge: only its brightest part shows its level.
    small = core.sum() < _LEAST_VOXELS
    inside = float(np.nanpercentile(grey[found], 85) if small else np.nanmedian(grey[core]))
    near, far = (binary_dilation(found, iterations=n) for n in _SHELL)
    shell = grey[far & ~near]
    return inside, float(np.nanmedian(shell)) if np.isfinite(shell).any() else -np.inf


def _holds_metal(grey: Array, levels: tuple[float, float]) -> bool:
    inside, around = levels
    return bool(np.nanpercentile(grey, 98) > around + _METAL * (inside - around))


def _connected(above: _Mask, away: Array) -> _Mask | Refusal:
    """The part that the click lies on, or the only one near it."""
    parts, _ = label(above)
    middle = tuple(n // 2 for n in above.shape)
    chosen = int(parts[middle])
    if chosen == 0:
        near = [int(n) for n in np.unique(parts[away < CLICK_MM]) if n]
        near = [n for n in near if (parts == n).sum() >= _LEAST_VOXELS]
        if not near:
            return "nothing there"
        if len(near) > 1:
            return "several"
        chosen = near[0]
    found = np.asarray(parts == chosen)
    return found if found.sum() >= _LEAST_VOXELS else "nothing there"


def _leaves_the_box(found: _Mask) -> bool:
    """True where the object reaches a face of the box: it goes on outside."""
    return any(bool(np.take(found, at, axis=axis).any()) for axis in range(3) for at in (0, -1))
