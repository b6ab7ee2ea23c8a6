"""The repeat study's page: who placed what how often, and what that says, with its picture."""

from __future__ import annotations

import math
from collections.abc import Iterator

from core.pictures.agreement_plot import agreement_plot
from core.pictures.plot_chart import plot_chart
from core.sheet.lasting import Facts
from core.sheet.page import Pages, PaperName
from core.sheet.page_frame import heading, plain_frame
from core.trust.figures import nearest, up
from core.trust.method_error import Correlation
from core.trust.operator_precision import own_hand, placement_by
from core.trust.repeat_result import Comparison, RepeatResult
from core.version import PROGRAM
from core.words.catalogue import language, message, say

_TOP_MM = 30.0
SCATTER_ONLY = message("sheet.repeat.scatter-only")


def repeat_pdf(result: RepeatResult, *, paper: PaperName = "A4") -> bytes:
    """The page as a PDF."""
    pages = Pages(paper, top_mm=_TOP_MM)
    pages.new_page()
    for line in design_lines(result):
        pages.y = pages.block(pages.left, pages.y, pages.inner, line, size=9.5) + 0.8
    pages.y += 2.0
    heading(pages, say("sheet.repeat.scatter"))
    for line in spread_lines(result):
        pages.ensure(10.0)
        pages.y = pages.block(pages.left, pages.y, pages.inner, line, size=9.5) + 0.8
    pages.y += 2.0
    for comparison in result.comparisons:
        pages.ensure(92.0)
        heading(pages, say("sheet.repeat.agreement", title=comparison.title))
        chart = plot_chart(agreement_plot(comparison))
        pages.chart(chart, pages.left, pages.y + 1.0)
        pages.y += chart.size_mm[1] + 4.0
        for line in comparison_lines(comparison):
            pages.y = pages.block(pages.left, pages.y, pages.inner, line, size=9.5) + 0.8
        pages.y += 2.0
    for line in (*table_lines(result), *result.troubles):
        pages.ensure(10.0)
        pages.y = pages.block(pages.left, pages.y, pages.inner, line, size=9.5) + 0.8

    line = f"{PROGRAM} · {result.study.at[:16].replace('T', ' ')}"
    frame = plain_frame(say("sheet.repeat.title"), line, str(SCATTER_ONLY))
    return pages.render(
        frame, Facts(title=say("sheet.repeat.title"), made_at=result.study.at, language=language())
    )


def design_lines(result: RepeatResult) -> Iterator[str]:
    """What was placed, how often, in which order."""
    study, design = result.study, result.study.design
    people = ", ".join(study.people)
    yield (
        say("sheet.repeat.placed-by", people=people)
        if people
        else say("sheet.repeat.placed-by-nobody")
    )
    if design is not None:
        yield say(
            "sheet.repeat.design",
            sections=len(design.stations),
            rounds=design.rounds,
            marks=", ".join(design.marks),
            seed=design.seed,
        )
    if study.series_uid:
        yield say("sheet.repeat.series", uid=study.series_uid)


def spread_lines(result: RepeatResult) -> Iterator[str]:
    """Each person's scatter, and how it counts."""
    for person, spread in result.spreads.items():
        low, high = spread.interval_mm
        counted = placement_by(own_hand(result.study, person)).seen_mm
        yield say(
            "sheet.repeat.spread",
            person=person,
            sd=nearest(spread.sd_mm, 2),
            low=nearest(low, 2),
            high=nearest(high, 2),
            placings=spread.placings,
            marks=spread.marks,
            counted=nearest(counted, 2),
        )


def comparison_lines(comparison: Comparison) -> Iterator[str]:
    """Bias, limits of agreement, Dahlberg's error and correlations of one pair of series."""
    error = comparison.error
    found = error.agreement

    def span(interval: tuple[float, float]) -> str:
        return say("sheet.repeat.span", low=nearest(interval[0], 2), high=nearest(interval[1], 2))

    yield say(
        "sheet.repeat.bland-altman",
        bias=nearest(found.bias, 2),
        bias_span=span(found.bias_interval),
        lower=nearest(found.lower, 2),
        lower_span=span(found.lower_interval),
        upper=nearest(found.upper, 2),
        upper_span=span(found.upper_interval),
        pairs=found.pairs,
    )
    yield say("sheet.repeat.dahlberg", mm=up(error.dahlberg_mm, 2))
    icc = error.correlations
    yield say("sheet.repeat.icc", two=_correlation(icc.icc_2_1), three=_correlation(icc.icc_3_1))


def table_lines(result: RepeatResult) -> Iterator[str]:
    """The correlations over every series, where there are more than two."""
    icc = result.all_rounds
    if icc is not None and result.columns > 2:
        yield say(
            "sheet.repeat.icc-all",
            columns=result.columns,
            two=_correlation(icc.icc_2_1),
            three=_correlation(icc.icc_3_1),
        )


def _correlation(found: Correlation) -> str:
    low, high = found.interval
    if not (math.isfinite(low) and math.isfinite(high)):
        return say("sheet.repeat.no-interval", value=float(found.value))
    return say("sheet.repeat.interval", value=float(found.value), low=float(low), high=float(high))
