"""Every text can be read on what it stands on: 4.5 : 1, and meanings are told apart in grey.

Contrast as WCAG 2.1 defines it (relative luminance, 1.4.3 and its definitions).
"""

from __future__ import annotations

import re

import numpy as np
import pytest
from PySide6.QtGui import QColor
from PySide6.QtWidgets import QLineEdit

from app.widgets import style
from core.pictures.ink import DARK, STROKES, WORDS

LEAST = 4.5
WHITE = QColor("#ffffff")


def luminance(colour):
    parts = np.array([colour.redF(), colour.greenF(), colour.blueF()])
    linear = np.where(parts <= 0.03928, parts / 12.92, ((parts + 0.055) / 1.055) ** 2.4)
    return float(linear @ [0.2126, 0.7152, 0.0722])


def contrast(text, ground):
    light, dark = sorted((luminance(text), luminance(ground)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def over(plate, alpha, ground):
    """Colour of a see-through plate on a ground."""
    return QColor.fromRgbF(
        *(alpha * p + (1 - alpha) * g
          for p, g in zip(plate.getRgbF()[:3], ground.getRgbF()[:3], strict=True))
    )  # fmt: skip


def test_the_measure_is_the_published_one():
    assert contrast(QColor("black"), WHITE) == pytest.approx(21.0)
    # The grey that is commonly named as the lightest one that reads on white.
    assert contrast(QColor("#767676"), WHITE) == pytest.approx(4.54, abs=0.01)


@pytest.mark.parametrize("pair", style.TEXT_PAIRS, ids=lambda p: f"{p[0].name()}-{p[1].name()}")
def test_every_pair_of_text_and_ground(pair):
    assert contrast(*pair) >= LEAST


def test_every_colour_of_the_style_sheet_is_among_the_pairs():
    """A new colour of text or ground must be weighed before it is used."""
    texts = {c.lower() for c in re.findall(r"(?<![-\w])color:\s*(#\w+)", style.STYLE_SHEET)}
    grounds = {c.lower() for c in re.findall(r"background(?:-color)?:\s*(#\w+)", style.STYLE_SHEET)}
    assert texts
    assert grounds
    assert texts <= {text.name() for text, _ in style.TEXT_PAIRS}
    # Marks of boxes, bars and handles are filled with the ink itself; no word stands on them.
    assert grounds - {style.TEXT.name(), style.EDGE.name()} <= {
        g.name() for _, g in style.TEXT_PAIRS
    }


@pytest.mark.parametrize("alpha", [style.PLATE_ALPHA, style.NUMERAL_ALPHA])
def test_words_on_pictures_read_on_the_brightest_enamel(alpha):
    ground = over(style.colour(DARK.casing), alpha, WHITE)
    assert contrast(style.TEXT, ground) >= LEAST
    assert contrast(style.colour(DARK.ink), ground) >= LEAST


def test_hints_in_empty_lines_read_too(qapp, qtbot):
    line = QLineEdit()
    line.setStyleSheet(style.STYLE_SHEET)
    qtbot.addWidget(line)
    line.ensurePolished()
    assert line.palette().placeholderText().color().name() == style.OFF.name()
    assert contrast(style.OFF, style.RAISED) >= LEAST


def test_lines_of_one_grey_differ_in_dash_width_or_shape():
    """In grey, or for eyes that confuse colours, no two things of a legend look alike."""
    seen = {}
    for word, stroke in ((s, STROKES[s]) for s in WORDS):
        grey = round(luminance(style.colour(stroke.on_dark)), 1)
        shape = (grey, stroke.dash_mm, stroke.double, stroke.width_mm)
        assert shape not in seen, (word, seen.get(shape))
        seen[shape] = word
