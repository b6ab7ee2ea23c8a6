"""Rows that were measured stay while what they rest on is the same: a note moves no number.

A new field of the plan moves every row until it is named here.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator, Mapping
from dataclasses import fields

import numpy as np

from core.measurement import Measurement
from core.plans.plan import Plan

ABOUT_THE_WORK = frozenset(
    {
        "scan", "notes", "history", "revision", "sign_off", "interpreted_by", "interpreted_at",
        "side_check", "locked", "depth_from", "accepted",
    }
)  # fmt: skip
"""Fields of a plan that no row is measured from: they say who did what, not where things are."""

BESIDE_THE_BONE = frozenset({"fixtures", "sites", "rulers", "angles", "declared", "stent_axes"})
"""Further fields that no row of bone is measured from; the subject itself is named beside them."""

_ALL = tuple(field.name for field in fields(Plan))
_MOST_KEPT = 64

RestsOn = tuple[object, ...]


def rests_on(plan: Plan, *more: object, without: frozenset[str] = ABOUT_THE_WORK) -> RestsOn:
    """What rows rest on: the fields of a plan that may move them, and whatever else is named."""
    return (*(getattr(plan, name) for name in _ALL if name not in without), *more)


def alike(one: object, other: object) -> bool:
    """True where nothing can be measured differently: the same thing, or equal values of one kind.

    Structures and fixtures are never compared by their marks: an edit makes them anew.
    """
    if one is other:
        return True
    if isinstance(one, np.ndarray) and isinstance(other, np.ndarray):
        return np.array_equal(one, other)
    if isinstance(one, tuple) and isinstance(other, tuple):
        return len(one) == len(other) and all(map(alike, one, other))
    if isinstance(one, Mapping) and isinstance(other, Mapping):
        return one.keys() == other.keys() and all(alike(one[key], other[key]) for key in one)
    return type(one) is type(other) and bool(one == other)


class KeptRows:
    """Finished rows of one basis by name; asked by several workers at once."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._kept: dict[str, tuple[RestsOn, tuple[Measurement, ...]]] = {}

    def rows(
        self, name: str, rest: RestsOn, make: Callable[[], Iterator[Measurement]]
    ) -> Iterator[Measurement]:
        """The rows as they were measured, or measured now; kept only once they all are there.

        Parameters
        ----------
        name : str
            Of the rows of one kind and subject: only its newest rows are kept.
        rest : RestsOn
            See `rests_on`.
        make : callable
            Measures them.
        """
        with self._lock:
            kept = self._kept.get(name)
        if kept is not None and alike(kept[0], rest):
            yield from kept[1]
            return
        made: list[Measurement] = []
        for row in make():
            made.append(row)
            yield row
        with self._lock:
            if len(self._kept) >= _MOST_KEPT:
                self._kept.clear()
            self._kept[name] = (rest, tuple(made))
