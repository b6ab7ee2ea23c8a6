"""Shown figures never make a clearance larger or a doubt smaller than it is."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from core.measurement import Budget, Limit, Measurement, Reading, Term
from core.trust.figures import (
    down,
    is_overlap,
    labelled,
    nearest,
    plain,
    shown,
    shown_at_least,
    shown_lack,
    told,
    up,
)

BUDGET = Budget(terms=(Term(name="edge", u=0.1, source="test"),))


def row(value, kind="clearance", unit="mm", *, upper_bound=False):
    return Measurement(
        id="x",
        group="bone",
        kind=kind,
        fixture="36",
        reading=Reading(value=value, unit=unit, upper_bound=upper_bound),
        budget=BUDGET,
    )


@given(st.floats(-50, 50), st.sampled_from([1, 2]))
def test_down_is_never_above_and_up_never_below(value, decimals):
    # Floats that miss a decimal by rounding noise (1e-6 of a step) count as that decimal.
    noise = 2e-6 * 10.0**-decimals
    assert float(down(value, decimals)) <= value + noise
    assert float(up(value, decimals)) >= value - noise
    assert float(up(value, decimals)) - float(down(value, decimals)) <= 10.0**-decimals + 1e-9


@pytest.mark.parametrize(
    ("value", "shown_down", "shown_up"),
    [
        (0.29, "0.29", "0.29"),
        (1.999, "1.99", "2.00"),
        (-0.331, "-0.34", "-0.33"),
        (2.0, "2.00", "2.00"),
    ],
)
def test_rounding_by_hand(value, shown_down, shown_up):
    assert down(value, 2) == shown_down
    assert up(value, 2) == shown_up


def test_no_negative_zero():
    assert down(-0.0, 1) == up(-0.04, 1) == nearest(-0.04, 1) == "0.0"


def test_which_kind_is_rounded_which_way():
    assert shown(row(1.97)) == "1.9"
    assert shown(row(1.97, "ridge_width")) == "1.9"
    assert shown(row(1.91, "undercut_depth")) == "2.0"  # a deeper hollow is worse
    assert shown(row(3.66, "angle", "deg")) == "3.7"
    assert shown(row(1.978), decimals=2) == "1.97"


def test_at_least_is_value_less_guard_band_rounded_down():
    assert shown_at_least(row(2.0), decimals=2) == "1.83"  # 2 - 1.645 x 0.1 = 1.8355


def test_a_value_that_is_only_an_upper_bound_never_looks_like_a_least_one():
    traced_too_short = row(6.71, upper_bound=True)
    assert shown(traced_too_short) == "up to 6.8"
    assert shown_at_least(traced_too_short) == "–"


@pytest.mark.parametrize(
    ("value", "upper_bound", "line", "label", "in_table"),
    [
        (2.31, False, "2.3", "2.3", "2.31"),
        (0.0, False, "0.0", "0.0", "0.00"),
        (-0.21, False, "overlaps by 0.3", "overlap 0.3", "-0.21"),
        # Only an upper bound: it overlaps by that much or more.
        (
            -0.28,
            True,
            "overlaps by at least 0.2",
            "overlap 0.2 or more",
            "overlaps by at least 0.28",
        ),
        (6.71, True, "up to 6.8", "up to 6.8", "up to 6.71"),
    ],
)
def test_an_overlap_is_said_and_is_never_a_minus_with_a_bound(
    value, upper_bound, line, label, in_table
):
    found = row(value, upper_bound=upper_bound)
    assert (told(found), labelled(found)) == (line, label)
    assert shown(found, decimals=2) == in_table
    assert is_overlap(found) == (value < 0)


@pytest.mark.parametrize(
    ("value", "upper_bound", "line", "label"),
    [
        (0.4, False, "0.4", "0.4"),
        (-0.71, False, "outside by 0.8", "outside 0.8"),
        # Only an upper bound: at least so much of it is outside.
        (-0.78, True, "outside by at least 0.7", "outside 0.7 or more"),
        (1.21, True, "up to 1.3", "up to 1.3"),
    ],
)
@pytest.mark.parametrize("how", [("wall", ""), ("clearance", "bone surface")])
def test_what_is_out_of_the_bone_is_said_so_and_never_a_minus(value, upper_bound, line, label, how):
    kind, target = how
    found = replace(row(value, kind, upper_bound=upper_bound), target=target)
    assert (told(found), labelled(found)) == (line, label)


def test_only_a_distance_can_overlap():
    assert told(row(-0.21, "depth")) == "-0.3"


@pytest.mark.parametrize(("value", "lack"), [(1.98, "0.1"), (-0.31, "2.4"), (2.0, "")])
def test_what_is_lacking_to_the_limit_is_rounded_up(value, lack):
    limit = Limit(key="canal", value=2.0, lower_line=1.0, source="s", default=2.0)
    assert shown_lack(replace(row(value), limit=limit)) == lack
    assert not shown_lack(row(value))


def test_set_numbers_keep_what_was_set():
    assert [plain(v) for v in (2.0, 0.25, 0.125, 10.0)] == ["2.0", "0.25", "0.125", "10.0"]
