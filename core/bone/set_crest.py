"""The crest that a person set beside a tooth: where a tooth stands the image shows none.

A set crest stands for the height alone, and only where a tooth stands in the section: elsewhere
the crest is found in the image.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from core.bone.bone_in_plane import PIXEL_MM, BoneInPlane
from core.bone.plates import PlateThickness
from core.bone.ridge_section import Crest
from core.distances.tubes import Tube, tubes_of
from core.geometry import Array
from core.image.flags import widened
from core.measurement import MARKED, MarkInfluence, Note, Reading
from core.structures import PointMarks, Structure, Tapered

REACH_MM = 1.0
"""A mark this far before or behind a section still belongs to it."""

ACROSS_MM = 6.0
"""And this far to both sides of the plane's origin."""

_FALLS_BY = 0.5
"""Around a tooth the crest rises and falls by about half of the way along it (common practice, no
source): a mark before or behind the section is less sure by that."""

_FROM_BONE_MM = 1.0
"""A crest further than this from all bone of the section is no crest."""

_BEHIND_PLATE_MM = 1.0
"""A root nearer than this behind a plate cannot be told from it: dentine is as bright as cortex,
and the space between is narrower than the blur."""


def set_crest(bone: BoneInPlane, structures: Sequence[Structure]) -> Crest | None:
    """The crest that was set in a section; None where nobody set one.

    Of several the one furthest coronal, as for a crest that is found.

    Parameters
    ----------
    bone : BoneInPlane
        The section in which a tooth stands.
    structures : sequence of Structure
        Of which the marks of kind ``crest`` count.
    """
    plane = bone.plane
    near: list[tuple[float, str, str, Array]] = []
    for marks in structures:
        if not isinstance(marks, PointMarks) or marks.kind != "crest":
            continue
        for index, point in enumerate(marks.points):
            off = abs(float((point - plane.origin) @ plane.normal))
            if off <= REACH_MM and abs(plane.w(point)) <= ACROSS_MM:
                near.append((plane.h(point), marks.id, f"{marks.id}/{index}", point))
    if not near:
        return None
    _, mark_id, key, point = max(near, key=lambda entry: entry[0])
    if not _at_bone(bone, plane.w(point), plane.h(point)):
        return Crest(point_mm=None, notes=(Note("ridge_crest_off_bone", {"id": mark_id}),))
    off = abs(float((point - plane.origin) @ plane.normal))
    return Crest(
        point_mm=plane.points(plane.w(point), plane.h(point))[0],
        sd_mm=_FALLS_BY * off,
        evidence=MARKED,
        marks=(MarkInfluence(mark=key, gradient=plane.coronal),),
        notes=(Note("ridge_crest_set", {"id": mark_id}),),
    )


def _at_bone(bone: BoneInPlane, w: float, h: float) -> bool:
    """True beside bone of the section, and not in or on what is brighter than it."""
    away = np.hypot(bone.w[None, :] - w, bone.h[:, None] - h)
    # The rim of a crown is no brighter than bone in the picture.
    parts = bone.mask & ~widened(bone.brighter, 2)
    nearest = float(away[parts].min()) if parts.any() else np.inf
    bright = float(away[bone.brighter].min()) if bone.brighter.any() else np.inf
    return nearest <= _FROM_BONE_MM and bright > PIXEL_MM


def plates_beside_roots(
    plates: Sequence[PlateThickness], crest: Crest, structures: Sequence[Structure]
) -> tuple[PlateThickness, ...]:
    """Plates of a section: none where a root may lie behind the plate, one to be removed too.

    Below a crest that was set a tooth stands in the section. Until its root is marked nobody knows
    at which depths it lies behind a plate; once it is marked, the plates clear of it are given.

    Parameters
    ----------
    plates : sequence of PlateThickness
    crest : Crest
    structures : sequence of Structure
    """
    roots = [s for s in structures if isinstance(s, Tapered) and s.kind == "root"]
    tubes = [tube for root in roots for tube in tubes_of(root)]
    there = not crest.marks or any(_meets(tube, crest) for tube in tubes)
    return tuple(_told(plate, tubes, crest, marked=there) for plate in plates)


def _told(
    plate: PlateThickness, tubes: Sequence[Tube], crest: Crest, *, marked: bool
) -> PlateThickness:
    reading = plate.reading
    if reading.value is None or reading.witness is None:
        return plate
    if not marked:
        return replace(plate, reading=_none("plate_root_not_marked"))
    inner = reading.witness[1]
    if any(_away(tube, inner) < _BEHIND_PLATE_MM for tube in tubes):
        return replace(plate, reading=_none("plate_before_root"))
    return replace(plate, reading=replace(reading, notes=(*reading.notes, *crest.set_by_hand)))


def _none(code: str) -> Reading:
    return Reading(value=None, notes=(Note(code),))


def _stations(tube: Tube) -> Array:
    return np.linspace(0.0, tube.length_mm, max(round(tube.length_mm / 0.2), 1) + 1)


def _away(tube: Tube, point: Array) -> float:
    """Distance of a point from a root's surface; negative inside."""
    centres, radii = tube.at(_stations(tube))
    return float((np.linalg.norm(centres - point, axis=1) - radii).min())


def _meets(tube: Tube, crest: Crest) -> bool:
    """True where a root stands beside the crest."""
    return crest.point_mm is not None and _away(tube, crest.point_mm) < ACROSS_MM
