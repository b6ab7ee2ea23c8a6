"""Where the axes of a plot lie on its picture, which numerals stand at them, and names beside."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from core.geometry import Array
from core.pictures.plot import Axis, Plot
from core.words.numbers import Figure

SIZE_MM = (120.0, 62.0)
LETTER_MM = 1.18
"""Room that a letter of a numeral takes, mm."""

_WORDS_MM, _TICK_WORDS_MM = 4.4, 6.6
"""Room for the words of an axis, and for the numerals below the other one."""
_TOP, _NAMED_TOP, _RIGHT = 2.0, 4.0, 6.0
_MOST_TICKS = 7


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """Where a plot lies on its picture, mm from the picture's middle.

    Parameters
    ----------
    plot : Plot
    left, right, bottom, top : float
        Of the field between the axes.
    """

    plot: Plot
    left: float
    right: float
    bottom: float
    top: float

    def u(self, x: float) -> float:
        """Place of a number of the x axis."""
        return _along(self.plot.x, x, self.left, self.right)

    def v(self, y: float) -> float:
        """Place of a number of the y axis."""
        return _along(self.plot.y, y, self.bottom, self.top)

    def places(self, points: Array) -> Array:
        """(n, 2) in the axes' units → (n, 2) uv_mm."""
        return np.array([(self.u(x), self.v(y)) for x, y in points]).reshape(-1, 2)


def _along(axis: Axis, value: float, first: float, last: float) -> float:
    share = (value - axis.low) / (axis.high - axis.low)
    return first + (1.0 - share if axis.downwards else share) * (last - first)


def layout(plot: Plot, size_mm: tuple[float, float] = SIZE_MM) -> Layout:
    """Where the axes lie: names of lines and levels stand to the right of them.

    Parameters
    ----------
    plot : Plot
    size_mm : (width, height), optional
        Of the picture, axes and names included.
    """
    width, height = size_mm
    names = [len(level.name) for level in plot.levels if not level.upright]
    if plot.field is None and len(plot.series) > 1:
        names += [len(series.name) for series in plot.series]
    beside = LETTER_MM * max(names) + 3.0 if names else 0.0
    if any(level.interval for level in plot.levels):
        beside += 6.0
    numerals = max((len(words) for _, words in ticks_of(plot.y)), default=1)
    left = 3.4 + LETTER_MM * numerals + (_WORDS_MM if plot.y.words else 0.0)
    upright = any(level.upright for level in plot.levels)
    return Layout(
        plot=plot,
        left=left - width / 2,
        right=width / 2 - max(_RIGHT, beside),
        bottom=_TICK_WORDS_MM + (_WORDS_MM if plot.x.words else 0.0) - height / 2,
        top=height / 2 - (_NAMED_TOP if upright else _TOP),
    )


def ticks_of(axis: Axis) -> tuple[tuple[float, str], ...]:
    """Numbers of an axis that a numeral or a word stands at."""
    return axis.names or tuple((value, tick_figure(value)) for value in axis.ticks(_MOST_TICKS))


def tick_figure(value: float) -> str:
    """A numeral of an axis, in the spoken language's writing."""
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return f"{Figure('0' if text == '-0' else text.replace('-', '−'))}"


def apart(heights: list[float], least: float, *, low: float, high: float) -> list[float]:
    """Heights pushed apart, in their order, and kept between two ends where all of them fit.

    Parameters
    ----------
    heights : list of float
    least : float
        Between two of them.
    low, high : float
        Ends.
    """
    order = sorted(range(len(heights)), key=lambda n: heights[n])
    placed = [min(max(heights[n], low), high) for n in order]
    for n in range(1, len(placed)):
        placed[n] = max(placed[n], placed[n - 1] + least)
    over = placed[-1] - high if placed else 0.0
    if over > 0:
        placed[-1] -= over
        for n in range(len(placed) - 2, -1, -1):
            placed[n] = min(placed[n], placed[n + 1] - least)
    found = [0.0] * len(heights)
    for n, height in zip(order, placed, strict=True):
        found[n] = height
    return found
