"""Slices that changed places where no number tells: seen in the pictures, and nothing else is."""

from __future__ import annotations

import itertools

import make_dicom as make
import numpy as np
import pytest
from scipy import ndimage

from core.scan import open_scan
from core.scan.sequence import CLEARLY, LEAST_PICTURES, _Ways, apart, exchanged

COUNT = 24


def stack(seed=4, *, noise=12.0, along=2.5):
    """Slices of a smooth body with noise, each most like its neighbours."""
    random = np.random.default_rng(seed)
    rough = ndimage.gaussian_filter(random.normal(size=(COUNT, 40, 48)), (along, 3, 3))
    grey = -1000 + 3000 * (rough - rough.min()) / np.ptp(rough)
    return list(grey + random.normal(0, noise, grey.shape))


def with_exchanged(slices, first, second):
    out = list(slices)
    out[first], out[second] = out[second], out[first]
    return out


@pytest.mark.parametrize("pair", [(5, 6), (5, 7), (9, 12), (3, 15), (1, 2), (0, 4), (18, 23)])
@pytest.mark.parametrize("noise", [12.0, 90.0])
def test_two_exchanged_slices_are_named(pair, noise):
    (found,) = exchanged(with_exchanged(stack(noise=noise), *pair), range(COUNT))
    assert (found.fields["first"], found.fields["second"]) == (pair[0] + 1, pair[1] + 1)
    assert found.stops_verdicts


@pytest.mark.parametrize("seed", range(6))
def test_slices_in_order_say_nothing(seed):
    assert exchanged(stack(seed), range(COUNT)) == []
    assert exchanged(stack(seed)[::-1], range(COUNT)) == []


def test_noise_alone_and_alternating_brightness_say_nothing():
    random = np.random.default_rng(7)
    assert exchanged(list(random.normal(0, 30, (COUNT, 48, 48))), range(COUNT)) == []
    ripple = [plane + 300 * (k % 2) for k, plane in enumerate(stack())]
    assert exchanged(ripple, range(COUNT)) == []


def test_what_an_exchange_saves_is_the_difference_of_both_ways():
    """Each pair of seven, first and last ones and neighbours included, against the whole way."""
    grey = stack()[:7]

    def length(slices):
        return sum(apart(a, b) for a, b in itertools.pairwise(slices))

    ways = _Ways(grey)
    for i, j in itertools.combinations(range(len(grey)), 2):
        assert ways.saved(i, j) == pytest.approx(length(grey) - length(with_exchanged(grey, i, j)))
    steps = [apart(a, b) for a, b in itertools.pairwise(grey)]
    assert ways.usual_step == np.median(steps)


def test_slices_are_apart_where_both_are_scanned():
    one, two = np.array([[1.0, np.nan], [4.0, 2.0]]), np.array([[3.0, 5.0], [np.nan, 1.0]])
    assert apart(one, two) == 1.5
    assert apart(one, np.full((2, 2), np.nan)) == 0.0


def test_five_pictures_are_the_fewest_that_tell():
    levels = [0.0, 10.0, 30.0, 20.0, 40.0, 50.0, 60.0]
    grey = [np.full((4, 4), value) for value in levels]
    assert LEAST_PICTURES == 5
    (found,) = exchanged(grey[:5], range(5))
    assert (found.fields["first"], found.fields["second"]) == (3, 4)
    assert exchanged(grey[:4], range(4)) == []
    (numbered,) = exchanged(grey, range(10, 17))
    assert (numbered.fields["first"], numbered.fields["second"]) == (13, 14)


def test_an_exchange_must_save_a_quarter_of_a_usual_step():
    """Two slices side by side: exchanged they save twice as much as they lie out of order."""
    for off, told in ((1.2, False), (1.3, True)):
        levels = [0.0, 10.0, 20.0 + off, 20.0, 30.0, 40.0, 50.0, 60.0]
        grey = [np.full((4, 4), value) for value in levels]
        saved = _Ways(grey).saved(2, 3)
        assert saved == pytest.approx(2 * off)
        assert (saved > CLEARLY * _Ways(grey).usual_step) is told
        assert bool(exchanged(grey, range(8))) is told


def slices_with(tmp_path, change):
    """A scan in which slices 6 and 8 bear each other's place."""
    values = np.rint(stack()).astype(np.int16)
    slices = make.series(values)
    own = slices[6].ImagePositionPatient
    slices[6].ImagePositionPatient, slices[8].ImagePositionPatient = (
        slices[8].ImagePositionPatient,
        own,
    )
    folder = make.write_series(tmp_path, slices, change=change, names=lambda k: f"I{k}")
    return {f.code: f for f in open_scan(folder).findings}


def without_number(k, ds):
    del ds.InstanceNumber


def test_places_exchanged_between_slices_without_numbers_stop_verdicts(tmp_path):
    found = slices_with(tmp_path, without_number)
    assert found["scan_slices_exchanged"].stops_verdicts
    assert found["scan_slices_exchanged"].fields == {"first": 7, "second": 9}


def test_one_slice_without_a_number_does_not_silence_the_others(tmp_path):
    def change(k, ds):
        if k == 0:
            ds.InstanceNumber = ""

    found = slices_with(tmp_path, change)
    assert found["scan_order_unproven"].stops_verdicts
    assert found["scan_number_absent"].fields == {"names": "InstanceNumber"}


def test_one_slice_without_a_location_does_not_silence_the_others(tmp_path):
    def change(k, ds):
        del ds.InstanceNumber
        if k:
            ds.SliceLocation = f"{0.4 * k:.1f}"

    assert "scan_location_contradicts" in slices_with(tmp_path, change)


def test_a_slice_of_another_picture_stops_verdicts(tmp_path):
    values = np.rint(stack(along=5)).astype(np.int16)
    values[10] = np.rint(stack(seed=9, along=5)[3])
    found = open_scan(make.write_series(tmp_path, make.series(values))).findings
    (strange,) = (f for f in found if f.code == "scan_slice_strange")
    assert strange.stops_verdicts
    assert strange.fields == {"slices": "11"}


@pytest.mark.parametrize("end", [0, COUNT - 1])
def test_an_end_slice_beyond_all_measure_stops_verdicts(tmp_path, end):
    values = np.rint(stack(along=5)).astype(np.int16)
    values[end] = np.random.default_rng(2).integers(-30_000, 30_000, values[end].shape)
    found = open_scan(make.write_series(tmp_path, make.series(values))).findings
    (strange,) = (f for f in found if f.code == "scan_slice_strange")
    assert strange.fields == {"slices": f"{end + 1}"}


def test_an_end_slice_of_air_says_nothing(tmp_path):
    values = np.rint(stack(along=5)).astype(np.int16)
    values[0] = -1000
    found = open_scan(make.write_series(tmp_path, make.series(values))).findings
    assert "scan_slice_strange" not in {f.code for f in found}
