"""Verdicts: guard band, open ends, lower lines, order, the counting sentence, rounding."""

from __future__ import annotations

from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from core.measurement import MARKED, Budget, Evidence, Limit, Measurement, Note, Reading, Term
from core.trust.verdict import (
    GUARD,
    NO_CLEARANCE,
    Hindrance,
    judge,
    least_allowed,
    round_down,
    round_up,
    summary_sentence,
    verdict_note,
    worst_first,
)
from tests.details import details_of

CANAL = Limit(key="canal", value=2.0, lower_line=1.0, source="s", default=2.0)


def doubt(u: float) -> Budget:
    return Budget(terms=(Term(name="placement", u=u, source="s"),))


def reading(value: float | None, *, upper_bound: bool = False) -> Reading:
    notes = (Note("x"),) if value is None else ()
    return Reading(value=value, upper_bound=upper_bound, evidence=MARKED, notes=notes)


TROUBLE = (Hindrance(note=Note("image-trouble-at-site")),)


@pytest.mark.parametrize(
    ("value", "verdict"),
    [
        (2.0 + GUARD * 0.2, "meets limit"),
        (2.0 + GUARD * 0.2 - 1e-9, "too near to tell"),
        (2.0, "too near to tell"),
        (2.0 - 1e-9, "below limit"),
        (-1.0, "below limit"),
        (None, "not assessed"),
    ],
)
def test_the_four_verdicts_meet_at_their_borders(value, verdict):
    assert judge(reading(value), doubt(0.2), CANAL) == verdict


def test_no_limit_no_verdict():
    assert judge(reading(2.0), doubt(0.2), None) is None
    assert judge(reading(None), None, None) is None


def test_without_doubt_nothing_is_judged():
    with pytest.raises(ValueError, match="uncertainty"):
        judge(reading(9.0), None, CANAL)


@pytest.mark.parametrize(
    ("value", "verdict"),
    [(9.0, "not assessed"), (2.1, "not assessed"), (1.9, "below limit"), (None, "not assessed")],
)
def test_open_ends_and_image_trouble_only_make_it_worse(value, verdict):
    budget = doubt(0.2)
    assert judge(reading(value), budget, CANAL, hindrances=TROUBLE) == verdict
    if value is not None:
        assert judge(reading(value, upper_bound=True), budget, CANAL) == verdict


LACKING = (
    Evidence(rests_on="nothing"),
    Evidence(rests_on="image", levels=Note("levels_no_bone")),
    Evidence(rests_on="image", found=Note("surface_unclear")),
    Evidence(rests_on="marks", nearer=Note("surface_unclear")),
)


@pytest.mark.parametrize("evidence", LACKING)
def test_no_limit_is_met_without_levels_an_edge_and_nothing_nearer(evidence):
    assert judge(Reading(value=9.0, evidence=evidence), doubt(0.1), CANAL) == "not assessed"
    assert judge(Reading(value=1.0, evidence=evidence), doubt(0.1), CANAL) == "below limit"
    assert judge(Reading(value=9.0), doubt(0.1), CANAL) == "not assessed"
    joined = Reading(value=9.0, evidence=MARKED.joined(evidence))
    assert judge(joined, doubt(0.1), CANAL) == "not assessed"


@pytest.mark.parametrize("evidence", LACKING)
def test_at_least_is_said_only_of_what_was_seen(evidence):
    with pytest.raises(ValueError, match="seen"):
        Reading(value=8.0, lower_bound=True, evidence=evidence)
    seen = Reading(value=8.0, lower_bound=True, evidence=Evidence(rests_on="image"))
    assert judge(seen, doubt(0.1), CANAL) == "meets limit"


def test_a_contradiction_outranks_every_number():
    swapped = (Hindrance(note=Note("side-contradicted"), outranks=True),)
    for value in (0.1, 1.9, 2.1, 9.0):
        assert judge(reading(value), doubt(0.1), CANAL, hindrances=swapped) == "not assessed"


def test_a_disturbed_image_stops_what_rests_on_it_and_no_marks():
    image = (Hindrance(note=Note("image-trouble-at-site"), stops="image"),)
    assert judge(reading(9.0), doubt(0.1), CANAL, hindrances=image) == "meets limit"
    seen = Reading(value=9.0, evidence=Evidence(rests_on="image"))
    assert judge(seen, doubt(0.1), CANAL, hindrances=image) == "not assessed"


def test_a_loosened_limit_never_goes_under_the_lower_line():
    loose = Limit(key="canal", value=0.3, lower_line=1.0, source="s", default=2.0)
    assert least_allowed(loose) == 1.0
    assert judge(reading(0.9), doubt(0.01), loose) == "below limit"
    assert judge(reading(1.05), doubt(0.2), loose) == "too near to tell"
    assert judge(reading(1.5), doubt(0.2), loose) == "meets limit"


@given(
    st.floats(-3, 9),
    st.floats(0.01, 1.5),
    st.floats(0, 5),
    st.booleans(),
    st.booleans(),
)
def test_more_doubt_or_less_room_never_improves_a_verdict(value, u, limit, bound, trouble):
    stops = TROUBLE if trouble else ()
    rank = ["below limit", "not assessed", "too near to tell", "meets limit"]
    row = Limit(key="k", value=limit, lower_line=0.0, source="s", default=limit)
    first = judge(reading(value, upper_bound=bound), doubt(u), row, hindrances=stops)
    vaguer = judge(reading(value, upper_bound=bound), doubt(u * 1.5), row, hindrances=stops)
    nearer = judge(reading(value - 0.1, upper_bound=bound), doubt(u), row, hindrances=stops)
    assert rank.index(vaguer) <= rank.index(first)
    assert rank.index(nearer) <= rank.index(first)
    assert (first == "meets limit") == (value - GUARD * u >= limit and not bound and not trouble)


def test_below_the_lower_line_the_words_harden():
    assert verdict_note(reading(1.0), CANAL) is None
    assert verdict_note(reading(None), CANAL) is None
    assert verdict_note(reading(0.5), None) is None
    note = verdict_note(reading(0.999), CANAL)
    assert note.message == "Below 1.0 mm: within drilling error."
    floor = Limit(key="floor", value=1.0, lower_line=0.0, source="s", default=1.0)
    assert verdict_note(reading(0.2), floor) is None
    assert verdict_note(reading(-0.2), floor).message.startswith("The two touch or overlap")
    loop = Limit(key="loop-unseen", value=5.0, lower_line=4.0, source="s", default=5.0)
    assert "4.0 mm" in verdict_note(reading(3.9), loop).message
    assert "drilling" not in verdict_note(reading(3.9), loop).message


def row(
    target: str,
    value: float | None,
    verdict: str | None,
    group: str = "danger",
    details: dict | None = None,
) -> Measurement:
    return Measurement(
        id=f"36/clearance/{target}",
        group=group,
        fixture="36",
        kind="clearance",
        target=target,
        reading=reading(value),
        budget=None if value is None else doubt(0.2),
        limit=None if verdict is None else CANAL,
        verdict=verdict,
        details=details_of("clearance", details or {}),
    )


ROWS = [
    row("a", 5.0, "meets limit"),
    row("plain", 5.0, None, "information"),
    row("root-35", 2.1, "too near to tell", "roots"),
    row("b", 4.0, "meets limit", "bone"),
    row("foramen", None, "not assessed"),
    row("c", 6.0, "meets limit", "roots"),
    row("d", 3.0, "meets limit", "bone"),
    row("e", 4.0, "meets limit"),
]


def test_the_summary_counts_and_names_what_is_not_met():
    assert summary_sentence(ROWS, jaw="lower") == (
        "5 limits met, 1 borderline (root of 35), 1 not assessed (foramen). "
        "This does not mean it is safe to operate."
    )


def test_what_is_below_its_limit_comes_first_and_nearest_first():
    bad = [
        row("canal", 1.5, "below limit"),
        row("bone surface", 0.2, "below limit", details={"side": "lingual"}),
    ]
    assert summary_sentence([ROWS[0], *bad], jaw="lower") == (
        "2 below limit (bone surface lingual, canal), 1 limit met. "
        "This does not mean it is safe to operate."
    )


@pytest.mark.parametrize(("count", "last"), [(10, "r9"), (11, "and 2 more")])
def test_ten_names_are_told_and_of_more_nine_and_their_number(count, last):
    rows = [row(f"r{n}", None, "not assessed") for n in range(count)]
    told = summary_sentence(rows, jaw="lower")
    assert f"{count} not assessed (r0, " in told
    assert f"r8, {last})" in told


def test_a_quantity_without_a_limit_is_never_counted_as_not_assessed():
    missing = Measurement(
        id="36/ridge_width/axis/1", group="bone", fixture="36", kind="ridge_width",
        reading=reading(None), verdict="not assessed", details=details_of("ridge_width", {}),
    )  # fmt: skip
    assert summary_sentence([missing], jaw="lower").startswith("No limit was checked.")
    unmarked = Measurement(
        id="36/clearance/canal", group="danger", fixture="36", kind="clearance", target="canal",
        reading=reading(None), verdict="not assessed",
    )  # fmt: skip
    told = summary_sentence([missing, unmarked], jaw="lower")
    assert told.startswith("0 limits met, 1 not assessed (canal).")


def test_without_limits_the_sentence_says_so():
    assert summary_sentence([], jaw="lower") == f"No limit was checked. {NO_CLEARANCE}"
    assert summary_sentence([ROWS[1]], jaw="lower") == f"No limit was checked. {NO_CLEARANCE}"
    assert summary_sentence([ROWS[4]], jaw="lower").startswith(
        "0 limits met, 1 not assessed (foramen)."
    )


def test_worst_first():
    rows = [*ROWS, row("canal", 1.9, "below limit"), row("deep", 0.1, "below limit", "bone")]
    order = [m.target for m in worst_first(rows)]
    assert order == ["canal", "deep", "foramen", "root-35", "e", "a", "c", "d", "b", "plain"]


@pytest.mark.parametrize(
    ("value", "step", "down", "up"),
    [
        (1.96, 0.1, 1.9, 2.0),
        (0.1 * 3, 0.1, 0.3, 0.3),
        (2.9999999999999996, 0.1, 3.0, 3.0),
        (1.9999, 0.1, 1.9, 2.0),
        (-0.05, 0.1, -0.1, 0.0),
        (-2.0, 0.1, -2.0, -2.0),
        (2.675, 0.01, 2.67, 2.68),
        (2.675, 0.001, 2.675, 2.675),
        (11.74, 0.5, 11.5, 12.0),
        (0.0, 0.1, 0.0, 0.0),
    ],
)
def test_rounding_to_the_safe_side(value, step, down, up):
    assert round_down(value, step) == down
    assert round_up(value, step) == up


@given(st.integers(-10_000_000, 10_000_000), st.sampled_from(["0.1", "0.01", "0.5"]))
def test_rounding_agrees_with_decimal_arithmetic(thousandths, step):
    exact = Decimal(thousandths) / 1000
    for mode, ours in ((ROUND_FLOOR, round_down), (ROUND_CEILING, round_up)):
        expected = (exact / Decimal(step)).to_integral_value(mode) * Decimal(step)
        assert ours(float(exact), float(step)) == float(expected)


@given(st.floats(-100, 100), st.sampled_from([0.1, 0.01, 0.5]))
def test_rounding_never_leaves_the_safe_side(value, step):
    assert value - step < round_down(value, step) <= value + 1e-6 * step
    assert value - 1e-6 * step <= round_up(value, step) < value + step


@given(st.floats(0, 10), st.floats(0, 5))
def test_a_shown_figure_never_reads_as_met_when_it_is_below(value, limit):
    limit = round(limit, 1)
    if value < limit - 1e-6:
        assert round_down(value, 0.1) < limit


def test_a_long_summary_still_counts_all_and_says_how_many_it_does_not_name():
    many = [row(f"root-{n}", None, "not assessed") for n in range(31, 49) if n % 10 <= 8]
    words = summary_sentence(many, jaw="lower")
    assert f"{len(many)} not assessed (" in words
    assert f"and {len(many) - 9} more)" in words
    assert "more)" not in summary_sentence(many[:10], jaw="lower")


def test_the_upper_jaw_reads_palatal():
    rows = [row("bone surface", 0.5, "below limit", details={"side": "lingual"})]
    assert "bone surface palatal" in summary_sentence(rows, jaw="upper")
    assert "bone surface lingual" in summary_sentence(rows, jaw="lower")
