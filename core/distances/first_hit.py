"""Where a structure is first met along a line: what a height is counted to.

Definition (height with a fixture): the least, over the footprint widened by the structure's
limit, of the distance along the axis from crest to structure.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import ArrayLike

from core.distances.floor_surface import FloorSurface
from core.distances.open_ends import ends_there, short_note
from core.distances.tubes import Tube, least_places, tubes_of
from core.geometry import Array, unit, vector
from core.measurement import MARKED, MarkInfluence, Note, Reading
from core.structures import Course, Floor, Foramen, PointMarks, Structure, Tapered

_FLOOR_TOLERANCE_MM = 1e-3
_PLACES = 33
_ROUNDS = 7
_STEEPEST = 0.2
"""Least cosine between line and surface for which a derivative is given, not its limit."""


def first_hit_along_axis(
    origin: ArrayLike,
    direction: ArrayLike,
    radius_mm: float,
    structure: Course | Foramen | Tapered | Floor | PointMarks,
    *,
    others: Sequence[Structure] = (),
) -> Reading:
    """Distance along a line to the first point of a structure within a cylinder around it.

    Parameters
    ----------
    origin : (3,) patient LPS mm
        The distance is counted from the plane through it, perpendicular to `direction`.
    direction : (3,)
        Along which to look (made unit here).
    radius_mm : float
        Radius of the endless cylinder around the line; 0 looks along the line alone.
    structure : Course, Foramen, Tapered, Floor or PointMarks
    others : sequence of Structure
        As in `core.distances.clearance.clearance`.

    Returns
    -------
    Reading
        Negative where the structure is first met behind the plane; None with the note
        ``nothing_below_footprint`` where nothing of it lies within the cylinder.
        witness: (point on the plane, point of the structure).

    Raises
    ------
    ValueError
        When the radius is negative.
    """
    if not radius_mm >= 0:
        raise ValueError("the radius of the footprint cannot be negative")
    line = _Line(vector(origin), unit(direction), float(radius_mm))
    if isinstance(structure, Floor):
        return line.floor(structure)
    found = [(hit, tube) for tube in tubes_of(structure) if (hit := line.tube(tube)) is not None]
    if not found:
        return _nothing(structure.id)
    (value, station), tube = min(found, key=lambda entry: entry[0][0])
    return line.reading(value, station, tube, structure, others)


def _nothing(structure_id: str) -> Reading:
    return Reading(value=None, notes=(Note("nothing_below_footprint", {"id": structure_id}),))


class _Line:
    """A line with a cylinder around it."""

    def __init__(self, origin: Array, direction: Array, radius_mm: float) -> None:
        self.origin, self.direction, self.radius = origin, direction, radius_mm

    def split(self, points: Array) -> tuple[Array, Array, Array]:
        """(n, 3) → distance along, distance from the line, and the way across (n, 3)."""
        offset = points - self.origin
        along = offset @ self.direction
        across = offset - along[:, None] * self.direction
        return along, np.linalg.norm(across, axis=1), across

    def tube(self, tube: Tube) -> tuple[float, float] | None:
        """Least place of a tube and its station.

        Balls along a straight piece with linear radius, cut with the cylinder, are convex in
        (place, point), so how far they miss the cylinder and where they are first met are
        convex along the piece: find one place that is met, the ends of the met stretch, then
        the least.
        """

        def missed(stations: Array) -> Array:
            centres, radii = tube.at(stations)
            return np.asarray(self.split(centres)[1] - self.radius - radii)

        def first(stations: Array) -> Array:
            centres, radii = tube.at(stations)
            along, away, _ = self.split(centres)
            outside = np.maximum(away - self.radius, 0.0)
            return np.asarray(along - np.sqrt(np.maximum(radii**2 - outside**2, 0.0)))

        low, high = tube.stations[:-1], tube.stations[1:]
        if len(low) == 0:
            low = high = tube.stations
        middle = least_places(missed, low, high)
        for end in (low, high):
            middle = np.where(missed(end) < missed(middle), end, middle)
        met = missed(middle) <= 1e-12
        if not met.any():
            return None
        middle = middle[met]
        left = self._edge(missed, middle, low[met])
        right = self._edge(missed, middle, high[met])
        places = np.concatenate([least_places(first, left, right), left, right])
        values = first(places)
        lowest = int(np.argmin(values))
        return float(values[lowest]), float(places[lowest])

    @staticmethod
    def _edge(missed: Callable[[Array], Array], inside: Array, end: Array) -> Array:
        """The last met place on the way from a met one to the end of its piece."""
        share = np.linspace(0.0, 1.0, _PLACES)
        near, far, rows = inside, end, np.arange(len(inside))
        for _ in range(_ROUNDS):
            places = near[:, None] + (far - near)[:, None] * share
            out = missed(places.ravel()).reshape(places.shape) > 0
            out[:, 0] = False
            # What is met is one stretch: the last place before the first that is out.
            last = np.where(out.any(axis=1), np.argmax(out, axis=1), _PLACES) - 1
            near = places[rows, last]
            far = places[rows, np.minimum(last + 1, _PLACES - 1)]
        return np.asarray(near)

    def reading(
        self,
        value: float,
        station: float,
        tube: Tube,
        structure: Course | Foramen | Tapered | PointMarks,
        others: Sequence[Structure],
    ) -> Reading:
        centres, radii = tube.at(np.array([station]))
        _, away, across = (row[0] for row in self.split(centres))
        outside, radius = max(float(away) - self.radius, 0.0), float(radii[0])
        out = across / max(float(away), 1e-12)
        # Met off its middle, a ball is met on a slope: z = z(c) - sqrt(r² - outside²).
        root = max(float(np.sqrt(max(radius**2 - outside**2, 0.0))), _STEEPEST * radius)
        by_centre, by_radius = self.direction, -1.0 if radius > 0 else 0.0
        if outside > 0 and root > 0:
            by_centre = self.direction + outside / root * out
            by_radius = -radius / root
        foot = self.origin + out * min(float(away), self.radius)
        open_notes: tuple[Note, ...] = ()
        if isinstance(structure, Course | Tapered) and ends_there(
            structure, tube, station, others=others
        ):
            open_notes = (short_note(structure),)
        return Reading(
            value=value,
            witness=(foot, foot + value * self.direction),
            marks=tube.influences(station, by_centre, by_radius),
            size_sd_mm=tube.radius_sd_mm * abs(by_radius),
            evidence=MARKED,
            upper_bound=bool(open_notes),
            notes=tube.notes + open_notes,
        )

    def floor(self, floor: Floor) -> Reading:
        surface = FloorSurface.through(floor.points)
        if surface is None:
            return Reading(value=None, notes=(Note("floor_too_few_marks", {"id": floor.id}),))
        # A bare line meets a surface in one point, which no division would ever hit.
        radius = max(self.radius, 0.005)

        def value(points: Array) -> Array:
            along, away, _ = self.split(points)
            return np.where(away <= radius, along, np.inf)

        def bound(corners: Array, sag: Array) -> Array:
            middle = corners.mean(axis=1)
            reach = np.linalg.norm(corners - middle[:, None, :], axis=2).max(axis=1) + sag
            along = self.split(corners.reshape(-1, 3))[0].reshape(-1, 3).min(axis=1) - sag
            return np.where(self.split(middle)[1] - reach <= radius, along, np.inf)

        least = surface.least(value, bound, tolerance_mm=_FLOOR_TOLERANCE_MM)
        if least is None:
            return _nothing(floor.id)
        distance, place = least
        point = surface.at(place[None, :])[0]
        normal = surface.normal(place)
        cosine = float(normal @ self.direction)
        cosine = np.copysign(max(abs(cosine), _STEEPEST), cosine)
        rise = float(normal @ surface.frame[2]) / cosine
        shares = surface.weights(place[None, :])[0] * rise
        narrow = surface.inside_rim_mm(place) < 0.05
        return Reading(
            value=distance,
            witness=(point - distance * self.direction, point),
            marks=tuple(
                MarkInfluence(mark=f"{floor.id}/{index}", gradient=share * way, seen=seen)
                for index, (share, way, seen) in enumerate(
                    zip(shares, surface.mark_directions(), floor.seen, strict=True)
                )
            ),
            evidence=MARKED,
            upper_bound=narrow,
            notes=(Note("floor_marked_too_narrow", {"id": floor.id}),) if narrow else (),
        )
