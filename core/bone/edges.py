"""Edges of bone along rays: what is asked of whatever finds them.

`core.bone.plate_fit` finds them by fitting a model of the blurred plate; `core.bone.half_maximum`
by the half-way level, for comparison. A thin plate is never skipped for something behind it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from core.bone.bone_levels import BoneLevels
from core.geometry import Array
from core.image.volume import Volume
from core.measurement import Note

STEP_MM = 0.1


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class EdgeSet:
    """Edges along n rays.

    Parameters
    ----------
    distance_mm : (n,)
        From the ray's start; NaN where not found.
    sd_mm : (n,)
        Standard error of the edge along the ray; NaN where not found.
    found : (n,) bool
    reason : (n,) str
        Empty where found; else ``nothing`` (no bone on the ray), ``weak`` (something fainter
        than cortex lies first), ``starts inside`` (no outside at the start), ``not scanned``,
        ``not described`` (no plate explains the profile), ``not cortex`` (brighter than bone),
        ``graze`` (the ray runs along the surface) or ``levels``.
    hint_mm : (n,)
        Where something that may be bone begins, found or not; NaN where nothing does.
    """

    distance_mm: Array
    sd_mm: Array
    found: NDArray[np.bool_]
    reason: NDArray[np.str_]
    hint_mm: Array


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlateEdges:
    """Both edges of the plates along n rays, and their thickness along the ray.

    Parameters
    ----------
    outer, inner : EdgeSet
    thickness_mm, sd_mm : (n,)
        NaN where one edge was not found. The errors of both edges are not independent, so the
        thickness has a standard error of its own.
    borrowed : (n,) bool
        The cortical level came from elsewhere: no place within 15 mm shows it on this plate.
    reads_thin : bool
        False for a way of finding edges that over-reads thin plates.
    """

    outer: EdgeSet
    inner: EdgeSet
    thickness_mm: Array
    sd_mm: Array
    borrowed: NDArray[np.bool_]
    reads_thin: bool


class EdgeFinder(Protocol):
    """Finds outer and inner edges of cortex; a model fit can stand in for half maximum."""

    def outer(self, volume: Volume, starts_mm: Array, directions: Array, max_mm: float) -> EdgeSet:
        """Outer edges first met along rays that start outside the bone.

        Parameters
        ----------
        volume : Volume
        starts_mm : (n, 3) patient LPS mm
        directions : (n, 3) unit directions, patient LPS
        max_mm : float
            How far is looked, mm.
        """
        ...

    def plate(
        self, volume: Volume, starts_mm: Array, directions: Array, max_mm: float
    ) -> PlateEdges:
        """Outer and inner edges of the plate first met along rays from outside.

        Parameters
        ----------
        volume : Volume
        starts_mm : (n, 3) patient LPS mm
        directions : (n, 3) unit directions, patient LPS
        max_mm : float
            How far is looked, mm.
        """
        ...

    def rounding_mm2(self, volume: Volume, direction: Array) -> float:
        """How far inside a surface an edge reads, by the sum of its curvatures; 0: not known."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ScanEdges:
    """A scan together with its levels and the way its edges are found."""

    volume: Volume
    levels: BoneLevels
    finder: EdgeFinder

    def outer(self, starts_mm: Array, directions: Array, max_mm: float) -> EdgeSet:
        """Outer edges; see `EdgeFinder.outer`. One direction serves all rays if given so.

        Parameters
        ----------
        starts_mm : (n, 3) patient LPS mm
        directions : (n, 3) unit directions, patient LPS
        max_mm : float
            How far is looked, mm.
        """
        starts = np.atleast_2d(starts_mm)
        rays = np.broadcast_to(np.asarray(directions, dtype=np.float64), starts.shape)
        return self.finder.outer(self.volume, starts, rays, max_mm)


_NOTES = {
    "nothing": "edge_nothing",
    "weak": "edge_weak",
    "starts inside": "edge_starts_inside",
    "not scanned": "edge_not_scanned",
    "not described": "edge_not_described",
    "not cortex": "edge_not_cortex",
    "graze": "edge_graze",
    "no inner edge": "edge_no_inner_edge",
    "levels": "edge_levels",
}


def reason_note(reason: str) -> Note:
    """The note that goes with an edge that was not found."""
    return Note(_NOTES[reason])
