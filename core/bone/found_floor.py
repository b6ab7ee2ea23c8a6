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

from core.arch import Arch, FixtureFrame, fixture_frame
from core.bone.edges import ScanEdges
from core.bone.outside import Outside
from core.bone.own_edges import own_edges
from core.distances.floor_marks import BEYOND_MM, FloorLack, floor_lacks
from core.distances.floor_surface import FloorSurface
from core.distances.solid import FixtureSolid
from core.fixture import Fixture
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

ROOM_MM = 2.0
"""So much may a fixture be moved afterwards, to any side, before its floor wants more marks."""
_GRID_MM = (-6.0, -3.0, 0.0, 3.0, 6.0)
"""Of the marks around a fixture's axis, both ways: of a grid of 3 mm four lie within 4.3 mm around
any place in it, and the rule asks for four within 5 mm around the axis."""
_FURTHEST_MM = 8.0
"""From a fixture's axis, beside which a click is meant for it."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FloorSite:
    """A fixture that a floor is marked for.

    Parameters
    ----------
    solid : FixtureSolid
        With the drill's tip.
    frame : FixtureFrame
    """

    solid: FixtureSolid
    frame: FixtureFrame

    @classmethod
    def of(cls, fixture: Fixture, arch: Arch, *, tip_mm: float) -> FloorSite:
        """A fixture with a drill's tip, on its arch.

        Parameters
        ----------
        fixture : Fixture
        arch : Arch
        tip_mm : float

        Raises
        ------
        PlanError
            ``fixture-axis-level``: its axis lies along the arch.
        """
        solid = FixtureSolid.of(fixture).with_tip(tip_mm)
        return cls(solid=solid, frame=fixture_frame(fixture, arch))

    def off_axis(self, points_mm: Array) -> Array:
        """(..., 3) places → (..., 2) how far mesially and buccally of the axis they lie, mm."""
        off = points_mm - self.solid.origin
        return np.stack([off @ self.frame.m, off @ self.frame.b], axis=-1)

    def axis_at(self, point_mm: Array) -> Array:
        """(3,) the place of the axis beside a point."""
        along = float((point_mm - self.solid.origin) @ self.solid.axis)
        return np.asarray(self.solid.origin + along * self.solid.axis)

    def is_beside(self, point_mm: Array) -> bool:
        """Whether a click there is meant for this fixture."""
        return float(np.linalg.norm(self.axis_at(point_mm) - point_mm)) < _FURTHEST_MM

    def reach_mm(self) -> float:
        """How far mesially and distally marks are wanted: beyond the fixture, moved as well."""
        ways = np.stack([self.frame.m, -self.frame.m])
        ends = np.einsum("ij,ij->i", self.solid.support(ways) - self.solid.origin, ways)
        return float(ends.max()) + BEYOND_MM + ROOM_MM

    def lacks(self, marks_mm: Array) -> tuple[FloorLack, ...]:
        """What marks lack for the fixture as it stands, see `core.distances.floor_marks`."""
        return floor_lacks(self.solid, marks_mm, self.frame)


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

    def lines(self, site: FloorSite | None = None) -> tuple[FloorLine, ...]:
        """Marks to be confirmed, section after section.

        As few as give the places that are seen there again within 0.1 mm, the outermost ones
        included; sections that show hardly any are left out. For a fixture as many as its own
        rule asks for, where it stands and moved by `ROOM_MM`, as far as the floor is seen.

        Parameters
        ----------
        site : FloorSite, optional
        """
        marks = self._of_the_block() if site is None else self._around(site)
        most = max(_MOST_MARKS * len(marks), sum(map(len, marks.values())))
        while sum(map(len, marks.values())) < most:
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

    def _of_the_block(self) -> dict[int, NDArray[np.intp]]:
        """Columns of the rows that are marked where no fixture stands."""
        middle = self.station_mm[len(self.station_mm) // 2]
        wanted = {int(np.argmin(np.abs(self.station_mm - middle - off))) for off in LINES_MM}
        return {row: ends for row in sorted(wanted) if len(ends := self._ends(row))}

    def _around(self, site: FloorSite) -> dict[int, NDArray[np.intp]]:
        """Columns of the rows that a fixture wants: a grid around its axis, and both ends."""
        off = site.off_axis(self.points_mm)
        rows = [row for row in range(len(off)) if len(self._ends(row))]
        if not rows:
            return {}
        # Of each row its place beside the axis tells how far mesially it lies.
        beside = [int(np.nanargmin(np.abs(off[row, :, 1]))) for row in rows]
        mesial = np.array([off[row, column, 0] for row, column in zip(rows, beside, strict=True)])
        reach = site.reach_mm()
        marks: dict[int, NDArray[np.intp]] = {}
        for wanted in (-reach, *_GRID_MM, reach):
            row = rows[int(np.argmin(np.abs(mesial - wanted)))]
            columns = self._ends(row)
            if abs(wanted) < reach:
                across = np.where(self.seen[row], off[row, :, 1], np.inf)
                grid = [int(np.argmin(np.abs(across - mm))) for mm in _GRID_MM]
                columns = np.unique(np.concatenate([columns, grid]))
            marks[row] = np.union1d(marks.get(row, columns[:0]), columns)
        # What ends just short of the reach is taken to its own end.
        for row in (rows[int(np.argmin(mesial))], rows[int(np.argmax(mesial))]):
            if abs(mesial[rows.index(row)]) < reach:
                marks[row] = np.union1d(marks.get(row, self._ends(row)), self._ends(row))
        return dict(sorted(marks.items()))

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
    site: FloorSite | None = None,
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
    site : FloorSite, optional
        The fixture that it is looked for around, instead of the click.
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
    return find_floor(scan, arch, click_mm, site=site, cancelled=cancelled)


def find_floor(
    scan: ScanEdges,
    arch: Arch,
    click_mm: Array,
    *,
    site: FloorSite | None = None,
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
    site : FloorSite, optional
    cancelled : callable
        Asked from time to time.

    Returns
    -------
    FoundFloor or Note
        ``floor-not-found``: no edge near the click, or too few places joined to it;
        ``floor-in-marrow``: what was found bounds marrow, and the hollow lies further up.
    """
    click = np.asarray(click_mm, dtype=np.float64)
    centre, along = click, ALONG_MM
    if site is not None and site.is_beside(click):
        centre, along = site.axis_at(click), max(ALONG_MM, np.ceil(site.reach_mm()) + STEP_MM)
    stations = arch.station(centre) + np.arange(-along, along + 0.5 * STEP_MM, STEP_MM)
    apical, feet = unit(arch.level.up), _feet(arch, stations, centre, click)
    height = np.full(feet.shape[:2], np.nan)
    sd = np.full_like(height, np.nan)
    tried = np.zeros(height.shape, dtype=np.int8)
    away = np.linalg.norm(feet - click, axis=2)
    row, column = np.unravel_index(int(np.argmin(away)), away.shape)
    middle = (int(row), int(column))
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
    return Note("floor-in-marrow") if _bounds_marrow(scan, arch, floor, middle) else floor


@dataclass(frozen=True, slots=True, eq=False)
class _Ways:
    """Directions of the block around a floor."""

    b: Array
    m: Array
    a: Array


def _bounds_marrow(scan: ScanEdges, arch: Arch, found: FoundFloor, start: tuple[int, int]) -> bool:
    """Whether what lies over it is not joined to sinus or nose, while their air lies further up.

    Fatty marrow is as dark as a sinus that is filled; of that one no air lies above.
    """
    n, m = start
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


def _feet(arch: Arch, stations: Array, centre_mm: Array, click_mm: Array) -> Array:
    """(n, m, 3) places across the arch, row after row: a place's way out, a click's height."""
    frames = [arch.frame(station) for station in stations]
    at = frames[len(frames) // 2]
    out = float((centre_mm - at.origin) @ at.buccal)
    height = float((click_mm - at.origin) @ at.up)
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
