"""Glyphs of a line in any script, in visual order, and the characters that lie under them.

Ordered by the Unicode bidirectional algorithm (UAX 9, python-bidi), shaped by HarfBuzz.
"""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass
from pathlib import Path

import uharfbuzz as hb
from bidi import algorithm as bidi

from core.sheet.fonts_found import Face, FontFile, bundled, machine_font


@dataclass(frozen=True, slots=True, eq=False)
class Glyph:
    """An outline, and where it stands along the line, in units of the type size."""

    font: FontFile
    glyph: int
    x_em: float
    y_em: float


@dataclass(frozen=True, slots=True)
class Under:
    """Characters that a reader extracts, and where along the line their outlines stand."""

    text: str
    x_em: float
    width_em: float


def is_invisible(character: str) -> bool:
    """A control: it says how others are set, and has no outline of its own."""
    return unicodedata.category(character) == "Cf"


def font_of(character: str, face: Face, folders: tuple[Path, ...]) -> FontFile | None:
    """The bundled font where it has the character, else one of the machine; None: no font has it.

    Parameters
    ----------
    character : str
    face : {'plain', 'strong', 'slant'}
    folders : tuple of Path
        Where fonts of the machine are looked for.
    """
    if ord(character) in bundled(face).characters:
        return bundled(face)
    return machine_font(character, folders)


def _script(character: str) -> str:
    """A rough script name for letters and marks, empty for what belongs to any script."""
    if unicodedata.category(character)[0] not in "LM":
        return ""
    name = unicodedata.name(character, "").split(" ")[0].split("-")[0]
    return "" if name == "COMBINING" else name


def _levels(text: str) -> list[int]:
    """Embedding level of each character (UAX 9, without the final reordering)."""
    storage = bidi.get_empty_storage()
    storage["base_level"] = bidi.get_base_level(text)
    storage["base_dir"] = ("L", "R")[storage["base_level"]]
    bidi.get_embedding_levels(text, storage)
    bidi.explicit_embed_and_overrides(storage)
    if len(storage["chars"]) != len(text):
        return [storage["base_level"]] * len(text)
    bidi.resolve_weak_types(storage)
    bidi.resolve_neutral_types(storage, False)
    bidi.resolve_implicit_levels(storage, False)
    return [int(c["level"]) for c in storage["chars"]]


def _runs(text: str, face: Face, folders: tuple[Path, ...]) -> list[tuple[str, int, FontFile]]:
    """Pieces of one level, script and font, in logical order."""
    pieces: list[tuple[str, int, str]] = []
    for character, level in zip(text, _levels(text), strict=True):
        script = _script(character)
        if pieces and pieces[-1][1] == level and (not script or script == pieces[-1][2]):
            pieces[-1] = (pieces[-1][0] + character, level, pieces[-1][2])
        else:
            pieces.append((character, level, script))
    runs: list[tuple[str, int, FontFile]] = []
    for piece, level, _ in pieces:
        if all(ord(c) in bundled(face).characters for c in piece):
            runs.append((piece, level, bundled(face)))
            continue
        whole = machine_font(piece, folders)
        if whole is not None:
            runs.append((piece, level, whole))
            continue
        for character in piece:
            font = font_of(character, face, folders)
            if font is None:  # an invisible control without a glyph of its own
                continue
            if runs and runs[-1][1] == level and runs[-1][2] is font:
                runs[-1] = (runs[-1][0] + character, level, font)
            else:
                runs.append((character, level, font))
    return runs


def shaped(
    text: str, face: Face, folders: tuple[Path, ...]
) -> tuple[tuple[Glyph, ...], tuple[Under, ...], float]:
    """Glyphs in visual order with their places, and the width, in units of the type size.

    Parameters
    ----------
    text : str
        In logical order.
    face : {'plain', 'strong', 'slant'}
    folders : tuple of Path
        Where fonts of the machine are looked for.
    """
    runs = _runs(text, face, folders)
    order = list(range(len(runs)))
    levels = [level for _, level, _ in runs]
    lowest_odd = min((v for v in levels if v % 2), default=0)
    for level in range(max(levels, default=0), max(lowest_odd, 1) - 1, -1):  # UAX 9, rule L2
        start = 0
        while start < len(order):
            stop = start
            while stop < len(order) and levels[order[stop]] >= level:
                stop += 1
            order[start:stop] = order[start:stop][::-1]
            start = max(stop, start + 1)
    glyphs: list[Glyph] = []
    under: list[Under] = []
    last: tuple[int, int] | None = None
    x = 0.0
    for index in order:
        piece, level, font = runs[index]
        buffer = hb.Buffer()
        buffer.add_str(piece)
        buffer.guess_segment_properties()
        buffer.direction = "rtl" if level % 2 else "ltr"
        hb.shape(font.font, buffer)
        em = float(font.units_per_em)
        starts = [*sorted({info.cluster for info in buffer.glyph_infos}), len(piece)]
        for info, place in zip(buffer.glyph_infos, buffer.glyph_positions, strict=True):
            cluster = piece[info.cluster : starts[starts.index(info.cluster) + 1]]
            advance = place.x_advance / em
            if last != (index, info.cluster):
                under += _laid(cluster, x, advance, leftward=level % 2 == 1)
            elif level % 2 == 0:  # one more glyph of the same cluster
                before = under.pop()
                under.append(Under(cluster, before.x_em, x + advance - before.x_em))
            last = (index, info.cluster)
            glyphs.append(Glyph(font, info.codepoint, x + place.x_offset / em, place.y_offset / em))
            x += advance
    return tuple(glyphs), tuple(under), x


def _laid(cluster: str, x: float, width: float, *, leftward: bool) -> list[Under]:
    """A cluster as it is laid under its outline.

    Readers turn characters that run to the left round one by one, so each lies by itself.
    """
    if not leftward:
        return [Under(cluster, x, width)]
    share = width / len(cluster)
    return [Under(c, x + n * share, share) for n, c in enumerate(reversed(cluster))]
