"""Draws a chart into a PDF: the grey image at its own resolution, everything else as vectors."""

from __future__ import annotations

from typing import Any

import numpy as np
from PIL import Image
from reportlab.lib.units import mm
from reportlab.lib.utils import ImageReader

from core.drawing import Chart, Label, Line
from core.pictures.chart_desk import label_height_mm
from core.pictures.ink import PAPER, STROKES, VERMILION, Scheme
from core.sheet.fonts_found import Face
from core.sheet.text import set_text

_CAP_HEIGHT = 0.66
"""Height of a capital of the bundled font, in units of its size."""

_DOT_MM = 0.45


def draw_chart(
    canvas: Any,
    chart: Chart,
    *,
    x_mm: float,
    y_mm: float,
    scale: float = 1.0,
    scheme: Scheme = PAPER,
) -> None:
    """Draw a chart with its lower left corner at a place of the page.

    Parameters
    ----------
    canvas : reportlab canvas
    chart : Chart
    x_mm, y_mm : float
        From the page's lower left corner.
    scale : float
        1 prints true to size. Lines and letters keep their size on paper.
    scheme : Scheme
    """
    width, height = (side * scale * mm for side in chart.size_mm)
    canvas.saveState()
    canvas.translate(x_mm * mm, y_mm * mm)
    clip = canvas.beginPath()
    clip.rect(0, 0, width, height)
    canvas.clipPath(clip, stroke=0, fill=0)
    canvas.drawImage(_image(chart, scheme), 0, 0, width=width, height=height)
    canvas.translate(width / 2, height / 2)
    canvas.setLineCap(1)
    canvas.setLineJoin(1)
    for line in chart.lines:
        draw_line(canvas, line, scale, scheme)
    for dot in chart.dots:
        at = (dot.at[0] * scale * mm, dot.at[1] * scale * mm)
        canvas.setFillColorRGB(*scheme.casing)
        canvas.circle(*at, (_DOT_MM + 0.2) * mm, stroke=0, fill=1)
        canvas.setFillColorRGB(*(VERMILION if dot.below else scheme.ink))
        canvas.circle(*at, _DOT_MM * mm, stroke=0, fill=1)
    for label in chart.labels:
        at = (label.at[0] * scale * mm, label.at[1] * scale * mm)
        _label(canvas, label, at, scheme)
    _sides(canvas, chart, width, height, scheme)
    canvas.restoreState()
    canvas.saveState()
    canvas.setLineWidth(0.15 * mm)
    canvas.setStrokeColorRGB(*scheme.ink)
    canvas.rect(x_mm * mm, y_mm * mm, width, height, stroke=1, fill=0)
    canvas.restoreState()


def _image(chart: Chart, scheme: Scheme) -> ImageReader:
    shades = np.array(chart.shades())
    shades[np.isnan(chart.grey)] = round(scheme.not_scanned[0] * 255)
    return ImageReader(Image.fromarray(shades))


def draw_line(canvas: Any, line: Line, scale: float, scheme: Scheme) -> None:
    """Draw one line of a chart, its casing first.

    Parameters
    ----------
    canvas : reportlab canvas
        Moved to the chart's middle.
    line : Line
        In mm from there.
    scale : float
    scheme : Scheme
    """
    stroke = STROKES[line.style]
    path = canvas.beginPath()
    for n, (u, v) in enumerate(line.points * (scale * mm)):
        (path.lineTo if n else path.moveTo)(float(u), float(v))
    if line.closed:
        path.close()
    ink = scheme.stroke_colour(line.style, below=line.below)
    if stroke.case_mm > 0:
        canvas.setDash()
        _stroke(canvas, path, stroke.width_mm + 2 * stroke.case_mm, scheme.casing)
    canvas.setDash([d * mm for d in stroke.dash_mm] if stroke.dash_mm else [])
    _stroke(canvas, path, stroke.width_mm, ink)
    if stroke.double:
        canvas.setDash()
        _stroke(canvas, path, stroke.width_mm * 0.4, scheme.casing)
    canvas.setDash()


def _stroke(canvas: Any, path: Any, width_mm: float, colour: tuple[float, float, float]) -> None:
    canvas.setLineWidth(width_mm * mm)
    canvas.setStrokeColorRGB(*colour)
    canvas.drawPath(path, stroke=1, fill=0)


def _label(canvas: Any, label: Label, at: tuple[float, float], scheme: Scheme) -> None:
    height = label_height_mm(label.style) * mm
    face: Face = "strong" if label.style == "witness" else "plain"
    setting = set_text(label.text, size_pt=height / _CAP_HEIGHT * 0.92, face=face)
    pad = 0.3 * mm
    _plate(canvas, at, (setting.width_pt + 2 * pad, height + 2 * pad), scheme)
    colour = VERMILION if label.below else scheme.ink
    x, y = at[0] - setting.width_pt / 2, at[1] - height * 0.46
    setting.draw(canvas, x, y, colour)


def _sides(canvas: Any, chart: Chart, width: float, height: float, scheme: Scheme) -> None:
    """Words at the middle of each edge, the ones at the sides upright and readable."""
    size, gap = 7.0, 1.2 * mm
    places = (
        (chart.sides.top, (0.0, height / 2 - gap - size * 0.4), 0),
        (chart.sides.bottom, (0.0, -height / 2 + gap + size * 0.4), 0),
        (chart.sides.left, (-width / 2 + gap + size * 0.4, 0.0), _turn(chart.sides.left)),
        (chart.sides.right, (width / 2 - gap - size * 0.4, 0.0), _turn(chart.sides.right)),
    )
    for words, (x, y), turn in places:
        if not words:
            continue
        setting = set_text(words, size_pt=size, face="strong")
        canvas.saveState()
        canvas.translate(x, y)
        canvas.rotate(turn)
        _plate(canvas, (0.0, 0.0), (setting.width_pt + 0.8 * mm, size), scheme)
        setting.draw(canvas, -setting.width_pt / 2, -size * 0.33, scheme.ink)
        canvas.restoreState()


def _turn(words: str) -> int:
    """Letters stand upright; longer words run along the edge."""
    return 0 if len(words) <= 2 else 90


def _plate(canvas: Any, at: tuple[float, float], size: tuple[float, float], scheme: Scheme) -> None:
    canvas.setFillColorRGB(*scheme.casing)
    x, y = at[0] - size[0] / 2, at[1] - size[1] / 2
    canvas.roundRect(x, y, size[0], size[1], 0.4 * mm, stroke=0, fill=1)
