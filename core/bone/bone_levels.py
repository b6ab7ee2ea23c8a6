"""Grey levels of this scan: soft tissue, spongy bone, cortex, and the noise.

Cone-beam grey values are not Hounsfield units: no level is ever assumed. All are taken from
the scan itself, near the traced arch, once, and then hold for every edge of the scan.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import minimum_filter1d

from core.arch import Arch
from core.geometry import Array
from core.image import sampling
from core.image.volume import Volume
from core.measurement import Evidence, Note

_STEP_MM = 0.2
_REACH_MM = 14.0
_HEIGHTS_MM = np.arange(-40.0, 40.5, 1.5)
_PLATEAU_MM = 1.2
"""A level counts as reached where the profile holds it this far: twice a usual blur and more."""

_LEAST_PROFILES = 30
_SMALLEST_CONTRAST_TO_NOISE = 3.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BoneLevels:
    """Grey levels that edges are found by; grey values of this scan, not HU.

    Parameters
    ----------
    soft : float
        Typical level just outside bone (gum, cheek, or air where nothing else lies there).
    spongy : float
        Typical level inside, away from cortex.
    cortical : float
        Level of cortex thick enough to show its own value.
    cortical_sd : float
        Spread of that level over the scan: its doubt at any one place.
    noise_sd : float
        Noise of one profile, as sampled.
    voxel_mm : float
        Longest voxel edge.
    trouble : Note or None
        Why no edge can be found with these levels; None where they can be used.
    unproven : Note or None
        Why these levels are not proven to be those of this scan's tissues.
    """

    soft: float
    spongy: float
    cortical: float
    cortical_sd: float
    noise_sd: float
    voxel_mm: float
    trouble: Note | None = None
    unproven: Note | None = None

    @property
    def evidence(self) -> Evidence:
        """What any edge found by these levels rests on."""
        return Evidence(rests_on="image", levels=self.trouble or self.unproven)

    @property
    def thin_mm(self) -> float:
        """Thickness under which such scans are not reliable: max(0.8 mm, 2 voxels).

        0.8 mm: Razavi et al. 2010 (Clin Oral Implants Res 21:718-725); two voxels is a
        sampling argument.
        """
        return max(0.8, 2.0 * self.voxel_mm)

    @property
    def bone_threshold(self) -> float:
        """Grey value above which tissue is taken for bone of some kind, spongy bone included."""
        return self.soft + 0.3 * (self.cortical - self.soft)


def bone_levels(volume: Volume, arch: Arch) -> BoneLevels:
    """Estimate the scan's levels from profiles across the arch.

    The cortical level is the lowest frequent value among the brightest levels that profiles
    across the jaw hold for 1.2 mm: enamel, fillings and metal are brighter and rarer. The soft
    level is the median just outside the first bone met, the spongy level the median well
    inside.

    Parameters
    ----------
    volume : Volume
    arch : Arch

    Returns
    -------
    BoneLevels
        With `trouble` set where no bone can be told from its surroundings.
    """
    starts, directions = _lines_across(arch)
    count = round(2 * _REACH_MM / _STEP_MM) + 1
    raw = sampling.profiles(volume, starts, directions, _STEP_MM, count)
    values = raw.astype(np.float64)
    values = values[np.isfinite(values).mean(axis=1) > 0.6]
    voxel_mm = float(volume.voxel_mm.max())
    if len(values) < _LEAST_PROFILES:
        return _useless(voxel_mm, "levels_not_scanned")
    # Not a running sum: that would carry one place that was not scanned through the whole line.
    padded = np.pad(values, ((0, 0), (1, 1)), mode="edge")
    smooth = (padded[:, :-2] + padded[:, 1:-1] + padded[:, 2:]) / 3.0
    finite = np.isfinite(smooth)
    inside = smooth[finite]
    ceiling = float(np.percentile(inside, 97.0))
    low, high = _two_thresholds(np.minimum(inside, ceiling))
    held = minimum_filter1d(
        np.where(finite, smooth, -np.inf), round(_PLATEAU_MM / _STEP_MM), axis=1, mode="nearest"
    ).max(axis=1)
    noise = _noise(values, low, high)
    peaks = held[held > high]
    if len(peaks) < _LEAST_PROFILES:
        return _useless(voxel_mm, "levels_no_bone")
    cortical, spread = _lowest_frequent(peaks)
    soft = _just_outside(smooth, 0.5 * (low + cortical), low)
    # A plateau's lowest sample lies under its mean by about the noise of three samples' mean.
    cortical += 0.8 * noise
    spongy = _well_inside(smooth, soft + 0.5 * (cortical - soft), cortical)
    trouble = None
    if cortical - soft < _SMALLEST_CONTRAST_TO_NOISE * noise:
        trouble = Note("levels_no_bone")
    return BoneLevels(
        soft=soft,
        spongy=spongy,
        cortical=cortical,
        cortical_sd=max(spread, 0.02 * (cortical - soft)),
        noise_sd=noise,
        voxel_mm=voxel_mm,
        trouble=trouble,
    )


def _useless(voxel_mm: float, code: str) -> BoneLevels:
    return BoneLevels(
        soft=0.0,
        spongy=0.0,
        cortical=0.0,
        cortical_sd=0.0,
        noise_sd=0.0,
        voxel_mm=voxel_mm,
        trouble=Note(code),
    )


def _lines_across(arch: Arch) -> tuple[Array, Array]:
    """Starts and directions of profiles from the buccal to the lingual side, many heights."""
    stations = np.arange(1.0, max(arch.length_mm, 1.5), 2.0)
    starts, directions = [], []
    for station in stations:
        frame = arch.frame(float(station))
        rows = frame.origin + _HEIGHTS_MM[:, None] * frame.up + _REACH_MM * frame.buccal
        starts.append(rows)
        directions.append(np.broadcast_to(-frame.buccal, rows.shape))
    return np.concatenate(starts), np.concatenate(directions)


def _two_thresholds(values: Array) -> tuple[float, float]:
    """The two thresholds that part a histogram into three classes of least inner variance.

    Otsu N 1979, IEEE Trans Syst Man Cybern 9:62-66, in its form for three classes.
    """
    counts, edges = np.histogram(values, bins=96)
    weight = counts / counts.sum()
    middle = 0.5 * (edges[:-1] + edges[1:])
    mass = np.concatenate([[0.0], np.cumsum(weight)])
    moment = np.concatenate([[0.0], np.cumsum(weight * middle)])

    def part(first: NDArray[np.intp], last: NDArray[np.intp]) -> Array:
        m = mass[last] - mass[first]
        return np.asarray((moment[last] - moment[first]) ** 2 / np.where(m > 0, m, 1.0))

    a, b = np.triu_indices(len(counts), 1)
    keep = a + 1 < b
    a, b = a[keep] + 1, b[keep]
    best = int(
        np.argmax(part(np.zeros_like(a), a) + part(a, b) + part(b, np.full_like(b, len(counts))))
    )
    return float(edges[a[best]]), float(edges[b[best]])


def _lowest_frequent(peaks: Array) -> tuple[float, float]:
    """Lowest mode that is at least 40 % as frequent as the highest, and the spread around it."""
    low, high = np.percentile(peaks, [0.5, 99.0])
    grid = np.linspace(low, high, 200)
    width = max((high - low) / 40.0, 1e-9)
    density = np.exp(-0.5 * ((grid[:, None] - peaks) / width) ** 2).sum(axis=1)
    inner = (density >= np.roll(density, 1)) & (density >= np.roll(density, -1))
    modes = np.flatnonzero(inner & (density >= 0.4 * density.max()))
    mode = float(grid[modes[0] if len(modes) else int(np.argmax(density))])
    near = peaks[np.abs(peaks - mode) < 3.0 * width]
    spread = 1.4826 * float(np.median(np.abs(near - np.median(near))))
    return float(np.median(near)), spread


def _just_outside(smooth: Array, threshold: float, fallback: float) -> float:
    """Median level 0.8 to 1.6 mm outside the first and the last crossing of a threshold."""
    found: list[Array] = []
    for rows in (smooth, smooth[:, ::-1]):
        above = rows > threshold
        first = np.argmax(above, axis=1)
        usable = np.flatnonzero(above.any(axis=1) & (first >= 9))
        found.extend(rows[usable, first[usable] - back] for back in range(4, 9))
    values = np.concatenate(found)
    values = values[np.isfinite(values)]
    return float(np.median(values)) if len(values) else fallback


def _well_inside(smooth: Array, threshold: float, fallback: float) -> float:
    """Median level between 3 mm inside the first and 3 mm inside the last crossing."""
    above = np.asarray(smooth > threshold, dtype=np.bool_)
    column = np.arange(smooth.shape[1])
    margin = round(3.0 / _STEP_MM)
    first = np.argmax(above, axis=1)[:, None] + margin
    last = smooth.shape[1] - 1 - np.argmax(above[:, ::-1], axis=1)[:, None] - margin
    met = np.any(above, axis=1, keepdims=True)
    values = smooth[(column > first) & (column < last) & met]
    values = values[np.isfinite(values)]
    return float(np.median(values)) if len(values) else fallback


def _noise(values: Array, low: float, high: float) -> float:
    """Noise of single samples: differences 0.6 mm apart, everywhere and where tissue is even.

    The larger of both: air that was clipped has none, and a narrow range of values hides some.
    """
    a, b = values[:, :-3], values[:, 3:]
    apart = np.abs(b - a)
    scale = 1.4826 / float(np.sqrt(2.0))
    all_over = scale * float(np.median(apart[np.isfinite(apart)]))
    for lower, upper in ((low, high), (-np.inf, low)):
        even = (a > lower) & (a < upper) & (b > lower) & (b < upper)
        if even.sum() > 500:
            return max(all_over, scale * float(np.median(apart[even])))
    return all_over
