"""What a practice brings to the day: its drills and sizes, how its tube stands, the pin."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from core.image.radiograph import Tube
from core.measuring.drill_table import Drill
from core.plans.sizes import ListedSize, default_sizes

PIN_DIAMETER_MM = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Pin:
    """A pin in the first hole.

    Parameters
    ----------
    depth_mm : float or None
        Below the platform; the fixture's whole length when left out.
    above_mm : float
        What stands out above the platform.
    """

    depth_mm: float | None = None
    above_mm: float = 6.0
    diameter_mm: float = PIN_DIAMETER_MM


@dataclass(frozen=True, slots=True, kw_only=True)
class Day:
    """Drills, sizes, tube and pin of one practice.

    Parameters
    ----------
    drills : sequence of Drill
        The user's own; empty: a drill of which nothing is known.
    sizes : sequence of ListedSize
        Its list of fixture sizes; the shipped one when left out.
    tube : Tube
    pin : Pin
        Both of the expected check radiograph.
    """

    drills: Sequence[Drill] = ()
    sizes: Sequence[ListedSize] = field(default_factory=default_sizes)
    tube: Tube = field(default_factory=Tube)
    pin: Pin = field(default_factory=Pin)
