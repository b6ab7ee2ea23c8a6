"""Teeth in a section: they are not the ridge, though they stand in it and are as bright.

A crest is bone. Where a tooth stands in a section (a marked root, or something joined to the bone
and brighter than cortex: enamel, a filling, metal) no crest is taken there. A tooth that is
marked as to be removed is taken out of the section first: then the crest is that of the bone
around it, and not its cusp.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import label

from core.bone.bone_in_plane import PIXEL_MM, BoneInPlane
from core.distances.tubes import Tube, tubes_of
from core.geometry import Array
from core.measurement import Note
from core.structures import Structure, Tapered

_LEAST_BRIGHT_MM2 = 1.0
"""Less that is brighter than cortex is noise, or cortex itself."""

_LIGAMENT_MM = 0.35
"""Width of the space around a root that goes with it: about 0.2 mm (common practice, no source)
and half a pixel."""

_BULGE_MM = 2.5
"""A crown is wider than its neck by up to this on each side (common practice, no source)."""

_NECK_MM = 1.0
"""A root is marked up to about its neck: its crown begins this near above the last mark."""

_BESIDE_MM = 1.0
"""A tooth this far beside the columns in which a crest is looked for still reaches into them."""


def standing_tooth(
    bone: BoneInPlane, structures: Sequence[Structure], *, half_mm: float
) -> Note | None:
    """Why no crest is taken in a section; None where no tooth stands in it.

    Parameters
    ----------
    bone : BoneInPlane
        Without the teeth that are to be removed, see `without_teeth`.
    structures : sequence of Structure
    half_mm : float
        The crest is looked for this far to both sides of the plane's origin.
    """
    near = half_mm + _BESIDE_MM
    for root in _roots(structures, gone=False):
        if any(_stands(tube, bone, near) for tube in tubes_of(root)):
            return Note("height_root_at_crest", {"id": root.id})
    columns = np.abs(bone.w) <= near
    if (_bright_parts(bone)[:, columns]).any():
        return Note("ridge_tooth_stands")
    return None


def without_teeth(bone: BoneInPlane, structures: Sequence[Structure]) -> BoneInPlane:
    """The jaw's bone without the teeth that are to be removed, their crowns included."""
    tubes = [t for root in _roots(structures, gone=True) for t in tubes_of(root)]
    socket = np.zeros_like(bone.mask)
    gone = np.zeros_like(bone.mask)
    for tube in tubes:
        socket |= _root(tube, bone)
        gone |= _crown(tube, bone)
    gone |= socket
    if not (gone & bone.mask).any():
        return bone
    parts, count = label(bone.brighter & bone.mask)
    for number in range(1, count + 1):
        if gone[parts == number].any():
            gone |= parts == number
    left = bone.mask & ~gone
    labels, count = label(left)
    if not count:
        return replace(bone, mask=left, other=bone.other | bone.mask, joined=left)
    sizes = np.bincount(labels.ravel(), minlength=count + 1)
    sizes[0] = 0
    mask = labels == int(np.argmax(sizes))
    # What is left of a tooth beside its socket runs on from the bone, and is none.
    other = bone.other | (bone.mask & ~mask)
    return replace(bone, mask=mask, other=other, socket=socket, joined=mask)


def _roots(structures: Sequence[Structure], *, gone: bool) -> list[Tapered]:
    return [s for s in structures if isinstance(s, Tapered) and s.to_be_removed == gone]


def _ends(tube: Tube, bone: BoneInPlane) -> tuple[Array, float]:
    """The coronal end of a root and its radius there."""
    ends, radii = tube.at(np.array([0.0, tube.length_mm]))
    top = int(np.argmax([bone.plane.h(p) for p in ends]))
    return ends[top], float(radii[top])


def _stands(tube: Tube, bone: BoneInPlane, near_mm: float) -> bool:
    """True where the neck of a root lies in the section: above it stands the crown."""
    neck, radius = _ends(tube, bone)
    off = abs(float((neck - bone.plane.origin) @ bone.plane.normal))
    return off < radius + 0.5 and abs(bone.plane.w(neck)) < near_mm + radius


def _root(tube: Tube, bone: BoneInPlane) -> NDArray[np.bool_]:
    """(rows, cols) what a root that is to be removed takes with it, its ligament included."""
    plane = bone.plane
    stations = np.linspace(0.0, tube.length_mm, max(round(tube.length_mm / 0.1), 1) + 1)
    centres, radii = tube.at(stations)
    local = centres - plane.origin
    off, w, h = local @ plane.normal, local @ plane.across, local @ plane.coronal
    reach = np.sqrt(np.maximum((radii + _LIGAMENT_MM) ** 2 - off**2, 0.0))
    out = np.zeros_like(bone.mask)
    for where, rise, r in zip(w, h, reach, strict=True):
        if r > 0.0:
            out |= (bone.w[None, :] - where) ** 2 + (bone.h[:, None] - rise) ** 2 <= r * r
    return out


def _crown(tube: Tube, bone: BoneInPlane) -> NDArray[np.bool_]:
    """(rows, cols) where the crown over a root is, if its neck lies in the section."""
    out = np.zeros_like(bone.mask)
    if _stands(tube, bone, float(np.abs(bone.w).max())):
        neck, radius = _ends(tube, bone)
        beside = np.abs(bone.w - bone.plane.w(neck)) <= radius + _BULGE_MM
        out[:, beside] = (bone.h > bone.plane.h(neck) + _NECK_MM)[:, None]
    return out


def _bright_parts(bone: BoneInPlane) -> NDArray[np.bool_]:
    """(rows, cols) what is joined to the bone and brighter than cortex, noise left out."""
    parts, count = label(bone.brighter & bone.mask)
    sizes = np.bincount(parts.ravel(), minlength=count + 1) * PIXEL_MM**2
    sizes[0] = 0.0
    return np.asarray(sizes[parts] >= _LEAST_BRIGHT_MM2)
