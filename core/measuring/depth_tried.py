"""At which depth a fixture meets limits that it misses: every depth is measured, none is guessed.

No depth is recommended: that of a crown, or of the day, may have reasons of its own.
"""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import dataclass

import numpy as np

from core.errors import PlanError
from core.measurement import Measurement
from core.measuring.basis import Basis
from core.measuring.sizes_table import try_sizes
from core.plans.edit import find
from core.plans.edit_pose import fixture_deepened
from core.plans.plan import Plan
from core.plans.sizes import ListedSize

STEP_MM, FURTHEST_MM = 0.2, 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class DepthTried:
    """A depth at which the limits are met.

    Parameters
    ----------
    by_mm : float
        From where the fixture stands; + deeper.
    rows : mapping of str to Measurement
        The rows that were missed, as they were measured there.
    """

    by_mm: float
    rows: dict[str, Measurement]


def depth_that_meets(
    plan: Plan,
    fixture_id: str,
    missed: Collection[str],
    basis: Basis,
    *,
    also_missed: Collection[str] = (),
    cancelled: Callable[[], bool] = lambda: False,
) -> DepthTried | None:
    """The nearest depth within 2 mm at which rows meet their limits and no other limit is lost.

    Parameters
    ----------
    plan : Plan
    fixture_id : str
    missed : collection of str
        Ids of the rows that are to meet their limits.
    basis : Basis
    also_missed : collection of str
        Ids of other rows that miss theirs already: they may go on to.
    cancelled : callable

    Returns
    -------
    DepthTried or None
        None where there is no such depth, where the fixture is locked, or when it was cancelled.
    """
    fixture = find(plan, fixture_id)
    own = ListedSize(size=fixture.size)
    forgiven = {*missed, *also_missed}
    for away in np.arange(1, round(FURTHEST_MM / STEP_MM) + 1) * STEP_MM:
        for by_mm in (float(away), -float(away)):
            if cancelled():
                return None
            try:
                moved = fixture_deepened(plan, fixture_id, by_mm)
                (tried,) = try_sizes(moved, fixture_id, (own,), basis)
            except PlanError:
                continue
            rows = {m.id: m for m in tried.rows}
            met = {name for name, m in rows.items() if m.verdict == "meets limit"}
            if met >= set(missed) and met | forgiven >= set(rows):
                return DepthTried(by_mm=by_mm, rows={name: rows[name] for name in missed})
    return None
