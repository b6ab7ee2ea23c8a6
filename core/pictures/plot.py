"""One plot as a value: axes, series, levels and a field, in the units of what they show.

The sheet's painter draws it (`core.pictures.plot_chart`), a window shows it with zoom and a
read-out (`core.pictures.plot_words`), and a table of it holds the same numbers (`plot_csv`).
"""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray

from core.geometry import Array

Shape: TypeAlias = Literal["line", "steps", "dots", "bars"]
Rounding: TypeAlias = Literal["down", "nearest"]

_STEPS = (0.05, 0.1, 0.2, 0.25, 0.5, 1.0, 2.0, 5.0, 10.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Axis:
    """What runs along one side.

    Parameters
    ----------
    words : str
        What is counted.
    low, high : float
        Ends of the whole plot; `low` is the smaller.
    unit : str, optional
        As it stands behind a figure, ``" mm"``; empty for a plain number.
    decimals : int, optional
        Of a figure that is read out.
    rounding : str, optional
        Which way it is rounded: a width is never read out wider than it is.
    downwards : bool, optional
        True where numbers grow downwards, as depths do.
    names : tuple of (value, word), optional
        What stands at its places, where no numerals do.
    powers : bool, optional
        True where its values are powers of ten: a figure is ten to its value.

    Raises
    ------
    ValueError
        Where `high` is not greater than `low`.
    """

    words: str
    low: float
    high: float
    unit: str = ""
    decimals: int = 1
    rounding: Rounding = "nearest"
    downwards: bool = False
    names: tuple[tuple[float, str], ...] = ()
    powers: bool = False

    def __post_init__(self) -> None:
        if not self.high > self.low:
            raise ValueError("an axis needs an end that is greater than its beginning")

    @property
    def title(self) -> str:
        """What is counted, with its unit."""
        return f"{self.words},{self.unit}" if self.words and self.unit else self.words

    def ticks(self, most: int) -> tuple[float, ...]:
        """Round numbers from end to end, about as many as `most` at the utmost."""
        span = self.high - self.low
        step = next((s for s in _STEPS if span / s <= most), 0.0)
        if not step:
            power = 10.0 ** np.floor(np.log10(span / most))
            step = float(
                next(s * power for s in (1.0, 2.0, 5.0, 10.0) if span / (s * power) <= most)
            )
        first = np.ceil(self.low / step - 1e-9)
        count = int(np.floor(self.high / step + 1e-9) - first) + 1
        return tuple(float((first + n) * step) for n in range(count))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Series:
    """Values that belong together.

    Parameters
    ----------
    name : str
    style : str
        Key of `core.pictures.ink.STROKES`.
    x, y : (n,)
        In the axes' units; NaN where there is no value: a gap is not drawn over.
    shape : str, optional
        A line; steps, where each y holds from its x to the next; dots; bars that lie from 0 to x.
    """

    name: str
    style: str
    x: Array
    y: Array
    shape: Shape = "line"

    def __post_init__(self) -> None:
        for name in ("x", "y"):
            values = np.array(getattr(self, name), dtype=np.float64)
            values.flags.writeable = False
            object.__setattr__(self, name, values)
        if self.x.shape != self.y.shape or self.x.ndim != 1:
            raise ValueError("a series has one y for each x")


@dataclass(frozen=True, slots=True, kw_only=True)
class Level:
    """A number that a line stands for: a limit, a mean.

    Parameters
    ----------
    name : str
        Said beside the line, its figure included.
    style : str
        Key of `core.pictures.ink.STROKES`.
    value : float
    interval : (low, high) or None
        Of its confidence.
    upright : bool, optional
        True: a number of the x axis.
    """

    name: str
    style: str
    value: float
    interval: tuple[float, float] | None = None
    upright: bool = False


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FieldLine:
    """A line of equal value: points (n, 2) in the axes' units, its numeral, and its style."""

    points: Array
    label: str
    style: str
    below: bool = False


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Field:
    """Values over both axes.

    Parameters
    ----------
    words, unit : str
        What its values are; the unit as in `Axis`.
    x : (cols,)
    y : (rows,)
        Evenly spaced, both ends included; the first row stands at the top.
    values : (rows, cols)
        NaN where it is not known.
    unknown, below : (rows, cols) bool
        Hatched, each its own way.
    shades : (low, high)
        Values shown as black and as white.
    lines : tuple of FieldLine
    """

    words: str
    unit: str
    x: Array
    y: Array
    values: Array
    unknown: NDArray[np.bool_]
    below: NDArray[np.bool_]
    shades: tuple[float, float]
    lines: tuple[FieldLine, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Plot:
    """A plot.

    Parameters
    ----------
    title, subtitle : str
    x, y : Axis
    series : tuple of Series
    levels : tuple of Level
    field : Field or None
        Below all else.
    """

    title: str
    subtitle: str = ""
    x: Axis
    y: Axis
    series: tuple[Series, ...] = ()
    levels: tuple[Level, ...] = ()
    field: Field | None = None


def spread_of(values: Array, *, least: float = 0.02) -> tuple[float, float]:
    """Ends of an axis with room for all values and a little more.

    Parameters
    ----------
    values : (n,)
        In the axis' unit.
    least : float, optional
        So much more at either end at the least.
    """
    low, high = float(np.min(values)), float(np.max(values))
    spare = max(0.06 * (high - low), least)
    return low - spare, high + spare


def plot_csv(plot: Plot) -> bytes:
    """The numbers of a plot, one row a value: its series, its x, its y; or of a field the value.

    UTF-8 with a byte order mark, CRLF, decimal point; an empty cell where there is no value.
    """
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    field = plot.field
    last = ["value"] if field is not None else []
    writer.writerow(["series", "x", "y", *last])
    writer.writerow([_safe(plot.title), _safe(plot.x.title), _safe(plot.y.title),
                     *([_safe(field.words)] if field is not None else [])])  # fmt: skip
    for series in plot.series:
        for x, y in zip(series.x, series.y, strict=True):
            writer.writerow([_safe(series.name), _number(x), _number(y), *([""] * len(last))])
    for level in plot.levels:
        place = [_number(level.value), ""] if level.upright else ["", _number(level.value)]
        writer.writerow([_safe(level.name), *place, *([""] * len(last))])
    if field is not None:
        for row, y in enumerate(field.y):
            for col, x in enumerate(field.x):
                value = _number(field.values[row, col])
                writer.writerow([_safe(field.words), _number(x), _number(y), value])
    return out.getvalue().encode("utf-8-sig")


def _number(value: float) -> str:
    return f"{value:.4f}" if np.isfinite(value) else ""


def _safe(text: str) -> str:
    """A cell that no spreadsheet runs."""
    return f"'{text}" if text[:1] in ("=", "+", "-", "@", "\t", "\r") else text
