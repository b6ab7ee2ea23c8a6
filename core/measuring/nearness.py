"""Which marked structures concern a fixture: those on its side of the mouth, or within reach.

Left and right come from patient coordinates: stations along the arch on either side of the marked
midline. Without a midline nothing is assumed about sides; only distance counts.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import numpy as np

from core.arch import Arch
from core.fixture import Fixture
from core.geometry import Array
from core.plans.plan import Plan
from core.structures import Foramen, PointMarks, Structure, Tapered

REACH_MM = 20.0
"""Within this distance a structure concerns a fixture, whatever the side."""

ROOT_REACH_MM = 15.0
"""Roots, existing implants and marks further away get no row (common practice, no source)."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Nearness:
    """Answers for one fixture.

    Parameters
    ----------
    plan : Plan
    arch : Arch
    fixture : Fixture
    """

    plan: Plan
    arch: Arch
    fixture: Fixture

    def concerns(self, structure: Structure) -> bool:
        """True where the structure gets rows for this fixture."""
        away = self.distance_mm(structure)
        if isinstance(structure, Tapered | PointMarks):
            return away <= ROOT_REACH_MM
        return away <= REACH_MM or self.same_side(structure)

    def same_side(self, structure: Structure) -> bool:
        """True where a mark of it lies on the fixture's side of the marked midline.

        Without a midline: where it comes within reach of the fixture.
        """
        if self.plan.midline is None:
            return self.distance_mm(structure) <= REACH_MM
        middle = self.arch.station(self.plan.midline)
        side = self.arch.station(self.fixture.platform) - middle
        return bool(((_stations(self.arch, structure) - middle) * side > 0).any())

    def distance_mm(self, structure: Structure) -> float:
        """Distance of the fixture's axis from the lines between a structure's marks, about."""
        marks = marks_of(structure)
        share = np.linspace(0.0, 1.0, 9)[:, None]
        lines = [a + share * (b - a) for a, b in pairwise(marks)]
        places = np.concatenate([marks, *lines])
        axis = self.fixture.platform + share * (self.fixture.apex - self.fixture.platform)
        return float(np.linalg.norm(places[:, None] - axis, axis=2).min())


@lru_cache(maxsize=256)
def _stations(arch: Arch, structure: Structure) -> Array:
    """(n,) stations of a structure's marks; remembered, for a drag asks again and again."""
    return arch.curve.nearest_stations(arch.level.project(marks_of(structure)))


def marks_of(structure: Structure) -> Array:
    """(n, 3) hand-placed marks of a structure."""
    if isinstance(structure, Foramen):
        return np.stack([structure.mesial, structure.distal])
    return structure.points
