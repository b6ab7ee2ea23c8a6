"""A blurred canal across its axis: lumen, bony wall and what lies around, and its axis in an image.

Model, at distance r from the axis and turn φ about it::

    grey = lumen D(r; a) + around(φ, r) (1 - D(r; a)) + wall(φ) (D(r; a + w) - D(r; a))

a is the lumen's radius, w the thickness of the wall, D(r; R) a disc of radius R blurred by a
Gaussian of standard deviation s: the distribution of a non-central chi-square with two degrees of
freedom (at R²/s², non-centrality r²/s²), which is exact. *around* and *wall* change slowly along
the circumference, so that a wall may be weak or missing on a part of it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import least_squares
from scipy.special import chndtr

from core.geometry import Array

AROUND_MM = 1.8
"""How far beyond the lumen's edge the image is looked at: a wall and its surroundings."""

LEAST_RADIUS_MM, MOST_RADIUS_MM = 0.4, 2.9

_TABLE_MM = 0.05
_VOXELS = 1500


def blurred_disc(r_mm: Array, radius_mm: float, sigma_mm: float) -> Array:
    """Value at distances from the middle of a disc of height 1 blurred by a Gaussian.

    Parameters
    ----------
    r_mm : (n,) mm
    radius_mm : float
        Of the disc, mm.
    sigma_mm : float
        Of the Gaussian, mm.
    """
    grid = np.arange(0.0, float(np.max(r_mm)) + 2 * _TABLE_MM, _TABLE_MM)
    values = chndtr((radius_mm / sigma_mm) ** 2, 2.0, (grid / sigma_mm) ** 2)
    return np.asarray(np.interp(r_mm, grid, values))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cloud:
    """Grey values around a mark.

    Parameters
    ----------
    across_mm : (n, 2)
        Across the assumed direction of the canal, from the mark.
    along_mm : (n,)
    grey : (n,)
    """

    across_mm: Array
    along_mm: Array
    grey: Array


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Axis:
    """Where a canal's axis passes through a cloud.

    Parameters
    ----------
    middle_mm : (2,)
        Across, at the mark's place along.
    slope : (2,)
        Change of the place across by mm along.
    radius_mm : float
        Of the lumen, roughly.
    """

    middle_mm: Array
    slope: Array
    radius_mm: float

    def polar(self, cloud: Cloud) -> tuple[Array, Array]:
        """Distance from the axis, mm, and turn about it."""
        off = cloud.across_mm - self.middle_mm - cloud.along_mm[:, None] * self.slope
        lean = float(np.hypot(*self.slope))
        if lean > 0:
            # A plane that the axis crosses aslant shows it stretched in the direction of the lean.
            way = self.slope / lean
            off = off + (off @ way)[:, None] * (1 / np.hypot(1.0, lean) - 1) * way
        return np.hypot(off[:, 0], off[:, 1]), np.arctan2(off[:, 1], off[:, 0])


def columns(inner: Array, outer: Array, beyond_mm: Array, turn: Array) -> Array:
    """Parts of the model that its levels multiply, (..., n, 16).

    Parameters
    ----------
    inner, outer : (..., n)
        Blurred discs of the lumen and of the wall's outside.
    beyond_mm : (..., n)
        Distance beyond the lumen's edge, 0 inside.
    turn : (n,)
    """
    around, wall = 1.0 - inner, outer - inner
    first = (np.cos(turn), np.sin(turn))
    second = (np.cos(2 * turn), np.sin(2 * turn))
    third = (np.cos(3 * turn), np.sin(3 * turn))
    rising = around * beyond_mm
    parts = [
        inner, around, *(around * c for c in (*first, *second)),
        rising, *(rising * c for c in first),
        wall, *(wall * c for c in (*first, *second, *third)),
    ]  # fmt: skip
    return np.stack(parts, axis=-1)


def level_priors(contrast: float) -> tuple[Array, Array]:
    """Expected levels of `columns` and their standard deviations, (16,) each.

    All relative to how much darker the lumen is than what lies around it, so that they hold on
    any scale of grey values: a wall stands out by about as much again, unevenly (common practice,
    no source). Lumen and surroundings themselves are free.
    """
    spread = [20.0, 20.0, *[0.4] * 4, 0.15, 0.15, 0.15, 1.0, *[0.5] * 6]
    expected = np.zeros(16)
    expected[9] = 1.4
    return contrast * expected, contrast * np.array(spread)


def find_axis(cloud: Cloud, radius_mm: float, middle_mm: Array) -> Axis:
    """Lay a canal's axis through a cloud by least squares over its whole surroundings.

    Parameters
    ----------
    cloud : Cloud
    radius_mm : float
        With which it begins to look, mm.
    middle_mm : (2,) mm
        Across the assumed direction, from the mark: where it begins to look.
    """
    start = Axis(middle_mm=middle_mm, slope=np.zeros(2), radius_mm=radius_mm)
    near = np.flatnonzero(start.polar(cloud)[0] < radius_mm + AROUND_MM)
    # Every so many voxels in a fixed disorder: enough for seven unknowns, and the same each time.
    near = np.random.default_rng(0).permutation(near)[:_VOXELS]
    part = Cloud(
        across_mm=cloud.across_mm[near], along_mm=cloud.along_mm[near], grey=cloud.grey[near]
    )
    middle, spread = float(part.grey.mean()), float(part.grey.std()) + 1e-9
    wanted = (part.grey - middle) / spread
    _, sd = level_priors(1.0)

    def unexplained(p: Array) -> Array:
        axis = Axis(middle_mm=p[:2], slope=p[2:4], radius_mm=float(p[4]))
        r, turn = axis.polar(part)
        inner = blurred_disc(r, p[4], p[6])
        outer = blurred_disc(r, p[4] + p[5], p[6])
        system = columns(inner, outer, np.clip(r - p[4], 0.0, None), turn)
        levels = np.linalg.solve(system.T @ system + np.diag(1 / sd**2), system.T @ wanted)
        return np.asarray(system @ levels - wanted)

    low = np.array([*(middle_mm - 0.8), -0.5, -0.5, LEAST_RADIUS_MM, 0.1, 0.1])
    high = np.array([*(middle_mm + 0.8), 0.5, 0.5, MOST_RADIUS_MM, 1.0, 0.6])
    # From a sharp image and from a blurred one: what explains one can hide the other.
    starts = ((radius_mm, 0.4, 0.25), (radius_mm + 0.2, 0.5, 0.45))
    tried = [
        least_squares(
            unexplained,
            np.clip([*middle_mm, 0.0, 0.0, *start_at], low + 1e-3, high - 1e-3),
            bounds=(low, high),
            diff_step=np.full(7, 1e-3),
            max_nfev=20,
        )
        for start_at in starts
    ]
    found = min(tried, key=lambda result: float(result.cost)).x
    return Axis(middle_mm=found[:2], slope=found[2:4], radius_mm=float(found[4]))
