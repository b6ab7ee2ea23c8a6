"""The end of the sheet: where the limits come from, and scan checks that page 1 had no room for."""

from __future__ import annotations

from core.findings import Finding
from core.sheet.case import Case
from core.sheet.ledger_table import sources_of
from core.sheet.page import Pages
from core.sheet.page_frame import heading
from core.words.catalogue import say

_SIZE = 7.5
_HEAD_MM = 9.0
_QUIET = (0.33, 0.33, 0.33)


def grave_findings(case: Case) -> tuple[Finding, ...]:
    """What makes numbers doubtful; notes are not among it."""
    return tuple(f for f in case.findings if f.severity != "note")


def closing_part(pages: Pages, case: Case, *, told: int) -> None:
    """Lay out sources and remaining checks below what stands there.

    Parameters
    ----------
    pages : Pages
    case : Case
    told : int
        How many of `grave_findings` stand on page 1.
    """
    further = grave_findings(case)[told:]
    if further:
        _part(pages, say("sheet.more-checks"), [f"! {f.message}" for f in further])
    sources = sources_of(case.ledger.measurements)
    listed = "   ".join(f"{n} {words}." for n, words in enumerate(sources, start=1))
    height = _HEAD_MM + pages.height_of(pages.inner, listed, size=_SIZE) if sources else 0.0
    height += 1.0 + pages.height_of(pages.inner, say("sheet.closing"), size=_SIZE)
    if pages.y + height <= pages.bottom:
        _end(pages, listed)
        return
    # No page of its own for a few lines.
    with pages.at_foot_of_earlier(height) as found:
        if found:
            _end(pages, listed)
    if not found:
        _end(pages, listed)


def _end(pages: Pages, listed: str) -> None:
    """Sources, and where the rest stands."""
    if listed:
        _part(pages, say("sheet.sources"), [listed])
    height = pages.height_of(pages.inner, say("sheet.closing"), size=_SIZE)
    if pages.y + height <= pages.bottom:  # the same stands at the foot of every page, shorter
        pages.y = pages.block(
            pages.left, pages.y + 0.8, pages.inner, say("sheet.closing"), size=_SIZE, colour=_QUIET
        )


def _part(pages: Pages, title: str, lines: list[str]) -> None:
    pages.ensure(_HEAD_MM + pages.height_of(pages.inner, lines[0], size=_SIZE))
    heading(pages, title, size=10)
    for words in lines:
        pages.ensure(pages.height_of(pages.inner, words, size=_SIZE))
        pages.y = 0.6 + pages.block(pages.left, pages.y, pages.inner, words, size=_SIZE)
