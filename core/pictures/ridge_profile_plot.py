"""Widths of the ridge along the arch as a plot, with the width that a fixture needs."""

from __future__ import annotations

import numpy as np

from core.measuring.ridge_profile import PROFILE_DEPTHS_MM, ProfileRow
from core.pictures.plot import Axis, Level, Plot, Series
from core.words.catalogue import say

DEPTHS_MM = (1.0, 3.0, 7.0)
"""Depths below the crest that are drawn; the table has all of them."""

_STYLES = ("width near the crest", "width in the middle", "width at depth")


def ridge_profile_plot(
    rows: tuple[ProfileRow, ...], *, needed_mm: float | None = None, needed_words: str = ""
) -> Plot | None:
    """A line a depth; None where nowhere on the arch a width was found.

    Parameters
    ----------
    rows : tuple of ProfileRow
        In the order of their stations.
    needed_mm : float or None
        Width that the fixture needs with its limits on both sides.
    needed_words : str, optional
        What that is made of.
    """
    stations = np.array([row.station_mm for row in rows])
    columns = [PROFILE_DEPTHS_MM.index(depth) for depth in DEPTHS_MM]
    values = [[row.widths[column].value for column in columns] for row in rows]
    widths = np.array(
        [[np.nan if value is None else value for value in row] for row in values]
    ).reshape(-1, len(columns))
    if len(stations) < 2 or not np.isfinite(widths).any():
        return None
    top = max(float(np.nanmax(widths)), needed_mm or 0.0)
    levels: tuple[Level, ...] = ()
    if needed_mm is not None:
        levels = (Level(name=needed_words, style="needed width", value=needed_mm),)
    return Plot(
        title=say("pictures.profile.title"),
        x=Axis(
            words=say("pictures.profile.along"),
            low=float(stations[0]),
            high=float(stations[-1]),
            unit=" mm",
        ),
        y=Axis(
            words=say("pictures.profile.width"),
            low=0.0,
            high=float(np.ceil((top + 0.5) / 2) * 2),
            unit=" mm",
            rounding="down",
        ),
        series=tuple(
            Series(
                name=say("pictures.profile.mm-deep", depth=depth),
                style=style,
                x=stations,
                y=widths[:, number],
            )
            for number, (depth, style) in enumerate(zip(DEPTHS_MM, _STYLES, strict=True))
        ),
        levels=levels,
    )
