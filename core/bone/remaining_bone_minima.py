"""Least remaining bone by side, and what places below a limit may mean.

Rays without an edge in small holes between found ones are judged by these; elsewhere the row is
not assessed.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from core.bone.least_of_many import doubt_of_least
from core.bone.remaining_bone import RemainingBoneMap, Side
from core.bone.remaining_bone_rays import (
    EDGE,
    NO_BONE,
    NOT_FOUND,
    NOT_SCANNED,
    REACH_MM,
    REACHES,
    TO_ROOT,
)
from core.measurement import Note, Reading

_WIDEST_HOLE = 2
"""Rays in a row that may be missing: 1 mm and 10°, about twice a usual blur."""

_SURE = 2.0
_TOGETHER = 3.0
"""Rays 0.5 mm and 5° apart within a usual blur of 0.7 mm."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RemainingBoneMinimum:
    """Least remaining bone of one side, with where it lies."""

    side: Side
    depth_mm: float | None
    turn_deg: float | None
    reading: Reading


@dataclass(frozen=True, slots=True, kw_only=True)
class Opening:
    """Depths over which a side's bone is less than its limit.

    Parameters
    ----------
    kind : {'possible dehiscence', 'possible fenestration', 'open at the apex'}
    from_mm, to_mm : float
    lacking_mm : float
        Most that is lacking to the limit.
    by_depth : tuple of (depth mm, lacking mm)
        Each depth of the map from `from_mm` to `to_mm`.
    """

    side: Side
    kind: Literal["possible dehiscence", "possible fenestration", "open at the apex"]
    from_mm: float
    to_mm: float
    lacking_mm: float
    by_depth: tuple[tuple[float, float], ...] = ()


def minima(
    remaining: RemainingBoneMap, rows: NDArray[np.bool_] | None = None
) -> dict[Side, RemainingBoneMinimum]:
    """Least remaining bone within ± 45° of buccal and of lingual, with its depth.

    Parameters
    ----------
    rows : (D,) bool, optional
        The depths that count; without it all.
    """
    counted = np.ones(len(remaining.depths_mm), dtype=bool) if rows is None else rows
    return {side: _minimum(remaining, side, counted) for side in ("buccal", "lingual")}


def _minimum(
    remaining: RemainingBoneMap, side: Side, counted: NDArray[np.bool_]
) -> RemainingBoneMinimum:
    if remaining.trouble is not None:
        return _no_minimum(side, remaining.trouble)
    part = counted[:, None] & remaining.sector(side)
    values = remaining.bone_mm[part]
    if np.isnan(values).all():
        scanned = (remaining.state[part] != NOT_SCANNED).any()
        return _no_minimum(side, Note("wall_not_found" if scanned else "wall_not_scanned"))
    row, col = np.argwhere(part)[int(np.nanargmin(values))]
    at = (int(row), int(col))
    state = int(remaining.state[at])
    unknown = np.isnan(remaining.bone_mm)
    judged = _judged_by_neighbours(remaining, at)
    missing = int((unknown & ~judged & part).sum())
    between = int((judged & part).sum())
    notes: tuple[Note, ...] = ()
    nearer = None
    if missing:
        nearer = Note("wall_partly_found", {"missing": missing, "of": values.size})
        notes += (nearer,)
    evidence = replace(remaining.evidence, nearer=nearer)
    if between:
        notes += (Note("wall_between_found", {"missing": between, "of": values.size}),)
    if state == REACHES:
        notes += (Note("at_least_reach", {"reach": REACH_MM}),)
    if state == TO_ROOT:
        notes += (Note("wall_to_root"),)
    if state == NO_BONE:
        notes += (Note("wall_no_bone"),)
    sd = float(remaining.sd_mm[at])
    more = doubt_of_least(values, remaining.sd_mm[part], together=_TOGETHER)
    reading = Reading(
        value=float(remaining.bone_mm[at]),
        witness=(remaining.surface_mm[at], remaining.edge_mm[at]),
        edge_sd_mm=(sd, *more) if np.isfinite(sd) and state == EDGE else (),
        upper_bound=missing > 0,
        lower_bound=state == REACHES and not missing and evidence.is_sound,
        evidence=evidence,
        notes=notes,
    )
    return RemainingBoneMinimum(
        side=side,
        depth_mm=float(remaining.depths_mm[at[0]]),
        turn_deg=float(remaining.turns_deg[at[1]]),
        reading=reading,
    )


def _judged_by_neighbours(remaining: RemainingBoneMap, least: tuple[int, int]) -> NDArray[np.bool_]:
    """(D, P) rays without an edge that the found ones around them can speak for.

    Such a ray lies in a hole so small that the scan's blur would carry anything thinner in it on
    to its rim: at most two rays wide, both ways (past the fixture's ends there is nothing to
    find). A hole of one ray is narrower than the blur; for a larger one each neighbour must also
    have more bone than the least found, by their doubt, so that the least is not at the hole's
    rim. Not where nothing was scanned.
    """
    unknown = np.isnan(remaining.bone_mm)
    sd = np.where(np.isfinite(remaining.sd_mm), remaining.sd_mm, 0.0)
    least_mm = remaining.bone_mm[least] + _SURE * sd[least]
    out = np.zeros_like(unknown)
    for row, col in zip(*np.nonzero(unknown & (remaining.state == NOT_FOUND)), strict=True):
        rim = _rim(unknown, int(row), int(col))
        if not rim:
            continue
        lone = all(step == 1 for _, _, step in rim)
        more = all(remaining.bone_mm[r, c] - _SURE * sd[r, c] > least_mm for r, c, _ in rim)
        out[row, col] = lone or more
    return out


def _rim(unknown: NDArray[np.bool_], row: int, col: int) -> list[tuple[int, int, int]]:
    """Found rays above, below and to both sides, with their steps; empty for too large a hole."""
    rows, turns = unknown.shape
    if row == 0:
        # Above the first depth the bone may end: nothing there speaks for a ray at the platform.
        return []
    rim: list[tuple[int, int, int]] = []
    for down, across in ((1, 0), (0, 1)):
        missing = 1
        for way in (1, -1):
            for step in range(1, _WIDEST_HOLE + 1):
                place = row + way * step * down, (col + way * step * across) % turns
                if not 0 <= place[0] < rows:
                    break
                if not unknown[place]:
                    rim.append((*place, step))
                    break
                missing += 1
        if missing > _WIDEST_HOLE:
            return []
    return rim


def _no_minimum(side: Side, note: Note) -> RemainingBoneMinimum:
    return RemainingBoneMinimum(
        side=side, depth_mm=None, turn_deg=None, reading=Reading(value=None, notes=(note,))
    )


def openings(
    remaining: RemainingBoneMap, side: Side, limit_at: Callable[[float], float]
) -> tuple[Opening, ...]:
    """Depths where a side's bone is less than its limit, and what that may mean.

    Open at the crest: possible dehiscence. Closed above and below: possible fenestration.

    Parameters
    ----------
    limit_at : depth from the platform in mm → limit in mm
    """
    values = remaining.bone_mm[:, remaining.sector(side)]
    known = ~np.isnan(values).all(axis=1)
    least = np.where(known, np.min(np.where(np.isnan(values), np.inf, values), axis=1), np.inf)
    lacking = np.array([limit_at(float(d)) for d in remaining.depths_mm]) - least
    below = np.concatenate([[False], lacking > 0, [False]]).astype(np.int8)
    starts, ends = (np.flatnonzero(np.diff(below) == way) for way in (1, -1))
    out = []
    for first, after in zip(starts, ends, strict=True):
        kind: Literal["possible dehiscence", "possible fenestration", "open at the apex"]
        if first == 0:
            kind = "possible dehiscence"
        elif after == len(lacking):
            kind = "open at the apex"
        else:
            kind = "possible fenestration"
        out.append(
            Opening(
                side=side,
                kind=kind,
                from_mm=float(remaining.depths_mm[first]),
                to_mm=float(remaining.depths_mm[after - 1]),
                lacking_mm=float(lacking[first:after].max()),
                by_depth=tuple(
                    (float(d), float(short))
                    for d, short in zip(
                        remaining.depths_mm[first:after], lacking[first:after], strict=True
                    )
                ),
            )
        )
    return tuple(out)
