"""The one function that sets text on paper, for every script.

Latin, Greek, Cyrillic and Vietnamese are set in the bundled font. Everything else is ordered by
the Unicode bidirectional algorithm (UAX 9, python-bidi), shaped (HarfBuzz) with a font of the
machine and drawn as outlines, so that no licence or file format of that font matters; the
characters themselves lie under the outlines as the text that a reader extracts. A character
without a glyph is never dropped: its code point stands in clear, and the caller is told.
"""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

from core.pictures.ink import BLACK, Colour
from core.sheet.fonts_found import Face, bundled, bundled_path, font_folders
from core.sheet.invisible_text import InvisibleFont
from core.sheet.shaping import Glyph, Under, font_of, is_invisible, shaped


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Setting:
    """A line of text, ready to be drawn.

    Parameters
    ----------
    text : str
        What is set, in logical order, NFC; code points in clear where a glyph was missing.
    face : {'plain', 'strong', 'slant'}
    size_pt : float
    width_pt : float
    missing : str
        Characters of the wish that no font has.
    """

    text: str
    face: Face
    size_pt: float
    width_pt: float
    missing: str
    glyphs: tuple[Glyph, ...] | None
    under: tuple[Under, ...] = ()

    def draw(self, canvas: Any, x_pt: float, y_pt: float, colour: Colour = BLACK) -> None:
        """Draw with the baseline's left end at a place of a reportlab canvas.

        Parameters
        ----------
        canvas : canvas of the PDF
        x_pt : float
            Points from the left.
        y_pt : float
            Points from below.
        colour : Colour, optional
        """
        if not self.text:
            return
        canvas.setFillColorRGB(*colour)
        if self.glyphs is None:
            canvas.setFont(registered(self.face), self.size_pt)
            canvas.drawString(x_pt, y_pt, self.text)
            return
        for g in self.glyphs:
            path = canvas.beginPath()
            scale = self.size_pt
            pen = _Pen(
                path, x_pt + g.x_em * scale, y_pt + g.y_em * scale, scale / g.font.units_per_em
            )
            g.font.font.draw_glyph_with_pen(g.glyph, pen)
            canvas.drawPath(path, stroke=0, fill=1, fillMode=1)
        self._lay_under(canvas, x_pt, y_pt)

    def _lay_under(self, canvas: Any, x_pt: float, y_pt: float) -> None:
        """Invisible characters below the outlines, cluster by cluster from left to right.

        Readers turn text that runs to the left from the order on the page into reading order.
        """
        font = InvisibleFont.of(canvas)
        for piece in self.under:
            font.lay(
                canvas,
                piece.text,
                x_pt=x_pt + piece.x_em * self.size_pt,
                y_pt=y_pt,
                width_pt=piece.width_em * self.size_pt,
                size_pt=self.size_pt,
            )


def set_text(
    text: str, *, size_pt: float, face: Face = "plain", folders: tuple[Path, ...] | None = None
) -> Setting:
    """Set one line of text.

    Parameters
    ----------
    text : str
        In logical order; control characters become spaces.
    size_pt : float
    face : {'plain', 'strong', 'slant'}
        Of the bundled font; fonts of the machine have one face.
    folders : tuple of Path, optional
        Where to look for further fonts; the machine's own when left out.
    """
    clean = unicodedata.normalize(
        "NFC", "".join(" " if unicodedata.category(c) == "Cc" else c for c in text)
    )
    if _is_simple(clean, face):
        width = pdfmetrics.stringWidth(clean, registered(face), size_pt)
        return Setting(
            text=clean, face=face, size_pt=size_pt, width_pt=width, missing="", glyphs=None
        )
    places = font_folders() if folders is None else folders
    fonts = [font_of(c, face, places) for c in clean]
    missing = "".join(
        c for c, f in zip(clean, fonts, strict=True) if f is None and not is_invisible(c)
    )
    if missing:
        shown = "".join(
            c if f is not None else "" if is_invisible(c) else code_point(c)
            for c, f in zip(clean, fonts, strict=True)
        )
        again = set_text(shown, size_pt=size_pt, face=face, folders=places)
        return Setting(
            text=again.text,
            face=face,
            size_pt=size_pt,
            width_pt=again.width_pt,
            missing=missing,
            glyphs=again.glyphs,
            under=again.under,
        )
    glyphs, under, width_em = shaped(clean, face, places)
    return Setting(
        text=clean,
        face=face,
        size_pt=size_pt,
        width_pt=width_em * size_pt,
        missing="",
        glyphs=glyphs,
        under=under,
    )


def code_point(character: str) -> str:
    """A character in clear: ``[U+5C71]``."""
    return f"[U+{ord(character):04X}]"


def fitted(
    text: str,
    width_pt: float,
    *,
    size_pt: float,
    face: Face = "plain",
    least_pt: float = 0.0,
) -> Setting:
    """Set a line as large as fits a width; never larger than asked.

    Parameters
    ----------
    text : str
    width_pt : float
        Points.
    size_pt : float
        Of the letters, points.
    face : Face, optional
    least_pt : float, optional
        Where even letters of this size are too wide, the middle of the text gives way to an
        ellipsis: its end often tells it from others. 0: never cut.
    """
    setting = set_text(text, size_pt=size_pt, face=face)
    if setting.width_pt <= width_pt:
        return setting
    size = size_pt * width_pt / setting.width_pt * 0.999
    least = min(least_pt, size_pt)
    if size >= least:
        return set_text(text, size_pt=size, face=face)
    few, many = 0, len(text) - 1
    while few < many:
        kept = (few + many + 1) // 2
        if set_text(_without_middle(text, kept), size_pt=least, face=face).width_pt <= width_pt:
            few = kept
        else:
            many = kept - 1
    return set_text(_without_middle(text, few), size_pt=least, face=face)


_END_LETTERS = 16
"""As many as a size takes: ``Ø 4.0 × 10.0 mm``."""


def _without_middle(text: str, kept: int) -> str:
    """So many characters of a text, and an ellipsis for the rest.

    The end is held longest: figures and units stand there.
    """
    last = max(kept * 2 // 5, min(_END_LETTERS, kept * 3 // 4))
    end = text[len(text) - last :]
    while end and unicodedata.combining(end[0]):
        end = end[1:]
    return f"{text[: kept - last].rstrip()}…{end.lstrip()}"


def wrapped(text: str, width_pt: float, *, size_pt: float, face: Face = "plain") -> list[Setting]:
    """Break text into lines that fit a width, at spaces, inside a word where one is too long.

    Parameters
    ----------
    text : str
    width_pt : float
        Points.
    size_pt : float
        Of the letters, points.
    face : Face, optional
    """
    lines: list[Setting] = []
    for paragraph in text.split("\n"):
        current = ""
        for word in paragraph.split(" "):
            trial = f"{current} {word}" if current else word
            if set_text(trial, size_pt=size_pt, face=face).width_pt <= width_pt:
                current = trial
                continue
            if current:
                lines.append(set_text(current, size_pt=size_pt, face=face))
            current = word
            while (
                set_text(current, size_pt=size_pt, face=face).width_pt > width_pt
                and len(current) > 1
            ):
                cut = _longest_start(current, width_pt, size_pt, face)
                lines.append(set_text(current[:cut], size_pt=size_pt, face=face))
                current = current[cut:]
        lines.append(set_text(current, size_pt=size_pt, face=face))
    return lines


def _longest_start(word: str, width_pt: float, size_pt: float, face: Face) -> int:
    cut = 1
    while (
        cut < len(word)
        and set_text(word[: cut + 1], size_pt=size_pt, face=face).width_pt <= width_pt
    ):
        cut += 1
    return cut


def _is_simple(text: str, face: Face) -> bool:
    """True where the bundled font sets the text one character after the other."""
    covered = bundled(face).characters
    return all(
        ord(c) in covered
        and unicodedata.category(c)[0] != "M"
        and unicodedata.bidirectional(c) not in ("R", "AL", "AN", "RLE", "RLO", "RLI")
        for c in text
    )


@lru_cache(maxsize=8)
def registered(face: Face) -> str:
    """Name under which the bundled font of a face is known to reportlab."""
    name = f"sheet-{face}"
    pdfmetrics.registerFont(TTFont(name, str(bundled_path(face))))
    return name


class _Pen:
    """Draws a glyph's outline into a reportlab path (fontTools' pen protocol)."""

    def __init__(self, path: Any, x: float, y: float, scale: float) -> None:
        self._path, self._x, self._y, self._scale = path, x, y, scale
        self._at = (0.0, 0.0)

    def _place(self, point: tuple[float, float]) -> tuple[float, float]:
        return self._x + point[0] * self._scale, self._y + point[1] * self._scale

    def moveTo(self, point: tuple[float, float]) -> None:  # noqa: N802
        self._at = point
        self._path.moveTo(*self._place(point))

    def lineTo(self, point: tuple[float, float]) -> None:  # noqa: N802
        self._at = point
        self._path.lineTo(*self._place(point))

    def curveTo(  # noqa: N802
        self, first: tuple[float, float], second: tuple[float, float], end: tuple[float, float]
    ) -> None:
        self._at = end
        self._path.curveTo(*self._place(first), *self._place(second), *self._place(end))

    def qCurveTo(self, control: tuple[float, float], end: tuple[float, float]) -> None:  # noqa: N802
        at = self._at
        first = tuple(a + (c - a) * 2 / 3 for a, c in zip(at, control, strict=True))
        second = tuple(e + (c - e) * 2 / 3 for e, c in zip(end, control, strict=True))
        self.curveTo((first[0], first[1]), (second[0], second[1]), end)

    def closePath(self) -> None:  # noqa: N802
        self._path.close()

    def endPath(self) -> None:  # noqa: N802
        self._path.close()
