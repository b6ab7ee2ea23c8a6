"""The repeat study's page: who placed what how often, and what that says, with its picture."""

from __future__ import annotations

import math
from collections.abc import Iterator

from core.pictures.agreement_chart import agreement_chart
from core.sheet.lasting import Facts
from core.sheet.page import MARGIN_MM, Pages, PaperName
from core.sheet.page_frame import heading
from core.trust.figures import nearest, up
from core.trust.method_error import Correlation
from core.trust.operator_precision import own_hand, placement_by
from core.trust.repeat_result import Comparison, RepeatResult
from core.version import PROGRAM

_TOP_MM = 30.0
SCATTER_ONLY = (
    "A repeat study shows scatter, never bias: a canal misread twice alike looks perfect. A hand "
    "never counts as steadier than 0.2 mm."
)


def repeat_pdf(result: RepeatResult, *, paper: PaperName = "A4") -> bytes:
    """The page as a PDF."""
    pages = Pages(paper, top_mm=_TOP_MM)
    pages.new_page()
    for line in design_lines(result):
        pages.y = pages.block(pages.left, pages.y, pages.inner, line, size=9.5) + 0.8
    pages.y += 2.0
    heading(pages, "Scatter of the marks")
    for line in spread_lines(result):
        pages.ensure(10.0)
        pages.y = pages.block(pages.left, pages.y, pages.inner, line, size=9.5) + 0.8
    pages.y += 2.0
    for comparison in result.comparisons:
        pages.ensure(92.0)
        heading(pages, f"Agreement: {comparison.title}")
        chart = agreement_chart(comparison)
        pages.chart(chart, pages.left, pages.y + 1.0)
        pages.y += chart.size_mm[1] + 4.0
        for line in comparison_lines(comparison):
            pages.y = pages.block(pages.left, pages.y, pages.inner, line, size=9.5) + 0.8
        pages.y += 2.0
    for line in (*table_lines(result), *result.troubles):
        pages.ensure(10.0)
        pages.y = pages.block(pages.left, pages.y, pages.inner, line, size=9.5) + 0.8

    def frame(page: Pages, number: int, count: int) -> None:
        page.text(page.left, 17.0, "Repeat study", size=14, face="strong")
        page.text(page.right, 17.0, f"page {number} of {count}", size=9.5, align="right")
        line = f"{PROGRAM} · {result.study.at[:16].replace('T', ' ')}"
        page.text(page.left, 22.5, line, size=9.5, width=page.inner, whole=True)
        page.line(page.left, 25.5, page.right, 25.5, width=0.4)
        page.text(page.left, page.height - MARGIN_MM, SCATTER_ONLY, size=8, width=page.inner)

    return pages.render(frame, Facts(title="Repeat study", made_at=result.study.at))


def design_lines(result: RepeatResult) -> Iterator[str]:
    """What was placed, how often, in which order."""
    study, design = result.study, result.study.design
    yield f"Placed by {', '.join(study.people) or 'nobody yet'}."
    if design is not None:
        yield (
            f"{len(design.stations)} sections, {design.rounds} rounds, marks of each section: "
            f"{', '.join(design.marks)}. Sections shown shuffled by seed {design.seed}, without "
            "place, earlier marks or anything drawn."
        )
    if study.series_uid:
        yield f"Series {study.series_uid}"


def spread_lines(result: RepeatResult) -> Iterator[str]:
    """Each person's scatter, and how it counts."""
    for person, spread in result.spreads.items():
        low, high = spread.interval_mm
        counted = placement_by(own_hand(result.study, person)).seen_mm
        yield (
            f"{person}: SD {nearest(spread.sd_mm, 2)} mm for each direction (95 % interval "
            f"{nearest(low, 2)} to {nearest(high, 2)}), from {spread.placings} placings of "
            f"{spread.marks} marks; counts as {nearest(counted, 2)} mm."
        )


def comparison_lines(comparison: Comparison) -> Iterator[str]:
    """Bias, limits of agreement, Dahlberg's error and correlations of one pair of series."""
    error = comparison.error
    found = error.agreement

    def span(interval: tuple[float, float]) -> str:
        return f"({nearest(interval[0], 2)} to {nearest(interval[1], 2)})"

    yield (
        f"Mean difference {nearest(found.bias, 2)} mm {span(found.bias_interval)}; limits of "
        f"agreement {nearest(found.lower, 2)} {span(found.lower_interval)} to "
        f"{nearest(found.upper, 2)} {span(found.upper_interval)} mm; {found.pairs} lengths. "
        "Bland, Altman 1986, Lancet 327:307; 95 % intervals in brackets."
    )
    yield (
        f"Dahlberg’s error of one reading {up(error.dahlberg_mm, 2)} mm (Dahlberg 1940, "
        "Statistical methods for medical and biological students)."
    )
    icc = error.correlations
    yield (
        f"Intraclass correlation ICC(2,1) {_correlation(icc.icc_2_1)}, ICC(3,1) "
        f"{_correlation(icc.icc_3_1)} (Shrout, Fleiss 1979, Psychol Bull 86:420)."
    )


def table_lines(result: RepeatResult) -> Iterator[str]:
    """The correlations over every series, where there are more than two."""
    icc = result.all_rounds
    if icc is not None and result.columns > 2:
        yield (
            f"Over all {result.columns} series: ICC(2,1) {_correlation(icc.icc_2_1)}, ICC(3,1) "
            f"{_correlation(icc.icc_3_1)}."
        )


def _correlation(found: Correlation) -> str:
    low, high = found.interval
    if not (math.isfinite(low) and math.isfinite(high)):
        return f"{found.value:.3f} (no interval: the series differ by a constant only)"
    return f"{found.value:.3f} ({low:.3f} to {high:.3f})"
