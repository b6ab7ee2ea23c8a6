"""On a fine screen lines are as wide as on a coarse one, and names of rows are told apart."""

from __future__ import annotations

import numpy as np
import pytest
from PySide6.QtGui import QFontMetrics, QImage, QPainter, QTransform

from app.panels.ledger_list import split_name
from app.pictures.chart_painter import Ink
from app.widgets import style
from core.drawing import Line
from core.pictures.ink import DARK


def ink_width(line_style, ratio):
    """Width of a painted level line in logical pixels: its lit area over its length."""
    image = QImage(round(300 * ratio), round(100 * ratio), QImage.Format.Format_RGB32)
    image.setDevicePixelRatio(ratio)
    image.fill(0xFF000000)
    painter = QPainter(image)
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    line = Line(style=line_style, points=np.array([[-10.0, 0.0], [10.0, 0.0]]))
    Ink([line]).paint(painter, QTransform(8, 0, 0, -8, 150, 50))
    painter.end()
    data = np.frombuffer(image.constBits(), np.uint8).reshape(image.height(), -1, 4)
    grey = data[:, round(100 * ratio) : round(200 * ratio), :3].max(axis=2).astype(float)
    full = style.colour(DARK.stroke_colour(line_style, below=False)).value()
    return grey.sum() / full / (100 * ratio) / ratio


@pytest.mark.parametrize("line_style", ["witness", "distance line", "site line", "canal"])
@pytest.mark.parametrize("ratio", [1.5, 2.0])
def test_a_line_is_as_wide_on_a_fine_screen(qapp, line_style, ratio):
    assert ink_width(line_style, ratio) == pytest.approx(ink_width(line_style, 1.0), rel=0.2)


def test_a_name_that_does_not_fit_keeps_the_part_that_tells_it_apart(qapp):
    style.load_fonts()
    font = style.font(13)
    ways = ["along the axis", "by the jaw plane"]
    names = [f"Ridge width, 1 mm below the crest, {way}" for way in ways]
    whole = QFontMetrics(font).horizontalAdvance(names[0])
    assert split_name(names[0], font, whole) == (names[0], "")
    assert [split_name(name, font, 200)[1] for name in names] == ways
    assert split_name("One word only", font, 5) == ("One word only", "")
