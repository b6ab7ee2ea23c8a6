"""The line along the top of a ridge: over crowns, and over the crest where teeth are missing."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt, gaussian_filter1d, label, map_coordinates
from scipy.sparse import coo_matrix, csr_matrix
from scipy.sparse.csgraph import dijkstra

from core.geometry import Array
from core.proposing.coarse import EDGE_MM
from core.proposing.heights import NONE, Heights

ON_TOP_MM = 2.0
"""A top lies on the plane up to here."""
LOWEST_MM = -15.0
"""A ridge's top is not further below the plane."""
WIDEST_MM = 9.0
"""Half the width of the widest ridge; what is wider is a palate or a floor."""
CROWN_MM = 2.0
"""How far below its top a place across the ridge still belongs to it."""
ACROSS_MM = 7.0
APART_MM = 12.0
"""What is joined to a line's ridge but lies further from the line belongs to another ridge."""
SMOOTH_MM = 4.0
LEAST_MM = 12.0
SLIVER_MM = 2.0
"""An end narrower than this is a tooth or bone cut by the edge of the scan, whose middle lies
elsewhere."""


@dataclass(frozen=True, eq=False)
class RidgeLine:
    """Along the top of a ridge, one place a millimetre.

    Parameters
    ----------
    guide : (n, 2)
        Its columns and rows among the heights.
    places : (n, 3) turned mm
        On the plane.
    top : (n,)
        Height of the ridge over the plane there, mm.
    width : (n,)
        Of what lies within `CROWN_MM` of the top, mm.
    """

    guide: Array
    places: Array
    top: Array
    width: Array

    @property
    def on_plane(self) -> NDArray[np.bool_]:
        """(n,) where the top lies on the plane."""
        return np.abs(self.top) <= ON_TOP_MM

    @property
    def length_mm(self) -> float:
        """From the first place to the last."""
        return float(len(self.places) - 1)


def ridge_line(tops: Heights) -> RidgeLine | None:
    """The longest line along tops near the plane; None where there is no ridge."""
    guide = _guide(tops)
    return None if guide is None else _along(tops, guide, 3)


def without_slivers(tops: Heights, line: RidgeLine) -> RidgeLine | None:
    """Without the ends that the edge of the scan cut; they draw the line near them aside."""
    broad = np.flatnonzero(line.width >= SLIVER_MM)
    if not len(broad):
        return None
    if (broad[0], broad[-1]) == (0, len(line.width) - 1):
        return line
    return _along(tops, line.guide[broad[0] : broad[-1] + 1], 1)


def elsewhere(tops: Heights, line: RidgeLine) -> float:
    """Tops on the plane that are joined to a line's ridge but far from the line.

    Of a ring the line follows one half only.

    Returns
    -------
    float
        Their area in parts of the area of those near the line.
    """
    near, inside = _joined(tops)
    on = near & inside
    away = np.ones(on.shape, dtype=bool)
    columns, rows = np.rint(line.guide).astype(int).T
    rows, columns = rows.clip(0, on.shape[0] - 1), columns.clip(0, on.shape[1] - 1)
    away[rows, columns] = False
    far = distance_transform_edt(away) * EDGE_MM > APART_MM
    return float((on & far).sum() / max(1, (on & ~far).sum()))


def _along(tops: Heights, guide: Array, passes: int) -> RidgeLine | None:
    for _ in range(passes):
        line = _even(guide)
        if line is None:
            return None
        guide, top, width = _centred(tops, line)
    return RidgeLine(guide=guide, places=tops.places(guide), top=top, width=width)


def _guide(tops: Heights) -> Array | None:
    """(n, 2) columns and rows of the cheapest way along the ridge, end to end."""
    top = tops.top
    near, inside = _joined(tops)
    if not near.any():
        return None
    number = np.full(top.shape, -1)
    number[inside] = np.arange(inside.sum())
    cost = 1.0 + 0.35 * np.maximum(np.abs(top) - 1.0, 0.0)
    # The middle of the ridge is cheaper than its rim.
    rim = distance_transform_edt(inside & (top > -4.0))
    cost += 1.5 / (1.0 + rim)
    graph = _graph(number, cost)
    ends = number[inside & near]
    start = int(ends[0])
    for _ in range(2):
        far = dijkstra(graph, directed=False, indices=np.array([start]))[0]
        far = np.where(np.isfinite(far), far, -1.0)
        start = int(ends[np.argmax(far[ends])])
    fars, backs = dijkstra(
        graph, directed=False, indices=np.array([start]), return_predecessors=True
    )
    far, back = fars[0], backs[0]
    goal = int(ends[np.argmax(np.where(np.isfinite(far[ends]), far[ends], -1.0))])
    way = [goal]
    while way[-1] != start and back[way[-1]] >= 0:
        way.append(int(back[way[-1]]))
    rows, columns = np.nonzero(inside)
    return np.stack([columns[way], rows[way]], axis=1).astype(np.float64)


def _joined(tops: Heights) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """(V, U): tops on the plane; and the joined piece of ridge that holds most of them."""
    near = np.abs(tops.top) <= ON_TOP_MM
    # What lies much lower on both sides of a broad floor is no ridge.
    near &= distance_transform_edt(near) <= WIDEST_MM / EDGE_MM
    pieces, count = label(tops.top > LOWEST_MM, np.ones((3, 3)))
    held = np.bincount(pieces[near], minlength=count + 1)
    held[0] = 0
    return near, pieces == int(np.argmax(held))


def _graph(number: NDArray[np.int_], cost: Array) -> csr_matrix:
    """Neighbouring columns of a ridge, joined at the mean of their costs."""
    ones, others, weights = [], [], []
    for down, right in ((0, 1), (1, 0), (1, 1), (1, -1)):
        rows, columns = number.shape
        a = (slice(0, rows - down), slice(max(0, -right), columns - max(0, right)))
        b = (slice(down, rows), slice(max(0, right), columns + min(0, right)))
        both = (number[a] >= 0) & (number[b] >= 0)
        ones.append(number[a][both])
        others.append(number[b][both])
        weights.append((cost[a] + cost[b])[both] / 2 * np.hypot(down, right))
    size = int(number.max()) + 1
    return coo_matrix(
        (np.concatenate(weights), (np.concatenate(ones), np.concatenate(others))), (size, size)
    ).tocsr()


def _even(line: Array) -> Array | None:
    """Smoothed, and one place a millimetre."""
    if len(line) < 4:
        return None
    smooth = gaussian_filter1d(line, SMOOTH_MM / EDGE_MM, axis=0, mode="nearest")
    # A smoothed line is shorter at its ends: they are kept where they were.
    step = np.linalg.norm(np.diff(smooth, axis=0), axis=1)
    far = np.concatenate([[0.0], np.cumsum(step)])
    if far[-1] < LEAST_MM / EDGE_MM:
        return None
    at = np.linspace(0.0, far[-1], max(4, round(float(far[-1]))))
    return np.stack([np.interp(at, far, side) for side in smooth.T], axis=1)


def _centred(tops: Heights, line: Array) -> tuple[Array, Array, Array]:
    """Each place moved across the line to the middle of the ridge's top there."""
    travel = np.gradient(line, axis=0)
    travel /= np.linalg.norm(travel, axis=1, keepdims=True)
    across = np.stack([-travel[:, 1], travel[:, 0]], axis=1)
    side = np.arange(-ACROSS_MM, ACROSS_MM + 0.1, 0.5)
    at = line[:, None] + side[:, None] / EDGE_MM * across[:, None]
    profile = map_coordinates(tops.top, np.moveaxis(at[..., ::-1], -1, 0), order=1, cval=NONE)
    # Tops beside the ridge that stand far higher belong to something else.
    inner = np.abs(side) <= ACROSS_MM - 2.0
    top = np.where(inner, profile, NONE).max(axis=1)
    held = profile > (top - CROWN_MM)[:, None]
    start = np.argmax(np.where(inner, profile, NONE), axis=1)
    middle, width = np.zeros(len(line)), np.zeros(len(line))
    for n, (row, begin) in enumerate(zip(held, start, strict=True)):
        low, high = _run(row, int(begin))
        middle[n], width[n] = (side[low] + side[high]) / 2, side[high] - side[low] + 0.5
    moved = gaussian_filter1d(np.clip(middle, -4.0, 4.0), SMOOTH_MM, mode="nearest")
    return line + moved[:, None] / EDGE_MM * across, top, width


def _run(held: NDArray[np.bool_], begin: int) -> tuple[int, int]:
    """First and last of the unbroken run of True around a place."""
    low = high = begin
    while low > 0 and held[low - 1]:
        low -= 1
    while high < len(held) - 1 and held[high + 1]:
        high += 1
    return low, high
