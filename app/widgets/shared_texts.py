"""Small texts that several panels and dialogs show alike."""

from __future__ import annotations

from typing import Literal

from core.errors import PlanError
from core.identity import Tooth
from core.plans.history import sign_off_state
from core.plans.plan import Plan
from core.words.catalogue import say


def tooth_words(iso: str, numbering: Literal["iso", "1-32"] = "iso") -> str:
    """A tooth in words with both numbers, the chosen system first.

    ``36, lower left first molar (19 in 1–32)`` or ``19, lower left first molar (36 in ISO)``; a
    text that is no tooth stands as it is.
    """
    try:
        tooth = Tooth.of(iso)
    except PlanError:
        return iso
    if numbering == "iso":
        return str(tooth.words())
    return say(
        "widgets.shared_texts.in-iso",
        number_1_to_32=tooth.number_1_to_32,
        tooth=tooth.name,
        iso=tooth.iso,
    )


def state_words(plan: Plan) -> str:
    """Draft, signed, or void, with the revision."""
    sign = plan.sign_off
    if sign is None:
        return say("widgets.shared_texts.draft-rev", revision=plan.revision)
    if sign_off_state(plan) == "signed":
        return say("widgets.shared_texts.signed-rev", revision=sign.revision)
    return say(
        "widgets.shared_texts.draft-rev-supersedes-signed-rev",
        revision=plan.revision,
        signed=sign.revision,
    )


def short_time(at: str) -> str:
    """``2026-11-24 10:31`` of an ISO 8601 time."""
    return at[:16].replace("T", " ")


def hidden(name: str) -> str:
    """What stands for a name while names are hidden."""
    return say("widgets.shared_texts.name-hidden") if name else name
