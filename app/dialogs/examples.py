"""Example pictures of image trouble, computed, not taken from any scan.

A round cross-section of a jaw as a scan would show it, with one trouble each. They are drawings
for comparison and no measure of anything.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from PySide6.QtGui import QImage, QPixmap
from scipy.ndimage import gaussian_filter

SIDE = 132
_SEED = 7

Picture = NDArray[np.float64]


def example(trouble: str) -> Picture:
    """(SIDE, SIDE) shades from 0 to 1 for one of `core.plans.plan.TROUBLES`, or ``none``."""
    plain = _jaw()
    grain = np.random.default_rng(_SEED).normal(0.0, 1.0, plain.shape)
    usual = plain + 0.02 * grain
    drawn = {
        "movement": _moved,
        "streaks": _streaked,
        "noise": _noisy,
        "cut-off field": _cut_off,
        "gap under the stent": _stent_gap,
    }.get(trouble)
    return np.clip(usual if drawn is None else drawn(plain, grain), 0.0, 1.0)


def example_pixmap(trouble: str) -> QPixmap:
    """The example as a picture for a label."""
    shades = np.ascontiguousarray(np.round(example(trouble) * 255).astype(np.uint8))
    image = QImage(shades.data, SIDE, SIDE, SIDE, QImage.Format.Format_Grayscale8)
    return QPixmap.fromImage(image.copy())


def _grid() -> tuple[Picture, Picture]:
    v, u = np.mgrid[0:SIDE, 0:SIDE].astype(np.float64)
    return (u - SIDE / 2) / SIDE, (v - SIDE / 2) / SIDE


def _jaw() -> Picture:
    """Cortex around marrow with a canal, below soft tissue and air."""
    u, v = _grid()
    width = 0.19 + 0.08 * np.clip(v + 0.2, 0.0, 0.5)
    body = np.maximum(np.abs(u) / width, (np.abs(v - 0.12) / 0.34) ** 3)
    tissue = ((u / 0.44) ** 2 + ((v - 0.1) / 0.52) ** 4) < 1
    out = np.where(tissue, 0.30, 0.06)
    out = np.where(body < 1.0, 0.86, out)
    out = np.where(body < 0.78, 0.50, out)
    canal = np.hypot(u, v - 0.28)
    out = np.where(canal < 0.065, 0.72, out)
    out = np.where(canal < 0.045, 0.34, out)
    return np.asarray(gaussian_filter(out, 1.2))


def _moved(plain: Picture, grain: Picture) -> Picture:
    """Edges twice, as after a nod in the middle of the turn."""
    nodded = 0.55 * plain + 0.45 * np.roll(np.roll(plain, 7, axis=1), 4, axis=0)
    return np.asarray(nodded + 0.02 * grain)


def _streaked(plain: Picture, grain: Picture) -> Picture:
    """Bright and dark rays from a dense crown beside the site."""
    u, v = _grid()
    angle, far = np.arctan2(v + 0.34, u - 0.22), np.hypot(v + 0.34, u - 0.22)
    rays = np.sign(np.sin(9 * angle)) * np.abs(np.sin(9 * angle)) ** 0.5
    out = plain + 0.30 * rays * np.exp(-far / 0.45)
    return np.asarray(np.where(far < 0.09, 1.0, out) + 0.02 * grain)


def _noisy(plain: Picture, grain: Picture) -> Picture:
    return np.asarray(plain + 0.22 * gaussian_filter(grain, 0.7) * 1.6)


def _cut_off(plain: Picture, grain: Picture) -> Picture:
    """The round field ends within the jaw; beyond it nothing was scanned."""
    u, v = _grid()
    inside = np.hypot(u + 0.26, v + 0.04) < 0.38
    rim = np.exp(-(((np.hypot(u + 0.26, v + 0.04) - 0.38) / 0.02) ** 2)) * inside * 0.35
    return np.asarray(np.where(inside, plain + rim + 0.02 * grain, 0.0))


def _stent_gap(plain: Picture, grain: Picture) -> Picture:
    """The stent's channel stands above the gum with air below it: it was not seated."""
    u, v = _grid()
    gum_top = -0.40
    out = np.where(v < gum_top, 0.06, plain)
    plate = (v < gum_top + 0.13) & (v > gum_top - 0.06) & (np.abs(u) < 0.36)
    out = np.where(plate, 0.24, out)
    gap = (v >= gum_top + 0.06) & (v < gum_top + 0.13) & (np.abs(u) < 0.36)
    out = np.where(gap, 0.04, out)
    channel = (np.abs(u) < 0.035) & (v < gum_top + 0.06) & (v > gum_top - 0.06)
    out = np.where(channel, 0.95, out)
    return np.asarray(gaussian_filter(out, 0.9) + 0.02 * grain)
