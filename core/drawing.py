"""One picture as a display list: grey values, and lines and words named by their meaning.

Positions are ``uv_mm``: along the picture's right and up, counted from its middle. Renderers
for paper, PNG and the bench draw the same list in the same order.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Literal, TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray

from core.geometry import Array, PictureGrid
from core.image.volume import Volume

_LEANS = math.sin(math.radians(22.5))
"""Share of a direction along an axis from which on a second letter names that axis."""

LabelStyle: TypeAlias = Literal["numeral", "witness", "scale", "name"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Line:
    """A polyline of one meaning.

    Parameters
    ----------
    style : str
        Key of `core.pictures.ink.STROKES`.
    points : (n, 2) uv_mm
    closed : bool
    below : bool
        True where it stands for a measurement *below limit*.
    """

    style: str
    points: Array
    closed: bool = False
    below: bool = False

    def __post_init__(self) -> None:
        pts = np.array(self.points, dtype=np.float64).reshape(-1, 2)
        pts.flags.writeable = False
        object.__setattr__(self, "points", pts)


@dataclass(frozen=True, slots=True, kw_only=True)
class Label:
    """A word or numeral centred on a place, on a small plate so that it reads on any grey."""

    text: str
    at: tuple[float, float]
    style: LabelStyle
    below: bool = False

    def __post_init__(self) -> None:
        object.__setattr__(self, "text", f"{self.text}")  # a figure, as the language writes it


@dataclass(frozen=True, slots=True, kw_only=True)
class Dot:
    """The end of a measured distance."""

    at: tuple[float, float]
    below: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Sides:
    """What lies towards the four edges of a picture, from patient coordinates."""

    left: str
    right: str
    top: str
    bottom: str


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Chart:
    """A picture with its chart.

    Parameters
    ----------
    title, subtitle : str
    grey : (rows, cols) float32
        NaN where not scanned.
    pixel_mm : float
    window : (low, high)
        Grey values shown as black and white.
    sides : Sides
    lines, labels, dots
        In the order in which they are drawn: all lines, then dots, then labels.
    grid : PictureGrid or None
        Where the picture lies in the patient; None for a curved picture.
    """

    title: str
    subtitle: str = ""
    grey: NDArray[np.float32]
    pixel_mm: float
    window: tuple[float, float]
    sides: Sides
    lines: tuple[Line, ...] = ()
    dots: tuple[Dot, ...] = ()
    labels: tuple[Label, ...] = ()
    grid: PictureGrid | None = None

    @property
    def size_mm(self) -> tuple[float, float]:
        """Width and height of the picture, pixel edges included."""
        rows, cols = self.grey.shape
        return cols * self.pixel_mm, rows * self.pixel_mm

    @property
    def styles(self) -> tuple[str, ...]:
        """The styles that are drawn, each once, in order: what a legend explains."""
        return tuple(dict.fromkeys(line.style for line in self.lines))

    def shades(self) -> NDArray[np.uint8]:
        """(rows, cols) 0 to 255 through the window; 0 where not scanned."""
        low, high = self.window
        scaled = (self.grey - low) / max(high - low, 1e-6)
        clean = np.nan_to_num(scaled, nan=0.0)
        return np.asarray(np.clip(clean * 255.0 + 0.5, 0, 255), dtype=np.uint8)


def window_of(grey: NDArray[Any]) -> tuple[float, float]:
    """Grey values to show as black and white: robust against air, metal and empty corners.

    The histogram is split into three classes (air, soft tissue, bone) where the variance
    between them is largest (Otsu, IEEE Trans Syst Man Cybern 1979;9:62, multi-level form).
    Black lies halfway between the first two means; white at the mean of the third plus two of
    its standard deviations, at most the 99.9th percentile, so that metal does not darken bone.

    Parameters
    ----------
    grey : array of any shape
        NaN where not scanned.
    """
    values = np.asarray(grey, dtype=np.float64).ravel()
    values = values[np.isfinite(values)]
    if values.size < 8:
        return 0.0, 1.0
    bottom, top = (float(v) for v in np.percentile(values, (0.1, 99.9)))
    if not top > bottom:
        return bottom - 0.5, bottom + 0.5
    counts, edges = np.histogram(np.clip(values, bottom, top), bins=96, range=(bottom, top))
    middles = (edges[:-1] + edges[1:]) / 2
    weight = np.concatenate([[0.0], np.cumsum(counts)])
    moment = np.concatenate([[0.0], np.cumsum(counts * middles)])

    def between(first: Any, last: Any) -> Any:
        w = weight[last] - weight[first]
        return np.where(w > 0, (moment[last] - moment[first]) ** 2 / np.where(w > 0, w, 1), 0.0)

    n = len(counts)
    cut1, cut2 = np.meshgrid(np.arange(1, n), np.arange(1, n), indexing="ij")
    score = between(0, cut1) + between(cut1, cut2) + between(cut2, n)
    score = np.where(cut1 < cut2, score, -1.0)
    a, b = np.unravel_index(int(np.argmax(score)), score.shape)
    first, second = int(cut1[a, b]), int(cut2[a, b])
    low_class = values[values < edges[first]]
    mid_class = values[(values >= edges[first]) & (values < edges[second])]
    high_class = np.minimum(values[values >= edges[second]], top)
    if min(low_class.size, mid_class.size, high_class.size) == 0:
        return bottom, top
    low = float(low_class.mean() + mid_class.mean()) / 2
    high = min(float(high_class.mean() + 2 * high_class.std()), top)
    return (low, high) if high > low else (bottom, top)


def window_of_volume(volume: Volume) -> tuple[float, float]:
    """One window for all pictures of a volume, from every few voxels of its scanned part."""
    return window_of(scanned_greys(volume, 400_000))


def scanned_greys(volume: Volume, most: int) -> Array:
    """Grey values of every few voxels of the scanned part of a volume.

    Parameters
    ----------
    volume : Volume
    most : int
        About so many voxels of the whole volume are looked at.

    Returns
    -------
    (n,) float64
    """
    step = max(1, round((volume.voxels.size / most) ** (1 / 3)))
    stored = volume.voxels[::step, ::step, ::step].astype(np.float64)
    scanned = np.ones(stored.shape, dtype=bool)
    if volume.padding is not None:
        low, high = volume.padding
        scanned &= (stored < low) | (stored > high)
    if volume.field is not None:
        scanned &= volume.field[None, ::step, ::step].astype(bool)
    return np.asarray(stored[scanned] * volume.slope + volume.intercept)


def hatch(
    inside: NDArray[np.bool_],
    *,
    pixel_mm: float,
    size_mm: tuple[float, float],
    spacing_mm: float,
    rising: bool = True,
) -> list[Array]:
    """Diagonal hatch lines over the part of a picture that a mask marks.

    Parameters
    ----------
    inside : (rows, cols) bool
        Row 0 at the top, as in the picture.
    pixel_mm : float
        Of the mask.
    size_mm : (width, height)
        Of the picture; its middle is the origin.
    spacing_mm : float
        Between lines.
    rising : bool
        True: lines run up to the right.

    Returns
    -------
    list of (2, 2) uv_mm segments
    """
    if not inside.any():
        return []
    width, height = size_mm
    sign = 1.0 if rising else -1.0
    step = pixel_mm  # along u: one sample a column
    along = np.arange(-(width + height) / 2, (width + height) / 2, step)
    reach = (width + height) / 2
    segments: list[Array] = []
    for offset in np.arange(-reach, reach, spacing_mm * np.sqrt(2)):
        u, v = along, sign * along + offset
        row = np.round((inside.shape[0] - 1) / 2 - v / pixel_mm).astype(int)
        col = np.round((inside.shape[1] - 1) / 2 + u / pixel_mm).astype(int)
        ok = (row >= 0) & (row < inside.shape[0]) & (col >= 0) & (col < inside.shape[1])
        on = np.zeros(len(along), dtype=bool)
        on[ok] = inside[row[ok], col[ok]]
        change = np.flatnonzero(np.diff(np.concatenate([[False], on, [False]]).astype(np.int8)))
        for start, stop in zip(change[::2], change[1::2] - 1, strict=True):
            if stop > start:
                segments.append(np.array([[u[start], v[start]], [u[stop], v[stop]]]))
    return segments


def patient_letters(direction: ArrayLike) -> str:
    """R or L, A or P, S or I (or two of them) of a patient direction (DICOM LPS).

    A second letter stands where the direction leans more than 22.5 degrees that way.
    """
    # Plain numbers: a picture asks for its four sides at every step, and three are few.
    d = np.asarray(direction, dtype=np.float64).tolist()
    least = math.hypot(*d) * _LEANS
    names = (("R", "L"), ("A", "P"), ("I", "S"))
    order = sorted(range(3), key=lambda i: -abs(d[i]))
    return "".join(names[i][d[i] > 0] for i in order[:2] if abs(d[i]) > least)
