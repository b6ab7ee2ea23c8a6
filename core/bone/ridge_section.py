"""Crest and widths of the ridge in one plane, along one direction."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from core.bone.between_plates import joined_over_marrow
from core.bone.bone_in_plane import BoneInPlane, Plane
from core.bone.edges import ScanEdges, reason_note
from core.bone.ridge_likely import sure_enough, those_of_a_ridge
from core.bone.rounded import rounded_off
from core.geometry import Array
from core.measurement import NO_EVIDENCE, Evidence, MarkInfluence, Note, Reading

Along: TypeAlias = Literal["axis", "up"]

WIDTH_DEPTHS_MM = (1.0, 3.0, 5.0, 7.0, 10.0)
SLOPING_MM = 1.0
"""A crest this far above the edge on the axis itself is a sloping crest: both are given."""

_COLUMN_MM = 0.2
_TURNS_DEG = np.arange(-10.0, 10.1, 2.5)
_BEND_MM = 1.0
"""Curvature along the ridge is that of the edges this far to both sides of the crest."""

_NEAR_CREST_MM = 0.6
_BESIDE_CREST_MM = 2.4
_MOST_ROUNDED_MM = 0.15
_CREST_SD_MM = 0.03
"""What is left of the blur at a crest that is not quite round, from the sample scans."""

_GAINED_DOUBT = 0.5
"""Share of what was added to a crest for its blur that stays in doubt: a sharper one lost more."""

_BELOW_RIM_MM, _RIM_SD_MM = (0.5, 1.5, 2.5), 0.4
"""Where a socket or a root to be removed lies so far below the crest, its rim is a plate beside the
root, whose blur hides the rim's top: the crest read 0.3 to 1.7 mm too low in nine of twelve such
drawn ridges whose widths were off, and not at all in most others (no source)."""

_ROUNDED_DOWN_TO_MM = 4.0
"""Down to this depth a ridge bends within the blur, so that its sides may read too near."""

_ROUNDED_SHARE = 0.8
"""Scans blurred by a Gaussian lose it; the sample scans, whose reconstruction keeps edges sharper,
do not. So none of it is added to a width, and this share is a standard error."""

_ARMS_DOWN_MM = np.array([-1.0, -0.5, 0.0, 0.5, 1.0])
_ARMS_ALONG_MM = np.array([-0.8, 0.0, 0.8])

_SLOPE_STEP_MM = 0.25
"""Step of the finite difference that tells how a width changes with the crest's height."""

_STRAY_MM = 1.3
"""An edge further than this from the coarse border belongs to something else."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Crest:
    """The bone point furthest coronal along the direction used.

    Parameters
    ----------
    point_mm : (3,) patient LPS mm, or None where it was not found
    sd_mm : float
        Standard error of its height.
    evidence : Evidence
        What its height rests on.
    marks : tuple of MarkInfluence
        The mark that it was set by, and how that moves its height; none for one that was found.
    notes : tuple of Note
        Why it was not found; a sloping crest; that it was set by hand.
    """

    point_mm: Array | None
    sd_mm: float = 0.0
    evidence: Evidence = NO_EVIDENCE
    marks: tuple[MarkInfluence, ...] = ()
    notes: tuple[Note, ...] = ()

    def moving(self, by_height: float) -> tuple[MarkInfluence, ...]:
        """Its marks for a value that changes by so much for each mm of the crest's height."""
        return tuple(replace(m, gradient=by_height * m.gradient) for m in self.marks)

    @property
    def set_by_hand(self) -> tuple[Note, ...]:
        """What every value that counts from a set crest says."""
        return self.notes if self.marks else ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RidgeWidth:
    """Width at a depth below the crest.

    Parameters
    ----------
    depth_mm : float
        Below the crest, along the direction used.
    along : {'axis', 'up'}
    reading : Reading
        Witness: the buccal edge, then the lingual one.
    least : Reading
        The least over ± 10° of turn of the section about the direction used.
    """

    depth_mm: float
    along: Along
    reading: Reading
    least: Reading


def find_crest(scan: ScanEdges, bone: BoneInPlane, *, half_mm: float) -> Crest:
    """Crest within ± `half_mm` of the plane's origin.

    Columns 0.2 mm apart are searched from just above the bone's coarse border, downwards; where
    something fainter runs on from the bone clearly further up, from just above that: there the
    edge is found, or the crest is unclear.

    Parameters
    ----------
    scan : ScanEdges
    bone : BoneInPlane
    half_mm : float
        mm.
    """
    if scan.levels.trouble is not None:
        return Crest(point_mm=None, notes=(scan.levels.trouble,))
    steps = round(half_mm / _COLUMN_MM)
    w = np.arange(-steps, steps + 1, dtype=np.float64) * _COLUMN_MM
    tops = bone.top_joined(w)
    if np.isnan(tops).all():
        return Crest(point_mm=None, notes=(Note("ridge_no_bone"),))
    if bone.cut_off:
        return Crest(point_mm=None, notes=(Note("ridge_cut_off"),))
    w, tops = w[np.isfinite(tops)], tops[np.isfinite(tops)]
    lead = bone.lead_above(w, tops)
    plane = bone.plane
    edges = scan.outer(plane.points(w, tops + lead), -plane.coronal, 6.0)
    height = np.where(edges.found, tops + lead - edges.distance_mm, np.nan)
    height[np.abs(height - tops) > _STRAY_MM] = np.nan
    if np.isnan(height).all():
        worst = edges.reason[int(np.argmax(tops))] or "weak"
        return Crest(point_mm=None, notes=(reason_note(str(worst)),))
    best = int(np.nanargmax(height))
    # A higher place whose edge is not found would make the ridge look lower than it is.
    if (np.isnan(height) & (tops > height[best] + 0.4)).any():
        return Crest(point_mm=None, notes=(Note("ridge_crest_unclear"),))
    on_axis = height[np.abs(w) < _COLUMN_MM / 2]
    axis_h = float(on_axis[0]) if len(on_axis) and np.isfinite(on_axis[0]) else None
    place = _unblurred(scan, plane, w, height, best)
    gained = place[1] - float(height[best])
    beside_socket = any(bone.over_socket(float(height[best]) - down) for down in _BELOW_RIM_MM)
    rim_sd = _RIM_SD_MM if beside_socket else 0.0
    notes: tuple[Note, ...] = ()
    if axis_h is not None and height[best] - axis_h > SLOPING_MM:
        notes = (Note("ridge_sloping_crest", {"above": round(float(height[best] - axis_h), 1)}),)
    return Crest(
        point_mm=plane.points(*place)[0],
        sd_mm=float(
            np.hypot.reduce([edges.sd_mm[best], _CREST_SD_MM, _GAINED_DOUBT * gained, rim_sd])
        ),
        evidence=scan.levels.evidence,
        notes=notes,
    )


def _unblurred(
    scan: ScanEdges, plane: Plane, w: Array, height: Array, best: int
) -> tuple[float, float]:
    """Place across and height of the crest without what blur takes off a curved one.

    To first order in its slope a blurred surface is the surface's heights, blurred; so they are
    deconvolved by two steps of van Cittert 1931 (Z Phys 69:298) across the ridge. Along it, where
    it bends little, the half-way surface lies s² k / 2 inside a surface of curvature k.
    """
    raw = float(w[best]), float(height[best])
    half_variance = scan.finder.rounding_mm2(scan.volume, plane.coronal)
    beside = np.abs(w - w[best]) < _BESIDE_CREST_MM + 1e-6
    near = np.abs(w - w[best]) < _NEAR_CREST_MM + 1e-6
    if half_variance <= 0.0 or not np.isfinite(height[near]).all():
        return raw
    there = beside & np.isfinite(height)
    even = np.arange(w[there][0], w[there][-1] + 1e-6, _COLUMN_MM)
    measured = np.interp(even, w[there], height[there])
    sigma = np.sqrt(2.0 * half_variance) / _COLUMN_MM
    sharp = measured
    for _ in range(2):
        sharp = sharp + measured - gaussian_filter1d(sharp, sigma, mode="nearest", truncate=3.0)
    close = np.flatnonzero(np.abs(even - raw[0]) < _NEAR_CREST_MM + 1e-6)
    top = int(close[np.argmax(sharp[close])])
    here = plane.points(*raw)[0]
    lead = 2.0
    arms = here + lead * plane.coronal + _BEND_MM * np.array([[1.0], [-1.0]]) * plane.normal
    along = scan.outer(arms, -plane.coronal, 2.0 * lead)
    bend = float(np.mean(along.distance_mm - lead)) if along.found.all() else 0.0
    gained = float(sharp[top]) - raw[1] + half_variance * 2.0 * bend / _BEND_MM**2
    return float(even[top]), raw[1] + float(np.clip(gained, 0.0, _MOST_ROUNDED_MM))


def widths(scan: ScanEdges, bone: BoneInPlane, crest: Crest, depths_mm: Array) -> list[Reading]:
    """Distances between the outer edges first met from outside, at depths below the crest.

    Parameters
    ----------
    scan : ScanEdges
    bone : BoneInPlane
    crest : Crest
    depths_mm : (n,) mm
    """
    if crest.point_mm is None:
        return [Reading(value=None, notes=crest.notes) for _ in depths_mm]
    plane = bone.plane
    heights = plane.h(crest.point_mm) - np.asarray(depths_mm, dtype=np.float64)
    spans = [_span(bone, float(h)) for h in heights]
    apart = {
        float(h): bone.intervals(float(h))
        for h, span in zip(heights, spans, strict=True)
        if isinstance(span, Note) and span.code == "ridge_two_intervals"
    }
    joined = joined_over_marrow(scan, bone, crest.point_mm, apart)
    spans = [joined.get(float(h), span) for h, span in zip(heights, spans, strict=True)]
    known = [i for i, span in enumerate(spans) if not isinstance(span, Note)]
    readings: list[Reading] = [
        Reading(value=None, notes=(s,)) if isinstance(s, Note) else _PENDING for s in spans
    ]
    if not known:
        return readings
    rows = np.array([spans[i] for i in known])
    h = heights[known]
    lead_l = np.array([bone.lead_beside(*pair, -1.0) for pair in zip(h, rows[:, 0], strict=True)])
    lead_b = np.array([bone.lead_beside(*pair, +1.0) for pair in zip(h, rows[:, 1], strict=True)])
    from_buccal = scan.outer(plane.points(rows[:, 1] + lead_b, h), -plane.across, 5.0)
    from_lingual = scan.outer(plane.points(rows[:, 0] - lead_l, h), plane.across, 5.0)
    bends = np.asarray(depths_mm)[known] <= _ROUNDED_DOWN_TO_MM
    doubt_b = _rounding_doubt(scan, plane, rows[:, 1] + lead_b, h, +1.0, bends)
    doubt_l = _rounding_doubt(scan, plane, rows[:, 0] - lead_l, h, -1.0, bends)
    for n, i in enumerate(known):
        wb = rows[n, 1] + lead_b[n] - from_buccal.distance_mm[n]
        wl = rows[n, 0] - lead_l[n] + from_lingual.distance_mm[n]
        reason = str(from_buccal.reason[n] or from_lingual.reason[n])
        if not reason and max(abs(wb - rows[n, 1]), abs(wl - rows[n, 0])) > _STRAY_MM:
            reason = "weak"
        if not reason and wb <= wl:
            reason = "nothing"
        if reason:
            readings[i] = Reading(value=None, notes=(reason_note(reason),))
            continue
        readings[i] = Reading(
            value=float(wb - wl),
            witness=(plane.points(wb, h[n])[0], plane.points(wl, h[n])[0]),
            edge_sd_mm=(
                float(np.hypot(from_buccal.sd_mm[n], doubt_b[n])),
                float(np.hypot(from_lingual.sd_mm[n], doubt_l[n])),
            ),
            evidence=scan.levels.evidence,
            notes=(
                *((Note("ridge_over_socket"),) if bone.over_socket(float(h[n])) else ()),
                *crest.set_by_hand,
            ),
        )
    return readings


def _rounding_doubt(  # noqa: PLR0917 - rays of one side by their starts
    scan: ScanEdges, plane: Plane, w: Array, h: Array, side: float, bends: NDArray[np.bool_]
) -> Array:
    """(n,) standard error by what blur may take off a bent surface, mm."""
    doubt = np.zeros(len(h))
    half_variance = scan.finder.rounding_mm2(scan.volume, plane.across)
    if half_variance <= 0.0:
        return doubt
    outward = side * plane.across
    beside = _ARMS_ALONG_MM[:, None] * plane.normal
    shape = (len(_ARMS_DOWN_MM), len(_ARMS_ALONG_MM))
    for n in np.flatnonzero(bends):
        starts = plane.points(float(w[n]), h[n] + _ARMS_DOWN_MM)[:, None] + beside
        edges = scan.outer(starts.reshape(-1, 3), -outward, 5.0)
        points = starts.reshape(-1, 3) - edges.distance_mm[:, None] * outward
        of_all, _ = rounded_off(
            points.reshape(*shape, 3),
            np.broadcast_to(outward, (*shape, 3)),
            np.full(shape, half_variance),
            (shape[0] // 2, shape[1] // 2),
            ring=False,
        )
        middle = shape[0] // 2, shape[1] // 2
        doubt[n] = _ROUNDED_SHARE * abs(float(of_all[middle]))
    return doubt


_PENDING = Reading(value=None, notes=(Note("ridge_no_bone"),))


def _span(bone: BoneInPlane, h_mm: float) -> tuple[float, float] | Note:
    """The one bone interval at a height, or why there is none that can be used."""
    intervals = bone.intervals(h_mm)
    if not intervals:
        return Note("ridge_no_bone_at_depth")
    if len(intervals) > 1:
        return Note("ridge_two_intervals", {"count": len(intervals)})
    low, high = intervals[0]
    if low <= bone.w[0] or high >= bone.w[-1]:
        return Note("ridge_open_side")
    return low, high


def wider_than(
    bone: BoneInPlane, crest: Crest, depths_mm: Array, width_mm: float
) -> NDArray[np.bool_]:
    """(n,) depths at which the bone under the crest is seen to be wider, though not how wide.

    Where it runs on into palate or cheek bone no width is measured. The coarse border may be off
    by as much as an edge may lie from it, on both sides.

    Parameters
    ----------
    bone : BoneInPlane
    crest : Crest
    depths_mm : (n,) mm
    width_mm : float
        mm.
    """
    if crest.point_mm is None:
        return np.zeros(len(depths_mm), dtype=bool)
    w, top = bone.plane.w(crest.point_mm), bone.plane.h(crest.point_mm)
    wanted = width_mm + 2.0 * _STRAY_MM
    return np.array(
        [
            any(
                low < w < high and high - low > wanted
                for low, high in bone.intervals(float(top - depth))
            )
            for depth in depths_mm
        ],
        dtype=bool,
    )


def least_over_turn(scan: ScanEdges, bone: BoneInPlane, reading: Reading) -> Reading:
    """Least width over ± 10° of turn of the section about the direction used.

    The line turns about the middle of the width: a badly traced arch only over-reads.

    Parameters
    ----------
    scan : ScanEdges
    bone : BoneInPlane
    reading : Reading
    """
    if reading.value is None or reading.witness is None:
        return reading
    plane = bone.plane
    buccal, lingual = reading.witness
    middle = 0.5 * (buccal + lingual)
    angle = np.radians(_TURNS_DEG)[:, None]
    rays = np.cos(angle) * plane.across + np.sin(angle) * plane.normal
    lead = 0.5 * reading.value + min(
        bone.lead_beside(plane.h(buccal), plane.w(buccal), +1.0),
        bone.lead_beside(plane.h(lingual), plane.w(lingual), -1.0),
    )
    one = scan.outer(middle + lead * rays, -rays, lead)
    two = scan.outer(middle - lead * rays, rays, lead)
    value = np.where(one.found & two.found, 2 * lead - one.distance_mm - two.distance_mm, np.nan)
    if np.isnan(value).sum() > 2:
        return Reading(value=None, notes=(Note("ridge_least_unclear"),))
    best = int(np.nanargmin(value))
    return Reading(
        value=float(value[best]),
        witness=(
            middle + (lead - one.distance_mm[best]) * rays[best],
            middle - (lead - two.distance_mm[best]) * rays[best],
        ),
        edge_sd_mm=(float(one.sd_mm[best]), float(two.sd_mm[best])),
        evidence=scan.levels.evidence,
    )


def ridge_widths(
    scan: ScanEdges, bone: BoneInPlane, crest: Crest, along: Along
) -> tuple[RidgeWidth, ...]:
    """Widths at the default depths, each with the least over ± 10° of turn.

    The doubt of the crest's height is doubt of every width counted from it, by how fast the
    ridge widens there: finite difference.

    Parameters
    ----------
    scan : ScanEdges
    bone : BoneInPlane
    crest : Crest
    along : Along
    """
    depths = np.array(WIDTH_DEPTHS_MM)
    steps = np.array([0.0, -_SLOPE_STEP_MM, _SLOPE_STEP_MM])
    # Together: what lies around the section is looked at once for all.
    every = widths(scan, bone, crest, (depths + steps[:, None]).ravel())
    at_depths, *beside = (every[i : i + len(depths)] for i in range(0, len(every), len(depths)))
    found = those_of_a_ridge(depths, at_depths)
    out = []
    for depth, here, above, below in zip(WIDTH_DEPTHS_MM, found, *beside, strict=True):
        least = least_over_turn(scan, bone, here)
        known = [r.value for r in (above, below) if r.value is not None]
        if here.value is not None and known:
            # The steeper side: near the crest a ridge narrows faster upwards.
            most = max(abs(value - here.value) for value in known)
            slope = most / _SLOPE_STEP_MM
            here, least = (  # noqa: PLW2901 - the same readings with their whole doubt
                replace(
                    r,
                    edge_sd_mm=(*r.edge_sd_mm, slope * crest.sd_mm),
                    marks=crest.moving(slope),
                )
                for r in (here, least)
            )
            here, least = sure_enough(here), sure_enough(least)  # noqa: PLW2901 - as above
        out.append(RidgeWidth(depth_mm=depth, along=along, reading=here, least=least))
    return tuple(out)
