"""Whether remaining bone and the distance to the bone's surface contradict each other."""

from __future__ import annotations

from collections.abc import Iterable

from core.measurement import Measurement
from core.measurement_kinds import ClearanceDetails, RemainingBoneDetails


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
