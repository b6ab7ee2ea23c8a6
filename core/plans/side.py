"""The side of a plan: its arch in the patient's direction, what is still asked, what disagrees."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike

from core.arch import Arch, station_words, tooth_doubt
from core.direction import (
    MIN_APART_MM,
    NamedPlace,
    Question,
    Region,
    SideAnswers,
    as_point,
    from_the_right,
    question_code,
)
from core.errors import PlanError
from core.findings import Finding
from core.fixture import Fixture, FixtureSize
from core.geometry import vector
from core.identity import Side, Tooth
from core.level import Level
from core.plans.plan import Plan
from core.plans.plan_checks import NEAR_MIDLINE_MM, side_findings, side_of_x
from core.structures import Tapered
from core.words.catalogue import message
from core.words.numbers import Figure
from core.words.values import listed

FRONT_TEETH = 3
"""Incisors and canine: cheek and tongue do not tell left from right there."""

NEAR_FOREMOST_MM = 5.0
"""The midline lies this near to the foremost point of the trace, or is marked (own choice, no
source)."""

_SAGITTA_MM = 0.01

_ANY_SIZE = FixtureSize(diameter_mm=4.0, length_mm=10.0)

_LAST_IN_FRONT = 5
"""A scan of front teeth may reach to the premolars."""

CONTRADICTIONS = frozenset(
    {
        "side-signs-disagree",
        "side-against-tooth",
        "teeth-against-scan",
        "teeth-of-both-sides",
        "teeth-out-of-order",
        "side-check-against-scan",
        "tooth-against-jaw",
        "tooth-against-side-check",
        "tooth-against-place",
        "place-against-side-check",
    }
)
"""Findings that leave open which side is measured. They outrank every number: no verdict, no
signature, no page that could be taken to the chair."""


def arch_of(plan: Plan) -> Arch:
    """The plan's arch.

    Raises
    ------
    PlanError
        ``plan-not-ready`` until jaw, jaw plane and arch are there.
    """
    missing = [
        words
        for words, value in (
            (message("plans.missing.which-jaw"), plan.known_jaw),
            (message("plans.missing.jaw-plane"), plan.level),
            (message("plans.missing.arch"), plan.arch_points),
        )
        if value is None
    ]
    if missing:
        raise PlanError("plan-not-ready", missing=listed(missing))
    return traced(plan)


def traced(plan: Plan) -> Arch:
    """The arch of a plan that need not name its jaw yet.

    Raises
    ------
    PlanError
        ``plan-not-ready`` without jaw plane or arch; ``arch-too-short``.
    """
    if plan.level is None or plan.arch_points is None:
        key = "plans.missing.jaw-plane" if plan.level is None else "plans.missing.arch"
        raise PlanError("plan-not-ready", missing=message(key))
    return _traced(plan.arch_points.tobytes(), plan.level, *side_told(plan))


def side_told(plan: Plan) -> tuple[SideAnswers, Region | None, tuple[NamedPlace, ...]]:
    """All that a plan says about its side, beside jaw plane and trace; equal where it is equal."""
    return plan.side_answers, planned_region(plan), named_roots(plan)


@lru_cache(maxsize=8)
def _traced(
    points: bytes,
    level: Level,
    answers: SideAnswers,
    planned: Region | None,
    named: tuple[NamedPlace, ...],
) -> Arch:
    """The arch through float64 points; remembered, for every step of a drag asks for the same."""
    marks = np.frombuffer(points).reshape(-1, 3)
    return Arch.trace(marks, level=level, answers=answers, planned=planned, named=named)


def planned_teeth(plan: Plan) -> tuple[Tooth, ...]:
    """Teeth of fixtures and sites, each once."""
    numbers = [f.tooth for f in plan.fixtures] + [s.tooth for s in plan.sites]
    return tuple(Tooth.of(number) for number in dict.fromkeys(numbers) if number)


def planned_region(plan: Plan) -> Region | None:
    """Where the planned teeth stand, as far as they say: back teeth of one side."""
    teeth = planned_teeth(plan)
    sides = {tooth.side for tooth in teeth}
    if len(sides) != 1 or not any(tooth.position > FRONT_TEETH for tooth in teeth):
        return None
    return "left back" if sides == {"left"} else "right back"


def named_roots(plan: Plan) -> tuple[NamedPlace, ...]:
    """Marked roots of this jaw with their teeth, each where it enters the bone."""
    return tuple(
        (Tooth.of(s.tooth), as_point(s.points[0]))
        for s in plan.structures
        if isinstance(s, Tapered) and s.tooth and Tooth.of(s.tooth).jaw == plan.known_jaw
    )


def open_question(plan: Plan, arch: Arch) -> Question | None:
    """What a person must still say before anything is measured; None: enough is known.

    Left and right of a trace round the front teeth follow from the scan alone, and a scan can be
    stored mirrored. Back teeth carry their side in their number, and the cheek there must lie on
    it; front teeth need a place that is clearly left or right of the middle.
    """
    if arch.direction.state == "contradicted":
        return None
    if arch.direction.ask:
        return arch.direction.ask[0]
    front = [
        at
        for _, tooth, at in places(plan, arch)
        if tooth and Tooth.of(tooth).position <= FRONT_TEETH
    ]
    told = plan.side_answers.side is not None or plan.midline is not None
    if told or "order" in arch.direction.spoken:
        return None
    middle = foremost_mm(arch)
    if any(middle is None or abs(at - middle) < NEAR_FOREMOST_MM for at in front):
        return "midline"
    return None


def foremost_mm(arch: Arch) -> float | None:
    """Station of the trace's foremost point; None where it runs round no front."""
    if not arch.direction.round_the_front:
        return None
    stations, line = arch.curve.polyline(_SAGITTA_MM)
    at = int(np.argmin(line[:, 1]))
    reach = float(min(stations[at], arch.length_mm - stations[at]))
    return float(stations[at]) if reach >= NEAR_FOREMOST_MM else None


def left_and_right_named(plan: Plan, arch: Arch, tooth: str) -> bool:
    """True where a person, and not the scan alone, tells left from right at a place.

    Parameters
    ----------
    plan : Plan
    arch : Arch
    tooth : str
        ISO 3950; empty where nobody named it.
    """
    spoken = arch.direction.spoken
    if tooth:
        return True
    told = plan.side_answers.side is not None or bool(spoken & {"right end", "order"})
    return told and "shape" in spoken


def contradictions(plan: Plan, arch: Arch) -> tuple[Finding, ...]:
    """What leaves open which side is measured; see `CONTRADICTIONS`."""
    found = [*side_findings(plan), *_findings(plan, arch)]
    return tuple(finding for finding in found if finding.code in CONTRADICTIONS)


def misfits(plan: Plan, tooth: Tooth, at_mm: ArrayLike, *, replaces: str = "") -> list[str]:
    """What a tooth's number does not fit at a place: side, place, neighbours, jaw.

    Parameters
    ----------
    replaces : str
        Id of the fixture that would get the number; empty: something new.
    """
    others = tuple(f for f in plan.fixtures if f.id != replaces)
    trial = Fixture(
        id="tried", tooth=tooth.iso, platform=vector(at_mm), towards_apex=vector((0.0, 0.0, -1.0)),
        size=_ANY_SIZE,
    )  # fmt: skip
    before = replace(plan, fixtures=others)
    after = replace(plan, fixtures=(*others, trial))
    try:
        known = {f.message for f in contradictions(before, traced(before))}
        found = [f.message for f in contradictions(after, traced(after))]
    except PlanError:
        return []
    return [message for message in dict.fromkeys(found) if message not in known]


def sign_off_obstacles(plan: Plan) -> tuple[Finding, ...]:
    """What must be settled before anybody signs.

    Something is measured, the side is answered, and nothing speaks against it.
    """
    found = [*side_findings(plan), *_of_the_arch(plan)]
    if not (plan.fixtures or plan.sites or plan.rulers or plan.angles):
        return (*found, Finding("nothing-to-sign", "caution"))
    if plan.side_check is None and "side-not-answered" not in {f.code for f in found}:
        # Distances by hand have a side too.
        found.append(Finding("side-not-answered", "caution"))
    return tuple(found)


def _of_the_arch(plan: Plan) -> Iterator[Finding]:
    if plan.level is None or plan.arch_points is None:
        return
    arch = traced(plan)
    yield from _findings(plan, arch)
    question = open_question(plan, arch)
    if question is not None:
        yield Finding(question_code(question), "caution")


def arch_contradictions(plan: Plan, arch: Arch) -> tuple[Finding, ...]:
    """Those of them that need the arch."""
    return tuple(_findings(plan, arch))


def _findings(plan: Plan, arch: Arch) -> Iterator[Finding]:
    if arch.direction.against and arch.direction.finding is not None:
        yield arch.direction.finding
    for _subject, tooth, station in places(plan, arch):
        doubt = tooth_doubt(arch, station, tooth)
        if doubt is not None:
            yield doubt
    yield from _across_the_middle(plan, arch)
    yield from _against_scan(plan)
    yield from _out_of_order(plan, arch)
    yield from _midline_findings(plan, arch)


def places(plan: Plan, arch: Arch) -> Iterator[tuple[str, str, float]]:
    """Id, tooth and station of every fixture and site."""
    for f in plan.fixtures:
        yield f.id, f.tooth, arch.station(f.platform)
    for s in plan.sites:
        yield s.id, s.tooth, s.station_mm


def _across_the_middle(plan: Plan, arch: Arch) -> Iterator[Finding]:
    """Front teeth on the wrong side of the trace's foremost point, where no midline is marked."""
    middle = foremost_mm(arch) if plan.midline is None else None
    if middle is None:
        return
    for _subject, number, at in places(plan, arch):
        tooth = Tooth.of(number) if number else None
        if tooth is None or tooth.position > FRONT_TEETH:
            continue
        left = at - middle
        if (left if tooth.side == "right" else -left) >= NEAR_FOREMOST_MM:
            fields = {"tooth": tooth.words(), "station": station_words(arch, at, None)}
            yield Finding("side-against-tooth", "caution", fields)


def _against_scan(plan: Plan) -> Iterator[Finding]:
    """Planned teeth, and the answered side, against the teeth that the scan is said to hold."""
    region, side = plan.side_answers.region, plan.side_answers.side
    if region is None:
        return
    for tooth in planned_teeth(plan):
        wrong_side = side is not None and tooth.side != side
        too_far_back = region == "front" and tooth.position > _LAST_IN_FRONT
        if wrong_side or too_far_back:
            yield Finding(
                "teeth-against-scan", "caution", {"tooth": tooth.words(), "region": region}
            )
    check = plan.side_check
    if side is not None and check is not None and check.side != side:
        fields: dict[str, object] = {"region": region, "side": check.side}
        fields["by"] = check.by or message("plans.said.somebody")
        yield Finding("side-check-against-scan", "caution", fields)


def _out_of_order(plan: Plan, arch: Arch) -> Iterator[Finding]:
    """Planned teeth and marked roots of one jaw against the order of their numbers."""
    named = [(Tooth.of(tooth), at) for _, tooth, at in places(plan, arch) if tooth]
    planned = len(named)
    named += [(tooth, arch.station(place)) for tooth, place in named_roots(plan)]
    told: set[frozenset[Tooth]] = set()
    for n, (tooth, at) in enumerate(named[:planned]):
        for other, there in named[n + 1 :]:
            rank = from_the_right(tooth) - from_the_right(other)
            apart, pair = at - there, frozenset((tooth, other))
            if rank * apart < 0 and abs(apart) >= MIN_APART_MM and pair not in told:
                told.add(pair)
                fields = {"tooth": tooth.words(), "other": other.words()}
                yield Finding("teeth-out-of-order", "caution", fields)


def _midline_findings(plan: Plan, arch: Arch) -> Iterator[Finding]:
    """Places against the marked midline and the side that a person answered."""
    if plan.midline is None or plan.side_check is None:
        return
    middle = arch.station(plan.midline)
    answered = 1.0 if plan.side_check.side == "left" else -1.0
    for subject, _, station in places(plan, arch):
        left = station - middle
        if left * answered < -NEAR_MIDLINE_MM:
            fields: dict[str, object] = {"subject": subject, "mm": Figure(f"{abs(left):.1f}")}
            fields["side"] = plan.side_check.side
            fields["by"] = plan.side_check.by or message("plans.said.somebody")
            yield Finding("place-against-side-check", "caution", fields)


def side_here(plan: Plan, x_mm: float) -> Side:
    """The patient's side of a new mark, for its name.

    The side of the teeth that are named for the scan or planned in it; else by its place.
    """
    teeth = {tooth.side for tooth in planned_teeth(plan)}
    named = plan.side_answers.side or (teeth.pop() if len(teeth) == 1 else None)
    off = side_of_x(plan, x_mm)
    if off is not None or named is None:
        return "left" if (x_mm if off is None else off) > 0 else "right"
    return named
