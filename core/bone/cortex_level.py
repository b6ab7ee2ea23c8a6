"""The level of cortex, by the model of two edges: a thin plate never shows it as a plateau.

Where plates are wide enough for both edges to stand apart, each shows its level and the lowest
frequent one is cortex (enamel, fillings and metal are brighter and rarer). Where all are thin, one
level for all plates is sought that describes their profiles best, together with the blur: a thin
plate's summit and its breadth both depend on its width, and only the true level fits both
(Prevrhal et al. 1999, Phys Med Biol 44:751; Treece et al. 2010, Med Image Anal 14:276).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from core.bone.bone_levels import USUAL_BLUR, Blur, BoneLevels
from core.bone.plate_kernels import INSIDE, LEVEL, MISFIT, OK, SIGMA, SINGLE, WIDTH
from core.bone.plate_profiles import Bundles, fit_at, voxel_variance_mm2
from core.bone.tissue_classes import STEP_MM, Profiles, TissueClasses
from core.geometry import Array
from core.image.volume import Volume

FWHM = 2.3548
"""Full width at half maximum of a Gaussian over its standard deviation."""

APART = 1.5
"""A plate shows its own level where it is wider than this many full widths of the blur."""

_DEPTH_MM = 6.0
_MOST_PLACES = 300
_LEAST_PLACES = 15
_LEAST_APART = 25
_LEAST_COSINE = 0.85
_LEAST_SHOWN = 0.08
"""Of all places, for wide plates to speak for the scan."""

_LEAST_SOLID = 0.4
"""Of all places, for solid bone without plates to speak for the scan."""

_OFF_COUNTS = 0.3
"""How much of the difference between wide plates and all plates together is doubt."""

_OFF_TOGETHER = 0.35
"""Most that wide plates may differ from what describes all plates best, as a share of contrast."""

_FLAT_COST, _OPEN_COST, _OPEN_DOUBT = 0.005, 0.04, 0.35
MOST_DOUBT = 0.5
"""Of a level, as a share of what cortex rises above soft tissue: with more it is not known."""

LEAST_OF_BLUR = 0.8
"""Share of the scan's blur that an edge has at least."""

_AIR_BEHIND = 0.25
"""What lies this share of the contrast below soft tissue is air, and never marrow, however fatty:
about 0.1 (by attenuation, NIST tables, from memory)."""

_STEP_SIDE_MM = 1.6
_BLURS_MM = (0.08, 0.16, 0.22, 0.3, 0.4, 0.52, 0.68)
_ALIKE_COST = 0.06
"""Blurs are alike where the plates cost them no more than this share above the best one."""

_BY_CHANCE = 2.0
"""Nor are they told apart where the best one is better by less than so many standard errors."""

_BLOCKS = 8
"""Stretches along the arch on each side, whose mean costs count as independent: neighbouring places
share their voxels."""

_WIDER = (1.2, 1.45, 1.75)
"""How much wider than through the slices the blur in them may be: a reconstruction filters across
its axis of rotation, and not along it."""

_SPEAKS_AGAINST = 1.3
"""Cost of the plates with a blur, over that with the best one, from which the plates show that it
is not theirs. With the true blur it was under 1.26 in sixteen drawn scans, and over 1.3 in each
reconstructed one, whose blur lies at 1.4 times that of its steps through the slices."""

_EVERY = 3
_LEAST_BLUR_SD_MM = 0.01
_TRIED = np.array([0.9, 1.0, 1.12, 1.25, 1.4, 1.6, 1.85, 2.2, 2.7, 3.4])
"""Levels that are tried for thin plates, as shares of what their highest summits rise."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CortexLevel:
    """Level of cortex over the scan.

    Parameters
    ----------
    level, sd : float
        Its doubt at any one place.
    blur : Blur
    apart : bool
        True where wide plates showed it themselves.
    halves : tuple of float
        What each half of the places says: buccal and lingual.
    """

    level: float
    sd: float
    blur: Blur
    apart: bool
    halves: tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Places:
    """Where profiles first meet something that may be bone.

    Parameters
    ----------
    points_mm, ways : (n, 3)
    buccal : (n,) bool
    summit : (n,)
        Grey value of the first summit behind each.
    rows, samples : (n,)
        Profile, and sample along it.
    """

    points_mm: Array
    ways: Array
    buccal: NDArray[np.bool_]
    summit: Array
    rows: NDArray[np.intp]
    samples: Array

    def some(self, keep: NDArray[np.bool_] | NDArray[np.intp]) -> Places:
        """Some of them."""
        return Places(
            points_mm=self.points_mm[keep],
            ways=self.ways[keep],
            buccal=self.buccal[keep],
            summit=self.summit[keep],
            rows=self.rows[keep],
            samples=self.samples[keep],
        )


def first_places(profiles: Profiles, classes: TissueClasses) -> Places:
    """First rise above soft tissue on each profile, from the cheek and from the tongue."""
    least = classes.soft + max(4.0 * classes.noise_sd, 0.2 * (classes.bright - classes.soft))
    parts: list[Places] = []
    count = profiles.smooth.shape[1]
    for buccal in (True, False):
        seen = profiles.smooth if buccal else profiles.smooth[:, ::-1]
        filled = np.where(np.isfinite(seen), seen, -np.inf)
        above = filled > least
        # Two neighbours: a single sample is noise.
        above[:, :-1] &= above[:, 1:]
        first = np.argmax(above, axis=1)
        lead = round(3.5 / STEP_MM)
        rows = np.flatnonzero(above.any(axis=1) & (first > lead) & (first < count - lead))
        at = first[rows]
        before = filled[rows[:, None], at[:, None] - np.arange(1, lead)]
        rows, at = rows[np.isfinite(before).all(axis=1)], at[np.isfinite(before).all(axis=1)]
        ahead = filled[rows[:, None], at[:, None] + np.arange(round(2.4 / STEP_MM))]
        # The first summit: nothing within 0.6 mm behind it is higher.
        summit = ahead[:, 0].copy()
        since = np.zeros(len(rows))
        for k in range(1, ahead.shape[1]):
            open_ = since < round(0.6 / STEP_MM)
            higher = open_ & (ahead[:, k] > summit)
            summit = np.where(higher, ahead[:, k], summit)
            since = np.where(higher, 0, since + 1)
        sample = at if buccal else count - 1 - at
        way = profiles.ways[rows] if buccal else -profiles.ways[rows]
        parts.append(
            Places(
                points_mm=profiles.at(rows, sample.astype(np.float64)),
                ways=way,
                buccal=np.full(len(rows), buccal),
                summit=summit,
                rows=rows,
                samples=sample.astype(np.float64),
            )
        )
    one, two = parts
    return Places(
        **{
            name: np.concatenate([getattr(one, name), getattr(two, name)])
            for name in ("points_mm", "ways", "buccal", "summit", "rows", "samples")
        }
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FixedLevel:
    """One level and one blur for all places."""

    blur: Blur
    level: float
    level_sd: float

    def variance_mm2(self, directions: Array) -> Array:
        """The same in all directions; see `PlateKnowledge`."""
        return np.full(len(directions), self.blur.variance_mm2)

    @property
    def blur_sd_mm(self) -> float:
        """See `PlateKnowledge`."""
        return self.blur.sd_mm

    def near(self, points_mm: Array, outward: Array) -> tuple[Array, Array, NDArray[np.bool_]]:  # noqa: ARG002
        """The same everywhere; see `PlateKnowledge`."""
        n = len(points_mm)
        return np.full(n, self.level), np.full(n, self.level_sd), np.zeros(n, dtype=bool)


def cortex_level(
    volume: Volume,
    profiles: Profiles,
    standing: Profiles,
    classes: TissueClasses,
    places: Places,
) -> CortexLevel | None:
    """Level of cortex and blur of the scan; None where too few places show bone.

    Parameters
    ----------
    profiles, standing : Profiles
        Across the arch, and beside it along *up* (`Profiles.upright_closely`): for the steps that
        show the blur.
    """
    if len(places.summit) < _LEAST_PLACES:
        return None
    if len(places.summit) > _MOST_PLACES:
        places = places.some(_evenly(len(places.summit)))
    if not np.percentile(places.summit, 90.0) > classes.soft:
        return None
    blur = _blur_of_steps(volume, (profiles, standing), classes)
    together = _together(volume, classes, places, blur)
    if together is None:
        return None
    if not blur.seen and together.sd > MOST_DOUBT * (together.level - classes.soft):
        return together
    apart = _by_wide_plates(volume, classes, places, together, together.level)
    if apart is None:
        # Solid bone shows no plates: its own plateau then, where most places show one.
        summits = float(np.median(places.summit)) - classes.noise_sd
        apart = _by_wide_plates(volume, classes, places, together, summits, solid=True)
    return together if apart is None else apart


def _start(volume: Volume, classes: TissueClasses, cortical: float) -> BoneLevels:
    return BoneLevels(
        soft=classes.soft,
        spongy=classes.soft,
        cortical=cortical,
        cortical_sd=0.2 * (cortical - classes.soft),
        noise_sd=classes.noise_sd,
        voxel_mm=float(volume.voxel_mm.max()),
    )


def _by_wide_plates(
    volume: Volume,
    classes: TissueClasses,
    places: Places,
    known: CortexLevel,
    start: float,
    *,
    solid: bool = False,
) -> CortexLevel | None:
    """From plates whose edges stand apart, and solid bone, each with its own level."""
    contrast = known.level - classes.soft
    levels = _start(volume, classes, start)
    prior = FixedLevel(blur=known.blur, level=start, level_sd=0.3 * contrast)
    fits = fit_at(
        volume, places.points_mm, places.ways, levels, prior, depth_mm=_DEPTH_MM, free_blur=True
    )
    v = fits.values
    variance = (v[:, SIGMA] * fits.cosine) ** 2 - voxel_variance_mm2(volume, fits.outward)
    least = LEAST_OF_BLUR * np.sqrt(
        np.maximum(known.blur.variance_mm2, 0.0) + voxel_variance_mm2(volume, fits.outward)
    )
    with np.errstate(invalid="ignore"):
        good = (v[:, OK] > 0) & (fits.cosine > _LEAST_COSINE)
        good &= v[:, MISFIT] < 0.06 * contrast + 0.5 * classes.noise_sd
        # A blur much below the scan's fits noise, or thin cortex and marrow taken for one.
        good &= (v[:, SIGMA] * fits.cosine > least) | (not known.blur.seen)
        two = good & before_marrow(v, classes.soft, contrast)
        two &= v[:, WIDTH] > APART * FWHM * np.maximum(v[:, SIGMA], least / fits.cosine)
        two &= v[:, LEVEL] - v[:, INSIDE] > 0.3 * (v[:, LEVEL] - classes.soft)
        if known.blur.seen:
            # With a narrower blur than the scan's a thin plate passes for a wide one less bright.
            same = fit_at(volume, places.points_mm, places.ways, levels, prior, depth_mm=_DEPTH_MM)
            two &= same.values[:, WIDTH] > APART * FWHM * same.values[:, SIGMA]
        one_step = good & (v[:, SINGLE] > 0)
        off = np.abs(v[:, LEVEL] - known.level)
        shown = (two | one_step) & (off < max(_OFF_TOGETHER * contrast, 2.0 * known.sd))
    if solid:
        shown = one_step
    least_shown = (_LEAST_SOLID if solid else _LEAST_SHOWN) * len(places.summit)
    if shown.sum() < max(_LEAST_APART, least_shown):
        return None
    level, spread = lowest_frequent(v[shown, LEVEL])
    apart_by = 0.0 if solid else _OFF_COUNTS * abs(level - known.level)
    near = shown & (np.abs(v[:, LEVEL] - level) < 4.0 * max(spread, 0.02 * contrast))
    sides = [v[near & (places.buccal == side), LEVEL] for side in (True, False)]
    one, two_ = (float(np.median(s)) if len(s) >= 5 else level for s in sides)
    blur = known.blur
    if (near & two).sum() >= _LEAST_PLACES:
        blur = Blur(variance_mm2=float(np.median(variance[near & two])), sd_mm=0.02, seen=True)
    return CortexLevel(
        level=level,
        sd=float(np.hypot(max(spread, 0.02 * (level - classes.soft)), apart_by)),
        blur=blur,
        apart=True,
        halves=(one, two_),
    )


def before_marrow(values: Array, soft: float, contrast: float) -> NDArray[np.bool_]:
    """(n,) fits of a plate with two edges and no air behind it.

    The wall of a sinus is two thin plates with little marrow between, and its lining: taken for
    one wide plate it shows a blur that is too wide, and a level that is too low.

    Parameters
    ----------
    values : (n, COLUMNS)
        Columns of `core.bone.plate_kernels`.
    soft, contrast : float
        Level of soft tissue, and what cortex rises above it.
    """
    with np.errstate(invalid="ignore"):
        return np.asarray(
            (values[:, SINGLE] == 0) & (values[:, INSIDE] > soft - _AIR_BEHIND * contrast)
        )


def _blur_of_steps(volume: Volume, lines: tuple[Profiles, ...], classes: TissueClasses) -> Blur:
    """Blur from the steps between air and soft tissue: single, clean, and seen in most scans."""
    air = classes.air
    if air is None:
        return USUAL_BLUR
    steps = [_air_steps(profiles, air, classes) for profiles in lines]
    points, ways = (np.concatenate([step[part] for step in steps]) for part in (0, 1))
    if len(points) < _LEAST_PLACES:
        return USUAL_BLUR
    step = classes.soft - air
    levels = replace(_start(volume, classes, classes.soft), soft=air)
    known = FixedLevel(blur=USUAL_BLUR, level=classes.soft, level_sd=0.3 * step)
    fits = fit_at(volume, points, ways, levels, known, depth_mm=3.0, free_blur=True)
    v = fits.values
    with np.errstate(invalid="ignore"):
        good = (v[:, OK] > 0) & (v[:, SINGLE] > 0) & (fits.cosine > _LEAST_COSINE)
        good &= v[:, MISFIT] < 0.06 * step + 0.5 * classes.noise_sd
    if good.sum() < _LEAST_PLACES:
        return USUAL_BLUR
    variance = (v[good, SIGMA] * fits.cosine[good]) ** 2 - voxel_variance_mm2(
        volume, fits.outward[good]
    )
    middle = float(np.median(variance))
    spread = 1.4826 * float(np.median(np.abs(variance - middle)))
    whole = max(middle + 0.25 * float(volume.voxel_mm.max()) ** 2, 1e-4)
    sd = spread / (2.0 * np.sqrt(whole)) / np.sqrt(max(good.sum() / 10.0, 1.0))
    return Blur(variance_mm2=middle, sd_mm=float(np.hypot(sd, _LEAST_BLUR_SD_MM)), seen=True)


def _air_steps(profiles: Profiles, air: float, classes: TissueClasses) -> tuple[Array, Array]:
    """Places where even air meets even soft tissue, and the way from air into it."""
    near = 0.25 * (classes.soft - air) + 2.0 * classes.noise_sd
    side, gap = round(_STEP_SIDE_MM / STEP_MM), round(1.0 / STEP_MM)
    points, ways = [], []
    for forward in (True, False):
        seen = profiles.smooth if forward else profiles.smooth[:, ::-1]
        half = 0.5 * (air + classes.soft)
        count = seen.shape[1]
        with np.errstate(invalid="ignore"):
            airy, soft = np.abs(seen - air) < near, np.abs(seen - classes.soft) < near
            crossing = (seen[:, 1:] >= half) & (seen[:, :-1] < half)
        rows, at = np.nonzero(crossing)
        inside = (at > gap + 2 * side) & (at < count - gap - side - 1)
        rows, at = rows[inside], at[inside]
        back = at[:, None] - gap - np.arange(side)
        on = at[:, None] + gap + np.arange(side)
        keep = airy[rows[:, None], back].mean(axis=1) > 0.8
        keep &= soft[rows[:, None], on].mean(axis=1) > 0.8
        rows, at = rows[keep], at[keep]
        sample = at.astype(np.float64)
        points.append(profiles.at(rows, sample if forward else count - 1 - sample))
        ways.append(profiles.ways[rows] if forward else -profiles.ways[rows])
    found, into = np.concatenate(points), np.concatenate(ways)
    some = _evenly(len(found))
    return found[some], into[some]


def _evenly(count: int) -> NDArray[np.intp]:
    """As many of so many places as are looked at, from first to last."""
    return np.linspace(0, count - 1, min(count, _MOST_PLACES)).astype(np.intp)


def _together(
    volume: Volume, classes: TissueClasses, places: Places, blur: Blur
) -> CortexLevel | None:
    """One level that describes the plates best; its doubt by the two sides and by the blur."""
    rise = float(np.percentile(places.summit, 75.0)) - classes.soft
    bundles = Bundles.at(volume, places.points_mm, places.ways, depth_mm=3.0)
    steps = blur
    if blur.seen and _against_steps(volume, classes, bundles, blur, rise):
        blur = replace(blur, seen=False)
    tried = [blur]
    if not blur.seen:
        tried = [replace(blur, variance_mm2=s * s) for s in _blurs_mm(steps)]
    costs = [_costs(volume, classes, bundles, b, rise) for b in tried]
    if not blur.seen:
        between = _between(tried, costs)
        tried.append(between)
        costs.append(_costs(volume, classes, bundles, between, rise))
    usable = _usable(costs)
    if usable.sum() < _LEAST_PLACES:
        return None
    cap = _cap(costs, usable)
    lows = np.array([_lowest(c[:, usable], cap) for c in costs])
    # Blurs that describe the plates about as well as the best one.
    at = int(np.argmin(lows[:, 1]))
    alike = lows[:, 1] < lows[at, 1] * (1.0 + _ALIKE_COST)
    alike |= _by_chance([np.minimum(c[:, usable], cap) for c in costs], at, places.buccal[usable])
    sides = (usable & places.buccal, usable & ~places.buccal)
    halves = [
        _lowest(costs[at][:, part], cap)[0] if part.sum() >= _LEAST_PLACES else lows[at, 0]
        for part in sides
    ]
    best, open_end = _open_end(costs[at][:, usable], cap, float(lows[at, 0]))
    found = tried[at]
    if blur.seen:
        moved = replace(blur, variance_mm2=blur.variance_mm2 + 0.6 * blur.sd_mm)
        by_blur = _lowest(_costs(volume, classes, bundles, moved, rise)[:, usable], cap)[0] - best
    else:
        by_blur = max(0.5 * float(np.ptp(lows[alike, 0])), 0.12 * best)
        sizes = np.sqrt([max(b.variance_mm2, 0.0) for b in tried])
        found = Blur(
            variance_mm2=found.variance_mm2,
            sd_mm=float(max(0.5 * np.ptp(sizes[alike]), 0.05)),
            seen=bool(lows[int(np.argmin(sizes)), 1] > _SPEAKS_AGAINST * lows[at, 1]),
            through_mm2=steps.variance_mm2 if steps.seen else None,
        )
    flat = 0.5 * float(np.ptp(_alike(costs[at][:, usable], cap, _FLAT_COST)))
    sd = float(np.hypot.reduce([0.5 * (halves[0] - halves[1]), by_blur, flat, open_end]))
    sd = min(max(sd, 0.05 * best), 0.4 * best)
    if not steps.seen and by_blur > MOST_DOUBT * best:
        # Thin plates and a wide blur, or wide ones less bright and a narrow blur: both fit.
        sd = by_blur
    return CortexLevel(
        level=classes.soft + best * rise,
        sd=sd * rise,
        blur=found,
        apart=False,
        halves=(classes.soft + halves[0] * rise, classes.soft + halves[1] * rise),
    )


def _blurs_mm(steps: Blur) -> tuple[float, ...]:
    """Blurs to be tried: those that are usual, or as wide as the steps' and wider."""
    if not steps.seen:
        return _BLURS_MM
    size = float(np.sqrt(max(steps.variance_mm2, _BLURS_MM[0] ** 2)))
    return size, *(more * size for more in _WIDER)


def _against_steps(
    volume: Volume, classes: TissueClasses, bundles: Bundles, steps: Blur, rise: float
) -> bool:
    """True where plates are described much better by a wider blur than that of the steps.

    Steps between air and soft tissue mostly lie along the slices, and plates across them.
    """
    some = bundles.every(_EVERY)
    blurs = [steps, *(replace(steps, variance_mm2=size**2) for size in _blurs_mm(steps)[1:])]
    costs = [_costs(volume, classes, some, blur, rise) for blur in blurs]
    usable = _usable(costs)
    if usable.sum() < _LEAST_PLACES:
        return False
    cap = _cap(costs, usable)
    lows = [_lowest(c[:, usable], cap)[1] for c in costs]
    return lows[0] > _SPEAKS_AGAINST * min(lows)


def speak_against(
    volume: Volume, classes: TissueClasses, bundles: Bundles, blur: Blur, other: Blur
) -> bool:
    """True where all plates together are described much better by the other blur.

    Parameters
    ----------
    volume : Volume
    classes : TissueClasses
    bundles : Bundles
        Places where bone begins.
    blur, other : Blur
    """
    summit = bundles.summits()
    rise = float(np.percentile(summit[np.isfinite(summit)], 75.0)) - classes.soft
    costs = [_costs(volume, classes, bundles, b, rise) for b in (blur, other)]
    usable = _usable(costs)
    if usable.sum() < _LEAST_PLACES:
        return False
    cap = _cap(costs, usable)
    with_this, with_other = (_lowest(c[:, usable], cap)[1] for c in costs)
    return with_this > _SPEAKS_AGAINST * with_other


def _between(tried: list[Blur], costs: list[Array]) -> Blur:
    """The blur where the cost is lowest, by a parabola through three that were tried."""
    usable = _usable(costs)
    cap = _cap(costs, usable) if usable.any() else np.inf
    total = np.array([_lowest(c[:, usable], cap)[1] if usable.any() else 0.0 for c in costs])
    k = int(np.clip(np.argmin(total), 1, len(total) - 2))
    x = np.log([b.variance_mm2 for b in tried[k - 1 : k + 2]])
    a, b, _ = np.polyfit(x, total[k - 1 : k + 2], 2)
    at = -b / (2 * a) if a > 0 else x[1]
    return replace(tried[k], variance_mm2=float(np.exp(np.clip(at, x[0], x[2]))))


def _usable(costs: list[Array]) -> NDArray[np.bool_]:
    """(n,) places that were fitted with every blur and level."""
    return np.asarray(np.all([np.isfinite(c).all(axis=0) for c in costs], axis=0))


def _costs(
    volume: Volume, classes: TissueClasses, bundles: Bundles, blur: Blur, rise: float
) -> Array:
    """(levels, n) squared misfit of each place with each level that is tried."""
    return np.stack(
        [_cost(volume, classes, bundles, blur, classes.soft + r * rise) for r in _TRIED]
    )


def _cost(
    volume: Volume, classes: TissueClasses, bundles: Bundles, blur: Blur, level: float
) -> Array:
    levels = _start(volume, classes, level)
    known = FixedLevel(blur=blur, level=level, level_sd=0.002 * (level - classes.soft))
    fits = bundles.fitted(levels, known)
    v = fits.values
    usable = (v[:, OK] > 0) & (fits.cosine > _LEAST_COSINE)
    return np.where(usable, v[:, MISFIT] ** 2, np.nan)


def _cap(costs: list[Array], usable: NDArray[np.bool_]) -> float:
    """Most that one place may weigh: teeth and fillings fit no level of cortex."""
    least = np.min([c[:, usable].min(axis=0) for c in costs], axis=0)
    return 4.0 * float(np.median(least)) + 1e-12


def _lowest(cost: Array, cap: float) -> tuple[float, float]:
    """Where the mean of the capped costs is lowest, by a parabola, and how low it is there."""
    total = np.minimum(cost, cap).mean(axis=1)
    k = int(np.clip(np.argmin(total), 1, len(total) - 2))
    x, y = np.log(_TRIED[k - 1 : k + 2]), total[k - 1 : k + 2]
    a, b, _ = np.polyfit(x, y, 2)
    at = -b / (2 * a) if a > 0 else x[int(np.argmin(y))]
    return float(np.exp(np.clip(at, x[0], x[2]))), float(total.min())


def _alike(cost: Array, cap: float, more: float) -> Array:
    """Levels that cost hardly more than the best one."""
    total = np.minimum(cost, cap).mean(axis=1)
    fine = np.union1d(np.linspace(np.log(_TRIED[0]), np.log(_TRIED[-1]), 200), np.log(_TRIED))
    costs = np.interp(fine, np.log(_TRIED), total)
    return np.asarray(np.exp(fine[costs <= total.min() * (1.0 + more)]))


def _by_chance(costs: list[Array], best: int, buccal: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """(blurs,) which of them only chance may have made worse than the best one.

    Place by place, each with the level that suits its blur: what all places share falls out.
    """
    own = [cost[int(np.argmin(cost.mean(axis=1)))] for cost in costs]
    out = np.zeros(len(costs), dtype=bool)
    for number, cost in enumerate(own):
        worse = cost - own[best]
        blocks = [
            float(block.mean())
            for side in (True, False)
            for block in np.array_split(worse[buccal == side], _BLOCKS)
            if len(block)
        ]
        error = float(np.std(blocks, ddof=1)) / float(np.sqrt(len(blocks)))
        out[number] = worse.mean() < _BY_CHANCE * error
    return out


def _open_end(cost: Array, cap: float, best: float) -> tuple[float, float]:
    """Level and further doubt where the brightest level that was tried describes plates best.

    So thin plates show what they hold in all, and neither their width nor their level.
    """
    if best < _TRIED[-2]:
        return best, 0.0
    alike = _alike(cost, cap, _OPEN_COST)
    middle = float(np.sqrt(alike[0] * alike[-1]))
    return middle, max(0.5 * float(np.ptp(alike)), _OPEN_DOUBT * middle)


def lowest_frequent(levels: Array) -> tuple[float, float]:
    """Lowest mode that is at least 40 % as frequent as the highest, and the spread around it."""
    low, high = np.percentile(levels, [0.5, 99.0])
    grid = np.linspace(low, high, 200)
    width = max((high - low) / 40.0, 1e-9)
    density = np.exp(-0.5 * ((grid[:, None] - levels) / width) ** 2).sum(axis=1)
    inner = (density >= np.roll(density, 1)) & (density >= np.roll(density, -1))
    modes = np.flatnonzero(inner & (density >= 0.4 * density.max()))
    mode = float(grid[modes[0] if len(modes) else int(np.argmax(density))])
    near = levels[np.abs(levels - mode) < 3.0 * width]
    return float(np.median(near)), 1.4826 * float(np.median(np.abs(near - np.median(near))))
