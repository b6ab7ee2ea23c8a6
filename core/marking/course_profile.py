"""Where a canal's middle lies along a course, by what its rim looks like along that very course.

From each place rays go out across the course. The mean of all rays is the rim as this canal shows
it here, whatever its wall, marrow and blur are. Each sector of each place is then that profile,
moved outwards or inwards, stronger or weaker; sectors that agree on one circle tell the middle.
Only the rise from the lumen to the rim counts: what lies beyond the rim, a cortical plate or the
ligament of a root, must not pull.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from core.geometry import Array
from core.image import sampling
from core.image.volume import Volume
from core.marking.course_block import carried_frames

SECTORS = 12
_RAYS_A_SECTOR = 2
_STEP_MM, _SAMPLES = 0.1, 30
_SLAB_STEP_MM, _SLAB_SAMPLES = 0.25, 5
_EDGE_MM = (0.5, 2.2)
"""Between which radii the rim's rise is looked for."""

INWARDS_MM, OUTWARDS_MM = 0.6, 0.25
"""How far inside and outside the rise the image counts (standard deviations of its weight)."""

WIDE_INWARDS_MM, WIDE_OUTWARDS_MM = 0.8, 0.5
"""A second, coarser look: what the two do not agree on is doubt."""

_LEAST_STRENGTH = 0.15
_LEAST_SCATTER_MM = 0.03
_MOST_MOVE_MM = 1.0
_STEADY = np.diag([0.05, 0.05, 0.5])
"""Holds a place still where hardly a sector speaks: two moves and a change of radius."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sectors:
    """Mean grey values by place, sector and distance from the course.

    Parameters
    ----------
    grey : (n, SECTORS, m)
        0 where not scanned.
    scanned : (n, SECTORS) bool
    across : (n, 2, 3)
        Directions that angles are counted from.
    """

    grey: Array
    scanned: NDArray[np.bool_]
    across: Array


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Rim:
    """A canal's rim along a course.

    Parameters
    ----------
    profile : (m,)
        Mean grey value by distance, `STEP` apart.
    radius_mm : float
        Where it rises fastest.
    """

    profile: Array
    radius_mm: float

    @property
    def contrast(self) -> float:
        """Rim against lumen, grey."""
        near = int(_EDGE_MM[0] / _STEP_MM)
        return float(self.profile[near:].max() - self.profile[:near].mean())


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Found:
    """What the sectors say of each place.

    Parameters
    ----------
    move_mm : (n, 2)
        From the course to the middle, across it.
    wider_mm : (n,)
        Radius here, over that of the rim.
    sd_mm : (n,)
        Of the move in each direction, by how far the sectors disagree around the place.
    strength : (n, SECTORS)
        Of the rim in each sector; 1 is the course's mean, 0 where not scanned.
    off_mm : (n, SECTORS)
        By which each sector's rim lies off the place's circle.
    weight : (n, SECTORS)
    """

    move_mm: Array
    wider_mm: Array
    sd_mm: Array
    strength: Array
    off_mm: Array
    weight: Array


def sectors(volume: Volume, course_mm: Array) -> Sectors:
    """Sample the image around a course.

    Parameters
    ----------
    volume : Volume
    course_mm : (n, 3) patient LPS mm
        Places about 1 mm apart.
    """
    tangent, across = carried_frames(course_mm)
    count = SECTORS * _RAYS_A_SECTOR
    angle = np.arange(count) * 2 * np.pi / count
    rays = (
        np.cos(angle)[None, :, None] * across[:, None, 0]
        + np.sin(angle)[None, :, None] * across[:, None, 1]
    )
    flat = (-1, 3)
    grey = sampling.lines(
        volume,
        np.broadcast_to(course_mm[:, None], rays.shape).reshape(flat),
        (_STEP_MM * rays).reshape(flat),
        _SAMPLES,
        slab_steps_mm=np.broadcast_to(_SLAB_STEP_MM * tangent[:, None], rays.shape).reshape(flat),
        slab_count=_SLAB_SAMPLES,
    )
    shape = len(course_mm), SECTORS, _RAYS_A_SECTOR, _SAMPLES
    mean = grey.reshape(shape).astype(np.float64).mean(axis=2)
    scanned = np.isfinite(mean).all(axis=2)
    return Sectors(grey=np.where(scanned[..., None], mean, 0.0), scanned=scanned, across=across)


def rim_of(around: Sectors) -> Rim | None:
    """The rim that all sectors show together; None where too little was scanned."""
    seen = around.grey[around.scanned]
    if len(seen) < 3 * SECTORS:
        return None
    profile = gaussian_filter1d(np.median(seen, axis=0), 1.0)
    low, high = (int(mm / _STEP_MM) for mm in _EDGE_MM)
    rise = np.gradient(profile, _STEP_MM)[low:high]
    return Rim(profile=profile, radius_mm=(low + int(np.argmax(rise))) * _STEP_MM)


def find_middle(around: Sectors, rim: Rim, *, wide: bool = False) -> Found:
    """Where the sectors place the middle.

    Parameters
    ----------
    around : Sectors
    rim : Rim
    wide : bool
        The coarser look of the two.
    """
    strength, out = _moved(around, rim, wide=wide)
    angle = (np.arange(SECTORS) + 0.5 - 0.5 / _RAYS_A_SECTOR) * 2 * np.pi / SECTORS
    circle = np.stack([np.cos(angle), np.sin(angle), np.ones(SECTORS)], axis=1)
    speaks = np.where(strength > _LEAST_STRENGTH, np.clip(strength, 0.0, 1.0) ** 2, 0.0)
    weight = speaks
    for _ in range(4):
        precision = np.einsum("nj,ja,jb->nab", weight, circle, circle) + _STEADY
        right = np.einsum("nj,ja,nj->na", weight, circle, out)
        solved = np.linalg.solve(precision, right[..., None])[..., 0]
        off = out - solved @ circle.T
        heard = np.abs(off[speaks > 0.05])
        scatter = 1.4826 * float(np.median(heard)) if len(heard) else 1.0
        # Cauchy weights: one sector that shows something else does not pull the others.
        weight = speaks / (1.0 + (off / (2.0 * max(scatter, _LEAST_SCATTER_MM))) ** 2)
    variance = (weight * off**2).sum(axis=1) / np.maximum(weight.sum(axis=1), 1e-3)
    pooled = np.convolve(np.pad(variance, 2, mode="edge"), np.ones(5) / 5, "valid")
    covariance = np.linalg.inv(precision) * pooled[:, None, None]
    return Found(
        move_mm=solved[:, :2],
        wider_mm=solved[:, 2],
        sd_mm=np.sqrt(0.5 * (covariance[:, 0, 0] + covariance[:, 1, 1])),
        strength=strength,
        off_mm=off,
        weight=weight,
    )


def _moved(around: Sectors, rim: Rim, *, wide: bool) -> tuple[Array, Array]:
    """Strength of the rim by place and sector, and by how much it lies further out, mm."""
    inwards, outwards = (WIDE_INWARDS_MM, WIDE_OUTWARDS_MM) if wide else (INWARDS_MM, OUTWARDS_MM)
    away = np.arange(_SAMPLES) * _STEP_MM - rim.radius_mm
    counts = np.exp(-0.5 * (away / np.where(away < 0, inwards, outwards)) ** 2)
    slope = np.gradient(rim.profile, _STEP_MM)
    system = np.stack([np.ones(_SAMPLES), rim.profile, -slope], axis=1)
    solver = np.linalg.pinv(system * np.sqrt(counts)[:, None]) * np.sqrt(counts)
    parts = around.grey @ solver.T
    strength = np.where(around.scanned, parts[..., 1], 0.0)
    speaks = strength > _LEAST_STRENGTH
    out = np.where(speaks, parts[..., 2] / np.where(speaks, strength, 1.0), 0.0)
    return strength, np.clip(out, -_MOST_MOVE_MM, _MOST_MOVE_MM)
