"""Which widths cannot be a ridge's."""

from dataclasses import replace

import numpy as np
import pytest

from core.bone.ridge_likely import (
    _without_knob,
    _without_lone_one,
    _without_sudden_changes,
    sure_enough,
    those_of_a_ridge,
    without_single_plates,
)
from core.measurement import Note, Reading


class TestSinglePlates:
    def told(self, *pairs):
        depths = np.array([d for d, _ in pairs])
        lost = Reading(value=None, notes=(Note("edge_weak"),))
        found = [lost if v is None else Reading(value=float(v)) for _, v in pairs]
        return [
            "plate" if r.notes and r.notes[0].code == "ridge_one_plate" else r.value
            for r in without_single_plates(depths, found)
        ]

    def test_from_3_mm_on_what_is_under_2_mm_wide_and_all_above_it(self):
        assert self.told((1, 1.5), (3, 1.99), (5, 4)) == ["plate", "plate", 4]
        assert self.told((1, 1.5), (3, 2.0), (5, 4)) == [1.5, 2.0, 4]
        assert self.told((1, 1.5), (2.9, 1.5), (5, 4)) == [1.5, 1.5, 4]
        assert self.told((1, 6), (3, None), (5, 1.0), (7, 9)) == ["plate"] * 3 + [9]
        assert self.told((1, None), (3, None)) == [None, None]

    def test_what_stays_narrow_over_2_mm_and_hardly_widens(self):
        """As read where a buccal plate of 0.7 mm did not show: a lingual one, for 12 to 15 mm."""
        alike = self.told((1, 6.0), (3, 2.11), (5, 2.06), (7, 2.15), (10, 2.66))
        assert alike == ["plate"] * 5
        # A knife edge that is as narrow widens further down.
        knife = [(1, 1.7), (3, 3.1), (5, 4.3), (7, 5.5), (10, 6.8)]
        assert self.told(*knife) == [w for _, w in knife]
        assert self.told((3, 2.5), (5, 2.99)) == ["plate"] * 2
        assert self.told((3, 2.5), (5, 3.01)) == [2.5, 3.01]
        assert self.told((3, 3.2), (5, 3.49), (7, 9.0)) == ["plate", "plate", 9.0]
        assert self.told((3, 3.2), (5, 3.5), (7, 3.6)) == [3.2, 3.5, 3.6]
        assert self.told((3, 2.5), (4.9, 2.5)) == [2.5, 2.5]


class TestSuddenChanges:
    def told(self, *values):
        depths = np.array([1.0, 3.0, 5.0, 7.0, 10.0])
        lost = (Note("edge_weak"),)
        read = [Reading(value=v, notes=() if v is not None else lost) for v in values]
        found = _without_sudden_changes(depths, read)
        assert {n.code for r in found for n in r.notes} <= {
            "ridge_widens_suddenly", "ridge_narrows_suddenly", "edge_weak",
        }  # fmt: skip
        return [r.value for r in found]

    @pytest.mark.parametrize(("last", "kept"), [(10.19, True), (10.21, False)])
    def test_more_than_1_4_mm_wider_a_millimetre_down_is_not_the_ridge_alone(self, last, kept):
        """As read where gum beside the ridge was as bright as marrow: 15 mm for 8."""
        assert self.told(2.4, 4.1, 5.7, 6.0, last) == [2.4, 4.1, 5.7, 6.0, last if kept else None]

    def test_from_the_last_width_above_that_was_measured(self):
        assert self.told(2.4, 4.1, None, None, 11.0)[-1] == 11.0
        assert self.told(2.4, 4.1, None, None, 11.2)[-1] is None

    def test_all_below_goes_with_it(self):
        assert self.told(2.4, 4.1, 5.7, 9.0, 9.2) == [2.4, 4.1, 5.7, None, None]

    @pytest.mark.parametrize(("below", "kept"), [(7.21, True), (7.19, False)])
    def test_more_than_0_9_mm_narrower_a_millimetre_down_is_one_plate_alone(self, below, kept):
        """As read where a buccal plate of 0.33 mm did not show: 9.6 mm, then 2.3 mm of lingual."""
        here = below if kept else None
        assert self.told(9.0, below, below, None, below) == [9.0, here, here, None, here]

    def test_it_says_which(self):
        depths, lost = np.array([1.0, 3.0, 7.0]), Reading(value=9.6)
        narrow = _without_sudden_changes(depths, [lost, Reading(value=2.3), Reading(value=9.0)])
        assert [[n.code for n in r.notes] for r in narrow] == [
            [],
            *2 * [["ridge_narrows_suddenly"]],
        ]
        wide = _without_sudden_changes(depths, [lost, lost, Reading(value=19.0)])
        assert [n.code for n in wide[2].notes] == ["ridge_widens_suddenly"]

    def test_a_crest_may_widen_as_it_likes(self):
        assert self.told(0.5, 6.0, 12.0, 12.5, 13.0) == [0.5, 6.0, 12.0, 12.5, 13.0]

    @pytest.mark.parametrize(
        ("above", "below", "kept"),
        [
            ((8.0, None), (None, 14.0, 14.5), True),
            # As read where gum beside joined the bone unseen: 16.3 mm for 9.9.
            ((8.0, None), (None, 14.01, 14.5), False),
            ((8.0, None), (18.0, 18.3, 18.6), True),
            ((8.0, None), (18.01, 18.3, 18.6), False),
            ((8.0, 8.5), (None, 12.49, 13.0), True),
            ((8.0, 8.5), (None, 12.51, 13.0), False),
            ((8.0, 8.5), (11.0, 13.6, 14.0), True),
        ],
    )
    def test_over_depths_that_could_not_be_read_less_is_too_much(self, above, below, kept):
        found = self.told(*above, *below)
        assert found == [*above, *below] if kept else found == [*above, None, None, None]


class TestKnob:
    def told(self, *values):
        lost = Reading(value=None, notes=(Note("edge_weak"),))
        read = [lost if v is None else Reading(value=v) for v in values]
        found = _without_knob(np.array([1.0, 3.0, 5.0]), read)
        return [[n.code for n in r.notes] if r.value is None else r.value for r in found]

    def test_what_grows_by_more_than_3_2_mm_a_millimetre(self):
        """As read on a real jaw: 3.3 mm, where the ridge is 8.8 mm wide, and 11.5 mm below."""
        assert self.told(3.3, 11.5, 12.0) == [["ridge_knob"], 11.5, 12.0]
        assert self.told(3.3, 9.6, 12.0) == [3.3, 9.6, 12.0]
        assert self.told(3.3, None, 12.0) == [3.3, ["edge_weak"], 12.0]
        assert self.told(3.3, 4.0, 12.0) == [3.3, 4.0, 12.0]

    def test_and_what_is_under_1_2_mm_itself(self):
        assert self.told(1.19, 2.0, 3.0) == [["ridge_knob"], 2.0, 3.0]
        assert self.told(1.2, 2.0, 3.0) == [1.2, 2.0, 3.0]
        assert self.told(1.19, None, None)[0] == ["ridge_knob"]
        assert self.told(None, 1.0, 3.0) == [["edge_weak"], 1.0, 3.0]


class TestSureEnough:
    def test_a_doubt_of_more_than_a_step_between_diameters_leaves_no_width(self):
        ends = (np.zeros(3), np.array([5.0, 0.0, 0.0]))
        sure = Reading(value=5.0, edge_sd_mm=(0.24, 0.32), witness=ends)
        assert sure_enough(sure) is sure
        unsure = sure_enough(replace(sure, edge_sd_mm=(0.24, 0.32, 0.05)))
        assert unsure.value is None
        # A plate at its end may still be asked for.
        assert np.array_equal(unsure.witness[1], ends[1])
        assert [(n.code, dict(n.fields)) for n in unsure.notes] == [
            ("ridge_width_unsure", {"doubt": 0.8})
        ]

    def test_what_was_not_measured_keeps_its_reason(self):
        lost = Reading(value=None, notes=(Note("edge_weak"),))
        assert sure_enough(lost) is lost


class TestAllTogether:
    def test_a_section_is_asked_for_plates_changes_and_a_knob_in_turn(self):
        depths = np.array([1.0, 3.0, 5.0, 7.0, 10.0])

        def told(*values):
            found = those_of_a_ridge(depths, [Reading(value=v) for v in values])
            return [r.notes[0].code if r.value is None else r.value for r in found]

        assert told(6.0, 8.0, 8.5, 9.0, 9.2) == [6.0, 8.0, 8.5, 9.0, 9.2]
        assert told(2.0, 9.0, 9.5, 9.6, 9.7)[0] == "ridge_knob"
        assert told(1.5, 1.9, 9.5, 9.6, 9.7)[:2] == ["ridge_one_plate"] * 2
        assert told(6.0, 8.0, 8.5, 8.6, 14.0)[4] == "ridge_widens_suddenly"
        assert told(6.0, 8.0, 3.6, 3.6, 3.6)[2:] == ["ridge_narrows_suddenly"] * 3

    def test_a_lone_one_is_looked_for_among_what_is_left(self):
        lost = Reading(value=None, notes=(Note("edge_weak"),))
        found = those_of_a_ridge(
            np.array([1.0, 3.0, 5.0]), [Reading(value=6.0), Reading(value=2.5), lost]
        )
        assert [r.notes[0].code for r in found] == [
            "ridge_lone_width", "ridge_narrows_suddenly", "edge_weak",
        ]  # fmt: skip


class TestLoneWidth:
    @pytest.mark.parametrize(("read", "kept"), [((0,), False), ((0, 3), True), ((), False)])
    def test_one_of_five_is_none(self, read, kept):
        """As at a section where 2.5 mm was read for 15.6 and nothing above it."""
        lost = Reading(value=None, notes=(Note("edge_weak"),))
        given = [Reading(value=8.0) if i in read else lost for i in range(5)]
        found = _without_lone_one(given)
        assert [r.value is not None for r in found] == [kept and i in read for i in range(5)]
        seen = [*given[:4], Reading(value=None, notes=(Note("ridge_two_intervals"),))]
        assert _without_lone_one(seen) == seen
        told = [r.notes[0].code for r in found if r.value is None]
        assert ("ridge_lone_width" in told) is (len(read) == 1)
