"""How much each place looks like the middle of a canal: a dark lumen with a brighter rim all round.

Rims of several radii are tried. Along each of the directions from a place the rim is weighed
against the lumen; one direction counts no more than a bounded share, so that a bright cortex on
one side is no rim. Fatty marrow is as dark as a lumen and sclerotic bone as bright as a wall: in
both the rim is brighter than the lumen, which is all that is asked.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

RADII_MM = (0.8, 1.1, 1.4, 1.7)
DIRECTIONS = 12
LUMEN_SHARE = 0.45


def canal_likeness(
    grey: NDArray[np.float32], step_mm: float, contrast: float
) -> NDArray[np.float32]:
    """Likeness of each cell of pictures across a canal, at the radius that suits it best.

    Parameters
    ----------
    grey : (n, m, m) float32
        Pictures across the course; NaN where not scanned.
    step_mm : float
        Between cells.
    contrast : float
        Rim against lumen, grey, from which a direction counts in full.

    Returns
    -------
    (n, m, m) float32
        From -1 to 1; -1 at the margin and where not scanned.
    """
    reach = round(max(RADII_MM) / step_mm)
    size = grey.shape[1] - 2 * reach
    out = np.full(grey.shape, -1.0, dtype=np.float32)
    if size <= 0:
        return out

    def moved(du: int, dv: int) -> NDArray[np.float32]:
        return grey[:, reach + du : reach + du + size, reach + dv : reach + dv + size]

    angles = np.arange(DIRECTIONS) * 2 * np.pi / DIRECTIONS
    best = np.full((len(grey), size, size), -1.0, dtype=np.float32)
    for radius in RADII_MM:
        inner = _cells(LUMEN_SHARE * radius / step_mm, angles)
        lumen = moved(0, 0) + sum(moved(*cell) for cell in inner)
        lumen = lumen / np.float32(1 + len(inner))
        total = np.zeros_like(best)
        for angle in angles:
            away = radius / step_mm
            cell = round(away * np.cos(angle)), round(away * np.sin(angle))
            total += np.clip((moved(*cell) - lumen) / np.float32(contrast), -1.0, 1.0)
        best = np.fmax(best, total / np.float32(DIRECTIONS))
    out[:, reach:-reach, reach:-reach] = best
    return out


def _cells(away: float, angles: NDArray[np.float64]) -> list[tuple[int, int]]:
    return sorted({(round(away * np.cos(a)), round(away * np.sin(a))) for a in angles} - {(0, 0)})
