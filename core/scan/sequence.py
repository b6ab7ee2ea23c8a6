"""Whether two slices have changed places, where no numbers tell: by the pictures alone.

In a volume each slice is most like its neighbours. Two that have changed places go on into their
new neighbours worse than into their old ones.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from core.findings import Finding

FURTHEST = 12
"""Slices that were exchanged over more than this look strange where they are."""
CLEARLY = 0.25
"""An exchange must shorten the way from slice to slice by this share of a usual step. In stacks
that are in order every exchange lengthens it; in both samples by a seventh of a step at least."""
LEAST_PICTURES = 5

Grey = NDArray[np.float64]


def apart(first: Grey, second: Grey) -> float:
    """Mean difference of two slices where both are scanned, 0 where nowhere."""
    differences = np.abs(first - second)
    known = np.isfinite(differences)
    return float(differences[known].mean()) if known.any() else 0.0


def exchanged(grey: Sequence[Grey], slices: Sequence[int]) -> list[Finding]:
    """Say which two slices look exchanged; nothing where each goes on into its neighbours.

    Parameters
    ----------
    grey : sequence of (rows, cols)
        Thinned slices in the order of their places.
    slices : sequence of int
        Their numbers in the volume, from 0.
    """
    if len(grey) < LEAST_PICTURES:
        return []
    way = _Ways(grey)
    pairs = [
        (i, i + lag)
        for lag in range(1, min(FURTHEST, len(grey) - 2) + 1)
        for i in range(len(grey) - lag)
    ]
    saved = np.array([way.saved(*pair) for pair in pairs])
    best = int(saved.argmax())
    first, second = pairs[best]
    alike = saved[[j - i == second - first for i, j in pairs]]
    # Where exchanges over this distance mostly help, since every other slice is brighter, say,
    # the pictures tell nothing about an order.
    one_of_many = float(np.median(alike)) > saved[best] / 2
    if one_of_many or saved[best] <= CLEARLY * way.usual_step:
        return []
    fields = {"first": slices[first] + 1, "second": slices[second] + 1}
    return [Finding("scan_slices_exchanged", "caution", fields, stops_verdicts=True)]


class _Ways:
    """How far slices are apart, and what an exchange of two saves on the way through all."""

    def __init__(self, grey: Sequence[Grey]) -> None:
        self._grey = grey
        self._known: dict[tuple[int, int], float] = {}

    @property
    def usual_step(self) -> float:
        """Median difference of neighbours."""
        return float(np.median([self._apart(k, k + 1) for k in range(len(self._grey) - 1)]))

    def saved(self, i: int, j: int) -> float:
        """How much shorter the way is with slices i < j exchanged."""
        out = 0.0
        if i > 0:
            out += self._apart(i - 1, i) - self._apart(i - 1, j)
        if j < len(self._grey) - 1:
            out += self._apart(j, j + 1) - self._apart(i, j + 1)
        if j - i > 1:
            out += self._apart(i, i + 1) + self._apart(j - 1, j)
            out -= self._apart(j, i + 1) + self._apart(j - 1, i)
        return out

    def _apart(self, a: int, b: int) -> float:
        pair = min(a, b), max(a, b)
        if pair not in self._known:
            self._known[pair] = apart(self._grey[pair[0]], self._grey[pair[1]])
        return self._known[pair]
