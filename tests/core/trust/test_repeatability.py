"""Repeat study: whose marks scatter how far, and refusals in plain words."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from core.errors import SoundingError
from core.trust.operator_precision import own_hand, placement_by
from core.trust.repeatability import RepeatReading, RepeatStudy, StudyDesign, shuffled


def study(people=("LM",), *, sections=12, rounds=3, sd=0.3, seed=1, far=0.0):
    """Crest and canal on upright sections; the second person reads `far` mm further down."""
    rng = np.random.default_rng(seed)
    readings = []
    for s in range(sections):
        ends = {"crest": np.array([5.0 * s, 0, 0]), "canal": np.array([5.0 * s, 0, -12.0 - s])}
        for p, person in enumerate(people):
            for r in range(1, rounds + 1):
                for mark, point in ends.items():
                    off = np.array([0, *rng.normal(scale=sd, size=2)])
                    down = np.array([0, 0, -far * p]) if mark == "canal" else 0
                    readings.append(RepeatReading(
                        person=person, section=f"s{s}", mark=mark, round=r, point=point + off + down
                    ))  # fmt: skip
    return RepeatStudy(at="2026-09-14", readings=tuple(readings))


def test_spread_of_a_hand_by_hand():
    """Two placings 0.6 mm apart: SS = 2 x 0.3², two degrees of freedom, SD 0.3 mm."""
    points = ([0, 0, 0], [0, 0.6, 0])
    found = RepeatStudy(readings=tuple(
        RepeatReading(person="LM", section="a", mark="crest", round=i + 1, point=p)
        for i, p in enumerate(points)
    )).spread("LM")  # fmt: skip
    assert found.sd_mm == pytest.approx(0.3)
    assert found.freedom == 2


@pytest.mark.parametrize(("person", "number"), [("", 1), ("LM", 0), ("LM", -1)])
def test_a_reading_needs_a_person_and_a_round_from_1(person, number):
    with pytest.raises(ValueError, match="a person and a round from 1"):
        RepeatReading(person=person, section="a", mark="crest", round=number, point=(0, 0, 0))


@settings(max_examples=20)
@given(st.integers(0, 2**32 - 1), st.floats(0.1, 0.8))
def test_spread_is_found_again(seed, sd):
    """120 sections of two marks, three rounds: 960 degrees of freedom, SD known to 7 % (3 SE)."""
    assert study(sections=120, sd=sd, seed=seed).spread("LM").sd_mm == pytest.approx(sd, rel=0.08)


def test_interval_of_the_spread_covers():
    """400 studies, chi-square interval at 95 %: it holds the truth in 93 to 97 %."""
    held = 0
    for seed in range(400):
        low, high = study(sections=4, rounds=2, seed=seed).spread("LM").interval_mm
        held += low <= 0.3 <= high
    assert 0.93 < held / 400 < 0.97


def test_a_persons_spread_becomes_the_placement_and_never_less_than_0_2_mm():
    wide, steady = (placement_by(own_hand(study(sd=sd), "LM")) for sd in (0.45, 0.05))
    assert wide.measured
    assert wide.seen_mm == pytest.approx(study(sd=0.45).spread("LM").sd_mm)
    assert steady.seen_mm == 0.2
    assert "repeat study of LM, 2026-09-14: 24 marks" in str(wide.source)


def test_each_person_has_an_own_spread():
    one = study(people=("LM",), sd=0.2, seed=4)
    two = study(people=("AK",), sd=0.6, seed=5)
    both = RepeatStudy(readings=one.readings + two.readings)
    assert both.people == ("LM", "AK")
    assert both.spread("LM").sd_mm == one.spread("LM").sd_mm
    assert both.spread("AK").sd_mm == two.spread("AK").sd_mm


def test_two_people_show_their_bias():
    found = study(people=("LM", "AK"), sd=0.1, far=0.8).method_error(
        ("crest", "canal"), ("LM", 1), ("AK", 1)
    )
    assert found.agreement.bias == pytest.approx(-0.8, abs=0.15)
    low, high = found.agreement.bias_interval
    assert low < -0.8 < high < 0
    assert found.correlations.icc_3_1.value > found.correlations.icc_2_1.value > 0.9


def test_only_sections_that_hold_both_marks_in_every_column_count():
    whole = study(sections=5)
    cut = RepeatStudy(readings=whole.readings[1:])
    sections, table = cut.lengths(("crest", "canal"), (("LM", 1), ("LM", 2)))
    assert sections == ("s1", "s2", "s3", "s4")
    assert table.shape == (4, 2)


@pytest.mark.parametrize(
    "refused",
    [
        lambda: study(rounds=1).spread("LM"),
        lambda: own_hand(study(rounds=1), "LM"),
        lambda: study().spread("nobody"),
        lambda: study(sections=1).method_error(("crest", "canal"), ("LM", 1), ("LM", 2)),
        lambda: study().method_error(("crest", "canal"), ("LM", 1), ("LM", 1)),
        lambda: shuffled(("a", "b"), 1, seed=1),
        lambda: shuffled(("a",), 3, seed=1),
    ],
)
def test_one_reading_is_refused_in_plain_words(refused):
    with pytest.raises(SoundingError, match="only one reading") as told:
        refused()
    assert told.value.code == "repeat-one-reading"


def test_three_people_and_a_mark_placed_twice_are_refused():
    with pytest.raises(SoundingError, match="3 people took part"):
        study(people=("A", "B", "C"))
    one = study(sections=2).readings
    with pytest.raises(SoundingError, match="placed crest twice on section s0 in round 1"):
        RepeatStudy(readings=(*one, one[0]))


def test_readings_that_do_not_differ_are_refused():
    flat = RepeatStudy(readings=tuple(
        RepeatReading(person="LM", section=s, mark=m, round=r, point=[0, 0, z])
        for s in "ab" for r in (1, 2) for m, z in (("crest", 0), ("canal", -9))
    ))  # fmt: skip
    with pytest.raises(SoundingError, match="All readings are the same"):
        flat.method_error(("crest", "canal"), ("LM", 1), ("LM", 2))


def test_a_study_comes_back_from_its_json():
    before = study()
    after = RepeatStudy.of_json(before.to_json())
    assert after.spread("LM") == before.spread("LM")
    assert after.to_json() == before.to_json()


@pytest.mark.parametrize(
    "broken", [{}, {"format": "sounding-repeat-study", "version": 1, "readings": [{"person": "L"}]},
               {"format": "sounding-repeat-study", "version": 2, "readings": []},
               {"format": "sounding-repeat-study", "version": 1, "readings": 4}],
)  # fmt: skip
def test_a_broken_study_is_refused_in_plain_words(broken):
    with pytest.raises(SoundingError, match="no repeat study that can be read"):
        RepeatStudy.of_json(broken)


@given(st.integers(2, 9), st.integers(2, 5), st.integers(0, 10**6))
def test_sections_are_shuffled_and_never_shown_twice_in_a_row(count, rounds, seed):
    names = tuple(f"s{i}" for i in range(count))
    order = shuffled(names, rounds, seed=seed)
    assert sorted(order) == sorted((n, r) for n in names for r in range(1, rounds + 1))
    assert [r for _, r in order] == sorted(r for _, r in order)
    assert all(a[0] != b[0] for a, b in pairwise(order))
    assert shuffled(names, rounds, seed=seed) == order


def test_the_order_that_a_printed_seed_gives_stays_what_it_was():
    """A study is taken up again by its seed: another order would show the sections already seen."""
    design = StudyDesign(
        seed=7, rounds=2, marks=("crest",), stations=(("A", 1.0), ("B", 2.0), ("C", 3.0))
    )
    orders = [design.order(person) for person in (0, 1, 2)]
    assert orders == [shuffled(("A", "B", "C"), 2, seed=seed) for seed in (7, 8, 9)]
    assert len(set(orders)) == 3
