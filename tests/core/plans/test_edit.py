"""Edits of marks and structures: what changes, what stays, what is refused."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from core.arch import Arch
from core.distances.tubes import tubes_of
from core.errors import PlanError
from core.level import Level
from core.plans import edit, edit_marks
from core.plans.marks import id_from, mark_at, marks_of
from core.plans.plan import Declaration, Plan
from core.plans.plan_dump import document_of
from core.plans.plan_parse import parse
from core.structures import (
    AngleMark,
    Course,
    Floor,
    Foramen,
    PointMarks,
    Ruler,
    StentAxis,
    Tapered,
)

CANAL = Course(
    id="canal-left", kind="canal", points=[(20, 0, 0), (25, 5, 0), (30, 10, 0)],
    seen=("yes", "faint", "no"),
)  # fmt: skip
FORAMEN = Foramen(id="foramen-left", mesial=(18, 0, 0), distal=(20, 2, 0), upper=(19, 1, 2))
ROOT = Tapered(
    id="root-35", kind="root", tooth="35", points=[(0, 0, 0), (0, 0, -12)], diameters_mm=(6, 2.5)
)
PLAN = Plan(
    structures=(
        CANAL,
        FORAMEN,
        ROOT,
        Floor(id="sinus-right", of="sinus", points=[(0, 0, 0), (4, 0, 0)]),
        PointMarks(id="mark-1", kind="mark", points=[(1, 2, 3)]),
    ),
    stent_axes=(StentAxis(id="stent-axis-1", occlusal=(0, 0, 8), gingival=(0, 0, 2)),),
    rulers=(Ruler(id="ruler-1", points=[(0, 0, 0), (3, 4, 0)]),),
    angles=(AngleMark(id="angle-1", points=[(1, 0, 0), (0, 0, 0), (0, 1, 0)]),),
    arch_points=np.array([(-20.0, 20, 0), (0, 0, 0), (20, 20, 0)]),
    midline=(0, 0, 0),
)


def test_what_was_found_keeps_its_doubt_until_a_hand_moves_it():
    found = replace(PLAN.stent_axes[0], offset_sd_mm=0.03, direction_sd_deg=0.3, diameter_mm=2.9)
    plan = replace(PLAN, stent_axes=(found,))
    again = parse(document_of(plan)).stent_axes[0]
    assert (again.offset_sd_mm, again.direction_sd_deg) == (0.03, 0.3)
    assert again.found
    moved = edit_marks.with_mark_moved(plan, mark(plan, found.id, "occlusal"), (1, 0, 8))
    assert not moved.stent_axes[0].found
    assert "offset_sd_mm" not in document_of(moved)["stent_axes"][0]
    fitted = edit.with_diameter(PLAN, "canal-left", 2.8, sd_mm=0.22)
    assert parse(document_of(fitted)).structures[0].diameter_sd_mm == 0.22
    assert tubes_of(fitted.structures[0])[0].radius_sd_mm == pytest.approx(0.11)
    with pytest.raises(ValueError, match="negative"):
        replace(CANAL, diameter_sd_mm=-0.1)


def test_a_diameter_of_which_no_doubt_is_stated_stays_so_and_never_becomes_exact():
    typed = edit.with_diameter(fitted := edit.with_diameter(PLAN, "canal-left", 2.8, sd_mm=0.22),
                               "canal-left", 2.8)  # fmt: skip
    assert fitted.structures[0].diameter_sd_mm == 0.22
    written = document_of(typed)["structures"][0]
    assert "diameter_sd_mm" not in written
    again = parse(document_of(typed)).structures[0]
    assert again.diameter_sd_mm is None
    assert tubes_of(again)[0].radius_sd_mm == pytest.approx(0.175)
    # Nobody can read a diameter without a doubt, so no plan can say so.
    exact = document_of(typed)
    exact["structures"][0]["diameter_sd_mm"] = 0.0
    with pytest.raises(PlanError, match="above 0"):
        parse(exact)


def mark(plan, owner, part):
    found = [m for m in marks_of(plan) if (m.owner, m.part) == (owner, str(part))]
    assert len(found) == 1
    return found[0]


def same_but(before, after, name):
    """True where everything outside one field is the very same object."""
    return all(
        getattr(before, f) is getattr(after, f) for f in Plan.__dataclass_fields__
        if f not in (name, "limits", "reasons", "accepted", "arch_points", "midline")
    )  # fmt: skip


def test_every_hand_placed_point_has_one_address():
    marks = marks_of(PLAN)
    assert len(marks) == 3 + 3 + 2 + 2 + 1 + 2 + 2 + 3 + 3 + 1
    assert len({m.key for m in marks}) == len(marks)
    assert [m.seen for m in marks if m.owner == "canal-left"] == ["yes", "faint", "no"]
    assert str(mark(PLAN, "canal-left", 2).words()) == "canal left: mark 3"
    assert str(mark(PLAN, "foramen-left", "mesial").words()) == "foramen left: mesial edge"
    assert str(mark(PLAN, "stent-axis-1", "occlusal").words()) == "stent axis 1: occlusal end"


@pytest.mark.parametrize("key", [m.key for m in marks_of(PLAN)])
def test_any_mark_moves_alone(key):
    before = mark_at(PLAN, key)
    target = before.point_mm + np.array((0.5, -0.25, 1.0))
    after = edit_marks.with_mark_moved(PLAN, before, target)
    for m in marks_of(PLAN):
        now = mark_at(after, m.key)
        expected = target if m.key == key else m.point_mm
        assert np.allclose(now.point_mm, expected)
        assert now.seen == m.seen
    assert np.array_equal(mark_at(PLAN, key).point_mm, before.point_mm)


@pytest.mark.parametrize(
    ("point", "index"),
    [
        ((19, -1, 0), 0),  # before the first
        ((22, 2.5, 0.3), 1),  # beside the first piece
        ((27, 8, 0), 2),  # beside the second piece
        ((33, 12, 0), 3),  # beyond the last
    ],
)
def test_a_new_mark_goes_where_it_lies_along_the_curve(point, index):
    plan, got = edit_marks.with_mark_added(PLAN, "canal-left", point)
    canal = edit.find(plan, "canal-left")
    assert got == index
    assert np.allclose(canal.points[index], point)
    assert np.allclose(np.delete(canal.points, index, axis=0), CANAL.points)
    assert canal.seen[index] == "yes"
    assert tuple(np.delete(canal.seen, index)) == CANAL.seen
    assert same_but(PLAN, plan, "structures")


@given(st.permutations(range(6)))
def test_marks_of_a_smooth_curve_in_any_order_come_out_in_order_along_it(order):
    # Points of an arc clicked in any order: the first two give the direction.
    turn = np.linspace(0, 1.2, 6)
    arc = 30 * np.stack([np.sin(turn), 1 - np.cos(turn), 0 * turn], axis=1)
    plan = edit.with_structure(Plan(), Course(id="c", kind="canal", points=arc[order[0]][None, :]))
    for i in order[1:]:
        plan, _ = edit_marks.with_mark_added(plan, "c", arc[i])
    x = edit.find(plan, "c").points[:, 0]
    assert (np.diff(x) > 0).all() or (np.diff(x) < 0).all()


def test_a_floors_marks_stay_in_the_order_they_were_clicked():
    plan, index = edit_marks.with_mark_added(PLAN, "sinus-right", (1, 0, 0))
    assert index == 2
    assert edit.find(plan, "sinus-right").points[2] == pytest.approx((1, 0, 0))


def test_what_cannot_stand_without_a_mark_goes_with_it():
    shorter = edit_marks.without_mark(PLAN, mark(PLAN, "canal-left", 1))
    assert edit.find(shorter, "canal-left").seen == ("yes", "no")
    assert len(edit.find(shorter, "canal-left").points) == 2
    assert edit.find(edit_marks.without_mark(PLAN, mark(PLAN, "root-35", 0)), "root-35") is None
    no_upper = edit_marks.without_mark(PLAN, mark(PLAN, "foramen-left", "upper"))
    assert edit.find(no_upper, "foramen-left").upper is None
    gone = edit_marks.without_mark(PLAN, mark(PLAN, "foramen-left", "distal"))
    assert edit.find(gone, "foramen-left") is None
    for owner in ("ruler-1", "angle-1", "mark-1"):
        assert edit.find(edit_marks.without_mark(PLAN, mark(PLAN, owner, 0)), owner) is None
    assert edit_marks.without_mark(PLAN, mark(PLAN, "midline", 0)).midline is None
    two = edit_marks.without_mark(PLAN, mark(PLAN, "arch", 1))
    assert len(two.arch_points) == 2
    assert edit_marks.without_mark(two, mark(two, "arch", 1)).arch_points is None


def test_a_course_of_its_own_does_not_outlive_the_marks_it_was_made_from():
    tracked = replace(CANAL, course=[(20, 0, 0), (30, 10, 0)], course_by="LM")
    plan = edit.with_structure(Plan(), tracked)
    moved = edit_marks.with_mark_moved(plan, mark(plan, "canal-left", 0), (21, 0, 0))
    added, _ = edit_marks.with_mark_added(plan, "canal-left", (33, 12, 0))
    fewer = edit_marks.without_mark(plan, mark(plan, "canal-left", 0))
    for after in (moved, added, fewer):
        canal = edit.find(after, "canal-left")
        assert canal.course is None
        assert canal.course_by == ""


def test_what_is_locked_is_refused_everywhere():
    plan = edit.with_lock(PLAN, "canal-left", locked=True)
    at = mark(plan, "canal-left", 0)
    for change in (
        lambda: edit_marks.with_mark_moved(plan, at, (0, 0, 0)),
        lambda: edit_marks.without_mark(plan, at),
        lambda: edit_marks.with_mark_added(plan, "canal-left", (0, 0, 0)),
        lambda: edit_marks.with_mark_seen(plan, at, "no"),
        lambda: edit.with_diameter(plan, "canal-left", 3.0),
        lambda: edit.without(plan, "canal-left"),
        lambda: edit.renamed(plan, "canal-left", "other"),
        lambda: edit.with_structure(plan, CANAL),
    ):
        with pytest.raises(PlanError) as refused:
            change()
        assert refused.value.code == "edit-locked"
        assert "Canal left is locked" in str(refused.value)
    again = edit.with_lock(plan, "canal-left", locked=False)
    assert edit_marks.with_mark_moved(again, at, (0, 0, 0)) is not None


def test_a_new_name_takes_declarations_and_unknown_keys_along():
    raw = document_of(PLAN)
    raw["structures"][0]["colour of the operator's own"] = 7
    plan = parse(raw)
    plan = replace(
        plan, declared=(Declaration(structure="canal-left", state="looked for, not visible"),)
    )
    named = edit.renamed(plan, "canal-left", "Canal, the LEFT one")
    assert edit.find(named, "canal-the-left-one").points == pytest.approx(CANAL.points)
    assert named.declared[0].structure == "canal-the-left-one"
    written = document_of(named)["structures"][0]
    assert written["id"] == "canal-the-left-one"
    assert written["colour of the operator's own"] == 7
    assert raw["structures"][0]["id"] == "canal-left"


def test_marks_and_rulers_keep_their_id_and_get_a_label():
    assert edit.find(edit.renamed(PLAN, "mark-1", " odd spot "), "mark-1").label == "odd spot"
    assert edit.find(edit.renamed(PLAN, "ruler-1", "gap"), "ruler-1").label == "gap"


@pytest.mark.parametrize(
    ("words", "code"), [("!?", "edit-name-empty"), ("Root 35", "edit-name-taken")]
)
def test_names_that_cannot_be_told_apart_are_refused(words, code):
    with pytest.raises(PlanError) as refused:
        edit.renamed(PLAN, "canal-left", words)
    assert refused.value.code == code


@given(st.text(max_size=30))
def test_an_id_made_of_words_can_stand_in_a_plan_file(words):
    made = id_from(words)
    assert set(made) <= set("abcdefghijklmnopqrstuvwxyz0123456789-")
    assert not made.startswith("-")
    assert not made.endswith("-")


def test_new_ids_are_free():
    assert edit.new_id(PLAN, "canal-right") == "canal-right"
    assert edit.new_id(PLAN, "canal-left") == "canal-left-2"
    assert edit.numbered_id(PLAN, "ruler") == "ruler-2"


def test_seen_diameter_removal():
    plan = edit_marks.with_mark_seen(PLAN, mark(PLAN, "canal-left", 0), "faint")
    assert edit.find(plan, "canal-left").seen == ("faint", "faint", "no")
    assert edit.find(edit.with_diameter(PLAN, "canal-left", 2.9), "canal-left").diameter_mm == 2.9
    removed = edit.with_removal(PLAN, "root-35", to_be_removed=True)
    assert edit.find(removed, "root-35").to_be_removed
    with pytest.raises(ValueError, match="no such thing"):
        edit.with_diameter(PLAN, "root-35", 2.9)


def test_a_declaration_replaces_the_one_before_and_needs_its_reason():
    plan = edit.with_declaration(
        PLAN, "loop", "looked for, not visible", reason="", by="LM", at="2026-01-02T10:00:00+01:00"
    )
    plan = edit.with_declaration(
        plan, "loop", "not near this site", reason=" 20 mm away ", by="LM", at="later"
    )
    assert [(d.structure, d.state, d.reason) for d in plan.declared] == [
        ("loop", "not near this site", "20 mm away")
    ]
    assert edit.without_declaration(plan, "loop").declared == ()
    with pytest.raises(PlanError) as refused:
        edit.with_declaration(PLAN, "loop", "not near this site", reason=" ", by="", at="")
    assert refused.value.code == "plan-reason-missing"


@pytest.mark.parametrize("left", [True, False])
@pytest.mark.parametrize("swapped", [True, False])
def test_the_mesial_edge_of_a_foramen_is_the_one_nearer_to_the_midline(left, swapped):
    # LPS: x grows to the patient's left, y backwards; the arch bows forwards (towards -y).
    arch = Arch.trace(
        [(-25, 25, 0), (-18, 5, 0), (0, -5, 0), (18, 5, 0), (25, 25, 0)],
        level=Level(origin=(0, 0, 0), up=(0, 0, 1)),
    )
    side = 1.0 if left else -1.0
    front, back = (side * 18, 5, -8), (side * 20, 8, -8)
    edges = [back, front] if swapped else [front, back]
    foramen = edit.foramen_of(Plan(), arch, "f", edges)
    assert foramen.mesial == pytest.approx(front)
    assert foramen.distal == pytest.approx(back)
