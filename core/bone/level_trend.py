"""How the level of cortex changes over a scan: with the bone on its rays, and through the slices.

Two things that a scanner does to the same cortex (Barrett and Keat 2004, RadioGraphics
24:1679-1691): it is darker where the rays that show it cross much bone (`core.bone.bone_paths`),
and scatter and the cone of the beam change it smoothly along the axis of rotation. Both are
fitted to the plates that show their own level, so that it can be carried to those that do not:
without it thin plates read up to 17 % too thick.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from core.geometry import Array

_USUAL_LOSS, _USUAL_LOSS_SD = 0.006, 0.004
"""Share of the contrast that a level loses by a millimetre of cortex on its rays, before the scan
has shown its own. The mass attenuation of cortical bone over the energies of a dental beam (NIST
tables, from memory) falls by about 1 % a millimetre; a beam that has crossed a jaw is harder
already, which makes it less, and scatter makes it more."""

_USUAL_BEND = 0.10
"""Spread of what the level may change from the middle of the slices to their end, as a share."""

_ALIKE = 40.0
"""Places on one plate share their voxels, and its curve: of about forty one counts."""

_FAR_OFF = 4.0
_LEAST_SCATTER = 0.003
_SHORTEST_MM = 4.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LevelTrend:
    """Change of the level with path and height.

    Parameters
    ----------
    through : (3,)
        Unit direction through the slices.
    middle_mm, half_mm : float
        Heights that the trend was learnt on; beyond them it goes on as at their end.
    gains : (3,)
        Grey values by mm of cortex on the rays, and by height and its square (of half heights).
    covariance : (3, 3)
    """

    through: Array
    middle_mm: float
    half_mm: float
    gains: Array
    covariance: Array

    def terms(self, points_mm: Array, path_mm: Array) -> Array:
        """(n, 3) what the gains multiply."""
        return _terms(points_mm @ self.through, path_mm, self.middle_mm, self.half_mm)

    def doubt(self, apart: Array) -> Array:
        """(n,) standard deviation of a level that is carried over a difference of terms."""
        variance = np.einsum("ni,ij,nj->n", apart, self.covariance, apart)
        return np.asarray(np.sqrt(np.maximum(variance, 0.0)))


def usual_trend(through: Array, contrast: float) -> LevelTrend:
    """What is usual, where the scan shows nothing."""
    return LevelTrend(
        through=through,
        middle_mm=0.0,
        half_mm=1e6,
        gains=np.array([-_USUAL_LOSS * contrast, 0.0, 0.0]),
        covariance=np.diag([(_USUAL_LOSS_SD * contrast) ** 2, 0.0, 0.0]),
    )


def fitted_trend(
    points_mm: Array,
    path_mm: Array,
    level: Array,
    weight: Array,
    *,
    through: Array,
    contrast: float,
) -> LevelTrend:
    """Least squares through the levels that plates show, with what is usual as prior.

    Where all plates lie on alike paths, or at one height, the scan cannot tell and the prior,
    wide as it is, stays. Levels far off the others have no weight.

    Parameters
    ----------
    points_mm : (n, 3)
    path_mm, level, weight : (n,)
    """
    height = points_mm @ through
    low, high = np.percentile(height, [2.0, 98.0])
    middle_mm, half_mm = float(0.5 * (low + high)), float(max(0.5 * (high - low), _SHORTEST_MM))
    terms = np.column_stack([_terms(height, path_mm, middle_mm, half_mm), np.ones(len(level))])
    usual = np.array([-_USUAL_LOSS * contrast, 0.0, 0.0, 0.0])
    spread = contrast * np.array([_USUAL_LOSS_SD, _USUAL_BEND, _USUAL_BEND])
    prior = np.diag(np.append(1.0 / spread**2, 0.0))
    gains, counted = usual.copy(), weight / weight.max()
    gains[3] = np.median(level - terms[:, :3] @ gains[:3])
    for _ in range(8):
        left = level - terms @ gains
        scatter = max(1.4826 * float(np.median(np.abs(left))), _LEAST_SCATTER * contrast)
        near = np.maximum(1.0 - (left / (_FAR_OFF * scatter)) ** 2, 0.0) ** 2
        w = counted * near / (_ALIKE * scatter**2)
        precision = (terms * w[:, None]).T @ terms + prior
        gains = np.linalg.solve(precision, terms.T @ (w * level) + prior @ usual)
    covariance = np.linalg.inv(precision)
    # More bone on the rays never makes a level brighter.
    gains[0] = min(gains[0], 0.0)
    return LevelTrend(
        through=through,
        middle_mm=middle_mm,
        half_mm=half_mm,
        gains=gains[:3],
        covariance=covariance[:3, :3],
    )


def _terms(height_mm: Array, path_mm: Array, middle_mm: float, half_mm: float) -> Array:
    """(n, 3) path, height in half heights from the middle, no further than those, its square."""
    height = np.clip((height_mm - middle_mm) / half_mm, -1.0, 1.0)
    return np.stack([path_mm, height, height**2], axis=1)
