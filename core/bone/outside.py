"""What around a fixture is outside the bone: dark, and joined to the mouth or to air.

Dark alone says nothing: fatty marrow is as dark as soft tissue, or darker. It is closed in by
cortex, and what lies outside is not. So a block of the scan is looked at with the same step in
all directions, in which a plate that rays cross aslant stays as closed as any other.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter, label

from core.bone.bone_levels import BoneLevels
from core.geometry import Array
from core.image import sampling
from core.image.flags import narrowed, reached, widened
from core.image.volume import Volume

_STEP_MM = 0.3
_BLUR_MM = 0.2
"""Takes some noise of single voxels away and leaves the thinnest plates closed."""

_LEAST_BRIGHT, _MOST_BRIGHT = 0.08, 0.2
"""Bone is what stands this share of the contrast above soft tissue, or half of what spongy bone
does, if that lies between."""

_AIR = 0.4
"""Air lies this share of the contrast below soft tissue; no marrow does."""

_DARKEST = 0.05
"""Nothing counts as darker than soft tissue by more than this share of the contrast."""

_ABOVE_MM = 6.0
"""The mouth lies this far above a platform."""

_SEEDS_ABOVE_MM, _SEEDS_WITHIN_MM = 3.0, 6.0
"""The mouth is looked for this far above a platform and more, this near to it along the arch."""

_SPECK = 8
"""Cells of the largest speck of noise, 0.2 mm³."""

_PINHOLE_STEPS = 1
"""A hole of up to two steps, 0.6 mm, in a plate is one of noise and blur: gaps that are told are no
narrower either."""

_BESIDE_STEPS = 1
"""The smoothed border of what is dark lies up to this far outside the bone's own."""


class Ways(Protocol):
    """Directions of a block: across, along the arch, and coronal; unit, patient LPS."""

    @property
    def b(self) -> Array:
        """Across."""

    @property
    def m(self) -> Array:
        """Along the arch."""

    @property
    def a(self) -> Array:
        """Coronal."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Outside:
    """A block around a fixture, (across, along the arch, downwards).

    Parameters
    ----------
    corner_mm : (3,) patient LPS mm
        The first place.
    ways : (3, 3)
        Unit rows: the block's directions.
    mouth : (i, j, k) bool
        Joined to the mouth.
    hollow : (i, j, k) bool
        Joined to air that is not that of the mouth: sinus, nose.
    closed : (i, j, k) bool
        As dark as the outside, and joined to neither: marrow.
    """

    corner_mm: Array
    ways: Array
    mouth: NDArray[np.bool_]
    hollow: NDArray[np.bool_]
    closed: NDArray[np.bool_]

    @classmethod
    def around(
        cls,
        volume: Volume,
        platform: Array,
        frame: Ways,
        levels: BoneLevels,
        *,
        reach_mm: float,
        depth_mm: float,
    ) -> Outside:
        """Look at a block around a fixture.

        Parameters
        ----------
        platform : (3,) patient LPS mm
        frame : Ways
        reach_mm : float
            From the axis, to all sides.
        depth_mm : float
            Below the platform.
        """
        ways = np.stack([frame.b, frame.m, -frame.a])
        beside = 2 * round(reach_mm / _STEP_MM) + 1
        down = round((_ABOVE_MM + depth_mm) / _STEP_MM) + 1
        half = 0.5 * (beside - 1) * _STEP_MM
        corner = platform - half * (ways[0] + ways[1]) - _ABOVE_MM * ways[2]
        i, j = (axis.ravel() for axis in np.indices((beside, beside)))
        starts = corner + _STEP_MM * (i[:, None] * ways[0] + j[:, None] * ways[1])
        steps = np.broadcast_to(_STEP_MM * ways[2], starts.shape)
        grey = sampling.lines(volume, starts, steps, down).astype(np.float64)
        grey = grey.reshape(beside, beside, down)
        scanned = np.isfinite(grey)
        contrast = levels.cortical - levels.soft
        grey = np.where(scanned, grey, levels.soft)
        # Air beside a thin plate would draw it down to soft tissue.
        closed = np.maximum(grey, levels.soft - _DARKEST * contrast)
        smooth, plain = (gaussian_filter(g, _BLUR_MM / _STEP_MM) for g in (closed, grey))
        rise = np.clip(
            0.5 * (levels.spongy - levels.soft), _LEAST_BRIGHT * contrast, _MOST_BRIGHT * contrast
        )
        # Through what was not scanned nobody can say that there is a way.
        dark = scanned & (smooth < levels.soft + rise)
        air = scanned & (plain < levels.soft - _AIR * contrast)
        dark = _without_specks(dark) & scanned
        mouth = _joined(_highest(scanned), dark, scanned)
        air &= ~mouth
        hollow = air | reached(widened(air), dark & ~mouth)
        closed = dark & ~mouth & ~hollow
        return cls(corner_mm=corner, ways=ways, mouth=mouth, hollow=hollow, closed=closed)

    def at(self, points_mm: Array) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
        """(n,) places in what is joined to the mouth, and in sinus or nose."""
        return self.in_cells(self.cells(points_mm))

    def in_cells(self, cells: NDArray[np.intp]) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
        """The same of cells of this block: many questions, one look for where places lie."""
        inside = cells >= 0
        return self.mouth.ravel()[cells] & inside, self.hollow.ravel()[cells] & inside

    def in_marrow(self, cells: NDArray[np.intp]) -> NDArray[np.bool_]:
        """(n,) cells that are dark and closed in."""
        return np.asarray(self.closed.ravel()[cells] & (cells >= 0))

    def cells(self, points_mm: Array) -> NDArray[np.intp]:
        """(n,) the cell of the block that each place lies in, counted through; -1 for none."""
        ijk = np.rint((points_mm - self.corner_mm) @ self.ways.T / _STEP_MM).astype(np.intp)
        i, j, k = ijk.T
        ni, nj, nk = self.mouth.shape
        inside = (i >= 0) & (i < ni) & (j >= 0) & (j < nj) & (k >= 0) & (k < nk)
        return np.where(inside, (i * nj + j) * nk + k, -1)

    def widened(self) -> Outside:
        """With what lies close beside it, up to the bone's own border."""
        return replace(
            self,
            mouth=widened(self.mouth, _BESIDE_STEPS),
            hollow=widened(self.hollow, _BESIDE_STEPS),
        )


def _joined(
    seeds: NDArray[np.bool_], dark: NDArray[np.bool_], scanned: NDArray[np.bool_]
) -> NDArray[np.bool_]:
    """What is joined to the seeds by more than a pinhole: blur opens those in the thinnest plates.

    A way in that is narrower than `_PINHOLE_STEPS` on each side of its middle is none.
    """
    wide = dark & narrowed(dark | ~scanned, _PINHOLE_STEPS)
    return np.asarray(widened(reached(seeds, wide), _PINHOLE_STEPS + 1) & dark)


def _without_specks(part: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """With what noise has left out of it: no bone is as small."""
    labels, count = label(~part)
    sizes = np.bincount(labels.ravel(), minlength=count + 1)
    return np.asarray(part | (sizes <= _SPECK)[labels])


def _highest(scanned: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """The highest scanned place of each column near the axis, well above the platform.

    A field that is cut aslant begins in the bone in columns far along the arch: not there.
    """
    first = np.argmax(scanned, axis=2)
    near = round(_SEEDS_WITHIN_MM / _STEP_MM)
    middle = scanned.shape[1] // 2
    beside = np.abs(np.arange(scanned.shape[1]) - middle) <= near
    there = scanned.any(axis=2) & beside
    above = there & (first <= round((_ABOVE_MM - _SEEDS_ABOVE_MM) / _STEP_MM))
    if not above.any():
        above = there & (first <= round(_ABOVE_MM / _STEP_MM))
    out = np.zeros_like(scanned)
    i, j = np.nonzero(above)
    out[i, j, first[i, j]] = True
    return out
