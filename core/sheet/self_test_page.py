"""The self-test's page: what was found, what is true, within which bound, on which machine."""

from __future__ import annotations

from core.measuring.self_test import NOT_THE_SCANNER, SelfTest
from core.measuring.self_test_check import Check
from core.pictures.ink import PALE
from core.sheet.lasting import Facts
from core.sheet.page import Pages, PaperName
from core.sheet.page_frame import heading, plain_frame
from core.version import PROGRAM
from core.words.catalogue import language, say

_TOP_MM = 30.0
_ROW_MM = 5.0


def self_test_pdf(run: SelfTest, *, paper: PaperName = "A4") -> bytes:
    """The page as a PDF."""
    pages = Pages(paper, top_mm=_TOP_MM)
    pages.new_page()
    pages.y = pages.block(pages.left, pages.y, pages.inner, run.sentence, size=11, face="strong")
    pages.y = (
        pages.block(pages.left, pages.y + 2.0, pages.inner, str(NOT_THE_SCANNER), size=11) + 4.0
    )
    heading(pages, say("sheet.self-test.scan"))
    with pages.element("Table"):
        with pages.element("TR", header=True):
            _head(pages)
        for check in run.checks:
            if pages.ensure(_ROW_MM):
                with pages.artifact():
                    _head(pages)
            with pages.element("TR"):
                _row(pages, check)
    pages.y += 4.0
    pages.ensure(40.0)
    heading(pages, say("sheet.self-test.machine"))
    words = " · ".join(f"{name} {value}" for name, value in run.machine.items())
    pages.y = pages.block(pages.left, pages.y, pages.inner, words, size=9)
    words = say("sheet.self-test.seed", seed=run.seed)
    pages.y = pages.block(pages.left, pages.y + 2.0, pages.inner, words, size=9)

    line = say(
        "sheet.self-test.line", program=PROGRAM, at=run.at, seed=run.seed, seconds=run.seconds
    )
    frame = plain_frame(say("sheet.self-test.heading"), line, str(NOT_THE_SCANNER))
    return pages.render(
        frame, Facts(title=say("sheet.self-test.title"), made_at=run.at, language=language())
    )


def _columns(pages: Pages) -> tuple[float, ...]:
    return tuple(pages.left + pages.inner * share for share in (0.6, 0.72, 0.84, 1.0))


def _head(pages: Pages) -> None:
    y = pages.y + 3.6
    found, true, bound, end = _columns(pages)
    pages.text(pages.left, y, say("sheet.self-test.what"), size=8, face="slant")
    heads = (
        (found, say("sheet.self-test.found")),
        (true, say("sheet.self-test.true")),
        (bound, say("sheet.self-test.bound")),
        (end, ""),
    )
    for x, words in heads:
        pages.text(x, y, words, size=8, face="slant", align="right")
    pages.y += _ROW_MM


def _row(pages: Pages, check: Check) -> None:
    y = pages.y + 3.6
    found, true, bound, end = _columns(pages)
    pages.text(pages.left, y, str(check.what), size=9, width=pages.inner * 0.5)
    told = (
        say("sheet.self-test.nothing") if check.found is None else _figure(check.found, check.unit)
    )
    pages.text(found, y, told, size=9, align="right")
    pages.text(true, y, _figure(check.true, check.unit), size=9, align="right")
    pages.text(bound, y, f"± {_figure(check.bound, check.unit)}", size=9, align="right")
    words = say("sheet.self-test.within" if check.passed else "sheet.self-test.out")
    pages.text(end, y, words, size=9, align="right", face="plain" if check.passed else "strong")
    pages.line(pages.left, y + 1.3, pages.right, y + 1.3, width=0.1, colour=PALE)
    pages.y += _ROW_MM


def _figure(value: float, unit: str) -> str:
    if unit == "":
        return f"{value:.0f}"
    return f"{value:.3f} {'°' if unit == 'deg' else unit}"
