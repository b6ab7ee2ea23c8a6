"""Lays a plot out as a display list, so that paper and PNG draw it as they draw every picture."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from core.drawing import Chart, Dot, Label, Line, Sides
from core.geometry import Array
from core.pictures.plot import Level, Plot, Series
from core.pictures.plot_field import PIXEL_MM, draw_field
from core.pictures.plot_layout import LETTER_MM, SIZE_MM, Layout, apart, layout, ticks_of

_APART_MM = 4.4
_BAR_HALF = 0.32
_TICK_MM = 1.2


def plot_chart(plot: Plot, *, size_mm: tuple[float, float] = SIZE_MM) -> Chart:
    """Axes with numerals, a field with its hatches, lines, dots, bars, and levels with names.

    Parameters
    ----------
    plot : Plot
    size_mm : (width, height), optional
    """
    rows, cols = (round(side / PIXEL_MM) for side in (size_mm[1], size_mm[0]))
    place = layout(plot, size_mm)
    lines, labels = _axes(place)
    grey = np.full((rows, cols), np.nan, dtype=np.float32)
    window = (0.0, 1.0)
    if plot.field is not None:
        window = plot.field.shades
        field_lines, field_labels = draw_field(place, plot.field, grey)
        lines = [*field_lines, *lines]
        labels += field_labels
    dots: list[Dot] = []
    for series in plot.series:
        if series.shape == "dots":
            dots += [Dot(at=(place.u(x), place.v(y))) for x, y in _known(series)]
        else:
            lines += [
                Line(style=series.style, points=place.places(points), closed=series.shape == "bars")
                for points in series_lines(series)
            ]
    for number, level in enumerate(plot.levels):
        lines += _level(place, level, number)
    labels += _names(place)
    return Chart(
        title=plot.title,
        subtitle=plot.subtitle,
        grey=grey,
        pixel_mm=PIXEL_MM,
        window=window,
        sides=Sides(left=plot.y.title, right="", top="", bottom=plot.x.title),
        lines=tuple(lines),
        dots=tuple(dots),
        labels=tuple(labels),
    )


def series_lines(series: Series) -> list[Array]:
    """The lines (n, 2) that a series is drawn with, in the axes' units; none for dots."""
    if series.shape == "dots":
        return []
    if series.shape == "bars":
        ends = np.array([(0.0, -1.0), (1.0, -1.0), (1.0, 1.0), (0.0, 1.0)])
        return [ends * (x, _BAR_HALF) + (0.0, y) for x, y in _known(series)]
    runs = _runs(np.isfinite(series.x) & np.isfinite(series.y))
    lines = [np.stack([series.x[a:b], series.y[a:b]], axis=1) for a, b in runs]
    if series.shape == "steps":
        lines = [
            np.stack([np.repeat(line[:, 0], 2)[1:], np.repeat(line[:, 1], 2)[:-1]], axis=1)
            for line in lines
        ]
    return [line for line in lines if len(line) > 1]


def _known(series: Series) -> list[tuple[float, float]]:
    both = np.isfinite(series.x) & np.isfinite(series.y)
    return [(float(x), float(y)) for x, y in zip(series.x[both], series.y[both], strict=True)]


def _runs(known: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Stretches that are all known: a gap is not drawn over."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], known, [False]]).astype(np.int8)))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def _axes(place: Layout) -> tuple[list[Line], list[Label]]:
    plot, left, bottom = place.plot, place.left, place.bottom
    lines = [
        _line("station tick", (left, bottom), (left, place.top)),
        _line("station tick", (left, bottom), (place.right, bottom)),
    ]
    if plot.y.low < 0 < plot.y.high and not plot.y.names:
        lines.append(_line("zero line", (left, place.v(0.0)), (place.right, place.v(0.0))))
    labels: list[Label] = []
    for value, words in ticks_of(plot.x):
        u = place.u(value)
        lines.append(_line("station tick", (u, bottom), (u, bottom - _TICK_MM)))
        labels.append(Label(text=words, at=(u, bottom - 3.4), style="numeral"))
    for value, words in ticks_of(plot.y):
        v = place.v(value)
        lines.append(_line("station tick", (left - _TICK_MM, v), (left, v)))
        middle = left - 1.8 - LETTER_MM * len(words) / 2
        labels.append(Label(text=words, at=(middle, v), style="numeral"))
    return lines, labels


def _line(style: str, start: tuple[float, float], end: tuple[float, float]) -> Line:
    return Line(style=style, points=np.array([start, end]))


def _level(place: Layout, level: Level, number: int) -> list[Line]:
    if level.upright:
        u = place.u(level.value)
        return [_line(level.style, (u, place.bottom), (u, place.top))]
    v = place.v(level.value)
    lines = [_line(level.style, (place.left, v), (place.right, v))]
    if level.interval is not None:
        u = place.right + 1.6 + 1.4 * number
        low, high = (place.v(end) for end in level.interval)
        lines.append(_line("interval", (u, low), (u, high)))
    return lines


def _names(place: Layout) -> list[Label]:
    """Names to the right of the axes, pushed apart in the order of their lines."""
    plot = place.plot
    named = [(place.v(level.value), level.name) for level in plot.levels if not level.upright]
    if plot.field is None and len(plot.series) > 1:
        for series in plot.series:
            known = _known(series)
            if known:
                named.append((place.v(known[-1][1]), series.name))
    if not named:
        return []
    half = LETTER_MM * max(len(text) for _, text in named) / 2
    edge = plot_edge(place, any(level.interval for level in plot.levels))
    heights = apart([v for v, _ in named], _APART_MM, low=place.bottom - 6.0, high=place.top + 2.0)
    labels = [
        Label(text=text, at=(edge + half, v), style="numeral")
        for (_, text), v in zip(named, heights, strict=True)
    ]
    labels += [
        Label(text=level.name, at=(place.u(level.value), place.top + 1.6), style="numeral")
        for level in plot.levels
        if level.upright
    ]
    return labels


def plot_edge(place: Layout, intervals: bool) -> float:
    """Where names begin to the right of the axes, mm from the picture's middle."""
    return place.right + (7.0 if intervals else 1.5)
