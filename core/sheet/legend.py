"""The legend of pictures on paper: a sample of each line with its words."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any

import numpy as np
from reportlab.lib.units import mm

from core.drawing import Line
from core.pictures.ink import PAPER, WORDS
from core.sheet.page import Box, Pages
from core.sheet.picture import draw_line

_SAMPLE_MM = 8.0
_GAP_MM = 1.4
_BETWEEN_MM = 4.0
_LINE_MM = 3.9
_SIZE = 7.5
_QUIET = (0.33, 0.33, 0.33)


def legend(pages: Pages, styles: Iterable[str], y: float) -> float:
    """Samples with words in as many lines as they need, from a top edge; the y below them.

    Parameters
    ----------
    pages : Pages
    styles : iterable of str
        As drawn; those without words are left out.
    y : float
        mm from the upper edge of the page.
    """
    x = pages.left
    for style in dict.fromkeys(s for s in styles if s in WORDS):
        words = str(WORDS[style])
        width = _SAMPLE_MM + _GAP_MM + pages.width_of(words, size=_SIZE)
        if x > pages.left and x + width > pages.right:
            x, y = pages.left, y + _LINE_MM
        _sample(pages, style, x, y + _LINE_MM / 2)
        pages.text(x + _SAMPLE_MM + _GAP_MM, y + 2.8, words, size=_SIZE, colour=_QUIET,
                   width=pages.right - x - _SAMPLE_MM - _GAP_MM)  # fmt: skip
        x += width + _BETWEEN_MM
    return y + _LINE_MM


def _sample(pages: Pages, style: str, x: float, y: float) -> None:
    """A short piece of the very line, on the dark ground that its casing is made for."""

    def draw(canvas: Any, up: Callable[[float], float]) -> None:
        canvas.saveState()
        canvas.setFillColorRGB(0.55, 0.55, 0.55)
        canvas.rect(x * mm, up(y + 1.1), _SAMPLE_MM * mm, 2.2 * mm, stroke=0, fill=1)
        canvas.translate(x * mm, up(y))
        ends = np.array([[0.6, 0.0], [_SAMPLE_MM - 0.6, 0.0]])
        draw_line(canvas, Line(style=style, points=ends), 1.0, PAPER)
        canvas.restoreState()

    pages.draw(draw, Box(x, y - 1.1, x + _SAMPLE_MM, y + 1.1, "line"))
