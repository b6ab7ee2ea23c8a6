"""The ledger of plans that go wrong: nothing unmarked, misplaced or misnamed looks measured."""

from __future__ import annotations

import json
import time
from dataclasses import replace
from datetime import datetime

import numpy as np
import pytest

import sample_volumes
from core import load_plan, open_scan
from core.errors import PlanError
from core.level import Level
from core.measuring.assemble import measure, moment
from core.plans.plan import Declaration, SideCheck
from core.structures import Course, Foramen, Tapered


@pytest.fixture(scope="module")
def volume():
    return open_scan(sample_volumes.path("lower_left_36"))


@pytest.fixture(scope="module")
def plan():
    return load_plan(sample_volumes.path("lower_left_36.plan.json"))


def quick(plan, volume):
    return measure(plan, volume, fine=False, made_at="2026-11-01T10:00:00+00:00")


def mirrored(structure, middle_x=1.6593):
    """The same structure on the other side of the mouth."""
    points = np.array(structure.points) * (-1, 1, 1) + np.array([2 * middle_x, 0, 0])
    return replace(structure, id=structure.id.replace("left", "right"), points=points)


def without(plan, *kinds):
    return tuple(
        s
        for s in plan.structures
        if getattr(s, "kind", "foramen" if isinstance(s, Foramen) else "") not in kinds
    )


def codes(items):
    return [item.code for item in items]


def not_marked(ledger):
    return {
        m.target
        for m in ledger.measurements
        if m.verdict == "not assessed" and "not-marked" in codes(m.reading.notes)
    }


@pytest.mark.parametrize("with_midline", [True, False])
def test_a_canal_of_the_other_side_does_not_stand_for_this_one(plan, volume, with_midline):
    canal = next(s for s in plan.structures if s.id == "canal-left")
    changed = replace(
        plan,
        structures=(*without(plan, "canal", "loop", "foramen"), mirrored(canal)),
        midline=plan.midline if with_midline else None,
    )
    ledger = quick(changed, volume)
    assert {"canal", "foramen"} <= not_marked(ledger)
    assert not [m for m in ledger.measurements if m.target == "canal-right"]
    assert ("no-midline" in codes(ledger.findings)) is not with_midline


def test_a_fixture_without_a_tooth_is_still_asked_for_canal_and_foramen(plan, volume):
    nameless = replace(plan.fixtures[0], tooth="")
    changed = replace(plan, fixtures=(nameless,), sites=(), structures=())
    ledger = quick(changed, volume)
    assert not_marked(ledger) == {"canal", "foramen"}
    assert "no-tooth-named" in codes(ledger.findings)


def test_a_plan_in_another_place_is_refused(plan, volume):
    away = replace(plan.fixtures[0], platform=np.add(plan.fixtures[0].platform, (0.0, 3.0, 200.0)))
    with pytest.raises(PlanError, match="Nothing was scanned where fixture 36 stands"):
        quick(replace(plan, fixtures=(away,)), volume)


def test_a_mark_outside_the_scan_gives_no_distance(plan, volume):
    canal = next(s for s in plan.structures if s.id == "canal-left")
    outside = replace(canal, points=np.add(canal.points, (40.0, 0.0, 0.0)))
    others = tuple(s for s in plan.structures if s is not canal)
    row = quick(replace(plan, structures=(*others, outside)), volume).get("36/clearance/canal-left")
    assert row.value is None
    assert row.verdict == "not assessed"
    assert "mark-outside-scan" in codes(row.reading.notes)


def test_a_jaw_plane_upside_down_is_refused(plan, volume):
    turned = Level(origin=plan.level.origin, up=-plan.level.up)
    with pytest.raises(PlanError, match="does not point towards the patient's head"):
        quick(replace(plan, level=turned), volume)


def test_a_fixture_that_points_to_the_crowns_is_refused(plan, volume):
    turned = replace(plan.fixtures[0], towards_apex=-plan.fixtures[0].towards_apex)
    with pytest.raises(PlanError, match="points towards the crowns"):
        quick(replace(plan, fixtures=(turned,)), volume)


def test_a_tooth_of_the_other_jaw_is_refused(plan, volume):
    with pytest.raises(PlanError, match="36, lower left first molar"):
        quick(replace(plan, jaw="upper"), volume)


def test_the_answered_side_is_held_against_the_place_also_without_a_tooth(plan, volume):
    nameless = replace(plan.fixtures[0], tooth="")
    wrong = SideCheck(side="right", against="chart", by="LM")
    changed = replace(plan, fixtures=(nameless,), sites=(), side_check=wrong)
    assert "place-against-side-check" in codes(quick(changed, volume).findings)
    right = replace(changed, side_check=replace(wrong, side="left"))
    assert "place-against-side-check" not in codes(quick(right, volume).findings)


def test_a_loop_without_a_diameter_is_not_assessed(plan, volume):
    loop = next(s for s in plan.structures if isinstance(s, Course) and s.kind == "loop")
    others = tuple(s for s in plan.structures if s is not loop)
    ledger = quick(replace(plan, structures=(*others, replace(loop, diameter_mm=None))), volume)
    assert ledger.get("36/clearance/loop-left").verdict == "not assessed"


def test_swapped_edges_of_a_foramen_do_not_lift_the_rule_of_the_unseen_loop(plan, volume):
    foramen = next(s for s in plan.structures if isinstance(s, Foramen))
    place = np.add(foramen.mesial, (0.0, -2.0, 12.0))
    fixture = replace(plan.fixtures[0], id="34", tooth="34", platform=place)
    others = tuple(s for s in without(plan, "loop") if s is not foramen)
    rows = {}
    for name, marked in (
        ("named", foramen),
        ("swapped", replace(foramen, mesial=foramen.distal, distal=foramen.mesial)),
    ):
        changed = replace(plan, fixtures=(fixture,), sites=(), structures=(*others, marked))
        rows[name] = quick(changed, volume).get("34/clearance/foramen-left/loop-unseen")
    assert rows["swapped"].value == pytest.approx(rows["named"].value, abs=1e-9)
    assert "foramen_edges_swapped" in codes(rows["swapped"].reading.notes)


def test_a_declared_structure_of_the_other_side_settles_nothing_here(plan, volume):
    foramen = next(s for s in plan.structures if isinstance(s, Foramen))
    middle = 2 * float(plan.midline[0])
    other = replace(
        foramen,
        id="foramen-right",
        mesial=np.add(foramen.mesial * (-1, 1, 1), (middle, 0, 0)),
        distal=np.add(foramen.distal * (-1, 1, 1), (middle, 0, 0)),
    )
    declared = Declaration(
        structure="foramen-right", state="not near this site", reason="other side", by="LM"
    )
    changed = replace(plan, structures=(*without(plan, "foramen"), other), declared=(declared,))
    assert "foramen" in not_marked(quick(changed, volume))


def test_a_marked_structure_that_is_declared_not_visible_counts_as_not_met(plan, volume):
    declared = Declaration(structure="canal-left", state="looked for, not visible", by="LM")
    row = quick(replace(plan, declared=(declared,)), volume).get("36/clearance/canal-left")
    assert row.verdict == "not assessed"
    assert "declared-not-visible" in codes(row.reading.notes)


def test_not_near_with_a_reason_leaves_the_summary_and_without_one_does_not(plan, volume):
    structures = without(plan, "foramen")
    for reason, verdict in (("two teeth away", None), ("", "not assessed")):
        declared = Declaration(structure="foramen", state="not near this site", reason=reason)
        ledger = quick(replace(plan, structures=structures, declared=(declared,)), volume)
        assert ledger.get("36/clearance/foramen").verdict == verdict


def test_two_fixtures_side_by_side_do_not_ask_for_each_others_roots(plan, volume):
    arch_step = np.array([0.9, 9.0, 0.8])
    second = replace(
        plan.fixtures[0], id="37", tooth="37", platform=plan.fixtures[0].platform + arch_step
    )
    structures = tuple(s for s in plan.structures if not s.id.startswith("root-37"))
    changed = replace(plan, fixtures=(plan.fixtures[0], second), structures=structures)
    ledger = quick(changed, volume)
    assert not {"root-36", "root-37"} & not_marked(ledger)
    assert ledger.get("36/clearance/37").verdict is not None
    ids = [m.id for m in ledger.measurements]
    assert len(ids) == len(set(ids))


def test_an_incisor_knows_its_neighbour_across_the_midline(plan, volume):
    x, y, z = plan.midline
    fixture = replace(
        plan.fixtures[0],
        id="31",
        tooth="31",
        platform=(x + 2.5, y + 0.5, z - 2),
        towards_apex=(0, 0, -1),
    )
    root = Tapered(
        id="root-41",
        kind="root",
        tooth="41",
        points=[(x - 3, y + 0.5, z), (x - 3, y + 1.0, z - 10)],
        diameters_mm=(3.0, 1.5),
    )
    changed = replace(plan, fixtures=(fixture,), sites=(), structures=(root,), side_check=None)
    ledger = quick(changed, volume)
    assert "root-41" not in not_marked(ledger)
    ids = [m.id for m in ledger.measurements]
    assert len(ids) == len(set(ids))


def test_a_void_sign_off_is_not_called_signed(plan, volume):
    from core.plans.history import sign

    signed = sign(plan, name="L. M.", role="dentist", at="2026-10-01T10:00:00+00:00")
    assert json.loads(quick(signed, volume).to_json())["plan"]["signed"] is True
    edited = replace(signed, midline=np.add(signed.midline, (0.1, 0, 0)))
    assert json.loads(quick(edited, volume).to_json())["plan"]["signed"] is False


def test_a_changed_limit_says_its_default_on_the_row(plan, volume):
    from core.plans.plan import ChangedLimit

    changed = replace(
        plan, limits={"canal": ChangedLimit(value=1.2, by="LM", reason="short ridge")}
    )
    row = quick(changed, volume).get("36/clearance/canal-left")
    note = next(n for n in row.reading.notes if n.code == "limit-changed-here")
    assert "1.20 mm in place of 2.00 mm, by LM" in note.message


def test_the_moment_of_a_ledger_can_be_asked_for(monkeypatch):
    """https://reproducible-builds.org/specs/source-date-epoch; 86400 s is a day after 1970."""
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "86400")
    assert moment() == "1970-01-02T00:00:00+00:00"
    for nonsense in ("", "soon", "-1", "9" * 20):
        monkeypatch.setenv("SOURCE_DATE_EPOCH", nonsense)
        assert abs(datetime.fromisoformat(moment()).timestamp() - time.time()) < 60.0
