"""Thickness of the cortical plates, along the normal of the outer surface."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal, TypeAlias

import numpy as np

from core.bone.bone_in_plane import BoneInPlane
from core.bone.edges import PlateEdges, ScanEdges, reason_note
from core.bone.ridge_section import RidgeWidth
from core.geometry import Array, unit
from core.measurement import Note, Reading

Side: TypeAlias = Literal["buccal", "lingual"]

_LEAD_MM = 2.0
_ARM_MM, _ARM_WHERE_BENT_MM = 0.8, 0.5
"""Distance of the neighbouring edges that tell the surface's normal; near the crest, where further
ones lie around a bend, the shorter (of 72 plates 1 mm below a drawn crest the normal was 8.2
degrees off on average with the longer, 4.7 with the shorter)."""

_REACH_MM = 6.0
_RINGS = ((0.5, 6), (0.9, 10))
"""Rings of places around one, over which a thickness is the mean: radius in mm, places on it."""

_INNER = 1 + _RINGS[0][1]

_LEAST_PATCH = 4
_MOST_BENT, _LEAST_LEFT = 1.2, 0.3
"""Largest sum of the surface's two curvatures that is believed, 1/mm: what is bent more is noise of
its edges; and the least of the inner surface's radius that is left, as a share of the outer's."""

_NEAR_CREST_MM, _NEAR_CREST_SD_MM = 2.0, 0.12
"""This far below the crest the plate bends within its own thickness, which the flat model of the
fit does not know: what it misses there, from open draws of the random jaws, where truths lay inside
in four of five cases with 0.06, which noisy scans of one even ridge had shown."""

_MOST_OF_WIDTH = 0.5
"""A plate of more than half the ridge would meet the other one: no edge lies between them."""

_THICKEST_MM = 4.5
"""No plate is thicker (common practice, no source): what falls off behind it is a canal or the far
side, and not marrow."""

_LEAST_FALL = 0.15
"""Spongy bone nearer to cortex than this share of the contrast cannot be told from it."""

_ALIKE_SD = 3.0
"""Neighbours that differ by more are another thickness, not the error of this one."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlateThickness:
    """Thickness of one plate.

    Parameters
    ----------
    side : {'buccal', 'lingual'}
        Lingual is palatal in the upper jaw.
    depth_mm : float
        Below the crest along the direction used.
    along : str
    reading : Reading
        Witness: the outer edge, then the inner one.
    """

    side: Side
    depth_mm: float
    along: str
    reading: Reading


def plate_thickness(
    scan: ScanEdges, bone: BoneInPlane, ridge_widths: tuple[RidgeWidth, ...]
) -> tuple[PlateThickness, ...]:
    """Both plates at the ends of each width that was measured along the plane's direction.

    Parameters
    ----------
    scan : ScanEdges
    bone : BoneInPlane
    ridge_widths : tuple of RidgeWidth
    """
    out = []
    for width in ridge_widths:
        for index, side in enumerate(_SIDES):
            if width.reading.witness is None:
                reading = Reading(value=None, notes=width.reading.notes)
            else:
                inward = -bone.plane.across if side == "buccal" else bone.plane.across
                bent = width.depth_mm < _NEAR_CREST_MM
                reading = thickness_at(
                    scan, width.reading.witness[index], inward, bone.plane.coronal, bent=bent
                )
                whole = width.reading.value
                most = min(_MOST_OF_WIDTH * (whole or np.inf), _THICKEST_MM)
                if reading.value is not None and reading.value > most:
                    reading = Reading(value=None, notes=(reason_note("no inner edge"),))
                if reading.value is not None and bent:
                    sds = (*reading.edge_sd_mm, _NEAR_CREST_SD_MM)
                    reading = replace(reading, edge_sd_mm=sds)
            out.append(
                PlateThickness(
                    side=side, depth_mm=width.depth_mm, along=width.along, reading=reading
                )
            )
    return tuple(out)


_SIDES: tuple[Side, Side] = ("buccal", "lingual")


def thickness_at(
    scan: ScanEdges, edge_mm: Array, inward: Array, coronal: Array, *, bent: bool = False
) -> Reading:
    """Thickness of the plate whose outer edge lies at a point.

    Parameters
    ----------
    edge_mm : (3,) patient LPS mm
    inward : (3,)
        Unit direction into the bone, along which the edge was found.
    coronal : (3,)
        Unit direction across it, towards the crowns.
    bent : bool, optional
        True near the crest, where places further off lie around a bend.

    Returns
    -------
    Reading
        Below max(0.8 mm, 2 voxels) with the note that such scans do not show it reliably; no
        value there from an edge finder that over-reads thin plates. Razavi et al. 2010 (Clin
        Oral Implants Res 21:718-725); Prevrhal et al. 1999 (Phys Med Biol 44:751).
    """
    if scan.levels.spongy > scan.levels.cortical - _LEAST_FALL * _contrast(scan):
        return Reading(value=None, notes=(reason_note("no inner edge"),))
    arm_mm = _ARM_WHERE_BENT_MM if bent else _ARM_MM
    normal = _outward(scan, edge_mm, inward, coronal, arm_mm)
    if normal is None:
        return Reading(value=None, notes=(Note("plate_no_surface"),))
    start = (edge_mm + _LEAD_MM * normal)[None, :]
    starts = start + _patch(normal, _RINGS[:1] if bent else _RINGS)
    inward_rays = np.broadcast_to(-normal, starts.shape)
    found = scan.finder.plate(scan.volume, starts, inward_rays, _LEAD_MM + _REACH_MM)
    for edges in (found.outer, found.inner):
        if not edges.found[0]:
            return Reading(value=None, notes=(reason_note(str(edges.reason[0])),))
    near, far = (start[0] - e.distance_mm[0] * normal for e in (found.outer, found.inner))
    value, sd = _smoothed(found, scan.levels.thin_mm, bent=bent)
    if bent:
        value -= _gained_by_bend(found, value, scan.finder.rounding_mm2(scan.volume, normal))
    notes: tuple[Note, ...] = ()
    if value < scan.levels.thin_mm:
        fields = {"least": round(scan.levels.thin_mm, 1)}
        notes = (Note("plate_thin", fields),)
        if not found.reads_thin:
            notes = (Note("plate_too_thin", fields), *notes)
            return Reading(value=None, witness=(near, far), notes=notes)
    if found.borrowed[0]:
        notes = (*notes, Note("level_borrowed"))
    return Reading(
        value=value,
        witness=(near, far),
        edge_sd_mm=(sd,),
        evidence=scan.levels.evidence,
        notes=notes,
    )


def _contrast(scan: ScanEdges) -> float:
    return scan.levels.cortical - scan.levels.soft


def _smoothed(found: PlateEdges, thin_mm: float, *, bent: bool) -> tuple[float, float]:
    """Thickness and its standard error over the patch, the surer places weighing more.

    The places' errors are not independent: their mean is not taken for surer than each of them.
    A thin place may be small, and the plate thicker beside it: there what lies further off does
    not count, nor where it bends what lies beside it, and of it and the mean the thinner.
    """
    own, own_sd = float(found.thickness_mm[0]), float(found.sd_mm[0])
    both = found.outer.found & found.inner.found
    thin = own < thin_mm
    if thin:
        both[1 if bent else _INNER :] = False
    if both.sum() < _LEAST_PATCH or not found.reads_thin:
        return own, own_sd
    values, sd = found.thickness_mm[both], found.sd_mm[both]
    alike = np.abs(values - own) < _ALIKE_SD * np.hypot(sd, own_sd)
    weight = 1.0 / sd[alike] ** 2
    mean = float(np.sum(weight * values[alike]) / weight.sum())
    sd_of_patch = float(np.sqrt(np.mean(sd[alike] ** 2)))
    return (min(own, mean) if thin else mean), sd_of_patch


def _gained_by_bend(found: PlateEdges, thickness_mm: float, half_variance: float) -> float:
    """What blur adds to a bent plate's thickness, mm.

    To first order a blurred surface of curvature k lies s² k / 2 further in (Verbeek and van Vliet
    1994, IEEE Trans Pattern Anal Mach Intell 16:726); the inner surface of a shell is bent more
    than the outer one, by 1 / (1 - k t), so it goes further. Curvature from the ring's edges.
    """
    ring = found.outer.distance_mm[1:_INNER][found.outer.found[1:_INNER]]
    if len(ring) < _LEAST_PATCH:
        return 0.0
    drop = float(ring.mean()) - float(found.outer.distance_mm[0])
    bent = float(np.clip(4.0 * drop / _RINGS[0][0] ** 2, 0.0, _MOST_BENT))
    inner = bent / max(1.0 - bent * thickness_mm, _LEAST_LEFT)
    return half_variance * (inner - bent)


def _patch(normal: Array, rings: tuple[tuple[float, int], ...]) -> Array:
    """(n, 3) offsets across a normal: none, and those on circles around it."""
    one = unit(np.cross(normal, np.eye(3)[np.argmin(np.abs(normal))]))
    two = np.cross(normal, one)
    parts = [np.zeros((1, 3))]
    for radius, count in rings:
        angle = np.arange(count)[:, None] * 2.0 * np.pi / count
        parts.append(radius * (np.cos(angle) * one + np.sin(angle) * two))
    return np.concatenate(parts)


def _outward(
    scan: ScanEdges, edge_mm: Array, inward: Array, coronal: Array, arm_mm: float = _ARM_MM
) -> Array | None:
    """Outward unit normal of the surface from four edges around the point."""
    beside = np.cross(coronal, inward)
    arms = arm_mm * np.stack([coronal, -coronal, beside, -beside])
    starts = edge_mm - _LEAD_MM * inward + arms
    edges = scan.outer(starts, inward, 2 * _LEAD_MM)
    points = starts + edges.distance_mm[:, None] * inward
    tangents = []
    for one, two in ((0, 1), (2, 3)):
        a = points[one] if edges.found[one] else edge_mm
        b = points[two] if edges.found[two] else edge_mm
        if not (edges.found[one] or edges.found[two]):
            return None
        tangents.append(a - b)
    normal = unit(np.cross(tangents[0], tangents[1]))
    return normal if float(normal @ inward) < 0 else -normal
