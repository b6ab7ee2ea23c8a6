"""One random case: the scan, the plan and the truth, from a seed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from core.image.volume import Volume
from core.plans.plan import Plan
from tests.reference.random_jaws.draw import Choices, choices
from tests.reference.random_jaws.image import scan_of
from tests.reference.random_jaws.plan import plan_of
from tests.reference.random_jaws.shape import Shape, shape_of
from tests.reference.random_jaws.truth import truths


@dataclass(frozen=True, kw_only=True, eq=False)
class Case:
    """A scan, a plan for it, and the truth.

    ``truth`` holds mm by the id of the ledger's row (``fixture/wall/buccal``); 8.0 of walls and
    of the bone surface means 8.0 or more; rows that are not in it have no one truth. ``edges``:
    by the same ids, (point, unit direction outwards) of the edges that the value rests on.
    ``unsteady``: see `Truth`.
    """

    choices: Choices
    shape: Shape
    volume: Volume
    plan: Plan
    truth: Mapping[str, float]
    edges: Mapping[str, list[tuple[np.ndarray, np.ndarray]]]
    unsteady: frozenset[str] = frozenset()


def case(seed: int) -> Case:
    """The case of a seed."""
    return case_of(choices(seed))


def case_of(c: Choices) -> Case:
    """The case of drawn conditions, or of conditions changed by hand."""
    return with_volume(c, scan_of(shape_of(c), c))


def with_volume(c: Choices, volume: Volume) -> Case:
    """The case of drawn conditions on a scan that was made of their shape otherwise."""
    shape = shape_of(c)
    plan = plan_of(shape, c)
    truth = truths(shape, c, plan)
    return Case(
        choices=c,
        shape=shape,
        volume=volume,
        plan=plan,
        truth=truth.mm,
        edges=truth.edges,
        unsteady=frozenset(truth.unsteady),
    )
