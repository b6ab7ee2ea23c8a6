"""The field of a plot: its greys, hatches over what is below a limit or not known, numerals."""

from __future__ import annotations

from itertools import pairwise
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import map_coordinates

from core.drawing import Label, Line, hatch
from core.geometry import Array
from core.pictures.chart_desk import label_height_mm
from core.pictures.plot import Field, FieldLine
from core.pictures.plot_layout import Layout

PIXEL_MM = 0.5

_HATCH_MM = 1.2
_SHARES = (0.5, 0.35, 0.65, 0.2, 0.8, 0.1, 0.9)


def field_hatches(field: Field, *, across: float, up: float) -> list[tuple[str, Array]]:
    """Hatch lines (2, 2) over what is below its limit and what is not known, with their styles.

    Parameters
    ----------
    field : Field
    across, up : float
        Size of the field on its picture, mm: the lines lie evenly there.

    Returns
    -------
    list of (style, points in the axes' units)
    """
    rows, cols = max(round(up / PIXEL_MM), 1), max(round(across / PIXEL_MM), 1)
    found: list[tuple[str, Array]] = []
    for style, mask, rising in (
        ("not found", field.unknown, False),
        ("bone below limit", field.below, True),
    ):
        inside = _sampled(mask.astype(np.float64), rows, cols, order=0) > 0.5
        for segment in hatch(
            inside, pixel_mm=PIXEL_MM, size_mm=(across, up), spacing_mm=_HATCH_MM, rising=rising
        ):
            x = field.x[0] + (segment[:, 0] / across + 0.5) * (field.x[-1] - field.x[0])
            y = field.y[0] + (0.5 - segment[:, 1] / up) * (field.y[-1] - field.y[0])
            found.append((style, np.stack([x, y], axis=1)))
    return found


def draw_field(
    place: Layout, field: Field, grey: NDArray[np.float32]
) -> tuple[list[Line], list[Label]]:
    """Greys into the picture; hatches, lines and their numerals.

    Parameters
    ----------
    place : Layout
    field : Field
    grey : (rows, cols)
        Of the whole picture; written to between the axes.
    """
    rows, cols = grey.shape
    width, height = cols * PIXEL_MM, rows * PIXEL_MM
    first_col = round((place.left + width / 2) / PIXEL_MM)
    last_col = round((place.right + width / 2) / PIXEL_MM)
    first_row = round((height / 2 - place.top) / PIXEL_MM)
    last_row = round((height / 2 - place.bottom) / PIXEL_MM)
    grey[first_row:last_row, first_col:last_col] = _sampled(
        field.values, last_row - first_row, last_col - first_col, order=1
    )
    across, up = place.right - place.left, place.top - place.bottom
    lines = [
        Line(style=style, points=place.places(points), below=style == "bone below limit")
        for style, points in field_hatches(field, across=across, up=up)
    ]
    lines += [
        Line(style=line.style, points=place.places(line.points), below=line.below)
        for line in field.lines
    ]
    return lines, _numerals(place, field)


def _sampled(values: Array, rows: int, cols: int, *, order: Literal[0, 1]) -> Array:
    """A field at the pixels' centres; NaN where any neighbour is unknown."""
    r = (np.arange(rows) + 0.5) / rows * (values.shape[0] - 1)
    c = (np.arange(cols) + 0.5) / cols * (values.shape[1] - 1)
    at = np.meshgrid(r, c, indexing="ij")
    sampled = map_coordinates(values, np.stack(at), order=order, mode="nearest")
    return np.asarray(sampled, dtype=np.float64)


def _numerals(place: Layout, field: Field) -> list[Label]:
    """A numeral in each line where it covers no other and stays between the axes."""
    height = label_height_mm("numeral")
    low = np.array([place.left, place.bottom])
    high = np.array([place.right, place.top])
    labels: list[Label] = []
    for line in sorted(field.lines, key=lambda item: -_length(item)):
        points = place.places(line.points)
        half = _half(line.label, height)
        if float(np.abs(np.diff(points, axis=0)).sum()) < 4.0:
            continue
        for share in _SHARES:
            at = points[int(share * (len(points) - 1))]
            free = all(
                (np.abs(at - label.at) > half + _half(label.text, height)).any() for label in labels
            )
            if free and (at - half > low).all() and (at + half < high).all():
                where = (float(at[0]), float(at[1]))
                labels.append(Label(text=line.label, at=where, style="numeral", below=line.below))
                break
    return labels


def _half(text: str, height: float) -> Array:
    return np.array([0.31 * height * len(text) + 0.6, height / 2 + 0.5])


def _length(line: FieldLine) -> float:
    return sum(float(np.linalg.norm(b - a)) for a, b in pairwise(line.points))
