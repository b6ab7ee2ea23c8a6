"""A small case with its scan, made once: the right plan of a small invented jaw."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from core.image.volume import ScanIdentity, Volume
from core.plans.plan import Plan
from core.plans.plan_parse import parse
from sample_volumes import small_jaw


@lru_cache(maxsize=1)
def case() -> tuple[Plan, Volume]:
    """Plan and volume."""
    voxels, affine, truth = small_jaw(4, voxel_mm=0.4)
    plan = parse({k: v for k, v in truth["plan"].items() if k != "scan"})
    volume = Volume(
        voxels=voxels,
        mm_from_ijk=affine,
        made_up=np.zeros(len(voxels), dtype=bool),
        identity=ScanIdentity(study_date="2026-05-01"),
    )
    return plan, volume
