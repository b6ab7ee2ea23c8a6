"""Where a root begins to be looked for: dentine's level, and a circle around the click."""

from __future__ import annotations

import math

import numpy as np
from scipy.ndimage import gaussian_filter, map_coordinates

from core.bone.bone_levels import BoneLevels
from core.bone.root_cone import LAYERS_MM, RootCone
from core.bone.root_edges import STEP_MM, RootLevels
from core.geometry import Array, any_across
from core.image import sampling
from core.image.volume import Volume
from core.measurement import Note

MOST_RADIUS_MM = 4.5
_SEEK_MM, _PITCH_MM = 2.4, 0.2


def root_start(
    volume: Volume, levels: BoneLevels, click: Array, apical: Array
) -> tuple[RootLevels, RootCone] | Note:
    """Dentine's level, and the circle around the click that is darker all round than inside.

    Parameters
    ----------
    volume : Volume
    levels : BoneLevels
    click : (3,) patient LPS mm
    apical : (3,)
        About towards the apex, unit.

    Returns
    -------
    (RootLevels, RootCone) or Note
        ``root-not-scanned``, ``root-not-found``.
    """
    one = any_across(apical)
    two = np.cross(apical, one)
    reach = _SEEK_MM + MOST_RADIUS_MM + 0.6
    u = np.arange(-reach, reach + 1e-9, _PITCH_MM)
    u -= u.mean()
    flat = u[:, None, None] * one + u[None, :, None] * two
    layers = [-0.6, -0.3, 0.0, 0.3, 0.6]
    picture = np.mean(
        [
            sampling.at_points(volume, (click + layer * apical + flat).reshape(-1, 3))
            for layer in layers
        ],
        axis=0,
    ).reshape(len(u), len(u))
    near = np.hypot(*np.meshgrid(u, u, indexing="ij")) < 0.7
    if not np.isfinite(picture[near]).all():
        return Note("root-not-scanned")
    dentine = float(np.percentile(picture[near], 70))
    contrast = dentine - levels.soft
    if contrast < 0.5 * (levels.cortical - levels.soft):
        return Note("root-not-found")
    smooth = gaussian_filter(np.nan_to_num(picture, nan=levels.soft), 0.7)
    found = _circle(smooth, u, dentine, levels.soft)
    if found is None:
        return Note("root-not-found")
    (a, b), radius = found
    variance = max(levels.blur.variance_mm2, 0.0) + float(np.mean(volume.voxel_mm**2)) / 12.0
    samples = max(float(volume.voxel_mm.min()) / STEP_MM, 1.0)
    # Bone's texture is no noise of the scan, and is as large.
    noise = math.hypot(levels.noise_sd / math.sqrt(len(LAYERS_MM)), 0.04 * contrast)
    known = RootLevels(
        dentine=dentine,
        soft=levels.soft,
        blur_mm=max(math.sqrt(variance), 0.12),
        noise=noise * math.sqrt(samples),
    )
    origin = click + a * one + b * two
    return known, RootCone(origin=origin, axis=apical, one=one, radius=radius, taper=-0.05)


def _circle(
    smooth: Array, u: Array, dentine: float, soft: float
) -> tuple[tuple[float, float], float] | None:
    """Middle and radius of the best circle in a picture across the root, around the click."""
    turn = 2.0 * np.pi * np.arange(16) / 16
    shift = np.arange(-_SEEK_MM, _SEEK_MM + 1e-9, 0.3)
    radii = np.arange(0.8, MOST_RADIUS_MM + 1e-9, 0.2)
    a, b, r = (g.ravel() for g in np.meshgrid(shift, shift, radii, indexing="ij"))
    holds = np.hypot(a, b) < np.maximum(r - 0.1, 0.4)
    a, b, r = a[holds], b[holds], r[holds]

    def at(away: Array) -> Array:
        rows = a[:, None] + away[:, None] * np.cos(turn)
        cols = b[:, None] + away[:, None] * np.sin(turn)
        where = (np.stack([rows, cols]) - u[0]) / _PITCH_MM
        return np.asarray(map_coordinates(smooth, where, order=1, mode="nearest"))

    # Nothing dark within: beyond the lamina dura another circle would fit.
    rings = [at(np.maximum(r - within, 0.2)) for within in (0.4, 0.6, 0.8, 1.0)]
    inside = np.minimum(np.minimum.reduce(rings), dentine)
    edge = at(r + 0.12)
    drop = (inside - edge) / (dentine - soft)
    dentine_share = (dentine - at(np.maximum(0.5 * r, 0.2))) / (dentine - soft)
    score = np.percentile(drop, 25, axis=1) + 0.5 * drop.mean(axis=1)
    score -= 0.5 * np.clip(np.percentile(dentine_share, 75, axis=1), 0.0, 1.0)
    # Circles around the click are likelier than ones that hardly hold it.
    score -= 0.03 * np.hypot(a, b) / r
    best = int(np.argmax(score))
    if np.percentile(drop[best], 25) < 0.04:
        return None
    return (float(a[best]), float(b[best])), float(r[best])
