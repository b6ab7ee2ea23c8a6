"""Shortest way from the whole fixture to the outside of the bone.

Definition: shortest 3D distance from the whole fixture, apex included, to the outer bone
surface, separately for buccal, lingual (palatal) and apical witness directions; repeated with
the drill's tip. A ray on which no edge was found may hide a nearer one: then the distance is only
an upper bound. "≥ 8" is said where bone was seen along every ray of that side up to there.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import map_coordinates

from core.arch import FixtureFrame
from core.bone.between_rays import on_a_surface
from core.bone.bone_in_plane import PIXEL_MM, BoneInPlane, Plane, bone_in_plane
from core.bone.bone_levels import BoneLevels
from core.bone.edges import STEP_MM, EdgeFinder, EdgeSet, ScanEdges
from core.bone.least_of_many import doubt_of_least
from core.bone.met_from_outside import met_from_outside
from core.bone.outside import Outside
from core.bone.rounded import rounded_off
from core.bone.seen_bone import first_long_run, seen_bone
from core.distances.solid import FixtureSolid
from core.fixture import Fixture
from core.geometry import Array
from core.image.volume import Volume
from core.measurement import Note, Reading
from core.words.numbers import Figure

SurfaceSide: TypeAlias = Literal["buccal", "lingual", "apical"]
SIDES: tuple[SurfaceSide, ...] = ("buccal", "lingual", "apical")
REACH_MM = 8.0

_GRID_MM = 0.75
_FINE = 8
_LEAD_MM = 5.0
_APICAL_LEAD_MM = 2.5
_USUAL_RADIUS_MM = 3.0

_UNSEEN_NEARER_MM = 0.3
"""Where bone begins to show without an edge, the edge may lie this far further in: half a usual
blur."""

_AGREES_MM = 0.5
"""A lone ray without an edge whose first trace of bone lies this near to the surface around it
belongs to that surface."""

_PATCH = (2, 2)
"""Neighbouring rays on each side whose edges tell how the surface bends."""

_BELOW_END_MM, _MUCH_NEARER_MM = 0.4, 0.5
"""A surface that passes this far below the apex, and comes nearer by the second than all beside the
fixture, belongs to the side as well once the fixture stands a little deeper."""

_LEAP_MM = 4.0
"""A surface does not move so far from one ray to the next: one of them ended at something else, as
at gum that is as bright as bone (common practice, no source)."""

_HOLLOW_MM = 1.2
"""Less of a hollow on a ray only grazes it."""

_SAME_MM = 1e-6
_ABOVE_MM = 3.0
_OUTSIDE_MM = 4.0
"""A ray that starts in something bright has left it where it runs this far through none."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Cast:
    """A grid of parallel rays from outside and what they met.

    Parameters
    ----------
    shape : (rows, columns)
    points : (rows * columns, 3)
        Where the surface was met; NaN where nothing was found.
    unsure : (k, 3)
        Where something that may be bone begins on rays that found no edge, and that the rays
        around them do not speak for.
    sd_mm : (rows * columns,)
        Standard error of the surface along the ray.
    through : (l, 3)
        Starts of rays that met nothing at all: where the fixture stands in their way no bone was
        seen before it.
    """

    shape: tuple[int, int]
    points: Array
    unsure: Array
    sd_mm: Array
    through: Array

    @classmethod
    def of(cls, starts: Array, way: Array, edges: EdgeSet) -> _Cast:
        """From the rays' starts, (rows, columns, 3), and their edges, flattened."""
        shape = (starts.shape[0], starts.shape[1])
        flat = starts.reshape(-1, 3)
        # A ray that never leaves the bone, or meets none, has no surface of this side on it.
        open_ = ~edges.found & ~np.isin(
            edges.reason, ("starts inside", "nothing", "not scanned", "levels")
        )
        open_ &= np.isfinite(edges.hint_mm)
        around = _amid(edges.distance_mm.reshape(shape)).ravel()
        with np.errstate(invalid="ignore"):
            unsure = open_ & ~(np.abs(edges.hint_mm - around) < _AGREES_MM)
        leapt, at_mm = _leaps(edges.distance_mm.reshape(shape))
        return cls(
            shape=shape,
            points=np.asarray(flat + edges.distance_mm[:, None] * way),
            unsure=np.concatenate(
                [
                    flat[unsure] + edges.hint_mm[unsure, None] * way,
                    flat[leapt] + at_mm[:, None] * way,
                ]
            ),
            sd_mm=edges.sd_mm,
            through=np.asarray(flat[edges.reason == "nothing"]),
        )

    def around(self, row: float, column: float, reach: float) -> tuple[Array, Array]:
        """Surface points close together around a place of the grid, and their places.

        Parameters
        ----------
        reach : float
            To all sides, in steps of the grid.

        Returns
        -------
        (m, 3) points, (m, 2) rows and columns
        """
        rows, columns = self.shape
        r = np.clip(row + reach * np.linspace(-1, 1, 2 * _FINE + 1), 0, rows - 1)
        c = np.clip(column + reach * np.linspace(-1, 1, 2 * _FINE + 1), 0, columns - 1)
        at = np.stack(np.meshgrid(r, c, indexing="ij"))
        grid = self.points.reshape(rows, columns, 3)
        # Cells with a corner that was not found give NaN and drop out.
        fine = np.stack([map_coordinates(grid[..., k], at, order=1) for k in range(3)], axis=-1)
        # Straight between rays would cut off what bulges between them.
        for axis in (0, 1):
            bulge = np.zeros_like(grid)
            middle = np.moveaxis(bulge, axis, 0)
            whole = np.moveaxis(grid, axis, 0)
            middle[1:-1] = np.nan_to_num(whole[:-2] - 2.0 * whole[1:-1] + whole[2:])
            share = at[axis] - np.floor(at[axis])
            for k in range(3):
                bent = map_coordinates(bulge[..., k], at, order=1)
                fine[..., k] -= 0.5 * share * (1.0 - share) * bent
        return fine.reshape(-1, 3), at.reshape(2, -1).T


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SurfaceCasts:
    """The outer bone surface around one pose: every size there is measured on the same points."""

    casts: tuple[_Cast, ...]
    frame: FixtureFrame
    scan: ScanEdges
    outside: Outside | None = None


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
    outside = Outside.around(
        scan.volume,
        fixture.platform,
        frame,
        scan.levels,
        reach_mm=far,
        depth_mm=deepest_mm + REACH_MM,
    )
    casts = [
        _cast(scan, foot + far * way, -way, far + radius, outside) for way in (frame.b, -frame.b)
    ]
    over = np.abs(offsets) <= radius + _GRID_MM
    beside, along = np.meshgrid(offsets[over], offsets[over], indexing="ij")
    top = fixture.platform + beside[..., None] * frame.b + along[..., None] * frame.m
    casts.append(
        _cast(
            scan,
            top + _ABOVE_MM * frame.a,
            -frame.a,
            _ABOVE_MM + deepest_mm,
            outside,
            from_far=False,
        )
    )
    apical = _apical(
        scan,
        frame,
        bone,
        offsets,
        deepest_mm,
        deepest_mm if shallowest_mm is None else shallowest_mm,
    )
    if upper:
        apical += _from_hollow(scan, outside, fixture.platform, frame, offsets, deepest_mm)
    return SurfaceCasts(casts=(*casts, *apical), frame=frame, scan=scan, outside=outside)


def _cast(
    scan: ScanEdges,
    starts: Array,
    way: Array,
    max_mm: float,
    outside: Outside | None = None,
    *,
    from_far: bool = True,
) -> _Cast:
    """Rays from outside; from far away they may start in a bone that is not the one looked for.

    With `outside`, an edge that has none of it before it is no surface.
    """
    flat = starts.reshape(-1, 3)
    edges = scan.outer(flat, way, max_mm)
    again = np.flatnonzero((edges.reason == "starts inside") & from_far)
    if len(again):
        left = _left_bright(scan, flat[again], way, max_mm)
        again, left = again[np.isfinite(left)], left[np.isfinite(left)]
    if len(again):
        second = scan.outer(flat[again] + left[:, None] * way, way, max_mm)
        edges = _with(edges, again, second, left)
    if outside is not None:
        edges = met_from_outside(outside, flat, way, edges)
    cast = _Cast.of(starts, way, edges)
    half_variance = scan.finder.rounding_mm2(scan.volume, way)
    if half_variance <= 0.0:
        return cast
    grid = (*cast.shape, 3)
    shift, doubt = rounded_off(
        cast.points.reshape(grid),
        np.broadcast_to(-way, grid),
        np.full(cast.shape, half_variance),
        _PATCH,
        ring=False,
    )
    return replace(
        cast,
        points=cast.points - shift.reshape(-1, 1) * way,
        sd_mm=np.hypot(cast.sd_mm, doubt.ravel()),
    )


def _left_bright(scan: ScanEdges, starts: Array, way: Array, max_mm: float) -> Array:
    """(n,) how far rays that start in something bright run before they are outside; NaN: never."""
    t = np.arange(0.0, max_mm, STEP_MM)
    places = starts[:, None, :] + t[:, None] * way
    grey = np.asarray(scan.volume.grey_at(places.reshape(-1, 3)), dtype=np.float64)
    dark = grey.reshape(len(starts), len(t)) < scan.levels.bone_threshold
    from_ = first_long_run(dark, round(_OUTSIDE_MM / STEP_MM))
    return np.where(from_ >= 0, from_ * STEP_MM + 0.5 * _OUTSIDE_MM, np.nan)


def _with(edges: EdgeSet, rows: NDArray[np.intp], second: EdgeSet, shift_mm: Array) -> EdgeSet:
    """The edges with those of some rays looked for again, further on."""
    distance, hint = edges.distance_mm.copy(), edges.hint_mm.copy()
    sd, found, reason = edges.sd_mm.copy(), edges.found.copy(), edges.reason.copy()
    distance[rows], hint[rows] = second.distance_mm + shift_mm, second.hint_mm + shift_mm
    sd[rows], found[rows], reason[rows] = second.sd_mm, second.found, second.reason
    return EdgeSet(distance_mm=distance, sd_mm=sd, found=found, reason=reason, hint_mm=hint)


def _leaps(distance_mm: Array) -> tuple[NDArray[np.intp], Array]:
    """Rays that end far short of one beside them, flat, and how far that one runs.

    The surface may go on from it, behind what the others ended at.
    """
    furthest = np.fmax.reduce(_four_beside(distance_mm), axis=0)
    with np.errstate(invalid="ignore"):
        at = np.flatnonzero(furthest - distance_mm > _LEAP_MM)
    return at, furthest.ravel()[at]


def _amid(distance_mm: Array) -> Array:
    """(rows, columns) mean of the four rays around each; NaN where one of them found no edge."""
    return np.asarray(np.sum(_four_beside(distance_mm), axis=0) / 4.0)


def _four_beside(distance_mm: Array) -> Array:
    """(4, rows, columns) distances of the rays around each; NaN beyond the rim of the grid."""
    padded = np.pad(distance_mm, 1, constant_values=np.nan)
    return np.stack([padded[:-2, 1:-1], padded[2:, 1:-1], padded[1:-1, :-2], padded[1:-1, 2:]])


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
    """The distances of `bone_surface` for a fixture in the pose of these casts.

    Parameters
    ----------
    found : SurfaceCasts
    fixture : Fixture
    tip_mm : float, optional
        Height of the drill’s tip beyond the apex, mm.
    sides : sequence of SurfaceSide, optional
    """
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


def _from_hollow(  # noqa: PLR0917 - as in `bone_surface`
    scan: ScanEdges,
    outside: Outside,
    platform: Array,
    frame: FixtureFrame,
    offsets: Array,
    deepest: float,
) -> list[_Cast]:
    """Rays along the axis from sinus or nose back on to their floor.

    In a section the hollow is closed in on all sides, as marrow is, and looks like bone's inside.
    """
    steps = round((deepest + REACH_MM) / STEP_MM)
    w, m = np.meshgrid(offsets, offsets, indexing="ij")
    tops = platform + w[..., None] * frame.b + m[..., None] * frame.m
    depth = np.arange(steps) * STEP_MM
    places = tops.reshape(-1, 1, 3) - depth[:, None] * frame.a
    _, hollow = outside.at(places.reshape(-1, 3))
    first = first_long_run(hollow.reshape(-1, steps), round(_HOLLOW_MM / STEP_MM))
    there = (first >= 0).reshape(w.shape)
    if not there.any():
        return []
    # Where there is none the ray starts at nothing that was scanned, and finds nothing.
    starts = tops - ((first * STEP_MM + _HOLLOW_MM).reshape(w.shape))[..., None] * frame.a
    starts[~there] = np.nan
    return [_cast(scan, starts, frame.a, _HOLLOW_MM + _APICAL_LEAD_MM, from_far=False)]


def _least(
    side: SurfaceSide, solid: FixtureSolid, fixture: Fixture, found: SurfaceCasts
) -> Reading:
    """Least distance among the surface points of one side, and between them."""
    frame = found.frame
    best: tuple[float, Array, tuple[float, ...]] | None = None
    unsure_mm = _unseen_mm(side, fixture, frame, found.casts)
    for cast in found.casts:
        points, unsure = cast.points, cast.unsure
        distance = _distances(solid, points, _faces(side, fixture, frame, points))
        hinted = _distances(solid, unsure, _faces(side, fixture, frame, unsure, reach_mm=_GRID_MM))
        below = _faces(side, fixture, frame, points, reach_mm=_BELOW_END_MM)
        passing = _distances(solid, points, below) + _MUCH_NEARER_MM + _UNSEEN_NEARER_MM
        unsure_mm = min(
            unsure_mm, float(hinted.min(initial=np.inf)), float(passing.min(initial=np.inf))
        )
        if not np.isfinite(distance).any():
            continue
        place = int(np.argmin(distance))
        value, point = float(distance[place]), points[place]
        middle = np.array(divmod(place, cast.shape[1]), dtype=np.float64)
        for reach in (1.0, 1.0 / _FINE):
            fine, where = cast.around(float(middle[0]), float(middle[1]), reach)
            counted = _faces(side, fixture, frame, fine)
            if found.outside is not None:
                # Where the outside shows nowhere beside it, it may be none: never the value.
                held = on_a_surface(fine, cast.points, found.outside)
                left = _distances(solid, fine, counted & ~held)
                unsure_mm = min(unsure_mm, float(left.min(initial=np.inf)))
                counted &= held
            apart = _distances(solid, fine, counted)
            at = int(np.argmin(apart))
            if apart[at] < value:
                value, point, middle = float(apart[at]), fine[at], where[at]
        if best is None or value < best[0]:
            more = doubt_of_least(distance, cast.sd_mm, together=1.0)
            best = value, point, (float(cast.sd_mm[place]), *more)
    nearest_mm = float("inf") if best is None else best[0]
    nearer = None
    if unsure_mm - _UNSEEN_NEARER_MM < min(nearest_mm, REACH_MM):
        nearer = Note("surface_unclear", {"side": side, "at": Figure(f"{max(unsure_mm, 0.0):.1f}")})
    if best is None or best[0] > REACH_MM:
        if nearer is not None:
            return Reading(value=None, notes=(nearer,))
        return _beyond(side, frame, fixture, found.scan)
    value_mm, point, sds = best
    return Reading(
        value=value_mm,
        witness=(solid.nearest(point), point),
        edge_sd_mm=sds,
        upper_bound=nearer is not None,
        evidence=replace(found.scan.levels.evidence, nearer=nearer),
        notes=() if nearer is None else (nearer,),
    )


def _distances(solid: FixtureSolid, points: Array, counted: NDArray[np.bool_]) -> Array:
    """Signed distances; infinite where a point does not count."""
    out = np.full(len(points), np.inf)
    if counted.any():
        out[counted] = solid.signed_distance(points[counted])
    return out


def _unseen_mm(
    side: SurfaceSide, fixture: Fixture, frame: FixtureFrame, casts: Sequence[_Cast]
) -> float:
    """0 where a ray from this side runs through the fixture and met no bone at all, else ∞.

    A plate too faint for the scan's levels leaves no trace on a ray. Then bone ends between ray
    and fixture at a place that nobody saw, or the fixture stands out of it.
    """
    length = fixture.size.length_mm
    for cast in casts:
        offset = cast.through - fixture.platform
        depth, b, m = -(offset @ frame.a), offset @ frame.b, np.abs(offset @ frame.m)
        # From cheek or tongue: the others start above the fixture or below it.
        beside = (depth > _GRID_MM - _SAME_MM) & (depth < length + _SAME_MM)
        beside &= m < fixture.size.radius_at(np.clip(depth, 0.0, length))
        if side == "apical":
            beside &= depth > length - _GRID_MM
        else:
            beside &= (b if side == "buccal" else -b) > 0.0
        if beside.any():
            return 0.0
    return float("inf")


def _faces(
    side: SurfaceSide,
    fixture: Fixture,
    frame: FixtureFrame,
    points: Array,
    *,
    reach_mm: float = 0.0,
) -> NDArray[np.bool_]:
    """True where a surface point belongs to a side, or would if moved by a reach up or down."""
    offset = np.nan_to_num(points - fixture.platform, nan=0.0)
    depth = -(offset @ frame.a)
    b, m = offset @ frame.b, np.abs(offset @ frame.m)
    finite = np.isfinite(points).all(axis=1)
    if side == "apical":
        return np.asarray(finite & (depth > fixture.size.length_mm - reach_mm))
    beside = finite & (depth >= -_SAME_MM) & (depth <= fixture.size.length_mm + reach_mm)
    return np.asarray(beside & ((b if side == "buccal" else -b) >= m))


def _beyond(side: SurfaceSide, frame: FixtureFrame, fixture: Fixture, scan: ScanEdges) -> Reading:
    """No surface within reach: "≥ 8" where bone is seen along every ray, else not assessed."""
    starts, ways = _spread(side, frame, fixture)
    bone = seen_bone(scan.volume, scan.levels, starts, ways, REACH_MM)
    if bone is None:
        return Reading(value=None, notes=(Note("surface_not_scanned", {"side": side}),))
    if not bone:
        return Reading(value=None, notes=(Note("surface_not_found", {"side": side}),))
    row, column = ways.shape[0] // 2, ways.shape[1] // 2
    start, way = starts[row, column], ways[row, column]
    if side == "apical":
        start, way = fixture.apex, -frame.a
    return Reading(
        value=REACH_MM,
        witness=(start, start + REACH_MM * way),
        notes=(Note("at_least_reach", {"reach": REACH_MM}),),
        lower_bound=scan.levels.evidence.is_sound,
        evidence=scan.levels.evidence,
    )


def _spread(side: SurfaceSide, frame: FixtureFrame, fixture: Fixture) -> tuple[Array, Array]:
    """(rows, columns, 3) starts on the fixture and directions that cover a side."""
    if side == "apical":
        polar = np.radians(np.arange(0.0, 61.0, 10.0))[:, None, None]
        azimuth = np.radians(np.arange(-180.0, 180.0, 15.0))[None, :, None]
        around = np.cos(azimuth) * frame.b + np.sin(azimuth) * frame.m
        ways = np.cos(polar) * -frame.a + np.sin(polar) * around
        return fixture.apex + fixture.size.apical / 2 * np.sin(polar) * around, ways
    depths = np.arange(0.0, fixture.size.length_mm + 1e-9, 0.5)
    middle = 0.0 if side == "buccal" else 180.0
    turn = np.radians(middle + np.arange(-45.0, 46.0, 5.0))[None, :, None]
    ways = np.cos(turn) * frame.b + np.sin(turn) * frame.m
    ways = np.broadcast_to(ways, (len(depths), *ways.shape[1:]))
    radius = fixture.size.radius_at(depths)[:, None, None]
    axis = fixture.platform - depths[:, None, None] * frame.a
    return axis + radius * ways, ways
