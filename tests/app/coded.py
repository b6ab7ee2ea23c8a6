"""A scan whose places and sides are known by construction, and ways to wait for a bench."""

from __future__ import annotations

import numpy as np

from core.geometry import vector
from core.image.volume import ScanIdentity, Volume
from core.level import Level
from core.plans.plan import Plan

VOXEL_MM = 0.4
BLOB_MM = 0.7
"""Standard deviation of a bright ball: wide against the voxel, so that its middle is its centre."""


def arch_points(radius_mm: float = 22.0) -> np.ndarray:
    """Points on a half circle open to the back: from the patient's right (-x) to the left."""
    turn = np.radians(np.linspace(180.0, 360.0, 9))
    return np.stack([radius_mm * np.cos(turn), radius_mm * np.sin(turn), np.zeros(9)], axis=1)


def plan(**changes) -> Plan:
    values = {
        "jaw": "lower",
        "level": Level(origin=vector((0, 0, 0)), up=vector((0, 0, 1))),
        "arch_points": arch_points(),
    }
    return Plan(**(values | changes))


def volume(balls_mm, *, flip: bool = False) -> Volume:
    """Dark volume of 56 x 56 x 40 mm around the origin with a bright ball at each place.

    With `flip` the same patient is stored the other way round in all three axes: what is left
    must not depend on how the voxels lie.
    """
    shape = (100, 140, 140)
    half = (np.array(shape[::-1]) - 1) / 2 * VOXEL_MM
    sign = -1.0 if flip else 1.0
    affine = np.eye(4)
    affine[:3, :3] *= sign * VOXEL_MM
    affine[:3, 3] = -sign * half
    k, j, i = np.indices(shape, dtype=np.float32)
    x, y, z = (affine[a, a] * n + affine[a, 3] for a, n in enumerate((i, j, k)))
    grey = np.zeros(shape, dtype=np.float32)
    for ball in np.atleast_2d(balls_mm):
        square = (x - ball[0]) ** 2 + (y - ball[1]) ** 2 + (z - ball[2]) ** 2
        grey += 1000.0 * np.exp(-square / (2 * BLOB_MM**2))
    return Volume(
        voxels=grey.astype(np.int16),
        mm_from_ijk=affine,
        made_up=np.zeros(shape[0], dtype=bool),
        identity=ScanIdentity(patient_name="QUARRY^Sample", series_uid="1.2.3"),
    )
