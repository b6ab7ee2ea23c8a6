"""What lies behind a plate: marrow, or the air of a sinus, whose wall is no plate to learn from."""

import numpy as np
import pytest

from core.bone.cortex_level import before_marrow
from core.bone.plate_kernels import COLUMNS, INSIDE, SINGLE

SOFT, CONTRAST = 60.0, 1400.0


@pytest.fixture
def fit():
    """One fitted profile with two edges and marrow as dark as fat behind the plate."""
    values = np.zeros((1, COLUMNS))
    values[0, INSIDE] = -60.0
    return values


def test_a_plate_before_fatty_marrow_is_one(fit):
    assert before_marrow(fit, SOFT, CONTRAST)[0]


def test_a_wall_before_air_is_none(fit):
    fit[0, INSIDE] = -800.0
    assert not before_marrow(fit, SOFT, CONTRAST)[0]


def test_one_step_alone_is_no_plate(fit):
    fit[0, SINGLE] = 1.0
    assert not before_marrow(fit, SOFT, CONTRAST)[0]
