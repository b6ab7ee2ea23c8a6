"""Grey values beside a fixture: of this scan, not HU. Off by default, and never on the sheet.

Cone-beam grey values differ between scanners, fields and places in one scan; no density and no
class of bone is derived from them (published comparisons: the design's facts, bone density).
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from core.arch import FixtureFrame
from core.fixture import Fixture
from core.geometry import Array
from core.image import sampling
from core.image.volume import Volume
from core.measurement import Note
from core.words.catalogue import message

LABEL = message("image.grey.label")
BESIDE_MM = 1.0
STEP_MM = 1.0

_ACROSS_MM = 0.25
_TURNS = 36


@dataclass(frozen=True, slots=True, kw_only=True)
class GreyAtDepth:
    """Grey values in a ring beside the fixture.

    Parameters
    ----------
    depth_mm : float
        Middle of the ring, from the platform.
    mean, sd : float or None
        None where part of the ring was not scanned.
    samples : int
    note : Note or None
        Why there is no value.
    """

    depth_mm: float
    mean: float | None
    sd: float | None
    samples: int
    note: Note | None = None


def grey_beside(
    volume: Volume, fixture: Fixture, frame: FixtureFrame, *, beside_mm: float = BESIDE_MM
) -> tuple[GreyAtDepth, ...]:
    """Mean and standard deviation by depth, from the fixture's surface outwards.

    Parameters
    ----------
    beside_mm : float
        Thickness of the ring.

    Returns
    -------
    One row a millimetre of depth, from the platform to the apex.
    """
    length = fixture.size.length_mm
    edges = np.append(np.arange(0.0, length - 1e-9, STEP_MM), length)
    return tuple(
        _ring(volume, fixture, frame, float(a), float(b), beside_mm) for a, b in pairwise(edges)
    )


def _ring(  # noqa: PLR0917 - scan, fixture and frame, then the ring
    volume: Volume, fixture: Fixture, frame: FixtureFrame, top: float, base: float, beside: float
) -> GreyAtDepth:
    angle = np.arange(_TURNS) * (2 * np.pi / _TURNS)
    rays = np.cos(angle)[:, None] * frame.b + np.sin(angle)[:, None] * frame.m
    depths = np.linspace(top, base, max(round((base - top) / _ACROSS_MM), 1) + 1)
    across = np.linspace(0.0, beside, max(round(beside / _ACROSS_MM), 1) + 1)
    points = (
        fixture.platform
        - depths[:, None, None, None] * frame.a
        + (fixture.size.radius_at(depths)[:, None, None, None] + across[:, None, None]) * rays
    )
    grey = _samples(volume, points.reshape(-1, 3))
    middle = 0.5 * (top + base)
    if not np.isfinite(grey).all():
        return GreyAtDepth(
            depth_mm=middle, mean=None, sd=None, samples=0, note=Note("grey-not-scanned")
        )
    return GreyAtDepth(
        depth_mm=middle, mean=float(grey.mean()), sd=float(grey.std()), samples=len(grey)
    )


def _samples(volume: Volume, points_mm: Array) -> Array:
    return np.asarray(sampling.at_points(volume, points_mm), dtype=np.float64)
