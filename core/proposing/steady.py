"""Whether a ridge's line and plane stay where they are when they are found again otherwise."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from core.geometry import angle_deg, unit
from core.proposing.find import Ridge, along, piece
from core.proposing.settle import Firmness, settled

LEANED_DEG = 8.0
"""By how much the plane is leaned to either side, to see whether the line stays. Own choice."""
MIDDLE = 0.1
"""Part of a line at each end that is not compared."""


@dataclass(frozen=True, slots=True)
class Apart:
    """How far a line lies from another one, mm; the ends left out."""

    median_mm: float
    worst_mm: float


NOWHERE = Apart(float("inf"), float("inf"))


def apart(one: Ridge, other: Ridge) -> Apart:
    """Distances of one ridge's line from another's, seen along the first one's plane.

    Ends that only one of them reaches are not counted, but a line that is shorter by half is
    another line.
    """
    cut = round(MIDDLE * len(one.line.places))
    inner = one.line.places[cut : len(one.line.places) - cut]
    whole = one.tops.flat(other.whole.places + other.line.top.mean() * other.tops.normal)
    found = cKDTree(whole).query(one.tops.flat(inner))
    gap, at = (np.asarray(part) for part in found)
    beside = (at > 0) & (at < len(whole) - 1)
    if beside.sum() < 0.5 * len(inner):
        return NOWHERE
    return Apart(float(np.median(gap[beside])), float(gap[beside].max()))


def leaned_apart(ridge: Ridge) -> Apart:
    """The worse of the lines along planes that lean more to one side, or to the other."""
    chord = unit(ridge.line.places[-1] - ridge.line.places[0])
    across = np.asarray(np.cross(ridge.tops.normal, chord))
    found = []
    for lean in (-LEANED_DEG, LEANED_DEG):
        turned = unit(ridge.tops.normal + np.tan(np.radians(lean)) * across)
        origin = ridge.line.places.mean(axis=0) + float(np.median(ridge.line.top)) * (
            ridge.tops.normal
        )
        other = along(ridge.hard, origin, turned, ridge.surface_normal)
        found.append(NOWHERE if other is None else apart(ridge, other))
    return max(found, key=lambda one: one.median_mm)


def halves_deg(ridge: Ridge, firm: Firmness) -> float:
    """Angle between the planes that the two halves of a ridge tell."""
    line = ridge.line
    middle, last = len(line.places) // 2, len(line.places) - 1
    one, other = (
        settled(ridge.tops, piece(line, *ends), ridge.surface_normal, firm).normal
        for ends in ((0, middle), (middle, last))
    )
    return angle_deg(one, other)
