"""What a repeat study says: comparisons, one table, and every lack with its reason."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from core.pictures.agreement_plot import agreement_plot
from core.pictures.plot_chart import plot_chart
from core.sheet.repeat_page import comparison_lines, repeat_pdf, spread_lines
from core.trust.method_error import bland_altman, dahlberg, intraclass
from core.trust.repeat_result import result_of
from core.trust.repeatability import RepeatReading, RepeatStudy, StudyDesign
from tests.core.trust.test_repeatability import study

DESIGN = StudyDesign(
    seed=11, rounds=3, marks=("crest", "canal"),
    stations=tuple((f"s{n}", 40.0 + n) for n in range(6)),
)  # fmt: skip


def designed(**how):
    return replace(study(sections=6, **how), design=DESIGN)


def test_two_people_are_compared_with_themselves_and_with_each_other():
    found = result_of(designed(people=("LM", "AK"), sd=0.2, far=0.6))
    assert [str(c.title) for c in found.comparisons] == [
        "LM, round 1 and round 2", "AK, round 1 and round 2", "LM and AK, round 1 of each",
    ]  # fmt: skip
    assert found.troubles == ()
    main = found.main
    assert main.error.agreement == bland_altman(main.first, main.second)
    assert main.error.dahlberg_mm == dahlberg(main.first, main.second)
    # AK reads the canal 0.6 mm deeper: the length is longer, so first - second is below 0.
    assert main.error.agreement.bias == pytest.approx(-0.6, abs=0.3)
    assert found.columns == 6
    _, table = found.study.lengths(
        ("crest", "canal"), [(p, r) for p in ("LM", "AK") for r in (1, 2, 3)]
    )
    assert found.all_rounds.icc_2_1 == intraclass(table).icc_2_1


def test_each_comparison_is_of_the_rounds_that_its_title_names():
    made = designed(people=("LM", "AK"), sd=0.2, far=0.6)
    found = result_of(made).comparisons
    pairs = ((("LM", 1), ("LM", 2)), (("AK", 1), ("AK", 2)), (("LM", 1), ("AK", 1)))
    for comparison, pair in zip(found, pairs, strict=True):
        first, second = made.lengths(("crest", "canal"), pair)[1].T
        np.testing.assert_array_equal((comparison.first, comparison.second), (first, second))


def test_what_it_cannot_tell_is_left_out_with_its_reason():
    once = result_of(designed(rounds=1))
    assert once.comparisons == ()
    assert once.spreads == {}
    assert once.main is None
    assert any("only one reading" in words for words in once.troubles)
    readings = tuple(r for r in designed().readings if r.mark == "crest")
    one_mark = result_of(RepeatStudy(readings=readings))
    assert one_mark.spreads["LM"].marks == 6
    assert any("one mark" in words for words in one_mark.troubles)


def test_the_design_goes_with_the_study_and_each_person_has_another_order():
    made = designed()
    again = RepeatStudy.of_json(json.loads(json.dumps(made.to_json())))
    assert again.design == DESIGN
    assert made.left_of("LM") == ()
    assert len(made.left_of("AK")) == 18
    orders = [DESIGN.order(number) for number in (0, 1)]
    assert orders[0] != orders[1]
    assert sorted(orders[0]) == sorted(orders[1])
    begun = replace(made, readings=made.readings[:2])
    assert len(begun.left_of("LM")) == 17


def test_the_picture_has_a_dot_a_length_at_its_place_and_three_levels():
    comparison = result_of(designed()).main
    chart = plot_chart(agreement_plot(comparison))
    assert len(chart.dots) == 6
    by_style = {}
    for line in chart.lines:
        by_style.setdefault(line.style, []).append(line.points)
    assert len(by_style["limit of agreement"]) == 2
    (mean,), (zero,) = by_style["mean difference"], by_style["zero line"]
    # mm of paper for a mm of difference, from two known levels
    found = comparison.error.agreement
    upper = max(points[0, 1] for points in by_style["limit of agreement"])
    scale = (upper - mean[0, 1]) / (found.upper - found.bias)
    assert mean[0, 1] - zero[0, 1] == pytest.approx(scale * found.bias, abs=1e-9)
    differences = comparison.first - comparison.second
    for dot, difference in zip(chart.dots, differences, strict=True):
        assert dot.at[1] - zero[0, 1] == pytest.approx(scale * difference, abs=1e-9)
    order = np.argsort(comparison.first + comparison.second)
    assert (np.diff([chart.dots[i].at[0] for i in order]) > 0).all()
    width, height = chart.size_mm
    for label in chart.labels:
        assert abs(label.at[0]) < width / 2 - 2
        assert abs(label.at[1]) < height / 2 - 1


def test_all_readings_alike_are_drawn_without_fault():
    readings = tuple(
        RepeatReading(person="LM", section=f"s{s}", mark=mark, round=r, point=(0, 0, z - s * d))
        for s in range(4) for r in (1, 2) for mark, z, d in (("crest", 0, 0), ("canal", -10, 1))
    )  # fmt: skip
    found = result_of(RepeatStudy(readings=readings))
    assert found.main.error.agreement.sd == 0
    assert len(plot_chart(agreement_plot(found.main)).dots) == 4
    assert repeat_pdf(found).startswith(b"%PDF")


def test_the_page_says_every_figure():
    found = result_of(designed(people=("LM", "AK")))
    words = " ".join([*spread_lines(found), *comparison_lines(found.main)])
    assert f"SD {found.spreads['LM'].sd_mm:.2f} mm" in words
    assert f"ICC(3,1) {found.main.error.correlations.icc_3_1.value:.3f}" in words
    assert "Dahlberg" in words
    assert repeat_pdf(found, paper="Letter").startswith(b"%PDF")
