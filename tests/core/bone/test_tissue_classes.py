"""Soft tissue and air are told apart by where they lie, and marrow is neither."""

import numpy as np
import pytest

from core.bone.bone_levels import USUAL_BLUR
from core.bone.cortex_level import CortexLevel, Places
from core.bone.level_proof import _soft_beside_bone
from core.bone.tissue_classes import Profiles, TissueClasses, _climbing

SOFT, MARROW, PLATE, NOISE = 40.0, 450.0, 800.0, 30.0


def line(*parts, samples=141):
    """A profile every 0.2 mm from (from mm, level) parts."""
    at = 0.2 * np.arange(samples)
    out = np.full(samples, SOFT)
    for start, level in parts:
        out[at >= start] = level
    return out


def test_marrow_behind_a_plate_lost_in_the_mean_is_no_layer_on_bone():
    rows = np.tile(line((8.0, PLATE), (8.4, MARROW), (19.0, 1300.0), (20.0, SOFT)), (5, 1))
    window = np.ones(7) / 7
    middle = np.apply_along_axis(np.convolve, 1, rows, window, mode="same")
    # The mean over 1.4 mm keeps nothing of the plate above the marrow.
    assert middle[:, 35:60].max() < MARROW + 3.0 * NOISE + 60.0
    climbing = _climbing(middle, rows, np.ones(rows.shape, dtype=bool), NOISE)
    assert not climbing[:, 48:90].any()
    gum = np.tile(line((8.0, MARROW), (10.0, 1300.0), (12.0, SOFT)), (5, 1))
    middle = np.apply_along_axis(np.convolve, 1, gum, window, mode="same")
    assert _climbing(middle, gum, np.ones(gum.shape, dtype=bool), NOISE)[:, 43:46].all()


@pytest.mark.parametrize(("beside", "held"), [(SOFT, True), (-1000.0, False)])
def test_soft_tissue_that_lies_hardly_anywhere_beside_the_bone_is_not_it(beside, held):
    n = 40
    grey = np.full((n, 141), beside)
    grey[: n // 5] = SOFT
    grey[:, 60:80] = 1300.0
    way = np.tile([1.0, 0.0, 0.0], (n, 1))
    profiles = Profiles(starts=np.zeros((n, 3)), ways=way, grey=grey, smooth=grey)
    places = Places(
        points_mm=np.zeros((2 * n, 3)),
        ways=np.vstack([way, -way]),
        buccal=np.repeat([True, False], n),
        summit=np.full(2 * n, 1300.0),
        rows=np.tile(np.arange(n), 2),
        samples=np.repeat([60.0, 79.0], n),
    )
    classes = TissueClasses(air=-1000.0, soft=SOFT, soft_sd=5.0, noise_sd=NOISE, bright=1300.0)
    level = CortexLevel(level=1300.0, sd=20.0, blur=USUAL_BLUR, apart=True, halves=(1300.0, 1300.0))
    assert _soft_beside_bone(profiles, classes, places, level.level - SOFT) == held
