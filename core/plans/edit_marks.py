"""Edits of single marks: add, move, delete, and say how well one was seen."""

from __future__ import annotations

from dataclasses import replace
from typing import Any, TypeVar

import numpy as np
from numpy.typing import ArrayLike

from core.geometry import Array, points, vector
from core.plans.edit import changed, find, refuse_locked, with_thing, without
from core.plans.marks import Mark
from core.plans.notes import with_note_moved, without_note
from core.plans.plan import Plan
from core.plans.tissue_points import with_tissue_moved, without_tissue_points
from core.structures import Course, Floor, Foramen, PointMarks, Seen, StentAxis, Tapered

T = TypeVar("T", bound=Any)


def with_mark_added(
    plan: Plan, structure_id: str, point_mm: ArrayLike, *, by_course: bool = True
) -> tuple[Plan, int]:
    """Add a mark to a curve, floor, root or group of points.

    Parameters
    ----------
    by_course : bool
        True: where it lies along the marks (before the first, between two, after the last);
        False: after the last.

    Returns
    -------
    plan, number of the new mark from 0

    Raises
    ------
    PlanError
        ``edit-locked``.
    """
    structure = find(plan, structure_id)
    index = len(structure.points)
    if by_course and not isinstance(structure, Floor | PointMarks):
        index = place_along(structure.points, point_mm)
    marks = np.insert(structure.points, index, vector(point_mm), axis=0)
    changes: dict[str, Any] = {"points": marks}
    if not isinstance(structure, PointMarks):
        taken_as: Seen = "yes"
        changes["seen"] = (*structure.seen[:index], taken_as, *structure.seen[index:])
    plan = changed(plan, structure_id, object, lambda s: _recoursed(replace(s, **changes)))
    return plan, index


def with_mark_moved(plan: Plan, mark: Mark, point_mm: ArrayLike) -> Plan:
    """Put a mark elsewhere.

    Parameters
    ----------
    plan : Plan
    mark : Mark
    point_mm : (3,) patient LPS mm

    Raises
    ------
    PlanError
        ``edit-locked``.
    ValueError
        When what it belongs to would lose its length.
    """
    place = vector(point_mm)
    refuse_locked(plan, mark.owner)
    if mark.sort == "midline":
        return replace(plan, midline=place)
    if mark.sort == "note":
        return with_note_moved(plan, mark.owner, place)
    if mark.sort == "tissue":
        return with_tissue_moved(plan, int(mark.part), place)
    if mark.sort == "arch":
        return replace(plan, arch_points=_moved(plan.arch_points, mark, place))
    thing = find(plan, mark.owner)
    if isinstance(thing, StentAxis):
        # An end that a hand moved is no longer where the image had it: the hand's doubt counts.
        by_hand: dict[str, Any] = {"offset_sd_mm": 0.0, "direction_sd_deg": 0.0, mark.part: place}
        return with_thing(plan, replace(thing, **by_hand))
    if not mark.part.isdigit():
        return with_thing(plan, replace(thing, **{mark.part: place}))
    return with_thing(plan, _recoursed(replace(thing, points=_moved(thing.points, mark, place))))


def with_mark_seen(plan: Plan, mark: Mark, seen: Seen) -> Plan:
    """Say how well a mark was seen.

    Parameters
    ----------
    plan : Plan
    mark : Mark
    seen : Seen
    """

    def change(thing: Any) -> Any:
        marks = list(thing.seen)
        marks[int(mark.part)] = seen
        return replace(thing, seen=tuple(marks))

    return changed(plan, mark.owner, object, change)


def without_mark(plan: Plan, mark: Mark) -> Plan:
    """Delete a mark; what cannot stand without it goes with it.

    Raises
    ------
    PlanError
        ``edit-locked``.
    """
    refuse_locked(plan, mark.owner)
    if mark.sort == "midline":
        return replace(plan, midline=None)
    if mark.sort == "note":
        return without_note(plan, mark.owner)
    if mark.sort == "tissue":
        return without_tissue_points(plan)
    if mark.sort == "arch":
        return replace(plan, arch_points=_fewer(plan.arch_points, mark, least=2))
    thing = find(plan, mark.owner)
    if isinstance(thing, Foramen) and mark.part == "upper":
        return with_thing(plan, replace(thing, upper=None))
    if not isinstance(thing, Course | Tapered | Floor | PointMarks):
        return without(plan, mark.owner)
    marks = _fewer(thing.points, mark, least=2 if isinstance(thing, Tapered) else 1)
    if marks is None:
        return without(plan, mark.owner)
    changes: dict[str, Any] = {"points": marks}
    if not isinstance(thing, PointMarks):
        index = int(mark.part)
        changes["seen"] = (*thing.seen[:index], *thing.seen[index + 1 :])
    return with_thing(plan, _recoursed(replace(thing, **changes)))


def place_along(marks_mm: ArrayLike, point_mm: ArrayLike) -> int:
    """Where a new mark belongs in a row of marks: 0 before the first, n after the last.

    It goes into the straight piece that it is nearest to; beyond an end, it is the new end.
    """
    marks, point = points(marks_mm), vector(point_mm)
    if len(marks) < 2:
        return len(marks)
    way = np.diff(marks, axis=0)
    length = np.maximum(np.einsum("ij,ij->i", way, way), 1e-12)
    share = np.einsum("ij,ij->i", point - marks[:-1], way) / length
    feet = marks[:-1] + np.clip(share, 0.0, 1.0)[:, None] * way
    nearest = int(np.argmin(np.linalg.norm(feet - point, axis=1)))
    if nearest == 0 and share[0] <= 0:
        return 0
    if nearest == len(way) - 1 and share[-1] >= 1:
        return len(marks)
    return nearest + 1


def _moved(marks: Array | None, mark: Mark, place: Array) -> Array:
    out = np.array(marks)
    out[int(mark.part)] = place
    return out


def _fewer(marks: Array | None, mark: Mark, *, least: int) -> Array | None:
    out = np.delete(np.array(marks), int(mark.part), axis=0)
    return out if len(out) >= least else None


def _recoursed(thing: T) -> T:
    """A course that was not the spline of the marks does not belong to other marks."""
    if isinstance(thing, Course) and thing.course is not None:
        return replace(thing, course=None, course_by="")
    return thing
