"""Notes keep their names while others go, and stay as they were written by hand until changed."""

import numpy as np
import pytest

from core.plans.marks import marks_of
from core.plans.notes import (
    places_of_notes,
    with_note,
    with_note_moved,
    with_note_text,
    without_note,
)
from core.plans.plan import Plan
from core.plans.plan_dump import document_of
from core.plans.plan_parse import parse

AT = "2026-11-24T10:31:00Z"


def three():
    plan = Plan()
    for number, text in enumerate(("one", " two ", "three")):
        plan = with_note(plan, text, (number, 0, 0), at=AT)
    return plan


def test_a_note_keeps_its_id_when_another_goes():
    plan = without_note(three(), "note-2")
    assert [(i, text) for i, text, _ in places_of_notes(plan)] == [
        ("note-1", "one"), ("note-3", "three"),
    ]  # fmt: skip
    # The free name is given again, no name twice.
    ids = [i for i, _, _ in places_of_notes(with_note(plan, "four", (9, 9, 9), at=AT))]
    assert ids == ["note-1", "note-3", "note-2"]


def test_words_and_place_change_by_themselves():
    plan = with_note_moved(with_note_text(three(), "note-2", " more "), "note-3", (7, 8, 9))
    assert [n["text"] for n in plan.notes] == ["one", "more", "three"]
    assert plan.notes[2]["point"] == [7.0, 8.0, 9.0]
    assert plan.notes[1]["point"] == three().notes[1]["point"]
    assert all(n["at"] == AT for n in plan.notes)


def test_notes_written_by_hand_are_marks_where_they_have_a_place():
    by_hand = ["bare words", {"text": "placed", "point": [1, 2, 3], "mood": "kept"},
               {"text": "no place"}, {"text": "broken", "point": [1, "x", 3]}]  # fmt: skip
    plan = parse({"format": "sounding-plan", "version": 1, "notes": by_hand})
    (mark,) = [m for m in marks_of(plan) if m.sort == "note"]
    assert (mark.owner, mark.text) == ("note-2", "placed")
    assert np.array_equal(mark.point_mm, (1, 2, 3))
    assert document_of(plan)["notes"] == by_hand
    moved = document_of(with_note_moved(plan, "note-2", (4, 5, 6)))["notes"]
    assert moved[1]["point"] == [4.0, 5.0, 6.0]
    assert moved[1]["mood"] == "kept"
    assert [n["text"] for n in moved if isinstance(n, dict)][-3:] == [
        "placed",
        "no place",
        "broken",
    ]


@pytest.mark.parametrize("which", ["note-9", ""])
def test_what_is_not_there_changes_nothing(which):
    assert [n["text"] for n in without_note(three(), which).notes] == ["one", "two", "three"]
