"""A plot value in the toolkit's plotting library: items drawn in the inks of every picture."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QFontMetricsF, QPen
from PySide6.QtWidgets import QGraphicsSimpleTextItem

from app.widgets import style
from core.geometry import Array
from core.pictures.ink import DARK, STROKES
from core.pictures.plot import Axis, Field, Level, Plot, Series
from core.pictures.plot_chart import series_lines
from core.pictures.plot_field import field_hatches
from core.pictures.plot_layout import tick_figure

PX_PER_MM = 6.0
"""Screen pixels that stand for a mm of paper, for widths and dashes."""

NAME_PX, APART_PX, BESIDE_PX = 12, 14.0, 6.0
DIM = 0.35
_LEAST_PX = 40.0
_PAST_PX = 40
"""So far the word at the end of an axis may stand out past it."""
_HATCH_PX_PER_MM = 3.0
"""As `PX_PER_MM`, for hatches: on a screen a thin one must still be seen to be one."""


class Numerals(pg.AxisItem):
    """An axis whose numerals are written as the spoken language writes them.

    Parameters
    ----------
    side : str
        ``left`` or ``bottom``.
    """

    def __init__(self, side: str) -> None:
        super().__init__(side, pen=QPen(style.EDGE, 1), textPen=QPen(style.QUIET))
        self.setTickFont(style.font(11))
        self.enableAutoSIPrefix(False)
        self.setStyle(tickLength=-4, hideOverlappingLabels=_PAST_PX if side == "bottom" else False)
        self.of: Axis | None = None

    def number(self, axis: Axis, *, titled: bool = True) -> None:
        """Number another axis, with what it counts beside it or without."""
        self.of = axis
        look = {"color": style.QUIET.name(), "font-size": "11px", "font-family": style.FAMILY}
        self.setLabel(axis.title if titled else None, **look)
        self.showLabel(titled and bool(axis.title))
        self.setTicks([list(axis.names)] if axis.names else None)

    def shorten(self, width_px: float) -> None:
        """Two letters each where the words of an axis would touch."""
        if self.of is None or not self.of.names or self.orientation != "bottom":
            return
        metrics = QFontMetricsF(style.font(11))
        names, span = self.of.names, self.of.high - self.of.low
        ends = -np.inf
        touch = False
        for value, word in names:
            half = metrics.horizontalAdvance(word) / 2
            middle = (value - self.of.low) / span * width_px
            touch = touch or middle - half < ends + BESIDE_PX
            ends = middle + half
        short = [(value, word[:2].capitalize()) for value, word in names]
        self.setTicks([short if touch else list(names)])

    def tickStrings(self, values: Iterable[float], scale: float, spacing: float) -> list[str]:
        """Numerals of an axis without words of its own."""
        return [tick_figure(value) for value in values]


def pen(of: str, ratio: float, *, below: bool = False) -> QPen:
    """The ink of a style; `ratio` as in `style.pens`."""
    return style.pens(of, below=below, px_per_mm=PX_PER_MM, ratio=ratio)[1]


def pen_of(ink: QColor, width: float, dash: Qt.PenStyle = Qt.PenStyle.SolidLine) -> QPen:
    """A pen of so many screen pixels at any zoom."""
    made = QPen(ink, width, dash)
    made.setCosmetic(True)
    return made


def casing(of: str, ratio: float) -> QPen:
    """What lies around the ink of a style."""
    return style.pens(of, below=False, px_per_mm=PX_PER_MM, ratio=ratio)[0]


def items_of(plot: Plot, size_px: tuple[float, float], ratio: float) -> list[Any]:
    """Everything that is drawn between the axes, from below to above.

    Parameters
    ----------
    plot : Plot
    size_px : (width, height)
        Room between the axes: names and numerals keep clear of each other in it.
    ratio : float
        Dots of the screen to such a pixel.
    """
    found: list[Any] = []
    if plot.field is not None:
        found += [field_image(plot.field), *_field_lines(plot, plot.field, size_px, ratio)]
    if plot.y.low < 0 < plot.y.high and not plot.y.names and plot.field is None:
        found.append(_across(0.0, pen_of(style.EDGE, ratio)))
    for series in plot.series:
        found += _series(series, ratio)
    found += [_level(level, ratio) for level in plot.levels]
    return found + _upright_names(plot)


def field_image(field: Field) -> Any:
    """The greys of a field."""
    low, high = field.shades
    values = np.nan_to_num(field.values, nan=low).astype(np.float32)
    image = pg.ImageItem(values, axisOrder="row-major", levels=(low, high))
    image.setLookupTable(_greys())
    # The outermost rays stand on the edges: half a cell is cut on each side.
    dx = (field.x[-1] - field.x[0]) / max(len(field.x) - 1, 1)
    dy = (field.y[-1] - field.y[0]) / max(len(field.y) - 1, 1)
    image.setRect(
        QRectF(field.x[0] - dx / 2, field.y[0] - dy / 2, len(field.x) * dx, len(field.y) * dy)
    )
    return image


def _greys() -> Array:
    """From the panel's dark to a grey that numerals still stand out from."""
    return np.asarray(np.linspace(0, 165, 256).astype(np.uint8)[:, None].repeat(3, axis=1))


def _field_lines(plot: Plot, field: Field, size_px: tuple[float, float], ratio: float) -> list[Any]:
    across, up = (max(side, 1.0) / _HATCH_PX_PER_MM for side in size_px)
    found: list[Any] = []
    hatches: dict[str, list[Array]] = {}
    for of, points in field_hatches(field, across=across, up=up):
        hatches.setdefault(of, []).append(points)
    for of, segments in hatches.items():
        points = np.concatenate(segments)
        below = of == "bone below limit"
        found.append(_curve(points, pen(of, ratio, below=below), connect="pairs"))
    for line in field.lines:
        if STROKES[line.style].case_mm > 0:
            found.append(_curve(line.points, casing(line.style, ratio)))
        found.append(_curve(line.points, pen(line.style, ratio, below=line.below)))
    spans = np.array([plot.x.high - plot.x.low, plot.y.high - plot.y.low])
    taken: list[QRectF] = []
    for line in sorted(field.lines, key=lambda item: -len(item.points)):
        numeral = _numeral(plot, line.points, line.label, spans, size_px, taken)
        if numeral is not None:
            numeral.setColor(style.BELOW if line.below else style.TEXT)
            found.append(numeral)
    return found


def _numeral(  # noqa: PLR0917 - the line, then what it must keep clear of
    plot: Plot,
    points: Array,
    label: str,
    spans: Array,
    size_px: tuple[float, float],
    taken: list[QRectF],
) -> Any:
    """The numeral of a line where it covers no other; None where there is no room for it."""
    places = (points - (plot.x.low, plot.y.low)) / spans * size_px
    # A short ring around a single ray is noise, not a line to read.
    if float(np.hypot(*np.diff(places, axis=0).T).sum()) < _LEAST_PX:
        return None
    size = QFontMetricsF(style.font(NAME_PX, italic=True)).size(0, label)
    whole = QRectF(0, 0, *size_px)
    for share in (0.5, 0.35, 0.65, 0.2, 0.8):
        number = int(share * (len(points) - 1))
        plate = QRectF(0, 0, size.width() + 6, size.height())
        plate.moveCenter(QPointF(*places[number]))
        if whole.contains(plate) and not any(plate.intersects(other) for other in taken):
            taken.append(plate)
            return _text(label, points[number], anchor=(0.5, 0.5), plate=True)
    return None


def _series(series: Series, ratio: float) -> list[Any]:
    if series.shape == "dots":
        known = np.isfinite(series.x) & np.isfinite(series.y)
        return [
            pg.ScatterPlotItem(
                series.x[known],
                series.y[known],
                size=8,
                pen=pen_of(style.colour(DARK.casing), 1.2 * ratio),
                brush=style.TEXT,
            )
        ]
    if series.shape == "bars":
        return [
            pg.BarGraphItem(
                x0=np.zeros(len(series.x)),
                y=series.y,
                height=0.6,
                width=series.x,
                pen=pen(series.style, ratio),
                brush=style.SELECTED,
            )
        ]
    return [_curve(points, pen(series.style, ratio)) for points in series_lines(series)]


def _curve(points: Array, ink: QPen, *, connect: str = "all") -> Any:
    curve = pg.PlotCurveItem(points[:, 0], points[:, 1], pen=ink, antialias=True, connect=connect)
    curve.setSegmentedLineMode("off")
    return curve


def _level(level: Level, ratio: float) -> Any:
    ink = pen(level.style, ratio)
    if level.upright:
        return pg.InfiniteLine(level.value, angle=90, pen=ink)
    if level.interval is None:
        return _across(level.value, ink)
    group = pg.LinearRegionItem(
        level.interval,
        orientation="horizontal",
        movable=False,
        pen=QPen(Qt.PenStyle.NoPen),
        brush=_faint(),
    )
    line = _across(level.value, ink)
    line.setParentItem(group)
    return group


def _faint() -> Any:
    ink = style.colour(DARK.ink)
    ink.setAlphaF(0.08)
    return ink


def _across(value: float, ink: QPen) -> Any:
    return pg.InfiniteLine(value, angle=0, pen=ink)


def _upright_names(plot: Plot) -> list[Any]:
    """Names of the upright levels, at their upper end."""
    found = []
    for level in plot.levels:
        if level.upright:
            near_end = level.value > plot.x.low + 0.75 * (plot.x.high - plot.x.low)
            anchor = (1.0 if near_end else 0.0, 0.0)
            found.append(_text(level.name, (level.value, plot.y.high), anchor=anchor))
    return found


def names_beside(plot: Plot) -> list[tuple[float, str]]:
    """Names of lines and levels that stand to the right of the axes, with their heights."""
    named = [(level.value, level.name) for level in plot.levels if not level.upright]
    if plot.field is None and len(plot.series) > 1:
        for series in plot.series:
            known = np.flatnonzero(np.isfinite(series.y))
            if len(known):
                named.append((float(series.y[known[-1]]), series.name))
    return named


def name_item(words: str, parent: Any) -> QGraphicsSimpleTextItem:
    """A name beside the axes: it neither moves sideways nor grows when the plot is zoomed."""
    item = QGraphicsSimpleTextItem(words, parent)
    item.setFont(style.font(NAME_PX))
    item.setBrush(style.TEXT)
    return item


def names_px(plot: Plot) -> float:
    """Room that the names need to the right of the axes."""
    metrics = QFontMetricsF(style.font(NAME_PX))
    widths = (metrics.horizontalAdvance(name) for _, name in names_beside(plot))
    return max(widths, default=0.0)


def _text(
    words: str, at: Iterable[float], *, anchor: tuple[float, float], plate: bool = False
) -> Any:
    fill = style.colour(DARK.casing) if plate else None
    if fill is not None:
        fill.setAlphaF(style.NUMERAL_ALPHA)
    item = pg.TextItem(words, color=style.TEXT, anchor=anchor, fill=fill)
    item.setFont(style.font(NAME_PX, italic=plate))
    item.setPos(*at)
    item.setZValue(10)
    return item
