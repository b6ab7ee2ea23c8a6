"""The ledger as a table, with the notes of each row, the definitions and the sources below."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from core.distances.freehand import FREE_HAND, FULL_GUIDE, PILOT_GUIDE
from core.measurement import Measurement
from core.measurement_kinds import ClearanceDetails, WidthDetails
from core.measuring.row_names import undercut_words
from core.measuring.shared_reasons import SharedReasons
from core.pictures.ink import GLYPHS, PALE, VERMILION
from core.sheet.fonts_found import Face
from core.sheet.page import Pages
from core.sheet.page_frame import heading
from core.trust.figures import down, is_overlap, plain, shown, shown_at_least, shown_group, up
from core.trust.verdict import is_missed, judged_words, shown_verdict
from core.words.catalogue import say, together
from core.words.sheet import (
    BY_HAND,
    BY_HAND_MEANS,
    BY_OWN,
    EACH_BY_ITSELF,
    GROUPS,
    UNCERTAINTY,
)

_QUIET = (0.33, 0.33, 0.33)
_ROW = 5.0


@dataclass(frozen=True, slots=True)
class _Columns:
    """Right edges of the number columns, and left edges of the texts, mm."""

    glyph: float
    name: float
    value: float
    least: float
    doubt: float
    limit: float
    verdict: float
    source: float


def sources_of(rows: Iterable[Measurement]) -> list[str]:
    """The sources of all limits, each once, in the order of the rows: number n is place n - 1."""
    return list(
        dict.fromkeys(str(m.limit.source) for m in rows if m.limit is not None and m.limit.source)
    )


def ledger_table(
    pages: Pages,
    rows: tuple[Measurement, ...],
    *,
    name_of: Callable[[Measurement], str],
    sources: list[str],
    shared: SharedReasons,
    explained: bool = True,
) -> None:
    """Lay out the rows at the cursor, over as many pages as they need.

    Parameters
    ----------
    pages : Pages
    rows : tuple of Measurement
    name_of : callable
        What a row is called.
    sources : list of str
    shared : SharedReasons
    explained : bool, optional
        False where an earlier table of the same document says how it is read.
    """
    pages.ensure(30.0)
    heading(pages, say("sheet.table.measurements"))
    columns = _columns(pages)
    with pages.element("Table"):
        _body(pages, rows, columns, name_of=name_of, sources=sources, shared=shared)
    pages.y += 1.0
    pages.ensure(18.0 if explained else 6.0)
    blocks: list[tuple[str, Face]] = [(str(UNCERTAINTY), "strong")]
    if any(is_overlap(m) for m in rows):
        blocks.append((say("sheet.below-zero"), "plain"))
    limited = any(m.limit is not None for m in rows)
    if explained:
        rounded, signs = say("sheet.how-rounded"), say("sheet.verdict-signs")
        blocks.append((together(rounded, signs) if limited else rounded, "plain"))
    if explained and limited:
        blocks.append((str(EACH_BY_ITSELF), "plain"))
    for words, face in blocks:
        pages.y = 0.8 + pages.block(pages.left, pages.y, pages.inner, words, size=8, face=face)


def _body(
    pages: Pages,
    rows: tuple[Measurement, ...],
    columns: _Columns,
    *,
    name_of: Callable[[Measurement], str],
    sources: list[str],
    shared: SharedReasons,
) -> None:
    with pages.element("TR", header=True):
        _head(pages, columns)
    group = ""
    order = tuple(GROUPS)
    for m in sorted(rows, key=lambda row: order.index(shown_group(row))):
        notes = [*shared.rest(m), *_changed(m), *_further(m)]
        width = columns.verdict + 28.0 - columns.name
        height = _ROW + sum(pages.height_of(width, n, size=7.5, face="slant") for n in notes)
        if pages.ensure(height + (5.0 if shown_group(m) != group else 0.0)):
            with pages.artifact():
                _head(pages, columns)
            group = ""
        if shown_group(m) != group:
            group = shown_group(m)
            with pages.element("TR"):
                pages.text(pages.left, pages.y + 3.8, str(GROUPS[group]), size=8.5, face="slant")
            pages.y += 4.8
        with pages.element("TR"):
            _row(pages, m, name_of(m), columns, sources=sources, letters=shared.letters(m))
        for note in notes:
            with pages.element("TR"):
                pages.y = pages.block(
                    columns.name, pages.y, width, note, size=7.5, face="slant", colour=_QUIET
                )
        pages.line(pages.left, pages.y + 0.3, pages.right, pages.y + 0.3, width=0.1, colour=PALE)


def meanings(rows: Iterable[Measurement]) -> list[tuple[str, str]]:
    """What the kinds of rows mean and where the limits come from, as (name, words)."""
    rows = tuple(rows)
    kinds = dict.fromkeys(m.kind for m in rows)
    lines = [("", str(kind.row.definition)) for kind in kinds]
    placed = [m.details for m in rows if isinstance(m.details, ClearanceDetails)]
    if any(details.by_hand_mm for details in placed):
        series = "; ".join(f"{s.name}: {s.source}" for s in (FREE_HAND, PILOT_GUIDE, FULL_GUIDE))
        own = {d.own_figures: None for d in placed if d.own_figures}
        told = (say("sheet.table.own-figures", words=words) for words in own)
        series = "; ".join((series, *told))
        lines.append(("", say("sheet.table.series", means=BY_HAND_MEANS, series=series)))
    lines += [
        (say("sheet.table.source-number", number=n), s)
        for n, s in enumerate(sources_of(rows), start=1)
    ]
    return lines


def _columns(pages: Pages) -> _Columns:
    left, right = pages.left, pages.right
    return _Columns(
        glyph=left + 2.5, name=left + 7.0, value=right - 86.0, least=right - 70.0,
        doubt=right - 57.0, limit=right - 43.0, verdict=right - 39.0, source=right,
    )  # fmt: skip


def _head(pages: Pages, c: _Columns) -> None:
    pages.blank()
    pages.blank()
    heads = (
        (c.value, say("sheet.table.unit")),
        (c.least, say("sheet.table.at-least")),
        (c.doubt, "± U"),
        (c.limit, say("sheet.table.limit")),
    )
    for x, words in heads:
        pages.text(x, pages.y + 3.0, words, size=7.5, align="right", colour=_QUIET)
    pages.text(c.verdict, pages.y + 3.0, say("sheet.table.verdict"), size=7.5, colour=_QUIET)
    words = say("sheet.table.source")
    pages.text(c.source, pages.y + 3.0, words, size=7.5, align="right", colour=_QUIET)
    pages.line(pages.left, pages.y + 4.2, pages.right, pages.y + 4.2, width=0.2)
    pages.y += 5.0


def _row(
    pages: Pages,
    m: Measurement,
    name: str,
    c: _Columns,
    *,
    sources: list[str],
    letters: tuple[str, ...],
) -> None:
    y = pages.y + 3.6
    face: Face = "strong" if is_missed(m) else "plain"
    colour = VERMILION if m.verdict == "below limit" else (0.0, 0.0, 0.0)
    pages.text(c.glyph, y + 0.2, GLYPHS[shown_verdict(m)], size=11, face="strong", align="middle",
               colour=colour)  # fmt: skip
    angle = m.reading.unit == "deg"
    value = f"{shown(m, decimals=2)}{'°' if angle and m.value is not None else ''}"
    taken = max(pages.width_of(value, size=9.5, face="strong") + 2.0, 17.0)
    pages.text(c.name, y, name, size=9, face=face, width=c.value - taken - c.name)
    pages.text(c.value, y, value, size=9.5, face="strong", align="right")
    if m.limit is not None or not angle:
        pages.text(c.least, y, shown_at_least(m, decimals=2), size=9, align="right")
    else:
        pages.blank()
    doubt = "" if m.budget is None else up(m.budget.expanded, 1 if angle else 2)
    pages.text(c.doubt, y, doubt, size=9, align="right")
    limit = say("sheet.table.no-limit") if m.limit is None else plain(m.limit.value)
    if m.limit is not None and m.limit.changed:
        limit = f"{limit} ({plain(m.limit.default)})"
    pages.text(c.limit, y, limit, size=9, align="right", width=13.0)
    verdict = " ".join((judged_words(m), *letters)).strip()
    pages.text(c.verdict, y, verdict, size=9, face=face, width=26.0)
    if m.limit is not None and str(m.limit.source) in sources:
        number = str(sources.index(str(m.limit.source)) + 1)
        pages.text(c.source, y, number, size=9, align="right")
    else:
        pages.blank()
    pages.y += _ROW


def _further(m: Measurement) -> list[str]:
    """Figures that stand with a row: by hand and guided, least over a turn."""
    notes = [words] if (words := undercut_words(m)) else []
    placed = m.details.by_hand_mm if isinstance(m.details, ClearanceDetails) else {}
    figures = [
        say("sheet.table.by-hand", how=words, mm=down(placed[key], 2))
        for key, words in BY_HAND.items()
        if key != BY_OWN and key in placed
    ]
    if figures:
        notes.append(say("sheet.table.if-placed", figures="; ".join(figures)))
    own = placed.get(BY_OWN)
    if own is not None:
        notes.append(say("sheet.table.if-placed-own", mm=down(own, 2)))
    least = m.details.least_over_turn_mm if isinstance(m.details, WidthDetails) else None
    if least is not None and m.value is not None and least < m.value - 0.05:
        notes.append(say("sheet.table.least-over-turn", mm=down(least, 2)))
    return notes


def _changed(m: Measurement) -> list[str]:
    limit = m.limit
    if limit is None or not limit.changed:
        return []
    who = f"{limit.changed_by or '–'} {limit.changed_at[:16]}".strip()
    return [
        say(
            "sheet.table.limit-changed",
            default=plain(limit.default),
            mm=plain(limit.value),
            who=who,
            reason=limit.reason or say("sheet.no-reason"),
        )
    ]
