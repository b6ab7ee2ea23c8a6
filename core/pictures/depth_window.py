"""Which part of a fixture's axis a picture shows, so that no canal near its plane is cut off."""

from __future__ import annotations

import numpy as np

from core.arch import Arch, fixture_frame
from core.distances.tubes import tubes_of
from core.fixture import Fixture
from core.plans.plan import Plan
from core.structures import Course

_NEAR_PLANE_MM = 3.0
_BESIDE_MM = 18.0
_DEEPEST_MM = 45.0
_MARGIN_MM = 2.0
_STEP_MM = 0.5
_ABOVE_MM = 3.0
"""What of the crown's side of the platform is always shown."""


def deepest_structure_mm(plan: Plan, arch: Arch, fixture: Fixture) -> float:
    """Depth below the platform of the lowest canal, loop or vessel near the bucco-lingual plane.

    Parameters
    ----------
    plan : Plan
    arch : Arch
    fixture : Fixture

    Returns
    -------
    float
        mm along the axis, its wall included; the fixture's length where there is none.
    """
    frame = fixture_frame(fixture, arch)
    deepest = fixture.size.length_mm
    for structure in plan.structures:
        if not isinstance(structure, Course) or structure.kind == "border":
            continue
        for tube in tubes_of(structure):
            steps = int(tube.length_mm / _STEP_MM) + 2
            centres, radii = tube.straight_at(np.linspace(0.0, tube.length_mm, steps))
            offset = centres - fixture.platform
            depth = offset @ fixture.towards_apex
            near = (np.abs(offset @ frame.m) <= _NEAR_PLANE_MM) & (depth <= _DEEPEST_MM)
            near &= np.abs(offset @ frame.b) <= _BESIDE_MM
            if near.any():
                deepest = max(deepest, float((depth + radii)[near].max()))
    return deepest


def depth_window(
    deepest_mm: float, height_mm: float, centre_mm: float, *, most_mm: float
) -> tuple[float, float]:
    """Centre and height of a picture that shows platform and deepest structure.

    Parameters
    ----------
    deepest_mm : float
        See `deepest_structure_mm`.
    height_mm : float
        Of the picture at the scale that is wished for.
    centre_mm : float
        Depth in its middle where nothing has to give.
    most_mm : float
        Height that the picture may have at most, at a smaller scale.

    Returns
    -------
    (centre, height) in mm
    """
    low = deepest_mm + _MARGIN_MM
    height = min(max(height_mm, low + _ABOVE_MM), most_mm)
    return max(centre_mm, low - height / 2), height
