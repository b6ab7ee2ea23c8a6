"""Marked structures as balls along a line: canals, loops, vessels, roots, foramina, marks.

A `Tube` is addressed by the arc length of its middle line ("station"). Its radius is constant
or linear in length. Where the line is the curve through the marks, that curve itself is used,
not a polyline of it. A canal without a diameter is taken as 3.0 mm (SD 0.35) and says so; a loop or
vessel without one is an upper bound.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import TypeAlias

import numpy as np

from core.curve import Curve
from core.geometry import Array
from core.measurement import MarkInfluence, Note
from core.structures import Course, Foramen, PointMarks, Tapered, kind_of

ASSUMED_CANAL_DIAMETER_MM = 3.0
ASSUMED_CANAL_DIAMETER_SD_MM = 0.35
"""Diameter used for a canal whose diameter nobody measured, and its standard deviation."""

ENTERED_DIAMETER_SD_MM = 0.35
"""Of a diameter that somebody read off a picture: two edges placed by hand (SD of a distance
between two marks, Tomasi et al. 2011, Dentomaxillofac Radiol 40:244, taken as 0.35)."""

_PLACES = 33
_ROUNDS = 6

Tubular: TypeAlias = Course | Foramen | Tapered | PointMarks


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Tube:
    """Balls along a line.

    Parameters
    ----------
    stations : (m,) mm
        Places that cut the line into pieces which are straight, or straight to 0.002 mm.
    points : (m, 3) patient LPS mm
        Middle line at these stations.
    radii : (m,) mm
        Linear in between.
    curve : Curve or None
        The middle line where it is the curve through the marks.
    keys : tuple of str
        Keys of the hand-placed marks that the line rests on.
    seen : tuple of str
        How well each was seen.
    radius_sd_mm : float
        Standard deviation of the radius, where the size was fitted, entered or assumed.
    course : str
        Id of the traced course that the tube is; empty for everything else.
    notes : tuple of Note
    """

    stations: Array
    points: Array
    radii: Array
    curve: Curve | None = None
    keys: tuple[str, ...]
    seen: tuple[str, ...]
    radius_sd_mm: float = 0.0
    course: str = ""
    notes: tuple[Note, ...] = ()

    @property
    def length_mm(self) -> float:
        """Length of the middle line; 0 for a single ball."""
        return float(self.stations[-1])

    def at(self, stations_mm: Array) -> tuple[Array, Array]:
        """(n,) stations → (n, 3) centres and (n,) radii."""
        radii = np.interp(stations_mm, self.stations, self.radii)
        if self.curve is not None:
            return self.curve.at(stations_mm), radii
        return self.straight_at(stations_mm)[0], radii

    def straight_at(self, stations_mm: Array) -> tuple[Array, Array]:
        """Like `at`, on the straight pieces: within 0.002 mm of the line, and much quicker."""
        columns = [np.interp(stations_mm, self.stations, column) for column in self.points.T]
        return np.stack(columns, axis=1), np.interp(stations_mm, self.stations, self.radii)

    def influences(
        self, station_mm: float, by_centre: Array, by_radius: float
    ) -> tuple[MarkInfluence, ...]:
        """Derivative of a value by every mark, at one place of the tube.

        Parameters
        ----------
        station_mm : float
            Where the value is taken.
        by_centre : (3,)
            Derivative of the value by the centre of the ball there.
        by_radius : float
            Derivative of the value by its radius.

        Notes
        -----
        At a minimiser the derivative of the minimum is the derivative at the place held
        (envelope theorem), so the station need not move.
        """
        weights, radius_by_mark = self._shares(station_mm)
        gradients = weights[:, None] * by_centre + by_radius * radius_by_mark
        return tuple(
            MarkInfluence(mark=key, gradient=gradient, seen=seen, course=self.course)
            for key, gradient, seen in zip(self.keys, gradients, self.seen, strict=True)
        )

    def _shares(self, station_mm: float) -> tuple[Array, Array]:
        """(n,) share of each mark in the centre and (n, 3) derivative of the radius by it."""
        count = len(self.keys)
        if self.curve is not None:
            return self.curve.weights([station_mm])[0], np.zeros((count, 3))
        if count != len(self.points):
            # A single ball of merged marks, or a course that is one traced whole.
            return np.full(count, 1.0 / count), np.zeros((count, 3))
        if count == 1:
            return np.ones(1), np.zeros((1, 3))
        return self._linear_shares(station_mm)

    def _linear_shares(self, station_mm: float) -> tuple[Array, Array]:
        count = len(self.points)
        piece = int(np.clip(np.searchsorted(self.stations, station_mm) - 1, 0, count - 2))
        steps = np.diff(self.points, axis=0)
        lengths = np.linalg.norm(steps, axis=1)
        fraction = (station_mm - self.stations[piece]) / max(lengths[piece], 1e-12)
        weights = np.zeros(count)
        weights[piece], weights[piece + 1] = 1.0 - fraction, fraction
        # radius = first + slope * (length up to the place) / (whole length): both lengths move.
        directions = steps / np.maximum(lengths, 1e-12)[:, None]
        portion = np.zeros(count - 1)
        portion[:piece], portion[piece] = 1.0, fraction
        part, whole = np.zeros((count, 3)), np.zeros((count, 3))
        for total, share in ((part, portion), (whole, np.ones(count - 1))):
            total[1:] += share[:, None] * directions
            total[:-1] -= share[:, None] * directions
        length = max(self.length_mm, 1e-12)
        slope = (self.radii[-1] - self.radii[0]) / length
        return weights, slope * (part - whole * (station_mm / length))


@lru_cache(maxsize=256)
def tubes_of(structure: Tubular) -> tuple[Tube, ...]:
    """A structure as tubes: one, or one ball a point for marks.

    Remembered by the structure's identity, which is frozen: a drag asks for it again and again.
    """
    if isinstance(structure, Course):
        return (replace(_course(structure), course=structure.id),)
    if isinstance(structure, Foramen):
        return (_foramen(structure),)
    if isinstance(structure, Tapered):
        return (_tapered(structure),)
    return tuple(
        _ball(point, 0.0, keys=(f"{structure.id}/{index}",), seen=("yes",))
        for index, point in enumerate(structure.points)
    )


@lru_cache(maxsize=256)
def balls_along(tube: Tube, apart_mm: float) -> tuple[Array, Array]:
    """(n, 3) centres and (n,) radii of balls that stand evenly along a tube, at least two of them.

    Remembered by the tube's identity, as the tubes of a structure are; read only.

    Parameters
    ----------
    tube : Tube
    apart_mm : float
        About how far they stand apart.
    """
    count = max(round(tube.length_mm / apart_mm), 1) + 1
    balls = tube.at(np.linspace(0.0, tube.length_mm, count))
    for part in balls:
        part.flags.writeable = False
    return balls


def least_places(
    values: Callable[[Array], Array], low: Array, high: Array, *, rounds: int = _ROUNDS
) -> Array:
    """Least place of many functions of one variable at once, each unimodal on [low, high].

    Each round looks at 33 places of every bracket and keeps the two steps around the least, so
    that a bracket shrinks to a 16th: few calls of a vectorised function, not many small ones.

    Parameters
    ----------
    values : callable
        (k,) places to (k,) values, a function after the other.
    low : (n,)
        Lower ends of the brackets.
    high : (n,)
        Upper ends.
    rounds : int, optional
    """
    share = np.linspace(0.0, 1.0, _PLACES)
    for _ in range(rounds):
        places = low[:, None] + (high - low)[:, None] * share
        least = np.argmin(values(places.ravel()).reshape(places.shape), axis=1)
        rows = np.arange(len(places))
        low = places[rows, np.maximum(least - 1, 0)]
        high = places[rows, np.minimum(least + 1, _PLACES - 1)]
    return np.asarray((low + high) / 2)


def diameter_sd_mm(course: Course) -> float:
    """Standard deviation of a curve's diameter; without a diameter it has none.

    A plan that states a diameter and no doubt of it says nothing of how it was found: it counts
    as read off a picture, never as exact.
    """
    if course.diameter_mm is None:
        return 0.0
    stated = course.diameter_sd_mm
    return ENTERED_DIAMETER_SD_MM if stated is None else stated


def _course(course: Course) -> Tube:
    notes: tuple[Note, ...] = ()
    diameter, radius_sd = course.diameter_mm, diameter_sd_mm(course) / 2
    if diameter is None and kind_of(course).diameter == "assumed":
        diameter, radius_sd = ASSUMED_CANAL_DIAMETER_MM, ASSUMED_CANAL_DIAMETER_SD_MM / 2
        notes = (
            Note(
                "canal_diameter_assumed",
                {"diameter": ASSUMED_CANAL_DIAMETER_MM, "sd": ASSUMED_CANAL_DIAMETER_SD_MM},
            ),
        )
    radius = (diameter or 0.0) / 2
    if course.course is not None:
        return _polyline(
            course.course,
            (radius, radius),
            # A traced course errs as one: a single correlated term.
            keys=(f"{course.id}/course",),
            seen=(_worst(course.seen),),
            radius_sd_mm=radius_sd,
            notes=notes,
        )
    keys = tuple(f"{course.id}/{index}" for index in range(len(course.points)))
    if float(np.ptp(course.points, axis=0).max()) < 0.05:
        return _ball(
            course.points.mean(axis=0),
            radius,
            keys=keys,
            seen=course.seen,
            radius_sd_mm=radius_sd,
            notes=notes,
        )
    curve = Curve.through(course.points)
    stations, line = curve.polyline()
    return Tube(
        stations=stations,
        points=line,
        radii=np.full(len(stations), radius),
        curve=curve,
        keys=keys,
        seen=course.seen,
        radius_sd_mm=radius_sd,
        notes=notes,
    )


def _foramen(foramen: Foramen) -> Tube:
    """Ball between mesial and distal edge; its diameter is their distance."""
    centre = (foramen.mesial + foramen.distal) / 2
    radius = float(np.linalg.norm(foramen.mesial - foramen.distal)) / 2
    keys = (f"{foramen.id}/mesial", f"{foramen.id}/distal")
    return _ForamenBall(
        stations=np.zeros(1),
        points=centre[None, :],
        radii=np.array([radius]),
        keys=keys,
        seen=("yes", "yes"),
        span=foramen.mesial - foramen.distal,
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _ForamenBall(Tube):
    """The foramen's ball: its radius follows both edges too."""

    span: Array

    def _shares(self, station_mm: float) -> tuple[Array, Array]:
        del station_mm
        length = float(np.linalg.norm(self.span))
        half = self.span / (2 * length) if length > 1e-9 else np.zeros(3)
        return np.full(2, 0.5), np.stack([half, -half])


def _tapered(tapered: Tapered) -> Tube:
    first, last = tapered.diameters_mm
    keys = tuple(f"{tapered.id}/{index}" for index in range(len(tapered.points)))
    return _polyline(tapered.points, (first / 2, last / 2), keys=keys, seen=tapered.seen)


def _polyline(
    line: Array,
    radii: tuple[float, float],
    *,
    keys: tuple[str, ...],
    seen: tuple[str, ...],
    radius_sd_mm: float = 0.0,
    notes: tuple[Note, ...] = (),
) -> Tube:
    lengths = np.linalg.norm(np.diff(line, axis=0), axis=1)
    stations = np.concatenate([[0.0], np.cumsum(lengths)])
    share = stations / max(float(stations[-1]), 1e-12)
    return Tube(
        stations=stations,
        points=line,
        radii=radii[0] + share * (radii[1] - radii[0]),
        keys=keys,
        seen=seen,
        radius_sd_mm=radius_sd_mm,
        notes=notes,
    )


def _ball(
    centre: Array,
    radius: float,
    *,
    keys: tuple[str, ...],
    seen: tuple[str, ...],
    radius_sd_mm: float = 0.0,
    notes: tuple[Note, ...] = (),
) -> Tube:
    return Tube(
        stations=np.zeros(1),
        points=np.asarray(centre)[None, :],
        radii=np.array([radius]),
        keys=keys,
        seen=seen,
        radius_sd_mm=radius_sd_mm,
        notes=notes,
    )


def _worst(seen: tuple[str, ...]) -> str:
    return max(seen, key=("yes", "faint", "no").index)
