"""Clearances: true 3D distances from the fixture to everything that is marked.

Signatures (every structure of `core.structures` except scale objects)::

    clearance(fixture, structure, *, frame=None, others=(), tip_mm=0.0, part_mm=None) -> Reading
    first_hit_along_axis(origin, direction, radius_mm, structure, *, others=()) -> Reading
        value: distance, counted from the plane through `origin` (3,) perpendicular to the unit
        vector `direction` (3,), along `direction`, to the first point of `structure` inside the
        endless cylinder of `radius_mm` around the line; negative where it lies behind the plane;
        None with the note ``nothing_below_footprint`` where nothing of it is in the cylinder.
        witness: (point on the plane, point of the structure).
    between_fixtures(first, second, *, first_part_mm=None, second_part_mm=None) -> Reading
    angle_between(first, second) -> Reading                      [core.distances.fixture_pair]
    foramen_zone(fixture, foramen, arch, *, mesial=None) -> Reading | None

Definition: the least over the structure's centre points c with radius r of
(signed distance of c to the fixture solid - r), the signed distance negative inside. Exact when
apart; for overlap the depth of the deepest ball. Numerical error below 0.005 mm.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Protocol, TypeAlias, assert_never

import numpy as np

from core.distances.first_hit import first_hit_along_axis
from core.distances.floor_marks import SideFrame
from core.distances.floor_surface import FloorSurface
from core.distances.open_ends import floor_end_notes, open_end_notes, spacing_doubt
from core.distances.solid import FixtureSolid
from core.distances.tubes import Tube, least_places, tubes_of
from core.fixture import Fixture
from core.geometry import Array
from core.measurement import MARKED, MarkInfluence, Note, Reading
from core.structures import Course, Floor, Foramen, PointMarks, Structure, Tapered, kind_of

Danger: TypeAlias = Course | Foramen | Tapered | Floor | PointMarks

_SAGITTA_MM = 0.002
_FLOOR_TOLERANCE_MM = 2e-4
_SIDE_COSINE = 0.3
_NO_WIDTH_MM = 0.2


class ArchFrame(Protocol):
    """What is needed of a frame along the arch."""

    @property
    def travel(self) -> Array:
        """Unit direction of growing station."""
        ...


class StationedArch(Protocol):
    """What is needed of the arch."""

    def station(self, point_mm: Array) -> float:
        """Station of a patient point, mm."""
        ...

    def frame(self, station_mm: float) -> ArchFrame:
        """Frame at a station."""
        ...


def clearance(
    fixture: Fixture,
    structure: Danger,
    *,
    frame: SideFrame | None = None,
    others: Sequence[Structure] = (),
    tip_mm: float = 0.0,
    part_mm: tuple[float, float] | None = None,
) -> Reading:
    """Shortest 3D distance between fixture and structure; negative where they overlap.

    Parameters
    ----------
    fixture : Fixture
    structure : Course, Foramen, Tapered, Floor or PointMarks
    frame : object with ``m``, optional
        The fixture's frame; its mesial direction tells whether marks go on far enough.
        Without it that one check is left out.
    others : sequence of Structure
        Everything else that is marked: an end that runs into a foramen, or into another canal
        or loop, is no open end.
    tip_mm : float
        Height of the drill's tip beyond the apex.
    part_mm : (from, to), optional
        Only the part of the fixture between two depths (a zone with a limit of its own).

    Returns
    -------
    Reading
        witness: point of the fixture's surface, then of the structure. `along_mm`: component of
        the way between them along the axis, + towards the apex; `across_mm`: the rest, >= 0.
        `upper_bound` where the structure was traced too short.

    Raises
    ------
    ValueError
        When the tip is negative.
    """
    solid: FixtureSolid | None = FixtureSolid.of(fixture).with_tip(tip_mm)
    if solid is not None and part_mm is not None:
        solid = solid.part(*part_mm)
    if solid is None:
        return Reading(value=None, notes=(Note("no_such_part"),))
    notes = () if fixture.size.is_convex else (Note("hull_used"),)
    if isinstance(structure, Floor):
        return _floor_clearance(solid, structure, frame, notes)
    return _tube_clearance(solid, structure, frame, others, notes)


def foramen_zone(
    fixture: Fixture, foramen: Foramen, arch: StationedArch, *, mesial: float | None = None
) -> Reading | None:
    """Distance along the arch from the foramen's mesial edge to the nearest fixture part mesial.

    Needed while the anterior loop is neither marked nor declared: those parts need 5.0 mm.
    0 where the fixture stands across the edge; None where no part of it is mesial of the edge,
    so that the rule does not apply.

    Parameters
    ----------
    arch : object with ``station(point)`` and ``frame(station).travel``
    mesial : +1 or -1, optional
        Sense of mesial along the travel. The edge further that way is then the mesial one,
        whatever it was called; without it the names of the edges are believed.
    """
    solid = FixtureSolid.of(fixture)
    stations = {"mesial": arch.station(foramen.mesial), "distal": arch.station(foramen.distal)}
    if mesial is None:
        mesial = 1.0 if stations["mesial"] >= stations["distal"] else -1.0
    sense = mesial
    name = max(stations, key=lambda edge: sense * stations[edge])
    edge, point_of_edge = stations[name], {"mesial": foramen.mesial, "distal": foramen.distal}[name]

    def furthest(way: float) -> tuple[float, Array]:
        # A station's plane stands across the travel there: the part furthest along the arch is
        # the support point of its own station's travel, found by repetition.
        point = fixture.platform
        for _ in range(12):
            travel = arch.frame(arch.station(point)).travel
            point = solid.support(way * travel)[0]
        return sense * (arch.station(point) - edge), point

    most, _ = furthest(sense)
    least, point = furthest(-sense)
    if most <= 0:
        return None
    value = max(least, 0.0)
    travel = arch.frame(edge).travel
    swapped = () if name == "mesial" else (Note("foramen_edges_swapped", {"id": foramen.id}),)
    return Reading(
        value=value,
        witness=(point, point_of_edge),
        marks=(MarkInfluence(mark=f"{foramen.id}/{name}", gradient=-sense * travel),),
        evidence=MARKED,
        notes=(Note("loop_unknown", {"id": foramen.id}), *swapped),
    )


def length_beyond_floor(fixture: Fixture, floor: Floor) -> Reading:
    """Length of the fixture beyond the first point of the floor over its footprint; 0 if none.

    For a floor whose elevation is intended; counted along the axis.
    """
    radius = float(fixture.size.profile[:, 1].max())
    hit = first_hit_along_axis(fixture.platform, fixture.towards_apex, radius, floor)
    if hit.value is None:
        return hit
    beyond = max(fixture.size.length_mm - hit.value, 0.0)
    marks = tuple(replace(m, gradient=-m.gradient) for m in hit.marks)
    return Reading(
        value=beyond,
        witness=hit.witness,
        marks=marks,
        evidence=hit.evidence,
        notes=hit.notes,
    )


def _tube_clearance(
    solid: FixtureSolid,
    structure: Course | Foramen | Tapered | PointMarks,
    frame: SideFrame | None,
    others: Sequence[Structure],
    notes: tuple[Note, ...],
) -> Reading:
    found = [(*_least(solid, tube), tube) for tube in tubes_of(structure)]
    value, station, tube = min(found, key=lambda entry: entry[0])
    centre, _ = tube.at(np.array([station]))
    _, nearest, outward = (row[0] for row in solid.contact(centre))
    open_notes: tuple[Note, ...] = ()
    extra, wide = 0.0, False
    if isinstance(structure, Course | Tapered):
        open_notes = open_end_notes(solid, structure, tube, station, frame=frame, others=others)
    if isinstance(structure, Course):
        extra, wide = spacing_doubt(solid, tube, structure)
    spacing_notes = (Note("marks_far_apart", {"id": structure.id}),) if wide else ()
    no_size = _without_size(structure)
    along, across = _parts(value * outward, solid.axis)
    return Reading(
        value=value,
        witness=(nearest, nearest + value * outward),
        marks=tube.influences(station, outward, -1.0),
        size_sd_mm=tube.radius_sd_mm,
        extra_placement_sd_mm=extra,
        evidence=MARKED,
        upper_bound=bool(open_notes or no_size),
        along_mm=along,
        across_mm=across,
        notes=notes + tube.notes + no_size + open_notes + spacing_notes,
    )


def _without_size(structure: Course | Foramen | Tapered | PointMarks) -> tuple[Note, ...]:
    """A loop, vessel or foramen of no width is only a line: its wall is nearer than that."""
    match structure:
        case Course():
            lacking = structure.diameter_mm is None and kind_of(structure).diameter == "needed"
        case Foramen():
            width = float(np.linalg.norm(structure.mesial - structure.distal))
            lacking = width < _NO_WIDTH_MM
        case Tapered() | PointMarks():
            lacking = False
        case _:
            assert_never(structure)
    return (Note("no_diameter", {"id": structure.id}),) if lacking else ()


def _least(solid: FixtureSolid, tube: Tube) -> tuple[float, float]:
    """Least of (signed distance - radius) over a tube, and its station.

    The signed distance of a convex solid is convex, so on a straight piece with a linear radius
    there is one least place. Pieces that cannot hold the least are left out: the value changes
    by no more than the piece's length and change of radius.
    """
    at_cuts = solid.signed_distance(tube.points) - tube.radii
    first = int(np.argmin(at_cuts))
    best, place = float(at_cuts[first]), float(tube.stations[first])
    if len(at_cuts) == 1:
        return best, place
    steps = np.diff(tube.stations)
    reach = steps + np.abs(np.diff(tube.radii))
    kept = np.flatnonzero((at_cuts[:-1] + at_cuts[1:] - reach) / 2 - _SAGITTA_MM < best)
    if len(kept) == 0:
        return best, place
    # Searched on the straight pieces, which are quick to evaluate; then the best of them, with
    # what lies beside it, on the line itself: the two differ by up to 0.002 mm.
    shares = solid.least_on_pieces(tube.points, tube.radii, kept)
    places = tube.stations[kept] + shares * steps[kept]
    centres, radii = tube.straight_at(places)
    on_pieces = solid.signed_distance(centres) - radii
    near = places[on_pieces <= on_pieces.min() + 2 * _SAGITTA_MM]
    spare = float(steps.max())
    low, high = max(near.min() - spare, 0.0), min(near.max() + spare, tube.length_mm)
    value, station = _least_on_the_line(solid, tube, low, high)
    return (value, station) if value < best else (best, place)


def _least_on_the_line(
    solid: FixtureSolid, tube: Tube, low: float, high: float
) -> tuple[float, float]:
    """Least of (signed distance - radius) between two stations of the line itself, and where.

    Four rounds: the place to 1e-4 mm of a bracket of some mm, and the least itself far closer.
    """
    curve = tube.curve
    if curve is None:

        def straight(stations: Array) -> Array:
            centres, radii = tube.straight_at(stations)
            return solid.signed_distance(centres) - radii

        found = least_places(straight, np.array([low]), np.array([high]), rounds=4)
        return float(straight(found)[0]), float(found[0])

    # The radius of a tube along a curve is one; its points are cheap by parameter.
    def curved(u: Array) -> Array:
        return solid.signed_distance(curve.at_parameters(u))

    ends = curve.parameters([low, high])
    found = least_places(curved, ends[:1], ends[1:], rounds=4)
    value = float(curved(found)[0]) - float(tube.radii[0])
    return value, float(curve.stations_at(found)[0])


def _floor_clearance(
    solid: FixtureSolid, floor: Floor, frame: SideFrame | None, notes: tuple[Note, ...]
) -> Reading:
    surface = FloorSurface.through(floor.points)
    if surface is None:
        return Reading(value=None, notes=(*notes, Note("floor_too_few_marks", {"id": floor.id})))

    def bound(corners: Array, sag: Array) -> Array:
        # A convex function lies above its tangent: over the flat triangle no lower than that.
        middle = corners.mean(axis=1)
        distance, _, outward = solid.contact(middle)
        change = np.einsum("kij,kj->ki", corners - middle[:, None, :], outward)
        return np.asarray(distance + change.min(axis=1) - sag)

    least = surface.least(solid.signed_distance, bound, tolerance_mm=_FLOOR_TOLERANCE_MM)
    if least is None:
        raise ArithmeticError("the least over a surface of finite values exists")
    value, place = least
    point = surface.at(place[None, :])[0]
    _, nearest, outward = (row[0] for row in solid.contact(point[None, :]))
    open_notes = floor_end_notes(solid, floor, surface, place, frame=frame)
    # Towards the cavity: the side to which the fixture points.
    sense = float(surface.frame[2] @ solid.axis)
    platform_uv, height = surface.foot(solid.origin)
    beyond = (
        value > 0
        and abs(sense) > _SIDE_COSINE
        and surface.inside_rim_mm(platform_uv) >= 0
        and height * sense > 0
    )
    if beyond:
        # All of the fixture has gone through: the way back is its length and more.
        value, outward = -value, -outward
        notes = (*notes, Note("wholly_beyond_floor", {"id": floor.id}))
    shares = surface.weights(place[None, :])[0] * float(surface.frame[2] @ outward)
    directions = surface.mark_directions()
    along, across = _parts(point - nearest, solid.axis)
    return Reading(
        value=value,
        witness=(nearest, point),
        marks=tuple(
            MarkInfluence(mark=f"{floor.id}/{index}", gradient=share * direction, seen=seen)
            for index, (share, direction, seen) in enumerate(
                zip(shares, directions, floor.seen, strict=True)
            )
        ),
        evidence=MARKED,
        upper_bound=bool(open_notes),
        along_mm=along,
        across_mm=across,
        notes=notes + open_notes,
    )


def _parts(way: Array, axis: Array) -> tuple[float, float]:
    """Component along the axis, + towards the apex, and length of the rest."""
    along = float(way @ axis)
    return along, float(np.linalg.norm(way - along * axis))
