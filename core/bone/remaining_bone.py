"""The bone left around a fixture, by depth and direction.

Definition (remaining bone): from each surface point of the fixture at (depth, direction φ),
along the ray perpendicular to the axis to the first outer edge, searched to 8 mm; the floor of the
sinus and of the nose is such an edge: bone beyond it is not bone around the fixture. Split into
bone, gap (not bone) and other (root, canal, metal). Only bone counts. φ is 0° buccal, 90° mesial,
± 180° lingual, −90° distal.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray

from core.arch import FixtureFrame
from core.bone.bone_levels import BoneLevels
from core.bone.edges import STEP_MM, EdgeFinder
from core.bone.remaining_bone_rays import (
    EDGE,
    GAP,
    NO_BONE,
    NOT_FOUND,
    NOT_SCANNED,
    OTHER,
    REACH_MM,
    REACHES,
    ROOT,
    TO_ROOT,
    RemainingBoneRays,
    remaining_bone_rays,
)
from core.fixture import Fixture, FixtureSize
from core.geometry import Array
from core.image.volume import Volume
from core.measurement import Evidence, Note
from core.structures import Structure

SECTOR_DEG = 45.0
_SURFACE_MM = 0.6
"""A ray that skims the crest this near to the fixture's surface may start outside the bone."""

Side: TypeAlias = Literal["buccal", "lingual"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RemainingBoneMap:
    """The remaining bone; arrays are (depths, directions).

    Parameters
    ----------
    depths_mm : (D,)
        From the platform.
    turns_deg : (P,)
        φ from −180 up to, not including, 180.
    bone_mm : (D, P)
        Bone on the ray; negative where the fixture's surface is outside bone; 8 where bone
        goes on; NaN where not found or not scanned.
    gap_mm, other_mm : (D, P)
    state : (D, P) uint8
    sd_mm : (D, P)
        Standard error of the outer edge.
    surface_mm, edge_mm : (D, P, 3) patient LPS mm
        Surface of the fixture and end of the bone.
    evidence : Evidence
        That of the levels its edges were found by.
    trouble : Note or None
    """

    depths_mm: Array
    turns_deg: Array
    bone_mm: Array
    gap_mm: Array
    other_mm: Array
    state: NDArray[np.uint8]
    sd_mm: Array
    surface_mm: Array
    edge_mm: Array
    evidence: Evidence
    trouble: Note | None = None

    def sector(self, side: Side) -> NDArray[np.bool_]:
        """(P,) True for directions within ± 45° of a side."""
        turned = np.abs(self.turns_deg)
        if side == "buccal":
            return np.asarray(turned <= SECTOR_DEG)
        return np.asarray(turned >= 180.0 - SECTOR_DEG)


def remaining_bone_map(  # noqa: PLR0917 - the order is that of `bone_surface`
    volume: Volume,
    fixture: Fixture,
    frame: FixtureFrame,
    levels: BoneLevels,
    finder: EdgeFinder,
    structures: Sequence[Structure] = (),
    *,
    step_mm: float = 0.5,
    turn_step_deg: float = 5.0,
) -> RemainingBoneMap:
    """Measure the bone left around a fixture.

    Parameters
    ----------
    structures : sequence of Structure
        Roots stop a ray; a root to be removed is a gap; canals and metal are *other*.
    step_mm, turn_step_deg : float
        0.5 mm and 5°; coarser while something is dragged.
    """
    rays = remaining_bone_rays(
        volume,
        fixture.platform,
        frame,
        levels,
        finder,
        structures,
        length_mm=fixture.size.length_mm,
        radius_mm=float(fixture.size.profile[:, 1].max()),
        step_mm=step_mm,
        turn_step_deg=turn_step_deg,
    )
    return remaining_bone_on(rays, fixture.size, levels)


def remaining_bone_on(
    rays: RemainingBoneRays, size: FixtureSize, levels: BoneLevels
) -> RemainingBoneMap:
    """The bone left around a fixture of a size, on rays of its pose that reach as deep.

    Parameters
    ----------
    rays : RemainingBoneRays
    size : FixtureSize
    levels : BoneLevels
    """
    turns = len(rays.turns_deg)
    rows = int((rays.depths_mm <= size.length_mm + 1e-9).sum())
    n = rows * turns
    shape = (rows, turns)
    depths = rays.depths_mm[:rows]
    radius = np.repeat(size.radius_at(np.minimum(depths, size.length_mm)), turns)
    outward = rays.outward[:n]
    surface = rays.axis_mm[:n] + radius[:, None] * outward
    no_levels = levels.evidence.levels
    if no_levels is not None:
        empty = np.full(shape, np.nan)
        return RemainingBoneMap(
            depths_mm=depths,
            turns_deg=rays.turns_deg,
            bone_mm=empty,
            gap_mm=empty,
            other_mm=empty,
            state=np.full(shape, NOT_FOUND, dtype=np.uint8),
            sd_mm=empty,
            surface_mm=surface.reshape(*shape, 3),
            edge_mm=np.full((*shape, 3), np.nan),
            evidence=levels.evidence,
            trouble=no_levels,
        )
    state, marked = rays.state[:n].copy(), rays.marked[:n]
    edge = rays.edge_mm[:n] - radius
    with np.errstate(invalid="ignore"):
        state[(state == EDGE) & (edge > REACH_MM)] = REACHES
    t = np.arange(marked.shape[1]) * STEP_MM - radius[:, None]
    # Whether the fixture's surface is in bone at all is not told there: no bone is claimed.
    skims = (rays.skims[:n] & (t >= 0.0) & (t < _SURFACE_MM)).any(axis=1)
    with np.errstate(invalid="ignore"):
        unsure = skims & np.isin(state, (EDGE, REACHES)) & (edge > _SURFACE_MM)
    state[unsure] = NOT_FOUND
    edge = np.where(unsure, np.nan, edge)
    edge = np.where(state == REACHES, REACH_MM, edge)
    edge = np.where(state == NO_BONE, -radius, edge)
    root = (marked == ROOT) & (t >= 0.0)
    at_root = np.where(
        root.any(axis=1), np.take_along_axis(t, np.argmax(root, axis=1)[:, None], 1)[:, 0], np.inf
    )
    stopped = (at_root < np.where(np.isnan(edge), REACH_MM, edge)) & (state != NOT_SCANNED)
    edge = np.where(stopped, at_root, edge)
    states = np.where(stopped, TO_ROOT, state).astype(np.uint8)
    within = (t >= 0.0) & (t < np.minimum(np.nan_to_num(edge), REACH_MM)[:, None])
    other = (marked == OTHER) & within
    gap = ((marked == GAP) | rays.gap[:n]) & within & ~other
    gap_mm, other_mm = gap.sum(axis=1) * STEP_MM, other.sum(axis=1) * STEP_MM
    bone_mm = np.where(edge > 0, np.maximum(edge - gap_mm - other_mm, 0.0), edge)
    bone_mm[(states == NOT_FOUND) | (states == NOT_SCANNED)] = np.nan
    return RemainingBoneMap(
        depths_mm=depths,
        turns_deg=rays.turns_deg,
        bone_mm=bone_mm.reshape(shape),
        gap_mm=gap_mm.reshape(shape),
        other_mm=other_mm.reshape(shape),
        state=states.reshape(shape),
        sd_mm=rays.sd_mm[:n].reshape(shape),
        surface_mm=surface.reshape(*shape, 3),
        edge_mm=(surface + edge[:, None] * outward).reshape(*shape, 3),
        evidence=levels.evidence,
    )
