"""What of a volume was not scanned: padding, and the fill around a round field."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from core.findings import Finding

MOST_PADDING = 0.5
"""A volume, or a slice beside others, of which more is padding is told."""
_THINNED = 4
MIN_RADIUS_SHARE = 0.45
"""A round field nearly reaches the picture's edges; a smaller disc is an object in air."""
CENTRE_TOLERANCE_PX = 2.0
EDGE_TOLERANCE_PX = 1.5
MIN_FILL_PX = 16


def padding_findings(
    voxels: NDArray[Any], padding: tuple[float, float] | None, field: NDArray[np.uint8] | None
) -> list[Finding]:
    """Say where the padding value covers more than half of what lies within the field.

    Parameters
    ----------
    voxels : (K, J, I) stored values
    padding : (low, high) or None
    field : (J, I) or None
        See `round_field`.
    """
    if padding is None:
        return []
    step = max(1, min(_THINNED, min(voxels.shape[1:]) // 16))
    thinned = voxels[:, ::step, ::step]
    covered = (thinned >= padding[0]) & (thinned <= padding[1])
    inside = np.ones(thinned.shape[1:], bool) if field is None else field[::step, ::step] > 0
    shares = covered[:, inside].mean(axis=1)
    whole = float(shares.mean())
    if whole > MOST_PADDING:
        fields = {"percent": f"{100 * whole:.0f}"}
        return [Finding("scan_mostly_padding", "caution", fields)]
    odd = int((shares > max(MOST_PADDING, 2 * float(np.median(shares)))).sum())
    return [Finding("scan_slices_of_padding", "caution", {"count": odd})] if odd else []


def round_field(voxels: NDArray[Any]) -> NDArray[np.uint8] | None:
    """Find the constant fill outside a round field.

    The fill is one value, in the same pixels of every slice, joined to the four corners, and
    what it leaves free is a disc about the middle that nearly reaches the edges. Air that is
    clamped to one value follows the patient instead, and is never taken for it.

    Parameters
    ----------
    voxels : (K, J, I)

    Returns
    -------
    (J, I) uint8, 1 where scanned, or None where there is no such fill.
    """
    first = voxels[0]
    value = first[0, 0]
    corners = voxels[:, [0, 0, -1, -1], [0, -1, 0, -1]]
    if not (corners == value).all():
        return None
    fill = _joined_to_corners(first == value)
    for k in _spread(len(voxels)):
        fill &= voxels[k] == value
    if int(fill.sum()) < MIN_FILL_PX or not _is_round(fill):
        return None
    places = np.flatnonzero(fill)
    for plane in voxels:
        if not (plane.reshape(-1)[places] == value).all():
            return None
    return (~fill).astype(np.uint8)


def _spread(count: int) -> list[int]:
    return sorted({0, count // 4, count // 2, 3 * count // 4, count - 1})


def _joined_to_corners(same: NDArray[np.bool_]) -> NDArray[np.bool_]:
    from scipy import ndimage

    labels, _ = ndimage.label(same)
    return np.isin(labels, labels[[0, 0, -1, -1], [0, -1, 0, -1]])


def _is_round(fill: NDArray[np.bool_]) -> bool:
    """Whether the free pixels are a disc about the middle, clipped by the edges or not."""
    rows, cols = fill.shape
    inner = np.zeros_like(fill)
    inner[:, 1:] |= fill[:, 1:] & ~fill[:, :-1]
    inner[:, :-1] |= fill[:, :-1] & ~fill[:, 1:]
    inner[1:] |= fill[1:] & ~fill[:-1]
    inner[:-1] |= fill[:-1] & ~fill[1:]
    j, i = np.nonzero(inner)
    if len(j) < MIN_FILL_PX:
        return False
    # Circle through the rim by linear least squares: x² + y² = 2 a x + 2 b y + c.
    matrix = np.stack([2.0 * i, 2.0 * j, np.ones(len(i))], axis=1)
    solution, *_ = np.linalg.lstsq(matrix, (i**2 + j**2).astype(np.float64), rcond=None)
    centre_i, centre_j = float(solution[0]), float(solution[1])
    radius = float(np.sqrt(max(0.0, solution[2] + centre_i**2 + centre_j**2)))
    off = np.hypot(centre_i - (cols - 1) / 2, centre_j - (rows - 1) / 2)
    if off > CENTRE_TOLERANCE_PX or radius < MIN_RADIUS_SHARE * min(rows, cols):
        return False
    jj, ii = np.ogrid[:rows, :cols]
    distance = np.hypot(ii - centre_i, jj - centre_j)
    outside = bool(fill[distance > radius + EDGE_TOLERANCE_PX].all())
    inside = not bool(fill[distance < radius - EDGE_TOLERANCE_PX].any())
    return outside and inside
