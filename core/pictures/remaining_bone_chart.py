"""The remaining bone as a chart: the same display list as every other picture.

Depth runs down and direction across; the picture is a map, not a view of the patient.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import map_coordinates

from core.drawing import Chart, Label, Line, Sides, hatch
from core.geometry import Array
from core.identity import inner_side
from core.pictures.chart_desk import label_height_mm
from core.pictures.remaining_bone_picture import RemainingBoneLine, RemainingBonePicture
from core.words.catalogue import say
from core.words.values import SIDES

SIZE_MM = (98.0, 44.0)
PIXEL_MM = 0.5
WINDOW = (-3.0, 5.0)
"""mm of bone shown as black and as white: bone of 5 mm and more has the lightest grey."""

_SHARES = (0.5, 0.35, 0.65, 0.2, 0.8, 0.1, 0.9)


def direction_marks(jaw: str | None, *, named: bool = True) -> tuple[tuple[float, str], ...]:
    """Turn in degrees and word of the directions below the picture."""
    inner = str(SIDES[inner_side(jaw)])
    # Without a tooth mesial has no meaning: +90 degrees then lies towards the patient's left.
    minus = str(SIDES["distal"]) if named else say("pictures.side.towards-right")
    plus = str(SIDES["mesial"]) if named else say("pictures.side.towards-left")
    buccal = str(SIDES["buccal"])
    return (-180.0, inner), (-90.0, minus), (0.0, buccal), (90.0, plus), (180.0, inner)


def remaining_bone_chart(
    picture: RemainingBonePicture, *, size_mm: tuple[float, float] = SIZE_MM
) -> Chart:
    """Greys by mm of bone, lines of 1 to 4 mm, the limit heavy, what is below it and unknown."""
    rows, cols = (round(side / PIXEL_MM) for side in (size_mm[1], size_mm[0]))
    size = (cols * PIXEL_MM, rows * PIXEL_MM)
    grey = _sampled(picture.bone_mm, rows, cols, order=1)
    lines = [
        *_hatched(picture.unknown, rows, cols, size, style="not found", rising=False),
        *_hatched(picture.below, rows, cols, size, style="bone below limit", rising=True),
    ]
    below = bool(picture.below.any())
    for line in picture.lines:
        style = "limit line" if line.is_limit else "bone line"
        points = _placed(picture, line.points, size)
        lines.append(Line(style=style, points=points, below=below and line.is_limit))
    return Chart(
        title=say("pictures.wall.title"),
        grey=grey.astype(np.float32),
        pixel_mm=PIXEL_MM,
        window=WINDOW,
        sides=Sides(left="", right="", top="", bottom=""),
        lines=tuple(lines),
        labels=tuple(_numerals(picture, size, below=below)),
    )


def _placed(picture: RemainingBonePicture, places: Array, size: tuple[float, float]) -> Array:
    """(n, 2) of turn and depth → (n, 2) uv_mm."""
    deepest = max(float(picture.depths_mm[-1]), 1e-6)
    u = places[:, 0] / 360.0 * size[0]
    v = size[1] / 2 - places[:, 1] / deepest * size[1]
    return np.stack([u, v], axis=1)


def _sampled(values: Array, rows: int, cols: int, *, order: Literal[0, 1]) -> Array:
    """A (depths, turns) field at the pixels' centres; NaN where any neighbour is unknown."""
    r = (np.arange(rows) + 0.5) / rows * (values.shape[0] - 1)
    c = (np.arange(cols) + 0.5) / cols * (values.shape[1] - 1)
    at = np.meshgrid(r, c, indexing="ij")
    sampled = map_coordinates(values, np.stack(at), order=order, mode="nearest")
    return np.asarray(sampled, dtype=np.float64)


def _hatched(
    mask: NDArray[np.bool_], rows: int, cols: int, size: tuple[float, float], *, style: str,
    rising: bool,
) -> list[Line]:  # fmt: skip
    inside = _sampled(mask.astype(np.float64), rows, cols, order=0) > 0.5
    segments = hatch(inside, pixel_mm=PIXEL_MM, size_mm=size, spacing_mm=1.2, rising=rising)
    return [Line(style=style, points=s, below=style == "bone below limit") for s in segments]


def _numerals(
    picture: RemainingBonePicture, size: tuple[float, float], *, below: bool
) -> list[Label]:
    """A numeral in each line where it covers no other and stays on the picture."""
    height = label_height_mm("numeral")
    labels: list[Label] = []
    for line in sorted(picture.lines, key=lambda item: -_length(item)):
        points = _placed(picture, line.points, size)
        half = np.array([0.31 * height * len(line.label) + 0.6, height / 2 + 0.5])
        if float(np.abs(np.diff(points, axis=0)).sum()) < 4.0:
            continue
        for share in _SHARES:
            at = points[int(share * (len(points) - 1))]
            free = all(
                (np.abs(at - label.at) > half + _half(label, height)).any() for label in labels
            )
            if free and (np.abs(at) + half < np.array(size) / 2).all():
                labels.append(
                    Label(
                        text=line.label, at=(float(at[0]), float(at[1])), style="numeral",
                        below=below and line.is_limit,
                    )
                )  # fmt: skip
                break
    return labels


def _half(label: Label, height: float) -> Array:
    return np.array([0.31 * height * len(label.text) + 0.6, height / 2 + 0.5])


def _length(line: RemainingBoneLine) -> float:
    return sum(float(np.linalg.norm(b - a)) for a, b in pairwise(line.points))
