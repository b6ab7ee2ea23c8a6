"""Pages that are not the sheet: an A5 card, and single pages with a head of their own."""

from __future__ import annotations

from collections.abc import Callable

from core.sheet.case import Case
from core.sheet.page import Pages
from core.sheet.page_frame import RULER_MM
from core.words.catalogue import say

A5_MM = (148.0, 210.0)
"""ISO 216."""

_QUIET = (0.33, 0.33, 0.33)


class CardPages(Pages):
    """Pages of A5, for the place beside the chair."""

    def __init__(self, *, top_mm: float, margin_mm: float = 8.0) -> None:
        super().__init__("A4", top_mm=top_mm)
        self.width, self.height = A5_MM
        self.left, self.right = margin_mm, self.width - margin_mm
        self.bottom = self.height - margin_mm - 6.0


def check_ruler(pages: Pages, x: float, y: float, *, upright: bool = False) -> None:
    """A ruler of 50 mm with large numerals, for a page that is read at arm's length.

    Lying from (x, y) with its ticks downwards, or upright from there with its ticks to the right.

    Parameters
    ----------
    pages : Pages
    x : float
        mm from the left edge of the page.
    y : float
        mm from the upper edge of the page.
    upright : bool, optional
    """
    with pages.artifact():
        _check_ruler(pages, x, y, upright=upright)


def _check_ruler(pages: Pages, x: float, y: float, *, upright: bool) -> None:
    for n in range(RULER_MM + 1):
        reach = 4.0 if n % 10 == 0 else 2.8 if n % 5 == 0 else 1.6
        if upright:
            pages.line(x, y + n, x + reach, y + n, width=0.2)
        else:
            pages.line(x + n, y, x + n, y + reach, width=0.2)
        if n % 10 == 0:
            if upright:
                pages.text(x + 5.0, y + min(max(n + 1.5, 3.0), RULER_MM), str(n), size=12)
            else:
                pages.text(x + n, y + 8.6, str(n), size=12, align="middle")
    end = (x, y + RULER_MM) if upright else (x + RULER_MM, y)
    pages.line(x, y, *end, width=0.3)


def plain_head(
    case: Case, title: str, *, with_birth_date: bool, foot_size: float = 7.5
) -> Callable[[Pages, int, int], None]:
    """Name, ID, scan date and DRAFT on top, the program below; the birth date where wanted.

    Parameters
    ----------
    case : Case
    title : str
    with_birth_date : bool
    foot_size : float, optional
        Of the letters, points.
    """

    def put(pages: Pages, number: int, count: int) -> None:
        left, right, inner = pages.left, pages.right, pages.inner
        who = case.patient
        pages.text(left, 13.0, who.name, size=14, face="strong", width=inner * 0.62,
                   whole=True)  # fmt: skip
        page = f"{title} {number}/{count}" if count > 1 else title
        pages.text(right, 13.0, page, size=12, face="slant", align="right", width=inner * 0.36)
        parts = [who.birth] if with_birth_date else []
        line = " · ".join([*parts, who.patient_id, who.scanned])
        pages.text(left, 19.0, line, size=12, width=inner, whole=True)
        band = case.band
        if band:
            pages.rect(left, 21.5, inner, 7.0, edge=0.5)
            middle = (left + right) / 2
            pages.text(middle, 26.6, band, size=12, face="strong", align="middle",
                       width=inner - 4.0)  # fmt: skip
        else:
            pages.line(left, 22.5, right, 22.5, width=0.4)
        ledger = case.ledger
        words = say(
            "sheet.frame.small-foot",
            program=ledger.program,
            at=ledger.made_at,
            revision=case.plan.revision,
        )
        pages.text(left, pages.height - 8.0, words, size=foot_size, width=inner, colour=_QUIET)

    return put
