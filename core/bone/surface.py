"""Shortest way from the whole fixture to the outside of the bone.

Definition: shortest 3D distance from the whole fixture, apex included, to the outer bone
surface, separately for buccal, lingual (palatal) and apical witness directions; repeated with
the drill's tip. A surface further than 8 mm is "≥ 8" where all between is bone.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import map_coordinates

from core.arch import FixtureFrame
from core.bone.bone_in_plane import PIXEL_MM, BoneInPlane, Plane, bone_in_plane
from core.bone.bone_levels import BoneLevels
from core.bone.edges import EdgeFinder, EdgeSet, ScanEdges
from core.distances.solid import FixtureSolid
from core.fixture import Fixture
from core.geometry import Array
from core.image.volume import Volume
from core.measurement import Note, Reading

SurfaceSide: TypeAlias = Literal["buccal", "lingual", "apical"]
SIDES: tuple[SurfaceSide, ...] = ("buccal", "lingual", "apical")
REACH_MM = 8.0

_GRID_MM = 0.75
_FINE = 8
_LEAD_MM = 5.0
_APICAL_LEAD_MM = 2.5
_USUAL_RADIUS_MM = 3.0
_HINT_MARGIN_MM = 0.5


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Cast:
    """A grid of parallel rays from outside and what they met.

    Parameters
    ----------
    shape : (rows, columns)
    points : (rows * columns, 3)
        Where the surface was met; NaN where nothing was found.
    hints : (k, 3)
        Where something that may be bone begins on rays that found no edge.
    sd_mm : (rows * columns,)
        Standard error of the surface along the ray.
    """

    shape: tuple[int, int]
    points: Array
    hints: Array
    sd_mm: Array

    @classmethod
    def of(cls, starts: Array, way: Array, edges: EdgeSet) -> _Cast:
        """From the rays' starts, (rows, columns, 3), and their edges, flattened."""
        flat = starts.reshape(-1, 3)
        # A ray that starts inside bone, or meets nothing, has no surface of this side on it.
        unsure = ~edges.found & ~np.isin(
            edges.reason, ("starts inside", "nothing", "not scanned", "levels", "graze")
        )
        unsure &= np.isfinite(edges.hint_mm)
        return cls(
            shape=(starts.shape[0], starts.shape[1]),
            points=np.asarray(flat + edges.distance_mm[:, None] * way),
            hints=np.asarray(flat[unsure] + edges.hint_mm[unsure, None] * way),
            sd_mm=edges.sd_mm,
        )

    def around(self, place: int) -> Array:
        """(m, 3) surface points close together around a ray's, between it and its neighbours."""
        rows, columns = self.shape
        row, column = divmod(place, columns)
        r = np.clip(row + np.linspace(-1, 1, 2 * _FINE + 1), 0, rows - 1)
        c = np.clip(column + np.linspace(-1, 1, 2 * _FINE + 1), 0, columns - 1)
        at = np.meshgrid(r, c, indexing="ij")
        grid = self.points.reshape(rows, columns, 3)
        # Cells with a corner that was not found give NaN and drop out.
        fine = [map_coordinates(grid[..., k], at, order=1) for k in range(3)]
        return np.stack(fine, axis=-1).reshape(-1, 3)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SurfaceCasts:
    """The outer bone surface around one pose: every size there is measured on the same points."""

    casts: tuple[_Cast, ...]
    frame: FixtureFrame
    scan: ScanEdges


def surface_casts(
    fixture: Fixture,
    frame: FixtureFrame,
    scan: ScanEdges,
    *,
    deepest_mm: float,
    radius_mm: float,
    upper: bool,
    shallowest_mm: float | None = None,
) -> SurfaceCasts:
    """Cast rays from cheek, tongue and beyond the apex on to the surroundings of a pose.

    Parameters
    ----------
    deepest_mm, radius_mm : float
        Of the largest fixture that is measured on them, its drill's tip included.
    shallowest_mm : float, optional
        Length of the shortest one; the deepest when left out.
    """
    if scan.levels.trouble is not None:
        return SurfaceCasts(casts=(), frame=frame, scan=scan)
    plane = Plane(origin=fixture.platform, across=frame.b, coronal=frame.a)
    bone = bone_in_plane(
        scan.volume, scan.levels, plane, crown_level_mm=plane.h(frame.station.origin), upper=upper
    )
    radius = max(radius_mm, _USUAL_RADIUS_MM)
    # Multiples of the step from the axis: another size's grid holds the same points.
    count = math.ceil((radius + REACH_MM) / _GRID_MM)
    offsets = _GRID_MM * np.arange(-count, count + 1, dtype=np.float64)
    depths = np.arange(0.0, deepest_mm + REACH_MM + _GRID_MM, _GRID_MM)
    depth, m = np.meshgrid(depths, offsets, indexing="ij")
    foot = fixture.platform + m[..., None] * frame.m - depth[..., None] * frame.a
    far = radius + REACH_MM + _LEAD_MM
    casts = [_cast(scan, foot + far * way, -way, far + radius) for way in (frame.b, -frame.b)]
    apical = _apical(
        scan,
        frame,
        bone,
        offsets,
        deepest_mm,
        deepest_mm if shallowest_mm is None else shallowest_mm,
    )
    return SurfaceCasts(casts=(*casts, *apical), frame=frame, scan=scan)


def _cast(scan: ScanEdges, starts: Array, way: Array, max_mm: float) -> _Cast:
    return _Cast.of(starts, way, scan.outer(starts.reshape(-1, 3), way, max_mm))


def bone_surface(
    fixture: Fixture,
    frame: FixtureFrame,
    volume: Volume,
    levels: BoneLevels,
    finder: EdgeFinder,
    *,
    tip_mm: float = 0.0,
    upper: bool = False,
) -> dict[SurfaceSide, Reading]:
    """Distances to the outer bone surface by side.

    Parameters
    ----------
    tip_mm : float
        Height of the drill's tip beyond the apex; 0 for the fixture alone.
    upper : bool
        True in the upper jaw.

    Returns
    -------
    dict of side → Reading
        Negative where the fixture stands out of the bone. Witness: fixture, then surface.
        A surface point deeper than the apex is *apical*; between platform and apex it is
        *buccal* or *lingual* where it lies within 45° of that side. The crest above the
        platform does not count: a fixture at bone level touches it.
    """
    found = surface_casts(
        fixture,
        frame,
        ScanEdges(volume=volume, levels=levels, finder=finder),
        deepest_mm=fixture.size.length_mm + tip_mm,
        radius_mm=float(fixture.size.profile[:, 1].max()),
        upper=upper,
        shallowest_mm=fixture.size.length_mm,
    )
    return surface_on(found, fixture, tip_mm=tip_mm)


def surface_on(
    found: SurfaceCasts,
    fixture: Fixture,
    *,
    tip_mm: float = 0.0,
    sides: Sequence[SurfaceSide] = SIDES,
) -> dict[SurfaceSide, Reading]:
    """The distances of `bone_surface` for a fixture in the pose of these casts."""
    trouble = found.scan.levels.trouble
    if trouble is not None:
        return {side: Reading(value=None, notes=(trouble,)) for side in sides}
    solid = FixtureSolid.of(fixture).with_tip(tip_mm)
    return {side: _least(side, solid, fixture, found) for side in sides}


def _apical(  # noqa: PLR0917 - as in `bone_surface`
    scan: ScanEdges,
    frame: FixtureFrame,
    bone: BoneInPlane,
    offsets: Array,
    deepest: float,
    shallowest: float,
) -> list[_Cast]:
    """Rays along the axis from below the bone; columns whose bone goes on are left out."""
    plane = bone.plane
    columns = np.clip(np.rint((offsets - bone.w[0]) / PIXEL_MM), 0, len(bone.w) - 1).astype(int)
    mask = bone.mask[:, columns]
    bottom = np.where(mask.any(axis=0), bone.h[np.argmax(mask, axis=0)], np.inf)
    near = (bottom > -(deepest + REACH_MM + 1.0)) & (bottom < -shallowest + 4.0)
    if not near.any():
        return []
    w, m = np.meshgrid(offsets[near], offsets, indexing="ij")
    h = np.broadcast_to(bottom[near][:, None] - _APICAL_LEAD_MM, w.shape)
    starts = plane.points(w.ravel(), h.ravel()) + m.reshape(-1, 1) * frame.m
    return [_cast(scan, starts.reshape(*w.shape, 3), frame.a, 2 * _APICAL_LEAD_MM)]


def _least(
    side: SurfaceSide, solid: FixtureSolid, fixture: Fixture, found: SurfaceCasts
) -> Reading:
    """Least distance among the surface points of one side, and between them."""
    frame = found.frame
    best: tuple[float, Array, float] | None = None
    nearest_hint = float("inf")
    for cast in found.casts:
        points, hints = cast.points, cast.hints
        distance = _distances(solid, points, _faces(side, fixture, frame, points))
        hinted = _distances(solid, hints, _faces(side, fixture, frame, hints))
        nearest_hint = min(nearest_hint, float(hinted.min(initial=np.inf)))
        if not np.isfinite(distance).any():
            continue
        place = int(np.argmin(distance))
        fine = np.concatenate([points[place : place + 1], cast.around(place)])
        value = _distances(solid, fine, _faces(side, fixture, frame, fine))
        at = int(np.argmin(value))
        if best is None or value[at] < best[0]:
            best = float(value[at]), fine[at], float(cast.sd_mm[place])
    if nearest_hint < REACH_MM and (best is None or nearest_hint < best[0] - _HINT_MARGIN_MM):
        return Reading(value=None, notes=(Note("surface_unclear", {"side": side}),))
    if best is None or best[0] > REACH_MM:
        return _beyond(side, frame, fixture, found.scan)
    value_mm, point, sd = best
    return Reading(
        value=value_mm,
        witness=(solid.nearest(point), point),
        edge_sd_mm=(sd,),
        evidence=found.scan.levels.evidence,
    )


def _distances(solid: FixtureSolid, points: Array, counted: NDArray[np.bool_]) -> Array:
    """Signed distances; infinite where a point does not count."""
    out = np.full(len(points), np.inf)
    if counted.any():
        out[counted] = solid.signed_distance(points[counted])
    return out


def _faces(
    side: SurfaceSide, fixture: Fixture, frame: FixtureFrame, points: Array
) -> NDArray[np.bool_]:
    """True where a surface point belongs to a side."""
    offset = np.nan_to_num(points - fixture.platform, nan=0.0)
    depth = -(offset @ frame.a)
    b, m = offset @ frame.b, np.abs(offset @ frame.m)
    finite = np.isfinite(points).all(axis=1)
    if side == "apical":
        return np.asarray(finite & (depth > fixture.size.length_mm))
    beside = finite & (depth >= -1e-6) & (depth <= fixture.size.length_mm)
    return np.asarray(beside & ((b if side == "buccal" else -b) >= m))


def _beyond(side: SurfaceSide, frame: FixtureFrame, fixture: Fixture, scan: ScanEdges) -> Reading:
    """No surface within reach: "≥ 8" where bone is seen at 8 mm, else not assessed."""
    middle = fixture.on_axis(fixture.size.length_mm / 2)
    radius = fixture.size.diameter_mm / 2
    if side == "apical":
        start, way = fixture.apex, -frame.a
    else:
        way = frame.b if side == "buccal" else -frame.b
        start = middle + radius * way
    t = np.arange(0.0, REACH_MM + 0.01, 0.25)
    grey = np.asarray(scan.volume.grey_at(start + t[:, None] * way), dtype=np.float64)
    if not np.isfinite(grey).all():
        return Reading(value=None, notes=(Note("surface_not_scanned", {"side": side}),))
    if (grey >= scan.levels.bone_threshold).mean() < 0.5:
        return Reading(value=None, notes=(Note("surface_not_found", {"side": side}),))
    return Reading(
        value=REACH_MM,
        witness=(start, start + REACH_MM * way),
        notes=(Note("at_least_reach", {"reach": REACH_MM}),),
        lower_bound=scan.levels.evidence.is_sound,
        evidence=scan.levels.evidence,
    )
