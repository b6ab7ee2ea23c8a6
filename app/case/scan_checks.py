"""What limits measuring on a scan and plan: known from the moment a scan is open."""

from __future__ import annotations

from app.case.attestations import now_iso
from app.case.session import Session
from core.direction import question_codes
from core.findings import Finding
from core.plans.case_checks import case_findings
from core.plans.plan_checks import plan_findings
from core.plans.side import CONTRADICTIONS
from core.words.catalogue import sentences_of, together

GRAVEST_FIRST = ("refused", "caution", "note")

ASKED_ELSEWHERE = CONTRADICTIONS | question_codes() | {"side-not-answered", "no-tooth-named"}
"""Checks that are questions of their own in the log, and obstacles of a signature."""


def findings_of(session: Session) -> tuple[Finding, ...]:
    """All that is known, the gravest first: from the ledger, else from scan and plan."""
    volume = session.volume
    if session.ledger is not None and session.ledger_is_current:
        found = session.ledger.findings
    elif volume is not None:
        # That a scan is old must be known before anything is planned on it.
        of_case = case_findings(session.plan, volume.identity, made_at=now_iso())
        found = (*volume.findings, *plan_findings(session.plan), *of_case)
    else:
        found = ()
    return tuple(sorted(found, key=lambda f: GRAVEST_FIRST.index(f.severity)))


def warnings_of(session: Session) -> tuple[Finding, ...]:
    """Those that a person must weigh: no notes, and nothing that is asked by itself."""
    return tuple(f for f in findings_of(session) if is_warning(f))


def is_warning(finding: Finding) -> bool:
    """True for what a person must weigh, and is asked nowhere else."""
    return finding.severity != "note" and finding.code not in ASKED_ELSEWHERE


def parts_of(finding: Finding) -> tuple[str, str]:
    """What is so, and what it means with what to do."""
    what, *rest = sentences_of(finding.message)
    return what.rstrip("."), together(*rest)
