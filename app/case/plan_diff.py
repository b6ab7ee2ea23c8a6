"""Compares two plans: whether the arch is the same, and whether a signed one may become another."""

from __future__ import annotations

import numpy as np

from core.arch import Arch
from core.errors import PlanError
from core.geometry import Array
from core.plans.history import sign_off_state
from core.plans.plan import Plan
from core.plans.side import side_told
from core.plans.side import traced as trace_of
from core.words.catalogue import message

SIGNED = message("case.plan_diff.not-changed-this-plan-is")


def why_shut(now: Plan, other: Plan, *, reading: str) -> str:
    """The sentence that refuses a change; empty: it may be made.

    Parameters
    ----------
    reading : str
        Why this case is opened for reading only; empty: it is not.
    """
    return reading or (str(SIGNED) if _is_shut(now, other) else "")


def _is_shut(now: Plan, other: Plan) -> bool:
    """True where a change would move what a signed plan is measured from."""
    if not now.locked or sign_off_state(now) != "signed":
        return False
    return (
        now.jaw != other.jaw
        or now.level is not other.level
        or now.sites != other.sites
        or not _same_points(now.midline, other.midline)
        or not same_arch(now, other)
    )


def same_arch(a: Plan, b: Plan) -> bool:
    """True where two plans have the same arch; their arrays may be copies of each other."""
    if a is b:
        return True
    if a.level is not b.level or side_told(a) != side_told(b):
        return False
    return _same_points(a.arch_points, b.arch_points)


def _same_points(a: Array | None, b: Array | None) -> bool:
    if a is None or b is None:
        return a is b
    return np.array_equal(a, b)


def traced(plan: Plan) -> Arch | None:
    """The arch of a plan; None until there is one."""
    if plan.level is None or plan.arch_points is None or len(plan.arch_points) < 2:
        return None
    try:
        return trace_of(plan)
    except PlanError:
        return None  # marks that share one place: there is no arch yet
