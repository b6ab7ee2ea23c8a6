"""Page 1: limits that were not met when the plan was signed, and why it was signed all the same."""

from __future__ import annotations

from core.measuring.unmet import reasons_given
from core.sheet.case import Case
from core.sheet.page import Pages
from core.trust.verdict import verdict_words
from core.words.catalogue import say

_SIZE = 8.5
_HEAD_MM, _AFTER_MM = 4.8, 1.0


def signed_although(pages: Pages, case: Case) -> None:
    """Print the reasons; nothing where it is not signed, or all limits are met."""
    words = _words(case)
    if not words:
        return
    with pages.element("H2"):
        pages.text(pages.left, pages.y + 3.2, say("sheet.signed-although"), size=9, face="strong")
    pages.y += _HEAD_MM
    for each in words:
        pages.y = pages.block(pages.left, pages.y, pages.inner, each, size=_SIZE)
    pages.y += _AFTER_MM


def room_mm(pages: Pages, case: Case) -> float:
    """Height that it takes."""
    words = _words(case)
    heights = [pages.height_of(pages.inner, each, size=_SIZE) for each in words]
    return _HEAD_MM + sum(heights) + _AFTER_MM if words else 0.0


def _words(case: Case) -> tuple[str, ...]:
    """One sentence a reason: limits that share one stand together."""
    if not case.signed:
        return ()
    by_reason: dict[str, list[str]] = {}
    for each, reason in reasons_given(case.ledger, case.plan.accepted):
        by_reason.setdefault(reason or say("sheet.no-reason"), []).append(
            f"{each.words} ({verdict_words(each.verdict)})"
        )
    return tuple(f"{'; '.join(rows)} – {reason}" for reason, rows in by_reason.items())
