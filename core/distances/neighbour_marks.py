"""Marks on the two neighbours of a fixture, told apart by the side they stand on."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace

import numpy as np

from core.distances.entry import CrownFrame
from core.fixture import Fixture
from core.measurement import Reading
from core.structures import PointMarks, Structure

REACH_MM = 12.0
"""Along the arch, from the platform: further off stands the neighbour of another gap."""

BESIDE_MM = 8.0
"""Across the arch, from the platform."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SideMarks:
    """All marks of one kind on one side, as one set, with the key that each has in the plan."""

    marks: PointMarks
    keys: tuple[str, ...]


def side_marks(
    fixture: Fixture,
    frame: CrownFrame,
    structures: Iterable[Structure],
    wanted: Callable[[PointMarks], bool],
) -> dict[str, SideMarks]:
    """Marks by ``mesial`` and ``distal`` of the platform; a side without marks is left out.

    Parameters
    ----------
    fixture : Fixture
    frame : CrownFrame
    structures : iterable of Structure
    wanted : callable
        True for the marks that count.
    """
    found: dict[str, list[tuple[np.ndarray, str]]] = {}
    for structure in structures:
        if not isinstance(structure, PointMarks) or not wanted(structure):
            continue
        for index, point in enumerate(structure.points):
            offset = point - fixture.platform
            along, beside = float(offset @ frame.m), float(offset @ frame.b)
            if abs(along) > REACH_MM or abs(beside) > BESIDE_MM:
                continue
            side = "mesial" if along > 0 else "distal"
            found.setdefault(side, []).append((point, f"{structure.id}/{index}"))
    return {
        side: SideMarks(
            marks=PointMarks(id=side, kind="contact", points=np.stack([p for p, _ in entries])),
            keys=tuple(key for _, key in entries),
        )
        for side, entries in found.items()
    }


def with_plan_keys(reading: Reading, *sides: SideMarks) -> Reading:
    """The reading with the marks' keys of the plan in place of those of the joined sets."""
    keys = {
        f"{side.marks.id}/{index}": key for side in sides for index, key in enumerate(side.keys)
    }
    marks = tuple(replace(m, mark=keys.get(m.mark, m.mark)) for m in reading.marks)
    return replace(reading, marks=marks)
