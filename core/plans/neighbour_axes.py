"""Axes of the teeth beside a fixture, from their roots as they were marked."""

from __future__ import annotations

import numpy as np

from core.fixture import Fixture
from core.geometry import Array, unit
from core.identity import Tooth
from core.plans.plan import Plan
from core.structures import Tapered


def neighbour_axes(plan: Plan, fixture: Fixture) -> dict[str, Array]:
    """Direction of each neighbour, towards its apex, by its tooth in the order of the marks.

    Of a tooth with several roots it is the mean of their directions.

    Parameters
    ----------
    plan : Plan
    fixture : Fixture
        Which way along an axis its apex lies is told by the fixture's own.
    """
    if not fixture.tooth:
        return {}
    near = {tooth.iso for tooth in Tooth.of(fixture.tooth).neighbours()}
    found: dict[str, list[Array]] = {}
    for root in plan.structures:
        if isinstance(root, Tapered) and root.kind == "root" and root.tooth in near:
            axis = unit(root.points[-1] - root.points[0])
            same_way = float(axis @ fixture.towards_apex) >= 0
            found.setdefault(root.tooth, []).append(axis if same_way else -axis)
    return {tooth: unit(np.mean(axes, axis=0)) for tooth, axes in found.items()}


def mean_axis(axes: dict[str, Array]) -> Array | None:
    """(3,) the direction midway between both neighbours; None unless both are known.

    Parameters
    ----------
    axes : dict
        As of `neighbour_axes`; each tooth counts once, however many roots it has.
    """
    return unit(np.mean(list(axes.values()), axis=0)) if len(axes) == 2 else None
