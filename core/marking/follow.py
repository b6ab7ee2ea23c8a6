"""The course of a canal between marks, followed in the image, and how far it can be relied on.

Coarsely by the way through pictures across the marks' curve that costs least, where it costs little
to run where a dark lumen has a brighter rim all round (`core.marking.ring_measure`); then finely by
that rim itself (`core.marking.course_profile`), held together by how fast a canal may bend. Where
the image does not show a rim all round, the course is only carried on, and is *not seen*; where
less than half of it shows one, nothing is proposed.

What comes out is a suggestion: no number rests on it before a person has looked at it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.ndimage import gaussian_filter1d

from core.curve import Curve
from core.geometry import Array, points
from core.image.volume import Volume
from core.marking.course_block import cut_block
from core.marking.course_profile import Found, Rim, find_middle, rim_of, sectors
from core.marking.course_smooth import bend, resampled, smoothed
from core.marking.least_cost import least_way
from core.marking.ring_measure import canal_likeness
from core.measurement import Note
from core.structures import Seen

STEP_MM = 1.0
"""Between the places of a followed course."""

LEAST_MM, MOST_APART_MM = 6.0, 60.0
"""Shortest course that can show a canal; furthest apart that two marks may stand."""

CLICK_SD_MM = 0.5
"""Of a click across a canal (common practice, no source): counts only where the image is silent."""

_SLICE_MM, _CELL_MM = 0.5, 0.3
_LEAST_HALF_MM, _HALF_BY_LENGTH = 4.7, 0.2
_NEAR_CLICK_MM = 1.2
_SIDEWAYS = 0.15
_CONTRAST_SHARE = 0.2
_ROUNDS = 5

_SILENT_MM, _LEAST_SD_MM, _OWN_SD_MM = 0.6, 0.02, 0.018
_MOST_BEND = 1 / 4.0
"""1/mm: a canal that bends more sharply is none (common practice, no source)."""

_WINDOW = 5
_CLEAR, _FAINT = (0.95, 0.4, 0.12), (0.88, 0.5, 0.15)
"""A rim all round: least share of sectors that show it, most spread of its strength, and most
scatter off the circle, mm. In grained marrow without a canal every tenth place comes so near, but
no whole course does."""

_SHOWN, _STRONGER = 0.4, 1.3
MOST_RIM_MM = 1.8
"""Radius of the lumen from which it is marrow between two plates and no canal: canals of 2.4 to
3.8 mm to the outside of their wall are published (Koivisto et al. 2016, J Endod 42:1018; Karameh
et al. 2023, BMC Oral Health 23:445)."""

_LEAST_SHARE_SEEN, _LEAST_RUN = 0.5, 5
_CLEAR_BY_LENGTH = (8.0, 20.0), (0.75, 0.4)
"""mm, and share of the course that must be clear: a short one is imitated by chance more easily."""

_FAINT_SD_MM, _LOST_SD_MM = 0.3, 0.6
_LEAST_SECTORS = 0.6


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Followed:
    """A course that the image shows, as a suggestion.

    Parameters
    ----------
    points_mm : (n, 3) patient LPS mm
        Middle of the canal from the first mark to the last, about `STEP_MM` apart.
    sd_mm : (n,)
        Standard deviation across the course, in each direction.
    seen : tuple of {'yes', 'faint', 'no'}
        One a place; 'no' where the image shows no rim all round.
    lumen_mm : (n,)
        About the diameter of the dark middle; as the rim's steepest place shows it, which is some
        tenths of a mm less than it is.
    """

    points_mm: Array
    sd_mm: Array
    seen: tuple[Seen, ...]
    lumen_mm: Array

    @property
    def share_seen(self) -> float:
        """Share of the course that is seen, faintly or well."""
        return float(np.mean([s != "no" for s in self.seen]))


def follow_canal(
    volume: Volume, marks_mm: ArrayLike, *, cancelled: Callable[[], bool] | None = None
) -> Followed | Note:
    """Follow a canal between marks on it.

    Parameters
    ----------
    volume : Volume
    marks_mm : (n, 3) patient LPS mm
        Two or more, in order along the canal, each within about 1 mm of its middle.
    cancelled : callable, optional
        Asked between steps; when true, the answer is a note.

    Returns
    -------
    Followed or Note
        The note says why nothing is proposed.

    Raises
    ------
    ValueError
        With fewer than two marks that stand apart.
    """
    stop = cancelled or (lambda: False)
    curve = Curve.through(points(marks_mm))
    if curve.length_mm < LEAST_MM:
        return Note("follow-too-short", {"least": f"{LEAST_MM:g}"})
    if float(np.diff(curve.mark_stations).max()) > MOST_APART_MM:
        return Note("follow-too-far", {"most": f"{MOST_APART_MM:g}"})
    course = _coarse(volume, curve)
    if course is None:
        return Note("follow-not-scanned")
    step = None
    for _ in range(_ROUNDS):
        if stop():
            return Note("follow-cancelled")
        step = _Step.of(volume, resampled(course, STEP_MM), curve.points_mm)
        if step is None:
            break
        course = step.course
    return Note("follow-not-scanned") if step is None else _judged(step, curve.points_mm)


def _coarse(volume: Volume, curve: Curve) -> Array | None:
    """(n, 3) the cheapest way between the marks; None where no way was scanned."""
    count = int(np.ceil(curve.length_mm / _SLICE_MM)) + 1
    axis = curve.at(np.linspace(0.0, curve.length_mm, count))
    apart = float(np.diff(curve.mark_stations).max())
    block = cut_block(volume, axis, _LEAST_HALF_MM + _HALF_BY_LENGTH * apart, _CELL_MM)
    scanned = block.grey[np.isfinite(block.grey)]
    if not len(scanned):
        return None
    low, high = np.percentile(scanned, [5.0, 95.0])
    contrast = max(_CONTRAST_SHARE * float(high - low), 1e-6)
    cost = np.float32(1.0) - canal_likeness(block.grey, _CELL_MM, contrast)
    away = np.hypot(block.offsets_mm[:, None], block.offsets_mm[None, :])
    for station in curve.mark_stations:
        at = round(float(station) / curve.length_mm * (count - 1))
        cost[at] = np.where(away <= _NEAR_CLICK_MM, cost[at], np.inf)
    try:
        way = least_way(cost, _SIDEWAYS)
    except ValueError:
        # Two marks so near and so far aside that no way leads from one to the other.
        return axis
    rough = axis + np.einsum("nk,nkx->nx", block.offsets_mm[way], block.across)
    return np.asarray(gaussian_filter1d(rough, 3.0, axis=0, mode="nearest"))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Step:
    """One round of laying the course into its own rim."""

    course: Array
    sd_mm: Array
    found: Found
    rim: Rim
    scanned: NDArray[np.bool_]

    @classmethod
    def of(cls, volume: Volume, course: Array, clicks: Array) -> _Step | None:
        around = sectors(volume, course)
        rim = rim_of(around)
        if rim is None:
            return None
        found, other = find_middle(around, rim), find_middle(around, rim, wide=True)
        apart = np.linalg.norm(other.move_mm - found.move_mm, axis=1) / np.sqrt(2.0)
        heard = (found.weight > 0.2).mean(axis=1) >= 0.5
        sd = np.hypot(np.maximum(1.25 * found.sd_mm, _LEAST_SD_MM), np.where(heard, 0, _SILENT_MM))
        places = course + np.einsum("nk,nkx->nx", found.move_mm, around.across)
        # A click speaks too, hardly where the image does.
        for click in clicks:
            at = int(np.argmin(np.linalg.norm(course - click, axis=1)))
            mine, theirs = 1 / sd[at] ** 2, 1 / CLICK_SD_MM**2
            tangent = np.cross(*around.across[at])
            aside = click - ((click - course[at]) @ tangent) * tangent
            places[at] = (mine * places[at] + theirs * aside) / (mine + theirs)
            sd[at] = 1 / np.sqrt(mine + theirs)
        course, left = smoothed(places, sd, STEP_MM)
        return cls(
            course=course,
            sd_mm=np.sqrt(left**2 + _mean_of_near(apart**2) + _OWN_SD_MM**2),
            found=found,
            rim=rim,
            scanned=around.scanned,
        )


def _mean_of_near(values: Array) -> Array:
    """(n,) mean over the places within two of each."""
    padded = np.pad(values, _WINDOW // 2, mode="edge")
    return np.asarray(np.convolve(padded, np.ones(_WINDOW) / _WINDOW, "valid"))


def _judged(step: _Step, clicks: Array) -> Followed | Note:
    """What of a course is seen; a note where that is too little."""
    if step.rim.radius_mm > MOST_RIM_MM:
        return Note("follow-too-wide")
    seen = [_how_seen(step, n) for n in range(len(step.course))]
    for click in clicks:
        away = np.linalg.norm(step.course - click, axis=1)
        if float(away.min()) > 2 * _NEAR_CLICK_MM:
            # The image and a person's click do not agree: nothing near it counts as seen.
            seen = ["no" if d < away.min() + 3.0 else s for s, d in zip(seen, away, strict=True)]
    shown, clear = (np.array([s in which for s in seen]) for which in (("yes", "faint"), ("yes",)))
    needed = float(np.interp(STEP_MM * (len(seen) - 1), *_CLEAR_BY_LENGTH))
    if (
        shown.mean() < _LEAST_SHARE_SEEN
        or clear.mean() < needed
        or _longest_run(clear) < _LEAST_RUN
    ):
        return Note("follow-no-canal")
    wider = _mean_of_near(step.found.wider_mm)
    return Followed(
        points_mm=points(step.course),
        sd_mm=step.sd_mm,
        seen=tuple(seen),
        lumen_mm=2 * (step.rim.radius_mm + wider),
    )


def _how_seen(step: _Step, n: int) -> Seen:
    """Whether the image shows a rim all round a place and its neighbours."""
    near = slice(max(0, n - _WINDOW // 2), n + _WINDOW // 2 + 1)
    scanned = step.scanned[near]
    if step.scanned[n].mean() < _LEAST_SECTORS or scanned.mean() < _LEAST_SECTORS:
        return "no"
    strength = step.found.strength[near][scanned]
    share = float((strength > _SHOWN).mean())
    # A sector before a cortical plate is stronger than the rim, which is nothing against the rim.
    middling = max(float(np.median(strength)), 0.05)
    spread = float(np.minimum(strength, _STRONGER * middling).std()) / middling
    weight, off = step.found.weight[near], step.found.off_mm[near]
    scatter = float(np.sqrt((weight * off**2).sum() / max(float(weight.sum()), 1e-3)))
    if step.sd_mm[n] > _LOST_SD_MM or bend(step.course)[n] > _MOST_BEND:
        return "no"
    for how, (least, uneven, off_circle) in (("yes", _CLEAR), ("faint", _FAINT)):
        if share >= least and spread <= uneven and scatter <= off_circle:
            return "faint" if how == "faint" or step.sd_mm[n] > _FAINT_SD_MM else "yes"
    return "no"


def _longest_run(shown: NDArray[np.bool_]) -> int:
    longest = run = 0
    for is_shown in shown:
        run = run + 1 if is_shown else 0
        longest = max(longest, run)
    return longest
