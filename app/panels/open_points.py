"""What is still open in a case: facts that the program knows, never a judgement."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

from app.case.side import SideState
from core.direction import question_code
from core.measuring.ledger import Ledger
from core.measuring.rows_unmarked import is_open
from core.plans.plan import Plan
from core.words import sentence
from core.words.catalogue import say

SETTLED = SideState()

Act: TypeAlias = Literal[
    "", "confirm", "side", "image", "interpreted", "mark", "tooth", "which side"
]


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenPoint:
    """One open thing.

    Parameters
    ----------
    text : str
    act : Act
        What pressing it does; empty: nothing but saying so.
    target : str
        The structure, for ``mark``; the fixture, for ``tooth``.
    """

    text: str
    act: Act = ""
    target: str = ""


def open_points(
    plan: Plan, ledger: Ledger | None, *, confirmed: bool, side: SideState = SETTLED
) -> tuple[OpenPoint, ...]:
    """The open things of a case, in the order in which they matter.

    Parameters
    ----------
    ledger : Ledger or None
        Current; None where there is none.
    confirmed : bool
        Jaw, jaw plane and arch were confirmed or set by a person.
    side : SideState
        What is still asked about left and right, or disagrees.
    """
    found: list[OpenPoint] = []
    if not confirmed:
        found.append(
            OpenPoint(text=say("panels.open_points.jaw-plane-and-arch-not"), act="confirm")
        )
    elif side.against:
        found.append(OpenPoint(text=side.warning, act="which side"))
    elif side.question is not None:
        text = say(
            "panels.open_points.nothing-is-measured-before",
            sentence=sentence(question_code(side.question)),
        )
        found.append(OpenPoint(text=text, act="which side"))
    if plan.side_check is None:
        found.append(
            OpenPoint(text=say("panels.open_points.side-not-compared-with-patient"), act="side")
        )
    found += [
        OpenPoint(
            text=say("panels.open_points.fixture-no-tooth-named", id=f.id), act="tooth", target=f.id
        )
        for f in plan.fixtures
        if not f.tooth
    ]
    missing: dict[str, OpenPoint] = {}
    for row in () if ledger is None else ledger.measurements:
        if row.value is None and is_open(row):
            words = next((str(n.fields.get("what", "")) for n in row.reading.notes), row.target)
            text = say("panels.open_points.not-marked-or-declared", words=words)
            missing.setdefault(row.target, OpenPoint(text=text, act="mark", target=row.target))
    found += missing.values()
    if plan.image_check is None:
        found.append(OpenPoint(text=say("panels.open_points.image-not-yet-judged"), act="image"))
    if not plan.interpreted_by:
        found.append(
            OpenPoint(
                text=say("panels.open_points.whole-volume-not-yet-interpreted"), act="interpreted"
            )
        )
    return tuple(found)
