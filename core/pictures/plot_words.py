"""What a plot says at a place: the words of the read-out under the cursor."""

from __future__ import annotations

import numpy as np

from core.pictures.plot import Axis, Field, Plot, Series
from core.trust.figures import down, nearest
from core.words.catalogue import say

NEAR = 0.04
"""A dot this near, in parts of the axes, is the one that is meant."""

_BAR_HALF = 0.5
_BY_NAME = 0.25
"""So near to a named place, in parts of the way to the next, its name is said alone."""


def read_out(plot: Plot, x: float, y: float) -> str:
    """What stands at a place of a plot; empty beyond it.

    Parameters
    ----------
    plot : Plot
    x, y : float
        In the axes' units.
    """
    inside = plot.x.low <= x <= plot.x.high and plot.y.low <= y <= plot.y.high
    if not inside:
        return ""
    if plot.field is not None:
        return _of_field(plot, plot.field, x, y)
    shapes = {series.shape for series in plot.series}
    if "dots" in shapes:
        x, y = _nearest_dot(plot, x, y)
        axes = ((plot.x, x), (plot.y, y))
        return _joined([_named(axis.words, figure(axis, value)) for axis, value in axes])
    if "bars" in shapes:
        return _of_bar(plot, y)
    said = [_named(plot.x.words, figure(plot.x, x))]
    for series in plot.series:
        value = _value_at(series, x)
        words = say("pictures.plot.no-value") if value is None else figure(plot.y, value)
        said.append(_named(series.name, words))
    return _joined(said)


def figure(axis: Axis, value: float) -> str:
    """A number of an axis with its unit, rounded as the axis says."""
    value = 10.0**value if axis.powers else value
    text = (down if axis.rounding == "down" else nearest)(value, axis.decimals)
    return f"{text}{axis.unit}"


def _of_field(plot: Plot, field: Field, x: float, y: float) -> str:
    col = int(np.argmin(np.abs(field.x - x)))
    row = int(np.argmin(np.abs(field.y - y)))
    value = field.values[row, col]
    known = bool(np.isfinite(value)) and not field.unknown[row, col]
    words = f"{down(float(value), 1)}{field.unit}" if known else say("pictures.plot.not-known")
    return _joined(
        [
            _named(plot.y.words, figure(plot.y, y)),
            _along(plot.x, x),
            _named(field.words, words),
        ]
    )


def _nearest_dot(plot: Plot, x: float, y: float) -> tuple[float, float]:
    """The dot that lies near, else the place itself."""
    spans = np.array([plot.x.high - plot.x.low, plot.y.high - plot.y.low])
    places = np.concatenate([np.stack([s.x, s.y], axis=1) for s in plot.series])
    away = np.linalg.norm((places - (x, y)) / spans, axis=1)
    best = int(np.argmin(away))
    return (float(places[best, 0]), float(places[best, 1])) if away[best] <= NEAR else (x, y)


def _along(axis: Axis, value: float) -> str:
    """A place of an axis by its names, where it has any: one of them, or the two around it."""
    if not axis.names:
        return _named(axis.words, figure(axis, value))
    places = np.array([place for place, _ in axis.names])
    right = int(np.clip(np.searchsorted(places, value), 1, len(places) - 1))
    share = (value - places[right - 1]) / (places[right] - places[right - 1])
    before, behind = axis.names[right - 1][1], axis.names[right][1]
    if share <= _BY_NAME:
        return before
    return behind if share >= 1.0 - _BY_NAME else f"{before}–{behind}"


def _of_bar(plot: Plot, y: float) -> str:
    """The bar at this height."""
    series = plot.series[0]
    best = int(np.argmin(np.abs(series.y - y)))
    if abs(float(series.y[best]) - y) > _BAR_HALF:
        return ""
    names = dict(plot.y.names)
    value = figure(plot.x, float(series.x[best]))
    return _named(names.get(float(series.y[best]), ""), value)


def _value_at(series: Series, x: float) -> float | None:
    """The value that is drawn at an x; None in a gap and beyond the ends."""
    if not len(series.x) or not series.x[0] <= x <= series.x[-1]:
        return None
    right = min(int(np.searchsorted(series.x, x)), len(series.x) - 1)
    left = right if series.x[right] == x else max(right - 1, 0)
    if series.shape == "steps":
        value = series.y[left]
    else:
        span = series.x[right] - series.x[left]
        share = (x - series.x[left]) / span if span > 0 else 0.0
        value = series.y[left] + share * (series.y[right] - series.y[left])
    return float(value) if np.isfinite(value) else None


def _named(name: str, value: str) -> str:
    return say("pictures.plot.named", name=name, value=value) if name else value


def _joined(parts: list[str]) -> str:
    return " · ".join(parts)
