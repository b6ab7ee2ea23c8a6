"""The tips of a row of teeth, and the plane through them.

A tooth's top is told from a crest by its cap of enamel. A row's own line runs down into a gap and
along the crest there, some 8 mm below the tips: a plane that is laid along the line leans towards
such a gap. Hence the plane is laid through the tips alone, those beyond a gap included.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import convolve, map_coordinates, maximum_filter
from scipy.spatial import cKDTree

from core.geometry import Array, unit
from core.level import Level
from core.proposing.coarse import EDGE_MM, Coarse
from core.proposing.hard import Hard
from core.proposing.heights import NONE, Heights, heights
from core.proposing.settle import TEETH, UPRIGHT, doubt_deg
from core.words.numbers import Figure

CAP_MM = (0.5, 1.5, 2.5, 3.5)
"""Depths under a tooth's top where it is enamel."""
ENAMEL = 1.6
"""Least grey of a tooth's cap over the threshold, in parts of that of common hard tissue."""
BETWEEN_MM = (-9.0, 9.0)
"""Tips are looked for between these heights over a first plane, which may lean by much."""
AROUND_MM, LEAST_CAP_MM2 = 3.5, 8.0
"""A tip is the highest place of enamel this near to it, and has so much of it around."""
CUT_MM = 2.5
"""A tip nearer than this to the edge of the scan is of a tooth that is cut."""
BESIDE_MM, GAP_MM = 5.0, 22.0
"""From the row's line, and from tooth to tooth: two missing molars are some 20 mm."""
LEAST_TIPS = 3
OFF_ANYWAY_MM = 3.5
"""How far off a tip may lie before it does not count, however even the others are: teeth wear, and
grow out."""
OFF_MM, MOSTLY = 2.5, 0.75
"""So much of the tips lies this near to a plane that is suggested: the curve of a row is some 2 mm
deep (common practice, no source)."""
FAR_OFF = 4.685
"""Tips this many times the scatter off do not count (biweight of 95 % efficiency, from memory)."""

End: TypeAlias = Literal["right", "middle", "left"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CrownPlane:
    """The plane through a row's tips.

    Parameters
    ----------
    origin : (3,) turned mm
    normal : (3,)
    doubt_deg : float
        SD of its lean in the direction that the tips tell least about.
    tips : (n, 3) turned mm
        Every tip that was seen, those that lie far off the plane included.
    """

    origin: Array
    normal: Array
    doubt_deg: float
    tips: Array

    @property
    def is_even(self) -> bool:
        """Whether most tips lie on it; where they do not, they speak against any one plane."""
        return bool((self._off <= OFF_MM).mean() >= MOSTLY)

    @property
    def counted(self) -> Array:
        """(k, 3) turned mm, the tips it rests on: a bright crest in a gap is none of a tooth."""
        return np.asarray(self.tips[self._off <= OFF_ANYWAY_MM])

    @property
    def _off(self) -> Array:
        return np.asarray(np.abs((self.tips - self.origin) @ self.normal))


@dataclass(frozen=True, slots=True)
class Miss:
    """How far a plane lies off the tips of one third of a row, mm; the worst of them."""

    end: End
    mm: float


def enamel_over(scan: Coarse, threshold: float) -> float:
    """Grey value over which a cap is enamel.

    Parameters
    ----------
    scan : Coarse
    threshold : float
        Grey value that bounds hard tissue.
    """
    bright = scan.grey[scan.seen & (scan.grey > threshold)]
    common = float(np.median(bright)) if len(bright) else threshold
    return threshold + ENAMEL * max(common - threshold, 1e-6)


def capped(hard: Hard, feet: Array, top: Array, normal: Array) -> NDArray[np.bool_]:
    """Whether enamel lies under tops.

    Parameters
    ----------
    hard : Hard
    feet : (n, 3) turned mm
    top : (n,)
        Heights over the feet along the normal, mm.
    normal : (3,) turned
    """
    found = np.full(len(feet), -np.inf)
    for deep in CAP_MM:
        at = (feet + (top - deep)[:, None] * normal - hard.origin) / EDGE_MM
        here = map_coordinates(hard.grey, at[:, ::-1].T, order=1, mode="nearest")
        found = np.maximum(found, here)
    return np.asarray(found > hard.enamel)


def crown_plane(hard: Hard, line: Array, normal: Array, surface_normal: Array) -> CrownPlane | None:
    """The plane through the tips of the row that a line runs along; None of fewer than three.

    Parameters
    ----------
    hard : Hard
    line : (n, 3) turned mm
        Along some of the row, within some 5 mm of its tips as seen along the normal.
    normal : (3,) turned
        Of a first plane along it.
    surface_normal : (3,) turned
        Of the plane that most of the row's upper surface lies on.
    """
    tips = _tips(hard, line, normal)
    return None if len(tips) < LEAST_TIPS else _through(tips, normal, surface_normal)


def misses(level: Level, tips_mm: Array, stations_mm: Array) -> tuple[Miss, ...]:
    """How far a plane lies off a row's tips at its right end, in its middle and at its left end.

    Parameters
    ----------
    level : Level
    tips_mm : (n, 3) patient LPS mm, n >= 3
    stations_mm : (n,)
        Of the tips along the arch, from its right end.
    """
    ends: tuple[End, ...] = ("right", "middle", "left")
    off = np.abs((tips_mm - level.origin) @ level.up)
    order = np.argsort(stations_mm)
    return tuple(
        Miss(end, float(off[part].max()))
        for end, part in zip(ends, np.array_split(order, len(ends)), strict=True)
    )


def miss_fields(found: Sequence[Miss]) -> dict[str, Figure]:
    """What a sentence about misses needs: ``right``, ``middle`` and ``left``, mm as shown."""
    return {each.end: Figure(f"{each.mm:.1f}") for each in found}


def _tips(hard: Hard, line: Array, normal: Array) -> Array:
    """(n, 3) the tips along a line and of teeth further on, from tooth to tooth."""
    tops = heights(hard, line.mean(axis=0), normal, between_mm=BETWEEN_MM)
    rows, columns = np.nonzero(tops.top > NONE)
    if not len(rows):
        return np.empty((0, 3))
    feet = tops.places(np.stack([columns, rows], axis=1).astype(np.float64))
    enamel = capped(hard, feet, tops.top[rows, columns], normal)
    caps = np.full(tops.top.shape, NONE)
    caps[rows[enamel], columns[enamel]] = tops.top[rows[enamel], columns[enamel]]
    reach = int(AROUND_MM / EDGE_MM)
    y, x = np.mgrid[-reach : reach + 1, -reach : reach + 1]
    disc = np.hypot(x, y) * EDGE_MM <= AROUND_MM
    area = convolve((caps > NONE).astype(np.float64), disc.astype(np.float64), mode="constant")
    highest = (caps == maximum_filter(caps, footprint=disc)) & (caps > NONE)
    rows, columns = np.nonzero(highest & (area * EDGE_MM**2 >= LEAST_CAP_MM2))
    feet = tops.places(np.stack([columns, rows], axis=1).astype(np.float64))
    tips = np.asarray(feet + caps[rows, columns][:, None] * normal)
    whole = _is_whole(hard, tips, tops)
    return tips[whole][_of_the_row(tops.flat(feet[whole]), tops.flat(line))]


def _is_whole(hard: Hard, tips: Array, tops: Heights) -> NDArray[np.bool_]:
    """(n,) tips with the scan around them: where its edge cuts a tooth the cut is no tip."""
    turn = np.linspace(0.0, 2.0 * np.pi, 8, endpoint=False)
    whole = np.ones(len(tips), dtype=bool)
    for angle in turn:
        at = tips + CUT_MM * (np.cos(angle) * tops.u + np.sin(angle) * tops.v) - tops.normal
        ijk = np.rint((at - hard.origin) / EDGE_MM)[:, ::-1].T
        seen = map_coordinates(hard.seen.astype(np.uint8), ijk, order=0, cval=0)
        whole &= seen > 0
    return whole


def _of_the_row(tips: Array, line: Array) -> NDArray[np.bool_]:
    """(n,) tips beside a line, and those that follow from tip to tip."""
    if not len(tips):
        return np.zeros(0, dtype=bool)
    kept = np.asarray(cKDTree(line).query(tips)[0]) * EDGE_MM < BESIDE_MM
    while kept.any():
        more = np.asarray(cKDTree(tips[kept]).query(tips)[0]) * EDGE_MM <= GAP_MM
        if not (more & ~kept).any():
            break
        kept |= more
    return kept


def _through(tips: Array, normal: Array, surface_normal: Array) -> CrownPlane:
    """Bayesian least squares with the lean of head and surface; tips far off count less."""
    u = unit(np.array([normal[2], 0.0, -normal[0]]))
    v = np.asarray(np.cross(normal, u))
    middle = tips.mean(axis=0)
    off = tips - middle
    height = off @ normal
    sides = np.column_stack([off @ u, off @ v, np.ones(len(tips))])
    held, likely = np.zeros(3), np.zeros(3)
    for other, sd_deg in ((UPRIGHT, TEETH.head_deg), (surface_normal, TEETH.surface_deg)):
        # Each as the lean of its plane against this one.
        weight = 1.0 / np.tan(np.radians(sd_deg)) ** 2
        held[:2] += weight
        likely[:2] -= weight * np.array([other @ u, other @ v]) / float(other @ normal)
    found = np.array([0.0, 0.0, float(np.median(height))])
    scatter = 3.0
    for n in range(20):
        away = height - sides @ found
        if n > 1:
            scatter = max(TEETH.even_mm, 1.4826 * float(np.median(np.abs(away))))
        far = max(FAR_OFF * scatter, OFF_ANYWAY_MM)
        weight = np.clip(1.0 - (away / far) ** 2, 0.0, 1.0) ** 2 / scatter**2
        moment = sides.T @ (weight[:, None] * sides) + np.diag(held)
        found = np.linalg.solve(moment, sides.T @ (weight * height) + likely)
    return CrownPlane(
        origin=middle + found[2] * normal,
        normal=unit(normal - found[0] * u - found[1] * v),
        doubt_deg=doubt_deg(moment),
        tips=tips,
    )
