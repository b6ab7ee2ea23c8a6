"""The best ridge of hard tissue that looks one way: along which plane, with which threshold."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import map_coordinates

from core.geometry import Array
from core.proposing.coarse import EDGE_MM
from core.proposing.crowns import capped
from core.proposing.hard import Hard
from core.proposing.heights import Heights, heights
from core.proposing.planes import STEEPEST_DEG, planes
from core.proposing.ridge import RidgeLine, ridge_line
from core.proposing.settle import Firmness, settled

TRIED = 8
GAP_MM = 18
"""Longest piece off the plane within a ridge: two missing molars side by side are some 20 mm."""
NOTCH_MM, WHOLE_TOOTH_MM = 5, 9
BROADEST_MM = 12.5
BESIDE_MM, OVER_MM = (-6.0, -4.5, -3.0, 3.0, 4.5, 6.0), (3.0, 4.5)
"""Where hard tissue that stands higher is looked for, from the ridge's top."""
BEYOND_MM = (2.5, 3.5, 4.5, 5.5)
EVEN_MM = 1.5
"""A top that is this far off the plane counts half."""


@dataclass(frozen=True, eq=False)
class Ridge:
    """A ridge and the plane along its top.

    Parameters
    ----------
    hard : Hard
    tops : Heights
    line : RidgeLine
        The part that lies on the plane, gaps within it included.
    whole : RidgeLine
        And what it runs on into at both ends.
    worth : float
        Length that lies on the plane, less the further it lies off, mm.
    crown_worth : float
        The same of what enamel caps alone: a crest where teeth are missing lies on no jaw plane.
    surface_normal : (3,) turned
        Of the plane that most of its upper surface lies on.
    """

    hard: Hard
    tops: Heights
    line: RidgeLine
    whole: RidgeLine
    worth: float
    crown_worth: float
    surface_normal: Array


def ridges(hard: Hard) -> list[Ridge]:
    """Ridges that lie along the planes that most upper surface lies on; one a plane at most."""
    found = [along(hard, p.origin, p.normal, p.normal) for p in planes(hard.surface)[:TRIED]]
    return [ridge for ridge in found if ridge is not None]


def refined(ridge: Ridge, firm: Firmness) -> Ridge:
    """The ridge along the plane through its own top, see `core.proposing.settle.settled`."""
    for _ in range(2):
        plane = settled(ridge.tops, ridge.line, ridge.surface_normal, firm)
        again = along(ridge.hard, plane.origin, plane.normal, ridge.surface_normal)
        if again is None or lean_deg(plane.normal) > STEEPEST_DEG:
            break
        ridge = again
    return ridge


def along(hard: Hard, origin: Array, normal: Array, surface_normal: Array) -> Ridge | None:
    """The ridge whose top lies along the plane through a place; None where none does.

    Parameters
    ----------
    hard : Hard
    origin : (3,) patient LPS mm
    normal : (3,) unit direction, patient LPS
    surface_normal : (3,) unit direction, patient LPS
    """
    tops = heights(hard, origin, normal)
    whole = ridge_line(tops)
    line = None if whole is None else trimmed(whole)
    if whole is None or line is None or float(np.median(line.width)) > BROADEST_MM:
        return None
    even = 1.0 / (1.0 + (line.top / EVEN_MM) ** 2)
    even = even * _freestanding(hard, tops, line)
    crowned = capped(hard, line.places, line.top, normal)
    return Ridge(
        hard=hard,
        tops=tops,
        line=line,
        whole=whole,
        worth=float(even.sum()),
        crown_worth=float(even[crowned].sum()),
        surface_normal=surface_normal,
    )


def beyond(ridge: Ridge, grey: NDArray[np.float32]) -> float:
    """Grey value that the ridge ends at: the highest straight over its top, median along it.

    Parameters
    ----------
    ridge : Ridge
    grey : (K, J, I) float32
        Turned as the ridge's hard tissue is.
    """
    line, normal = ridge.line, ridge.tops.normal
    over = []
    for rise in BEYOND_MM:
        at = line.places + (line.top + rise)[:, None] * normal - ridge.hard.origin
        over.append(map_coordinates(grey, (at / EDGE_MM)[:, ::-1].T, order=1, mode="nearest"))
    return float(np.median(np.max(over, axis=0)))


def _freestanding(hard: Hard, tops: Heights, line: RidgeLine) -> NDArray[np.bool_]:
    """(n,) where nothing hard beside the ridge stands higher: else it is an overhang's edge."""
    travel = np.gradient(line.places, axis=0)
    across = np.cross(tops.normal, travel)
    across /= np.linalg.norm(across, axis=1, keepdims=True)
    crest = line.places + line.top[:, None] * tops.normal
    taller = np.zeros((len(crest), len(BESIDE_MM)))
    for n, beside in enumerate(BESIDE_MM):
        for over in OVER_MM:
            at = crest + beside * across + over * tops.normal
            ijk = ((at - hard.origin) / EDGE_MM)[:, ::-1].T
            taller[:, n] += map_coordinates(hard.solid.astype(np.uint8), ijk, order=0, cval=0)
    return np.asarray((taller == len(OVER_MM)).sum(axis=1) < 2)


def piece(line: RidgeLine, first: int, last: int) -> RidgeLine:
    """From one of a line's places to another, both included.

    Parameters
    ----------
    line : RidgeLine
    first : int
    last : int
    """
    return RidgeLine(
        **{one.name: getattr(line, one.name)[first : last + 1] for one in fields(line)}
    )


def trimmed(line: RidgeLine) -> RidgeLine | None:
    """The longest piece on the plane, gaps of missing teeth within it left out of account."""
    on = np.flatnonzero(line.on_plane)
    if len(on) < 2:
        return None
    pieces = np.split(on, np.flatnonzero(np.diff(on) > GAP_MM) + 1)
    longest = max(pieces, key=len)
    teeth = np.split(longest, np.flatnonzero(np.diff(longest) > NOTCH_MM) + 1)
    # Half a tooth beyond a gap, at the edge of the scan, has its middle elsewhere.
    while len(teeth) > 1 and np.ptp(teeth[0]) < WHOLE_TOOTH_MM:
        teeth = teeth[1:]
    while len(teeth) > 1 and np.ptp(teeth[-1]) < WHOLE_TOOTH_MM:
        teeth = teeth[:-1]
    kept = np.concatenate(teeth)
    if kept[-1] - kept[0] < 4:
        return None
    return piece(line, int(kept[0]), int(kept[-1]))


def lean_deg(normal: Array) -> float:
    """Angle of a unit normal to the scanner's axis."""
    return float(np.degrees(np.arccos(min(1.0, abs(float(normal[2]))))))
