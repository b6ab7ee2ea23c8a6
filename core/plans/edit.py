"""Edits of what is marked in a plan: each takes a plan and returns another one.

The old plan is never changed, so keeping it is the undo. What a person locked is refused.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from numpy.typing import ArrayLike

from core.arch import Arch
from core.errors import PlanError
from core.geometry import points
from core.identity import thing_words
from core.plans.marks import id_from
from core.plans.plan import Declaration, DeclaredState, Plan
from core.plans.side import side_here
from core.structures import (
    AngleMark,
    Course,
    Foramen,
    PointMarks,
    Ruler,
    StentAxis,
    Structure,
    Tapered,
)

LISTS = ("structures", "stent_axes", "fixtures", "rulers", "angles")
"""Lists of a plan whose elements carry an id."""


# -- ids, locks ----------------------------------------------------------------------------


def taken_ids(plan: Plan) -> frozenset[str]:
    """Ids of everything in the plan but its sites."""
    return frozenset(thing.id for name in LISTS for thing in getattr(plan, name))


def new_id(plan: Plan, stem: str) -> str:
    """``stem``, or ``stem-2``, ``stem-3`` ... where that is taken."""
    taken = taken_ids(plan)
    if stem not in taken:
        return stem
    number = 2
    while f"{stem}-{number}" in taken:
        number += 1
    return f"{stem}-{number}"


def numbered_id(plan: Plan, stem: str) -> str:
    """``stem-1``, ``stem-2`` ..., the first that is free."""
    number = 1
    while f"{stem}-{number}" in taken_ids(plan):
        number += 1
    return f"{stem}-{number}"


def is_locked(plan: Plan, thing_id: str) -> bool:
    """True where a person locked it."""
    return thing_id in plan.locked


def with_lock(plan: Plan, thing_id: str, *, locked: bool) -> Plan:
    """Lock a thing against being moved, changed or deleted, or unlock it.

    Parameters
    ----------
    plan : Plan
    thing_id : str
    locked : bool
    """
    others = tuple(i for i in plan.locked if i != thing_id)
    return replace(plan, locked=(*others, thing_id) if locked else others)


def refuse_locked(plan: Plan, thing_id: str) -> None:
    """Refuse an edit of what is locked.

    Raises
    ------
    PlanError
        ``edit-locked``.
    """
    if is_locked(plan, thing_id):
        raise PlanError("edit-locked", what=thing_words(thing_id))


def find(plan: Plan, thing_id: str) -> Any:
    """The structure, stent axis, fixture, ruler or angle with an id; None where there is none."""
    for name in LISTS:
        for thing in getattr(plan, name):
            if thing.id == thing_id:
                return thing
    return None


def without(plan: Plan, thing_id: str) -> Plan:
    """Delete a structure, stent axis, fixture, ruler or angle, and its lock.

    Raises
    ------
    PlanError
        ``edit-locked``.
    """
    refuse_locked(plan, thing_id)
    kept: dict[str, Any] = {
        name: tuple(t for t in getattr(plan, name) if t.id != thing_id) for name in LISTS
    }
    return replace(plan, **kept)


def renamed(plan: Plan, thing_id: str, words: str) -> Plan:
    """Give a thing another name; declarations and unknown keys go along.

    Marks, rulers and angles keep their id and take the words as their label.

    Parameters
    ----------
    plan : Plan
    thing_id : str
    words : str

    Raises
    ------
    PlanError
        ``edit-locked``; ``edit-name-empty`` when no letter or digit is left of the words;
        ``edit-name-taken``.
    """
    refuse_locked(plan, thing_id)
    thing = find(plan, thing_id)
    if isinstance(thing, PointMarks | Ruler | AngleMark):
        return with_thing(plan, replace(thing, label=words.strip()))
    other = id_from(words)
    if not other:
        raise PlanError("edit-name-empty")
    if other == thing_id:
        return plan
    if other in taken_ids(plan):
        raise PlanError("edit-name-taken", name=other)
    lists: dict[str, Any] = {
        name: tuple(replace(t, id=other) if t.id == thing_id else t for t in getattr(plan, name))
        for name in LISTS
    }
    declared = tuple(
        replace(d, structure=other) if d.structure == thing_id else d for d in plan.declared
    )
    # Keys that this program does not know hang on the id in the document as read.
    document = dict(plan.document)
    for name in LISTS:
        rows = document.get(name)
        if isinstance(rows, list) and any(t.id == thing_id for t in getattr(plan, name)):
            document[name] = [_called(row, thing_id, other) for row in rows]
    return replace(plan, declared=declared, document=document, **lists)


def _called(row: Any, thing_id: str, other: str) -> Any:
    return {**row, "id": other} if isinstance(row, dict) and row.get("id") == thing_id else row


# -- whole structures ----------------------------------------------------------------------


def with_structure(plan: Plan, structure: Structure) -> Plan:
    """Add a structure, or put it in the place of the one with its id."""
    return _put(plan, "structures", structure)


def with_stent_axis(plan: Plan, axis: StentAxis) -> Plan:
    """Add a stent axis, or put it in the place of the one with its id."""
    return _put(plan, "stent_axes", axis)


def with_ruler(plan: Plan, ruler: Ruler) -> Plan:
    """Add a ruler, or put it in the place of the one with its id."""
    return _put(plan, "rulers", ruler)


def with_angle(plan: Plan, angle: AngleMark) -> Plan:
    """Add an angle, or put it in the place of the one with its id."""
    return _put(plan, "angles", angle)


def with_diameter(
    plan: Plan, structure_id: str, diameter_mm: float | None, *, sd_mm: float | None = None
) -> Plan:
    """Set the diameter of a canal, loop, vessel or border, with its standard deviation.

    Parameters
    ----------
    plan : Plan
    structure_id : str
    diameter_mm : float or None
        mm.
    sd_mm : float or None
        mm.
    """
    values: dict[str, Any] = {"diameter_mm": diameter_mm, "diameter_sd_mm": sd_mm}
    return changed(plan, structure_id, Course, lambda c: replace(c, **values))


def with_reason(plan: Plan, thing_id: str, reason: str) -> Plan:
    """Keep why a structure or fixture has an unusual size; an empty reason takes it away.

    Parameters
    ----------
    plan : Plan
    thing_id : str
    reason : str
    """
    others = {key: words for key, words in plan.reasons.items() if key != thing_id}
    return replace(plan, reasons=others | ({thing_id: reason} if reason.strip() else {}))


def with_removal(plan: Plan, root_id: str, *, to_be_removed: bool) -> Plan:
    """Say whether a root is to be removed.

    Parameters
    ----------
    plan : Plan
    root_id : str
    to_be_removed : bool
    """
    return changed(plan, root_id, Tapered, lambda r: replace(r, to_be_removed=to_be_removed))


def foramen_of(plan: Plan, arch: Arch | None, foramen_id: str, edges_mm: ArrayLike) -> Foramen:
    """Foramen from two edges in any order, told apart along the arch.

    Mesial is towards the patient's left on the right side of the mouth, and the other way round.
    Without an arch the first edge is taken as the mesial one.

    Parameters
    ----------
    plan : Plan
    arch : Arch or None
    foramen_id : str
    edges_mm : (2, 3) patient LPS mm
    """
    first, second = points(edges_mm)
    if arch is not None:
        on_left = side_here(plan, float(first[0] + second[0]) / 2) == "left"
        first_is_righter = arch.station(first) < arch.station(second)
        if first_is_righter != on_left:
            first, second = second, first
    return Foramen(id=foramen_id, mesial=first, distal=second)


def with_declaration(
    plan: Plan, structure: str, state: DeclaredState, *, reason: str, by: str, at: str
) -> Plan:
    """Declare a structure that is not marked; an earlier declaration of it goes.

    Parameters
    ----------
    plan : Plan
    structure : Structure
    state : DeclaredState
    reason : str
    by : str
        Initials or name of who did it.
    at : str
        ISO 8601.

    Raises
    ------
    PlanError
        ``plan-reason-missing`` when *not near this site* comes without a reason.
    """
    if state == "not near this site" and not reason.strip():
        raise PlanError("plan-reason-missing", where="declared", structure=structure)
    said = Declaration(structure=structure, state=state, reason=reason.strip(), by=by, at=at)
    return replace(plan, declared=(*without_declaration(plan, structure).declared, said))


def without_declaration(plan: Plan, structure: str) -> Plan:
    """Take a declaration back."""
    return replace(plan, declared=tuple(d for d in plan.declared if d.structure != structure))


def changed(plan: Plan, thing_id: str, kind: type, change: Callable[[Any], Any]) -> Plan:
    """Change the thing with an id, which must be of a kind.

    Parameters
    ----------
    plan : Plan
    thing_id : str
    kind : type
    change : callable
        The changed thing, of the one that is there.

    Raises
    ------
    PlanError
        ``edit-locked``.
    ValueError
        When there is no such thing.
    """
    refuse_locked(plan, thing_id)
    thing = find(plan, thing_id)
    if thing is None or not isinstance(thing, kind):
        raise ValueError(f"the plan has no such thing: {thing_id!r}")
    return with_thing(plan, change(thing))


def with_thing(plan: Plan, thing: Any) -> Plan:
    """Put a thing in the place of the one with its id."""
    name = next(n for n in LISTS if any(t.id == thing.id for t in getattr(plan, n)))
    return _put(plan, name, thing)


def _put(plan: Plan, name: str, thing: Any) -> Plan:
    refuse_locked(plan, thing.id)
    before: tuple[Any, ...] = getattr(plan, name)
    if any(t.id == thing.id for t in before):
        after = tuple(thing if t.id == thing.id else t for t in before)
    else:
        after = (*before, thing)
    kept: dict[str, Any] = {name: after}
    return replace(plan, **kept)
