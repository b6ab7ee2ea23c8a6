"""Agreement of two series of readings, after Bland and Altman: difference against mean, as a chart.

The same display list as every other picture; its millimetres are those of the paper.
"""

from __future__ import annotations

import numpy as np

from core.drawing import Chart, Dot, Label, Line, Sides
from core.geometry import Array
from core.trust.figures import nearest
from core.trust.repeat_result import Comparison
from core.words.catalogue import say

SIZE_MM = (120.0, 62.0)
_PIXEL_MM = 0.5
_LEFT, _RIGHT, _BOTTOM, _TOP = 15.0, 27.0, 11.0, 4.0
_STEPS = (0.05, 0.1, 0.2, 0.25, 0.5, 1.0, 2.0, 5.0, 10.0)
_MOST_TICKS = 7
_LEAST_APART_MM = 4.4


def agreement_chart(comparison: Comparison, *, size_mm: tuple[float, float] = SIZE_MM) -> Chart:
    """Draw the differences of a comparison, their mean, and the limits of agreement.

    Bland, Altman 1986, Lancet 327:307.
    """
    found = comparison.error.agreement
    means = 0.5 * (comparison.first + comparison.second)
    differences = comparison.first - comparison.second
    across = _Scale.of(means, size_mm[0], _LEFT, _RIGHT)
    reach = np.array([*differences, *found.lower_interval, *found.upper_interval, 0.0])
    up = _Scale.of(reach, size_mm[1], _BOTTOM, _TOP)
    left, right = _LEFT - size_mm[0] / 2, size_mm[0] / 2 - _RIGHT
    bottom, top = _BOTTOM - size_mm[1] / 2, size_mm[1] / 2 - _TOP

    lines = [_level("zero line", left, right, up.at(0.0))]
    lines += [
        Line(style="station tick", points=np.array([[left, bottom], [left, top]])),
        Line(style="station tick", points=np.array([[left, bottom], [right, bottom]])),
    ]
    labels = []
    for value in across.ticks:
        x = across.at(value)
        lines.append(Line(style="station tick", points=np.array([[x, bottom], [x, bottom - 1.2]])))
        labels.append(Label(text=_figure(value), at=(x, bottom - 3.4), style="numeral"))
    for value in up.ticks:
        y = up.at(value)
        lines.append(Line(style="station tick", points=np.array([[left - 1.2, y], [left, y]])))
        labels.append(Label(text=_figure(value), at=(left - 5.2, y), style="numeral"))
    levels = (
        ("limit of agreement", found.upper, found.upper_interval),
        ("mean difference", found.bias, found.bias_interval),
        ("limit of agreement", found.lower, found.lower_interval),
    )
    places = _apart([up.at(value) for _, value, _ in levels])
    for number, (style, value, interval) in enumerate(levels):
        lines.append(_level(style, left, right, up.at(value)))
        x = right + 1.6 + 1.4 * number
        low, high = (up.at(end) for end in interval)
        lines.append(Line(style="interval", points=np.array([[x, low], [x, high]])))
        text = _named(number, nearest(value, 2))
        labels.append(Label(text=text, at=(right + 15.5, places[number]), style="numeral"))
    dots = tuple(
        Dot(at=(across.at(float(m)), up.at(float(d))))
        for m, d in zip(means, differences, strict=True)
    )
    rows, cols = (round(side / _PIXEL_MM) for side in (size_mm[1], size_mm[0]))
    return Chart(
        title=say("pictures.agreement.title"),
        subtitle=say("pictures.agreement.pairs", title=comparison.title, count=found.pairs),
        grey=np.full((rows, cols), np.nan, dtype=np.float32),
        pixel_mm=_PIXEL_MM,
        window=(0.0, 1.0),
        sides=Sides(
            left=say("pictures.agreement.difference"),
            right="",
            top="",
            bottom=say("pictures.agreement.mean"),
        ),
        lines=tuple(lines),
        dots=dots,
        labels=tuple(labels),
    )


class _Scale:
    """Values along one side of the picture."""

    def __init__(self, low: float, high: float, step: float, first: float, last: float) -> None:
        self._low, self._high, self._first, self._last = low, high, first, last
        count = int(np.floor(high / step + 1e-9)) - int(np.ceil(low / step - 1e-9)) + 1
        self.ticks = tuple(float((np.ceil(low / step - 1e-9) + n) * step) for n in range(count))

    @classmethod
    def of(cls, values: Array, length_mm: float, before: float, behind: float) -> _Scale:
        """Room for all values and a little more."""
        low, high = float(np.min(values)), float(np.max(values))
        spare = max(0.06 * (high - low), 0.02)
        low, high = low - spare, high + spare
        step = next((s for s in _STEPS if (high - low) / s <= _MOST_TICKS), _STEPS[-1])
        half = length_mm / 2
        return cls(low, high, step, before - half, half - behind)

    def at(self, value: float) -> float:
        """Place of a value on the picture, mm."""
        share = (value - self._low) / (self._high - self._low)
        return self._first + share * (self._last - self._first)


def _level(style: str, left: float, right: float, y: float) -> Line:
    return Line(style=style, points=np.array([[left, y], [right, y]]))


def _named(number: int, value: str) -> str:
    if number == 0:
        return say("pictures.agreement.upper", value=value)
    if number == 1:
        return say("pictures.agreement.middle", value=value)
    return say("pictures.agreement.lower", value=value)


def _figure(value: float) -> str:
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text.replace("-", "−")


def _apart(heights: list[float]) -> list[float]:
    """Three places from the top down, none of them on another."""
    upper, middle, lower = heights
    return [max(upper, middle + _LEAST_APART_MM), middle, min(lower, middle - _LEAST_APART_MM)]
