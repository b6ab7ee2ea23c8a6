"""Pictures painted once and kept, so that what moves over them, or moves on, costs little."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Hashable
from typing import Generic, TypeVar

import numpy as np
from numpy.typing import NDArray
from PySide6.QtCore import QPointF, QSize
from PySide6.QtGui import QImage, QPainter, QPixmap, QTransform

from app.pictures.chart_painter import Ink
from app.widgets import style
from core.pictures.ink import DARK

T = TypeVar("T")

NOT_SCANNED, HATCH = 255, 254
"""Indices of the colour table that stand for *not scanned* and its hatch; greys are 0 to 253."""
HATCH_MM = 1.6
"""Between two lines of the hatch."""

_COLOURS = [0xFF000000 | round(n * 255 / 253) * 0x010101 for n in range(HATCH)]
_COLOURS.append(style.colour(DARK.stroke_colour("not scanned", below=False)).rgb())
_COLOURS.append(style.colour(DARK.not_scanned).rgb())


def grey_image(
    grey: NDArray[np.float32], window: tuple[float, float], pixel_mm: float = 0.2
) -> QImage:
    """8-bit picture through the window; what was not scanned (NaN) is hatched, its ground dark.

    The hatch falls to the right, as on paper; drawn into the picture it costs nothing when the
    picture is painted again.
    """
    low, high = window
    with np.errstate(invalid="ignore"):
        scaled = (grey - np.float32(low)) * np.float32(253.0 / max(high - low, 1e-6))
        np.clip(scaled, 0, 253, out=scaled)
        missing = np.isnan(scaled)
        np.rint(scaled, out=scaled)
        shades = scaled.astype(np.uint8)
    rows, cols = shades.shape
    if missing.any():
        period = max(4, round(HATCH_MM * np.sqrt(2) / pixel_mm))
        falling = np.subtract.outer(np.arange(rows), np.arange(cols)) % period == 0
        shades[missing] = NOT_SCANNED
        shades[falling & missing] = HATCH
    image = QImage(shades.data, cols, rows, cols, QImage.Format.Format_Indexed8)
    image.setColorTable(_COLOURS)
    return image.convertToFormat(QImage.Format.Format_RGB32)  # owns its memory


class _Last(Generic[T]):
    """The results asked for last, each with what it was made of.

    So an identity stands for one thing as long as it is looked for.
    """

    def __init__(self, most: int) -> None:
        self._most = most
        self._kept: OrderedDict[Hashable, tuple[object, T]] = OrderedDict()

    def clear(self) -> None:
        self._kept.clear()

    def once(self, key: Hashable, of: object, make: Callable[[], T]) -> T:
        if key not in self._kept:
            self._kept[key] = (of, make())
            while len(self._kept) > self._most:
                self._kept.popitem(last=False)
        self._kept.move_to_end(key)
        return self._kept[key][1]


class Renderings:
    """The last few images and grounds of one view, or of several that show each other's pictures.

    A ground is an image with its chart, in the pixels of a view.

    Parameters
    ----------
    most : int
        So many of either are kept.
    """

    def __init__(self, most: int = 2) -> None:
        self._images: _Last[QImage] = _Last(most)
        self._grounds: _Last[QPixmap] = _Last(most)

    def clear(self) -> None:
        """Keep nothing: the pictures of a closed case go with it."""
        self._images.clear()
        self._grounds.clear()

    def image(
        self, grey: NDArray[np.float32], window: tuple[float, float], pixel_mm: float
    ) -> QImage:
        """`grey_image`, made once for the same grey values and window."""
        key = (id(grey), window, pixel_mm)
        return self._images.once(key, grey, lambda: grey_image(grey, window, pixel_mm))

    def ground(
        self,
        image: QImage,
        chart: Ink,
        *,
        pixels: QTransform,
        to_screen: QTransform,
        size: QSize,
        ratio: float,
    ) -> QPixmap:
        """An image with its chart over it.

        Parameters
        ----------
        image : QImage
        chart : Ink
        pixels : QTransform
            From the image's pixels to the plane's mm.
        to_screen : QTransform
            From the plane's mm to the view's device-independent pixels.
        size : QSize
            Of the view.
        ratio : float
            Dots of the screen to such a pixel.
        """
        place = (to_screen.m11(), to_screen.m22(), to_screen.dx(), to_screen.dy())
        key = (id(image), id(chart), place, size.width(), size.height(), ratio)

        def make() -> QPixmap:
            ground = QPixmap(size * ratio)
            ground.setDevicePixelRatio(ratio)
            ground.fill(style.PICTURE)
            painter = QPainter(ground)
            painter.setRenderHints(
                QPainter.RenderHint.SmoothPixmapTransform | QPainter.RenderHint.Antialiasing
            )
            painter.save()
            painter.setTransform(pixels * to_screen, combine=True)
            painter.drawImage(QPointF(0, 0), image)
            painter.restore()
            chart.paint(painter, to_screen)
            painter.end()
            return ground

        return self._grounds.once(key, (image, chart), make)
