"""Curves through hand-placed marks: the arch, a canal, a loop, a vessel.

Cubic spline with centripetal parameter and not-a-knot ends; three marks give the parabola,
two the straight line. Natural ends are wrong here: they force the curvature to zero where the
marks stop, which on a jaw's arch moves the curve and turns the sections by degrees.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import CubicSpline

from core.geometry import Array, lengths, points, vector

MERGE_MM = 0.05
"""Marks closer than this are one mark placed twice."""

_PIECES = 16
"""Parts into which the piece between two marks is cut for arc length and nearest points."""

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(8)


def _groups(marks: Array, merge_mm: float) -> Array:
    """(k, n) matrix that averages each run of marks closer than `merge_mm` to the run's first."""
    first = 0
    group = np.zeros(len(marks), dtype=np.intp)
    for index in range(1, len(marks)):
        apart = float(np.linalg.norm(marks[index] - marks[first])) >= merge_mm
        group[index] = group[index - 1] + apart
        if apart:
            first = index
    member = (group[None, :] == np.arange(group[-1] + 1)[:, None]).astype(np.float64)
    return np.asarray(member / member.sum(axis=1, keepdims=True))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Curve:
    """A curve through marks, addressed by arc length ("station") from the first mark.

    C2 between the first and the last mark; beyond them straight on along the end tangent.

    Parameters
    ----------
    points_mm : (n, 3) patient LPS mm
        The marks as they were placed.
    length_mm : float
        Arc length from the first to the last mark; quadrature error far below 0.001 mm.
    mark_stations : (n,)
        Station of each mark; merged marks share one.
    """

    points_mm: Array
    length_mm: float
    mark_stations: Array
    _averaging: Array = field(repr=False)
    _basis: CubicSpline = field(repr=False)
    _spline: CubicSpline = field(repr=False)
    _cuts: Array = field(repr=False)
    _cut_stations: Array = field(repr=False)

    @classmethod
    def through(cls, points_mm: ArrayLike, *, merge_mm: float = MERGE_MM) -> Curve:
        """Lay the curve through marks, in their order.

        Parameters
        ----------
        points_mm : (n, 3) patient LPS mm
        merge_mm : float
            Neighbouring marks closer than this are replaced by their mean.

        Raises
        ------
        ValueError
            When fewer than two marks stand apart.

        Notes
        -----
        Centripetal parameter: Lee ETY 1989, Choosing nodes in parametric curve interpolation,
        Computer-Aided Design 21:363-370 (knot distance = root of the chord).
        Not-a-knot: de Boor C 1978, A Practical Guide to Splines, chapter IV.
        """
        marks = points(points_mm)
        if len(marks) == 0:
            raise ValueError("a curve needs two marks that stand apart")
        averaging = _groups(marks, merge_mm)
        knots_mm = averaging @ marks
        if len(knots_mm) < 2:
            raise ValueError("a curve needs two marks that stand apart")
        steps = np.sqrt(np.linalg.norm(np.diff(knots_mm, axis=0), axis=1))
        if not (steps > 0).all():
            raise ValueError("neighbouring marks of a curve must not share one place")
        u = np.concatenate([[0.0], np.cumsum(steps)])
        basis = CubicSpline(u, np.eye(len(u)), bc_type="not-a-knot")
        spline = CubicSpline(u, knots_mm, bc_type="not-a-knot")
        parts = [np.linspace(a, b, _PIECES, endpoint=False) for a, b in pairwise(u)]
        cuts = np.concatenate([*parts, u[-1:]])
        pieces = _lengths(spline, cuts[:-1], cuts[1:])
        cut_stations = np.concatenate([[0.0], np.cumsum(pieces)])
        member = np.argmax(averaging > 0, axis=0)
        return cls(
            points_mm=marks,
            length_mm=float(cut_stations[-1]),
            mark_stations=cut_stations[::_PIECES][member],
            _averaging=averaging,
            _basis=basis,
            _spline=spline,
            _cuts=cuts,
            _cut_stations=cut_stations,
        )

    def at(self, station_mm: ArrayLike) -> Array:
        """(m,) stations → (m, 3) points of the curve, patient LPS mm."""
        u, over = self._parameter(station_mm)
        return np.asarray(self._spline(u) + over[:, None] * self._direction(u))

    def parameters(self, station_mm: ArrayLike) -> Array:
        """(m,) stations within the marks → (m,) parameters of the curve, growing alike."""
        return self._parameter(station_mm)[0]

    def at_parameters(self, u: Array) -> Array:
        """(m,) parameters → (m, 3) points: far quicker than `at`, for a search along the curve."""
        return np.asarray(self._spline(u))

    def stations_at(self, u: Array) -> Array:
        """(m,) parameters within the marks → (m,) stations."""
        return self._stations(u)

    def tangent(self, station_mm: ArrayLike) -> Array:
        """(m,) stations → (m, 3) unit tangents, in the order of the marks."""
        return self._direction(self._parameter(station_mm)[0])

    def weights(self, station_mm: ArrayLike) -> Array:
        """Influence of each mark on points of the curve, knots and parameters held.

        Returns
        -------
        (m, n)
            ``at(station) == weights(station) @ points_mm``; a shift d of mark i moves the point
            by ``weights[:, i] * d``. Rows sum to 1. Beyond the ends the straight line is
            ``P(end) + u P'(end)`` with u held.
        """
        u, over = self._parameter(station_mm)
        slope = self._basis(u, 1)
        speed = np.linalg.norm(self._spline(u, 1), axis=1)
        beyond = np.divide(over, speed, out=np.zeros_like(over), where=speed > 0)
        return np.asarray((self._basis(u) + beyond[:, None] * slope) @ self._averaging)

    def nearest(self, point_mm: ArrayLike) -> float:
        """Station of the curve's point nearest to a patient point.

        Below 0 or above `length_mm` where the nearest point lies on a straight continuation.
        """
        return float(self.nearest_stations(vector(point_mm)[None, :])[0])

    def nearest_stations(self, points_mm: ArrayLike) -> Array:
        """(m, 3) patient points → (m,) stations of the nearest points; see `nearest`."""
        p = points(points_mm)
        who, u = self._perpendicular_feet(p)
        first, last = self.tangent([0.0, self.length_mm])
        start, end = self._spline(self._cuts[[0, -1]])
        # Every foot within the marks, and for each point its foot on either continuation,
        # which is the end itself where the point does not lie beyond it.
        everyone = np.arange(len(p))
        before = np.minimum((p - start) @ first, 0.0)
        after = self.length_mm + np.maximum((p - end) @ last, 0.0)
        who = np.concatenate([who, everyone, everyone])
        stations = np.concatenate([self._stations(u), before, after])
        gaps = np.linalg.norm(self.at(stations) - p[who], axis=1)
        order = np.lexsort((gaps, who))
        return np.asarray(stations[order][np.searchsorted(who[order], everyone)])

    def _perpendicular_feet(self, p: Array) -> tuple[NDArray[np.intp], Array]:
        """Parameters where the distance from a point is least: (index of the point, parameter)."""
        spline, cuts = self._spline, self._cuts
        place, slope = spline(cuts), spline(cuts, 1)
        rising = np.einsum("cx,cx->c", place, slope) - p @ slope.T
        who, cell = np.nonzero((rising[:, :-1] < 0) & (rising[:, 1:] >= 0))
        low, high = cuts[cell], cuts[cell + 1]
        u = (low + high) / 2
        for _ in range(60):
            gap, velocity = spline(u) - p[who], spline(u, 1)
            g = np.einsum("ix,ix->i", gap, velocity)
            low, high = np.where(g < 0, u, low), np.where(g < 0, high, u)
            bend = np.einsum("ix,ix->i", velocity, velocity)
            bend += np.einsum("ix,ix->i", gap, spline(u, 2))
            newton = u - np.divide(g, bend, out=np.full_like(g, np.inf), where=bend > 0)
            # Newton's step where it stays between the brackets, else halve them.
            after = np.where((newton >= low) & (newton <= high), newton, (low + high) / 2)
            settled = not (np.abs(after - u) > 1e-13 * cuts[-1]).any()
            u = after
            if settled:
                break
        return who, u

    def polyline(self, max_sagitta_mm: float = 0.002) -> tuple[Array, Array]:
        """Chords that stay within `max_sagitta_mm` of the curve, from first to last mark.

        Returns
        -------
        (m,), (m, 3)
            Stations and points, patient LPS mm. Every mark is one of them.

        Notes
        -----
        A chord over a parameter step h is off by at most h² max|P''| / 8, and P'' is linear
        between two marks, so its greatest length stands at one of them.
        """
        u = self._spline.x
        bend = np.linalg.norm(self._spline(u, 2), axis=1)
        parts: list[Array] = []
        for a, b, k in zip(u[:-1], u[1:], np.maximum(bend[:-1], bend[1:]), strict=True):
            count = max(1, int(np.ceil((b - a) * np.sqrt(k / (8.0 * max_sagitta_mm)))))
            parts.append(np.linspace(a, b, count, endpoint=False))
        places = np.concatenate([*parts, u[-1:]])
        return self._stations(places), np.asarray(self._spline(places))

    def _stations(self, u: Array) -> Array:
        """(m,) parameters within the marks → (m,) stations."""
        cell = np.clip(np.searchsorted(self._cuts, u, side="right") - 1, 0, len(self._cuts) - 2)
        return np.asarray(self._cut_stations[cell] + _lengths(self._spline, self._cuts[cell], u))

    def _parameter(self, station_mm: ArrayLike) -> tuple[Array, Array]:
        """(m,) stations → (m,) parameters held within the marks, (m,) mm beyond them."""
        station = np.atleast_1d(np.asarray(station_mm, dtype=np.float64))
        within = np.clip(station, 0.0, self.length_mm)
        cell = np.clip(
            np.searchsorted(self._cut_stations, within, side="right") - 1, 0, len(self._cuts) - 2
        )
        low, high = self._cuts[cell], self._cuts[cell + 1]
        start, stop = self._cut_stations[cell], self._cut_stations[cell + 1]
        share = (within - start) / np.where(stop > start, stop - start, 1.0)
        u = low + share * (high - low)
        for _ in range(6):
            length, speed = _lengths_and_speeds(self._spline, low, u)
            off = start + length - within
            step = np.divide(off, speed, out=np.zeros_like(off), where=speed > 1e-9)
            u = np.clip(u - step, low, high)
            if not (np.abs(off) > 1e-10).any():
                break
        return u, station - within

    def _direction(self, u: Array) -> Array:
        """(m,) parameters → (m, 3) unit tangents."""
        velocity = self._spline(u, 1)
        speed = np.linalg.norm(velocity, axis=1, keepdims=True)
        # A curve that turns back on itself stands still for one instant; where it goes next
        # is then the direction of its acceleration.
        velocity = np.where(speed > 1e-9, velocity, self._spline(u, 2))
        return np.asarray(velocity / np.linalg.norm(velocity, axis=1, keepdims=True))


def _lengths(spline: CubicSpline, low: Array, high: Array) -> Array:
    """(m,) arc lengths between parameters that lie within one cut: Gauss-Legendre, 8 nodes."""
    return _lengths_and_speeds(spline, low, high)[0]


def _lengths_and_speeds(spline: CubicSpline, low: Array, high: Array) -> tuple[Array, Array]:
    """The same, and (m,) speeds at the upper parameters: the spline is asked once for both."""
    half = (high - low) / 2.0
    nodes = np.empty((len(half), len(_NODES) + 1))
    nodes[:, :-1] = (low + half)[:, None] + half[:, None] * _NODES
    nodes[:, -1] = high
    speed = lengths(spline(nodes, 1))
    return half * (np.ascontiguousarray(speed[:, :-1]) @ _WEIGHTS), speed[:, -1]
