"""Compiles, or loads from the cache, what sampling needs before the first picture is asked for."""

from __future__ import annotations

from typing import Any

import numpy as np

from core.image.sampling import at_points
from core.image.volume import Volume


def prepare(dtype: Any) -> None:
    """Compile, or load from the cache, what sampling a volume of this type needs."""
    tiny = Volume(
        voxels=np.zeros((2, 2, 2), dtype=dtype), mm_from_ijk=np.eye(4), made_up=np.zeros(2, bool)
    )
    at_points(tiny, np.zeros((1, 3)))
