"""Limits that are not met: what a person who signs must give a reason for, each by itself."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from core.measurement import VerdictCode
from core.measuring.ledger import Ledger, worst_first
from core.measuring.row_names import row_words
from core.trust.verdict import is_missed


@dataclass(frozen=True, slots=True, kw_only=True)
class Unmet:
    """One limit that is not met.

    Parameters
    ----------
    row : str
        Id of the measurement.
    subject : str
        Id of the fixture or site.
    words : str
        Name of the measurement.
    verdict : VerdictCode
    """

    row: str
    subject: str
    words: str
    verdict: VerdictCode


def unmet(ledger: Ledger) -> tuple[Unmet, ...]:
    """Every row that is counted and does not meet its limit, worst first.

    *Not assessed* and *too near to tell* are not met either. A row without a limit misses none,
    measured or not: what is asked here is what the summary counts (`core.trust.verdict`).
    """
    rows = [m for m in ledger.measurements if is_missed(m)]
    jaw = ledger.plan.known_jaw
    return tuple(
        Unmet(
            row=m.id,
            subject=m.fixture or m.site,
            words=row_words(m, jaw=jaw),
            verdict=m.verdict,
        )
        for m in sorted(rows, key=worst_first)
        if m.verdict is not None
    )


def reasons_given(ledger: Ledger, accepted: Mapping[str, str]) -> tuple[tuple[Unmet, str], ...]:
    """The limits that are not met with the reason why it was signed all the same; empty: none.

    Parameters
    ----------
    ledger : Ledger
    accepted : mapping of str to str
        As in a plan: reasons by the row's id.
    """
    return tuple((each, accepted.get(each.row, "")) for each in unmet(ledger))
