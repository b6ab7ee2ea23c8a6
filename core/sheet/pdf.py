"""The measurement sheet as a PDF."""

from __future__ import annotations

from collections.abc import Callable

from core.sheet.case import Case, ready
from core.sheet.closing_part import closing_part
from core.sheet.first_page import first_page
from core.sheet.page import Pages, PaperName
from core.sheet.page_frame import BODY_TOP_MM, page_frame
from core.sheet.site_pages import site_pages
from core.words.catalogue import say


def laid_out(
    case: Case, *, paper: PaperName, progress: Callable[[float], None] | None = None
) -> Pages:
    """All pages of the sheet, not yet drawn.

    Parameters
    ----------
    case : Case
    paper : PaperName
    progress : callable, optional
        Told how much is done, 0 to 1.
    """
    case = ready(case)
    pages = Pages(paper, top_mm=BODY_TOP_MM)
    told = first_page(pages, case)
    _body(pages, case, progress or (lambda _done: None))
    if case.subjects:
        # Page 1 says that what it had no room for stands on the last page.
        closing_part(pages, case, told=told)
    return pages


def _body(pages: Pages, case: Case, progress: Callable[[float], None]) -> None:
    """Everything between the first page and the end: a further page is called here."""
    subjects = case.subjects
    for number, subject in enumerate(subjects):
        site_pages(pages, case, subject, lead=number == 0)
        progress((number + 1) / (len(subjects) + 1))


def sheet_pdf(
    case: Case, *, paper: PaperName, progress: Callable[[float], None] | None = None
) -> bytes:
    """The PDF: page 1, the pages of each fixture and site, and where the limits come from.

    Parameters
    ----------
    case : Case
    paper : PaperName
    progress : callable, optional
        Told how much is done, 0 to 1.
    """
    pages = laid_out(case, paper=paper, progress=progress)
    # The document's title names no patient: file managers and printers show it to anybody.
    return pages.render(page_frame(case), case.facts(say("sheet.title")))
