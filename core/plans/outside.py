"""Marks that lie where nothing was scanned: no patient was seen there, so nothing can be marked."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from core.image.volume import Volume
from core.plans.marks import Mark, marks_of, marks_of_structures
from core.plans.plan import Plan
from core.structures import Structure

_SEEN_THERE = ("structure", "stent axis", "ruler", "angle", "midline", "tissue")
"""What a person marks because it is seen; arch and notes are drawn, not seen."""


@lru_cache(maxsize=64)
def lies_partly_outside(structure: Structure, volume: Volume) -> bool:
    """True for a structure of which a mark lies where nothing was scanned."""
    points = [mark.point_mm for mark in marks_of_structures((structure,))]
    return bool(points) and not volume.scanned_at(np.array(points)).all()


@lru_cache(maxsize=8)
def marks_outside(plan: Plan, volume: Volume) -> tuple[Mark, ...]:
    """Marks of a plan that lie outside the scan, in padding or outside its round field."""
    marks = [mark for mark in marks_of(plan) if mark.sort in _SEEN_THERE]
    if not marks:
        return ()
    inside = volume.scanned_at(np.array([mark.point_mm for mark in marks]))
    return tuple(mark for mark, seen in zip(marks, inside, strict=True) if not seen)


def newly_outside(before: Plan, after: Plan, volume: Volume) -> tuple[Mark, ...]:
    """Marks that an edit put outside the scan.

    Parameters
    ----------
    before : Plan
    after : Plan
    volume : Volume
    """
    known = {(mark.key, mark.point_mm.tobytes()) for mark in marks_outside(before, volume)}
    return tuple(
        mark
        for mark in marks_outside(after, volume)
        if (mark.key, mark.point_mm.tobytes()) not in known
    )
