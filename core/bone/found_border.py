"""The lower border of the jaw around one click: the lowest bone, section after section.

Rays run up from below onto the bone, side by side across the jaw, and meet it by the same fitted
edge as everywhere else. The lowest place of a section is that of a parabola through the lowest of
them; from the click on, each section is looked at where the one before it leads.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from core.arch import Arch
from core.bone.edges import ScanEdges
from core.bone.own_edges import own_edges
from core.geometry import Array
from core.image.volume import Volume
from core.measurement import Note
from core.plans.plan import TissuePoint

STEP_MM, ALONG_MM = 1.0, 12.0
_ACROSS_MM, _COLUMN_MM = 4.0, 0.5
_BELOW_MM, _FIRST_BELOW_MM = 2.5, 5.0
_NEAR_CLICK_MM, _STEEPEST, _ASIDE_MM = 3.0, 1.2, 1.5
_LARGEST_SD_MM, _LEAST_COLUMNS, _LOWEST = 0.3, 5, 7
_LEAST_REACH_MM = 5.0


def border_around(
    volume: Volume,
    arch: Arch,
    click_mm: Array,
    points: Sequence[TissuePoint] = (),
    *,
    cancelled: Callable[[], bool] = lambda: False,
) -> Array | Note:
    """Find the lower border around one click, on the scan's own levels.

    Parameters
    ----------
    volume : Volume
    arch : Arch
        Of the lower jaw.
    click_mm : (3,) patient LPS mm
        On the lower border, within 3 mm of it.
    points : sequence of TissuePoint
        Where a person sees the tissues.
    cancelled : callable
        Asked from time to time.

    Returns
    -------
    (n, 3) patient LPS mm, or Note
        `find_border`'s, or what stands against the scan's tissue levels.
    """
    scan = own_edges(volume, arch, "lower", points)
    if isinstance(scan, Note):
        return scan
    return find_border(scan, arch, click_mm, cancelled=cancelled)


def find_border(
    scan: ScanEdges,
    arch: Arch,
    click_mm: Array,
    *,
    cancelled: Callable[[], bool] = lambda: False,
) -> Array | Note:
    """Find the lower border around one click.

    Parameters
    ----------
    scan : ScanEdges
    arch : Arch
        Of the lower jaw.
    click_mm : (3,) patient LPS mm
        On the lower border, within 3 mm of it.
    cancelled : callable
        Asked from time to time.

    Returns
    -------
    (n, 3) patient LPS mm, or Note
        One place a millimetre, as stations grow. ``border-not-found``: no lowest bone near the
        click, or less than 5 mm of it to either side.
    """
    click = np.asarray(click_mm, dtype=np.float64)
    station = arch.station(click)
    frame = arch.frame(station)
    at = np.array([(click - frame.origin) @ frame.buccal, (click - frame.origin) @ frame.up])
    first = _lowest(scan, arch, station, at, _FIRST_BELOW_MM)
    if first is None or float(np.linalg.norm(first - at)) > _NEAR_CLICK_MM:
        return Note("border-not-found")
    found = {0: first}
    for way in (-1, 1):
        before, slope = first, 0.0
        for n in range(1, round(ALONG_MM / STEP_MM) + 1):
            if cancelled():
                return Note("border-not-found")
            expected = before + np.array([0.0, slope])
            place = _lowest(scan, arch, station + way * n * STEP_MM, expected, _BELOW_MM)
            if place is None or abs(place[0] - before[0]) > _ASIDE_MM:
                break
            if abs(place[1] - before[1]) > _STEEPEST * STEP_MM:
                break
            slope = 0.5 * slope + 0.5 * float(place[1] - before[1])
            found[way * n], before = place, place
    if min(-min(found), max(found)) * STEP_MM < _LEAST_REACH_MM:
        return Note("border-not-found")
    places = []
    for n in sorted(found):
        here = arch.frame(station + n * STEP_MM)
        places.append(here.origin + found[n][0] * here.buccal + found[n][1] * here.up)
    return np.asarray(np.stack(places), dtype=np.float64)


def _lowest(
    scan: ScanEdges, arch: Arch, station: float, at: Array, below_mm: float
) -> Array | None:
    """(out, height) of a section's lowest bone near a place; None where it is not seen."""
    frame = arch.frame(station)
    out = at[0] + np.arange(-_ACROSS_MM, _ACROSS_MM + 1e-9, _COLUMN_MM)
    starts = frame.origin + out[:, None] * frame.buccal + (at[1] - below_mm) * frame.up
    edges = scan.outer(starts, np.asarray(frame.up), 2.0 * below_mm)
    with np.errstate(invalid="ignore"):
        good = edges.found & (edges.sd_mm <= _LARGEST_SD_MM)
    if good.sum() < _LEAST_COLUMNS:
        return None
    out, height = out[good], at[1] - below_mm + edges.distance_mm[good]
    lowest = np.argsort(height)[:_LOWEST]
    bend, lean, level = np.polyfit(out[lowest], height[lowest], 2)
    low, high = out[lowest].min(), out[lowest].max()
    # Where no bottom is seen between them, the lowest one may lie beyond.
    if bend <= 0 or not low < -lean / (2.0 * bend) < high:
        return None
    middle = -lean / (2.0 * bend)
    return np.array([middle, level + lean * middle + bend * middle**2])
