"""Lingual undercut of the lower jaw by two published definitions.

*Undercut-level*: Chan H-L et al. 2011 (Clin Oral Implants Res 22:201-206): depth and angle on the
level 2 mm above the canal, horizontal meaning perpendicular to *up*; types U, P, C.
*Undercut-bridge*: Parnia F et al. 2010 (Oral Surg Oral Med Oral Pathol Oral Radiol Endod
109:e32-36): depth below the tangent that touches the lingual surface above and below the hollow;
types I (< 2 mm), II (2 to 3 mm), III (> 3 mm).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from scipy.ndimage import median_filter
from scipy.signal import savgol_filter

from core.bone.bone_in_plane import BoneInPlane
from core.bone.edges import ScanEdges
from core.bone.ridge_height import level_of
from core.bone.ridge_section import Crest, widths
from core.geometry import Array, vector
from core.measurement import Evidence, Note, Reading
from core.plans.plan import Jaw
from core.structures import Course, Structure

LEVEL_OVER_CANAL_MM = 2.0
CREST_WIDTH_DEPTH_MM = 2.0

_STEP_MM = 0.25
_BULGE_SAMPLES = 9
_MOST_MISSING = 0.25
_STRAY_MM = 1.3


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class UndercutResult:
    """Lingual undercut in a section along *up*.

    Parameters
    ----------
    level_depth : Reading
        Undercut-level depth. Witness: on the vertical through the most lingual point, then on the
        bone, both on the level.
    angle : Reading
        Degrees; 90 is a flat wall. None where the depth does not exceed eps.
    type : str
        ``U`` undercut, ``P`` parallel, ``C`` convex; empty where not assessed.
    eps_mm : float
        max(0.5 mm, 2 voxels): what counts as different.
    width_crest, width_base : Reading
        Widths 2 mm below the crest and on the level.
    bridge_depth : Reading
        Undercut-bridge depth. Witness: on the bridging line, then on the bone.
    bridge_type : str
        ``I``, ``II`` or ``III``; empty where not assessed.
    """

    level_depth: Reading
    angle: Reading
    type: str
    eps_mm: float
    width_crest: Reading
    width_base: Reading
    bridge_depth: Reading
    bridge_type: str


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Outline:
    """Lingual outline from the base to the crest: x to the tongue, y to the crowns, ascending y."""

    x: Array
    y: Array
    sd: float
    bone: BoneInPlane
    evidence: Evidence

    def point(self, x: float, y: float) -> Array:
        return vector(self.bone.plane.points(-x, y)[0])


def undercut(
    scan: ScanEdges, bone: BoneInPlane, crest: Crest, structures: Sequence[Structure], jaw: Jaw
) -> UndercutResult:
    """Measure the lingual undercut in a section along *up* (`RidgeResult.bone`).

    Parameters
    ----------
    scan : ScanEdges
    bone : BoneInPlane
    crest : Crest
    structures : sequence of Structure
    jaw : {'lower', 'upper'}
    """
    eps = max(0.5, 2.0 * scan.levels.voxel_mm)
    if jaw != "lower":
        return _nothing(eps, (Note("undercut_lower_jaw_only"),))
    if crest.point_mm is None:
        return _nothing(eps, crest.notes)
    outline = _lingual_outline(scan, bone, bone.plane.h(crest.point_mm))
    if isinstance(outline, Note):
        return _nothing(eps, (outline,))
    depth = _bridge(outline)
    canals = [s for s in structures if isinstance(s, Course) and s.kind == "canal"]
    level = level_of(canals, bone.plane)
    if level is None:
        empty = Reading(value=None, notes=(Note("undercut_no_canal"),))
        return UndercutResult(
            level_depth=empty,
            angle=_angle_none(empty.notes),
            type="",
            eps_mm=eps,
            width_crest=empty,
            width_base=empty,
            bridge_depth=depth,
            bridge_type=bridge_type(depth.value),
        )
    y_a = level + LEVEL_OVER_CANAL_MM
    top = bone.plane.h(crest.point_mm)
    at_crest, at_base = widths(scan, bone, crest, np.array([CREST_WIDTH_DEPTH_MM, top - y_a]))
    level_depth, angle = _level(outline, y_a, eps)
    return UndercutResult(
        level_depth=level_depth,
        angle=angle,
        type=ridge_type(level_depth.value, at_crest.value, at_base.value, eps),
        eps_mm=eps,
        width_crest=at_crest,
        width_base=at_base,
        bridge_depth=depth,
        bridge_type=bridge_type(depth.value),
    )


def ridge_type(
    depth_mm: float | None, crest_mm: float | None, base_mm: float | None, eps_mm: float
) -> str:
    """U where the hollow is deeper than eps; C where the base is wider than the crest by eps.

    Parameters
    ----------
    depth_mm : float or None
        Of the hollow, mm.
    crest_mm : float or None
        Width 2 mm below the crest, mm.
    base_mm : float or None
        Width on the level, mm.
    eps_mm : float
        Less is no difference, mm.
    """
    if depth_mm is None:
        return ""
    if depth_mm > eps_mm:
        return "U"
    if crest_mm is None or base_mm is None:
        return ""
    return "C" if base_mm - crest_mm > eps_mm else "P"


def bridge_type(depth_mm: float | None) -> str:
    """I below 2 mm, II from 2 to 3 mm, III above 3 mm (Parnia 2010)."""
    if depth_mm is None:
        return ""
    return "I" if depth_mm < 2.0 else "II" if depth_mm <= 3.0 else "III"


def _lingual_outline(scan: ScanEdges, bone: BoneInPlane, crest_h: float) -> _Outline | Note:
    """Outer lingual edges every 0.25 mm of height, from the base to the crest."""
    rows = np.flatnonzero(bone.mask.any(axis=1))
    low = float(bone.h[rows[0]])
    y = np.arange(low + _STEP_MM, crest_h - 0.2, _STEP_MM)
    spans = [bone.intervals(float(v)) for v in y]
    keep = [n for n, span in enumerate(spans) if span]
    if len(keep) < 20:
        return Note("undercut_no_outline")
    y = y[keep]
    border = np.array([spans[n][0][0] for n in keep])
    if (border <= bone.w[0]).any():
        return Note("ridge_open_side")
    lead = np.array(
        [bone.lead_beside(float(a), float(b), -1.0) for a, b in zip(y, border, strict=True)]
    )
    plane = bone.plane
    edges = scan.outer(plane.points(border - lead, y), plane.across, 5.0)
    w = border - lead + edges.distance_mm
    found = edges.found & (np.abs(w - border) < _STRAY_MM)
    # The round top and base are met at a graze and need not be found.
    middle = (y > low + 2.0) & (y < crest_h - 2.0)
    if (~found[middle]).mean() > _MOST_MISSING or found.sum() < 20:
        return Note("undercut_no_outline")
    x = median_filter(-w[found], 3, mode="nearest")
    return _Outline(
        x=x,
        y=y[found],
        sd=float(np.nanmedian(edges.sd_mm)),
        bone=bone,
        evidence=scan.levels.evidence,
    )


def _level(outline: _Outline, y_a: float, eps_mm: float) -> tuple[Reading, Reading]:
    """Undercut-level depth and angle on the level `y_a`."""
    above = outline.y >= y_a
    if y_a < outline.y[0] or above.sum() < 4:
        note = (Note("undercut_level_outside"),)
        return Reading(value=None, notes=note), _angle_none(note)
    x_a = float(np.interp(y_a, outline.y, outline.x))
    # The most lingual point lies on a flat bulge: a parabola over 2 mm steadies its height.
    bulge = savgol_filter(outline.x, _BULGE_SAMPLES, 2, mode="nearest")
    best = int(np.argmax(np.where(above, bulge, -np.inf)))
    x_p, y_p = float(bulge[best]), float(outline.y[best])
    flat = outline.y[above & (bulge > x_p - outline.sd / np.sqrt(_BULGE_SAMPLES))]
    y_sd = max(float(np.ptp(flat)), _STEP_MM) / np.sqrt(12.0)
    depth = max(0.0, x_p - x_a)
    foot, bone_point = outline.point(x_p, y_a), outline.point(x_a, y_a)
    reading = Reading(
        value=depth,
        witness=(foot, bone_point),
        edge_sd_mm=(outline.sd,) * 2,
        evidence=outline.evidence,
    )
    if depth <= eps_mm:
        return reading, _angle_none((Note("undercut_angle_flat"),))
    rise = y_p - y_a
    angle = Reading(
        value=float(np.degrees(np.arctan2(rise, depth))),
        unit="deg",
        witness=(bone_point, outline.point(x_p, y_p)),
        evidence=outline.evidence,
        # Both edges, which lie across the line between them, and the height of the bulge.
        edge_sd_mm=tuple(
            float(np.degrees(sd / (rise**2 + depth**2)))
            for sd in (outline.sd * rise, outline.sd * rise, y_sd * depth)
        ),
    )
    return reading, angle


def _bridge(outline: _Outline) -> Reading:
    """Greatest distance of the lingual outline below a side of its convex hull.

    Only hollows whose deepest point lies in the lower two thirds of the ridge count: a narrow
    crest above a wide body is no submandibular hollow.
    """
    points = np.stack([outline.x, outline.y], axis=1)
    hull = [0]
    for n in range(1, len(points)):
        while len(hull) >= 2:
            one, two = points[hull[-1]] - points[hull[-2]], points[n] - points[hull[-2]]
            if one[0] * two[1] - one[1] * two[0] > 0:
                break
            hull.pop()
        hull.append(n)
    limit = outline.y[0] + 2.0 / 3.0 * (outline.y[-1] - outline.y[0])
    best, witness = 0.0, None
    for a, b in pairwise(hull):
        if b - a < 2:
            continue
        side = points[b] - points[a]
        side = side / np.linalg.norm(side)
        outward = np.array([side[1], -side[0]])
        below = -(points[a : b + 1] - points[a]) @ outward
        n = int(np.argmax(below))
        deepest = points[a + n]
        if below[n] > best and deepest[1] <= limit:
            best = float(below[n])
            foot = deepest + best * outward
            witness = (outline.point(*map(float, foot)), outline.point(*map(float, deepest)))
    if witness is None:
        return Reading(value=0.0, edge_sd_mm=(outline.sd,), evidence=outline.evidence)
    return Reading(
        value=best, witness=witness, edge_sd_mm=(outline.sd,) * 2, evidence=outline.evidence
    )


def _angle_none(notes: tuple[Note, ...]) -> Reading:
    return Reading(value=None, unit="deg", notes=notes)


def _nothing(eps: float, notes: tuple[Note, ...]) -> UndercutResult:
    empty = Reading(value=None, notes=notes)
    return UndercutResult(
        level_depth=empty,
        angle=_angle_none(notes),
        type="",
        eps_mm=eps,
        width_crest=empty,
        width_base=empty,
        bridge_depth=empty,
        bridge_type="",
    )
