"""What a correct program must find, from the exact functions and by brute force.

Nothing here uses `core`: curves, distances and widths are computed a second way on purpose.
Units mm and degrees; points LPS.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Protocol

import numpy as np

from sample_volumes.distances import fixture_distance, profile_of
from sample_volumes.shapes import Array
from sample_volumes.voxelise import Pose

DEPTHS = (1.0, 3.0, 5.0, 7.0, 10.0)


class Surfaces(Protocol):
    """The two surfaces of the cortex, at jaw-frame points."""

    def outer(self, points: Array) -> Array:
        """Outer surface: negative inside the bone."""

    def inner(self, points: Array) -> Array:
        """Inner surface: negative in the spongy bone."""


def crossings(
    f: Callable[[Array], Array], start: Array, direction: Array, reach_mm: float
) -> Array:
    """Distances along a line where f changes sign, ascending; exact to about 1e-7 mm."""
    t = np.arange(0.0, reach_mm, 0.01)
    v = f(start + t[:, None] * direction)
    at = np.flatnonzero((v[:-1] < 0) != (v[1:] < 0))
    low, high = t[at].copy(), t[at + 1].copy()
    below = v[at] < 0
    for _ in range(24):
        mid = 0.5 * (low + high)
        same = (f(start + mid[:, None] * direction) < 0) == below if len(mid) else below
        low, high = np.where(same, mid, low), np.where(same, high, mid)
    return 0.5 * (low + high)


def first_crossings(
    f: Callable[[Array], Array], starts: Array, directions: Array, reach_mm: float
) -> Array:
    """(n,) distance at which f first changes sign along each ray; NaN where it does not."""
    starts, directions = np.broadcast_arrays(np.atleast_2d(starts), np.atleast_2d(directions))
    t = np.arange(0.0, reach_mm + 0.05, 0.05)
    p = starts[:, None, :] + t[None, :, None] * directions[:, None, :]
    negative = f(p.reshape(-1, 3)).reshape(len(starts), len(t)) < 0
    change = negative[:, 1:] != negative[:, :-1]
    at = np.argmax(change, axis=1)
    low, high = t[at], t[at + 1]
    first = negative[:, 0]
    for _ in range(26):
        mid = 0.5 * (low + high)
        same = (f(starts + mid[:, None] * directions) < 0) == first
        low, high = np.where(same, mid, low), np.where(same, high, mid)
    out = 0.5 * (low + high)
    return np.where(change.any(axis=1) & (out <= reach_mm), out, np.nan)


def crest_depth(
    f: Callable[[Array], Array], origin: Array, side: Array, down: Array, half_mm: float
) -> tuple[float, float]:
    """Crest furthest against `down` within ± half_mm of the axis: (depth from origin, offset)."""
    depth, centre = np.inf, 0.0
    for width in (half_mm, half_mm / 20, half_mm / 400):
        u = np.clip(np.linspace(centre - width, centre + width, 41), -half_mm, half_mm)
        hit = first_crossings(f, origin + u[:, None] * side - 4.0 * down, down, 20.0) - 4.0
        depth, centre = float(np.nanmin(hit)), float(u[np.nanargmin(hit)])
    return depth, centre


def widths(
    f: Callable[[Array], Array], origin: Array, side: Array, down: Array, crest: float
) -> dict[str, Any]:
    """Outer widths perpendicular to `down` at depths below the crest, and their ends."""
    rows = []
    for depth in DEPTHS:
        start = origin + (crest + depth) * down - 20.0 * side
        hit = crossings(f, start, side, 40.0)
        ends = [start + t * side for t in (hit[0], hit[-1])]
        rows.append(
            {
                "at_depth_mm": depth,
                "value_mm": float(hit[-1] - hit[0]),
                "intervals": len(hit) // 2,
                "ends": [e.tolist() for e in ends],
            }
        )
    return {"rows": rows}


def plate(surfaces: Surfaces, edge: Array, inward: Array) -> float:
    """Thickness of the cortex at an outer edge, along the normal of the outer surface."""
    h = 1e-4
    steps = np.concatenate([edge + h * np.eye(3), edge - h * np.eye(3)])
    values = surfaces.outer(steps)
    normal = values[:3] - values[3:]
    normal = -normal / np.linalg.norm(normal)
    if normal @ inward < 0:
        raise ValueError("the edge is not where it was said to be")
    return float(crossings(surfaces.inner, edge, normal, 8.0)[0])


def first_within(
    f: Callable[[Array], Array], platform: Array, axis: Array, reach_mm: float
) -> float:
    """Least depth along the axis at which a cavity is met within `reach_mm` of the axis."""
    side = np.linalg.svd(axis[None])[2][1:]
    r, turn = np.meshgrid(np.linspace(0, reach_mm, 12), np.radians(np.arange(0, 360, 10)))
    ring = np.cos(turn)[..., None] * side[0] + np.sin(turn)[..., None] * side[1]
    spots = (platform + r[..., None] * ring).reshape(-1, 3)
    return float(np.nanmin(first_crossings(f, spots, axis, 25.0)))


def cavity_distance(f: Callable[[Array], Array], fixture: dict[str, Any]) -> float:
    """Least distance from a fixture to a cavity's wall; dense rays, at most 0.01 mm too large."""
    platform, axis = np.array(fixture["platform"]), np.array(fixture["towards_apex"])
    axis = axis / np.linalg.norm(axis)
    side = np.linalg.svd(axis[None])[2][1:]
    x, y = (v.ravel()[:, None] for v in np.meshgrid(*[np.arange(-6.0, 6.01, 0.1)] * 2))
    starts = platform + x * side[0] + y * side[1]
    hit = first_crossings(f, starts, axis, 25.0)
    keep = np.isfinite(hit)
    wall = starts[keep] + hit[keep, None] * axis
    return float(fixture_distance(wall, platform, axis, profile_of(fixture["size"])).min())


def walls(
    outer: Callable[[Array], Array], fixture: dict[str, Any], buccal: Array, mesial: Array
) -> list[dict[str, float]]:
    """Bone from the fixture's side to the outer surface, across the axis, by depth and direction.

    Direction 0 deg is buccal, 90 deg mesial. No row where 8 mm are reached.
    """
    platform = np.array(fixture["platform"])
    axis = np.array(fixture["towards_apex"]) / np.linalg.norm(fixture["towards_apex"])
    b = buccal - axis * (buccal @ axis)
    b /= np.linalg.norm(b)
    m = np.cross(axis, b)
    m = m if m @ mesial > 0 else -m
    profile = profile_of(fixture["size"])
    depths, turns = np.meshgrid(
        np.arange(1.0, fixture["size"]["length_mm"] + 0.01), np.arange(0.0, 360.0, 45.0),
        indexing="ij",
    )  # fmt: skip
    depth, turn = depths.ravel(), np.radians(turns.ravel())
    rays = np.cos(turn)[:, None] * b + np.sin(turn)[:, None] * m
    radius = np.interp(depth, profile[:, 0], profile[:, 1])
    hit = first_crossings(outer, platform + depth[:, None] * axis, rays, 12.0) - radius
    rows = zip(depth, turns.ravel(), hit, strict=True)
    return [{"depth_mm": float(d), "turn_deg": float(a), "value_mm": float(w)}
            for d, a, w in rows if w < 8.0]  # fmt: skip


def rim(
    outer: Callable[[Array], Array], fixture: dict[str, Any], buccal: Array, mesial: Array
) -> dict[str, float]:
    """Depth of the platform at four places of its rim, along the axis; + into bone."""
    platform = np.array(fixture["platform"])
    axis = np.array(fixture["towards_apex"]) / np.linalg.norm(fixture["towards_apex"])
    b = buccal - axis * (buccal @ axis)
    b /= np.linalg.norm(b)
    m = np.cross(axis, b)
    m = m if m @ mesial > 0 else -m
    radius = profile_of(fixture["size"])[0, 1]
    out = {}
    for name, side in (("buccal", b), ("lingual", -b), ("mesial", m), ("distal", -m)):
        start = platform + radius * side - 5.0 * axis
        out[name] = 5.0 - float(first_crossings(outer, start, axis, 15.0)[0])
    return out


def bone_surface(
    outer: Callable[[Array], Array], fixture: dict[str, Any], buccal: Array
) -> dict[str, float]:
    """Least distance from the fixture to the outer bone surface, by side.

    A surface point belongs to *apical* when it lies deeper than the apex, else to *buccal* or
    *lingual* when its direction across the axis is within 45 degrees of that side. Dense points
    of the surface; the figure is at most 0.01 mm too large.
    """
    platform = np.array(fixture["platform"])
    axis = np.array(fixture["towards_apex"]) / np.linalg.norm(fixture["towards_apex"])
    b = buccal - axis * (buccal @ axis)
    b /= np.linalg.norm(b)
    m = np.cross(axis, b)
    length = fixture["size"]["length_mm"]
    depth, turn = (
        v.ravel()
        for v in np.meshgrid(
            np.arange(0.0, length + 6.0, 0.2), np.radians(np.arange(0.0, 360.0, 3.0))
        )
    )
    rays = np.cos(turn)[:, None] * b + np.sin(turn)[:, None] * m
    starts = platform + depth[:, None] * axis
    hit = first_crossings(outer, starts, rays, 12.0)
    keep = np.isfinite(hit)
    side_points = starts[keep] + hit[keep, None] * rays[keep]
    polar = np.radians(np.arange(0.0, 60.0, 2.0))
    pole, turn = (v.ravel() for v in np.meshgrid(polar, np.radians(np.arange(0.0, 360.0, 3.0))))
    cap = np.cos(pole)[:, None] * axis + np.sin(pole)[:, None] * (
        np.cos(turn)[:, None] * b + np.sin(turn)[:, None] * m
    )
    apex = platform + length * axis
    hit = first_crossings(outer, apex, cap, 20.0)
    keep = np.isfinite(hit)
    points = np.vstack([side_points, apex + hit[keep, None] * cap[keep]])
    d = fixture_distance(points, platform, axis, profile_of(fixture["size"]))
    rel = points - platform
    deep, across_b, across_m = rel @ axis, rel @ b, np.abs(rel @ m)
    groups = {
        "apical": deep > length,
        "buccal": (deep <= length) & (deep >= 0) & (across_b >= across_m),
        "lingual": (deep <= length) & (deep >= 0) & (-across_b >= across_m),
    }
    return {name: float(d[where].min()) for name, where in groups.items() if where.any()}


def hollow(
    outer: Callable[[Array], Array], canal_top: Array, buccal: Array, up: Array, crest_height: float
) -> dict[str, float]:
    """Lingual undercut in a section (Chan et al. 2011, Clin Oral Implants Res 22:201-206).

    Line A lies 2 mm above the canal's upper border; P is the most lingual point between A and
    the crest (a height above the canal's top, mm); depth is horizontal, the angle is at A.
    """

    def ends(heights: Array) -> tuple[Array, Array]:
        start = canal_top + heights[:, None] * up
        lingual = first_crossings(outer, start - 20.0 * buccal, buccal, 40.0)
        return 20.0 - lingual, 20.0 - first_crossings(outer, start + 20.0 * buccal, -buccal, 40.0)

    heights = np.arange(2.0, crest_height - 0.5, 0.02)
    lingual = ends(heights)[0]
    crest_width, base_width = np.sum(ends(np.array([crest_height - 2.0, 2.0])), axis=0)
    at = int(np.argmax(lingual))
    depth = max(0.0, float(lingual[at] - lingual[0]))
    rise = float(heights[at] - 2.0)
    return {
        "depth_mm": depth,
        "angle_deg": float(np.degrees(np.arctan2(rise, depth))),
        "width_crest_2mm": float(crest_width),
        "width_line_a": float(base_width),
        "crest_to_line_a_mm": crest_height - 2.0,
        "crest_to_p_mm": float(crest_height - heights[at]),
    }


def in_patient(surfaces: Surfaces, pose: Pose) -> Surfaces:
    """The same surfaces at LPS points."""

    class _Moved:
        def outer(self, points: Array) -> Array:
            return surfaces.outer(pose.jaw(points))

        def inner(self, points: Array) -> Array:
            return surfaces.inner(pose.jaw(points))

    return _Moved()
