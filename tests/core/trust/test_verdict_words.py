"""Which rows are counted, and how verdicts and what they are of read."""

from __future__ import annotations

import pytest

from core.measurement import MARKED, Budget, Limit, Measurement, Note, Reading, Term
from core.measurement_kinds import (
    ClearanceDetails,
    DepthDetails,
    MeasurementKind,
    RemainingBoneDetails,
)
from core.trust.verdict import (
    is_judged,
    is_missed,
    judged_words,
    shown_verdict,
    target_words,
    verdict_words,
)

LIMIT = Limit(key="canal", value=2.0, lower_line=1.0, source="s", default=2.0)
DOUBT = Budget(terms=(Term(name="placement", u=0.1, source="s"),))


def row(verdict="meets limit", *, group="bone", limit=None, value=3.0, **other):
    notes = (Note("x"),) if value is None else ()
    return Measurement(
        id="r", group=group, kind=other.pop("kind", MeasurementKind.CLEARANCE), fixture="36",
        reading=Reading(value=value, evidence=MARKED, notes=notes), budget=DOUBT, limit=limit,
        verdict=verdict, **other,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("group", "limit", "verdict", "counted"),
    [("bone", LIMIT, "meets limit", True), ("bone", None, "not assessed", False),
     ("information", None, "not assessed", False), ("danger", None, "not assessed", True),
     ("roots", None, "not assessed", True), ("danger", LIMIT, None, False),
     ("bone", None, None, False)],
)  # fmt: skip
def test_counted_are_rows_with_a_limit_and_what_is_expected(group, limit, verdict, counted):
    told = row(verdict, group=group, limit=limit)
    assert is_judged(told) is counted
    assert shown_verdict(told) == (verdict if counted else None)


@pytest.mark.parametrize(
    ("verdict", "missed"),
    [("meets limit", False), ("too near to tell", True), ("below limit", True),
     ("not assessed", True)],
)  # fmt: skip
def test_only_a_met_limit_is_not_missed(verdict, missed):
    assert is_missed(row(verdict, limit=LIMIT)) is missed
    assert not is_missed(row(verdict))


def test_a_row_without_a_limit_says_that_it_was_not_measured_or_nothing():
    assert judged_words(row("not assessed", value=None)) == "not measured"
    assert judged_words(row(None)) == ""
    assert judged_words(row("below limit", limit=LIMIT)) == verdict_words("below limit")
    assert judged_words(row("not assessed", limit=LIMIT, value=None)) == "not assessed"
    assert verdict_words(None) == ""
    assert len({verdict_words(v) for v in ("meets limit", "too near to tell", "below limit")}) == 3


def named(jaw="lower", **other):
    return str(target_words(row(**other), jaw=jaw))


def test_what_a_row_is_of():
    assert "canal" in named(target="canal-left")
    assert named(target="canal-left-deep") == named(target="canal-left")
    # A fixture's id alone would be read as a tooth.
    other = named(target="37", details=ClearanceDetails(of="fixture"))
    assert other != named(target="37")
    assert "37" in other
    bone = {"kind": MeasurementKind.REMAINING_BONE}
    assert named(details=RemainingBoneDetails(), **bone) == "remaining bone"


def test_a_side_is_palatal_in_an_upper_jaw_and_lingual_in_a_lower_one():
    def told(side, jaw):
        details = RemainingBoneDetails(side=side)
        return named(jaw, kind=MeasurementKind.REMAINING_BONE, details=details)

    assert "palatal" in told("lingual", "upper")
    assert "lingual" in told("lingual", "lower")
    assert "buccal" in told("buccal", "upper")
    assert told("buccal", "upper") == told("buccal", "lower")


def test_around_the_apex_no_single_side_is_named():
    around = named(target="bone surface", details=ClearanceDetails(side="apical"))
    assert "around the apex" in around


def test_a_depth_says_what_is_how_deep_and_from_where():
    depth = {"kind": MeasurementKind.DEPTH}
    plain = named(details=DepthDetails(of="drill to the apex"), **depth)
    counted = named(
        details=DepthDetails(of="drill to the apex", counted_from="buccal rim"), **depth
    )
    assert plain in counted
    assert "the buccal bone edge" in counted
    assert "bone edge" not in plain
