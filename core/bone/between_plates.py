"""What lies between two parts of bone that a line meets: marrow between plates, or the outside.

In one section a thin plate shows with breaks, and marrow then looks joined to cheek or tongue. In
the block around it the plate is closed, and marrow is told by being closed in.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from core.bone.bone_in_plane import BoneInPlane, Plane
from core.bone.edges import ScanEdges
from core.bone.outside import Outside
from core.geometry import Array

_REACH_MM = 11.0
_DEEPER_MM = 3.0
_STEP_MM = 0.2
_MOSTLY = 0.7
_MOST_PLATE_MM = 4.5
"""No plate is thicker (common practice, no source)."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Section:
    """The directions of a section, as those of a block."""

    b: Array
    m: Array
    a: Array


def joined_over_marrow(
    scan: ScanEdges,
    bone: BoneInPlane,
    crest_mm: Array,
    spans: dict[float, list[tuple[float, float]]],
) -> dict[float, tuple[float, float]]:
    """Spans of the ridge where two plates with marrow between them were met as two parts.

    Parameters
    ----------
    scan : ScanEdges
    bone : BoneInPlane
    crest_mm : (3,) patient LPS mm
    spans : height in the plane to its parts
        Two at each height, from low to high.

    Returns
    -------
    dict of height to (low, high)
        Only heights where what lies between is dark and closed in, and nowhere outside.
    """
    plane = bone.plane
    wanted = {h: parts for h, parts in spans.items() if _are_plates(parts)}
    if not wanted:
        return {}
    top = plane.h(crest_mm)
    middle = float(np.mean([0.5 * (parts[0][0] + parts[-1][1]) for parts in wanted.values()]))
    outside = Outside.around(
        scan.volume,
        plane.points(middle, top)[0],
        _Section(b=plane.across, m=plane.normal, a=plane.coronal),
        scan.levels,
        reach_mm=_REACH_MM,
        depth_mm=top - min(wanted) + _DEEPER_MM,
    ).widened()
    return {
        h: (parts[0][0], parts[-1][1])
        for h, parts in wanted.items()
        if _marrow_between(outside, plane, h, parts)
    }


def _are_plates(parts: list[tuple[float, float]]) -> bool:
    """Two parts no thicker than plates."""
    return len(parts) == 2 and all(high - low <= _MOST_PLATE_MM for low, high in parts)


def _marrow_between(
    outside: Outside, plane: Plane, h_mm: float, parts: list[tuple[float, float]]
) -> bool:
    across = np.arange(parts[0][1] + _STEP_MM, parts[1][0], _STEP_MM)
    if not len(across):
        return True
    places = plane.points(across, h_mm)
    cells = outside.cells(places)
    mouth, hollow = outside.in_cells(cells)
    return not (mouth | hollow).any() and float(outside.in_marrow(cells).mean()) > _MOSTLY
