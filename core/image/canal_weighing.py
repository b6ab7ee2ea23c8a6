"""How large a canal's lumen and outside are, weighed over all that explains the image.

A wall thinner than the blur shows by its mass, thickness times brightness, and hardly by its
thickness. So the best fit is not enough: radius, thickness and blur are gone through on a grid,
each weighed by how well it explains the image with the levels that suit it best (profile
likelihood; the resulting distribution is propagated as in JCGM 101:2008), and mean and standard
deviation of the diameters are taken over the whole grid. The levels are not integrated out: their
wide priors would then count against every wall that is thick enough to be seen.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from core.geometry import Array
from core.image.canal_model import (
    AROUND_MM,
    LEAST_RADIUS_MM,
    MOST_RADIUS_MM,
    Axis,
    Cloud,
    blurred_disc,
    columns,
    level_priors,
)

SECTORS = 12
BIN_MM = 0.1
WALLS_MM = np.array([0.02, *np.arange(0.1, 1.01, 0.1)])
BLURS_MM = np.array([0.12, 0.15, 0.18, 0.21, 0.24, 0.27, 0.3, 0.34, 0.38, 0.43, 0.49, 0.56])
MODEL_SHARE = 0.045
"""What the model itself leaves unexplained, as a share of lumen against surroundings."""

SHAPE_SD_MM = 0.1
"""Of a diameter however sharp the image: steps of the grid, and no canal is a perfect tube."""

HIDDEN_WALL_MM = 0.4
"""Where no wall stands out, one of up to so much may hide (common practice, no source)."""

WALL_SEEN, LEAST_WALL = 3.0, 0.25
"""From which brightness a wall counts as seen: over its standard deviation, and as a share of
lumen against surroundings. Less is a rim of denser spongy bone."""

_RADII_MM = np.arange(-0.4, 0.401, 0.05)
_LAGS, _LEAST_ALIKE = 6, 3.0
_WALL = 9
_MOST_AT_THE_END = 0.2


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Weighed:
    """What the image says of a canal across an axis.

    Parameters
    ----------
    outside_mm, outside_sd_mm, lumen_mm, lumen_sd_mm : float
        Diameters: mean and standard deviation over all that explains the image.
    wall_seen : bool
        Whether a wall stands out from its surroundings. Where none does, one that is as bright as
        they are may hide, up to `HIDDEN_WALL_MM`.
    scatter_mm : float
        How far the edge lies off the circle, sector by sector (robust standard deviation).
    clear : float
        Share of the sectors in which the lumen's edge stands out.
    uneven : float
        What the model leaves unexplained, as a share of lumen against surroundings.
    blur_mm : float
        Standard deviation of the blur.
    within : bool
        False where the image would rather have a radius beyond those that were tried.
    """

    outside_mm: float
    outside_sd_mm: float
    lumen_mm: float
    lumen_sd_mm: float
    wall_seen: bool
    scatter_mm: float
    clear: float
    uneven: float
    blur_mm: float
    within: bool


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Cells:
    """Means of the grey values by sector and distance."""

    r: Array
    turn: Array
    sector: NDArray[np.intp]
    mean: Array
    count: Array
    noise: float


def weigh(cloud: Cloud, axis: Axis) -> Weighed | None:
    """Weigh lumen and wall about an axis; None where the lumen is no darker than its rim."""
    cells = _cells(cloud, axis)
    inside, rim = cells.r < 0.6 * axis.radius_mm, cells.r > axis.radius_mm + 0.2
    if not inside.any() or not rim.any():
        return None
    contrast = float(np.average(cells.mean[rim]) - np.average(cells.mean[inside]))
    if not contrast > 0:
        return None
    grid = _Grid.about(cells, axis, contrast)
    # Once with the noise of single voxels, to see what is left over; then with that as it is.
    first = grid.weights(cells.noise**2 / cells.count)
    left = cells.mean - grid.explained(first)
    uneven = max(float(np.mean(left**2 - cells.noise**2 / cells.count)), 0.0)
    uneven += (MODEL_SHARE * contrast) ** 2
    variance = cells.noise**2 / cells.count + uneven
    variance = variance * max(_alike(left / np.sqrt(variance), cells.sector), _LEAST_ALIKE)
    chances = grid.weights(variance)
    level, level_sd = grid.wall_level(chances, variance)
    seen = level >= max(WALL_SEEN * level_sd, LEAST_WALL * contrast)
    if not seen:
        chances = chances * (grid.wall <= HIDDEN_WALL_MM + 1e-9)
        chances = chances / chances.sum()
    a, w = grid.radius, grid.wall
    lumen, outside = 2 * float(chances @ a), 2 * float(chances @ (a + w))
    best = int(np.argmax(chances))
    scatter, clear = grid.by_sector(best, variance, contrast)
    return Weighed(
        outside_mm=outside,
        outside_sd_mm=float(np.sqrt(chances @ (2 * (a + w) - outside) ** 2 + SHAPE_SD_MM**2)),
        lumen_mm=lumen,
        lumen_sd_mm=float(np.sqrt(chances @ (2 * a - lumen) ** 2 + (SHAPE_SD_MM / 2) ** 2)),
        wall_seen=seen,
        scatter_mm=scatter,
        clear=clear,
        uneven=float(np.sqrt(uneven)) / contrast,
        blur_mm=float(chances @ grid.blur),
        within=float(chances[(a == a.min()) | (a == a.max())].sum()) < _MOST_AT_THE_END,
    )


def _cells(cloud: Cloud, axis: Axis) -> _Cells:
    r, turn = axis.polar(cloud)
    bins = int(np.ceil((axis.radius_mm + AROUND_MM) / BIN_MM))
    sector = np.floor((turn + np.pi) / (2 * np.pi) * SECTORS).astype(int) % SECTORS
    ring = np.floor(r / BIN_MM).astype(int)
    kept = ring < bins
    cell, grey = sector[kept] * bins + ring[kept], cloud.grey[kept]
    size = SECTORS * bins
    count = np.bincount(cell, minlength=size)
    there = count > 0
    number = count[there].astype(np.float64)
    mean = np.bincount(cell, weights=grey, minlength=size)[there] / number
    square = np.bincount(cell, weights=grey**2, minlength=size)[there] / number
    several = number > 1
    inner = (square - mean**2)[several] * number[several] / (number[several] - 1)
    # Half of the cells lie on a slope, which is no noise: the median passes them over.
    noise = float(np.sqrt(max(np.median(inner), 1e-6))) if several.any() else 1.0
    return _Cells(
        r=np.bincount(cell, weights=r[kept], minlength=size)[there] / number,
        turn=((np.repeat(np.arange(SECTORS), bins) + 0.5) / SECTORS * 2 * np.pi - np.pi)[there],
        sector=np.repeat(np.arange(SECTORS), bins)[there],
        mean=mean,
        count=number,
        noise=noise,
    )


def _alike(left: Array, sector: NDArray[np.intp]) -> float:
    """How many neighbouring cells of a sector err as one: 1 + 2 x their correlations."""
    total = 1.0
    variance = float(np.mean(left**2))
    for lag in range(1, _LAGS + 1):
        same = sector[lag:] == sector[:-lag]
        correlation = float(np.mean((left[lag:] * left[:-lag])[same])) / max(variance, 1e-12)
        if correlation <= 0:
            break
        total += 2 * correlation
    return total


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Grid:
    """All radii, walls and blurs, and the model's columns for each, (g, n, 16)."""

    cells: _Cells
    radius: Array
    wall: Array
    blur: Array
    system: Array
    expected: Array
    spread: Array

    @classmethod
    def about(cls, cells: _Cells, axis: Axis, contrast: float) -> _Grid:
        radii = axis.radius_mm + _RADII_MM
        radii = radii[(radii >= LEAST_RADIUS_MM) & (radii <= MOST_RADIUS_MM)]
        blur, radius, wall = (
            g.ravel() for g in np.meshgrid(BLURS_MM, radii, WALLS_MM, indexing="ij")
        )
        discs: dict[tuple[float, float], Array] = {}

        def disc(size: float, sigma: float) -> Array:
            key = (round(size, 4), sigma)
            if key not in discs:
                discs[key] = blurred_disc(cells.r, size, sigma).astype(np.float32)
            return discs[key]

        inner = np.stack([disc(a, s) for a, s in zip(radius, blur, strict=True)])
        outer = np.stack([disc(a + w, s) for a, w, s in zip(radius, wall, blur, strict=True)])
        beyond = np.clip(cells.r - radius[:, None], 0.0, None).astype(np.float32)
        expected, spread = level_priors(contrast)
        return cls(
            cells=cells,
            radius=radius,
            wall=wall,
            blur=blur,
            system=columns(inner, outer, beyond, cells.turn.astype(np.float32)),
            expected=expected,
            spread=spread,
        )

    @property
    def _wanted(self) -> Array:
        """Cells counted from their mean, so that the free levels need no prior mean."""
        return np.asarray(self.cells.mean - self.cells.mean.mean())

    def weights(self, variance: Array) -> Array:
        """Chance of each point of the grid, (g,), sum 1."""
        scale = np.sqrt(variance)
        scaled = (self.system / scale[:, None]).astype(np.float32)
        prior = 1 / self.spread**2
        precision = (scaled.transpose(0, 2, 1) @ scaled).astype(np.float64) + np.diag(prior)
        right = np.einsum("gnc,n->gc", scaled, self._wanted / scale) + prior * self.expected
        levels = np.linalg.solve(precision, right[:, :, None])[:, :, 0]
        gain = 0.5 * np.einsum("gc,gc->g", right, levels)
        # The grid's steps are not even: each point stands for the stretch around it.
        step = np.log(_stretch(WALLS_MM)[np.searchsorted(WALLS_MM, self.wall - 1e-9)])
        step += np.log(_stretch(BLURS_MM)[np.searchsorted(BLURS_MM, self.blur - 1e-9)])
        chances = np.exp(gain + step - (gain + step).max())
        return np.asarray(chances / chances.sum())

    def explained(self, chances: Array) -> Array:
        """Grey values of the cells by the most likely point of the grid."""
        return self._at(int(np.argmax(chances)), self.cells.noise**2 / self.cells.count)

    def _at(self, index: int, variance: Array) -> Array:
        """What one point of the grid explains of the cells."""
        system = self.system[index].astype(np.float64)
        levels, _ = _solved(system, self._wanted, variance, self.expected, self.spread)
        return np.asarray(self.cells.mean.mean() + system @ levels)

    def wall_level(self, chances: Array, variance: Array) -> tuple[float, float]:
        """Brightness over its surroundings of a wall 0.4 mm thick by the image alone, and its SD.

        Of one thickness, so that a thin wall's need not be told from its brightness.
        """
        index = int(np.argmax(np.where(np.isclose(self.wall, HIDDEN_WALL_MM), chances, -1.0)))
        free = self.spread.copy()
        free[_WALL] = free[0]
        system = self.system[index].astype(np.float64)
        levels, covariance = _solved(system, self._wanted, variance, np.zeros(len(free)), free)
        return float(levels[_WALL]), float(np.sqrt(covariance[_WALL, _WALL]))

    def by_sector(self, index: int, variance: Array, contrast: float) -> tuple[float, float]:
        """Robust scatter of the edge off the circle, mm, and share of sectors where it is clear."""
        explained = self._at(index, variance)
        cells, a = self.cells, float(self.radius[index])
        offs, clear = [], 0
        for n in range(SECTORS):
            mine = cells.sector == n
            r, left = cells.r[mine], (cells.mean - explained)[mine]
            order = np.argsort(r)
            slope = np.gradient(explained[mine][order], r[order])
            near = np.abs(r[order] - a) < 0.5
            strength = float((slope[near] ** 2).sum())
            rise = float(slope[near].max()) if near.any() else 0.0
            shift = -float((left[order][near] * slope[near]).sum()) / max(strength, 1e-12)
            offs.append(shift)
            inside, rim = r < a - 0.3, (r > a) & (r < a + 0.7)
            if inside.any() and rim.any():
                step = float(cells.mean[mine][rim].mean() - cells.mean[mine][inside].mean())
                clear += step > 0.4 * contrast and rise > 0
        scatter = 1.4826 * float(np.median(np.abs(np.array(offs) - np.median(offs))))
        return scatter, clear / SECTORS


def _stretch(places: Array) -> Array:
    edges = np.concatenate([[places[0]], (places[1:] + places[:-1]) / 2, [places[-1]]])
    return np.asarray(np.diff(edges))


def _solved(
    system: Array, wanted: Array, variance: Array, expected: Array, spread: Array
) -> tuple[Array, Array]:
    """Levels and their covariance by weighted least squares with normal priors."""
    scaled = system / np.sqrt(variance)[:, None]
    prior = 1 / spread**2
    covariance = np.linalg.inv(scaled.T @ scaled + np.diag(prior))
    levels = covariance @ (scaled.T @ (wanted / np.sqrt(variance)) + prior * expected)
    return levels, np.asarray(covariance, dtype=np.float64)
