"""What is proposed for a scan before anybody clicked, and what its jaw plane rests on."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

from core.geometry import Array
from core.level import Level
from core.plans.plan import Jaw

PlaneFrom: TypeAlias = Literal["teeth", "crest", "along", "scanner"]
"""``along``: how the plane lies along teeth or crest was found, how it leans across the jaw was
not; ``scanner``: no plane was found, it is only level in the scanner, though an arch may be."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Proposal:
    """Shown, never measured on before a person confirmed it.

    Parameters
    ----------
    level : Level
        Where nothing was found, level in the scanner and through the middle of the scan: somebody
        must see something to trace the arch on.
    jaw : {'lower', 'upper'} or None
    arch_points : (n, 3) patient LPS mm, or None
        On the plane; None where neither teeth nor a crest were recognised.
    plane_from : {'teeth', 'crest', 'along', 'scanner'}
    crown_tips : (n, 3) patient LPS mm, or None
        Tips of the row's teeth, which a plane is held against; None where none were recognised.
    """

    level: Level
    jaw: Jaw | None = None
    arch_points: Array | None = None
    plane_from: PlaneFrom = "scanner"
    crown_tips: Array | None = None
