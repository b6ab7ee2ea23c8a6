"""What every page carries: who, when, DRAFT, page n of m; and the rulers and the small arch."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from typing import Any

import numpy as np
from reportlab.lib.units import mm

from core.identity import Tooth
from core.pictures.ink import BLACK, PALE, WHITE
from core.sheet.case import Case
from core.sheet.page import MARGIN_MM, Box, Pages
from core.words.catalogue import say
from core.words.numbers import date_and_time

BODY_TOP_MM = 36.0
RULER_MM = 50
LARGE_PT = 13.0
"""Headings of this size begin a part of their own."""

_QUIET = (0.33, 0.33, 0.33)


def page_frame(case: Case, title: str = "") -> Callable[[Pages, int, int], None]:
    """A function that puts head, band and foot on a page.

    Parameters
    ----------
    case : Case
    title : str, optional
        Of the document; the sheet's own when left out.
    """

    def put(pages: Pages, number: int, count: int) -> None:
        left, right = pages.left, pages.right
        who = case.patient
        _name(pages, who.name)
        pages.text(right, 15.5, title or say("sheet.title"), size=11, face="slant", align="right")
        line = f"{who.birth} · {who.patient_id} · {who.scanned}"
        pages.text(left, 21.0, line, size=9.5, width=pages.inner - 26, whole=True)
        pages.text(
            right,
            21.0,
            say("sheet.frame.page", number=number, count=count),
            size=9.5,
            align="right",
        )
        if case.band:
            _band(pages, 23.6, case.band)
        else:
            pages.line(left, 24.5, right, 24.5, width=0.4)
            sign = case.plan.sign_off
            if sign is not None:
                parts = (sign.name, sign.role, plain_time(sign.at))
                by = ", ".join(part for part in parts if part)
                words = say("sheet.frame.signed", by=by, revision=sign.revision)
                pages.text(left, 29.0, words, size=9, width=pages.inner, whole=True)
        foot = pages.height - MARGIN_MM
        pages.line(left, foot - 4.0, right, foot - 4.0, width=0.15)
        ledger = case.ledger
        words = say(
            "sheet.frame.foot",
            program=ledger.program,
            at=ledger.made_at,
            revision=case.plan.revision,
            fingerprint=_short(ledger.plan_fingerprint),
        )
        pages.text(left, foot, words, size=7.5, width=pages.inner, colour=_QUIET)

    return put


def plain_frame(title: str, line: str, foot: str) -> Callable[[Pages, int, int], None]:
    """A function that puts a title, a line below it and one at the foot on a page of no case.

    Parameters
    ----------
    title : str
    line : str
    foot : str
    """

    def put(pages: Pages, number: int, count: int) -> None:
        pages.text(pages.left, 17.0, title, size=14, face="strong")
        words = say("sheet.frame.page", number=number, count=count)
        pages.text(pages.right, 17.0, words, size=9.5, align="right")
        pages.text(pages.left, 22.5, line, size=9.5, width=pages.inner, whole=True)
        pages.line(pages.left, 25.5, pages.right, 25.5, width=0.4)
        pages.text(pages.left, pages.height - MARGIN_MM, foot, size=8, width=pages.inner)

    return put


def plain_time(iso: str) -> str:
    """``2026-11-25T13:19:36+00:00`` → ``2026-11-25 13:19 UTC``; words that are no time stay."""
    try:
        at = datetime.fromisoformat(iso)
    except ValueError:
        return iso
    zone = at.strftime("%z")
    offset = "" if zone in {"", "+0000"} else f"{zone[:3]}:{zone[3:5]}"
    return date_and_time(f"{at:%Y-%m-%dT%H:%M}") + (f" UTC{offset}" if zone else "")


def _name(pages: Pages, name: str) -> None:
    """The name in one line where it fits, else in more and smaller ones: never cut."""
    width = pages.inner - 40.0
    for size, lines in ((14.0, 1), (11.0, 1), (9.0, 1), (8.0, 2), (6.0, 3)):
        height = pages.height_of(width, name, size=size, face="strong")
        one = pages.height_of(width, "", size=size, face="strong")
        if height <= lines * one + 1e-6 or lines == 3:
            pages.block(pages.left, 17.0 - height, width, name, size=size, face="strong")
            return


def _short(fingerprint: str) -> str:
    kind, _, digits = fingerprint.partition(":")
    return f"{kind} {digits[:12]}…" if digits else fingerprint


def _band(pages: Pages, y: float, words: str) -> None:
    """DRAFT: heavy words between two hatched ends, told apart in any print."""
    height = 7.0
    pages.rect(pages.left, y, pages.inner, height, edge=0.5)
    width = pages.text(
        (pages.left + pages.right) / 2, y + 5.0, words, size=12, face="strong", align="middle",
        width=pages.inner - 30,
    )  # fmt: skip
    free = (pages.inner - width) / 2 - 4.0
    for start in (pages.left, pages.right - free):
        for x in np.arange(start, start + free - 3.0, 2.2):
            pages.line(x, y + height - 0.8, x + 3.6, y + 0.8, width=0.6)


def ruler(pages: Pages, x: float, y: float, *, upright: bool) -> None:
    """A ruler of 50 mm: from the middle of its first tick to the middle of its last.

    Lying: ticks down from y, starting at x. Upright: ticks to the left of x, starting at y.

    Parameters
    ----------
    pages : Pages
    x : float
        mm from the left edge of the page.
    y : float
        mm from the upper edge of the page.
    upright : bool
    """
    with pages.artifact():
        _ruler(pages, x, y, upright=upright)


def _ruler(pages: Pages, x: float, y: float, *, upright: bool) -> None:
    for n in range(RULER_MM + 1):
        reach = 3.2 if n % 10 == 0 else 2.2 if n % 5 == 0 else 1.3
        if upright:
            pages.line(x - reach, y + n, x, y + n, width=0.15)
        else:
            pages.line(x + n, y, x + n, y + reach, width=0.15)
        if n % 10 == 0:
            if upright:
                pages.text(x - 3.8, y + n + 0.9, str(n), size=6.5, align="right")
            else:
                pages.text(x + n, y + 5.6, str(n), size=6.5, align="middle")
    end = (x, y + RULER_MM) if upright else (x + RULER_MM, y)
    pages.line(x, y, *end, width=0.25)


def scale_check(pages: Pages, x: float, y: float, width: float) -> None:
    """The sentence that makes somebody check the printer, from its top edge.

    Parameters
    ----------
    pages : Pages
    x : float
        mm from the left edge of the page.
    y : float
        mm from the upper edge of the page.
    width : float
        mm.
    """
    words = say("sheet.check-scale")
    pages.block(x, y, width, words, size=8)


def small_arch(pages: Pages, x: float, y: float, marked: tuple[str, ...]) -> tuple[float, float]:
    """The arch seen from below as a row of teeth, the planned ones filled; its width and height.

    The patient's right is on the left of the drawing; sides come from the tooth numbers.

    Parameters
    ----------
    pages : Pages
    x : float
        mm from the left edge of the page.
    y : float
        mm from the upper edge of the page.
    marked : tuple of str
    """
    teeth = [Tooth.of(t) for t in marked]
    jaw = teeth[0].jaw if teeth else "lower"
    key = "sheet.arch-alt-lower" if jaw == "lower" else "sheet.arch-alt-upper"
    alt = say(key, teeth=", ".join(str(tooth.words()) for tooth in teeth))
    with pages.element("Figure", alt=alt):
        return _arch_of_teeth(pages, x, y, marked, teeth)


def _arch_of_teeth(
    pages: Pages, x: float, y: float, marked: tuple[str, ...], teeth: list[Tooth]
) -> tuple[float, float]:
    width, height = 36.0, 30.0
    jaw = teeth[0].jaw if teeth else "lower"
    quadrants = (1, 2) if jaw == "upper" else (4, 3)
    centre, top = x + width / 2, y + 5.0
    for quadrant in quadrants:
        for position in range(1, 9):
            tooth = Tooth(quadrant, position)
            side = -1.0 if tooth.side == "right" else 1.0
            turn = np.radians(6.0 + (position - 1) * 11.6)
            at_x = centre + side * 11.5 * np.sin(turn)
            at_y = top + 21.0 * (1 - np.cos(turn))
            radius = 1.0 if position <= 3 else 1.15 if position <= 5 else 1.5
            planned = tooth.iso in marked
            _disc(pages, float(at_x), float(at_y), radius, filled=planned)
            if planned:
                out = 4.0
                pages.text(
                    float(at_x + side * out * max(np.sin(turn), 0.35)),
                    float(at_y - out * np.cos(turn) * 0.6 + 1.0),
                    tooth.iso, size=8 if len(teeth) == 1 else 7, face="strong", align="middle",
                )  # fmt: skip
    pages.text(x + 1.0, top + 2.0, "R", size=12, face="strong")
    pages.text(x + width - 1.0, top + 2.0, "L", size=12, face="strong", align="right")
    words = say("sheet.frame.lower-jaw" if jaw == "lower" else "sheet.frame.upper-jaw")
    pages.text(centre, y + height - 1.5, words, size=7, align="middle")
    words = say("sheet.frame.seen-from-below")
    pages.text(centre, y + height + 1.2, words, size=7, align="middle")
    return width, height


def _disc(pages: Pages, x: float, y: float, radius: float, *, filled: bool) -> None:
    def draw(canvas: Any, up: Callable[[float], float]) -> None:
        canvas.setLineWidth((0.5 if filled else 0.25) * mm)
        canvas.setStrokeColorRGB(*(BLACK if filled else _QUIET))
        canvas.setFillColorRGB(*(BLACK if filled else WHITE))
        canvas.circle(x * mm, up(y), (radius + 0.3 * filled) * mm, stroke=1, fill=1)

    pages.draw(draw, Box(x - radius, y - radius, x + radius, y + radius, "line"))


def heading(pages: Pages, text: str, *, size: float = 11.0) -> None:
    """A heading at the cursor, with a pale rule below.

    Parameters
    ----------
    pages : Pages
    text : str
    size : float, optional
        Of the letters, points.
    """
    with pages.element("H1" if size >= LARGE_PT else "H2"):
        pages.text(pages.left, pages.y + 4.2, text, size=size, face="strong", width=pages.inner)
    pages.line(pages.left, pages.y + 5.8, pages.right, pages.y + 5.8, width=0.3, colour=PALE)
    pages.y += 7.6
