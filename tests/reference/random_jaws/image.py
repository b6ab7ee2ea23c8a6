"""A random jaw as a scan: coverage of cells, blur, noise, the scanner's filter, stored values."""

from __future__ import annotations

import numpy as np
from scipy.ndimage import gaussian_filter, median_filter

from core.image.volume import Volume
from tests.reference.random_jaws import kernels as k
from tests.reference.random_jaws.draw import SCALES, Choices
from tests.reference.random_jaws.shape import Shape

_COARSEST_MM = 0.25
_TILE = 96


def scan_of(shape: Shape, c: Choices) -> Volume:
    """The scan of a case, a piece of the jaw around its site, turned against the patient's axes."""
    rng = np.random.default_rng([c.seed, 3])
    parts = 1 if c.voxel <= _COARSEST_MM else 2
    cell = c.voxel / parts
    size = np.array([c.across, c.along, c.height])
    counts = np.rint(size / c.voxel).astype(int)
    axes = _axes(rng, shape)
    middle = shape.place(0.0, shape.v[k.TILT] * 8.0, _middle_height(shape, c))
    if c.fault == "field cut":
        middle += axes[0] * rng.choice([-1.0, 1.0]) * rng.uniform(8.0, 13.0)
    first = middle - axes.T @ (0.5 * c.voxel * (counts - 1))
    fine_first = first - axes.T @ np.full(3, 0.5 * (c.voxel - cell))
    cells = tuple(int(n) for n in (counts * parts)[::-1])
    grey, marrow = k.paint(
        *shape.tables, shape.teeth, shape.grey, cells, fine_first, axes * cell, cell
    )
    if c.fault == "metal":
        _add_metal(grey, rng)
    grey = gaussian_filter(grey, c.blur_fwhm / 2.3548 / cell, truncate=3.5)
    grey, marrow = (_coarser(a, parts) for a in (grey, marrow))
    contrast = float(shape.grey[k.CORTEX] - shape.grey[k.SOFT])
    grey += marrow * _texture(rng, grey.shape, c, shape)
    if c.fault == "metal":
        grey += _streaks(rng, grey.shape, contrast)
    grey += _noise(rng, grey.shape, c)
    grey = _filtered(rng, grey, c)
    stored = _stored(rng, grey, c, shape)
    affine = np.eye(4)
    affine[:3, :3] = (shape.turn @ axes.T) * c.voxel
    affine[:3, 3] = shape.patient(first)[0]
    return Volume(voxels=stored, mm_from_ijk=affine, made_up=np.zeros(len(stored), bool))


def _middle_height(shape, c):
    top = shape.row(k.TOP, 0.0)
    # 9 mm over the crest are seen, the rest lies below it.
    return top + 9.0 - 0.5 * c.height


def _axes(rng, shape):
    """Rows: unit i (outwards), j (along the arch), k (up) in the jaw frame, turned a little."""
    angle = shape.v[k.SITE] / shape.v[k.RADIUS] + np.radians(rng.uniform(-20.0, 20.0))
    out = np.array([np.sin(angle), -np.cos(angle), 0.0])
    along = np.array([np.cos(angle), np.sin(angle), 0.0])
    axes = np.stack([out, along, np.array([0.0, 0.0, 1.0])])
    tilt = np.radians(rng.uniform(-6.0, 6.0))
    turn = np.array([[1, 0, 0], [0, np.cos(tilt), -np.sin(tilt)], [0, np.sin(tilt), np.cos(tilt)]])
    return axes @ turn.T


def _coarser(cells, parts):
    if parts == 1:
        return cells
    kk, jj, ii = (n // parts for n in cells.shape)
    return cells.reshape(kk, parts, jj, parts, ii, parts).mean(axis=(1, 3, 5), dtype=np.float32)


def _texture(rng, shape, c, jaw):
    """Trabeculae: grains of 0.5 to 1 mm."""
    strength = {"usual": 0.10, "fatty": 0.05, "sparse": 0.07, "sclerotic": 0.06}[c.marrow]
    strength *= float(jaw.grey[k.CORTEX]) * rng.uniform(0.3, 1.2)
    sigma = rng.uniform(0.3, 0.5) / c.voxel
    out = gaussian_filter(_white(rng), sigma, truncate=3.0, mode="wrap")
    return _tiled(out * np.float32(strength / float(out.std())), shape)


def _noise(rng, shape, c):
    """Noise whose neighbours hang together by a share; its SD is the one drawn."""
    white = _white(rng)
    if c.correlated > 0.1:
        near = gaussian_filter(white, 0.8, truncate=2.5, mode="wrap")
        white = (1.0 - c.correlated) * white + c.correlated * near / float(near.std())
        white /= float(white.std())
    return _tiled(np.float32(c.noise) * white, shape)


def _white(rng):
    """Noise of a tile whose ends meet, so that it can be laid over a scan again and again."""
    return rng.standard_normal((_TILE, _TILE, _TILE), dtype=np.float32)


def _tiled(tile, shape):
    return np.pad(tile, [(0, max(n - _TILE, 0)) for n in shape], mode="wrap")[
        : shape[0], : shape[1], : shape[2]
    ]


def _filtered(rng, grey, c):
    if c.filter == "smoothed":
        return gaussian_filter(grey, rng.uniform(0.15, 0.35) / c.voxel, truncate=3.5)
    if c.filter == "median":
        return median_filter(grey, 3)
    if c.filter == "sharpened":
        soft = gaussian_filter(grey, rng.uniform(0.3, 0.5) / c.voxel, truncate=3.0)
        return grey + np.float32(rng.uniform(0.3, 0.9)) * (grey - soft)
    return grey


def _stored(rng, grey, c, shape):
    if c.fault == "clipped":
        low, high = shape.grey[k.SOFT], shape.grey[k.CORTEX]
        grey = np.minimum(grey, low + rng.uniform(0.15, 0.6) * (high - low))
    factor, offset, least, most = SCALES[c.scale]
    stored = factor * grey + offset
    if c.fault == "8 bit":
        bottom, top = np.percentile(stored, [0.5, 99.8])
        stored = np.clip(np.rint((stored - bottom) / (top - bottom) * 255.0), 0, 255)
        return stored.astype(np.int16)
    return np.clip(np.rint(stored), least, most).astype(np.int16)


def _add_metal(cells, rng):
    """A filling over the crest, to one side along the arch."""
    kk, jj, ii = cells.shape
    at = 0.9 * kk, jj * rng.choice([0.15, 0.85]), 0.5 * ii
    k_, j_, i_ = np.ogrid[:kk, :jj, :ii]
    r = 0.06 * ii
    cells[(k_ - at[0]) ** 2 + (j_ - at[1]) ** 2 + (i_ - at[2]) ** 2 < r * r] = 9000.0


def _streaks(rng, shape, contrast):
    """Dark and bright fans from a metal, fading over the height."""
    kk, jj, ii = shape
    j, i = np.mgrid[:jj, :ii]
    at = (0.15 if rng.random() < 0.5 else 0.85) * jj, 0.5 * ii
    fan = np.cos(6.0 * np.arctan2(j - at[0], i - at[1]) + rng.uniform(0, 6.0))
    away = np.hypot(j - at[0], i - at[1]) / ii
    fade = np.exp(-(((np.arange(kk) / kk - 0.85) / 0.25) ** 2))
    flat = 0.25 * contrast * fan / (1.0 + 4.0 * away)
    return (fade[:, None, None] * flat).astype(np.float32)
