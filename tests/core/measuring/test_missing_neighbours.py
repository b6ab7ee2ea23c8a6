"""A neighbour that is missing as such: no limit to it, with the reason; silence is never that."""

from __future__ import annotations

from dataclasses import replace

import pytest

from core import measure
from core.plans.plan import Declaration, Site
from tests.sheet_material import fixture_at, plan_with, round_jaw

VOLUME = round_jaw(voxel_mm=1.0)
AT = {"35": 38.0, "36": 15.0, "37": 0.0}


def rows(plan):
    return {m.target: m for m in measure(plan, VOLUME, fine=False).of("36") if m.group == "roots"}


def missing(tooth, state="tooth missing", reason="taken out in 2019"):
    return Declaration(structure=f"root-{tooth}", state=state, reason=reason, by="LM")


def bare(*fixtures, declared=()):
    """36, its neighbours not marked."""
    plan = plan_with(fixture_at(AT["36"], "36"), *fixtures)
    courses = tuple(s for s in plan.structures if s.id == "canal-left")
    return replace(plan, structures=courses, declared=declared)


def test_a_free_end_has_no_limit_behind_it_once_the_neighbour_is_declared_missing():
    """Nothing stands behind 36 any more; 35 is marked nowhere and stays asked for."""
    before, after = rows(bare()), rows(bare(declared=(missing("37"),)))
    assert {t: m.verdict for t, m in before.items()} == {
        "root-35": "not assessed", "root-37": "not assessed",
    }  # fmt: skip
    assert after["root-37"].verdict is None
    assert after["root-37"].value is None
    (note,) = after["root-37"].reading.notes
    assert "the tooth is missing (LM: taken out in 2019)" in note.message
    assert after["root-35"].verdict == "not assessed"


@pytest.mark.parametrize("state", ["looked for, not visible", "outside the scanned region"])
def test_a_neighbour_that_was_only_not_seen_still_counts_as_not_met(state):
    row = rows(bare(declared=(missing("37", state),)))["root-37"]
    assert row.verdict == "not assessed"


def test_of_two_gaps_side_by_side_the_other_fixture_stands_for_the_root():
    """35 and 36 are both planned: the distance between the fixtures is judged, no root is asked."""
    found = rows(bare(fixture_at(AT["35"], "35")))
    assert "root-35" not in found
    assert found["35"].limit is not None
    assert found["35"].value is not None
    assert found["root-37"].verdict == "not assessed"


def test_of_two_gaps_of_which_one_is_planned_the_other_is_declared_and_says_so():
    plan = bare(declared=(missing("35", reason="never there"), missing("37")))
    found = rows(plan)
    assert {t: m.verdict for t, m in found.items()} == {"root-35": None, "root-37": None}
    assert "never there" in found["root-35"].reading.notes[0].message


def test_a_gap_that_is_only_looked_at_does_not_stand_for_a_root():
    """A site without a fixture keeps nothing away: the neighbour must still be settled."""
    plan = replace(bare(), sites=(Site(id="35", tooth="35", station_mm=60.0),))
    assert rows(plan)["root-35"].verdict == "not assessed"
