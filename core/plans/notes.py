"""Notes at places of the scan: written, changed, moved and deleted like every other mark."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike

from core.geometry import Array, vector
from core.plans.plan import Plan


def note_id(number: int, note: Mapping[str, object]) -> str:
    """Id of a note: its own, else after its place in the list (files written by hand have none)."""
    own = note.get("id")
    return own if isinstance(own, str) and own else f"note-{number + 1}"


def places_of_notes(plan: Plan) -> tuple[tuple[str, str, Array], ...]:
    """Id, text and patient point (LPS mm) of every note that stands at a place."""
    found = []
    for number, note in enumerate(plan.notes):
        place = _place(note)
        if place is not None:
            found.append((note_id(number, note), str(note.get("text", "")), place))
    return tuple(found)


def with_note(plan: Plan, text: str, point_mm: ArrayLike, *, at: str) -> Plan:
    """Add a note at a place, with the time at which it was made.

    Parameters
    ----------
    plan : Plan
    text : str
    point_mm : (3,) patient LPS mm
    at : str
        ISO 8601.
    """
    taken = {note_id(number, note) for number, note in enumerate(plan.notes)}
    number = next(n for n in range(1, len(taken) + 2) if f"note-{n}" not in taken)
    note = {"id": f"note-{number}", "text": text.strip(), "point": _values(point_mm), "at": at}
    return replace(plan, notes=(*plan.notes, note))


def with_note_text(plan: Plan, which: str, text: str) -> Plan:
    """Write other words into a note.

    Parameters
    ----------
    plan : Plan
    which : str
        Id of the note.
    text : str
    """
    return _changed(plan, which, text=text.strip())


def with_note_moved(plan: Plan, which: str, point_mm: ArrayLike) -> Plan:
    """Put a note elsewhere.

    Parameters
    ----------
    plan : Plan
    which : str
        Id of the note.
    point_mm : (3,) patient LPS mm
    """
    return _changed(plan, which, point=_values(point_mm))


def without_note(plan: Plan, which: str) -> Plan:
    """Delete a note; the others keep their ids."""
    kept = _with_ids(plan)
    return replace(plan, notes=tuple(note for note in kept if note["id"] != which))


def _changed(plan: Plan, which: str, **changes: object) -> Plan:
    notes = [{**n, **changes} if n["id"] == which else n for n in _with_ids(plan)]
    return replace(plan, notes=tuple(notes))


def _with_ids(plan: Plan) -> list[dict[str, object]]:
    return [{**note, "id": note_id(number, note)} for number, note in enumerate(plan.notes)]


def _place(note: Mapping[str, object]) -> Array | None:
    place = note.get("point")
    if not isinstance(place, list | tuple) or len(place) != 3:
        return None
    if not all(isinstance(x, int | float) and np.isfinite(x) for x in place):
        return None
    return vector(np.array(place, dtype=np.float64))


def _values(point_mm: ArrayLike) -> list[float]:
    return [float(x) for x in vector(point_mm)]
