"""Nothing that a reader takes for the truth is made while side or tooth contradict each other."""

from __future__ import annotations

from core.errors import OutputError
from core.measuring.ledger import Ledger
from core.plans.plan_checks import side_findings
from core.plans.side import CONTRADICTIONS


def refuse_contradiction(ledger: Ledger) -> None:
    """Refuse what a reader would take for the truth while side or tooth contradict each other.

    The report's finding sites are coded by tooth and side; a card is drilled by.

    Raises
    ------
    OutputError
        ``side-contradiction`` with the first contradiction in words.
    """
    for finding in (*side_findings(ledger.plan), *ledger.findings):
        if finding.code in CONTRADICTIONS:
            raise OutputError("side-contradiction", contradiction=finding.message)
