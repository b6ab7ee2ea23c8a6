"""The plan's history and its sign-off: append-only, and a change to it is noticed.

Each entry carries the SHA-256 of the entry before it and of itself; the plan file also keeps how
many entries there were and the last of these sums. So an entry that was changed, taken out or put
in, or a history that was cut, is noticed. It does not prove who wrote an entry or who signed: any
program can compute the same sums anew.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any, Literal, TypeAlias

from core.findings import Finding
from core.plans.plan import Plan, SignOff
from core.plans.plan_dump import fingerprint_of, plan_fingerprint
from core.words.catalogue import Message, Words, message
from core.words.kept import as_data, from_data, in_source

Entry: TypeAlias = Mapping[str, object]
SignOffState: TypeAlias = Literal["not signed", "signed", "void"]

_FIRST = "sounding-history"


def with_entry(plan: Plan, *, who: str, when: str, what: Words, previous: object = None) -> Plan:
    """Return the plan with one more entry at the end of its history, as the next revision.

    The file holds it in English, whatever is spoken, and its key beside it, so that it can be said
    in another language later.

    Parameters
    ----------
    when : str
        ISO 8601 with offset; given by the caller, so that the same input gives the same plan.
    what : Words
        What was done or changed.
    previous : JSON value
        What stood there before, where something was changed.
    """
    entry: dict[str, object] = {"who": who, "when": when, "what": in_source(what)}
    if isinstance(what, Message):
        entry["said"] = as_data(what)
    if previous is not None:
        entry["previous"] = previous
    entry["revision"] = plan.revision + 1
    before = _sum_of(plan.history[-1]) if plan.history else _FIRST
    entry["chain"] = _chain(before, entry)
    return replace(plan, history=(*plan.history, entry), revision=plan.revision + 1)


def done_words(entry: Entry) -> Words:
    """What an entry says was done, to be said in the language of that moment.

    In English where the entry holds no key, or one that does not say what stands beside it.
    """
    what = str(entry.get("what", ""))
    said = from_data(entry.get("said"))
    return said if said is not None and in_source(said) == what else what


def history_findings(plan: Plan) -> tuple[Finding, ...]:
    """Cautions about a history that was changed or cut; none when it is whole."""
    before = _FIRST
    for number, entry in enumerate(plan.history, start=1):
        if entry.get("chain") != _chain(before, entry):
            return (Finding("history-changed", "caution", {"entry": number}),)
        before = _sum_of(entry)
    if not _continues(plan):
        return (Finding("history-cut", "caution", {"found": len(plan.history)}),)
    return ()


def continues(plan: Plan, earlier: Plan) -> bool:
    """True where an earlier state of a plan may be replaced: its history goes on in this one."""
    count = len(earlier.history)
    if count == 0:
        return earlier.revision <= plan.revision
    return count <= len(plan.history) and (
        _sum_of(plan.history[count - 1]) == _sum_of(earlier.history[-1])
    )


def head_to_write(plan: Plan) -> dict[str, object] | None:
    """``history_head`` of the plan file: number of entries and the last sum.

    Where the history does not continue the one that was read, the old head stays, so that a
    save cannot hide the cut.
    """
    old = plan.document.get("history_head")
    if isinstance(old, dict) and not _continues(plan):
        return old
    if not plan.history:
        return None
    return {"entries": len(plan.history), "chain": _sum_of(plan.history[-1])}


def sign(plan: Plan, *, name: str, role: str, at: str) -> Plan:
    """Return the plan signed, with the signing as the last entry of its history.

    The plan must be tied to its scan before: filling that in later would void the signature.

    Parameters
    ----------
    plan : Plan
    name : str
    role : str
    at : str
        ISO 8601.
    """
    logged = with_entry(plan, who=name, when=at, what=message("plans.history.signed-off"))
    return replace(
        logged,
        sign_off=SignOff(
            name=name,
            role=role,
            at=at,
            plan_fingerprint=plan_fingerprint(logged),
            revision=logged.revision,
        ),
    )


def sign_off_state(plan: Plan) -> SignOffState:
    """``signed`` only while the plan is still what was signed; an edit makes it ``void``."""
    if plan.sign_off is None:
        return "not signed"
    return "signed" if plan.sign_off.plan_fingerprint == plan_fingerprint(plan) else "void"


def _sum_of(entry: Entry) -> str:
    return str(entry.get("chain", ""))


def _chain(before: str, entry: Entry) -> str:
    kept: dict[str, Any] = {key: value for key, value in entry.items() if key != "chain"}
    return fingerprint_of({"before": before, "entry": kept})


def _continues(plan: Plan) -> bool:
    head = plan.document.get("history_head")
    if head is None:
        return True
    if not isinstance(head, dict):
        return False
    entries = head.get("entries")
    if not isinstance(entries, int) or not 1 <= entries <= len(plan.history):
        return False
    return _sum_of(plan.history[entries - 1]) == head.get("chain")
