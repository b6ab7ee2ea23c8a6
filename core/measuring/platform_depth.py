"""How deep a fixture's platform stands in the bone, side by side, as a ledger measured it."""

from __future__ import annotations

import math

from core.measurement_kinds import DepthDetails
from core.measuring.ledger import Ledger

OF_PLATFORM = "platform below bone"
NEEDED = ("buccal", "lingual")
"""Without both nobody knows how far the bone reaches."""

STEP_MM = 0.1


def platform_depths(ledger: Ledger, fixture_id: str) -> dict[str, float]:
    """Depth of the platform below the bone's edge by side, mm; + in the bone, - above it.

    Parameters
    ----------
    ledger : Ledger
    fixture_id : str

    Returns
    -------
    dict of str to float
        Only the sides that could be measured.
    """
    return {
        row.details.side: row.value
        for row in ledger.of(fixture_id)
        if isinstance(row.details, DepthDetails)
        and row.details.of == OF_PLATFORM
        and row.value is not None
    }


def to_the_edge_mm(ledger: Ledger, fixture_id: str) -> float | None:
    """How much deeper a platform lies level with the lowest edge of the bone around it.

    Parameters
    ----------
    ledger : Ledger
    fixture_id : str

    Returns
    -------
    float or None
        mm along the axis, whole tenths, never short of the edge; + deeper. None where the edge at
        cheek or tongue is not measured.
    """
    depths = platform_depths(ledger, fixture_id)
    if not all(side in depths for side in NEEDED):
        return None
    return math.ceil(round(-min(depths.values()) / STEP_MM, 6)) * STEP_MM
