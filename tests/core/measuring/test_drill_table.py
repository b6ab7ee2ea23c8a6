"""The user's drill table and what follows from it at a fixture."""

from __future__ import annotations

from dataclasses import replace

import pytest

from core.errors import PlanError
from core.measurement import Measurement, Reading
from core.measuring.drill_table import ANY_DRILL, Drill, drilling_plan, read_drills
from core.plans.limits import limit_for
from core.plans.plan import OwnHand
from core.trust.verdict import least_allowed
from tests.details import details_of
from tests.sheet_material import arch_of, fixture_at, ledger_of, plan_with, round_jaw

TABLE = """name,diameter_mm,marks_mm,marks_include_tip,tip_mm
pilot,2.0,6 8 10 12,no,0.6
second,2.8,,,
third,3.5,8 10,yes,
"""


def test_a_table_is_read():
    pilot, second, third = read_drills(TABLE)
    assert pilot == Drill(
        name="pilot", diameter_mm=2.0, marks_mm=(6, 8, 10, 12), marks_include_tip="no", tip_mm=0.6
    )
    assert second.marks_include_tip == "don't know"
    assert (pilot.beyond_mm, second.beyond_mm, third.beyond_mm) == (0.6, 1.5, 0.0)
    assert read_drills("\ufeff" + TABLE.replace(",", ";")) == (pilot, second, third)


@pytest.mark.parametrize(
    ("depth", "mark"), [(12.0, 12.0), (11.99, 10.0), (6.0, 6.0), (5.99, None), (13.9, 12.0),
                        (14.0, None), (40.0, None)],
)  # fmt: skip
def test_never_a_mark_that_is_deeper_nor_one_that_does_not_tell(depth, mark):
    assert read_drills(TABLE)[0].mark_for(depth) == mark


@pytest.mark.parametrize(
    ("row", "code"),
    [
        ("", "drills-empty"),
        (",2.0,,,", "drills-row"),
        ("a,zero,,,", "drills-row"),
        ("a,-2,,,", "drills-row"),
        ("a,nan,,,", "drills-row"),
        ("a,inf,,,", "drills-row"),
        ("a,2,8 6,,", "drills-row"),
        ("a,2,8 8,,", "drills-row"),
        ("a,2,8 x,,", "drills-row"),
        ("a,2,every,,", "drills-row"),
        ("a,2,every 0,,", "drills-row"),
        ("a,2,every 0.5 1,,", "drills-row"),
        ("a,2,,perhaps,", "drills-row"),
        ("a,2,,no,-1", "drills-row"),
        ("a,200,,no,", "drills-row"),
        ("\n".join(["a,2,,,"] * 21), "drills-too-many"),
    ],
)
def test_nonsense_is_refused_with_its_row(row, code):
    with pytest.raises(PlanError) as refusal:
        read_drills(TABLE.splitlines()[0] + "\n" + row + "\n")
    assert refusal.value.code == code
    assert str(refusal.value).count(". ") >= 2  # what, why it matters, what to do


def test_a_table_without_its_columns_is_refused():
    for text in ("", "\n", "a,b\n1,2\n", "\x00\x01"):
        with pytest.raises(PlanError) as refusal:
            read_drills(text)
        assert refusal.value.code == "drills-column"


def case(length):
    """Canal roof at z = 6.5, platform at 20: an apex at 20 - length."""
    plan = plan_with(fixture_at(20.0, "36", length_mm=length))
    return plan.fixtures[0], plan, round_jaw(voxel_mm=2.0), ledger_of(plan), arch_of(plan)


def test_the_tip_is_warned_of_where_only_the_tip_misses_the_limit():
    """By hand: 13.5 - 10.5 = 3.0 mm to the canal, and 1.5 with a tip of 1.5; the limit is 2.0."""
    known, unknown = drilling_plan(*case(10.5), drills=(
        Drill(name="a", diameter_mm=2.0, marks_include_tip="yes"), ANY_DRILL,
    ))  # fmt: skip
    assert known.tip_rows == ()
    (worse,) = unknown.worse
    assert worse.target == "canal-left"
    assert worse.value == pytest.approx(1.5, abs=0.01)
    assert least_allowed(worse.limit) == 2.0


def test_no_warning_where_the_fixture_itself_misses_it_or_both_meet_it():
    for length in (12.5, 6.0):
        (plan,) = drilling_plan(*case(length))
        assert plan.worse == ()
        assert plan.tip_rows


def test_missing_rims_gum_and_stent_are_no_depths():
    (plan,) = drilling_plan(*case(8.0))
    assert [d.counted_from for d in plan.depths] == ["buccal rim", "highest rim", "gum",
                                                     "stent top"]  # fmt: skip
    assert all(d.mark_mm is None and d.reading.notes for d in plan.depths)


def test_marks_at_every_step_and_their_words_read_back():
    (drill,) = read_drills("name,diameter_mm,marks_mm\na,2.0,every 1\n")
    assert drill.mark_for(9.99) == 9.0
    for each in (drill, *read_drills(TABLE)):
        (again,) = read_drills(f"name,diameter_mm,marks_mm\na,2.0,{each.marks_words}\n")
        assert (again.marks_mm, again.step_mm) == (each.marks_mm, each.step_mm)


def test_a_tip_is_held_against_roots_and_other_fixtures_too():
    """By hand: apices 8 below z = 20, 10 mm apart along x; a tip of 2.4 on an axis that leans."""
    first = fixture_at(20.0, "36")
    plan = plan_with(first, fixture_at(40.0, "35"))
    ledger = ledger_of(plan)
    (found,) = drilling_plan(
        first, plan, round_jaw(voxel_mm=2.0), ledger, arch_of(plan),
        (Drill(name="long", diameter_mm=2.0, marks_include_tip="no", tip_mm=2.4),),
    )  # fmt: skip
    assert {m.target for m in found.tip_rows} == {"canal-left", "root-35", "35"}
    by_target = {m.target: m for m in found.tip_rows}
    # Straight below the apex lies the canal's roof at z = 6.5: 20 - 8 - 6.5 - 2.4 = 3.1.
    assert by_target["canal-left"].value == pytest.approx(3.1, abs=0.01)
    assert by_target["35"].limit.key == "fixture-deep"
    assert by_target["root-35"].limit.key == "root-deep"


@pytest.mark.parametrize(("tip", "value"), [(0.6, 4.0), (1.5, 4.0), (2.4, 3.1)])
def test_a_longer_tip_comes_nearer_to_the_outside_by_its_length_at_most(tip, value):
    plan = plan_with(fixture_at(20.0, "36"))
    ledger = ledger_of(plan)
    below = Measurement(
        id="36/clearance/bone surface/apical/tip", group="danger", fixture="36", kind="clearance",
        target="bone surface", reading=Reading(value=4.0),
        details=details_of("clearance", {"side": "apical", "with_tip_mm": 1.5}),
        limit=limit_for("tip", plan),
    )  # fmt: skip
    ledger = replace(ledger, measurements=(*ledger.measurements, below))
    drill = Drill(name="a", diameter_mm=2.0, marks_include_tip="no", tip_mm=tip)
    (found,) = drilling_plan(
        plan.fixtures[0], plan, round_jaw(voxel_mm=2.0), ledger, arch_of(plan), (drill,)
    )
    row = next(m for m in found.tip_rows if m.target == "bone surface")
    assert row.value == pytest.approx(value)
    assert ("2.4 mm" in " ".join(n.message for n in row.reading.notes)) is (tip == 2.4)


def test_a_tips_clearance_bears_the_doubt_of_the_hand_that_the_plan_names():
    fixture, plan, volume, ledger, arch = case(8.0)
    hand = OwnHand(person="LM", sd_mm=0.8, marks=12, placings=60, studied="2026-09-01")
    drill = Drill(name="long", diameter_mm=2.0, marks_include_tip="no", tip_mm=1.5)
    (usual,) = drilling_plan(fixture, plan, volume, ledger, arch, (drill,))
    own = replace(plan, own_hand=hand)
    (wider,) = drilling_plan(fixture, own, volume, ledger, arch, (drill,))
    for before, after in zip(usual.tip_rows, wider.tip_rows, strict=True):
        usual_u, own_u = ({t.name: t.u for t in m.budget.terms} for m in (before, after))
        assert own_u["placement"] == pytest.approx(usual_u["placement"] * 0.8 / 0.25), after.target


def test_drills_that_reach_equally_far_share_what_their_tips_come_near_to():
    one, same, longer = (
        Drill(name=name, diameter_mm=2.0, marks_include_tip="no", tip_mm=tip)
        for name, tip in (("a", 0.6), ("b", 0.6), ("c", 1.2))
    )
    first, second, third = drilling_plan(*case(10.5), drills=(one, same, longer))
    assert first.tip_rows is second.tip_rows
    # By hand: 3.0 mm from apex to canal, less the tip.
    near = [next(m for m in p.tip_rows if m.target == "canal-left").value for p in (first, third)]
    assert near == pytest.approx([2.4, 1.8], abs=0.01)
