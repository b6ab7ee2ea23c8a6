"""Part of a fixture's pages: every size of the user's list at this pose, in the list's own order.

No size is recommended: nothing is emphasised, and no colour is used.
"""

from __future__ import annotations

from core.fixture import Fixture
from core.measurement import Measurement
from core.measurement_kinds import ClearanceDetails
from core.measuring.basis import Basis
from core.measuring.sizes_table import SizeRow, try_sizes
from core.pictures.ink import GLYPHS
from core.plans.plan import Jaw
from core.plans.sizes import ListedSize, default_sizes, size_words
from core.sheet.case import Case, Subject
from core.sheet.page import Pages
from core.sheet.page_frame import heading
from core.trust.verdict import target_words
from core.words.catalogue import say, together
from core.words.numbers import Figure

_TIP_MARK = " *"
"""Behind what is reached by the drill's tip first."""

_QUIET = (0.33, 0.33, 0.33)
_ROW_MM = 4.3
_SIZE, _MET, _LACKS, _TO = 0.0, 28.0, 51.0, 53.5
"""Left edges of the columns, but for the right edge of what is lacking, mm."""

_HEAD_MM = 16.0
_TOGETHER = 16
"""Rows of a column that are not parted over two pages."""


def sizes_part(pages: Pages, case: Case, subject: Subject) -> None:
    """Lay out the table; only where the case has a list and the scan was measured on.

    Parameters
    ----------
    pages : Pages
    case : Case
    subject : Subject
    """
    fixture, basis = subject.fixture, case.basis
    if fixture is not None and basis is not None and not case.side_is_contradicted:
        _other_size(pages, case, fixture, basis)
    if fixture is None or basis is None or not case.sizes or case.side_is_contradicted:
        return
    rows = try_sizes(case.plan, fixture.id, case.sizes, basis)
    half = -(-len(rows) // 2)
    pages.ensure(_HEAD_MM + _ROW_MM * min(half, _TOGETHER))
    shipped = case.sizes == default_sizes()
    heading(pages, say("sizes.shipped") if shipped else say("sizes.own-list"))
    words = say("sizes.means")
    pages.y = pages.block(pages.left, pages.y, pages.inner, words, size=7.5, colour=_QUIET) + 0.6
    jaw = case.plan.known_jaw
    while rows:
        # As many as this page holds, in two columns that are read down one after the other.
        room = max(int((pages.bottom - pages.y - 5.0) / _ROW_MM), 1)
        here = min(-(-len(rows) // 2), room)
        _columns(pages, rows[:here], rows[here : 2 * here], jaw=jaw)
        rows = rows[2 * here :]
        if rows:
            pages.new_page()
    pages.y += 1.5


def _other_size(pages: Pages, case: Case, fixture: Fixture, basis: Basis) -> None:
    """The size that was looked at beside the planned one, and that it is not the planned one."""
    if fixture.other_size is None:
        return
    (row,) = try_sizes(case.plan, fixture.id, (ListedSize(size=fixture.other_size),), basis)
    size, planned = size_words(fixture.other_size), size_words(fixture.size)
    limits = say("sizes.other-limits", met=row.met, limits=row.limits) if row.limits else ""
    stops = row.note.message if row.stopped_by is not None else ""
    words = together(say("sizes.other", size=size, planned=planned), limits, stops)
    pages.ensure(_HEAD_MM)
    heading(pages, say("sizes.other-heading"))
    pages.y = pages.block(pages.left, pages.y, pages.inner, words, size=9) + 1.5


def _columns(
    pages: Pages, left: tuple[SizeRow, ...], right: tuple[SizeRow, ...], *, jaw: Jaw | None
) -> None:
    gap = 6.0
    width = (pages.inner - gap) / 2
    top = pages.y
    for number, rows in enumerate((left, right)):
        if rows:
            _column(pages, rows, pages.left + number * (width + gap), top, width, jaw=jaw)
    pages.y = top + 5.0 + _ROW_MM * len(left)


def _column(
    pages: Pages, rows: tuple[SizeRow, ...], x: float, y: float, width: float, *, jaw: Jaw | None
) -> None:
    with pages.element("Table"):
        with pages.element("TR", header=True):
            pages.text(x + _SIZE, y + 3.0, say("sizes.size"), size=7.5, colour=_QUIET)
            pages.text(x + _MET, y + 3.0, say("sizes.limits"), size=7.5, colour=_QUIET)
            words = say("sizes.mm-short")
            pages.text(x + _LACKS, y + 3.0, words, size=7.5, align="right", colour=_QUIET)
            pages.text(x + _TO, y + 3.0, say("sizes.of-the-limit-to"), size=7.5, colour=_QUIET)
        pages.line(x, y + 4.2, x + width, y + 4.2, width=0.2)
        for n, row in enumerate(rows):
            with pages.element("TR"):
                _row(pages, row, x, y + 7.8 + n * _ROW_MM, width, jaw=jaw)


def _row(
    pages: Pages, row: SizeRow, x: float, base: float, width: float, *, jaw: Jaw | None
) -> None:
    pages.text(x + _SIZE, base, Figure(row.listed.words), size=8.5, width=_MET - 2.0)
    pages.text(x + _MET, base, _met_words(row), size=8.5, width=15.0)
    if row.stopped_by is None:
        pages.blank()
        pages.blank()
        return
    pages.text(x + _LACKS, base, _lacks(row), size=8.5, align="right")
    what = str(target_words(row.stopped_by, jaw=jaw)) + (
        _TIP_MARK if _with_tip(row.stopped_by) else ""
    )
    pages.text(x + _TO, base, what, size=8.5, width=width - _TO)


def _with_tip(stop: Measurement) -> bool:
    return isinstance(stop.details, ClearanceDetails) and bool(stop.details.with_tip_mm)


def _met_words(row: SizeRow) -> str:
    """In words: a second count beside that of the ledger, which has more rows, would confuse."""
    if not row.limits:
        return say("sizes.no-limit")
    if row.met == row.limits:
        return say("sizes.all-met")
    return say("sizes.not-met", count=row.limits - row.met)


def _lacks(row: SizeRow) -> str:
    """The mm it falls short; behind a verdict's sign where that is not simply below the limit."""
    short = row.note.fields.get("lacking")
    figure = f"{Figure(f'{short:.1f}')}" if isinstance(short, float) else ""
    # "< 0.1" would read as less than 0.1 mm.
    return figure if row.verdict == "below limit" else f"{GLYPHS[row.verdict]} {figure}".rstrip()
