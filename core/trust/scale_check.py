"""Scale check: distances in the scan against distances that were measured on the real objects.

Only distances between the middles of objects count. Their size never does: bright objects bloom.
A stretched scan moves middles apart in proportion, blooming moves none of them.

Each object pair gives a deviation d = found / true - 1 with its standard uncertainty. The scan
fails where the deviations together are further from 0 than chance makes them in one of a hundred
true scans (chi-square), and one of them reaches 0.5 % (common practice, no source): less is
carried in the scale term anyway. Values are never corrected: the deviation found is carried in
the scale term (JCGM 100:2008, F.2.4.5).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from scipy.stats import chi2

from core.findings import Finding
from core.geometry import Array, unit
from core.identity import thing_words
from core.image import sampling
from core.image.bright_object import BrightObject, bright_object
from core.image.volume import Volume
from core.plans.plan import Plan
from core.structures import KnownObject
from core.trust.uncertainty import (
    DEFAULT_PLACEMENT,
    DEFAULT_SCALE,
    DEFAULT_SCAN_SCALE,
    Scale,
    rectangular_sd,
    voxel_extent_mm,
)
from core.words import sentence
from core.words.catalogue import Words, message
from core.words.numbers import Figure
from core.words.values import row_of

LEAST_TOLD = 0.005
"""Deviations below this fail no scan (common practice, no source)."""

TRUE_SD_MM = 0.03
"""Of the measured true distance: a caliper read to 0.1 mm (rectangular, 0.05 / sqrt(3))."""

MIDDLE_SD_MM = 0.04
"""Of a middle found in the image, in each direction: voxels and shading (see tests)."""

REACH_MM = 6.0
MOST_MOVED_MM = 1.5
"""An object found further from its mark is another one (common practice, no source)."""

_SURE = 0.99
_ALL_DIRECTIONS = 0.2


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Deviation:
    """What one pair of objects says.

    Parameters
    ----------
    id : str
    found_mm, true_mm : float
    relative : float
        found / true - 1.
    relative_u : float
        Its standard uncertainty.
    direction : (3,)
    by_hand : bool
        True where a middle was not found in the image, so that the mark itself stands.
    """

    id: str
    found_mm: float
    true_mm: float
    relative: float
    relative_u: float
    direction: Array
    by_hand: bool

    @property
    def agrees(self) -> bool:
        """True while found and true distance differ by no more than their doubt explains."""
        return abs(self.relative) <= 2 * self.relative_u


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ScaleCheck:
    """What all objects together say.

    Parameters
    ----------
    deviations : tuple of Deviation
    scale : Scale
        For the budgets; the usual allowance where there is no object.
    failed, contradictory : bool
    findings : tuple of Finding
    objects : tuple of KnownObject
        What was looked at.
    """

    deviations: tuple[Deviation, ...]
    scale: Scale
    failed: bool
    contradictory: bool
    findings: tuple[Finding, ...]
    objects: tuple[KnownObject, ...] = ()

    def is_of(self, plan: Plan) -> bool:
        """True while a plan has these very objects, so that nothing has to be looked for anew."""
        now = _objects_of(plan)
        return len(now) == len(self.objects) and all(
            a is b for a, b in zip(now, self.objects, strict=True)
        )


NO_SCALE_CHECK = ScaleCheck(
    deviations=(), scale=DEFAULT_SCAN_SCALE, failed=False, contradictory=False, findings=()
)
"""What stands where no object of known distance is marked."""


def scale_check(plan: Plan, volume: Volume) -> ScaleCheck:
    """Compare every scale object of a plan with the scan.

    Parameters
    ----------
    plan : Plan
        Its structures of kind ``object``: two middles and their true distance.
    volume : Volume
    """
    objects = _objects_of(plan)
    found = judge_scale([deviation(volume, known) for known in objects])
    return replace(found, objects=objects)


def _objects_of(plan: Plan) -> tuple[KnownObject, ...]:
    return tuple(s for s in plan.structures if isinstance(s, KnownObject))


def deviation(volume: Volume, known: KnownObject) -> Deviation:
    """Distance between the middles of one pair, from the image where they stand out."""
    middles, squares, by_hand = [], 0.0, False
    way = unit(known.points[1] - known.points[0])
    for mark in known.points:
        middle = middle_of(volume, mark)
        if middle is None:
            by_hand = True
            voxel = rectangular_sd(voxel_extent_mm(volume.mm_from_ijk, way) / 2)
            squares += DEFAULT_PLACEMENT.seen_mm**2 + voxel**2
        else:
            squares += MIDDLE_SD_MM**2
        middles.append(mark if middle is None else middle)
    found = float(np.linalg.norm(middles[1] - middles[0]))
    return Deviation(
        id=known.id,
        found_mm=found,
        true_mm=known.size_mm,
        relative=found / known.size_mm - 1.0,
        relative_u=math.sqrt(squares + TRUE_SD_MM**2) / known.size_mm,
        direction=unit(middles[1] - middles[0]),
        by_hand=by_hand,
    )


def deviation_words(found: Deviation) -> str:
    """What one pair says, in a sentence: both distances, deviation, doubt, verdict."""
    return sentence(
        "scale-pair-agrees" if found.agrees else "scale-pair-deviates",
        {
            "id": thing_words(found.id),
            "found": Figure(f"{found.found_mm:.2f}"),
            "true": Figure(f"{found.true_mm:.2f}"),
            "percent": f"{100 * found.relative:+.1f}",
            "doubt": Figure(f"{200 * found.relative_u:.1f}"),
        },
    )


def middle_of(volume: Volume, mark_mm: Array) -> Array | None:
    """Middle of the bright object at a mark; None where none stands out by itself there.

    Weighted by grey value above the halfway threshold, on samples 0.15 mm apart, so that
    blooming, which is alike on all sides, moves nothing.
    """
    grown = bright_object(volume, mark_mm, reach_mm=REACH_MM)
    if isinstance(grown, str):
        return None
    middle = grown.middle_mm
    reach = float(np.linalg.norm(grown.points_mm - middle, axis=1).max()) + 0.6
    for _ in range(2):
        refined = _weighted_middle(volume, grown, middle, reach)
        if refined is None:
            return None
        middle = refined
    return middle if float(np.linalg.norm(middle - mark_mm)) <= MOST_MOVED_MM else None


def _weighted_middle(
    volume: Volume, grown: BrightObject, middle: Array, reach: float
) -> Array | None:
    steps = np.arange(-reach, reach + 1e-9, 0.15)
    steps -= steps.mean()
    grid = np.stack(np.meshgrid(steps, steps, steps, indexing="ij"), axis=-1).reshape(-1, 3)
    grid = grid[np.linalg.norm(grid, axis=1) <= reach]
    grey = sampling.at_points(volume, middle + grid).astype(np.float64)
    if not np.isfinite(grey).all():
        return None
    weight = np.maximum(grey - grown.threshold, 0.0)
    return np.asarray(middle + weight @ grid / weight.sum())


def judge_scale(deviations: list[Deviation]) -> ScaleCheck:
    """Weigh all deviations together."""
    if not deviations:
        return NO_SCALE_CHECK
    d = np.array([row.relative for row in deviations])
    u = np.array([row.relative_u for row in deviations])
    weight = 1.0 / u**2
    mean, mean_u = float(weight @ d / weight.sum()), float(weight.sum() ** -0.5)
    apart = float((((d - mean) / u) ** 2).sum())
    contradictory = len(d) > 1 and apart > float(chi2.ppf(_SURE, len(d) - 1))
    together = float(((d / u) ** 2).sum())
    failed = together > float(chi2.ppf(_SURE, len(d))) and float(np.abs(d).max()) >= LEAST_TOLD
    carried = math.hypot(mean, mean_u)
    if contradictory:
        # One of them is right, nobody knows which: the worst stands.
        carried = float(np.hypot(d, u).max())
    everywhere = _all_directions(deviations)
    if not everywhere:
        carried = max(carried, DEFAULT_SCALE)
    return ScaleCheck(
        deviations=tuple(deviations),
        scale=Scale(relative_u=carried, source=_source(deviations, mean, mean_u, everywhere)),
        failed=failed,
        contradictory=contradictory,
        findings=_findings(
            deviations, failed=failed, contradictory=contradictory, everywhere=everywhere
        ),
    )


def percent(share: float) -> str:
    """A share in words: ``0.72 %``."""
    return f"{100 * share:.2f} %"


def _all_directions(deviations: list[Deviation]) -> bool:
    """True where the objects lie along all three directions of space."""
    spread = sum(np.outer(row.direction, row.direction) for row in deviations)
    return float(np.linalg.eigvalsh(spread)[0]) >= _ALL_DIRECTIONS


def _source(deviations: list[Deviation], mean: float, mean_u: float, everywhere: bool) -> Words:
    check = message(
        "trust.source.scale-check", count=len(deviations), mean=100 * mean, u=100 * mean_u
    )
    return check if everywhere else message("trust.source.scale-check-partly", check=check)


def _findings(
    deviations: list[Deviation], *, failed: bool, contradictory: bool, everywhere: bool
) -> tuple[Finding, ...]:
    worst = max(deviations, key=lambda row: abs(row.relative) / row.relative_u)
    fields = {
        "id": worst.id,
        "found": Figure(f"{worst.found_mm:.2f}"),
        "true": Figure(f"{worst.true_mm:.2f}"),
        "percent": f"{100 * worst.relative:+.1f}",
        "doubt": Figure(f"{200 * worst.relative_u:.1f}"),
    }
    found = []
    if failed:
        found.append(Finding("scale-check-failed", "caution", fields))
    if contradictory:
        ids = row_of(
            [
                message("trust.scale.pair", id=row.id, percent=100 * row.relative)
                for row in deviations
            ]
        )
        found.append(Finding("scale-objects-contradict", "caution", {"ids": ids}))
    by_hand = [row.id for row in deviations if row.by_hand]
    if by_hand:
        found.append(Finding("scale-object-by-hand", "note", {"ids": ", ".join(by_hand)}))
    if not failed and not contradictory:
        code = "scale-check-passed" if everywhere else "scale-check-partly"
        found.append(Finding(code, "note", fields))
    return tuple(found)
