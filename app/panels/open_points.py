"""What is still open in a case: facts that the program knows, never a judgement."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal, TypeAlias

from app.case.scan_checks import parts_of
from app.case.side import SideState
from core.direction import question_code
from core.findings import Finding
from core.measuring.ledger import Ledger
from core.measuring.rows_unmarked import is_open
from core.plans.history import sign_off_state
from core.plans.plan import Plan
from core.words import sentence
from core.words.catalogue import say

SETTLED = SideState()
MOST_WARNINGS = 2
"""More of them stand in one line: the log has other open points."""

Act: TypeAlias = Literal[
    "", "confirm", "side", "image", "interpreted", "mark", "tooth", "which side", "checks"
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
    plan: Plan,
    ledger: Ledger | None,
    *,
    confirmed: bool,
    side: SideState = SETTLED,
    warnings: Sequence[Finding] = (),
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
    warnings : sequence of Finding
        Of the scan checks; only who signs can say that they were read.
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
    found += _of_checks(plan, warnings)
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


def _of_checks(plan: Plan, warnings: Sequence[Finding]) -> Iterator[OpenPoint]:
    """A warning of the scan checks is open until somebody signs, who is shown it once more."""
    if not warnings or sign_off_state(plan) == "signed":
        return
    if len(warnings) > MOST_WARNINGS:
        text = say("panels.open_points.scan-checks", count=len(warnings))
        yield OpenPoint(text=text, act="checks")
        return
    for finding in warnings:
        text = say("panels.open_points.scan-check", what=parts_of(finding)[0])
        yield OpenPoint(text=text, act="checks")
