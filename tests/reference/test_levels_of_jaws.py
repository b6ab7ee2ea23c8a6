"""Levels and blur that are learnt from drawn jaws against those that they were drawn with.

Each of these scans once taught a wrong level or blur, and so refused most of its widths and plates,
or read them too thick. Their truth is the drawing's own, see `random_jaws`.
"""

import numpy as np
import pytest

from core.bone.level_learning import bone_levels
from core.bone.plate_fit import PlateFit
from core.bone.tissue_classes import Profiles, tissue_classes
from core.plans.side import arch_of
from tests.reference.random_jaws import case, real
from tests.reference.random_jaws import kernels as k


def learnt(seed):
    """Case of a seed, and what its scan teaches."""
    made = case(seed)
    arch = arch_of(made.plan)
    levels = bone_levels(made.volume, arch)
    return made, levels, PlateFit.of(made.volume, arch, made.choices.jaw, levels).plates


@pytest.mark.parametrize("seed", [106088, 106041, 108031])
def test_the_wall_of_a_sinus_teaches_neither_blur_nor_level(seed):
    """Two thin plates and a lining: once a wide plate of 77 to 80 % of cortex, blurred by 0.32 to
    0.38 mm for 0.20 to 0.27."""
    made, levels, plates = learnt(seed)
    soft, cortex = made.shape.grey[k.SOFT], made.shape.grey[k.CORTEX]
    assert levels.cortical - soft == pytest.approx(cortex - soft, rel=0.1)
    assert np.sqrt(plates.blur_variance_mm2) < 0.3


def test_thin_plates_are_no_wide_ones_less_bright():
    """With a blur narrower than the scan's they pass for it: once 87 % of cortex."""
    made, levels, _ = learnt(108027)
    factor, offset = 1.0, -3000.0
    soft, cortex = (factor * made.shape.grey[i] + offset for i in (k.SOFT, k.CORTEX))
    assert levels.cortical - soft == pytest.approx(cortex - soft, rel=0.07)


@pytest.mark.parametrize(("seed", "soft"), [(100483, 20.0), (100459, 29.0)])
def test_marrow_that_runs_out_of_a_small_field_is_no_soft_tissue(seed, soft):
    """Once soft tissue was air, and marrow soft tissue: levels that no proof lets pass."""
    made = real.case(seed)
    arch = arch_of(made.plan)
    classes = tissue_classes(
        Profiles.across(made.volume, arch), Profiles.upright(made.volume, arch)
    )
    assert classes.air is None
    assert classes.soft == pytest.approx(soft, abs=8.0)
    assert bone_levels(made.volume, arch).evidence.is_sound


def test_where_thin_plates_and_a_wide_blur_look_like_wide_ones_the_level_is_not_proven():
    """Plates of 0.41 mm in voxels of 0.4, no air: 691 and 1164 describe them alike; true 1500."""
    made = real.case(100485)
    levels = bone_levels(made.volume, arch_of(made.plan))
    assert levels.unproven is not None
    assert levels.unproven.code == "levels_cortex_unclear"
