"""Grey values as plots: along a ruler, and how often each occurs in a scan. Never a density."""

from __future__ import annotations

import numpy as np

from core.bone.grey import LABEL
from core.drawing import scanned_greys
from core.geometry import unit
from core.identity import thing_words
from core.image import sampling
from core.image.volume import Volume
from core.pictures.plot import Axis, Level, Plot, Series, spread_of
from core.pictures.plot_layout import tick_figure
from core.structures import Ruler
from core.words.catalogue import say

STEP_MM = 0.1
BEYOND_MM = 2.0
"""So far beyond either end of a ruler grey values are shown too."""

BINS = 120
_MOST_GREYS = 400_000


def ruler_plot(volume: Volume, ruler: Ruler) -> Plot | None:
    """Grey values along a ruler and a little beyond its ends; None where nothing was scanned.

    Each is the trilinear value at its point, every 0.1 mm, from the ruler's first mark on.

    Parameters
    ----------
    volume : Volume
    ruler : Ruler
    """
    first, second = ruler.points
    length = float(np.linalg.norm(second - first))
    if not length > 0:
        return None
    count = int(np.ceil((length + 2 * BEYOND_MM) / STEP_MM)) + 1
    along = np.linspace(-BEYOND_MM, length + BEYOND_MM, count)
    points = first + along[:, None] * unit(second - first)
    grey = np.asarray(sampling.at_points(volume, points), dtype=np.float64)
    if not np.isfinite(grey).any():
        return None
    low, high = spread_of(grey[np.isfinite(grey)], least=1.0)
    ends = ((0.0, say("pictures.grey.begins")), (length, say("pictures.grey.ends")))
    return Plot(
        title=say("pictures.grey.along", name=str(thing_words(ruler.id))),
        subtitle=str(LABEL),
        x=Axis(
            words=say("pictures.grey.from-first"),
            low=float(along[0]),
            high=float(along[-1]),
            unit=" mm",
        ),
        y=Axis(words=say("pictures.grey.value"), low=low, high=high, decimals=0),
        series=(Series(name=say("pictures.grey.value"), style="grey values", x=along, y=grey),),
        levels=tuple(
            Level(name=name, style="needed width", value=value, upright=True)
            for value, name in ends
        ),
    )


def histogram_plot(volume: Volume, window: tuple[float, float]) -> Plot | None:
    """How often each grey value occurs, and which are shown as black and as white.

    Of every few voxels of the scanned part, counted on a scale of powers of ten: air would hide
    everything else on a plain one.

    Parameters
    ----------
    volume : Volume
    window : (low, high)
        Grey values shown as black and white.
    """
    values = scanned_greys(volume, _MOST_GREYS)
    if values.size < 8:
        return None
    low, high = (float(end) for end in np.percentile(values, (0.05, 99.98)))
    low, high = spread_of(np.array([low, high, *window]), least=1.0)
    counts, edges = np.histogram(values, bins=BINS, range=(low, high))
    powers = np.log10(np.maximum(counts, 0.8))
    top = max(1, int(np.ceil(float(powers.max()) + 0.05)))
    black, white = (tick_figure(round(value)) for value in window)
    ends = (
        (window[0], say("pictures.grey.black", value=black)),
        (window[1], say("pictures.grey.white", value=white)),
    )
    return Plot(
        title=say("pictures.grey.histogram"),
        subtitle=str(LABEL),
        x=Axis(words=say("pictures.grey.value"), low=low, high=high, decimals=0),
        y=Axis(
            words=say("pictures.grey.voxels"),
            low=-0.1,
            high=float(top),
            decimals=0,
            powers=True,
            names=tuple((float(n), f"{10**n:,}".replace(",", " ")) for n in range(top + 1)),
        ),
        series=(
            Series(
                name=say("pictures.grey.voxels"),
                style="grey values",
                x=edges,
                y=np.append(powers, powers[-1]),
                shape="steps",
            ),
        ),
        levels=tuple(
            Level(name=name, style="needed width", value=value, upright=True)
            for value, name in ends
        ),
    )
