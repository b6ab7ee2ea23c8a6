"""Whether the scan ends beside a fixture, too near for the bone's outside to be told there.

Where the scan is cut, marrow at the cut looks like the outside of the bone: there is no number.
"""

from __future__ import annotations

import numpy as np

from core.arch import FixtureFrame
from core.fixture import Fixture
from core.geometry import Array
from core.image.volume import Volume
from core.plans.limits import SurfaceSide

SURFACE_REACH_MM = 8.0
"""The outer bone surface is searched this far around a fixture."""

REMAINING_BONE_REACH_MM = 5.0
"""Remaining bone nearer than this to the scan's edge is not told from the edge."""

_TURNS_DEG = np.arange(-45.0, 46.0, 15.0)


def scan_ends_beside(
    volume: Volume, fixture: Fixture, frame: FixtureFrame, side: SurfaceSide, reach_mm: float
) -> bool:
    """True where something was not scanned within reach of one side of a fixture.

    Parameters
    ----------
    side : {'buccal', 'lingual', 'apical'}
        Buccal and lingual: within 45 degrees of that side, from the platform to the apex.
        Apical: below the whole apical end.
    reach_mm : float
        Counted from the fixture's surface.
    """
    steps = np.append(np.arange(1.0, reach_mm, 1.0), reach_mm)
    places = _beyond_apex(fixture, frame, steps) if side == "apical" else None
    if places is None:
        places = _beside(fixture, frame, steps, 0.0 if side == "buccal" else 180.0)
    return not bool(volume.scanned_at(places).all())


def _beside(fixture: Fixture, frame: FixtureFrame, steps: Array, turn_deg: float) -> Array:
    length = fixture.size.length_mm
    depths = np.linspace(0.0, length, max(2, round(length) + 1))
    outward = np.stack([frame.direction(float(turn)) for turn in turn_deg + _TURNS_DEG])
    axis = fixture.platform + depths[:, None] * fixture.towards_apex
    away = fixture.size.radius_at(depths)[:, None] + steps
    places = axis[:, None, None, :] + away[:, :, None, None] * outward
    return np.asarray(places.reshape(-1, 3))


def _beyond_apex(fixture: Fixture, frame: FixtureFrame, steps: Array) -> Array:
    radius = fixture.size.apical / 2
    ring = np.stack([frame.direction(float(turn)) for turn in np.arange(0.0, 360.0, 45.0)])
    ends = fixture.apex + np.concatenate([np.zeros((1, 3)), radius * ring])
    return np.asarray((ends[:, None] + steps[:, None] * fixture.towards_apex).reshape(-1, 3))
