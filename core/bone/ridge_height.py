"""Height of the ridge over what limits it, and the height that is wide enough."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TypeGuard

import numpy as np

from core.bone.bone_in_plane import BoneInPlane, Plane
from core.bone.edges import ScanEdges
from core.bone.ridge_likely import without_single_plates
from core.bone.ridge_section import Crest, wider_than, widths
from core.distances.first_hit import first_hit_along_axis
from core.distances.floor_surface import FloorSurface
from core.distances.plane_field import surface_of
from core.distances.tubes import Tube, tubes_of
from core.fixture import Fixture
from core.geometry import Array
from core.measurement import MARKED, MarkInfluence, Note, Reading
from core.structures import (
    Course,
    Floor,
    Foramen,
    KnownObject,
    PointMarks,
    Structure,
    Tapered,
    is_in_force,
    kind_of,
)

_FINE_MM = 0.02
_SECTION_REACH_MM = 15.0
_FLOOR_GRID_MM = 0.25
_LEVEL_MM = 0.25
_ROUNDED_MM = 1.0
"""Edges at the rounded top of a ridge need not be found: there it is not wide anyway."""


_RUNS_ON = {"ridge_two_intervals", "ridge_open_side"}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RidgeHeight:
    """Height from the crest to the structure that limits it.

    Parameters
    ----------
    along : {'axis', 'up'}
    reading : Reading
        Witness: the crest's level, then the structure's nearest border.
    target : str
        Id of the structure; empty where there is none.
    """

    along: str
    reading: Reading
    target: str = ""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class UsableHeight:
    """Height that is wide enough, and the bone lost by levelling down to it.

    Parameters
    ----------
    width_mm : float
        The width asked for.
    height, lost : Reading
    """

    width_mm: float
    height: Reading
    lost: Reading


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Border:
    """Most coronal point of a structure in a section and what moves it."""

    h_mm: float
    point_mm: Array
    marks: tuple[MarkInfluence, ...]
    size_sd_mm: float = 0.0
    notes: tuple[Note, ...] = ()
    tooth: bool = False


def needed_width(diameter_mm: float, buccal_mm: float, lingual_mm: float) -> float:
    """Least ridge width for a fixture with walls of bone: diameter + buccal + lingual.

    Arithmetic of the margins in Spray et al. 2000 (Ann Periodontol 5:119) and Alodadi et al.
    2016 (J Oral Biol 3(1):7): 4.1 + 1 + 1 = 6.1 mm, 4.1 + 2 + 1 = 7.1 mm.

    Parameters
    ----------
    diameter_mm : float
        mm.
    buccal_mm : float
        mm.
    lingual_mm : float
        mm.
    """
    return diameter_mm + buccal_mm + lingual_mm


def height_in_section(plane: Plane, crest: Crest, structures: Sequence[Structure]) -> RidgeHeight:
    """Height without a fixture: from the crest to the level of the nearest border.

    The level is a line across the section, perpendicular to *up*; the structure may lie
    anywhere in the section, beside the crest too. A root that stays, or metal, counts as it does
    along an axis: one that leans into the section ends the height at its nearest border, one
    that stands at the crest leaves none. Nothing marked here: not assessed.

    Parameters
    ----------
    plane : Plane
    crest : Crest
    structures : sequence of Structure
    """
    if crest.point_mm is None:
        return RidgeHeight(along="up", reading=Reading(value=None, notes=crest.notes))
    limiting = [s for s in structures if _limits(s)]
    borders = [(s.id, _border(s, plane)) for s in limiting]
    if crest.marks:
        # Beside a tooth that stands, its own root does not end the height of the bone around it.
        top = plane.h(crest.point_mm)
        borders = [(i, b) for i, b in borders if b is None or not (b.tooth and b.h_mm >= top)]
    met = [(name, b) for name, b in borders if b is not None]
    missing = [s.id for s in limiting if isinstance(s, Floor) and dict(borders)[s.id] is None]
    if not met:
        flat = [s.id for s in limiting if isinstance(s, Floor) and surface_of(s) is None]
        if flat:
            note = Note("height_floor_no_surface", {"id": flat[0]})
            return RidgeHeight(along="up", reading=Reading(value=None, notes=(note,)))
        far = any(not isinstance(s, Tapered) for s in limiting)
        code = "height_not_in_section" if far else "height_nothing_marked"
        return RidgeHeight(along="up", reading=Reading(value=None, notes=(Note(code),)))
    name, border = max(met, key=lambda pair: pair[1].h_mm)
    if border.tooth and border.h_mm >= plane.h(crest.point_mm):
        note = Note("height_root_at_crest", {"id": name})
        return RidgeHeight(along="up", reading=Reading(value=None, notes=(note,)), target=name)
    notes = border.notes + tuple(Note("height_floor_short", {"id": m}) for m in missing)
    reading = Reading(
        value=plane.h(crest.point_mm) - border.h_mm,
        witness=(crest.point_mm, border.point_mm),
        marks=(*border.marks, *crest.moving(1.0)),
        edge_sd_mm=(crest.sd_mm,),
        size_sd_mm=border.size_sd_mm,
        evidence=crest.evidence.joined(MARKED),
        notes=(*notes, *crest.set_by_hand),
    )
    return RidgeHeight(along="up", reading=reading, target=name)


def height_along_axis(
    fixture: Fixture,
    crest: Crest,
    structures: Sequence[Structure],
    limits_for: Callable[[Structure], float],
) -> RidgeHeight:
    """Height with a fixture: least distance along the axis from the crest's level.

    Over the footprint widened by each structure's limit, so that a structure which lies beside
    the axis still ends the height.

    Parameters
    ----------
    limits_for : structure → mm
        The limit in force for a structure; 0 where there is none.
    """
    if crest.point_mm is None:
        return RidgeHeight(along="axis", reading=Reading(value=None, notes=crest.notes))
    rise = float((crest.point_mm - fixture.platform) @ fixture.a)
    origin = fixture.platform + rise * fixture.a
    radius = float(fixture.size.profile[:, 1].max())
    limiting = [s for s in structures if _limits(s)]
    met: list[tuple[str, Reading, float]] = []
    for structure in limiting:
        hit = first_hit_along_axis(
            origin, fixture.towards_apex, radius + limits_for(structure), structure
        )
        if hit.value is not None:
            met.append((structure.id, hit, hit.value))
    if not met:
        code = "height_nothing_below" if limiting else "height_nothing_marked"
        return RidgeHeight(along="axis", reading=Reading(value=None, notes=(Note(code),)))
    name, hit, _ = min(met, key=lambda row: row[2])
    reading = replace(
        hit,
        marks=(*hit.marks, *crest.moving(1.0)),
        edge_sd_mm=(*hit.edge_sd_mm, crest.sd_mm),
        evidence=hit.evidence.joined(crest.evidence),
        notes=(*hit.notes, *crest.set_by_hand),
    )
    return RidgeHeight(along="axis", reading=reading, target=name)


def usable_height(
    scan: ScanEdges, bone: BoneInPlane, crest: Crest, height: RidgeHeight, width_mm: float
) -> UsableHeight:
    """Height counted from the level from which the ridge is, and stays, wide enough.

    Parameters
    ----------
    scan : ScanEdges
    bone : BoneInPlane
    crest : Crest
    height : RidgeHeight
        From the crest, in the same section.
    width_mm : float
        What is needed, mm.
    """
    total = height.reading.value
    if total is None or crest.point_mm is None:
        return _unusable(width_mm, height.reading.notes)
    depths = np.arange(0.0, max(total, 0.0) + 1e-9, _LEVEL_MM)
    found = without_single_plates(depths, widths(scan, bone, crest, depths))
    if any("ridge_one_plate" in _codes(r) for r in found):
        return _unusable(width_mm, (Note("ridge_one_plate"),))
    value = np.array([np.nan if r.value is None else r.value for r in found])
    value[np.isnan(value) & (depths < _ROUNDED_MM)] = 0.0
    unclear = np.isnan(value)
    runs_on = np.array([r.value is None and bool(_RUNS_ON & _codes(r)) for r in found])
    seen_wide = unclear & runs_on & wider_than(bone, crest, depths, width_mm)
    narrow = np.flatnonzero(value < width_mm)
    last = int(narrow[-1]) if len(narrow) else -1
    if (unclear & ~seen_wide)[last + 1 :].any():
        return _unusable(width_mm, (Note("usable_unclear"),))
    if last + 1 >= len(depths):
        lost = max(total, 0.0)
    elif last < 0:
        lost = 0.0
    elif found[last].value is None or found[last + 1].value is None:
        # Nothing between two levels is claimed that was not measured at both.
        lost = min(float(depths[last + 1]), total)
    else:
        share = (width_mm - value[last]) / (value[last + 1] - value[last])
        lost = float(depths[last] + share * _LEVEL_MM)
    notes = height.reading.notes
    wide = int(seen_wide[last + 1 :].sum())
    if wide:
        notes += (Note("usable_seen_wide", {"count": wide, "of": len(depths)}),)
    plane = bone.plane
    level = plane.points(plane.w(crest.point_mm), plane.h(crest.point_mm) - lost)[0]
    sds = next((r.edge_sd_mm for r in found[last + 1 :] if r.value is not None), (0.05,))
    lower = height.reading.witness[1] if height.reading.witness is not None else level
    return UsableHeight(
        width_mm=width_mm,
        height=replace(
            height.reading,
            value=max(total - lost, 0.0),
            witness=(level, lower),
            edge_sd_mm=(*height.reading.edge_sd_mm, *sds),
            notes=notes,
        ),
        lost=Reading(
            value=lost,
            witness=(crest.point_mm, level),
            marks=crest.moving(1.0),
            edge_sd_mm=(crest.sd_mm, *sds),
            evidence=crest.evidence,
        ),
    )


def _limits(structure: Structure) -> TypeGuard[Course | Foramen | Floor | Tapered]:
    """True for what may end a height: a root that is to be removed does not."""
    if isinstance(structure, PointMarks | KnownObject) or not kind_of(structure).ends_height:
        return False
    # The bone under a floor that is to be elevated still ends there.
    return not isinstance(structure, Tapered) or is_in_force(structure)


def _codes(reading: Reading) -> set[str]:
    return {note.code for note in reading.notes}


def level_of(structures: Sequence[Structure], plane: Plane) -> float | None:
    """Height in the plane of the most coronal border of structures; None where none is crossed."""
    borders = [_border(s, plane) for s in structures]
    return max((b.h_mm for b in borders if b is not None), default=None)


def _unusable(width_mm: float, notes: tuple[Note, ...]) -> UsableHeight:
    empty = Reading(value=None, notes=notes)
    return UsableHeight(width_mm=width_mm, height=empty, lost=empty)


def _border(structure: Structure, plane: Plane) -> _Border | None:
    """Most coronal point of a structure in the section; None where it is not crossed."""
    if isinstance(structure, Floor):
        return _floor_border(structure, plane)
    if not isinstance(structure, Course | Foramen | Tapered):
        return None
    tubes = tubes_of(structure)
    found = [b for b in (_tube_border(tube, plane) for tube in tubes) if b is not None]
    best = max(found, key=lambda b: b.h_mm, default=None)
    return best and replace(best, tooth=isinstance(structure, Tapered))


def _tube_border(tube: Tube, plane: Plane) -> _Border | None:
    """Highest point of the balls' cut by the plane: h + √(r² − t²), t off the plane."""
    count = max(round(tube.length_mm / _FINE_MM), 1) + 1
    stations = np.linspace(0.0, tube.length_mm, count)
    centres, radii = tube.at(stations)
    local = centres - plane.origin
    off, rise, w = local @ plane.normal, local @ plane.coronal, local @ plane.across
    # A line without thickness is met within half a step.
    radii = np.maximum(radii, _FINE_MM)
    meets = (np.abs(off) < radii) & (np.abs(w) < _SECTION_REACH_MM)
    if not meets.any():
        return None
    root = np.sqrt(np.maximum(radii**2 - off**2, 1e-12))
    height = np.where(meets, rise + root, -np.inf)
    best = int(np.argmax(height))
    slope = float(np.clip(off[best] / root[best], -10.0, 10.0))
    by_centre = -(plane.coronal - slope * plane.normal)
    by_radius = float(min(radii[best] / root[best], 10.0))
    return _Border(
        h_mm=float(height[best]),
        point_mm=plane.points(float(w[best]), float(height[best]))[0],
        marks=tube.influences(float(stations[best]), by_centre, -by_radius),
        size_sd_mm=tube.radius_sd_mm * by_radius,
        notes=tube.notes,
    )


def _floor_border(floor: Floor, plane: Plane) -> _Border | None:
    """Most coronal point of the floor's surface in the section."""
    surface = FloorSurface.through(floor.points)
    if surface is None:
        return None
    low, high = surface.marks_uv.min(axis=0), surface.marks_uv.max(axis=0)
    step = _FLOOR_GRID_MM
    axes = [np.arange(a, b + step, step) for a, b in zip(low, high, strict=True)]
    uv = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1)
    off = ((surface.at(uv.reshape(-1, 2)) - plane.origin) @ plane.normal).reshape(uv.shape[:2])
    places = []
    for one, two, a, b in (
        (off[:-1], off[1:], uv[:-1], uv[1:]),
        (off[:, :-1], off[:, 1:], uv[:, :-1], uv[:, 1:]),
    ):
        cut = (one < 0) != (two < 0)
        share = (one[cut] / (one[cut] - two[cut]))[:, None]
        places.append(a[cut] + share * (b[cut] - a[cut]))
    met = np.concatenate(places)
    met = met[[surface.inside_rim_mm(place) >= -1e-9 for place in met]] if len(met) else met
    if not len(met):
        return None
    solid = surface.at(met)
    local = solid - plane.origin
    beside = np.abs(local @ plane.across) < _SECTION_REACH_MM
    rise = np.where(beside, local @ plane.coronal, -np.inf)
    best = int(np.argmax(rise))
    if not np.isfinite(rise[best]):
        return None
    near = surface.at(met[best] + 1e-3 * np.array([[1.0, 0.0], [0.0, 1.0]])) - solid[best]
    normal = np.cross(near[0], near[1])
    gain = float(normal @ surface.frame[2]) / float(normal @ plane.coronal)
    weights = surface.weights(met[best][None, :])[0]
    gradients = -(gain * weights)[:, None] * surface.mark_directions()
    marks = tuple(
        MarkInfluence(mark=f"{floor.id}/{i}", gradient=g, seen=s)
        for i, (g, s) in enumerate(zip(gradients, floor.seen, strict=True))
    )
    return _Border(h_mm=float(rise[best]), point_mm=solid[best], marks=marks)
