"""Where what stands on a side, or on the other, denies the distance to the bone's surface there."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from core.bone.surface import SurfaceSide
from core.measurement import Measurement, Reading
from core.measurement_kinds import ClearanceDetails, RemainingBoneDetails

_NEAR_AXIS_MM = 0.75
"""A surface found this near to the axis may pass beyond it between the rays, which lie as far
apart (`core.bone.surface`)."""

_OPPOSITE: Mapping[SurfaceSide, SurfaceSide] = {"buccal": "lingual", "lingual": "buccal"}


def axis_may_be_out(
    side: SurfaceSide, found: Mapping[SurfaceSide, Reading], radius_mm: float
) -> bool:
    """Whether the surface of the other side comes so near to the axis that it may pass beyond.

    Sides are told from the axis. Where the bone's surface of one side passes beyond the axis, it
    lies on the other side, inside the fixture, and nothing on that side is clear of it.

    Parameters
    ----------
    side : {'buccal', 'lingual', 'apical'}
        Whose reading says that the fixture stands inside the bone.
    found : mapping of side → Reading
        Signed distances, mm, negative where the fixture stands out of the bone.
    radius_mm : float
        The fixture's largest.
    """
    own = found[side].value
    other = found.get(_OPPOSITE[side]) if side in _OPPOSITE else None
    if own is None or own <= 0.0 or other is None or other.value is None:
        return False
    return other.value < _NEAR_AXIS_MM - radius_mm


def is_contradicted(surface: Measurement, remaining: Iterable[Measurement]) -> bool:
    """Whether a fixture stands inside the bone by the one reading of a side, outside by the other.

    The way to the surface is never longer than the bone along a ray of the same side. A socket or
    a root ends the remaining bone at 0 and is no contradiction; below 0 the fixture stands out of
    the bone, and then its surface is not further on. Both are taken with their uncertainty.

    Parameters
    ----------
    surface : Measurement
        Distance to the outer bone surface on one side.
    remaining : iterable of Measurement
        Rows of remaining bone of the same fixture.
    """
    if not isinstance(surface.details, ClearanceDetails):
        return False
    if surface.value is None or surface.budget is None:
        return False
    if surface.value - surface.budget.expanded <= 0.0:
        return False
    return any(
        isinstance(row.details, RemainingBoneDetails)
        and row.details.side == surface.details.side
        and row.value is not None
        and row.budget is not None
        and row.value + row.budget.expanded < 0.0
        for row in remaining
    )
