"""Marks that lie where nothing was scanned: no patient was seen there, so nothing can be marked."""

from __future__ import annotations

from collections.abc import Collection
from functools import lru_cache

import numpy as np

from core.image.volume import Volume
from core.measurement import Note, Reading
from core.plans.marks import Mark, marks_of, marks_of_structures
from core.plans.plan import Plan
from core.structures import kind_of

_SEEN_THERE = ("structure", "stent axis", "ruler", "angle", "midline", "tissue")
"""What a person marks because it is seen; arch and notes are drawn, not seen."""


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


def within_scan(
    reading: Reading, plan: Plan, volume: Volume, built_on: Collection[str] = ()
) -> Reading:
    """The reading, or none where a mark that it rests on lies where nothing was scanned.

    Whatever is measured, and of whatever kind its row is: all marks of a thing must have been
    scanned of which the reading names one, and so must the end of the value on a thing that runs
    on between its marks (a course, a root, a floor).

    Parameters
    ----------
    reading : Reading
    plan : Plan
        That holds the marks. Nothing but structures is looked at for what stands among them.
    volume : Volume
    built_on : ids of structures
        What else the value goes to or is made from, beside the marks in the reading.

    Raises
    ------
    ValueError
        Where the reading names a mark that the plan does not have: nobody could say where it lies.
    """
    if reading.value is None:
        return reading
    named = {influence.mark for influence in reading.marks}
    owners = {key.rpartition("/")[0] for key in named}
    structures = [s for s in plan.structures if s.id in owners or s.id in built_on]
    marks = list(marks_of_structures(structures))
    if elsewhere := owners - {s.id for s in structures}:
        marks += [m for m in marks_of(plan) if m.sort in _SEEN_THERE and m.owner in elsewhere]
    if strange := named - {f"{mark.owner}/{mark.part}" for mark in marks}:
        raise ValueError(f"marks that the plan does not have: {', '.join(sorted(strange))}")
    places = [mark.point_mm for mark in marks]
    if reading.witness is not None and any(
        s.id in owners and kind_of(s).shape != "points" for s in structures
    ):
        places.append(reading.witness[1])
    if not places or volume.scanned_at(np.array(places)).all():
        return reading
    return Reading(value=None, unit=reading.unit, notes=(Note("mark-outside-scan"),))
