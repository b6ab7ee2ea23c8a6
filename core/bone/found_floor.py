"""The sinus or nasal floor around one click, as far as the image shows it.

Rays run down from the hollow onto the floor, one a millimetre along and across the arch, and meet
the bone by the same fitted edge as everywhere else (`core.bone.plate_fit`). From the click on,
place after place is looked for where its neighbours expect it; where no edge is found, or it is
not joined to its neighbours, there is none.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import generic_filter

from core.arch import Arch
from core.bone.edges import ScanEdges
from core.bone.outside import Outside
from core.bone.own_edges import own_edges
from core.distances.floor_surface import FloorSurface
from core.geometry import Array, unit
from core.image.volume import Volume
from core.measurement import Note
from core.plans.plan import TissuePoint

STEP_MM, ALONG_MM, ACROSS_MM = 1.0, 11.0, 8.0
_ABOVE_MM, _NEAR_CLICK_MM = 4.0, 2.0
_LEAD_MM = 2.5
_STEEPEST, _LARGEST_SD_MM, _OFF_MM = 1.2, 0.3, 1.0
_LEAST_PLACES, _LEAST_REACH_MM = 25, 3.0
_MOUTH_MM, _FURTHER_MM, _JUST_OVER_MM, _MOSTLY = 10.0, 14.0, 1.2, 0.4
"""Down to where the mouth lies, and up to where air is looked for over a floor; where it is asked
what lies over it, and of how much of it that decides."""

LINES_MM = (-10.0, -5.0, 0.0, 5.0, 10.0)
"""Along the arch, where marks are proposed: they must reach 5 mm beyond a fixture."""
_GIVEN_MM, _LEAST_MARKS, _MOST_MARKS = 0.1, 3, 6


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FloorLine:
    """Marks of one section across the arch, proposed together.

    Parameters
    ----------
    station_mm : float
    points_mm : (k, 3) patient LPS mm
        Some of the line, from the tongue's side to the cheek's.
    line_mm : (n, 3) patient LPS mm
        All of it that is seen.
    """

    station_mm: float
    points_mm: Array
    line_mm: Array


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FoundFloor:
    """What was found, as heights over feet: rows are sections across the arch.

    Parameters
    ----------
    feet_mm : (n, m, 3) patient LPS mm
        About on the click's height.
    apical : (3,)
        Unit direction of the heights, away from the crowns.
    station_mm : (n,)
        Of each row.
    height_mm, sd_mm : (n, m)
        Of the floor over the feet, and its standard error; NaN where it is not seen.
    """

    feet_mm: Array
    apical: Array
    station_mm: Array
    height_mm: Array
    sd_mm: Array

    @property
    def seen(self) -> NDArray[np.bool_]:
        """(n, m) where the floor is seen."""
        return np.isfinite(self.height_mm)

    @property
    def points_mm(self) -> Array:
        """(n, m, 3) patient LPS mm: places of the floor; NaN where it is not seen."""
        return np.asarray(self.feet_mm + self.height_mm[..., None] * self.apical)

    def lines(self) -> tuple[FloorLine, ...]:
        """Marks to be confirmed, section after section.

        As few as give the places that are seen there again within 0.1 mm, the outermost ones
        included; sections that show hardly any are left out.
        """
        middle = self.station_mm[len(self.station_mm) // 2]
        wanted = {int(np.argmin(np.abs(self.station_mm - middle - off))) for off in LINES_MM}
        marks = {row: ends for row in sorted(wanted) if len(ends := self._ends(row))}
        while sum(map(len, marks.values())) < _MOST_MARKS * len(marks):
            worst = self._worst(marks)
            if worst is None:
                break
            row, column = worst
            marks[row] = np.sort(np.append(marks[row], column))
        return tuple(
            FloorLine(
                station_mm=float(self.station_mm[row]),
                points_mm=self.points_mm[row, columns],
                line_mm=self.points_mm[row, self.seen[row]],
            )
            for row, columns in marks.items()
        )

    def _ends(self, row: int) -> NDArray[np.intp]:
        """First, middle and last place of a row that are seen."""
        seen = np.flatnonzero(self.seen[row])
        if len(seen) < _LEAST_MARKS:
            return seen[:0]
        return np.unique(seen[[0, len(seen) // 2, -1]])

    def _worst(self, marks: dict[int, NDArray[np.intp]]) -> tuple[int, int] | None:
        """Row and column of the place that the marks so far give worst; None: all well."""
        if not marks:
            return None
        points = self.points_mm
        surface = FloorSurface.through(np.concatenate([points[r, c] for r, c in marks.items()]))
        if surface is None:
            return None
        rest = np.zeros(self.height_mm.shape, dtype=bool)
        for row, columns in marks.items():
            rest[row] = self.seen[row]
            rest[row, columns] = False
        at = np.argwhere(rest)
        inside = (points[rest] - surface.centre) @ surface.frame.T
        off = np.abs(inside[:, 2] - surface.weights(inside[:, :2]) @ surface.heights)
        if not len(off) or float(off.max()) <= _GIVEN_MM:
            return None
        row, column = at[int(np.argmax(off))]
        return int(row), int(column)


def floor_around(
    volume: Volume,
    arch: Arch,
    click_mm: Array,
    points: Sequence[TissuePoint] = (),
    *,
    cancelled: Callable[[], bool] = lambda: False,
) -> FoundFloor | Note:
    """Find the floor of the hollow above the upper jaw around one click, on the scan's own levels.

    Parameters
    ----------
    volume : Volume
    arch : Arch
        Of the upper jaw.
    click_mm : (3,) patient LPS mm
        On the floor, within 2 mm of its edge.
    points : sequence of TissuePoint
        Where a person sees the tissues.
    cancelled : callable
        Asked from time to time.

    Returns
    -------
    FoundFloor or Note
        `find_floor`'s, or what stands against the scan's tissue levels.
    """
    scan = own_edges(volume, arch, "upper", points)
    if isinstance(scan, Note):
        return scan
    return find_floor(scan, arch, click_mm, cancelled=cancelled)


def find_floor(
    scan: ScanEdges,
    arch: Arch,
    click_mm: Array,
    *,
    cancelled: Callable[[], bool] = lambda: False,
) -> FoundFloor | Note:
    """Find the floor of the hollow above the upper jaw around one click.

    Parameters
    ----------
    scan : ScanEdges
    arch : Arch
        Of the upper jaw.
    click_mm : (3,) patient LPS mm
        On the floor, within 2 mm of its edge.
    cancelled : callable
        Asked from time to time.

    Returns
    -------
    FoundFloor or Note
        ``floor-not-found``: no edge near the click, or too few places joined to it;
        ``floor-in-marrow``: what was found bounds marrow, and the hollow lies further up.
    """
    stations = arch.station(click_mm) + np.arange(-ALONG_MM, ALONG_MM + 0.5 * STEP_MM, STEP_MM)
    apical, feet = unit(arch.level.up), _feet(arch, stations, np.asarray(click_mm, float))
    height = np.full(feet.shape[:2], np.nan)
    sd = np.full_like(height, np.nan)
    tried = np.zeros(height.shape, dtype=np.int8)
    middle = (len(height) // 2, len(height[0]) // 2)
    first = scan.outer(feet[middle] + _ABOVE_MM * apical, -apical, 2 * _ABOVE_MM)
    if not first.found[0] or abs(_ABOVE_MM - first.distance_mm[0]) > _NEAR_CLICK_MM:
        return Note("floor-not-found")
    height[middle], sd[middle] = _ABOVE_MM - first.distance_mm[0], first.sd_mm[0]
    while not cancelled():
        rows, columns, expected = _next_places(height, tried)
        if not len(rows):
            break
        tried[rows, columns] += 1
        starts = feet[rows, columns] + (expected + _LEAD_MM)[:, None] * apical
        edges = scan.outer(starts, -apical, 2 * _LEAD_MM)
        found = expected + _LEAD_MM - edges.distance_mm
        with np.errstate(invalid="ignore"):
            good = edges.found & (edges.sd_mm <= _LARGEST_SD_MM)
            good &= np.abs(found - expected) <= _STEEPEST * STEP_MM
        height[rows[good], columns[good]] = found[good]
        sd[rows[good], columns[good]] = edges.sd_mm[good]
    height[_apart(height)] = np.nan
    sd[np.isnan(height)] = np.nan
    reach = (stations - stations[middle[0]])[np.isfinite(height).sum(axis=1) >= _LEAST_MARKS]
    enough = np.isfinite(height).sum() >= _LEAST_PLACES
    if not enough or min(-reach.min(), reach.max()) < _LEAST_REACH_MM:
        return Note("floor-not-found")
    floor = FoundFloor(feet_mm=feet, apical=apical, station_mm=stations, height_mm=height, sd_mm=sd)
    return Note("floor-in-marrow") if _bounds_marrow(scan, arch, floor) else floor


@dataclass(frozen=True, slots=True, eq=False)
class _Ways:
    """Directions of the block around a floor."""

    b: Array
    m: Array
    a: Array


def _bounds_marrow(scan: ScanEdges, arch: Arch, found: FoundFloor) -> bool:
    """Whether what lies over it is not joined to sinus or nose, while their air lies further up.

    Fatty marrow is as dark as a sinus that is filled; of that one no air lies above.
    """
    n, m = (size // 2 for size in found.height_mm.shape)
    frame = arch.frame(float(found.station_mm[n]))
    apical, seen = found.apical, found.points_mm[found.seen]
    ways = _Ways(frame.buccal, frame.travel, -apical)
    outside = Outside.around(
        scan.volume, found.points_mm[n, m] - _MOUTH_MM * apical, ways, scan.levels,
        reach_mm=ALONG_MM, depth_mm=_MOUTH_MM + _FURTHER_MM,
    )  # fmt: skip
    joined = outside.widened().at(seen + _JUST_OVER_MM * apical)[1]
    further = seen[:, None] + np.arange(2.0, _FURTHER_MM, 1.0)[:, None] * apical
    hollow = outside.at(further.reshape(-1, 3))[1].reshape(len(seen), -1).any(axis=1)
    return bool((~joined & hollow).mean() > _MOSTLY)


def _feet(arch: Arch, stations: Array, click_mm: Array) -> Array:
    """(n, m, 3) places across the arch, row after row, on a click's height and way out."""
    frames = [arch.frame(station) for station in stations]
    at = frames[len(frames) // 2]
    out, height = (float((click_mm - at.origin) @ way) for way in (at.buccal, at.up))
    across = out + np.arange(-ACROSS_MM, ACROSS_MM + 0.5 * STEP_MM, STEP_MM)
    return np.stack([f.origin + height * f.up + across[:, None] * f.buccal for f in frames])


def _next_places(
    height: Array, tried: NDArray[np.int8]
) -> tuple[NDArray[np.intp], NDArray[np.intp], Array]:
    """Places beside found ones, tried again where one more shows what to expect; and that."""
    padded = np.pad(height, 2, constant_values=np.nan)
    n, m = height.shape
    guesses = []
    for down, right in ((0, 1), (0, -1), (1, 0), (-1, 0)):
        near, far = (
            padded[2 + k * down : 2 + k * down + n, 2 + k * right : 2 + k * right + m]
            for k in (1, 2)
        )
        # Along the slope where two neighbours show it, else level.
        slope = np.where(np.isfinite(far), np.clip(near - far, -0.8, 0.8), 0.0)
        guesses.append(near + slope)
    count = np.isfinite(guesses).sum(axis=0)
    wanted = np.isnan(height) & (tried < np.minimum(count, 2))
    rows, columns = np.nonzero(wanted)
    expected = np.nanmean(np.stack(guesses)[:, rows, columns], axis=0) if len(rows) else rows
    return rows, columns, np.asarray(expected, dtype=np.float64)


def _apart(height: Array) -> NDArray[np.bool_]:
    """Places that do not lie where those around them say, or have hardly any around them."""

    def off(values: Array) -> float:
        around = np.delete(values, 12)
        seen = around[np.isfinite(around)]
        if not np.isfinite(values[12]) or len(seen) < 5:
            return np.inf
        rows, columns = np.divmod(np.delete(np.arange(25), 12)[np.isfinite(around)], 5)
        plane = np.stack([np.ones(len(seen)), rows - 2.0, columns - 2.0], axis=1)
        weights = 1.0 / (1.0 + (rows - 2.0) ** 2 + (columns - 2.0) ** 2)
        fit = np.linalg.lstsq(plane * weights[:, None], seen * weights, rcond=None)[0]
        return float(abs(values[12] - fit[0]))

    return np.asarray(generic_filter(height, off, size=5, mode="constant", cval=np.nan) > _OFF_MM)
