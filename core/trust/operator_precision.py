"""Whose hand set the marks, and how far it scatters: a person's own repeat study, or the allowance.

A plan takes a study over by name, with who and when. So bench, sheet and command line count its
marks alike, and whoever reads a budget sees where the figure comes from.
"""

from __future__ import annotations

from collections.abc import Iterator

from core.findings import Finding
from core.plans.plan import OwnHand, Plan
from core.trust.repeatability import RepeatStudy
from core.trust.uncertainty import DEFAULT_PLACEMENT, LEAST_SPREAD_MM, Placement
from core.words.catalogue import message
from core.words.numbers import Figure

_NO_DATE = message("trust.said.no-date")


def own_hand(study: RepeatStudy, person: str, *, by: str = "", at: str = "") -> OwnHand:
    """What a plan takes over from a repeat study.

    Parameters
    ----------
    study : RepeatStudy
    person : str
    by : str, optional
        Initials or name of who did it.
    at : str, optional
        ISO 8601.

    Raises
    ------
    SoundingError
        ``repeat-one-reading`` where the person placed no mark twice.
    """
    found = study.spread(person)
    return OwnHand(
        person=person,
        sd_mm=found.sd_mm,
        marks=found.marks,
        placings=found.placings,
        studied=study.at[:10],
        by=by,
        at=at,
    )


def placement_of(plan: Plan) -> Placement:
    """How a plan's marks count: by the hand that it names, else by the usual allowance."""
    return DEFAULT_PLACEMENT if plan.own_hand is None else placement_by(plan.own_hand)


def placement_by(hand: OwnHand) -> Placement:
    """How one person's marks count: their own scatter, never below 0.2 mm."""
    fields: dict[str, object] = {
        "person": hand.person,
        "day": hand.studied or _NO_DATE,
        "marks": hand.marks,
        "placings": hand.placings,
        "sd": hand.sd_mm,
    }
    source = message("trust.source.own-hand", **fields)
    if hand.sd_mm < LEAST_SPREAD_MM:
        source = message("trust.source.own-hand-counted", **fields, counted=LEAST_SPREAD_MM)
    return Placement.of_person(hand.sd_mm, source=source)


def hand_findings(plan: Plan) -> Iterator[Finding]:
    """That an own hand counts here, and where somebody else worked on the same plan."""
    hand = plan.own_hand
    if hand is None:
        return
    fields = {
        "person": hand.person,
        "studied": hand.studied or _NO_DATE,
        "sd": Figure(f"{hand.sd_mm:.2f}"),
        "counted": Figure(f"{placement_by(hand).seen_mm:.2f}"),
        "by": hand.by or message("trust.said.nobody-named"),
    }
    yield Finding("own-hand", "note", fields)
    # Who signs does so by name, and places no mark by it.
    edits = (entry for entry in plan.history if entry.get("what") != "signed off")
    workers = (str(entry.get("who") or "") for entry in edits)
    others = dict.fromkeys(w for w in workers if w and w != hand.person)
    if others:
        yield Finding("own-hand-of-another", "caution", {**fields, "others": ", ".join(others)})
