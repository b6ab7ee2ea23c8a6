"""The diameters of a canal, from the image around one mark where it is clearly seen.

Two diameters are given: the lumen's, and that to the outside of the bony wall, which is the one
that clearances use. Both come from a model of a blurred canal (`core.image.canal_model`) laid
through all voxels around the mark and weighed over radius, wall and blur
(`core.image.canal_weighing`), with their standard deviations. Where the model does not hold, there
is no diameter but the reason.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from core.geometry import Array, any_across, unit, vector
from core.image import sampling
from core.image.canal_model import AROUND_MM, MOST_RADIUS_MM, Axis, Cloud, find_axis
from core.image.canal_weighing import Weighed, weigh
from core.image.volume import Volume
from core.measurement import Note
from core.words import sentence
from core.words.catalogue import Words
from core.words.numbers import Figure

HALF_LENGTH_MM = 1.4
"""Stretch of the canal to both sides of the mark that is taken for straight."""

MOST_SD_MM, MOST_BLUR_MM = 0.4, 0.4
"""A diameter that is known worse helps nobody: 3.0 mm with an SD of 0.35 is assumed instead. Under
a blur that is wider, a full width of 1 mm, walls of different thickness look the same."""

_RAYS, _STEP_MM, _RAY_MM = 36, 0.05, 4.0
_LAYERS_MM = (-0.6, -0.3, 0.0, 0.3, 0.6)
_CORE_MM = 0.4
_LEAST_RAYS, _LEAST_CLEAR = 0.5, 0.7
_MOST_SCATTER_MM, _MOST_UNEVEN = 0.2, 0.35
_MOST_OFF_MM = 1.2
_SPARE_MM = 0.4
_CONTRAST = 4.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CanalFit:
    """What was found around a mark.

    Parameters
    ----------
    diameter_mm : float or None
        To the outside of the bony wall, as clearances use it. None with the reason in `note`.
    sd_mm : float
        Standard deviation of the diameter; 0 without one.
    lumen_mm : float or None
        Diameter of the dark middle.
    lumen_sd_mm : float
    middle_mm : (3,) patient LPS mm
        Middle of the canal; the mark itself without one.
    note : Note or None
        Why there is no diameter, or what it was taken from.
    """

    diameter_mm: float | None = None
    sd_mm: float = 0.0
    lumen_mm: float | None = None
    lumen_sd_mm: float = 0.0
    middle_mm: Array
    note: Note | None = None

    def words(self, mark: Words) -> str:
        """For people: both diameters and what is said of them, or why there are none.

        Parameters
        ----------
        mark : Words
            What the mark is called.
        """
        said = [] if self.note is None else [self.note.message]
        if self.diameter_mm is not None and self.lumen_mm is not None:
            fields = {
                "mark": mark,
                "outside": Figure(f"{self.diameter_mm:.1f}"),
                "sd": Figure(f"{self.sd_mm:.2f}"),
                "lumen": Figure(f"{self.lumen_mm:.1f}"),
                "lumen_sd": Figure(f"{self.lumen_sd_mm:.2f}"),
            }
            said.insert(0, sentence("canal-fit-both", fields))
        return " ".join(said)


def fit_canal(volume: Volume, mark_mm: ArrayLike, along: ArrayLike) -> CanalFit:
    """Fit a canal's diameters around a mark on its middle.

    Parameters
    ----------
    volume : Volume
    mark_mm : (3,) patient LPS mm
        Inside the canal, within about half a mm of its middle.
    along : (3,)
        Direction of the canal there, within about 20°.

    Returns
    -------
    CanalFit
    """
    mark, across = vector(mark_mm), _across(unit(along))

    def refused(code: str) -> CanalFit:
        return CanalFit(diameter_mm=None, middle_mm=mark, note=Note(code))

    start = _start(volume, mark, unit(along), across)
    if isinstance(start, str):
        return refused(start)
    cloud = _cloud(volume, mark, unit(along), across, start)
    if not np.isfinite(cloud.grey).all():
        return refused("canal-fit-not-scanned")
    axis = find_axis(cloud, start.radius_mm, start.middle_mm)
    found = weigh(cloud, axis)
    if found is None or found.clear < _LEAST_CLEAR:
        return refused("canal-fit-not-clear")
    if not _is_round(found, axis):
        return refused("canal-fit-not-round")
    if found.outside_sd_mm > MOST_SD_MM or found.blur_mm > MOST_BLUR_MM:
        return refused("canal-fit-too-blurred")
    return CanalFit(
        diameter_mm=found.outside_mm,
        sd_mm=found.outside_sd_mm,
        lumen_mm=found.lumen_mm,
        lumen_sd_mm=found.lumen_sd_mm,
        middle_mm=vector(mark + axis.middle_mm @ across),
        note=None if found.wall_seen else Note("canal-fit-no-wall"),
    )


def _is_round(found: Weighed, axis: Axis) -> bool:
    """True where the edge lies on one circle near the mark, and the model explains the picture."""
    return (
        found.within
        and found.scatter_mm <= _MOST_SCATTER_MM
        and found.uneven <= _MOST_UNEVEN
        and float(np.hypot(*axis.middle_mm)) <= _MOST_OFF_MM
        and found.outside_mm <= 2 * MOST_RADIUS_MM
    )


def _across(along: Array) -> Array:
    """(2, 3) unit vectors across a direction and each other."""
    one = any_across(along)
    return np.stack([one, np.cross(along, one)])


def _cloud(volume: Volume, mark: Array, along: Array, across: Array, start: Axis) -> Cloud:
    """Every voxel around the mark: its own grey value, not one between voxels."""
    reach = start.radius_mm + AROUND_MM + _SPARE_MM
    far = reach + float(np.hypot(*start.middle_mm))
    around = np.ceil((far + HALF_LENGTH_MM) / volume.voxel_mm).astype(int)
    middle = np.round(volume.ijk(mark)[0]).astype(int)
    steps = [np.arange(m - n, m + n + 1) for m, n in zip(middle, around, strict=True)]
    ijk = np.stack(np.meshgrid(*steps, indexing="ij"), axis=-1).reshape(-1, 3)
    place = volume.mm(ijk) - mark
    s, uv = place @ along, place @ across.T
    off = np.linalg.norm(uv - start.middle_mm, axis=1)
    kept = (np.abs(s) <= HALF_LENGTH_MM) & (off <= reach)
    grey = volume.grey_at(place[kept] + mark).astype(np.float64)
    return Cloud(across_mm=uv[kept], along_mm=s[kept], grey=grey)


def _start(volume: Volume, mark: Array, along: Array, across: Array) -> Axis | str:
    """Circle through where rays first leave the lumen; a code where they do not."""
    angle = np.arange(_RAYS) * 2 * np.pi / _RAYS
    rays = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    starts = mark + np.asarray(_LAYERS_MM)[:, None] * along
    count = round(_RAY_MM / _STEP_MM) + 1
    grey = sampling.profiles(
        volume,
        np.repeat(starts, _RAYS, axis=0),
        np.tile(rays @ across, (len(starts), 1)),
        _STEP_MM,
        count,
    )
    profiles = grey.reshape(len(starts), _RAYS, count).astype(np.float64).mean(axis=0)
    if not np.isfinite(profiles).all():
        return "canal-fit-not-scanned"
    edge = _inner_edges(profiles)
    clear = np.isfinite(edge)
    if clear.mean() < _LEAST_RAYS:
        return "canal-fit-not-clear"
    middle, radius = _circle(edge[clear, None] * rays[clear])
    return Axis(middle_mm=middle, slope=np.zeros(2), radius_mm=radius)


def _inner_edges(profiles: Array) -> Array:
    """Where each ray first rises half way to the brightest soon after, mm; NaN where it does not.

    Rough: it only tells the fit where to begin.
    """
    core = profiles[:, : round(_CORE_MM / _STEP_MM) + 1]
    lumen, noise = float(np.median(core)), float(np.std(core)) + 1e-9
    edge = np.full(len(profiles), np.nan)
    for i, ray in enumerate(profiles):
        above = np.flatnonzero(ray > lumen + _CONTRAST * noise)
        if not len(above):
            continue
        top = ray[above[0] : above[0] + round(1.2 / _STEP_MM)].max()
        past = np.flatnonzero(ray >= (lumen + top) / 2)
        if past[0] > 0:
            edge[i] = past[0] * _STEP_MM
    return edge


def _circle(edge_uv: Array) -> tuple[Array, float]:
    """Circle through points: centre and radius.

    Algebraic least squares (Kåsa, IEEE Trans Instrum Meas 1976;25:8), three times: each time
    without points further off than 2.5 times the scatter.
    """
    kept = np.ones(len(edge_uv), dtype=bool)
    centre, radius = np.zeros(2), 0.0
    for _ in range(3):
        p = edge_uv[kept]
        system = np.column_stack([2 * p, np.ones(len(p))])
        solution, *_ = np.linalg.lstsq(system, (p**2).sum(axis=1), rcond=None)
        centre = np.asarray(solution[:2])
        radius = float(np.sqrt(max(solution[2] + centre @ centre, 0.0)))
        off = np.linalg.norm(edge_uv - centre, axis=1) - radius
        scatter = float(1.4826 * np.median(np.abs(off[kept])))
        kept = np.abs(off) <= 2.5 * max(scatter, 0.05)
        if kept.sum() < 6:
            break
    return centre, radius
