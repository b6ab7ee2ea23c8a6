"""What pictures say against their headers, on thumbnails drawn by hand."""

from __future__ import annotations

import numpy as np
import pytest
from headers import picture

from core.scan.continuity import (
    _by_number,
    _grey,
    _has_seam,
    _length,
    _scale_borne_out,
    _strange,
    continuity_findings,
    out_of_order,
    thumb,
)

ROWS, COLS = 40, 48


def words(k, *, step=40.0, base=0.0):
    """A smooth picture that moves on a little from slice to slice."""
    y, x = np.mgrid[:ROWS, :COLS]
    grey = 900 + base + 500 * np.sin((x + 2 * k) / 9.0) + 300 * np.cos(y / 7.0) + step * k
    return np.rint(grey).astype(np.int16)


def stack(count=8, **at):
    return {k: picture(k, **at.get(f"k{k}", {})) for k in range(count)}


def codes(thumbs, pictures):
    return {f.code: f for f in continuity_findings(thumbs, pictures)}


def plain(count=8):
    return {k: words(k) for k in range(count)}


class TestThumb:
    @pytest.mark.parametrize(
        ("shape", "small"),
        [((48, 48), (48, 48)), ((96, 95), (48, 95)), ((480, 97), (48, 49)), ((20, 500), (20, 50))],
    )
    def test_about_48_pixels_a_side(self, shape, small):
        raw = np.arange(shape[0] * shape[1]).reshape(shape)
        found = thumb(raw)
        assert found.shape == small
        assert found[0, 0] == 0
        assert found[1, 1] == raw[max(1, shape[0] // 48), max(1, shape[1] // 48)]
        assert not np.shares_memory(found, raw)


class TestNumbersOfSlices:
    @pytest.mark.parametrize(
        ("numbers", "disorder"),
        [
            ([1, 2, 3], False),
            ([3, 2, 1], False),
            ([1, 3, 2], True),
            ([1, None, 3, 2], True),
            ([None, 1, 2], False),
            ([2, 2, 1], False),
            ([None, None], False),
        ],
    )
    def test_neither_rising_nor_falling(self, numbers, disorder):
        assert out_of_order(numbers) is disorder

    def test_in_the_order_of_numbers_those_without_stay_where_they_are(self):
        assert _by_number([10, 11, 12, 13], [4, None, 1, 2]) == [12, 11, 13, 10]
        assert _by_number([5, 6], [None, None]) == [5, 6]


class TestGrey:
    def test_words_by_a_scale_with_padding_left_out(self):
        raw = np.array([[1, 2], [7, 9]], np.int16)
        own = picture(slope=2.0, intercept=-5.0, image={"padding": (7, 7)})
        assert _grey(raw, own, own) == pytest.approx(
            np.array([[-3, -1], [np.nan, 13]]), nan_ok=True
        )
        other = picture(slope=1.0, intercept=0.0)
        assert _grey(raw, own, other)[0].tolist() == [1, 2]
        assert np.isnan(_grey(raw, own, other)[1, 0]), "padding stays its own picture's"
        assert raw.tolist() == [[1, 2], [7, 9]]

    def test_a_range_of_padding(self):
        raw = np.arange(6, dtype=np.int16)[None]
        own = picture(image={"padding": (2, 4)})
        assert np.isnan(_grey(raw, own, own)[0]).tolist() == [False, False, True, True, True, False]


class TestStrange:
    def grey(self, *levels):
        return {k: np.full((4, 4), float(v)) + np.arange(16.0).reshape(4, 4) * 10
                for k, v in enumerate(levels)}  # fmt: skip

    @pytest.mark.parametrize(("off", "strange"), [(40.5, []), (41.5, [2])])
    def test_four_times_the_usual_step_from_both_neighbours(self, off, strange):
        """Steps of 10 around it; what lies beside it is 1 apart."""
        grey = self.grey(0, 10, 10 + off, 11, 21, 31, 41)
        assert _strange(range(7), grey) == strange

    def test_but_not_where_the_neighbours_differ_as_much(self):
        assert _strange(range(7), self.grey(0, 1, 100, 200, 201, 202, 203)) == []

    @pytest.mark.parametrize(("off", "strange"), [(2.9, []), (3.2, [3])])
    def test_and_a_fiftieth_of_the_whole_range_at_least(self, off, strange):
        """Of 150 in each slice: 3."""
        assert _strange(range(7), self.grey(0, 0, 0, off, 0, 0, 0)) == strange

    def test_an_end_beyond_all_measure(self):
        assert _strange(range(5), self.grey(151, 0, 0, 0, 0)) == [0]
        assert _strange(range(5), self.grey(0, 0, 0, 0, -151)) == [4]
        assert _strange(range(5), self.grey(149, 0, 0, 0, -149)) == []
        assert _strange(range(2), self.grey(0, 900)) == []

    def test_all_slices_are_named_by_their_own_number(self):
        grey = {10 + k: v for k, v in self.grey(0, 0, 90, 0, 0, 0, 0).items()}
        assert _strange(range(10, 17), grey) == [12]

    def test_told_with_the_first_five(self):
        thumbs = plain(30)
        for k in (4, 8, 12, 16, 20, 24):
            thumbs[k] = words(k, base=3000)
        found = codes(thumbs, stack(30))["scan_slice_strange"]
        assert found.fields["slices"] == "5, 9, 13, 17, 21"
        assert found.stops_verdicts


class TestScale:
    def test_a_true_change_of_scale_is_borne_out(self):
        thumbs, pictures = plain(), stack(k4={"intercept": -400.0}, k5={"intercept": -400.0})
        for k in (4, 5):
            thumbs[k] = thumbs[k] + np.int16(400)
        assert _scale_borne_out(range(8), thumbs, pictures)
        assert codes(thumbs, pictures) == {}

    def test_a_false_one_is_not(self):
        pictures = stack(k4={"intercept": -400.0}, k5={"intercept": -400.0})
        assert not _scale_borne_out(range(8), plain(), pictures)
        assert "scan_scale_unproven" in codes(plain(), pictures)

    @pytest.mark.parametrize(("share", "borne"), [(0.75, True), (0.85, False)])
    def test_clearly_where_few_change(self, share, borne):
        """One change among seven: what is stated must lie within 0.8 of what is not."""
        flat = {k: np.full((4, 4), 1000, np.int16) for k in range(8)}
        for k in range(4, 8):
            flat[k] = np.full((4, 4), 1000 + round(100 * share), np.int16)
        pictures = stack(**{f"k{k}": {"intercept": -100.0 * share + 100.0 * share**2}
                            for k in range(4, 8)})  # fmt: skip
        # As stated 100 share² apart, with the neighbour's scale 100 share.
        assert _scale_borne_out(range(8), flat, pictures) is borne

    def test_where_most_change_they_need_only_do_better_in_all(self):
        flat = {k: np.full((4, 4), 1000 + 100 * (k % 2), np.int16) for k in range(6)}
        better = stack(6, **{f"k{k}": {"intercept": -10.0} for k in (1, 3, 5)})
        worse = stack(6, **{f"k{k}": {"intercept": 10.0} for k in (1, 3, 5)})
        assert _scale_borne_out(range(6), flat, better)
        assert not _scale_borne_out(range(6), flat, worse)

    def test_words_of_another_length_are_not_weighed(self):
        thumbs, pictures = plain(), stack(k4={"image": {"bits_allocated": 8, "bits_stored": 8,
                                                        "high_bit": 7}})  # fmt: skip
        thumbs[4] = np.clip(thumbs[4] // 8, 0, 127).astype(np.uint8)
        assert _scale_borne_out(range(8), thumbs, pictures)

    def test_one_setting_is_none_to_be_borne_out(self):
        assert codes(plain(), stack()) == {}


class TestSeam:
    GREY = dict(enumerate(10.0 * np.ones((8, 3, 3)) * np.arange(8)[:, None, None]))  # noqa: RUF012

    @pytest.mark.parametrize(("step", "seam"), [(14.0, False), (16.0, True)])
    def test_one_and_a_half_usual_steps(self, step, seam):
        """Within, six of 10 to the next and four of 20 to the next but one: 10 is usual."""
        grey = {k: plane + (step - 10.0) * (k >= 4) for k, plane in self.GREY.items()}
        assert _has_seam(range(8), grey, list("aaaabbbb")) is seam

    def test_where_none_can_be_compared_there_is_one(self):
        assert _has_seam(range(3), self.GREY, ["a", "b", "c"])
        assert not _has_seam(range(3), self.GREY, ["a", "b", "a"])

    def test_told_for_two_acquisitions_that_do_not_go_on(self):
        two = {f"k{k}": {"text": {"KVP": "90"}} for k in range(4, 8)}
        assert codes(plain(), stack(**two)) == {}
        apart = {k: words(k, base=400 * (k >= 4)) for k in range(8)}
        found = codes(apart, stack(**two))
        assert found["scan_seam"].stops_verdicts
        assert "scan_seam" not in codes(apart, stack())


class TestOrder:
    def test_the_way_from_slice_to_slice(self):
        grey = {k: np.full((2, 2), float(v)) for k, v in enumerate([0, 3, 1])}
        assert _length([0, 1, 2], grey) == 5.0
        assert _length([0, 2, 1], grey) == 3.0

    def test_numbers_that_fit_the_pictures_better_than_the_places(self):
        """Slices 3 and 4 stand at each other's place; their numbers tell it, or are wrong."""
        exchanged = plain()
        exchanged[3], exchanged[4] = exchanged[4], exchanged[3]
        numbers = stack(k3={"number": 5}, k4={"number": 4})
        assert codes(exchanged, numbers)["scan_order_unproven"].stops_verdicts
        assert "scan_order_unproven" not in codes(plain(), numbers)

    def test_without_numbers_the_pictures_alone_tell(self):
        exchanged = plain()
        exchanged[3], exchanged[4] = exchanged[4], exchanged[3]
        none = stack(**{f"k{k}": {"number": None} for k in range(8)})
        assert "scan_slices_exchanged" in codes(exchanged, none)
        assert codes(plain(), none) == {}
        assert "scan_slices_exchanged" not in codes(exchanged, stack()), "each has its number"

    def test_a_single_slice_says_nothing(self):
        assert continuity_findings({3: words(3)}, stack()) == []
