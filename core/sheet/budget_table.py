"""The uncertainty budget of every row, on the sheet's last pages: a line and a small bar each.

The bar shows each part's share of the combined variance; what it rests on stands above the table.
"""

from __future__ import annotations

from core.measurement import Budget, Measurement
from core.pictures.budget_plot import shares
from core.pictures.ink import PALE, Colour
from core.sheet.case import Case
from core.sheet.page import Pages
from core.sheet.page_frame import heading
from core.trust.figures import shown, up
from core.words.catalogue import say
from core.words.sheet import TERMS as WORDS

TERMS = ("placement", "course", "edge", "voxel", "scale", "size", "fit")
_SHADES: dict[str, Colour] = {
    "placement": (0.15, 0.15, 0.15),
    "course": (0.3, 0.3, 0.3),
    "edge": (0.45, 0.45, 0.45),
    "voxel": (0.62, 0.62, 0.62),
    "scale": (0.78, 0.78, 0.78),
    "size": (0.9, 0.9, 0.9),
    "fit": (1.0, 1.0, 1.0),
}
_QUIET: Colour = (0.33, 0.33, 0.33)
_ROW_MM = 4.1
_BAR_MM = 18.0
_CELL_MM = 12.2


def budget_table(pages: Pages, case: Case) -> None:
    """Lay out a line for each row of the ledger that has a value."""
    rows = [m for m in case.ledger.measurements if m.budget is not None]
    if not rows:
        return
    subjects = list(dict.fromkeys(m.fixture or m.site for m in rows))
    rows.sort(key=lambda m: subjects.index(m.fixture or m.site))
    used = {t.name for m in rows if m.budget is not None for t in m.budget.terms}
    terms = tuple(name for name in TERMS if name in used)
    pages.ensure(24.0)
    heading(pages, say("sheet.budget.title"), size=10)
    words = say("sheet.budget.how")
    pages.y = pages.block(pages.left, pages.y, pages.inner, words, size=8, colour=_QUIET) + 1.0
    with pages.element("Table"):
        _body(pages, case, rows, terms)
    pages.y += 1.5


def _body(pages: Pages, case: Case, rows: list[Measurement], terms: tuple[str, ...]) -> None:
    with pages.element("TR", header=True):
        _head(pages, terms)
    subject = ""
    for m in rows:
        of = m.fixture or m.site
        if pages.ensure(_ROW_MM + (4.2 if of != subject else 0.0)):
            with pages.artifact():
                _head(pages, terms)
            subject = ""
        if of != subject:
            subject = of
            words = say("sheet.budget.fixture" if m.fixture else "sheet.budget.site", id=of)
            with pages.element("TR"):
                pages.text(pages.left, pages.y + 3.2, words, size=8, face="slant")
            pages.y += 4.2
        with pages.element("TR"):
            _row(pages, case.name(m), m, terms)


def _columns(pages: Pages, count: int) -> tuple[float, list[float], float, float]:
    """Right edges: value, terms, ± U; left edge of the bar."""
    bar = pages.right - _BAR_MM
    whole = bar - 2.0
    places = [whole - _CELL_MM * (count - n) for n in range(count)]
    return whole - _CELL_MM * (count + 1) - 5.0, places, whole, bar


def _head(pages: Pages, terms: tuple[str, ...]) -> None:
    value, places, whole, bar = _columns(pages, len(terms))
    y = pages.y + 3.0
    pages.blank()
    pages.text(value, y, say("sheet.budget.value"), size=7, align="right", colour=_QUIET)
    for x, name in zip(places, terms, strict=True):
        width = pages.text(x, y, str(WORDS[name]), size=7, align="right", colour=_QUIET)
        pages.rect(x - width - 2.6, y - 1.9, 2.0, 2.0, fill=_SHADES[name], edge=0.1)
    pages.text(whole, y, "± U", size=7, align="right", colour=_QUIET)
    pages.text(bar, y, say("sheet.budget.share"), size=7, colour=_QUIET)
    pages.line(pages.left, pages.y + 4.0, pages.right, pages.y + 4.0, width=0.15)
    pages.y += 4.6


def _row(pages: Pages, name: str, m: Measurement, terms: tuple[str, ...]) -> None:
    value, places, whole, bar = _columns(pages, len(terms))
    y = pages.y + 3.0
    budget = m.budget
    if budget is None:
        return
    decimals = 1 if m.reading.unit == "deg" else 2
    pages.text(pages.left, y, name, size=8, width=value - 11.0 - pages.left)
    figure = f"{shown(m, decimals=2)}{'°' if m.reading.unit == 'deg' else ''}"
    pages.text(value, y, figure, size=8, align="right")
    by_name = {t.name: t.u for t in budget.terms}
    for x, term in zip(places, terms, strict=True):
        words = up(by_name[term], decimals + 1) if term in by_name else ""
        pages.text(x, y, words, size=8, align="right")
    pages.text(whole, y, up(budget.expanded, decimals), size=8, face="strong", align="right")
    _bar(pages, budget, bar)
    pages.line(pages.left, pages.y + 4.0, pages.right, pages.y + 4.0, width=0.08, colour=PALE)
    pages.y += _ROW_MM


def _bar(pages: Pages, budget: Budget, x: float) -> None:
    for name, share in shares(budget).items():
        if share > 0.004:
            fill = _SHADES[name]
            pages.rect(x, pages.y + 0.9, share * _BAR_MM, 2.4, fill=fill, edge=0.08)
            x += share * _BAR_MM
