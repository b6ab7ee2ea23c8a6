"""The blur in and through the slices from profiles of any directions: none divides by nothing."""

from __future__ import annotations

import numpy as np
import pytest

from core.bone.plate_learning import _by_direction


def test_two_groups_of_profiles_give_the_line_through_both():
    # 0.04 mm² in the slices and 0.10 through them, weighed by the normal's part through them.
    share = np.repeat([0.05, 0.95], 40)
    level, middle, through = _by_direction(0.04 + 0.06 * share, share)
    assert level.tolist() == [True] * 40 + [False] * 40
    assert (middle, through) == (pytest.approx(0.04), pytest.approx(0.10))


@pytest.mark.parametrize("share", [0.0, 0.7, 1.0])
def test_profiles_of_one_direction_alone_give_no_line(share):
    variance = np.linspace(0.03, 0.05, 41)
    level, middle, through = _by_direction(variance, np.full(41, share))
    assert level.all()
    assert (middle, through) == (pytest.approx(0.04), pytest.approx(0.04))
