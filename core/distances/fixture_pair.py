"""Distance and angle between two fixtures.

Definition: distance of the two convex solids; where they overlap, less the shortest shift that
parts them (penetration depth).

For a unit direction n, let g(n) be the room between the two planes across n that just touch
the one solid from ahead and the other from behind. The greatest g is the distance of convex
solids that stand apart, and less the penetration depth of those that overlap (support function
of the difference body; Cameron & Culley 1986, IEEE Int Conf Robotics and Automation 591-596,
from memory). The sphere of directions is divided until no part of it can hold a greater g.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.optimize import nnls

from core.distances.solid import FixtureSolid
from core.fixture import Fixture
from core.geometry import Array, angle_deg, cross, lengths
from core.measurement import PLANNED, Note, Reading

_TOLERANCE_MM = 2e-4
_OVERLAP_TOLERANCE_MM = 2e-3
"""Overlapping solids on one axis are parted equally well in a whole ring of directions."""

_FINEST = 1e-7
_NO_SUCH_PART = Reading(value=None, notes=(Note("no_such_part"),))


def between_fixtures(
    first: Fixture,
    second: Fixture,
    *,
    first_part_mm: tuple[float, float] | None = None,
    second_part_mm: tuple[float, float] | None = None,
    tip_mm: float = 0.0,
) -> Reading:
    """Shortest 3D distance of two fixtures; less the penetration depth where they overlap.

    Parameters
    ----------
    first, second : Fixture
    first_part_mm, second_part_mm : (from, to), optional
        Only the part between two depths (a zone with a limit of its own).
    tip_mm : float
        Height of the drill's tip beyond the first one's apex.

    Returns
    -------
    Reading
        witness: point of the first, then of the second; parts along and across the first's axis.
        Numerical error below 0.002 mm, to the near side.
    """
    one: FixtureSolid | None = FixtureSolid.of(first).with_tip(tip_mm)
    two: FixtureSolid | None = FixtureSolid.of(second)
    if one is not None and first_part_mm is not None:
        one = one.part(*first_part_mm)
    if two is not None and second_part_mm is not None:
        two = two.part(*second_part_mm)
    if one is None or two is None:
        return _NO_SUCH_PART
    return _reading(first, second, one, two, *_parted(one, two))


def zones_and_tip(
    first: Fixture,
    second: Fixture,
    zones_mm: Sequence[tuple[float, float]],
    *,
    tip_mm: float,
    nearer_by_mm: float,
) -> tuple[list[Reading], Reading | None]:
    """Distances of the first one's zones, and of all of it with the drill's tip where that counts.

    Parameters
    ----------
    first, second : Fixture
    zones_mm : sequence of (from, to)
        Depths of the first one.
    tip_mm : float
        Height of the drill's tip beyond the first one's apex.
    nearer_by_mm : float
        At least 0.005.

    Returns
    -------
    list of Reading, Reading or None
        Each as `between_fixtures` gives it; the last one None where the tip does not bring the
        first one nearer by `nearer_by_mm`.
    """
    one, two = FixtureSolid.of(first), FixtureSolid.of(second)
    parts = [one.part(*zone) for zone in zones_mm]
    parted = [None if part is None else _parted(part, two) for part in parts]
    readings = [
        _NO_SUCH_PART
        if part is None or found is None
        else _reading(first, second, part, two, *found)
        for part, found in zip(parts, parted, strict=True)
    ]
    tipped = one.with_tip(tip_mm)
    # No solid comes nearer than the room across any way, and the whole is no further than a part
    # of it: mostly the way of the nearest zone shows already that the tip changes nothing.
    value, way = min((found for found in parted if found is not None), key=lambda each: each[0])
    room = float((two.support(-way) - tipped.support(way))[0] @ way)
    if room > value + 2.0 * _OVERLAP_TOLERANCE_MM - nearer_by_mm:
        return readings, None
    bare, _ = _parted(one, two)
    value, way = _parted(tipped, two)
    if value > bare - nearer_by_mm:
        return readings, None
    return readings, _reading(first, second, tipped, two, value, way)


def _reading(  # noqa: PLR0917 - both fixtures, their parts, and what was found
    first: Fixture, second: Fixture, one: FixtureSolid, two: FixtureSolid, value: float, way: Array
) -> Reading:
    witness = _witness(one, two, value, way)
    way = witness[1] - witness[0]
    along = float(way @ one.axis)
    convex = first.size.is_convex and second.size.is_convex
    return Reading(
        value=value,
        witness=witness,
        evidence=PLANNED,
        along_mm=along,
        across_mm=float(np.linalg.norm(way - along * one.axis)),
        notes=() if convex else (Note("hull_used"),),
    )


def angle_between(first: Fixture, second: Fixture) -> Reading:
    """Angle between the axes of two fixtures, 0 to 180 degrees."""
    return Reading(
        value=angle_deg(first.towards_apex, second.towards_apex), unit="deg", evidence=PLANNED
    )


def _parted(one: FixtureSolid, two: FixtureSolid) -> tuple[float, Array]:
    """Signed distance of two convex solids, and the unit way from one to two that parts them most.

    Notes
    -----
    With y(n) the point of (two - one) furthest against n, g(m) <= y(n) · m for every m: over
    the directions within an angle w of n this is at most |y| cos(max(0, angle(y, n) - w)).
    """
    triangles = _octahedron()
    best, best_way = -np.inf, np.zeros(3)
    while True:
        middle = _unit_rows(np.add.reduce(triangles, axis=1) / 3)
        nearest = np.einsum("kij,kj->ki", triangles, middle).min(axis=1)
        spread = np.arccos(nearest.clip(-1.0, 1.0))
        y = two.support(-middle) - one.support(middle)
        room = np.einsum("ij,ij->i", y, middle)
        top = int(room.argmax())
        if room[top] > best:
            best, best_way = float(room[top]), middle[top]
        size = lengths(y)
        turn = np.arccos((room / np.maximum(size, 1e-300)).clip(-1.0, 1.0))
        bound = size * np.cos(np.maximum(turn - spread, 0.0))
        keep = bound > best + (_TOLERANCE_MM if best > 0 else _OVERLAP_TOLERANCE_MM)
        if not keep.any() or float(spread.max()) < _FINEST:
            break
        triangles = _quarters(triangles[keep])
    return best, best_way


def _witness(one: FixtureSolid, two: FixtureSolid, value: float, way: Array) -> tuple[Array, Array]:
    """A point on each solid whose difference is ``value * way``.

    A face or an edge of a solid has many support points in one direction; the witness is that
    weighted mean of the support points of directions close by whose difference fits.
    """
    helper = np.eye(3)[int(np.argmin(np.abs(way)))]
    u = cross(way, helper)
    u /= np.linalg.norm(u)
    v = cross(way, u)
    turns = np.linspace(0, 2 * np.pi, 48, endpoint=False)
    rings = [
        way + np.tan(size) * (np.cos(turns)[:, None] * u + np.sin(turns)[:, None] * v)
        for size in (1e-4, 1e-3, 1e-2, 5e-2)
    ]
    near = _unit_rows(np.vstack([way[None, :], *rings]))
    a, b = one.support(near), two.support(-near)
    # Far more weight on "shares sum to 1" than on the fit, which is then good to 1e-3 mm.
    system = np.vstack([(b - a).T, np.full(len(near), 1e3)])
    shares, _ = nnls(system, np.append(value * way, 1e3))
    shares /= shares.sum()
    return shares @ a, shares @ b


def _octahedron() -> Array:
    """(8, 3, 3) corners of the eight triangles that cover the sphere of directions."""
    x, y, z = np.eye(3)
    signs = [(i, j, k) for i in (1, -1) for j in (1, -1) for k in (1, -1)]
    return np.array([[i * x, j * y, k * z] for i, j, k in signs])


def _quarters(triangles: Array) -> Array:
    """(4 k, 3, 3) of (k, 3, 3): at each corner one, and one in the middle."""
    following = triangles[:, (1, 2, 0)]
    sides = _unit_rows(triangles + following)  # the middles of ab, bc, ca
    out = np.empty((4, *triangles.shape))
    for corner in range(3):
        # The corner in its own place, the middles of its two sides in those of the others.
        out[corner, :, corner] = triangles[:, corner]
        out[corner, :, (corner + 1) % 3] = sides[:, corner]
        out[corner, :, (corner + 2) % 3] = sides[:, (corner + 2) % 3]
    out[3] = sides
    return out.reshape(-1, 3, 3)


def _unit_rows(rows: Array) -> Array:
    return np.asarray(rows / lengths(rows)[..., None])
