"""Where a root ends along rays from its axis: dentine, the ligament's dark line, bone beyond.

Half way between dentine and bone is no edge of a root: between them lies the periodontal ligament,
0.15 to 0.38 mm of soft tissue (handbooks of oral histology, from memory; 0.2 is taken), often with
the lamina dura behind it, and blur makes one shallow dip of all. So each ray is judged by a model
of the blurred layers::

    grey = dentine | ligament (0.2 mm of soft tissue) | lamina dura (0.35 mm, may be none) | beyond

Dentine is learnt from the root itself, soft tissue and blur from the scan; the levels behind are
hardly known. All levels are integrated out (a Gaussian marginal likelihood for each place of the
edge), so that a place is preferred by what it explains and not by what can be bent to fit it.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from core.geometry import Array

STEP_MM = 0.1
INSIDE_MM, BEYOND_MM = 1.1, 1.3
"""Reach of a ray's profile before and behind the place where its edge is expected."""

LIGAMENT_MM, LAMINA_MM = 0.2, 0.35
_EDGE_STEP_MM = 0.05
_PULP_MM = 0.35
"""As far from where a ray begins a pulp canal may darken it."""

_DENTINE_SD, _LIGAMENT_SD, _BEYOND_SD, _LAMINA_SD, _PULP_SD = 0.08, 0.08, 0.6, 0.35, 0.4
"""Doubt of the levels, as shares of the contrast between soft tissue and dentine."""

_SURE = 8.0
"""Twice the log of how much better a ray is explained with an edge than without one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RootLevels:
    """What a root is told by; grey values of this scan.

    Parameters
    ----------
    dentine, soft : float
    blur_mm : float
        Standard deviation of the blur, voxel included, mm.
    noise : float
        Standard deviation of one independent sample of a profile.
    """

    dentine: float
    soft: float
    blur_mm: float
    noise: float

    @property
    def contrast(self) -> float:
        """Dentine over soft tissue."""
        return self.dentine - self.soft


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RootEdges:
    """One edge a ray.

    Parameters
    ----------
    off_mm : (n,)
        From where it is expected, outwards; NaN where the ray was not scanned.
    sd_mm : (n,)
    sure : (n,)
        Twice the log of how much better than no edge.
    """

    off_mm: Array
    sd_mm: Array
    sure: Array

    @property
    def seen(self) -> NDArray[np.bool_]:
        """(n,) True where the ray shows an edge."""
        return np.asarray(np.isfinite(self.off_mm) & (self.sure > _SURE))


def root_edges(
    profiles: Array, levels: RootLevels, reach_mm: tuple[float, float], inside_mm: float = INSIDE_MM
) -> RootEdges:
    """Find the root's edge on rays that begin inside it.

    Parameters
    ----------
    profiles : (n, k)
        Grey values each `STEP_MM`, NaN where not scanned.
    levels : RootLevels
    reach_mm : (least, most) mm
        Where an edge is looked for.
    inside_mm : float
        How far before the expected edge the profiles begin.
    """
    x = tuple(float(v) for v in np.round(np.arange(profiles.shape[1]) * STEP_MM - inside_mm, 6))
    scale = levels.contrast
    model = _models(
        x, reach_mm, round(levels.blur_mm, 2), round(max(levels.noise / scale, 1e-3), 3)
    )
    whole = np.asarray(np.isfinite(profiles).all(axis=1), dtype=np.bool_)
    y = np.where(whole[:, None], (profiles - levels.soft) / scale, 0.0)
    chance = -0.5 * np.stack([fit.misfit(y) for fit in model.edges], axis=1)
    best = chance.max(axis=1)
    weight = np.exp(chance - best[:, None])
    weight /= weight.sum(axis=1, keepdims=True)
    off = weight @ model.places
    sd = np.sqrt(np.maximum(weight @ model.places**2 - off**2, 0.0))
    with_edge = best + np.log(np.exp(chance - best[:, None]).mean(axis=1))
    without = -0.5 * model.none.misfit(y)
    return RootEdges(
        off_mm=np.where(whole, off, np.nan),
        sd_mm=np.where(whole, np.hypot(sd, 0.5 * _EDGE_STEP_MM), np.nan),
        sure=np.where(whole, 2.0 * (with_edge - without), 0.0),
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Gaussian:
    """A profile's distribution where its levels are integrated out."""

    expected: Array
    inverse: Array
    log_size: float

    @classmethod
    def of(cls, columns: Array, expected: Array, spread: Array, noise: float) -> _Gaussian:
        cover = noise**2 * np.eye(len(columns)) + (columns * spread**2) @ columns.T
        return cls(
            columns @ expected,
            np.asarray(np.linalg.inv(cover), dtype=np.float64),
            float(np.linalg.slogdet(cover)[1]),
        )

    def misfit(self, profiles: Array) -> Array:
        """(n,) minus twice the log likelihood, up to a constant."""
        off = profiles - self.expected
        return np.asarray(np.einsum("ni,ij,nj->n", off, self.inverse, off, optimize=True)) + (
            self.log_size
        )


@dataclass(frozen=True, slots=True, eq=False)
class _Models:
    places: Array
    edges: tuple[_Gaussian, ...]
    none: _Gaussian


@lru_cache(maxsize=16)
def _models(
    x_mm: tuple[float, ...], reach_mm: tuple[float, float], blur_mm: float, noise: float
) -> _Models:
    """Models on a scale where soft tissue is 0 and dentine 1."""
    x = np.array(x_mm)
    places = np.arange(reach_mm[0], reach_mm[1] + 0.5 * _EDGE_STEP_MM, _EDGE_STEP_MM)

    def beyond(edge: float) -> Array:
        return np.asarray(ndtr((x - edge) / blur_mm))

    # Dentine, ligament, what lies beyond, how the lamina stands out from that, and the pulp.
    expected = np.array([1.0, 0.05, 0.5, 0.0, 0.0])
    spread = np.array([_DENTINE_SD, _LIGAMENT_SD, _BEYOND_SD, _LAMINA_SD, _PULP_SD])
    pulp = ndtr((x[0] + _PULP_MM - x) / blur_mm)
    edges = []
    for at in places:
        first, second = beyond(at), beyond(at + LIGAMENT_MM)
        third = beyond(at + LIGAMENT_MM + LAMINA_MM)
        columns = np.stack(
            [1.0 - first, first - second, second, second - third, pulp * (1.0 - first)], axis=1
        )
        edges.append(_Gaussian.of(columns, expected, spread, noise))
    # Without an edge: dentine that may shade off evenly.
    even = np.stack([np.ones_like(x), x / max(-x[0], 1.0), pulp], axis=1)
    none = _Gaussian.of(even, np.array([1.0, 0.0, 0.0]), np.array([0.15, 0.1, _PULP_SD]), noise)
    return _Models(places, tuple(edges), none)
