"""Answers about the side, and what they move: a plan in, another plan out."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

from numpy.typing import ArrayLike

from core.arch import Arch
from core.direction import CheekAnswer, Region, SideAnswers, as_point
from core.errors import PlanError
from core.geometry import vector
from core.identity import Side
from core.plans.edit import refuse_locked, renamed, taken_ids
from core.plans.plan import Plan
from core.plans.side import planned_teeth, traced
from core.structures import Foramen

_SIDED = re.compile(r"(.*-)?(left|right)(-\d+)?")


def with_region(plan: Plan, region: Region) -> Plan:
    """Say which teeth are in the scan."""
    return _answered(plan, replace(plan.side_answers, region=region))


def with_front_end(plan: Plan, end_mm: ArrayLike) -> Plan:
    """Say which end of the traced piece is nearer the front teeth."""
    return _answered(plan, replace(plan.side_answers, front_end=as_point(vector(end_mm))))


def with_right_end(plan: Plan, end_mm: ArrayLike) -> Plan:
    """Say which end of a trace round the front lies on the patient's right."""
    return _answered(plan, replace(plan.side_answers, right_end=as_point(vector(end_mm))))


def with_cheek(plan: Plan, at_mm: ArrayLike, towards: ArrayLike) -> Plan:
    """Say, at a section, on which side the cheek lies: towards it, away from the tongue.

    Parameters
    ----------
    plan : Plan
    at_mm : (3,) patient LPS mm
    towards : (3,) direction, patient LPS
    """
    cheek = CheekAnswer(at=as_point(vector(at_mm)), towards=as_point(vector(towards)))
    return _answered(plan, replace(plan.side_answers, cheek=cheek))


def without_side_answers(plan: Plan) -> Plan:
    """Take all answers about the side back, so that they are asked again."""
    return _answered(plan, SideAnswers())


def _answered(plan: Plan, answers: SideAnswers) -> Plan:
    refuse_locked(plan, "arch")
    return side_kept(plan, replace(plan, side_answers=answers))


def side_kept(before: Plan, after: Plan) -> Plan:
    """What hangs on the direction, after an edit that may have turned it.

    Where travel turned round, stations of sites count from the other end. Where travel turned or
    the side of the teeth changed, a foramen's edges change names, what was named by the side is
    renamed, and the comparison with the patient is asked for again.
    """
    turned = _has_turned(before, after)
    side = _one_side(after)
    if turned is not None:
        length = turned.length_mm
        after = replace(
            after,
            sites=tuple(replace(s, station_mm=length - s.station_mm) for s in after.sites),
        )
    other_side = side is not None and side != _one_side(before)
    if side is not None:
        after = _named_by(after, side)
    if turned is None and (not other_side or _one_side(before) is None):
        return after
    if (turned is None) == other_side:
        after = _edges_changed(after)
    return replace(after, side_check=None)


def _has_turned(before: Plan, after: Plan) -> Arch | None:
    """The arch whose travel runs the other way than before; None where it did not turn."""
    try:
        old, new = traced(before), traced(after)
    except PlanError:
        return None
    middle = new.frame(new.length_mm / 2)
    way = old.frame(old.station(middle.origin)).travel
    return new if float(way @ middle.travel) < 0 else None


def _one_side(plan: Plan) -> Side | None:
    """The one side that the scan holds: as named, else the planned teeth's in a back piece."""
    if plan.side_answers.region is not None:
        return plan.side_answers.side
    try:
        whole = traced(plan).direction.round_the_front
    except PlanError:
        return None
    sides = {tooth.side for tooth in planned_teeth(plan)}
    return sides.pop() if len(sides) == 1 and not whole else None


def _named_by(plan: Plan, side: Side) -> Plan:
    """Marks called after a side, by the side that the scan is known to hold."""
    for structure in plan.structures:
        told = _SIDED.fullmatch(structure.id)
        if told is None or told[2] == side or structure.id in plan.locked:
            continue
        stem = f"{told[1] or ''}{side}"
        number, name = 2, stem
        while name in taken_ids(plan):
            name, number = f"{stem}-{number}", number + 1
        plan = renamed(plan, structure.id, name)
    return plan


def _edges_changed(plan: Plan) -> Plan:
    """Foramina with their mesial and distal edges changed round."""

    def change(thing: Any) -> Any:
        if not isinstance(thing, Foramen):
            return thing
        return replace(thing, mesial=thing.distal, distal=thing.mesial)

    return replace(plan, structures=tuple(change(s) for s in plan.structures))
