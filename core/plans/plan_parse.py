"""Plan document (JSON values) → `core.plans.plan.Plan`; a refusal names the place in the file."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from core.errors import PlanError
from core.plans.plan import Plan
from core.plans.plan_reader import At
from core.plans.plan_table import PLAN
from core.words.catalogue import Words, message


def parse(document: Mapping[str, Any]) -> Plan:
    """Read a plan document of the present version.

    Parameters
    ----------
    document : mapping
        JSON values; kept in `Plan.document`, so that keys unknown here survive a save.

    Raises
    ------
    PlanError
        ``plan-invalid``, ``plan-missing-key``, ``plan-invalid-value``, ``plan-wrong-tooth``,
        ``plan-same-id`` or ``plan-reason-missing``.
    """
    top, values = At(dict(document)), dict[str, Any]()
    for key in PLAN:
        values |= key.read(top)
    plan = Plan(document=document, **values)
    # A clearance's target is the id of a structure or of a fixture: they share one set of names.
    _refuse_same_ids(
        message("plans.file.structures-and-fixtures"), (*plan.structures, *plan.fixtures)
    )
    _refuse_same_ids("sites", plan.sites)
    _refuse_same_ids("stent_axes", plan.stent_axes)
    _refuse_same_ids(message("plans.file.rulers-and-angles"), (*plan.rulers, *plan.angles))
    return plan


def _refuse_same_ids(where: Words, items: Iterable[Any]) -> None:
    seen: set[str] = set()
    for item in items:
        if item.id in seen:
            raise PlanError("plan-same-id", where=where, id=item.id)
        seen.add(item.id)
