"""What only a person can say, put into the plan with who, when and why; never asked of software.

Pure functions from plan to (text, plan): the text names the step in the undo menu and the log,
`Session.apply` takes both. Dialogs collect the words.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, datetime
from types import MappingProxyType
from typing import TypeAlias

from core.distances.drilling import DepthReference
from core.identity import Side, Tooth
from core.image.volume import ScanIdentity
from core.plans.edit import taken_ids
from core.plans.history import sign
from core.plans.limits import limit_words, row_for
from core.plans.plan import (
    ChangedLimit,
    DeclaredState,
    ImageCheck,
    Plan,
    SideCheck,
)
from core.plans.plan_file import tied_to
from core.words.catalogue import Message, Words, message
from core.words.drilling import ORIGINS
from core.words.values import row_of, side_words

Answer: TypeAlias = tuple[Words, Plan]

DECLARED_STATES: tuple[DeclaredState, ...] = (
    "not near this site",
    "looked for, not visible",
    "outside the scanned region",
    "tooth missing",
)


STATE_WORDS: dict[DeclaredState, Message] = {
    "not near this site": message("case.attestations.not-near-this-site"),
    "looked for, not visible": message("case.attestations.looked-for-not-visible"),
    "outside the scanned region": message("case.attestations.outside-the-scanned-region"),
    "tooth missing": message("case.attestations.tooth-missing"),
}
TROUBLE_WORDS = {
    "movement": message("case.attestations.movement"),
    "streaks": message("case.attestations.streaks"),
    "noise": message("case.attestations.noise"),
    "cut-off field": message("case.attestations.cut-off-field"),
    "gap under the stent": message("case.attestations.gap-under-the-stent"),
}
PLACE_WORDS = {
    "none": message("case.attestations.none"),
    "away from the site": message("case.attestations.away-from-the-site"),
    "at the site": message("case.attestations.at-the-site"),
}


def now_iso() -> str:
    """The present moment, ISO 8601 with offset."""
    return datetime.now(UTC).astimezone().isoformat(timespec="seconds")


def with_side(plan: Plan, *, side: Side, against: str, by: str, at: str) -> Answer:
    """Side compared with patient or chart."""
    check = SideCheck(side=side, against=against, by=by, at=at)
    return message(
        "case.attestations.side-compared-with", against=against, side=side_words(side)
    ), replace(plan, side_check=check)


def with_image_check(plan: Plan, *, trouble: Mapping[str, str], by: str, at: str) -> Answer:
    """The image judged: each trouble is none, away from the site or at the site."""
    found = [
        message(
            "case.attestations.trouble-at", trouble=TROUBLE_WORDS[name], place=PLACE_WORDS[place]
        )
        for name, place in trouble.items()
        if place != "none"
    ]
    check = ImageCheck(trouble=dict(trouble), by=by, at=at)
    return message(
        "case.attestations.image-judged",
        found=row_of(found) or message("case.attestations.no-trouble"),
    ), replace(plan, image_check=check)


def with_interpreter(plan: Plan, *, interpreter: str, on: str) -> Answer:
    """Who interpreted the whole volume, and when; empty: not yet."""
    if not interpreter:
        text = message("case.attestations.whole-volume-set-back-to")
        return text, replace(plan, interpreted_by="", interpreted_at="")
    text = message(
        "case.attestations.whole-volume-interpreted-by-on", interpreter=interpreter, on=on
    )
    return text, replace(plan, interpreted_by=interpreter, interpreted_at=on)


def with_teeth_together(plan: Plan, *, together: bool, by: str, at: str) -> Answer:
    """Whether the teeth were together in this scan: else no room to the opponent is measured."""
    document = {k: v for k, v in plan.document.items() if k != "teeth_together"}
    if together:
        document["teeth_together"] = {"by": by, "at": at}
    text = (
        message("case.attestations.teeth-together")
        if together
        else message("case.attestations.teeth-not-together")
    )
    return text, replace(plan, document=document)


def with_entered_room(plan: Plan, *, fixture_id: str, mm: float | None, by: str, at: str) -> Answer:
    """Room to the opponent as it was measured in the mouth or on models; None: taken back."""
    kept = plan.document.get("entered_room")
    rooms = dict(kept) if isinstance(kept, Mapping) else {}
    rooms.pop(fixture_id, None)
    if mm is not None:
        rooms[fixture_id] = {"mm": mm, "by": by, "at": at}
    document = {k: v for k, v in plan.document.items() if k != "entered_room"}
    if rooms:
        document["entered_room"] = rooms
    value = (
        message("case.attestations.taken-back")
        if mm is None
        else message("case.attestations.mm-measured-in-the-mouth", mm=mm)
    )
    return message(
        "case.attestations.fixture-room-entered", fixture_id=fixture_id, value=value
    ), replace(plan, document=document)


def with_limit(
    plan: Plan,
    *,
    key: str,
    value: float,
    reason: str,
    by: str,
    at: str,
    tooth: Tooth | None = None,
) -> Answer:
    """A limit changed for this plan alone; the tooth tells which value it had before.

    Raises
    ------
    ValueError
        Under the lower line, which nobody can change.
    """
    row = row_for(key, tooth=tooth)
    if value < row.lower_line:
        raise ValueError(f"the limit {key} cannot go under its lower line {row.lower_line} mm")
    before = plan.limits[key].value if key in plan.limits else row.value
    limits = dict(plan.limits) | {key: ChangedLimit(value=value, by=by, at=at, reason=reason)}
    text = message(
        "case.attestations.limit-changed-from-to-mm",
        key_=limit_words(key),
        before=before,
        value=value,
        reason=reason,
    )
    return text, replace(plan, limits=limits)


def without_limit(plan: Plan, *, key: str) -> Answer:
    """The shipped limit put back."""
    limits = {k: v for k, v in plan.limits.items() if k != key}
    return message("case.attestations.limit-put-back-to-its", key_=limit_words(key)), replace(
        plan, limits=limits
    )


def signed(
    plan: Plan,
    identity: ScanIdentity,
    *,
    fingerprint: str,
    name: str,
    role: str,
    at: str,
    accepted: Mapping[str, str] = MappingProxyType({}),
) -> Answer:
    """The plan tied to its scan, everything in it locked, and signed.

    Parameters
    ----------
    plan : Plan
    identity : ScanIdentity
    fingerprint : str
        Of the scan.
    name, role : str
        Of who signs.
    at : str
        ISO 8601.
    accepted : mapping of str to str
        Why it is signed although limits are not met, by the row's id: a part of what is signed.

    Raises
    ------
    PlanError
        ``plan-other-scan`` when the plan belongs to another scan.
    """
    tied = tied_to(replace(plan, accepted=accepted), identity, fingerprint=fingerprint)
    ids = (*tied.locked, "arch", "midline", *sorted(taken_ids(tied)))
    locked = replace(tied, locked=tuple(dict.fromkeys(ids)))
    return message("case.attestations.signed-off-by", name=name, role=role), sign(
        locked, name=name, role=role, at=at
    )


def with_depth_from(plan: Plan, origin: DepthReference | None) -> Answer:
    """Where drilling depths are counted from; None: not chosen."""
    told = message("dialogs.sheet.dialog.not-chosen-yet") if origin is None else ORIGINS[origin]
    words = message("dialogs.sheet.dialog.drilling-depths-counted-from", origin=told)
    return words, replace(plan, depth_from=origin)
