"""What the window knows of the side: settled, still asked, or contradicted."""

from __future__ import annotations

from dataclasses import dataclass

from core.arch import Arch
from core.direction import Question
from core.findings import Finding
from core.plans.plan import Plan
from core.plans.plan_checks import side_findings
from core.plans.side import CONTRADICTIONS, contradictions, open_question
from core.words.catalogue import message

SWAPPED = message("case.side.left-and-right-may-be")
"""Stands on every picture and window while the signs for the side disagree."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SideState:
    """How the side stands.

    Parameters
    ----------
    question : Question or None
        What a person is asked next.
    against : tuple of Finding
        What disagrees; each says the way out.
    """

    question: Question | None = None
    against: tuple[Finding, ...] = ()

    @property
    def warning(self) -> str:
        """Words for pictures and windows; empty where nothing disagrees."""
        return str(SWAPPED) if self.against else ""


def side_state(plan: Plan, arch: Arch | None) -> SideState:
    """Read the side of a plan along the arch that is shown."""
    if arch is None:
        found = tuple(f for f in side_findings(plan) if f.code in CONTRADICTIONS)
        return SideState(against=found)
    return SideState(question=open_question(plan, arch), against=tuple(contradictions(plan, arch)))
