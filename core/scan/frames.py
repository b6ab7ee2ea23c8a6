"""Geometry of a stack: the order of its slices and the voxel-to-patient transform.

DICOM PS3.3 C.7.6.2.1.1, equation C.7.6.2.1-1, with k's column from the measured positions of
the slices, never from SliceThickness or SpacingBetweenSlices.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from core.errors import ScanError
from core.geometry import UNIT_TOLERANCE, Array, angle_deg

STEP_TOLERANCE = 0.01
"""A step may differ from the median step by this share of it, or by ..."""
STEP_TOLERANCE_MM = 0.01
"""... this length, whichever is larger: rounding in the header, not a fault of the scan."""
DRIFT_SHARE = 0.2
"""How far a slice may lie from its place on the even grid, as a share of the step."""
LATERAL_SHARE = 0.2
"""How far a position may lie beside the line through the stack, in pixel edges."""
SAME_PLACE_MM = 0.002
"""Positions nearer than this are one position."""
COSINE_TOLERANCE = 2e-3
"""How far the direction cosines may be off unit length and right angle: four written digits."""
MIN_SLICES_TO_FILL = 5
"""A missing slice is only told from an uneven stack where enough others are even."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Arrangement:
    """Slices in order, and where they lie.

    Parameters
    ----------
    order : tuple of int
        For each slice k the index of its picture, or -1 where none was exported.
    mm_from_ijk : (4, 4)
        (i, j, k, 1) → patient LPS mm.
    tilt_deg : float
        Angle between the stack's direction and the slice normal.
    steps_mm : (least, most)
        Steps along the normal as the positions give them; (0, 0) where there are no positions.
    off_mm : float
        How far the worst slice lies from its place on the even grid.
    """

    order: tuple[int, ...]
    mm_from_ijk: Array
    tilt_deg: float
    steps_mm: tuple[float, float] = (0.0, 0.0)
    off_mm: float = 0.0


def directions(orientation: ArrayLike) -> tuple[Array, Array, Array]:
    """Unit vectors along the rows, down the columns, and their normal (row × column).

    Written cosines are rounded, so they are made exactly perpendicular: each gives way by half.

    Raises
    ------
    ScanError
        ``scan_orientation_broken`` when they are no perpendicular unit vectors.
    """
    cosines = np.asarray(orientation, dtype=np.float64)
    row, col = cosines[:3], cosines[3:]
    lengths = np.linalg.norm(row), np.linalg.norm(col)
    if (
        max(abs(length - 1) for length in lengths) > COSINE_TOLERANCE
        or abs(float(row @ col)) > COSINE_TOLERANCE
    ):
        raise ScanError("scan_orientation_broken", found=_short(cosines))
    row, col = row / lengths[0], col / lengths[1]
    lean = float(row @ col)
    if abs(lean) > UNIT_TOLERANCE:
        row, col = row - col * lean / 2, col - row * lean / 2
        row, col = row / np.linalg.norm(row), col / np.linalg.norm(col)
    return row, col, np.cross(row, col)


def affine(
    *,
    position_mm: ArrayLike,
    row: ArrayLike,
    col: ArrayLike,
    step_mm: ArrayLike,
    spacing_mm: tuple[float, float],
) -> Array:
    """Equation C.7.6.2.1-1 as a matrix on (i, j, k, 1).

    Parameters
    ----------
    position_mm : (3,)
        Centre of the first voxel of the first slice.
    row, col : (3,)
        Unit vectors along the rows (i grows) and down the columns (j grows).
    step_mm : (3,)
        From a slice to the next.
    spacing_mm : (row spacing, column spacing)
        As in PixelSpacing: between the rows (step of j) first, then between the columns.

    Returns
    -------
    (4, 4) float64
    """
    out = np.eye(4)
    out[:3, 0] = np.asarray(row, dtype=np.float64) * spacing_mm[1]
    out[:3, 1] = np.asarray(col, dtype=np.float64) * spacing_mm[0]
    out[:3, 2] = step_mm
    out[:3, 3] = position_mm
    return out


def arrange(
    positions_mm: ArrayLike, orientation: ArrayLike, spacing_mm: tuple[float, float]
) -> Arrangement:
    """Order the slices of a stack and find their even grid.

    *Even*: every step within 1 % or 0.01 mm (the larger) of the median step, no slice off its
    place on the grid by a fifth of a step, positions on one line. One isolated missing slice is
    left open (-1). Positions along a line that leans against the normal (gantry tilt) give the
    sheared transform, exactly. Step and origin are medians over all slices: none speaks for the
    others, neither the first nor the last.

    Parameters
    ----------
    positions_mm : (n, 3)
        ImagePositionPatient of each picture, any order, no two alike.
    orientation : (6,)
    spacing_mm : (row spacing, column spacing)

    Raises
    ------
    ScanError
        ``scan_one_slice``, ``scan_slices_missing``, ``scan_slices_uneven``, ``scan_not_a_line``,
        ``scan_orientation_broken``, ``scan_conflicting_slices``.
    """
    row, col, normal = directions(orientation)
    positions = np.asarray(positions_mm, dtype=np.float64)
    if len(positions) < 2:
        raise ScanError("scan_one_slice")
    along = positions @ normal
    order = np.argsort(along, kind="stable")
    steps = np.diff(along[order])
    if float(steps.min()) <= SAME_PLACE_MM:
        raise ScanError("scan_conflicting_slices", count=int((steps <= SAME_PLACE_MM).sum()))
    places = _places(steps, along[order])
    step, first = _median_line(positions[order], places)
    off = positions[order] - (first + places[:, None] * step)
    _check_line(off, step, normal, min(spacing_mm))
    single = steps / np.diff(places)
    slices = np.full(int(places[-1]) + 1, -1, dtype=np.int64)
    slices[places] = order
    return Arrangement(
        order=tuple(int(index) for index in slices),
        mm_from_ijk=affine(
            position_mm=first, row=row, col=col, step_mm=step, spacing_mm=spacing_mm
        ),
        tilt_deg=angle_deg(step, normal),
        steps_mm=(float(single.min()), float(single.max())),
        off_mm=float(np.linalg.norm(off, axis=1).max()),
    )


def _median_line(
    positions: Array, places: np.ndarray[tuple[int], np.dtype[np.int64]]
) -> tuple[Array, Array]:
    """Step from place to place and position of place 0, each by the median of all slices.

    The step is the median over pairs half a stack apart: rounded positions, of which every single
    step is a little wrong, give it as exactly as the whole length does.
    """
    lag = len(positions) // 2
    between = (places[lag:] - places[:-lag])[:, None]
    step = np.median((positions[lag:] - positions[:-lag]) / between, axis=0)
    return step, np.median(positions - places[:, None] * step, axis=0)


def _places(steps: Array, along: Array) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
    """Grid index of each slice; refuses what is not even but for one missing slice."""
    median = float(np.median(steps))
    tolerance = max(STEP_TOLERANCE * median, STEP_TOLERANCE_MM) + 1e-9
    odd = np.flatnonzero(np.abs(steps - median) > tolerance)
    counts = np.ones(len(steps), dtype=np.int64)
    if len(odd):
        multiples = np.round(steps[odd] / median)
        fits = np.abs(steps[odd] - multiples * median) <= tolerance * multiples
        if not fits.all() or multiples.min() < 2:
            worst = odd[int(np.argmax(np.abs(steps[odd] - median)))]
            raise ScanError(
                "scan_slices_uneven",
                count=len(odd),
                expected_mm=round(median, 4),
                found_mm=round(float(steps[worst]), 4),
            )
        missing = int(multiples.sum()) - len(odd)
        if missing > 1 or len(along) < MIN_SLICES_TO_FILL:
            raise ScanError(
                "scan_slices_missing", count=missing, gaps=len(odd), step_mm=round(median, 4)
            )
        counts[odd] = multiples.astype(np.int64)
    return np.concatenate([[0], np.cumsum(counts)])


def _check_line(off: Array, step: Array, normal: Array, pixel_mm: float) -> None:
    """Refuse slices that lie too far from their places: `off` (n, 3), in mm."""
    drift = off @ normal
    step_mm = float(step @ normal)
    worst = float(np.abs(drift).max())
    if worst >= DRIFT_SHARE * step_mm:
        raise ScanError(
            "scan_slices_uneven",
            count=int((np.abs(drift) >= DRIFT_SHARE * step_mm).sum()),
            expected_mm=round(step_mm, 4),
            found_mm=round(step_mm + worst, 4),
        )
    beside = np.linalg.norm(off - drift[:, None] * normal, axis=1)
    if float(beside.max()) > max(LATERAL_SHARE * pixel_mm, STEP_TOLERANCE_MM):
        raise ScanError("scan_not_a_line", found_mm=round(float(beside.max()), 3))


def _short(values: Array) -> str:
    return ", ".join(f"{value:.4g}" for value in values)
