"""Ridge width and cortex by depth below the crest: one small grid in place of twenty rows."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from core.identity import inner_side
from core.measurement import Measurement
from core.measurement_kinds import CortexDetails, MeasurementKind, WidthDetails
from core.measuring.shared_reasons import SharedReasons
from core.plans.plan import Site
from core.sheet.case import Case, Subject
from core.sheet.page import Pages
from core.sheet.page_frame import heading
from core.trust.figures import down, shown, up
from core.words.catalogue import say
from core.words.values import SIDES

_QUIET = (0.33, 0.33, 0.33)
_NAME_MM = 52.0
_ROW_MM = 5.0


@dataclass(frozen=True, slots=True, eq=False)
class _Line:
    """One line of the grid: a row of the ledger for each depth that has one."""

    name: str
    cells: dict[float, Measurement]


def in_grid(m: Measurement) -> bool:
    """Whether a row stands in the grid and not in the ledger's table."""
    return depth_mm(m) is not None


def depth_mm(m: Measurement) -> float | None:
    """Depth below the crest; None for rows that have none."""
    return m.details.at_depth_mm if isinstance(m.details, WidthDetails | CortexDetails) else None


def ridge_grid(pages: Pages, case: Case, subject: Subject, shared: SharedReasons) -> None:
    """Lay out the grid of a subject and of the sites that stand at its place.

    Parameters
    ----------
    pages : Pages
    case : Case
    subject : Subject
    shared : SharedReasons
    """
    sites = case.sites_at(subject)
    lines = _lines(case, case.rows(subject))
    of_sites = {site.id: _lines(case, case.rows_at(site)) for site in sites}
    every = [*lines, *(line for found in of_sites.values() for line in found)]
    depths = sorted({depth for line in every for depth in line.cells})
    if depths:
        pages.ensure(16.0 + _ROW_MM * len(lines))
        heading(pages, say("sheet.grid.title"))
        with pages.element("Table"):
            with pages.element("TR", header=True):
                _head(pages, depths)
            _body(pages, lines, depths, shared)
    for site in sites:
        _site(pages, case, site, of_sites[site.id], depths=depths, shared=shared)
    pages.y += 1.5


def _lines(case: Case, rows: Iterable[Measurement]) -> list[_Line]:
    found: dict[str, dict[float, Measurement]] = {}
    for m in rows:
        depth = depth_mm(m)
        if depth is not None:
            found.setdefault(_name(case, m), {})[depth] = m
    return [_Line(name, cells) for name, cells in found.items()]


def _name(case: Case, m: Measurement) -> str:
    if m.kind is MeasurementKind.RIDGE_WIDTH:
        match m.details.along:
            case "axis":
                return say("sheet.grid.width-axis")
            case "up":
                return say("sheet.grid.width-up")
        return say("sheet.grid.width")
    side = m.details.side.replace("lingual", inner_side(case.plan.known_jaw))
    return say("sheet.grid.cortex", side=SIDES.get(side, side))


def _columns(pages: Pages, count: int) -> list[float]:
    width = (pages.inner - _NAME_MM) / max(count, 1)
    return [pages.left + _NAME_MM + (n + 1) * width for n in range(count)]


def _head(pages: Pages, depths: list[float]) -> None:
    pages.text(pages.left, pages.y + 3.0, say("sheet.grid.head"), size=7.5, colour=_QUIET)
    for x, depth in zip(_columns(pages, len(depths)), depths, strict=True):
        words = say("sheet.grid.deep", depth=depth)
        pages.text(x, pages.y + 3.0, words, size=7.5, align="right", colour=_QUIET)
    pages.line(pages.left, pages.y + 4.2, pages.right, pages.y + 4.2, width=0.2)
    pages.y += 5.0


def _body(pages: Pages, lines: list[_Line], depths: list[float], shared: SharedReasons) -> None:
    columns = _columns(pages, len(depths))
    for line in lines:
        notes = _notes(line, shared)
        width = pages.inner - 4.0
        below = sum(pages.height_of(width, note, size=7.5, face="slant") for note in notes)
        if pages.ensure(_ROW_MM + below):
            with pages.artifact():
                _head(pages, depths)
        y = pages.y + 3.6
        with pages.element("TR"):
            pages.text(pages.left, y, line.name, size=9, width=_NAME_MM - 2.0)
            for x, depth in zip(columns, depths, strict=True):
                with pages.element("TD"):
                    if depth in line.cells:
                        _cell(pages, line.cells[depth], x, y)
        pages.y += _ROW_MM
        for note in notes:
            with pages.element("TR"):
                pages.y = pages.block(
                    pages.left + 4.0, pages.y - 0.4, width, note, size=7.5,
                    face="slant", colour=_QUIET,
                )  # fmt: skip


def _cell(pages: Pages, m: Measurement, right: float, y: float) -> None:
    if m.value is None:
        words = say("sheet.bone.not-assessed")
        pages.text(right, y, words, size=8, face="strong", align="right")
        return
    if m.budget is not None:
        pages.text(right, y, f"± {up(m.budget.expanded, 2)}", size=7, align="right")
    pages.text(right - 9.5, y, shown(m, decimals=2), size=9.5, face="strong", align="right")


def _notes(line: _Line, shared: SharedReasons) -> list[str]:
    """Each remark once, with the depths that it belongs to; and the least over a turn."""
    depths: dict[str, list[str]] = {}
    for depth, m in sorted(line.cells.items()):
        for note in m.reading.notes:
            letter = shared.letter(m, note)
            told = say("sheet.grid.reason", letter=letter) if letter else note.message
            depths.setdefault(told, []).append(f"{depth:g}")
    notes = [
        say("sheet.grid.note", depths=", ".join(at), note=words) for words, at in depths.items()
    ]
    turned = [
        say("sheet.grid.least-at", mm=down(least, 2), depth=depth)
        for depth, m in sorted(line.cells.items())
        if isinstance(m.details, WidthDetails)
        and (least := m.details.least_over_turn_mm) is not None
        and m.value is not None
        and least < m.value - 0.05
    ]
    if turned:
        notes.append(say("sheet.grid.least-over-turn", values=", ".join(turned)))
    return notes


def _site(
    pages: Pages,
    case: Case,
    site: Site,
    lines: list[_Line],
    *,
    depths: list[float],
    shared: SharedReasons,
) -> None:
    """The rows of a site at which the fixture stands, in as few lines as they need."""
    rest = [m for m in case.rows_at(site) if not in_grid(m)]
    if not lines and not rest:
        return
    name = site.id.removeprefix("site-")
    words = say("sheet.grid.same-place", id=name, mm=site.station_mm)
    if pages.ensure(6.0 + _ROW_MM * min(len(lines), 4)) and lines:
        with pages.artifact():
            _head(pages, depths)
    pages.text(pages.left, pages.y + 3.8, words, size=8.5, face="slant", width=pages.inner)
    pages.y += 4.8
    with pages.element("Table"):
        _body(pages, lines, depths, shared)
    if rest:
        parts = "; ".join(_short(case, m, shared) for m in rest)
        pages.ensure(pages.height_of(pages.inner, parts, size=8.5))
        pages.y = pages.block(pages.left, pages.y, pages.inner, f"{parts}.", size=8.5)


def _short(case: Case, m: Measurement, shared: SharedReasons) -> str:
    name = case.name(m)
    if m.value is None:
        letters = [say("sheet.grid.row-reason", letter=letter) for letter in shared.letters(m)]
        reasons = " ".join([*letters, *shared.rest(m)])
        return say("sheet.grid.row-not-assessed", name=name, reasons=reasons)
    unit = "°" if m.reading.unit == "deg" else " mm"
    doubt = "" if m.budget is None else f" ± {up(m.budget.expanded, 2)}"
    return f"{name} {shown(m, decimals=2)}{doubt}{unit}"
