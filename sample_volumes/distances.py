"""Clearances by brute force, from the marks of a plan file; a second way beside `core`."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import numpy as np
from scipy.interpolate import RBFInterpolator
from scipy.spatial import Delaunay

from sample_volumes.shapes import Array, through

BALLS = ("canal", "loop", "vessel", "border", "root", "existing", "foramen")


def fixture_distance(points: Array, platform: Array, towards_apex: Array, profile: Array) -> Array:
    """Signed distance of points to a solid of revolution (profile: depth and radius), brute force.

    In the half plane through the axis the solid is a polygon; its outline is sampled by
    distances to its segments. Negative inside.
    """
    d = points - platform
    depth = d @ towards_apex
    off = np.sqrt(np.maximum(np.einsum("ij,ij->i", d, d) - depth**2, 0.0))
    p = np.vstack([[profile[0, 0], 0.0], profile, [profile[-1, 0], 0.0]])
    best = np.full(len(points), np.inf)
    for a, b in pairwise(p):
        edge = b - a
        if not edge.any():
            continue
        t = np.clip(((depth - a[0]) * edge[0] + (off - a[1]) * edge[1]) / (edge @ edge), 0, 1)
        best = np.minimum(best, np.hypot(depth - a[0] - t * edge[0], off - a[1] - t * edge[1]))
    inside = (depth > p[0, 0]) & (depth < p[-1, 0])
    inside &= off < np.interp(depth, profile[:, 0], profile[:, 1])
    return np.where(inside, -best, best)


def profile_of(size: dict[str, float]) -> Array:
    """(4, 2) depth and radius of a fixture's size as written in a plan file."""
    d, length = size["diameter_mm"], size["length_mm"]
    taper = size.get("taper_from_mm", 0.5)
    return np.array([
        (0.0, size.get("platform_diameter_mm", d) / 2), (0.5, d / 2), (taper, d / 2),
        (length, size.get("apical_diameter_mm", d) / 2),
    ])  # fmt: skip


def balls(structure: dict[str, Any]) -> tuple[Array, Array]:
    """Dense centres and radii of a structure as written in a plan file."""
    kind = structure["kind"]
    if kind == "foramen":
        line = np.linspace(structure["mesial"], structure["distal"], 3)
        width = float(np.linalg.norm(line[-1] - line[0]))
        return line[1:2], np.array([width / 2])
    p = np.array(structure["points"])
    if kind in ("root", "existing"):
        lengths = np.linalg.norm(np.diff(p, axis=0), axis=1)
        at = np.concatenate([[0.0], np.cumsum(lengths)])
        t = np.linspace(0.0, at[-1], 8001)
        line = np.stack([np.interp(t, at, p[:, i]) for i in range(3)], axis=1)
        first, last = structure["diameters_mm"]
        return line, 0.5 * (first + (last - first) * t / at[-1])
    line = through(p, 0.005)
    return line, np.full(len(line), structure.get("diameter_mm", 0.0) / 2)


def floor_points(marks: Array, near: Array) -> Array:
    """Dense points of the thin-plate surface through marks, inside their hull.

    Heights over the plane that fits the marks best; grid of 0.05 mm within 6 mm of `near`.
    """
    middle = marks.mean(axis=0)
    axes = np.linalg.svd(marks - middle)[2]
    flat = (marks - middle) @ axes.T
    plate = RBFInterpolator(flat[:, :2], flat[:, 2], kernel="thin_plate_spline", degree=1)
    low, high = flat[:, :2].min(axis=0), flat[:, :2].max(axis=0)
    u, v = np.meshgrid(*(np.arange(a, b, 0.05) for a, b in zip(low, high, strict=True)))
    uv = np.stack([u.ravel(), v.ravel()], axis=1)
    uv = uv[np.linalg.norm(uv - ((near - middle) @ axes.T)[:2], axis=1) < 6.0]
    uv = uv[Delaunay(flat[:, :2]).find_simplex(uv) >= 0]
    return np.asarray(middle + np.column_stack([uv, plate(uv)]) @ axes)


def clearances(plan: dict[str, Any]) -> dict[str, Any]:
    """Least distance of each fixture to each curve, root and foramen, with witness points."""
    out: dict[str, Any] = {}
    for fixture in plan["fixtures"]:
        platform = np.array(fixture["platform"])
        axis = np.array(fixture["towards_apex"])
        axis = axis / np.linalg.norm(axis)
        for structure in plan["structures"]:
            if structure["kind"] == "floor":
                centres = floor_points(np.array(structure["points"]), platform + 8.0 * axis)
                radii = np.zeros(len(centres))
            elif structure["kind"] == "mark":
                centres = np.array(structure["points"])
                radii = np.zeros(len(centres))
            elif structure["kind"] in BALLS:
                centres, radii = balls(structure)
            else:
                continue
            d = fixture_distance(centres, platform, axis, profile_of(fixture["size"])) - radii
            at = int(np.argmin(d))
            key = f"{fixture['id']}/clearance/{structure['id']}"
            out[key] = {
                "value_mm": float(d[at]),
                "centre": centres[at].tolist(),
                "radius_mm": float(radii[at]),
            }
    return out
