"""What was learnt of a scan along an arch is kept, so it is learnt once, whoever asks."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable, Sequence
from typing import Generic, TypeVar

from core.arch import Arch
from core.image.volume import Volume
from core.plans.plan import TissuePoint

_KEPT = 8
"""A few arches of a few scans: the one at hand, and those that undo or a second case go back to.
What is kept are levels, not voxels."""

Learnt = TypeVar("Learnt")


class LearntOnce(Generic[Learnt]):
    """Remembers by the exact contents of what the learning rests on."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._known: OrderedDict[Hashable, Learnt] = OrderedDict()

    def get(self, key: Hashable, learn: Callable[[], Learnt]) -> Learnt:
        """What is known under a key, or learnt now. Two threads at once both learn the same.

        Parameters
        ----------
        key : hashable
            Everything that the learning rests on: see `scan_key`, `arch_key`, `points_key`.
        learn : callable
            Called outside of the lock; what it raises is not remembered.
        """
        with self._lock:
            if key in self._known:
                self._known.move_to_end(key)
                return self._known[key]
        found = learn()
        with self._lock:
            self._known[key] = found
            while len(self._known) > _KEPT:
                self._known.popitem(last=False)
        return found


def scan_key(volume: Volume) -> Hashable:
    """The exact contents of a scan: every voxel, where it lies and what its number means."""
    field = None if volume.field is None else volume.field.tobytes()
    return (
        volume.fingerprint(),
        volume.voxels.dtype.str,
        volume.mm_from_ijk.tobytes(),
        volume.slope,
        volume.intercept,
        volume.padding,
        field,
        volume.made_up.tobytes(),
    )


def arch_key(arch: Arch) -> Hashable:
    """The exact course of an arch and of its jaw plane."""
    curve, level = arch.curve, arch.level
    parts = (curve.points_mm, curve.mark_stations, level.origin, level.up)
    return tuple(part.tobytes() for part in parts)


def points_key(points: Sequence[TissuePoint]) -> Hashable:
    """The exact places where a person pointed at tissues."""
    return tuple((point.tissue, point.at.tobytes()) for point in points)
