"""Whether a ridge bears teeth, and whether a palate spans beside it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import map_coordinates
from scipy.spatial import cKDTree

from core.geometry import Array
from core.proposing.coarse import EDGE_MM, Coarse
from core.proposing.crowns import CAP_MM, enamel_over
from core.proposing.find import Ridge

CORE_MM = (3.5, 4.5, 5.5)
"""Depths under a ridge's top where a tooth is dentine, a crest spongy."""
DENSE = 0.45
"""Least grey of a tooth's core over the threshold, in parts of that of the brightest bone."""
BRIGHTEST = 80.0
BESIDE_MM = (10.0, 18.0)
VAULT_MM = (-17.0, -3.0)
"""Where a palate is looked for: from the ridge's line, and from the plane along its top."""
LEVEL_MM = 2.0
"""A palate is level within this; the flank of a lower jaw's body is not."""
LEAST_CELLS = 60


def bears_teeth(scan: Coarse, ridge: Ridge, threshold: float) -> bool:
    """Whether over half of the ridge's length enamel is on top and no spongy bone under it.

    Parameters
    ----------
    scan : Coarse
    ridge : Ridge
    threshold : float
        Grey value that bounds hard tissue; spongy bone may be darker, dentine is not.
    """
    bright = scan.grey[scan.seen & (scan.grey > threshold)]
    if not len(bright):
        return False
    top = np.max([_under(scan, ridge, deep) for deep in CAP_MM], axis=0)
    core = np.mean([_under(scan, ridge, deep) for deep in CORE_MM], axis=0)
    brightest = float(np.percentile(bright, BRIGHTEST))
    return bool(
        float(np.median(top)) > enamel_over(scan, threshold)
        and float(np.median(core)) - threshold > DENSE * max(brightest - threshold, 1e-6)
    )


def _under(scan: Coarse, ridge: Ridge, deep_mm: float) -> Array:
    """(n,) grey values at a depth under the ridge's top."""
    line, hard, normal = ridge.line, ridge.hard, ridge.tops.normal
    at = line.places + (line.top - deep_mm)[:, None] * normal - hard.origin
    grey = scan.grey[:: int(hard.sign)]
    return np.asarray(map_coordinates(grey, (at / EDGE_MM)[:, ::-1].T, order=1, mode="nearest"))


@dataclass(frozen=True, slots=True)
class Palate:
    """What spans beside a ridge.

    Parameters
    ----------
    share : float
        Share of the scanned places to one side of the ridge that hard tissue spans level; the
        fuller side's.
    looked : bool
        Whether enough was scanned on both sides: else its absence tells nothing.
    """

    share: float
    looked: bool


UNSEEN = Palate(0.0, looked=False)


def palate(ridge: Ridge) -> Palate:
    """Whether a palate spans on one side of a ridge."""
    tops, hard = ridge.tops, ridge.hard
    line = tops.flat(ridge.line.places)
    off = hard.surface - tops.origin
    height = off @ tops.normal
    vault = off[(height > VAULT_MM[0]) & (height < VAULT_MM[1])]
    near, far = (mm / EDGE_MM for mm in BESIDE_MM)
    low, high = np.floor(line.min(axis=0) - far), np.ceil(line.max(axis=0) + far)
    columns, rows = np.meshgrid(np.arange(low[0], high[0] + 1), np.arange(low[1], high[1] + 1))
    cells = np.stack([columns.ravel(), rows.ravel()], axis=1)
    gap, at = (np.asarray(one) for one in cKDTree(line).query(cells))
    held = (gap > near) & (gap < far) & (at > 1) & (at < len(line) - 2)
    held[held] = _seen(ridge, cells[held])
    cells, at = cells[held], at[held]
    travel = np.gradient(line, axis=0)[at]
    step = cells - line[at]
    left = travel[:, 0] * step[:, 1] - travel[:, 1] * step[:, 0] > 0
    sides = [side for side in (left, ~left) if side.sum() >= LEAST_CELLS]
    looked = len(sides) == 2
    if not len(vault) or not sides:
        return Palate(0.0, looked)
    found = cKDTree(tops.flat(vault + tops.origin)).query(cells)
    apart, nearest = (np.asarray(one) for one in found)
    over = (vault @ tops.normal)[nearest]
    shares = [0.0]
    for side in sides:
        spanned = apart[side] < 1.2
        if spanned.any():
            level = np.abs(over[side] - np.median(over[side][spanned])) < LEVEL_MM
            shares.append(float((spanned & level).mean()))
    return Palate(max(shares), looked)


def _seen(ridge: Ridge, cells: np.ndarray) -> np.ndarray:
    """Which cells were scanned in the middle of the vault's height."""
    hard = ridge.hard
    middle = ridge.tops.places(cells) + np.mean(VAULT_MM) * ridge.tops.normal
    at = ((middle - hard.origin) / EDGE_MM)[:, ::-1].T
    seen = map_coordinates(hard.seen.astype(np.float32), at, order=0, cval=0.0)
    return np.asarray(seen > 0.5)
