"""The pages of one fixture or site: second picture, neighbours, arch map, ledger."""

from __future__ import annotations

from core.drawing import Chart
from core.geometry import vector
from core.measurement import Measurement
from core.measurement_kinds import MeasurementKind
from core.measuring.shared_reasons import SharedReasons
from core.pictures.chart import (
    View,
    across_arch_chart,
    neighbour_charts,
    through_axis_chart,
)
from core.pictures.map_chart import arch_map_chart
from core.sheet.bone_part import PART_MM, bone_part
from core.sheet.case import Case, Subject
from core.sheet.day_part import day_part
from core.sheet.first_page import lead_chart
from core.sheet.ledger_table import ledger_table, sources_of
from core.sheet.legend import legend
from core.sheet.page import Pages
from core.sheet.page_frame import heading, ruler, scale_check
from core.sheet.ridge_grid import in_grid, ridge_grid
from core.sheet.sizes_part import sizes_part
from core.words.catalogue import say

_SAME_SECTION_MM = 2.0
_MOST_RULER_SECTIONS = 3
_PICTURES_MM = 104.0
"""Room that heading and pictures take."""

DEPTHS = ("drill to the apex", "platform below bone")
_QUIET = (0.33, 0.33, 0.33)


def site_pages(pages: Pages, case: Case, subject: Subject, *, lead: bool) -> None:
    """Lay out the pages of one subject.

    Parameters
    ----------
    pages : Pages
    case : Case
    subject : Subject
    lead : bool
    """
    # A part of its own; on the same page only where its pictures still fit.
    if lead:
        pages.new_page()
    elif not pages.ensure(_PICTURES_MM):
        pages.y += 4.0
    heading(pages, f"{subject.words} · {subject.size_words}", size=13)
    charts = _charts(case, subject, lead=lead)
    if charts:
        _pictures(pages, case, subject, charts)
        _neighbours(pages, case, subject)
    sources = sources_of(case.ledger.measurements)
    rows = tuple(m for m in case.rows(subject) if not elsewhere(m))
    shared = SharedReasons.of(all_rows(case, subject))
    shared_part(pages, shared)
    if rows:
        ledger_table(pages, rows, name_of=case.name, sources=sources, shared=shared, explained=lead)
    # The larger part first, but for where only the smaller one still fits the page.
    if pages.y + PART_MM > pages.bottom:
        ridge_grid(pages, case, subject, shared)
        bone_part(pages, case, subject, shared)
    else:
        bone_part(pages, case, subject, shared)
        ridge_grid(pages, case, subject, shared)
    sizes_part(pages, case, subject)
    day_part(pages, case, subject)


def all_rows(case: Case, subject: Subject) -> tuple[Measurement, ...]:
    """Rows of a subject and of the sites at its place: everything that its pages show."""
    at_place = (m for site in case.sites_at(subject) for m in case.rows_at(site))
    return (*case.rows(subject), *at_place)


def shared_part(pages: Pages, shared: SharedReasons) -> None:
    """Why many rows have no number, once, above all of them."""
    if not shared.all:
        return
    pages.ensure(24.0)
    heading(pages, say("sheet.site.one-reason"))
    for reason in shared.all:
        pages.ensure(pages.height_of(pages.inner, reason.text, size=9))
        pages.y = 0.8 + pages.block(pages.left, pages.y, pages.inner, reason.text, size=9)
    pages.y += 1.0


def elsewhere(m: Measurement) -> bool:
    """Whether a row stands in a part of its own: the grid by depth, or drilling."""
    return in_grid(m) or (m.kind is MeasurementKind.DEPTH and m.details.of in DEPTHS)


def ruler_stations(case: Case) -> list[float]:
    """Stations of rulers and angles, each once: those less than 2 mm apart share a section."""
    if case.arch is None:
        return []
    drawn = [mark.points for mark in case.plan.rulers] + [m.points for m in case.plan.angles]
    stations: list[float] = []
    for points in drawn:
        here = case.arch.station(vector(points.mean(axis=0)))
        if all(abs(here - other) >= _SAME_SECTION_MM for other in stations):
            stations.append(here)
    return stations


def _charts(case: Case, subject: Subject, *, lead: bool) -> list[Chart]:
    station = case.station(subject)
    if case.arch is None or station is None:
        return []
    view = View(window=case.window, levels=case.levels)
    volume, plan, arch, ledger = case.volume, case.plan, case.arch, case.ledger
    across = across_arch_chart(volume, plan, arch, station, ledger, view=view)
    if subject.only_rulers:
        return [
            across_arch_chart(volume, plan, arch, place, ledger, view=view)
            for place in ruler_stations(case)[:_MOST_RULER_SECTIONS]
        ]
    if subject.fixture is None:
        return [across]
    second = through_axis_chart(
        volume, plan, arch, subject.fixture, ledger, turn_deg=90.0, view=view
    )
    first = across if lead else lead_chart(case, subject)
    return [second] if first is None else [first, second]


def _pictures(pages: Pages, case: Case, subject: Subject, charts: list[Chart]) -> None:
    y = pages.y
    x = pages.left + 9.0
    bottom = y
    for chart in charts:
        width = chart.size_mm[0]
        pages.text(x, y + 3.2, chart.title, size=8.5, face="strong", width=width)
        # Where it is cut tells nothing of its place: it is set smaller, and whole.
        pages.text(x, y + 6.8, chart.subtitle, size=7.5, width=width, colour=_QUIET, whole=True)
        _, height = pages.chart(chart, x, y + 8.0)
        bottom = y + 8.0 + height
        x += width + 4.0
    ruler(pages, pages.left + 7.5, bottom - 50.0, upright=True)
    ruler(pages, pages.left + 9.0, bottom + 1.5, upright=False)
    scale_check(pages, pages.left + 64.0, bottom + 2.4, pages.inner - 64.0)
    _arch_map(pages, case, subject, x + 1.0, y)
    styles = dict.fromkeys(s for c in charts for s in c.styles)
    y = legend(pages, styles, bottom + 9.0)
    if any(m.limit is not None for m in case.rows(subject)):
        words = say("sheet.only-below")
        y = pages.block(pages.left, y, pages.inner, words, size=7.5, colour=_QUIET)
    pages.y = y + 2.0


def _arch_map(pages: Pages, case: Case, subject: Subject, x: float, y: float) -> None:
    station = case.station(subject)
    room = pages.right - x
    if case.arch is None or station is None or room < 30.0:
        return
    height = 0.0
    if subject.fixture is not None:
        height = float(case.arch.level.height_mm(subject.fixture.platform)[0])
    chart = arch_map_chart(
        case.volume, case.plan, case.arch, station_mm=station, height_mm=round(height),
        window=case.window,
    )  # fmt: skip
    scale = min(room / chart.size_mm[0], 60.0 / chart.size_mm[1])
    pages.text(x, y + 3.2, chart.title, size=8.5, face="strong", width=room)
    subtitle = say("sheet.site.not-true-size", subtitle=chart.subtitle)
    pages.text(x, y + 6.8, subtitle, size=7.5, width=room, colour=_QUIET, whole=True)
    pages.chart(chart, x, y + 8.0, scale=scale)


def _neighbours(pages: Pages, case: Case, subject: Subject) -> None:
    station = case.station(subject)
    if case.arch is None or station is None:
        return
    charts = neighbour_charts(
        case.volume, case.plan, case.arch, station, tooth=subject.tooth, window=case.window
    )
    gap = (pages.inner - sum(c.size_mm[0] for c in charts)) / (len(charts) - 1)
    pages.ensure(charts[0].size_mm[1] + 12.0)
    y, x = pages.y, pages.left
    words = say("sheet.site.neighbours")
    pages.text(x, y + 3.2, words, size=8.5, face="strong")
    for chart in charts:
        width, height = pages.chart(chart, x, y + 4.6)
        pages.text(x + width / 2, y + 4.6 + height + 3.2, chart.title, size=8, align="middle",
                   width=width)  # fmt: skip
        x += width + gap
    pages.y = y + 4.6 + charts[0].size_mm[1] + 6.0
