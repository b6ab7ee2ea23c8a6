"""How often two even grey levels of a line meet directly, and with something brighter between."""

from __future__ import annotations

import numpy as np
import pytest

from core.bone.tissue_classes import STEP_MM, _meetings, _runs

LOW, HIGH, WIDE, PLATE = 0.0, 100.0, 10.0, 150.0
RUN, GAP = 5, 15
"""Samples in 1 mm, and in 3 mm."""


def meet(*stretches):
    """Of one line, told as (level, samples)."""
    line = np.concatenate([np.full(count, float(level)) for level, count in stretches])
    return _meetings(line[None], LOW, HIGH, WIDE, PLATE)


def test_the_steps_are_a_fifth_of_a_millimetre():
    assert STEP_MM == 0.2


def test_runs_are_at_least_so_long():
    flags = np.array([1, 1, 0, 1, 1, 1, 0, 0, 1, 1, 1, 1], dtype=bool)
    assert _runs(flags, 3) == [(3, 6), (8, 12)]
    assert _runs(flags, 4) == [(8, 12)]
    assert _runs(flags, 2) == [(0, 2), (3, 6), (8, 12)]
    assert _runs(np.zeros(5, bool), 1) == []


def test_two_levels_side_by_side_meet_directly():
    assert meet((LOW, RUN), (HIGH, RUN)) == (1, 0)
    assert meet((HIGH, RUN), (LOW, RUN)) == (1, 0)
    assert meet((LOW, RUN), (HIGH, RUN), (LOW, RUN)) == (2, 0)


def test_with_a_plate_between_they_are_parted():
    assert meet((LOW, RUN), (151, 3), (HIGH, RUN)) == (0, 1)
    assert meet((LOW, RUN), (150, 3), (HIGH, RUN)) == (1, 0)
    assert meet((LOW, RUN), (50, 1), (151, 1), (50, 1), (HIGH, RUN)) == (0, 1)


@pytest.mark.parametrize(("between", "count"), [(GAP, 1), (GAP + 1, 0)])
def test_further_apart_than_3_mm_they_do_not_meet(between, count):
    assert meet((LOW, RUN), (50, between), (HIGH, RUN)) == (count, 0)
    assert meet((LOW, RUN), (200, between), (HIGH, RUN)) == (0, count)


def test_a_level_counts_from_1_mm_on():
    assert meet((LOW, RUN - 1), (HIGH, RUN)) == (0, 0)
    assert meet((LOW, RUN), (HIGH, RUN - 1)) == (0, 0)


def test_the_same_level_again_is_no_meeting():
    assert meet((LOW, RUN), (200, 3), (LOW, RUN)) == (0, 0)
    assert meet((HIGH, RUN), (50, 3), (HIGH, RUN)) == (0, 0)


@pytest.mark.parametrize(("off", "count"), [(9.9, 1), (10.0, 0), (-9.9, 1), (-10.0, 0)])
def test_a_level_is_as_wide_as_told(off, count):
    assert meet((LOW + off, RUN), (HIGH, RUN)) == (count, 0)
    assert meet((LOW, RUN), (HIGH + off, RUN)) == (count, 0)


def test_lines_add_up():
    direct = np.concatenate([np.full(RUN, LOW), np.full(RUN, HIGH), np.full(3, 50.0)])
    parted = np.concatenate([np.full(RUN, LOW), np.full(3, 200.0), np.full(RUN, HIGH)])
    assert _meetings(np.stack([direct, parted, parted]), LOW, HIGH, WIDE, PLATE) == (1, 2)
