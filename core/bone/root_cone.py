"""A root as a cone with an axis, and the rings of edges around it that it is laid through."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from core.bone.root_edges import BEYOND_MM, INSIDE_MM, STEP_MM, RootLevels, root_edges
from core.geometry import Array, unit
from core.image import sampling
from core.image.volume import Volume

RAYS, RING_MM, LAYERS_MM = 24, 0.5, (-0.3, 0.0, 0.3)
"""Rays a ring, from ring to ring, and the layers that each ring is the mean of."""

_RING_SEEN, _RING_OFF_MM, _RING_WIDER_MM = 0.55, 0.4, 0.25
_ENAMEL, _NO_DENTINE = 0.25, 0.3
"""Shares of the contrast: the ring's inside is brighter (enamel), or darker than dentine."""

WIDE_MM, NARROW_MM = (-0.9, 0.9), (-0.6, 0.6)
"""How far from where it is expected an edge is looked for, at first and later."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RootCone:
    """An axis with a radius that is linear along it; heights run from the click to the apex.

    Parameters
    ----------
    origin : (3,) patient LPS mm
        Where the height is 0.
    axis, one : (3,)
        Units: towards the apex, and across it where turns are counted from.
    radius, taper : float
        At height 0, mm, and its change by height.
    oval : (cos, sin)
        What the radius varies by with twice the turn, mm.
    sd : (8,) or None
        Standard deviations of radius and taper, of the place across in two directions, of both
        slopes, and of ``oval``; None before it was fitted.
    scatter : float
        Of the edges about it, mm.
    """

    origin: Array
    axis: Array
    one: Array
    radius: float
    taper: float
    oval: tuple[float, float] = (0.0, 0.0)
    sd: Array | None = None
    scatter: float = 0.0

    @property
    def two(self) -> Array:
        """(3,) across the axis and `one`."""
        return np.cross(self.axis, self.one)

    def radius_at(self, height: float) -> float:
        """Mean radius at a height, mm."""
        return self.radius + self.taper * height

    def around(self) -> tuple[Array, Array]:
        """(rays,) turns and (rays, 3) directions across the axis."""
        turn = 2.0 * np.pi * np.arange(RAYS) / RAYS
        ways = np.cos(turn)[:, None] * self.one + np.sin(turn)[:, None] * self.two
        return turn, ways


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RootRings:
    """Edges on rays around an axis, ring by ring.

    Parameters
    ----------
    height : (m,) mm
    radius, sd : (m, rays) mm
        Of the edges, where they are ``seen``.
    seen : (m, rays)
    expected : (m, rays) mm
    inside, beyond : (m, rays)
        Grey values just within and behind the expected edge.
    levels : RootLevels
    first_look : bool
        What is expected is a first guess.
    """

    height: Array
    radius: Array
    sd: Array
    seen: NDArray[np.bool_]
    expected: Array
    inside: Array
    beyond: Array
    levels: RootLevels
    first_look: bool

    @property
    def off(self) -> Array:
        """(m, rays) mm from where the edge is expected, outwards."""
        return self.radius - self.expected

    @property
    def good(self) -> NDArray[np.bool_]:
        """(m,) rings that show a root: mostly seen, where they are expected, of dentine.

        At the first look only seen: it may have begun at the lamina dura's outside.
        """
        if self.first_look:
            return np.asarray(self.seen.mean(axis=1) >= _RING_SEEN)
        near = self.seen & (np.abs(self.off) < _RING_OFF_MM)
        level: Array = np.nanmedian(self.inside, axis=1)
        dentine = level > self.levels.dentine - _NO_DENTINE * self.levels.contrast
        dentine &= level < self.levels.dentine + _ENAMEL * self.levels.contrast
        off = np.where(self.seen, self.off, np.nan)
        some = np.asarray(self.seen.any(axis=1), dtype=np.bool_)
        usual = np.nanmedian(np.where(some[:, None], off, 9.0), axis=1)
        return np.asarray((near.mean(axis=1) >= _RING_SEEN) & dentine & (usual < _RING_WIDER_MM))

    def dentine(self, before: float) -> float:
        """Level of dentine inside the good rings."""
        inside = self.inside[self.good]
        return float(np.nanmedian(inside)) if inside.size else before


def rings_around(
    volume: Volume,
    levels: RootLevels,
    cone: RootCone,
    span_mm: tuple[float, float],
    *,
    reach_mm: tuple[float, float],
    first_look: bool = False,
) -> RootRings:
    """Edges on rings around a cone's axis.

    Parameters
    ----------
    volume : Volume
    levels : RootLevels
    cone : RootCone
    span_mm : (first, last)
        Heights.
    reach_mm : (least, most)
        Where edges are looked for, from the cone's surface.
    first_look : bool, optional
    """
    turn, ways = cone.around()
    height = RING_MM * np.arange(round(span_mm[0] / RING_MM), round(span_mm[1] / RING_MM) + 1)
    radius = np.maximum(cone.radius + cone.taper * height, 0.4)
    oval = cone.oval[0] * np.cos(2 * turn) + cone.oval[1] * np.sin(2 * turn)
    expected = radius[:, None] + oval
    centres = cone.origin + height[:, None] * cone.axis
    starts = centres[:, None] + (expected - INSIDE_MM)[..., None] * ways
    count = round((INSIDE_MM + BEYOND_MM) / STEP_MM) + 1
    grey = np.stack(
        [
            sampling.profiles(
                volume,
                (starts + layer * cone.axis).reshape(-1, 3),
                np.broadcast_to(ways, starts.shape).reshape(-1, 3),
                STEP_MM,
                count,
            )
            for layer in LAYERS_MM
        ]
    ).astype(np.float64).mean(axis=0)  # fmt: skip
    edges = root_edges(grey, levels, reach_mm)
    shape = expected.shape
    found = edges.off_mm.reshape(shape)
    near = slice(round((INSIDE_MM - 0.9) / STEP_MM), round((INSIDE_MM - 0.4) / STEP_MM))
    core = grey[:, near].reshape(*shape, -1)
    behind = grey[:, round((INSIDE_MM + 0.5) / STEP_MM) :].reshape(*shape, -1)
    return RootRings(
        height=np.asarray(height, dtype=np.float64),
        radius=expected + np.nan_to_num(found, nan=9.0),
        sd=np.nan_to_num(edges.sd_mm.reshape(shape), nan=9.0),
        seen=np.asarray(edges.seen).reshape(shape),
        expected=expected,
        inside=np.percentile(core, 70, axis=2),
        beyond=np.median(behind, axis=2),
        levels=levels,
        first_look=first_look,
    )


def run_of(rings: RootRings, good: NDArray[np.bool_]) -> tuple[float, float]:
    """First and last height of the good rings that hang together around the click."""
    at = np.flatnonzero(good)
    middle = int(at[np.argmin(np.abs(rings.height[at]))])
    first = last = middle
    # One bad ring between good ones does not end a root.
    while any(good[max(first - 2, 0) : first]):
        first -= 1 if good[first - 1] else 2
    while any(good[last + 1 : last + 3]):
        last += 1 if good[last + 1] else 2
    return float(rings.height[first]), float(rings.height[last])


def fitted_cone(cone: RootCone, rings: RootRings) -> RootCone:
    """The cone through the good rings' edges, by least squares that far-off edges do not pull."""
    turn, _ = cone.around()
    use = rings.good[:, None] & rings.seen
    h = np.broadcast_to(rings.height[:, None], use.shape)[use]
    t = np.broadcast_to(turn, use.shape)[use]
    radius, sd = rings.radius[use], np.hypot(rings.sd[use], 0.05)
    c, s = np.cos(t), np.sin(t)
    middle = float(h.mean())
    x = h - middle
    columns = np.stack(
        [np.ones_like(c), x, c, s, x * c, x * s, np.cos(2 * t), np.sin(2 * t)], axis=1
    )
    # Nobody knows a root's shape from a few rings: it begins near what it was thought to be.
    likely = np.array([cone.radius_at(middle), cone.taper, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0])
    spread = np.array([2.0, 0.12, 2.0, 2.0, 0.4, 0.4, 0.25, 0.25])
    weight = 1.0 / sd**2
    for _ in range(6):
        normal = (columns * weight[:, None]).T @ columns + np.diag(1.0 / spread**2)
        fit = np.linalg.solve(normal, (columns * weight[:, None]).T @ radius + likely / spread**2)
        off = radius - columns @ fit
        usual = max(1.4826 * float(np.median(np.abs(off))), 0.05)
        weight = 1.0 / sd**2 * np.clip(1.0 - (off / (4.0 * usual)) ** 2, 0.0, 1.0) ** 2
    kept = weight > 0
    scatter = float(np.sqrt(np.mean(off[kept] ** 2))) if kept.any() else 9.0
    # Neighbouring rays share much of their image: about one of three tells something new.
    cover = np.linalg.inv(
        (columns[kept] / max(scatter, 0.03) ** 2).T @ columns[kept] / 3.0 + np.diag(1.0 / spread**2)
    )
    one, two = cone.one, cone.two
    axis = unit(cone.axis + fit[4] * one + fit[5] * two)
    at_middle = cone.origin + middle * cone.axis + fit[2] * one + fit[3] * two
    # The origin stays at the click's height.
    origin = at_middle - middle * axis
    new_one = unit(one - (one @ axis) * axis)
    return RootCone(
        origin=origin,
        axis=axis,
        one=new_one,
        radius=float(fit[0] - middle * fit[1]),
        taper=float(fit[1]),
        oval=(float(fit[6]), float(fit[7])),
        sd=np.sqrt(np.diag(cover)),
        scatter=scatter,
    )
