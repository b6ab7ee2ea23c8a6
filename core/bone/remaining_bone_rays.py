"""Rays from a fixture's axis outwards: where bone, gaps and marked things lie, and where it ends.

They depend on the pose alone, so that every size at one pose is measured on the same rays.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d
from scipy.spatial import cKDTree

from core.arch import FixtureFrame
from core.bone.bone_levels import BoneLevels
from core.bone.edges import STEP_MM, EdgeFinder
from core.bone.outside import Outside
from core.bone.rounded import rounded_off
from core.bone.seen_bone import bone_along, first_long_run
from core.distances.tubes import balls_along, tubes_of
from core.geometry import Array
from core.image import sampling
from core.image.volume import Volume
from core.structures import Floor, KnownObject, PointMarks, Structure, is_in_force, kind_of

REACH_MM = 8.0

EDGE, REACHES, TO_ROOT, NOT_FOUND, NOT_SCANNED, NO_BONE = range(6)
"""State of a ray: outer edge found, bone to 8 mm and more, stopped at a root, edge not found,
not scanned, no bone between the axis and 8 mm."""

GAP, OTHER, ROOT = 1, 2, 3
"""What is marked along a ray: a socket, a canal or metal, a root that stays."""

_LEAD_MM = 3.0
_USUAL_RADIUS_MM = 3.0
_BELOW_MM = 4.0
"""The outside is looked for this far below the last row too: a sinus is known by its air, which may
lie deeper than the lining over it, up to some 3 mm thick (common practice, no source)."""

_STARTS_MM, _MOST_OUTSIDE = 1.5, 0.8
"""A ray without an edge starts outside where so much of this length lies in the outside."""

_FAINT, _FAINT_NOISES = 0.1, 0.8
"""Share of the contrast, and of the noise of one sample, by which the mean of some forty samples
around a place rises where a plate of 0.3 mm is blurred to 0.8 mm, and not by noise."""

_TEXTURE_MM = 1.0
_PATCH = (3, 4)
"""Neighbouring rays on each side whose edges tell how the surface bends."""

_SKIMS_MM = 0.5
"""The outside this far above a ray: the crest lies about a quarter of a millimetre over it, less
than blur and a hand tell apart."""

_BEYOND_MM = np.array([0.3, 0.6, 0.9, 1.2])
"""Beyond an outer edge the outside is met within this."""

_HOLLOW_MM = 1.2
"""Less of a hollow on a ray only grazes it, and does not show the outside's level."""

_HAIR_MM = 1e-9

_OUTSIDE_MM = 4.0
"""A ray that ends in bone again is outside where it runs this far through no bone."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RemainingBoneRays:
    """Rays by (depth, direction), flattened; places along them count from the axis.

    Parameters
    ----------
    depths_mm : (D,)
    turns_deg : (P,)
    axis_mm, outward : (D * P, 3)
        Start of each ray on the axis, and its direction.
    edge_mm, sd_mm : (D * P,)
        Outer edge; NaN where not found, infinite where bone goes on.
    state : (D * P,)
        `EDGE`, `REACHES`, `NOT_FOUND`, `NOT_SCANNED` or `NO_BONE`.
    bone : (D * P, T) bool
        Bone is seen, short darker stretches in it included.
    gap : (D * P, T) bool
        No bone, and hanging together with the outside. What is dark and closed is marrow.
    marked : (D * P, T) uint8
        0, `GAP`, `OTHER` or `ROOT`.
    skims : (D * P, T) bool
        In bone, but so close under the crest that it may as well lie over it.
    """

    depths_mm: Array
    turns_deg: Array
    axis_mm: Array
    outward: Array
    edge_mm: Array
    sd_mm: Array
    state: NDArray[np.intp]
    bone: NDArray[np.bool_]
    gap: NDArray[np.bool_]
    marked: NDArray[np.uint8]
    skims: NDArray[np.bool_]


def remaining_bone_rays(  # noqa: PLR0917 - the order is that of `remaining_bone_map`
    volume: Volume,
    platform: Array,
    frame: FixtureFrame,
    levels: BoneLevels,
    finder: EdgeFinder,
    structures: Sequence[Structure] = (),
    *,
    length_mm: float,
    radius_mm: float,
    step_mm: float = 0.5,
    turn_step_deg: float = 5.0,
) -> RemainingBoneRays:
    """Cast the rays of one pose.

    Parameters
    ----------
    platform : (3,) patient LPS mm
    length_mm, radius_mm : float
        Of the largest fixture that is measured on them.
    """
    # One row more than the fixture has: its last row has neighbours to both sides too.
    depths = np.arange(0.0, length_mm + step_mm + 1e-9, step_mm)
    turns = np.arange(-180.0, 180.0, turn_step_deg)
    angle = np.radians(turns)[:, None]
    ways = np.cos(angle) * frame.b + np.sin(angle) * frame.m
    axis = np.repeat(platform - depths[:, None] * frame.a, len(turns), axis=0)
    outward = np.tile(ways, (len(depths), 1))
    far = REACH_MM + _LEAD_MM + max(radius_mm, _USUAL_RADIUS_MM)
    count = round(far / STEP_MM) + 1
    grey = sampling.profiles(volume, axis, outward, STEP_MM, count).astype(np.float64)
    grid = grey.reshape(-1, len(turns), count)
    down = 2 * round(0.5 * _TEXTURE_MM / step_mm) + 1
    around = 2 * round(30.0 / 360.0 * len(turns) / 2) + 1
    bone = bone_along(grid, levels, down=down, around=around, share=0.25)
    # A mean over directions washes out a plate that the rays cross aslant.
    each = bone_along(grid, levels, down=down, around=1, share=0.25)
    outside = Outside.around(
        volume, platform, frame, levels, reach_mm=far, depth_mm=depths[-1] + _BELOW_MM
    )
    t = np.arange(count) * STEP_MM
    places = (axis[:, None, :] + t[:, None] * outward[:, None, :]).reshape(-1, 3)
    cells = outside.cells(places)
    mouth, hollow = (part.reshape(-1, count) for part in outside.in_cells(cells))
    edge, sd, state = _edges(volume, finder, axis, outward, far=far, outside=mouth | hollow)
    near = outside.widened()
    by_mouth, by_hollow = (part.reshape(-1, count) for part in near.in_cells(cells))
    _within_bone(by_mouth | by_hollow, bone, edge=edge, sd=sd, state=state)
    _end_at_hollow(volume, finder, axis, outward, hollow, by_hollow, edge=edge, sd=sd, state=state)
    edge, sd = _unrounded(volume, finder, axis, outward, edge, sd, turns=len(turns))
    gap = by_mouth & ~bone & ~each
    # Nothing bright on a ray is no bone only where the ray is seen to start outside; else it is
    # marrow whose outside was not found, or a ray that skims the crest.
    start = round(_STARTS_MM / STEP_MM)
    outside_first = (mouth | hollow)[:, :start].mean(axis=1) > _MOST_OUTSIDE
    state[(state == NO_BONE) & (~outside_first | _shows_faintly(grid, levels))] = NOT_FOUND
    above = places + _SKIMS_MM * frame.a
    skims = outside.at(above)[0].reshape(-1, count) & ~by_mouth
    return RemainingBoneRays(
        depths_mm=depths,
        turns_deg=turns,
        axis_mm=axis,
        outward=outward,
        edge_mm=edge,
        sd_mm=sd,
        state=state,
        bone=bone,
        gap=gap,
        marked=_marked(axis, outward, structures, count),
        skims=skims,
    )


def _unrounded(  # noqa: PLR0917 - rays and what was found on them
    volume: Volume,
    finder: EdgeFinder,
    axis: Array,
    outward: Array,
    edge: Array,
    sd: Array,
    *,
    turns: int,
) -> tuple[Array, Array]:
    """Edges and their doubt without what blur takes off a curved surface."""
    grid = (-1, turns, 3)
    met = np.isfinite(edge)
    points = np.where(met[:, None], axis + np.where(met, edge, 0.0)[:, None] * outward, np.nan)
    by_turn = np.array([finder.rounding_mm2(volume, way) for way in outward[:turns]])
    if not by_turn.any():
        return edge, sd
    half_variance = np.broadcast_to(by_turn, (len(axis) // turns, turns))
    shift, doubt = rounded_off(
        points.reshape(grid), outward.reshape(grid), half_variance, _PATCH, ring=True
    )
    return edge + shift.ravel(), np.hypot(sd, doubt.ravel())


def _edges(
    volume: Volume,
    finder: EdgeFinder,
    axis: Array,
    outward: Array,
    *,
    far: float,
    outside: NDArray[np.bool_],
) -> tuple[Array, Array, NDArray[np.intp]]:
    """Place of the outer edge on each ray, looked for from outside inwards."""
    found = finder.outer(volume, axis + far * outward, -outward, far)
    edge, sd, reason = far - found.distance_mm, found.sd_mm.copy(), found.reason.copy()
    again = np.flatnonzero(reason == "starts inside")
    dark_from = first_long_run(outside[again], round(_OUTSIDE_MM / STEP_MM))
    retry = again[dark_from >= 0]
    if len(retry):
        lead = dark_from[dark_from >= 0] * STEP_MM + 2.0
        second = finder.outer(
            volume, axis[retry] + lead[:, None] * outward[retry], -outward[retry], far
        )
        edge[retry], sd[retry] = lead - second.distance_mm, second.sd_mm
        reason[retry] = second.reason
    state = np.full(len(axis), EDGE, dtype=np.intp)
    state[(reason != "") & (reason != "starts inside")] = NOT_FOUND
    state[reason == "not scanned"] = NOT_SCANNED
    state[reason == "nothing"] = NO_BONE
    state[reason == "starts inside"] = REACHES
    state[(state == EDGE) & (edge < 0.0)] = NO_BONE
    edge = np.where(state == REACHES, np.inf, np.where(state == EDGE, edge, np.nan))
    return edge, sd, state


def _within_bone(
    near_outside: NDArray[np.bool_],
    bone: NDArray[np.bool_],
    *,
    edge: Array,
    sd: Array,
    state: NDArray[np.intp],
) -> None:
    """Take edges back, in place, that have no outside beyond them: texture of spongy bone."""
    rays = np.flatnonzero(state == EDGE)
    beyond = np.rint((edge[rays, None] + _BEYOND_MM) / STEP_MM).astype(np.intp)
    beyond = np.clip(beyond, 0, near_outside.shape[1] - 1)
    rays = rays[~np.take_along_axis(near_outside[rays], beyond, axis=1).any(axis=1)]
    goes_on = bone[rays].all(axis=1)
    state[rays] = np.where(goes_on, REACHES, NOT_FOUND)
    edge[rays], sd[rays] = np.where(goes_on, np.inf, np.nan), np.nan


def _end_at_hollow(  # noqa: PLR0917 - rays and what was found on them
    volume: Volume,
    finder: EdgeFinder,
    axis: Array,
    outward: Array,
    hollow: NDArray[np.bool_],
    near_hollow: NDArray[np.bool_],
    *,
    edge: Array,
    sd: Array,
    state: NDArray[np.intp],
) -> None:
    """End rays at the sinus or the nose, in place: bone beyond it is not bone around a fixture.

    A ray that only skims one may end there: nothing is found on it.
    """
    length = round(_HOLLOW_MM / STEP_MM)
    first = first_long_run(hollow, length)
    grazed = np.where(near_hollow.any(axis=1), np.argmax(near_hollow, axis=1), np.inf)
    with np.errstate(invalid="ignore"):
        nearer = (first >= 0) & ~(edge <= first * STEP_MM)
        skims = ~nearer & ~(edge <= grazed * STEP_MM) & np.isfinite(grazed)
    edge[skims], sd[skims], state[skims] = np.nan, np.nan, NOT_FOUND
    rays = np.flatnonzero(nearer)
    if not len(rays):
        return
    lead = (first[rays] + length - 1) * STEP_MM
    found = finder.outer(
        volume, axis[rays] + lead[:, None] * outward[rays], -outward[rays], lead.max()
    )
    at = lead - found.distance_mm
    met = found.found & (at >= 0.0)
    edge[rays], sd[rays] = np.where(met, at, np.nan), np.where(met, found.sd_mm, np.nan)
    state[rays] = np.where(met, EDGE, NOT_FOUND)


def _shows_faintly(grid: Array, levels: BoneLevels) -> NDArray[np.bool_]:
    """(D * P,) rays that something fainter than bone crosses: a plate thinner than the blur."""
    smooth = np.nan_to_num(grid, nan=levels.soft)
    smooth = uniform_filter1d(smooth, 3, axis=0, mode="nearest")
    smooth = uniform_filter1d(smooth, 3, axis=1, mode="wrap")
    smooth = uniform_filter1d(smooth, 5, axis=2, mode="nearest")
    rise = np.max(smooth, axis=2).ravel() - levels.soft
    least = max(_FAINT * (levels.cortical - levels.soft), _FAINT_NOISES * levels.noise_sd)
    return np.asarray(rise > least)


def _marked(
    points: Array, outward: Array, structures: Sequence[Structure], count: int
) -> NDArray[np.uint8]:
    """(n, count) what is marked along the rays: nothing, gap, other or a root."""
    t = np.arange(0, count, 2) * STEP_MM
    kinds = np.zeros((len(points), len(t)), dtype=np.uint8)
    for structure in structures:
        in_bone = kind_of(structure).in_bone
        if not in_bone or isinstance(structure, Floor | PointMarks | KnownObject):
            continue
        kind = OTHER
        if in_bone == "root":
            kind = ROOT if is_in_force(structure) else GAP
        for tube in tubes_of(structure):
            centres, radii = balls_along(tube, 0.1)
            widest = float(radii.max())
            low, high = centres.min(axis=0) - widest, centres.max(axis=0) + widest
            rays = np.flatnonzero(_meets(points, outward, low, high, t[-1]))
            if not len(rays):
                continue
            # Only what lies in the box can lie in a ball; a hair more, so that no rounding counts.
            boxed = np.ones((len(rays), len(t)), dtype=np.bool_)
            for axis in range(3):
                along = points[rays, axis, None] + t * outward[rays, axis, None]
                boxed &= (along >= low[axis] - _HAIR_MM) & (along <= high[axis] + _HAIR_MM)
            ray, step = np.nonzero(boxed)
            ray = rays[ray]
            places = points[ray] + t[step, None] * outward[ray]
            distance, index = cKDTree(centres).query(places, distance_upper_bound=widest)
            inside = distance < radii[np.minimum(index, len(radii) - 1)]
            ray, step = ray[inside], step[inside]
            kinds[ray, step] = np.maximum(kinds[ray, step], np.uint8(kind))
    return np.repeat(kinds, 2, axis=1)[:, :count]


def _meets(
    points: Array, outward: Array, low: Array, high: Array, far_mm: float
) -> NDArray[np.bool_]:
    """(n,) rays that meet a box along the axes within a length: one slab after the other."""
    with np.errstate(divide="ignore", invalid="ignore"):
        one, two = (low - points) / outward, (high - points) / outward
    within = (points >= low) & (points <= high)
    still = outward == 0.0
    enters = np.where(still, np.where(within, -np.inf, np.inf), np.minimum(one, two))
    leaves = np.where(still, np.where(within, np.inf, -np.inf), np.maximum(one, two))
    first, last = np.maximum(enters.max(axis=1), 0.0), np.minimum(leaves.min(axis=1), far_mm)
    return np.asarray(first <= last)
