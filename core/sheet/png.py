"""A chart as a PNG: the same drawing as on paper, rasterised."""

from __future__ import annotations

import io

from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas

from core.drawing import Chart
from core.pictures.ink import DARK, WORDS, Colour, Scheme
from core.sheet.picture import draw_chart
from core.sheet.raster import page_picture
from core.sheet.text import Setting, fitted, wrapped
from core.words.catalogue import say

_MARGIN_MM = 4.0
_LINE_MM = 4.2


def chart_png(
    chart: Chart,
    *,
    identity: str = "",
    px_per_mm: float = 10.0,
    scale: float = 1.0,
    scheme: Scheme = DARK,
) -> bytes:
    """Render a chart with title, identity and the meaning of its lines.

    Parameters
    ----------
    chart : Chart
    identity : str
        Whose picture it is: a line under the title.
    px_per_mm : float
        Pixels of the PNG per mm of its (virtual) paper; written into the file as resolution.
    scale : float
        Of the picture on that paper.
    scheme : Scheme
        Ink on dark or on white ground.
    """
    width_mm, height_mm = (side * scale for side in chart.size_mm)
    inner = max(width_mm, 60.0)
    legend = _legend(chart, inner * mm)
    heads = _heads(chart, identity, inner * mm, scheme)
    page = (
        inner + 2 * _MARGIN_MM,
        height_mm + 2 * _MARGIN_MM + (len(heads) + 0.6 + len(legend) * 0.85) * _LINE_MM,
    )
    buffer = io.BytesIO()
    canvas = Canvas(buffer, pagesize=(page[0] * mm, page[1] * mm), invariant=1)
    canvas.setFillColorRGB(*scheme.ground)
    canvas.rect(0, 0, page[0] * mm, page[1] * mm, stroke=0, fill=1)
    y = page[1] - _MARGIN_MM - 3.0
    for setting, colour in heads:
        setting.draw(canvas, _MARGIN_MM * mm, y * mm, colour)
        y -= _LINE_MM
    bottom = y + _LINE_MM - 1.6 - height_mm
    left = (page[0] - width_mm) / 2
    draw_chart(canvas, chart, x_mm=left, y_mm=bottom, scale=scale, scheme=scheme)
    y = bottom - 4.0
    for row in legend:
        row.draw(canvas, _MARGIN_MM * mm, y * mm, scheme.quiet)
        y -= _LINE_MM * 0.85
    canvas.showPage()
    canvas.save()
    image = page_picture(buffer.getvalue(), 0, dpi=px_per_mm * 25.4)
    out = io.BytesIO()
    image.save(out, format="PNG", dpi=(px_per_mm * 25.4, px_per_mm * 25.4))
    return out.getvalue()


def _heads(
    chart: Chart, identity: str, width_pt: float, scheme: Scheme
) -> list[tuple[Setting, Colour]]:
    """Title, subtitle and identity, the identity on as many lines as it needs."""
    heads = [(fitted(chart.title, width_pt, size_pt=10.0, face="strong"), scheme.ink)]
    heads.append((fitted(chart.subtitle, width_pt, size_pt=8.0), scheme.quiet))
    if identity:
        heads += [(line, scheme.ink) for line in wrapped(identity, width_pt, size_pt=8.0)]
    return heads


def _legend(chart: Chart, width_pt: float) -> list[Setting]:
    words = [str(WORDS[s]) for s in chart.styles if s in WORDS]
    if not words:
        return []
    return wrapped(say("sheet.picture.shown", lines="; ".join(words)), width_pt, size_pt=7.0)
