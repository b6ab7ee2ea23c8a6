"""The diameter of a followed canal, from a few short stretches of it where it is clearly seen.

Each stretch is laid straight along its course and weighed as one cut of a blurred canal
(`core.image.canal_weighing`). What the stretches have in common, above all a wall that the blur
hides, is not lessened by their number: so the standard deviation is that of one of them, or their
scatter where that is more.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from core.geometry import Array
from core.image.canal_fit import MOST_BLUR_MM, CanalFit
from core.image.canal_model import AROUND_MM, Axis, Cloud
from core.image.canal_weighing import Weighed, weigh
from core.image.volume import Volume
from core.marking.course_block import carried_frames
from core.marking.follow import STEP_MM, Followed
from core.measurement import Note

HALF_LENGTH_MM = 1.5
MOST_STRETCHES = 3
MODEL_SD_MM, MOST_SD_MM = 0.35, 0.5
"""What every diameter may be off beside what one stretch says, and the most that is still offered.
A wall that the blur hides is weighed as if it were as bright as walls mostly are: weaker ones read
a quarter of a mm too wide on drawn jaws. Of held-back ones about one in ten still lies further off
than twice this (`tests/studies/reports/followed_diameters.md`): compare each with the picture."""


_SPARE_MM = 0.4
_LEAST_CLEAR, _MOST_SCATTER_MM, _MOST_UNEVEN = 0.7, 0.25, 0.4


def course_diameter(
    volume: Volume, followed: Followed, *, cancelled: Callable[[], bool] | None = None
) -> CanalFit:
    """Fit the diameters of a followed canal.

    Parameters
    ----------
    volume : Volume
    followed : Followed
    cancelled : callable, optional
        Asked before each stretch, which takes about a second.

    Returns
    -------
    CanalFit
        Its middle is the middle of the stretch that was weighed last, or of the course.
    """
    stop = cancelled or (lambda: False)
    course = followed.points_mm
    found: list[Weighed] = []
    middle = course[len(course) // 2]
    for at in _stretches(followed):
        if stop():
            return CanalFit(middle_mm=middle, note=Note("follow-cancelled"))
        weighed = _weighed(volume, course, at, 0.5 * float(followed.lumen_mm[at]))
        if weighed is not None:
            found.append(weighed)
            middle = course[at]
    if not found:
        return CanalFit(middle_mm=middle, note=Note("canal-fit-not-clear"))
    outside = np.array([w.outside_mm for w in found])
    lumen = np.array([w.lumen_mm for w in found])
    sd = _sd([w.outside_sd_mm for w in found], outside)
    if sd > MOST_SD_MM or float(np.mean([w.blur_mm for w in found])) > MOST_BLUR_MM:
        return CanalFit(middle_mm=middle, note=Note("canal-fit-too-blurred"))
    wall_seen = any(w.wall_seen for w in found)
    return CanalFit(
        diameter_mm=float(outside.mean()),
        sd_mm=sd,
        lumen_mm=float(lumen.mean()),
        lumen_sd_mm=_sd([w.lumen_sd_mm for w in found], lumen),
        middle_mm=middle,
        note=None if wall_seen else Note("canal-fit-no-wall"),
    )


def _sd(each_mm: list[float], diameters_mm: Array) -> float:
    """Of their mean: what the stretches have in common is not lessened by their number."""
    return float(np.hypot(max(float(np.mean(each_mm)), float(diameters_mm.std())), MODEL_SD_MM))


def _stretches(followed: Followed) -> list[int]:
    """Indices of the middles of up to three stretches that are clearly seen, apart."""
    half = round(HALF_LENGTH_MM / STEP_MM)
    count = len(followed.seen)
    clear = [
        n
        for n in range(half, count - half)
        if all(s == "yes" for s in followed.seen[n - half : n + half + 1])
    ]
    if not clear:
        return []
    picked = np.linspace(0, len(clear) - 1, min(MOST_STRETCHES, len(clear)) + 2)[1:-1]
    return sorted({clear[round(float(p))] for p in picked})


def _weighed(volume: Volume, course: Array, at: int, radius_mm: float) -> Weighed | None:
    """One stretch laid straight; None where the model does not describe it."""
    cloud = _straightened(volume, course, at, radius_mm)
    if cloud is None:
        return None
    axis = Axis(middle_mm=np.zeros(2), slope=np.zeros(2), radius_mm=radius_mm)
    found = weigh(cloud, axis)
    if found is None or not found.within or found.clear < _LEAST_CLEAR:
        return None
    if found.scatter_mm > _MOST_SCATTER_MM or found.uneven > _MOST_UNEVEN:
        return None
    return found


def _straightened(volume: Volume, course: Array, at: int, radius_mm: float) -> Cloud | None:
    """Every voxel around a stretch: its own grey value, placed by the nearest point of the course.

    None where a part was not scanned.
    """
    tangent, across = carried_frames(course)
    reach = radius_mm + AROUND_MM + _SPARE_MM
    around = np.ceil((reach + HALF_LENGTH_MM) / volume.voxel_mm).astype(int)
    middle = np.round(volume.ijk(course[at])[0]).astype(int)
    steps = [np.arange(m - n, m + n + 1) for m, n in zip(middle, around, strict=True)]
    ijk = np.stack(np.meshgrid(*steps, indexing="ij"), axis=-1).reshape(-1, 3)
    place = volume.mm(ijk)
    half = int(np.ceil(HALF_LENGTH_MM / STEP_MM)) + 1
    near = np.arange(max(0, at - half), min(len(course), at + half + 1))
    apart = np.linalg.norm(place[:, None] - course[near], axis=2)
    own = near[np.argmin(apart, axis=1)]
    away = place - course[own]
    along = np.einsum("nx,nx->n", away, tangent[own])
    uv = np.einsum("nx,nkx->nk", away, across[own])
    s = (own - at) * STEP_MM + along
    kept = (np.abs(s) <= HALF_LENGTH_MM) & (np.hypot(*uv.T) <= reach)
    grey = volume.grey_at(place[kept]).astype(np.float64)
    if not np.isfinite(grey).all():
        return None
    return Cloud(across_mm=uv[kept], along_mm=s[kept], grey=grey)
