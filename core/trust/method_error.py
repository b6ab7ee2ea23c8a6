"""Statistics of method error: Dahlberg, Bland-Altman, and intraclass correlation.

Numbers in, numbers out: what was measured, and by whom, is `core.trust.repeatability`'s.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import ArrayLike
from scipy.stats import f as f_distribution
from scipy.stats import t as t_distribution

from core.errors import SoundingError
from core.geometry import Array

Interval: TypeAlias = tuple[float, float]

LIMITS_FACTOR = 1.96
"""95 % of a normal distribution; the paper of 1986 rounds it to 2."""


def dahlberg(first: ArrayLike, second: ArrayLike) -> float:
    """Dahlberg's error of one reading: sqrt(sum d² / 2n) over n pairs of readings.

    Dahlberg 1940, Statistical methods for medical and biological students. A bias between the two
    readings is part of it.

    Raises
    ------
    SoundingError
        ``repeat-one-reading`` where there are fewer than two pairs.
    """
    d = _differences(first, second)
    return math.sqrt(float(d @ d) / (2 * len(d)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Agreement:
    """Bland-Altman agreement of paired readings a and b, in their unit.

    Parameters
    ----------
    pairs : int
    bias, sd : float
        Mean and standard deviation (n - 1) of a - b.
    lower, upper : float
        Limits of agreement, bias ± factor x sd.
    bias_interval, lower_interval, upper_interval : (low, high)
        95 % confidence intervals by Student's t with n - 1 degrees of freedom; standard error of
        a limit sqrt(3 sd² / n).
    """

    pairs: int
    bias: float
    sd: float
    lower: float
    upper: float
    bias_interval: Interval
    lower_interval: Interval
    upper_interval: Interval


def bland_altman(
    first: ArrayLike, second: ArrayLike, *, factor: float = LIMITS_FACTOR
) -> Agreement:
    """Bias and limits of agreement of first - second (Bland, Altman 1986, Lancet 327:307).

    Parameters
    ----------
    first, second : (n,)
    factor : float
        1.96, or 2 as in the paper of 1986.

    Raises
    ------
    SoundingError
        ``repeat-one-reading`` where there are fewer than two pairs.
    """
    d = _differences(first, second)
    n = len(d)
    bias, sd = float(d.mean()), float(d.std(ddof=1))
    t = float(t_distribution.ppf(0.975, n - 1))
    lower, upper = bias - factor * sd, bias + factor * sd
    of_bias, of_limit = t * sd / math.sqrt(n), t * sd * math.sqrt(3.0 / n)
    return Agreement(
        pairs=n,
        bias=bias,
        sd=sd,
        lower=lower,
        upper=upper,
        bias_interval=(bias - of_bias, bias + of_bias),
        lower_interval=(lower - of_limit, lower + of_limit),
        upper_interval=(upper - of_limit, upper + of_limit),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Correlation:
    """An intraclass correlation with its 95 % confidence interval."""

    value: float
    interval: Interval


@dataclass(frozen=True, slots=True, kw_only=True)
class Intraclass:
    """Intraclass correlations of single readings.

    Parameters
    ----------
    icc_2_1, icc_3_1 : Correlation
        Judges drawn at random; these judges alone.
    """

    icc_2_1: Correlation
    icc_3_1: Correlation


def intraclass(table: ArrayLike) -> Intraclass:
    """Intraclass correlations (Shrout, Fleiss 1979, Psychol Bull 86:420).

    Parameters
    ----------
    table : (n, k)
        One row a target, one column a judge or a round.

    Raises
    ------
    SoundingError
        ``repeat-one-reading`` with fewer than two rows or columns; ``repeat-no-spread`` where all
        readings are the same, so that nothing can be told apart.
    """
    x = np.asarray(table, dtype=np.float64)
    if x.ndim != 2 or min(x.shape) < 2:
        raise SoundingError("repeat-one-reading")
    if not np.isfinite(x).all():
        raise ValueError("readings must be finite numbers")
    n, k = x.shape
    rows, columns, grand = x.mean(axis=1), x.mean(axis=0), float(x.mean())
    of_rows = k * float(((rows - grand) ** 2).sum())
    of_columns = n * float(((columns - grand) ** 2).sum())
    rest = x - rows[:, None] - columns[None, :] + grand
    of_rest = float((rest**2).sum())
    if of_rows + of_columns + of_rest == 0.0:
        raise SoundingError("repeat-no-spread")
    bms, jms = of_rows / (n - 1), of_columns / (k - 1)
    ems = of_rest / ((n - 1) * (k - 1))
    return Intraclass(icc_2_1=_two_way(bms, jms, ems, n, k), icc_3_1=_these(bms, ems, n, k))


def _these(bms: float, ems: float, n: int, k: int) -> Correlation:
    """ICC(3,1): (F - 1) / (F + k - 1), and its interval by F."""

    def from_ratio(ratio: float) -> float:
        return 1.0 if math.isinf(ratio) else (ratio - 1) / (ratio + k - 1)

    of_rows, of_error = n - 1, (n - 1) * (k - 1)
    ratio = bms / ems if ems > 0 else math.inf
    low = ratio / float(f_distribution.ppf(0.975, of_rows, of_error))
    high = ratio * float(f_distribution.ppf(0.975, of_error, of_rows))
    return Correlation(value=from_ratio(ratio), interval=(from_ratio(low), from_ratio(high)))


def _two_way(bms: float, jms: float, ems: float, n: int, k: int) -> Correlation:
    """ICC(2,1), and its interval by Satterthwaite's degrees of freedom."""
    value = (bms - ems) / (bms + (k - 1) * ems + k * (jms - ems) / n)
    if ems == 0.0:
        # No residual: judges differ by a constant only; the approximation has no meaning then.
        return Correlation(value=value, interval=(math.nan, math.nan))
    ratio = jms / ems
    a = k * value * ratio
    b = n * (1 + (k - 1) * value) - k * value
    v = (k - 1) * (n - 1) * (a + b) ** 2 / ((n - 1) * a**2 + b**2)
    upper = float(f_distribution.ppf(0.975, n - 1, v))
    lower = float(f_distribution.ppf(0.975, v, n - 1))
    rest = k * jms + (k * n - k - n) * ems
    low = n * (bms - upper * ems) / (upper * rest + n * bms)
    high = n * (lower * bms - ems) / (rest + n * lower * bms)
    return Correlation(value=value, interval=(low, high))


def _differences(first: ArrayLike, second: ArrayLike) -> Array:
    a, b = np.asarray(first, dtype=np.float64), np.asarray(second, dtype=np.float64)
    if a.shape != b.shape or a.ndim != 1:
        raise ValueError("pairs of readings are needed")
    if len(a) < 2:
        raise SoundingError("repeat-one-reading")
    d = a - b
    if not np.isfinite(d).all():
        raise ValueError("readings must be finite numbers")
    return d
