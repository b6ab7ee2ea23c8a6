"""Presets of the grey window, from the scan's own histogram."""

from __future__ import annotations

import numpy as np

from core.drawing import window_of_volume
from core.image.volume import Volume
from core.words.catalogue import message

FROM_SCAN = "from the scan"
BONE = "bone"
ALL = "all"
PRESET_WORDS = {
    FROM_SCAN: message("case.grey_presets.from-the-scan"),
    BONE: message("case.grey_presets.bone"),
    ALL: message("case.grey_presets.all"),
}


def presets(volume: Volume) -> dict[str, tuple[float, float]]:
    """Windows by name: soft tissue to bone, bone only, and every grey value.

    Grey values of such scans have no common scale, so none of them is a fixed number.
    """
    low, high = window_of_volume(volume)
    step = max(1, round((volume.voxels.size / 200_000) ** (1 / 3)))
    stored = volume.voxels[::step, ::step, ::step].astype(np.float64)
    if volume.padding is not None:
        first, last = volume.padding
        stored = stored[(stored < first) | (stored > last)]
    ends = (low, high)
    if stored.size:
        grey = np.percentile(stored, (0.5, 99.95)) * volume.slope + volume.intercept
        ends = (float(grey[0]), float(grey[1]))
    width = high - low
    return {
        FROM_SCAN: (low, high),
        BONE: (low + 0.4 * width, high + 0.3 * width),
        ALL: (min(ends), max(*ends, min(ends) + 1e-3)),
    }
