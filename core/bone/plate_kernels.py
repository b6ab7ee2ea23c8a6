"""The compiled kernel of `core.bone.plate_fit`: two blurred steps fitted to many profiles.

Everything it calls stands in this file: numba's cache does not see changes in another one.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from core import kernel_cache
from core.geometry import Array

kernel_cache.prepare()

from numba import njit  # noqa: E402  the cache folder must be named first

EDGE, WIDTH, OUTSIDE, LEVEL, INSIDE, SIGMA = range(6)
SD_EDGE, SD_INNER, SD_WIDTH, MISFIT, SINGLE, OK = range(6, 12)
COLUMNS = 12

_NARROWEST_MM = 0.02
_TEXTURE_MM = 1.0
"""Length along which misfit other than noise counts as one error."""

_ROOT_HALF = 1.0 / math.sqrt(2.0)
_ROOT_TWO_PI = math.sqrt(2.0 * math.pi)
_OUTER: dict[str, Any] = {"cache": True, "nogil": True, "no_cfunc_wrapper": True}
_INNER: dict[str, Any] = {"no_cpython_wrapper": True, "no_cfunc_wrapper": True}
"""What only compiled code calls needs no door that Python would enter by."""


@njit(**_INNER)
def _copy(source: Any, target: Any) -> None:
    """The six parameters; a slice set to an array would compile its error messages as well."""
    for i in range(6):
        target[i] = source[i]


@njit(**_INNER)
def _solve(a: Any, b: Any, n: int) -> bool:
    """Solve a x = b in place (symmetric positive a), x in b; False where a is singular."""
    for i in range(n):
        pivot = a[i, i]
        if not pivot > 1e-12:
            return False
        for k in range(i + 1, n):
            f = a[k, i] / pivot
            if f != 0.0:
                for j in range(i, n):
                    a[k, j] -= f * a[i, j]
                b[k] -= f * b[i]
    for i in range(n - 1, -1, -1):
        total = b[i]
        for j in range(i + 1, n):
            total -= a[i, j] * b[j]
        b[i] = total / a[i, i]
    return True


@njit(**_INNER)
def _step(u: float) -> Any:
    """Normal distribution function and density."""
    if u < -5.0:
        return 0.0, 0.0
    if u > 5.0:
        return 1.0, 0.0
    return 0.5 * math.erfc(-u * _ROOT_HALF), math.exp(-0.5 * u * u) / _ROOT_TWO_PI


@njit(**_INNER)
def _row(p: Any, t: float, single: bool, jac: Any) -> float:
    """Model at one place and its derivatives by the six parameters."""
    sigma = p[5]
    u = (t - p[0]) / sigma
    first, bell = _step(u)
    bell /= sigma
    rise = p[3] - p[2]
    jac[0] = -rise * bell
    jac[5] = -rise * bell * u
    jac[2] = 1.0 - first
    if single:
        jac[1] = 0.0
        jac[3] = first
        jac[4] = 0.0
        return float(p[2] + rise * first)
    v = (t - p[0] - p[1]) / sigma
    second, bell2 = _step(v)
    bell2 /= sigma
    fall = p[4] - p[3]
    jac[0] -= fall * bell2
    jac[1] = -fall * bell2
    jac[5] -= fall * bell2 * v
    jac[3] = first - second
    jac[4] = second
    return float(p[2] + rise * first + fall * second)


@njit(**_INNER)
def _normal(
    p: Any,
    values: Any,
    low: int,
    high: int,
    step: float,
    weight: float,
    prior: Any,
    single: bool,
    h: Any,
    g: Any,
    jac: Any,
) -> float:
    """Normal matrix and gradient of the weighted squares with priors; returns the cost."""
    cost = 0.0
    for i in range(6):
        g[i] = 0.0
        for j in range(6):
            h[i, j] = 0.0
    for k in range(low, high + 1):
        r = values[k] - _row(p, k * step, single, jac)
        cost += weight * r * r
        for i in range(6):
            g[i] += weight * jac[i] * r
            for j in range(i, 6):
                h[i, j] += weight * jac[i] * jac[j]
    for i in range(6):
        for j in range(i):
            h[i, j] = h[j, i]
        r = prior[0, i] - p[i]
        cost += prior[1, i] * r * r
        g[i] += prior[1, i] * r
        h[i, i] += prior[1, i]
    return cost


@njit(**_INNER)
def _descend(
    p: Any,
    values: Any,
    low: int,
    high: int,
    step: float,
    weight: float,
    prior: Any,
    single: bool,
    free: Any,
    sigma_range: Any,
) -> Any:
    """Levenberg-Marquardt from p, in place; returns the cost."""
    h, g, jac = np.empty((6, 6)), np.empty(6), np.empty(6)
    h2, g2 = np.empty((6, 6)), np.empty(6)
    a, b, trial = np.empty((6, 6)), np.empty(6), np.empty(6)
    damping = 1e-2
    cost = _normal(p, values, low, high, step, weight, prior, single, h, g, jac)
    for _ in range(30):
        for i in range(6):
            for j in range(6):
                a[i, j] = h[i, j] if free[i] * free[j] > 0.0 else 0.0
            a[i, i] = h[i, i] * (1.0 + damping) + 1e-9 if free[i] > 0.0 else 1.0
            b[i] = g[i] if free[i] > 0.0 else 0.0
        if not _solve(a, b, 6):
            break
        for i in range(6):
            trial[i] = p[i] + b[i]
        trial[0] = p[0] + min(max(b[0], -0.5), 0.5)
        trial[1] = max(p[1] + min(max(b[1], -0.6), 0.6), _NARROWEST_MM)
        trial[5] = min(max(trial[5], sigma_range[0]), sigma_range[1])
        new = _normal(trial, values, low, high, step, weight, prior, single, h2, g2, jac)
        if new <= cost:
            small = abs(trial[0] - p[0]) + abs(trial[1] - p[1]) < 1e-3
            small = small and cost - new < 1e-3 * cost + 1e-9
            _copy(trial, p)
            _copy(g2, g)
            for i in range(6):
                _copy(h2[i], h[i])
            cost = new
            damping = max(damping * 0.2, 1e-7)
            if small:
                break
        else:
            damping *= 8.0
            if damping > 1e8:
                break
    return cost


@njit(**_INNER)
def _mean(values: Any, low: int, high: int) -> float:
    total = 0.0
    for k in range(low, high + 1):
        total += values[k]
    return total / (high - low + 1)


@njit(**_INNER)
def _grow(values: Any, first: int, last: int, tolerance: float) -> int:
    """Furthest sample from `first` towards `last` before the level leaves its mean so far."""
    mean, count, k = values[first], 1, first
    way = 1 if first < last else -1
    while k != last:
        following = values[k + way]
        if math.isnan(following) or (count >= 3 and abs(following - mean) > tolerance):
            break
        k += way
        mean += (following - mean) / (count + 1)
        count += 1
    return k


@njit(**_INNER)
def _begin(
    values: Any, start: int, step: float, sigma: float, level: float, contrast: float, out: Any
) -> bool:
    """First guess of both edges and the three levels; out[10] is 1 where no inner edge shows."""
    count = values.size
    gap, far = max(1, round(2.0 * sigma / step)), max(2, round((2.0 * sigma + 0.5) / step))
    if start - far < 0 or start + gap >= count:
        return False
    for k in range(start - far, start + gap):
        if math.isnan(values[k]):
            return False
    outside = _mean(values, start - far, start - gap)
    # The first summit behind the start; a small dip does not end the climb.
    peak, k = start, start
    while k + 1 < count and k - peak < round(0.5 / step) and k - start < round(2.5 / step):
        k += 1
        if math.isnan(values[k]):
            break
        if values[k] > values[peak]:
            peak = k
    top = values[peak]
    if top - outside < 0.15 * contrast:
        return False
    half = 0.5 * (outside + min(top, level))
    k = peak
    while k > start - far and values[k] > half:
        k -= 1
    rise = values[k + 1] - values[k]
    edge = (k + min(max((half - values[k]) / rise if rise > 0 else 0.5, 0.0), 1.0)) * step
    # The inner edge: half way down to what lies 2 to 3 blurs further in.
    highest, inner, inside = top, -1.0, 0.0
    for k in range(peak + 1, count - far):
        if math.isnan(values[k + far]):
            break
        highest = max(highest, values[k])
        inside = _mean(values, k + gap, k + far)
        if highest - inside > 0.2 * contrast and values[k] < 0.5 * (highest + inside):
            inner = k * step
            break
    if inner < 0.0 and top < level - 0.1 * contrast and peak + far < count:
        # A summit that does not reach the level of cortex: a thin plate with bone behind it.
        inside = _mean(values, peak + gap, peak + far)
        if not math.isnan(inside):
            inner = max(peak * step, edge + 0.15)
    out[EDGE] = edge
    out[MISFIT] = top
    out[OUTSIDE] = outside
    out[LEVEL] = level
    out[SIGMA] = sigma
    out[SINGLE] = 1.0 if inner < 0.0 else 0.0
    out[WIDTH] = max(inner - edge, 0.15) if inner >= 0.0 else 20.0
    out[INSIDE] = inside if inner >= 0.0 else level
    return True


@njit(**_INNER)
def _errors(
    p: Any,
    values: Any,
    low: int,
    high: int,
    step: float,
    weight: float,
    prior: Any,
    single: bool,
    free: Any,
    sigma_sd: float,
    out: Any,
) -> None:
    """Standard errors of both edges and the width: fit and level, and the doubt of sigma."""
    h, g, jac = np.empty((6, 6)), np.empty(6), np.empty(6)
    _normal(p, values, low, high, step, weight, prior, single, h, g, jac)
    total = 0.0
    for k in range(low, high + 1):
        r = values[k] - _row(p, k * step, single, jac)
        total += r * r
    n = high - low + 1
    out[MISFIT] = math.sqrt(total / max(n - 5, 1))
    a, b = np.empty((6, 6)), np.empty(6)
    for which in range(3):
        # 0: outer edge; 1: inner edge = outer + width; 2: width.
        for i in range(6):
            for j in range(6):
                a[i, j] = h[i, j] if free[i] * free[j] > 0.0 else 0.0
            if not free[i] > 0.0:
                a[i, i] = 1.0
            a[i, i] += 1e-12
            b[i] = 0.0
        if which != 2:
            b[0] = 1.0
        if which != 0 and free[1] > 0.0:
            b[1] = 1.0
        c0, c1 = b[0], b[1]
        if not _solve(a, b, 6):
            out[SD_EDGE + which] = np.inf
            continue
        by_sigma = 0.0
        if not free[5] > 0.0:
            for i in range(5):
                if free[i] > 0.0:
                    by_sigma -= b[i] * h[i, 5]
        variance = c0 * b[0] + c1 * b[1] + (by_sigma * sigma_sd) ** 2
        out[SD_EDGE + which] = math.sqrt(variance)


@njit(**_INNER)
def _fit_one(
    values: Any,
    start: int,
    step: float,
    sigma: float,
    sigma_sd: float,
    level: float,
    level_sd: float,
    contrast: float,
    noise: float,
    correlated: float,
    free_sigma: bool,
    out: Any,
) -> None:
    for i in range(COLUMNS):
        out[i] = np.nan
    out[OK] = 0.0
    begin = np.empty(COLUMNS)
    if not _begin(values, start, step, sigma, level, contrast, begin):
        return
    single = begin[SINGLE] > 0.0
    last = values.size - 1
    near, far = 2.2 * sigma, 3.0 * sigma + 0.4
    tolerance = 0.12 * contrast + 2.0 * noise
    end = begin[EDGE] + (begin[WIDTH] if not single else 1.6)
    first_low = math.floor((begin[EDGE] - near) / step)
    first_high = math.ceil((end + (near if not single else 0.0)) / step)
    if first_low < 0 or first_high > last or math.isnan(_mean(values, first_low, first_high)):
        return
    low = _grow(values, first_low, max(0, int((begin[EDGE] - far) / step)), tolerance)
    high = first_high
    if not single:
        high = _grow(values, first_high, min(last, int((end + far) / step)), tolerance)
    weight = 1.0 / (noise * noise * correlated)
    prior, free = np.empty((2, 6)), np.empty(6)
    for i in range(6):
        prior[0, i] = prior[1, i] = 0.0
        free[i] = 1.0
    prior[0, LEVEL] = level
    prior[1, LEVEL] = 1.0 / (level_sd * level_sd)
    if not free_sigma:
        free[SIGMA] = 0.0
    if single:
        free[WIDTH] = free[INSIDE] = 0.0
    spread = np.empty(2)
    spread[0] = max(0.3 * sigma, 0.05)
    spread[1] = 4.0 * sigma
    apart = 1.5 * 2.3548
    loose = 1.0 / (0.2 * contrast * 0.2 * contrast)
    low_summit = begin[MISFIT] < level - 0.15 * contrast
    if not single and begin[WIDTH] > 1.2 * apart * sigma and not low_summit:
        # Both edges stand apart: the level is what the profile shows.
        prior[1, LEVEL] = loose
    best, trial = np.empty(6), np.empty(6)
    best_cost = np.inf
    again = not single and (low_summit or begin[WIDTH] < 0.6 * apart * sigma)
    for attempt in range(2 if again else 1):
        _copy(begin, trial)
        if attempt == 1:
            trial[WIDTH] = min(0.35 * begin[WIDTH], 0.8 * sigma)
        cost = _descend(trial, values, low, high, step, weight, prior, single, free, spread)
        if cost < best_cost:
            best_cost = cost
            _copy(trial, best)
    free_level = not single and best[WIDTH] > apart * best[SIGMA]
    if not single and free_level != (prior[1, LEVEL] == loose):
        known = 1.0 / (level_sd * level_sd)
        prior[1, LEVEL] = loose if free_level else known
        _copy(best, trial)
        _descend(trial, values, low, high, step, weight, prior, single, free, spread)
        if free_level and trial[WIDTH] < 0.85 * apart * trial[SIGMA]:
            prior[1, LEVEL] = known
        else:
            _copy(trial, best)
    _errors(best, values, low, high, step, weight, prior, single, free, sigma_sd, out)
    # What the model leaves over beyond noise is texture and shape: it runs on for longer.
    left = max(out[MISFIT] * out[MISFIT] - noise * noise, 0.0)
    scale = math.sqrt(1.0 + left * _TEXTURE_MM / (step * noise * noise * correlated))
    for i in range(SD_EDGE, SD_WIDTH + 1):
        out[i] *= scale
    _copy(best, out)
    out[SINGLE] = begin[SINGLE]
    out[OK] = 1.0


@njit(**_OUTER)
def fit_profiles(
    profiles: Array,
    starts: Any,
    step: float,
    sigma: Array,
    sigma_sd: Array,
    level: Array,
    level_sd: Array,
    contrast: float,
    noise: float,
    correlated: float,
    free_sigma: bool,
    out: Array,
    first: int,
    end: int,
) -> None:
    """Fit (n, count) profiles sampled every `step` mm from outside inwards.

    `starts` (n,) is the sample at which something begins; `sigma` (n,) the blur along each
    profile; `level`, `level_sd` (n,) what is known of the cortical level; `noise` that of one
    sample and `correlated` how many samples count as one. `out` (n, COLUMNS).
    Of all profiles those from `first` to before `end` are fitted: others may be somebody else's
    work.
    """
    for n in range(first, end):
        _fit_one(
            profiles[n],
            starts[n],
            step,
            sigma[n],
            sigma_sd[n],
            level[n],
            level_sd[n],
            contrast,
            noise,
            correlated,
            free_sigma,
            out[n],
        )
