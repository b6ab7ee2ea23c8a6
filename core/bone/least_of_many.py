"""What the least of many read places is off, beyond the error of its own edge.

The least of several values that each err is not the value at the least place: errors pick it, so
that it lies too low, the more so the more places compete. How many compete is counted: those that
the errors may have made the least. Neighbours within the scan's blur err together and count once.
"""

from __future__ import annotations

import numpy as np
from scipy.special import ndtri

from core.geometry import Array

_COMPETE_SD = 2.0
"""A place whose value lies above the least by more standard errors does not compete."""

MODEL_SD_MM = 0.05
"""What edges beside a least place are off by the bone's shape within the blur and by rays that are
half a millimetre apart, where nothing is noise: from open draws of the random jaws."""


def doubt_of_least(values_mm: Array, sd_mm: Array, *, together: float) -> tuple[float, float]:
    """Standard errors that the least value has besides that of its own edge.

    Parameters
    ----------
    values_mm, sd_mm : (n,)
        What was read at each place; places with NaN do not count.
    together : float
        Places that err together, by the scan's blur.

    Returns
    -------
    (mm, mm)
        By how much errors alone draw the least down, which is the mean of the least of k standard
        normal deviates times the standard error, Φ⁻¹((k − 3/8) / (k + 1/4)) (Blom 1958,
        Statistical Estimates and Transformed Beta-Variables, cited from memory); and the model's.
    """
    known = np.isfinite(values_mm) & np.isfinite(sd_mm)
    if not known.any():
        return 0.0, MODEL_SD_MM
    values, sd = values_mm[known], sd_mm[known]
    least = int(np.argmin(values))
    apart = _COMPETE_SD * np.hypot(sd, sd[least])
    k = max(float((values - values[least] <= apart).sum()) / together, 1.0)
    drawn = float(ndtri((k - 0.375) / (k + 0.25))) if k > 1.0 else 0.0
    return max(drawn, 0.0) * float(sd[least]), MODEL_SD_MM
