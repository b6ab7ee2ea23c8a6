"""Air, soft tissue and noise of this scan, from profiles across the jaw.

What lies at the two ends of such profiles is outside the bone: cheek, lip, tongue, and air where
the mouth is open or beyond the skin. Air is a class of its own and is never taken for soft tissue.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d, uniform_filter1d

from core.arch import Arch
from core.geometry import Array
from core.image import sampling
from core.image.volume import Volume

STEP_MM = 0.2
REACH_MM = 14.0
_HEIGHTS_MM = np.arange(-40.0, 40.5, 1.5)
_STATION_STEP_MM = 2.0
_ASIDE_MM = np.array([-13.0, -10.0, -7.0, 7.0, 10.0, 13.0])
_CLOSELY_MM = 1.0
_CLOSELY_ASIDE_MM = np.concatenate([side * np.arange(6.0, 13.1, 1.0) for side in (-1.0, 1.0)])
_SCANNED = 0.6
"""Least part of a profile across that was scanned."""

_END_MM = 4.0
"""Length of each end of a profile that is taken to be outside bone."""

_WINDOW = 7
"""Samples over which tissue must be even to show its level: 1.4 mm."""

_LEAST_WINDOWS = 60
_LEAST_SHARE = 0.06
"""Of the even places at the ends, for a class to count as seen."""

_AIR_GAP = 0.3
"""Air lies below soft tissue by at least this share of what bone rises above it. By attenuation
(NIST tables, from memory: cortical bone 1.6 to 2.8 times water at dental energies, thin plates
half of that) it is 0.4 and more; cheek fat lies below muscle by a tenth."""

_BRIGHT_NOISES = 5.0
_STEP_NOISES = 6.0
_BEHIND_MM = 5.0
_LEAST_BONE = 0.25
_LEAST_LAYER = 0.5
"""Even places of a layer, for each profile."""

_RUN_MM, _MOST_BETWEEN_MM = 1.0, 3.0
"""Even lengths of two tissues, and the most that lies between them where they meet."""

_ALIKE, _PLATE = 0.25, 0.2
"""Of the step between two tissues: this far from a level is still that tissue; of what bone rises
above the brighter one: from this on a plate lies between."""

_LEAST_PARTED, _MOST_DIRECT = 20, 0.15
"""Places parted by a plate, and the share that may meet without one: thin plates have holes."""

_MOST_WITHOUT_PLATE, _LEAST_WITHOUT_PLATE = 0.02, 0.1
"""Of marrow at most, and of soft tissue at least, this share lies on lines that cross no plate. In
drawn scans 0.000 to 0.003 and 0.46 to 0.51; of soft tissue beside air 0.09 and more."""

_BINS = 160


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Profiles:
    """Lines from the buccal to the lingual side, at many stations and heights.

    Parameters
    ----------
    starts, ways : (n, 3) patient LPS mm, unit
    grey : (n, samples) every `STEP_MM`; NaN where not scanned
    smooth : (n, samples)
        Mean of three neighbours.
    """

    starts: Array
    ways: Array
    grey: Array
    smooth: Array

    @classmethod
    def across(cls, volume: Volume, arch: Arch) -> Profiles:
        """Profiles across an arch, those that were mostly scanned."""
        return cls._along(volume, *_lines_across(arch), round(2 * REACH_MM / STEP_MM) + 1)

    @classmethod
    def upright(cls, volume: Volume, arch: Arch) -> Profiles:
        """Profiles along *up* beside an arch: they meet the surfaces of tongue, lip and floor."""
        return cls._standing(volume, arch, _ASIDE_MM, 2.0 * _STATION_STEP_MM)

    @classmethod
    def upright_closely(cls, volume: Volume, arch: Arch) -> Profiles:
        """The same, so close that each tells of voxels of its own: their noise averages out."""
        return cls._standing(volume, arch, _CLOSELY_ASIDE_MM, _CLOSELY_MM)

    @classmethod
    def _standing(cls, volume: Volume, arch: Arch, aside: Array, step_mm: float) -> Profiles:
        starts, ways = [], []
        for station in np.arange(1.0, max(arch.length_mm, 1.5), step_mm):
            frame = arch.frame(float(station))
            rows = frame.origin + aside[:, None] * frame.buccal + _HEIGHTS_MM[0] * frame.up
            starts.append(rows)
            ways.append(np.broadcast_to(frame.up, rows.shape))
        count = round(2 * abs(float(_HEIGHTS_MM[0])) / STEP_MM) + 1
        return cls._along(volume, np.concatenate(starts), np.concatenate(ways), count)

    @classmethod
    def _along(cls, volume: Volume, starts: Array, ways: Array, count: int) -> Profiles:
        grey = sampling.profiles(volume, starts, ways, STEP_MM, count).astype(np.float64)
        keep = np.isfinite(grey).sum(axis=1) > _SCANNED * round(2 * REACH_MM / STEP_MM)
        grey = grey[keep]
        # Not a running sum: that would carry one place that was not scanned through the line.
        padded = np.pad(grey, ((0, 0), (1, 1)), mode="edge")
        smooth = (padded[:, :-2] + padded[:, 1:-1] + padded[:, 2:]) / 3.0
        return cls(starts=starts[keep], ways=ways[keep], grey=grey, smooth=smooth)

    def at(self, rows: NDArray[np.intp], samples: Array) -> Array:
        """(n, 3) places of (fractional) samples of profiles."""
        return np.asarray(self.starts[rows] + STEP_MM * samples[:, None] * self.ways[rows])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TissueClasses:
    """What lies around the bone.

    Parameters
    ----------
    air : float or None
        None where the profiles show one class alone around the bone.
    soft, soft_sd : float
        Level of soft tissue, and how far its even places spread around it.
    noise_sd : float
        Of one sample.
    bright : float
        Level that the brighter profiles reach: bone, or teeth.
    """

    air: float | None
    soft: float
    soft_sd: float
    noise_sd: float
    bright: float


def tissue_classes(profiles: Profiles, upright: Profiles) -> TissueClasses | None:
    """Classes of tissue around the bone; None where nothing even was scanned there.

    Parameters
    ----------
    profiles, upright : Profiles
        Across the arch, and beside it along *up*: for where air meets soft tissue.
    """
    middle, spread, ends = _windows(profiles)
    usual = float(np.median(spread[ends])) if ends.any() else 0.0
    even = ends & (spread <= 1.6 * usual + 1e-9)
    if even.sum() < _LEAST_WINDOWS:
        return None
    levels = middle[even]
    peaks = np.nanmax(np.where(np.isfinite(profiles.smooth), profiles.smooth, -np.inf), axis=1)
    modes = _modes(levels, usual)
    air: float | None = None
    least = _LEAST_SHARE
    rest = [m for m in modes if m[1] >= least]
    low = rest[0][0]
    for level, _share in rest[1:]:
        bright = _bright(peaks, level, usual)
        if level - low > _AIR_GAP * (bright - level):
            air = low
            rest = [m for m in rest if m[0] >= level]
            break
    if air is None:
        even_ = spread <= 1.6 * usual + 1e-9
        climbing = middle[_climbing(middle, profiles.smooth, even_, usual)]
        layer = _layer_on_bone(climbing, low, peaks, usual, len(profiles.grey))
        if layer is not None:
            air, rest, levels = low, [(layer, 1.0)], climbing
    if air is not None:
        brighter = max(rest, key=lambda mode: mode[1])[0]
        reach = _bright(peaks, brighter, usual)
        if _marrow_taken_for_soft((profiles, upright), air, brighter, reach, usual):
            air, rest, levels = None, [modes[0]], middle[even]
    soft = max(rest, key=lambda mode: mode[1])[0]
    near = levels[np.abs(levels - soft) < _half_way(soft, air, peaks, usual)]
    soft = float(np.median(near))
    bright = _bright(peaks, soft, usual)
    reach = max(0.5 * (bright - soft), 4.0 * usual)
    return TissueClasses(
        air=air,
        soft=soft,
        soft_sd=1.4826 * float(np.median(np.abs(near - soft))),
        noise_sd=_noise(profiles.grey, soft, reach),
        bright=bright,
    )


def _lines_across(arch: Arch) -> tuple[Array, Array]:
    starts, ways = [], []
    for station in np.arange(1.0, max(arch.length_mm, 1.5), _STATION_STEP_MM):
        frame = arch.frame(float(station))
        rows = frame.origin + _HEIGHTS_MM[:, None] * frame.up + REACH_MM * frame.buccal
        starts.append(rows)
        ways.append(np.broadcast_to(-frame.buccal, rows.shape))
    return np.concatenate(starts), np.concatenate(ways)


def _windows(profiles: Profiles) -> tuple[Array, Array, NDArray[np.bool_]]:
    """Mean and spread of the window around each sample, and which lie at a scanned end."""
    grey = profiles.grey
    finite = np.isfinite(grey)
    filled = np.where(finite, grey, 0.0)
    # About a middle of the values, so that squares of large greys lose no digits.
    shift = float(np.median(grey[finite])) if finite.any() else 0.0
    filled = np.where(finite, filled - shift, 0.0)
    mean = uniform_filter1d(filled, _WINDOW, axis=1, mode="nearest")
    square = uniform_filter1d(filled**2, _WINDOW, axis=1, mode="nearest")
    whole = uniform_filter1d(finite.astype(np.float64), _WINDOW, axis=1) > 1.0 - 1e-6
    spread = np.sqrt(np.maximum(square - mean**2, 0.0) * _WINDOW / (_WINDOW - 1))
    length = round(_END_MM / STEP_MM)
    # Counted from the first and from the last sample that was scanned.
    ends = whole & (
        (np.cumsum(finite, axis=1) <= length)
        | (np.cumsum(finite[:, ::-1], axis=1)[:, ::-1] <= length)
    )
    return mean + shift, spread, ends


def _climbing(
    middle: Array, fine: Array, even: NDArray[np.bool_], noise: float
) -> NDArray[np.bool_]:
    """Even places with nothing brighter outside them, and something brighter soon behind.

    So lies gum on bone, and never spongy bone behind a plate. A thin plate is lost in the mean of
    a window: so what lies outside is looked at in `fine`, the profiles themselves.
    """
    out = np.zeros(middle.shape, dtype=bool)
    filled = np.where(np.isfinite(middle), middle, -np.inf)
    sharp = np.where(np.isfinite(fine), fine, -np.inf)
    ahead = round(_BEHIND_MM / STEP_MM)
    for way in (slice(None), slice(None, None, -1)):
        seen = filled[:, way]
        outside = np.maximum.accumulate(seen, axis=1)
        before = np.full(seen.shape, -np.inf)
        before[:, _WINDOW:] = np.maximum.accumulate(sharp[:, way], axis=1)[:, :-_WINDOW]
        outside = np.maximum(outside, before)
        behind = maximum_filter1d(seen, 2 * ahead + 1, axis=1, mode="nearest")
        steps = (seen - outside > -3.0 * noise) & (behind > seen + _STEP_NOISES * noise)
        out[:, way] |= steps & even[:, way]
    return out


def _layer_on_bone(
    climbing: Array, outer: float, peaks: Array, noise: float, profiles: int
) -> float | None:
    """Level of a layer between what lies around everything and the bone: gum in open air."""
    inner = climbing[climbing > outer + _STEP_NOISES * noise]
    if len(inner) < _LEAST_WINDOWS:
        return None
    level = max(_modes(inner, noise), key=lambda mode: mode[1])[0]
    on = np.abs(inner - level) < 3.0 * noise
    bright = _bright(peaks, level, noise)
    if on.sum() < _LEAST_LAYER * profiles or not level - outer > _AIR_GAP * (bright - level):
        return None
    if not bright - level > _LEAST_BONE * (bright - outer):
        # Cortex itself, before a plate that is a little brighter.
        return None
    return level


def _marrow_taken_for_soft(
    lines: tuple[Profiles, ...], low: float, high: float, bright: float, noise: float
) -> bool:
    """True where the brighter of two even levels is that of marrow, and the darker soft tissue's.

    Where a bone runs out of a small field its marrow is the second even level, as soft tissue is
    beside air. But air meets soft tissue on skin, tongue and gum, and both lie where no bone is;
    marrow is parted from all else by a plate, and shows on no line that crosses none.
    """
    wide = max(_ALIKE * (high - low), 2.0 * noise)
    plate = high + max(_PLATE * (bright - high), 3.0 * noise)
    smooth = [np.where(np.isfinite(part.smooth), part.smooth, -np.inf) for part in lines]
    free = np.concatenate([np.repeat((s <= plate).all(axis=1), s.shape[1]) for s in smooth])
    grey = np.concatenate([s.ravel() for s in smooth])
    dark, mid = np.abs(grey - low) < wide, np.abs(grey - high) < wide
    if (mid & free).sum() > _MOST_WITHOUT_PLATE * mid.sum() or (
        dark & free
    ).sum() < _LEAST_WITHOUT_PLATE * dark.sum():
        return False
    meetings = [_meetings(s, low, high, wide, plate) for s in smooth]
    direct, parted = sum(n for n, _ in meetings), sum(n for _, n in meetings)
    return parted >= _LEAST_PARTED and direct < _MOST_DIRECT * (direct + parted)


def _meetings(smooth: Array, low: float, high: float, wide: float, plate: float) -> tuple[int, int]:
    """How often two even levels meet with nothing brighter between, and with a plate."""
    run, gap = round(_RUN_MM / STEP_MM), round(_MOST_BETWEEN_MM / STEP_MM)
    direct = parted = 0
    for line in smooth:
        stretches = sorted(
            (first, after, level)
            for level in (low, high)
            for first, after in _runs(np.abs(line - level) < wide, run)
        )
        for (_, end, one), (begin, _, two) in pairwise(stretches):
            if one != two and begin - end <= gap:
                between = bool((line[end:begin] > plate).any())
                parted += between
                direct += not between
    return direct, parted


def _runs(flags: NDArray[np.bool_], least: int) -> list[tuple[int, int]]:
    """(first, after the last) of each run that is at least so long."""
    change = np.diff(np.concatenate([[False], flags, [False]]).astype(np.int8))
    first, after = np.flatnonzero(change == 1), np.flatnonzero(change == -1)
    long = after - first >= least
    return list(zip(first[long].tolist(), after[long].tolist(), strict=True))


def _modes(levels: Array, noise: float) -> list[tuple[float, float]]:
    """(level, share) of each mode, rising; a mode reaches to the valleys beside it."""
    low, high = np.percentile(levels, [0.1, 99.9])
    if not high > low:
        return [(float(low), 1.0)]
    counts, edges = np.histogram(np.clip(levels, low, high), bins=_BINS, range=(low, high))
    width = (high - low) / _BINS
    sigma = max(0.5 * noise, 1.5 * width) / width
    reach = np.arange(-int(4 * sigma) - 1, int(4 * sigma) + 2)
    kernel = np.exp(-0.5 * (reach / sigma) ** 2)
    density = np.convolve(
        counts, kernel / kernel.sum(), mode="same" if len(reach) < _BINS else "full"
    )
    density = density[(len(density) - _BINS) // 2 :][:_BINS]
    centres = 0.5 * (edges[:-1] + edges[1:])
    inner = np.pad(density, 1, constant_values=-1.0)
    tops = np.flatnonzero((density >= inner[:-2]) & (density > inner[2:]))
    out, begin = [], 0
    for here, following in zip(tops, [*tops[1:], None], strict=True):
        end = _BINS
        if following is not None:
            end = int(here) + int(np.argmin(density[here : following + 1]))
        out.append((float(centres[here]), float(counts[begin:end].sum() / counts.sum())))
        begin = end
    return out


def _bright(peaks: Array, level: float, noise: float) -> float:
    """Level that the brighter profiles reach above a level; the level itself where none does."""
    above = peaks[peaks > level + _BRIGHT_NOISES * noise]
    return float(np.percentile(above, 60.0)) if len(above) else level


def _half_way(soft: float, air: float | None, peaks: Array, noise: float) -> float:
    """How far from the soft level a place may lie and still be soft tissue."""
    to_bone = _bright(peaks, soft, noise) - soft
    to_air = soft - air if air is not None else np.inf
    return max(0.3 * min(to_air, max(to_bone, 1e-9)), 2.0 * noise)


def _noise(grey: Array, soft: float, reach: float) -> float:
    """Noise of single samples: differences 0.6 mm apart, everywhere and where tissue is even.

    The larger of both: air that was clipped has none, and a narrow range of values hides some.
    """
    a, b = grey[:, :-3], grey[:, 3:]
    apart = np.abs(b - a)
    scale = 1.4826 / float(np.sqrt(2.0))
    all_over = scale * float(np.median(apart[np.isfinite(apart)]))
    even = (np.abs(a - soft) < reach) & (np.abs(b - soft) < reach)
    return max(all_over, scale * float(np.median(apart[even]))) if even.any() else all_over
