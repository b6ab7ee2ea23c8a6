"""Scale check and repeat study at the limits of their rules, by figures that a hand can follow."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from core.structures import KnownObject
from core.trust import scale_check
from core.trust.repeatability import RepeatReading, RepeatStudy, StudyDesign
from core.trust.scale_check import (
    Deviation,
    deviation,
    deviation_words,
    judge_scale,
    middle_of,
    percent,
)
from core.trust.uncertainty import DEFAULT_SCALE
from tests.core.bright_phantoms import block

MARKS = np.array([[-6.0, 0, 0], [6, 0, 0]])


def pair(relative, u=0.002, *, way=(1, 0, 0), name="pair", true=20.0, by_hand=False):
    return Deviation(
        id=name, found_mm=true * (1 + relative), true_mm=true, relative=relative, relative_u=u,
        direction=np.array(way, float), by_hand=by_hand,
    )  # fmt: skip


class TestDeviation:
    VOLUME = block([], size_mm=(26, 14, 14), voxel_mm=0.3)

    def of(self, monkeypatch, *middles, size=12.0):
        given = list(middles)
        monkeypatch.setattr(scale_check, "middle_of", lambda *_: given.pop(0))
        return deviation(self.VOLUME, KnownObject(id="balls", points=MARKS, size_mm=size))

    def test_of_two_middles(self, monkeypatch):
        """12.3 mm from middle to middle: 0.04 each and 0.03 of the true distance."""
        found = self.of(monkeypatch, np.array([-6.1, 0, 0]), np.array([6.2, 0, 0]))
        assert found.found_mm == pytest.approx(12.3)
        assert found.relative == pytest.approx(0.025)
        assert found.relative_u == pytest.approx(np.sqrt(2 * 0.04**2 + 0.03**2) / 12)
        assert found.direction == pytest.approx([1, 0, 0])
        assert not found.by_hand
        assert found.true_mm == 12.0

    def test_of_marks_that_stand_on_nothing(self, monkeypatch):
        """A hand's 0.25 mm each, and half a voxel evenly spread: 0.15 / sqrt(3)."""
        found = self.of(monkeypatch, None, None)
        each = 0.25**2 + 0.15**2 / 3
        assert found.relative_u == pytest.approx(np.sqrt(2 * each + 0.03**2) / 12)
        assert (found.relative, found.by_hand) == (0.0, True)

    def test_of_one_middle_and_one_mark(self, monkeypatch):
        found = self.of(monkeypatch, None, np.array([6.0, 1.0, 0]), size=10.0)
        assert found.found_mm == pytest.approx(np.sqrt(145))
        each = 0.25**2 + 0.15**2 / 3
        assert found.relative_u == pytest.approx(np.sqrt(each + 0.04**2 + 0.03**2) / 10)
        assert found.direction == pytest.approx(np.array([12, 1, 0]) / np.sqrt(145))
        assert found.by_hand

    @pytest.mark.parametrize(("size", "agrees"), [(0.004, True), (0.0041, False)])
    @pytest.mark.parametrize("sign", [1.0, -1.0])
    def test_it_agrees_within_twice_its_doubt(self, size, agrees, sign):
        relative = sign * size
        found = pair(relative)
        assert found.agrees is agrees
        words = deviation_words(found)
        assert f"{20 * (1 + relative):.2f}" in words
        assert "20.00" in words
        assert "0.4 %" in words
        assert f"{100 * relative:+.1f}".replace("-", "−") in words.replace("-", "−")

    def test_a_share_in_words(self):
        assert percent(0.0072) == "0.72 %"


class TestMiddle:
    def moved(self, monkeypatch, *steps):
        """An object of which the middle is refined step by step along x."""
        grown = SimpleNamespace(
            middle_mm=np.zeros(3), points_mm=np.array([[1.5, 0, 0], [0, -1.0, 0]]), threshold=0.0
        )
        asked, given = [], list(steps)
        monkeypatch.setattr(scale_check, "bright_object", lambda *_, **__: grown)

        def weighted(volume, found, middle, reach):
            asked.append((float(middle[0]), reach))
            step = given.pop(0)
            return None if step is None else np.array([step, 0.0, 0.0])

        monkeypatch.setattr(scale_check, "_weighted_middle", weighted)
        return middle_of(None, np.zeros(3)), asked

    def test_it_is_weighed_twice_over_its_reach_and_six_tenths(self, monkeypatch):
        found, asked = self.moved(monkeypatch, 0.2, 0.3)
        assert found == pytest.approx([0.3, 0, 0])
        assert asked == [(0.0, pytest.approx(2.1)), (0.2, pytest.approx(2.1))]

    @pytest.mark.parametrize(("far", "found"), [(1.5, True), (1.51, False)])
    def test_further_than_a_millimetre_and_a_half_it_is_another_one(self, monkeypatch, far, found):
        assert (self.moved(monkeypatch, 0.1, far)[0] is not None) is found

    def test_what_cannot_be_weighed_has_no_middle(self, monkeypatch):
        assert self.moved(monkeypatch, None)[0] is None
        assert self.moved(monkeypatch, 0.1, None)[0] is None
        monkeypatch.setattr(scale_check, "bright_object", lambda *_, **__: "scale-nothing-bright")
        assert middle_of(None, np.zeros(3)) is None


class TestJudged:
    @pytest.mark.parametrize(("times", "failed"), [(2.57, False), (2.58, True)])
    def test_one_fails_beyond_one_of_a_hundred(self, times, failed):
        """99 % of chi-square with one degree of freedom: 2.5758²."""
        assert judge_scale([pair(0.004 * times, u=0.004)]).failed is failed
        assert judge_scale([pair(-0.004 * times, u=0.004)]).failed is failed

    @pytest.mark.parametrize(("times", "failed"), [(2.14, False), (2.15, True)])
    def test_two_fail_together(self, times, failed):
        """With two: 9.2103, each 2.1460."""
        both = [pair(0.003 * times, u=0.003), pair(0.003 * times, u=0.003, way=(0, 1, 0))]
        assert judge_scale(both).failed is failed

    @pytest.mark.parametrize(("most", "failed"), [(0.00499, False), (0.005, True)])
    def test_half_a_percent_at_least(self, most, failed):
        assert judge_scale([pair(most, u=0.0005), pair(0.0, u=0.0005)]).failed is failed
        assert judge_scale([pair(-most, u=0.0005), pair(0.0, u=0.0005)]).failed is failed

    @pytest.mark.parametrize(("apart", "told"), [(3.64, False), (3.65, True)])
    def test_two_contradict_one_another(self, apart, told):
        """Their squares about the mean, apart² / 2, beyond 6.6349: 3.6428."""
        both = [pair(0.0, name="a"), pair(0.002 * apart, name="b", way=(0, 1, 0))]
        assert judge_scale(both).contradictory is told

    def test_one_alone_contradicts_nothing(self):
        assert not judge_scale([pair(0.05)]).contradictory

    def test_the_worst_stands_where_they_contradict(self):
        three = [pair(0.03, way=(1, 0, 0)), pair(0.0, way=(0, 1, 0)), pair(0.0, way=(0, 0, 1))]
        assert judge_scale(three).scale.relative_u == pytest.approx(np.hypot(0.03, 0.002))

    def test_without_all_directions_no_less_than_the_usual_allowance(self):
        assert judge_scale([pair(0.001)]).scale.relative_u == DEFAULT_SCALE
        assert judge_scale([pair(0.03)]).scale.relative_u == pytest.approx(np.hypot(0.03, 0.002))

    def test_the_finding_names_the_one_that_is_furthest_off_by_its_doubt(self):
        found = judge_scale([pair(0.02, u=0.01, name="far"), pair(-0.01, u=0.002, name="sure")])
        (failed, *_) = found.findings
        assert failed.code == "scale-check-failed"
        assert failed.fields["id"] == "sure"
        assert failed.fields["percent"] == "-1.0"
        assert f"{failed.fields['doubt']}" == "0.4"

    def test_the_source_tells_mean_and_doubt_to_the_hundredth(self):
        """A doubt of 0.0051: 0.51 %."""
        source = str(judge_scale([pair(0.0147, u=0.0051)]).scale.source)
        assert "+1.47 %" in source
        assert "0.51 %" in source

    def test_marks_by_hand_are_named(self):
        found = judge_scale([pair(0.001, name="a", by_hand=True), pair(0.0, name="b"),
                             pair(0.001, name="c", by_hand=True)])  # fmt: skip
        (by_hand,) = [f for f in found.findings if f.code == "scale-object-by-hand"]
        assert (by_hand.severity, by_hand.fields["ids"]) == ("note", "a, c")


def reading(person, section, mark, number, point):
    return RepeatReading(person=person, section=section, mark=mark, round=number, point=point)


class TestRepeated:
    STUDY = RepeatStudy(
        design=StudyDesign(
            seed=3, rounds=2, marks=("crest", "canal"), stations=(("a", 4.0), ("b", 9.5))
        ),
        readings=(
            reading("LM", "a", "crest", 1, (0, 0, 0)),
            reading("LM", "a", "crest", 2, (0, 0.6, 0)),
            reading("LM", "a", "crest", 3, (0, 0.3, 0.3)),
            reading("LM", "a", "canal", 1, (0, 0, -12)),
            reading("LM", "b", "crest", 1, (0, 0, 0)),
            reading("LM", "b", "crest", 2, (0, 0, 1)),
            reading("LM", "b", "canal", 1, (0, 3, -4)),
            reading("LM", "b", "canal", 2, (0, 0, -12)),
            reading("AK", "a", "crest", 1, (0, 0, 1)),
        ),
    )

    def test_the_scatter_of_all_marks_about_their_means(self):
        """Squares 0.24 of three placings, 0.5 and 36.5 of two: 8 degrees of freedom."""
        found = self.STUDY.spread("LM")
        squares = 0.09 + 0.09 + 0.0 + (0.01 + 0.01 + 0.04) + 0.5 + 0.5 * (9 + 64)
        assert found.freedom == 8
        assert (found.marks, found.placings, found.rounds) == (3, 7, 3)
        assert found.sd_mm == pytest.approx(np.sqrt(squares / 8))
        # Chi-square with 8 degrees of freedom, any table: 2.1797 and 17.5345.
        assert found.interval_mm == pytest.approx(
            (np.sqrt(squares / 17.5345), np.sqrt(squares / 2.1797)), rel=1e-4
        )

    def test_lengths_of_the_sections_that_hold_both_marks(self):
        sections, table = self.STUDY.lengths(("crest", "canal"), (("LM", 1),))
        assert sections == ("a", "b")
        assert table == pytest.approx(np.array([[12.0], [5.0]]))
        sections, table = self.STUDY.lengths(("crest", "canal"), (("LM", 1), ("LM", 2)))
        assert sections == ("b",)
        assert table == pytest.approx(np.array([[5.0, 13.0]]))
        sections, table = self.STUDY.lengths(("crest", "canal"), (("AK", 1),))
        assert sections == ()
        assert table.shape == (0, 1)

    def test_what_is_left_for_each_in_their_order(self):
        design = self.STUDY.design
        assert self.STUDY.people == ("LM", "AK")
        assert self.STUDY.left_of("LM") == ()
        assert self.STUDY.left_of("AK") == tuple(s for s in design.order(1) if s != ("a", 1))
        assert self.STUDY.left_of("new") == design.order(2)
        assert RepeatStudy(readings=()).left_of("LM") == ()
        assert design.station_of("b") == 9.5

    def test_a_design_comes_back_as_it_was(self):
        back = RepeatStudy.of_json(self.STUDY.to_json())
        assert back.design == self.STUDY.design
        assert (back.series_uid, back.at) == ("", "")
        assert [r.round for r in back.readings] == [r.round for r in self.STUDY.readings]
