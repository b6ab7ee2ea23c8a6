"""What plan and scan together call into question, seen from the day of measuring.

A scan shows the jaw on one day. What was taken out, grafted or grew since cannot be seen in it.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, datetime

from core.findings import Finding
from core.image.volume import ScanIdentity
from core.plans.plan import Plan
from core.structures import Tapered

OLD_MONTHS = 6
"""Older scans are told as a caution (common practice, no source)."""


def case_findings(plan: Plan, identity: ScanIdentity, *, made_at: str) -> tuple[Finding, ...]:
    """Findings about a scan's age, and what may have changed in the mouth since.

    Parameters
    ----------
    made_at : str
        ISO 8601, the day of measuring.
    """
    return tuple(_findings(plan, identity, made_at))


def _findings(plan: Plan, identity: ScanIdentity, made_at: str) -> Iterator[Finding]:
    try:
        scanned = date.fromisoformat(identity.study_date)
        today = datetime.fromisoformat(made_at).date()
    except ValueError:
        return
    if today < scanned:
        fields = {"scanned": identity.study_date, "made": made_at[:10]}
        yield Finding("scan-after-today", "caution", fields)
        return
    months = whole_months(scanned, today)
    if months >= OLD_MONTHS:
        fields = {"scanned": identity.study_date, "months": str(months)}
        yield Finding("scan-old", "caution", fields)
    removed = [
        s.tooth or s.id for s in plan.structures if isinstance(s, Tapered) and s.to_be_removed
    ]
    if removed:
        teeth = ", ".join(dict.fromkeys(removed))
        yield Finding("jaw-changes-by-removal", "note", {"teeth": teeth})
    if today > scanned and (plan.fixtures or plan.sites):
        yield Finding("jaw-changed-since", "note", {"scanned": identity.study_date})


def whole_months(first: date, last: date) -> int:
    """Whole months from one day to another.

    Parameters
    ----------
    first, last : date
    """
    return (last.year - first.year) * 12 + last.month - first.month - (last.day < first.day)
