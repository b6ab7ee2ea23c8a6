"""What the marks do not cover: ends that are open, and marks that stand too far apart.

A clearance to a curve that was traced too short is only an upper bound: the structure goes on
where nobody marked it. The same holds for a floor's rim.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np

from core.distances.floor_marks import BEYOND_MM, SideFrame, floor_lacks, side_of
from core.distances.floor_surface import FloorSurface
from core.distances.solid import FixtureSolid
from core.distances.tubes import Tube, tubes_of
from core.geometry import Array
from core.measurement import Note
from core.structures import Course, Floor, Foramen, Structure, Tapered, kind_of

CONTINUED_MM = 3.0
"""An end this near to a foramen or to another traced course is taken as joined to it.

Common practice, no source: the last mark of a canal stands short of the opening. What lies
between them is still covered by the clearance to the foramen itself.
"""

WIDE_SPACING_MM = 5.0
NEAR_FIXTURE_MM = 10.0
DEFAULT_PLACEMENT_SD_MM = 0.25

_END_MM = 0.01
_RIM_MM = 0.05


TraceSide: TypeAlias = Literal["mesial", "distal"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TraceLack:
    """A side of a fixture on which a course is not marked far enough.

    Parameters
    ----------
    side : {'mesial', 'distal'}
    way : (3,)
        Unit direction from the fixture to that side.
    short_mm : float
        By how much.
    end_mm : (3,) patient LPS mm
        Where the trace ends on that side.
    """

    side: TraceSide
    way: Array
    short_mm: float
    end_mm: Array


def open_end_notes(
    solid: FixtureSolid,
    structure: Course | Tapered,
    tube: Tube,
    station_mm: float,
    *,
    frame: SideFrame | None,
    others: Sequence[Structure],
) -> tuple[Note, ...]:
    """Say where a tube's trace ends too early for its clearance to be more than an upper bound.

    Parameters
    ----------
    station_mm : float
        Place of the tube that is nearest to the fixture.
    frame : SideFrame or None
        Without it the marks beyond the fixture cannot be checked.
    others : sequence of Structure
        A curve's end near a foramen, or near another canal or loop, is joined to it, not open.
    """
    if ends_there(structure, tube, station_mm, others=others):
        return (short_note(structure),)
    # Loops and vessels run into or across the jaw.
    if frame is None or isinstance(structure, Tapered):
        return ()
    if trace_lacks(solid, structure, frame=frame, others=others):
        return (Note("marks_stop_near_fixture", {"id": structure.id}),)
    return ()


def trace_lacks(
    solid: FixtureSolid, course: Course, *, frame: SideFrame, others: Sequence[Structure]
) -> tuple[TraceLack, ...]:
    """On which sides of a fixture a course that runs along the jaw is traced too short.

    Parameters
    ----------
    solid : FixtureSolid
    course : Course
    frame : SideFrame
        Of the fixture.
    others : sequence of Structure
        What its ends may be joined to.
    """
    if not kind_of(course).along_arch:
        return ()
    (tube,) = tubes_of(course)
    ends = tube.points[[0, -1]]
    sides: tuple[tuple[TraceSide, Array], ...] = (("mesial", frame.m), ("distal", -frame.m))
    found = []
    for side, way in sides:
        last = ends[int(np.argmax(ends @ way))]
        short = float(solid.support(way)[0] @ way) + BEYOND_MM - float((tube.points @ way).max())
        if short > 0.0 and not _continued(last, course, others):
            found.append(TraceLack(side=side, way=way, short_mm=short, end_mm=last))
    return tuple(found)


def short_note(structure: Course | Tapered) -> Note:
    """The remark on a structure that is nearest where its trace ends."""
    code = "root_traced_too_short" if isinstance(structure, Tapered) else "traced_too_short"
    return Note(code, {"id": structure.id})


def ends_there(
    structure: Course | Tapered, tube: Tube, station_mm: float, *, others: Sequence[Structure]
) -> bool:
    """True where a place of a tube is an end at which the structure really goes on, unmarked.

    Not a root's apex, not an existing implant's ends, not an end that runs into a foramen or
    into another canal or loop. A single mark is all end.

    Parameters
    ----------
    structure : Structure
    tube : Tube
    station_mm : float
        Along the arch, mm.
    others : sequence of Structure
    """
    if isinstance(structure, Tapered):
        return _at_coronal_end(structure, tube, station_mm)
    if tube.length_mm == 0.0:
        return True
    if _END_MM <= station_mm <= tube.length_mm - _END_MM:
        return False
    end = tube.points[0 if station_mm < _END_MM else -1]
    return not _continued(end, structure, others)


def floor_end_notes(
    solid: FixtureSolid,
    floor: Floor,
    surface: FloorSurface,
    place_uv: Array,
    *,
    frame: SideFrame | None,
) -> tuple[Note, ...]:
    """Say where a floor is marked too sparsely or too narrowly; see `open_end_notes`.

    Parameters
    ----------
    solid : FixtureSolid
    floor : Floor
    surface : FloorSurface
    place_uv : (2,) mm
        In the surface’s frame.
    frame : SideFrame or None
    """
    lacks = floor_lacks(solid, floor.points, frame)
    rim = surface.inside_rim_mm(place_uv) < _RIM_MM
    if not rim and not lacks:
        return ()
    if frame is None:
        return (Note("floor_marked_too_narrow", {"id": floor.id}),)
    notes = [lack.note(floor.id, frame) for lack in lacks]
    if rim:
        out = surface.rim_way(place_uv)
        notes.append(Note("floor_nearest_at_rim", {"id": floor.id, "side": side_of(out, frame)}))
    return tuple(notes)


def spacing_doubt(solid: FixtureSolid, tube: Tube, structure: Course) -> tuple[float, bool]:
    """Further placement doubt of a clearance where marks stand more than 5 mm apart.

    Only spans of the curve that come within 10 mm of the fixture count.

    Parameters
    ----------
    solid : FixtureSolid
    tube : Tube
    structure : Structure

    Returns
    -------
    (sd_mm, found)
        `found` tells that such a span exists.

    Notes
    -----
    The doubt of a cubic spline between two places of known position and direction, seen as the
    mean of an integrated random walk (Wahba 1978, J R Stat Soc B 40:364, from memory), grows
    as the span's length to the power 3/2 and over the span as (4 t (1 - t))^(3/2). It is scaled
    so that a span of 5 mm adds nothing to the 0.25 mm of the marks themselves
    (common practice, no source): sd² = 0.25² ((span / 5)³ - 1) (4 t (1 - t))³.
    The greatest doubt of any place counts that could be the nearest within two of its SDs.
    """
    if tube.curve is None or not kind_of(structure).smooth:
        return 0.0, False
    marks = np.unique(tube.curve.mark_stations)
    wide = np.diff(marks) > WIDE_SPACING_MM
    if not wide.any():
        return 0.0, False
    starts, ends = marks[:-1][wide], marks[1:][wide]
    share = np.linspace(0.0, 1.0, 41)
    stations = starts[:, None] + np.outer(ends - starts, share)
    centres, radii = tube.at(stations.ravel())
    gap = (solid.signed_distance(centres) - radii).reshape(stations.shape)
    near = gap.min(axis=1) < NEAR_FIXTURE_MM
    if not near.any():
        return 0.0, False
    growth = ((ends - starts) / WIDE_SPACING_MM) ** 3 - 1.0
    spread = DEFAULT_PLACEMENT_SD_MM * np.sqrt(np.outer(growth, (4 * share * (1 - share)) ** 3))
    least = float((solid.signed_distance(tube.points) - tube.radii).min())
    rival = (gap - 2 * spread <= least) & near[:, None]
    return float(np.where(rival, spread, 0.0).max()), True


def _at_coronal_end(structure: Tapered, tube: Tube, station_mm: float) -> bool:
    """An existing implant ends where it ends; a root goes on only above its wider end."""
    if kind_of(structure).ends_at_marks:
        return False
    first, last = structure.diameters_mm
    if first >= last:
        return station_mm < _END_MM
    return station_mm > tube.length_mm - _END_MM


def _continued(end: Array, course: Course, others: Sequence[Structure]) -> bool:
    for other in others:
        if isinstance(other, Foramen | Course) and kind_of(other).joins and other.id != course.id:
            for tube in tubes_of(other):
                gap = np.linalg.norm(tube.points - end, axis=1) - tube.radii
                if float(gap.min()) < CONTINUED_MM:
                    return True
    return False
