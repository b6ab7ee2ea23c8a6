"""Answers about the side, and what goes along when the direction turns."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from core.direction import SideAnswers
from core.errors import PlanError
from core.fixture import Fixture, FixtureSize
from core.identity import Tooth
from core.level import Level
from core.plans import edit_side
from core.plans.plan import Plan, SideCheck, Site
from core.plans.side import contradictions, misfits, open_question, side_here, traced
from core.structures import Course, Foramen, Tapered

FLAT = Level(origin=(0, 0, 0), up=(0, 0, 1))
SIZE = FixtureSize(diameter_mm=4.0, length_mm=10.0)
STRAIGHT = np.array([(20.0, 0, 0), (21.5, 18, 0), (23.0, 36, 0)])
WHOLE = np.array([(-25, 25, 0), (-18, 5, 0), (0, -5, 0), (18, 5, 0), (25, 25, 0)], float)
LEFT = SideCheck(side="left", against="chart", by="LM")


def a_canal(name):
    return Course(id=name, kind="canal", points=STRAIGHT - (0, 0, 12), diameter_mm=3.0,
                  seen=("yes",) * 3)  # fmt: skip


def back_piece(**more):
    return Plan(jaw="lower", level=FLAT, arch_points=STRAIGHT, **more)


def root(tooth, y):
    return Tapered(id=f"root-{tooth}", kind="root", tooth=tooth, diameters_mm=(5.0, 2.0),
                   points=[(21.0, y, 0), (21.0, y, -12)])  # fmt: skip


def test_a_small_back_scan_is_settled_by_what_a_dentist_can_see():
    plan = back_piece()
    asked = []
    for answer in (
        lambda p: edit_side.with_region(p, "left back"),
        lambda p: edit_side.with_front_end(p, STRAIGHT[0]),
        lambda p: edit_side.with_cheek(p, STRAIGHT[1], (1, 0, 0)),
    ):
        asked.append(open_question(plan, traced(plan)))
        plan = answer(plan)
    assert asked == ["teeth", "front end", "tongue"]
    arch = traced(plan)
    assert arch.direction.state == "settled"
    assert arch.frame(10.0).buccal[0] > 0.9
    assert not contradictions(plan, arch)


def test_marked_roots_stand_in_for_the_question_about_the_front_end():
    plan = back_piece(
        side_answers=SideAnswers(region="left back"), structures=(root("35", 6), root("37", 26))
    )
    assert open_question(plan, traced(plan)) == "tongue"
    turned = replace(plan, structures=(root("35", 26), root("37", 6)))
    assert [f.code for f in contradictions(turned, traced(turned))] == ["side-signs-disagree"]


def test_what_was_named_by_the_wrong_side_is_renamed_with_it():
    plan = back_piece(structures=(a_canal("canal-right"),))
    named = edit_side.with_region(plan, "left back")
    assert [s.id for s in named.structures] == ["canal-left"]
    back = edit_side.with_region(named, "right back")
    assert [s.id for s in back.structures] == ["canal-right"]
    locked = replace(plan, locked=("canal-right",))
    assert [s.id for s in edit_side.with_region(locked, "left back").structures] == ["canal-right"]


def test_a_turned_direction_asks_again_and_moves_what_counts_from_its_end():
    foramen = Foramen(id="foramen-left", mesial=STRAIGHT[0] - (0, 0, 9), distal=(21, 4, -9))
    plan = back_piece(
        side_answers=SideAnswers(region="left back"), side_check=LEFT, structures=(foramen,),
        sites=(Site(id="36", tooth="36", station_mm=8.0),),
    )  # fmt: skip
    before = traced(plan).frame(8.0).origin
    turned = edit_side.with_region(plan, "right back")
    assert turned.side_check is None, "compared for another side: asked again"
    assert traced(turned).frame(turned.sites[0].station_mm).origin == pytest.approx(before)
    assert turned.structures[0].id == "foramen-right"
    # Turned, and of the other side: the front teeth are where they were.
    assert turned.structures[0].mesial == pytest.approx(foramen.mesial)
    same = edit_side.with_region(plan, "left back")
    assert same.side_check == LEFT


def test_retracing_the_other_way_round_is_noticed():
    plan = Plan(level=FLAT, jaw="lower", arch_points=WHOLE, side_check=LEFT)
    assert edit_side.side_kept(plan, replace(plan, arch_points=WHOLE[::-1])).side_check == LEFT
    bowed_back = WHOLE * (1, -1, 1)
    assert edit_side.side_kept(plan, replace(plan, arch_points=bowed_back)).side_check is None


def test_a_locked_arch_takes_no_answer():
    with pytest.raises(PlanError, match="locked"):
        edit_side.with_region(replace(back_piece(), locked=("arch",)), "front")


def test_a_mark_is_called_after_the_side_of_the_teeth_not_of_the_scanners_origin():
    # A small field round the left molars: x = 0 is the field's own middle.
    shifted = replace(back_piece(), arch_points=STRAIGHT - (40, 0, 0))
    assert side_here(shifted, -19.0) == "right"
    told = edit_side.with_region(shifted, "left back")
    assert side_here(told, -19.0) == "left"


def test_a_number_that_does_not_fit_is_said():
    plan = Plan(level=FLAT, jaw="lower", arch_points=WHOLE, structures=(root("35", 12),))
    left, right = (21.0, 17, 0), (-21.0, 17, 0)
    assert misfits(plan, Tooth.of("36"), left) == []
    (side,) = misfits(plan, Tooth.of("36"), right)[:1]
    assert "does not fit its place" in side
    (order,) = misfits(plan, Tooth.of("34"), left)
    assert "order of their numbers" in order
    (jaw,) = misfits(plan, Tooth.of("26"), left)
    assert "lower jaw" in jaw
    placed = Fixture(id="46", tooth="46", platform=left, towards_apex=(0, 0, -1), size=SIZE)
    wrong = replace(plan, fixtures=(placed,))
    assert misfits(wrong, Tooth.of("36"), left, replaces="46") == []
