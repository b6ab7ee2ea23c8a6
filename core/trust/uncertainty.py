"""Uncertainty budget of a measurement (JCGM 100:2008, the "GUM").

u² = placement² + course² + edge² + voxel² + scale² (+ size² + fit²), each by its sensitivity at the
witness points. *Placement* is each mark by itself; *course* is what one person gets wrong along a
whole traced course, in which all its marks go the same way.
It covers marks, edges, voxels and scale; not movement during the scan, a canal that was misread,
or the drilling.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from core.geometry import Array, unit
from core.measurement import Budget, MarkInfluence, Reading, Term
from core.words.catalogue import Words, message

LEAST_SPREAD_MM = 0.2
"""No person's own spread counts as smaller than this (common practice, no source)."""

DEFAULT_SCALE = 0.007
"""Relative standard uncertainty without a scale check: 1.2 % rectangular, 0.012 / sqrt(3), up."""

SCALE_SOURCE = message("trust.source.scale")
COURSE_SD_MM = 0.32
"""Standard deviation, in each direction, of what one person gets wrong along a whole course.

Repeated readings of one person cannot show it. Two tracings of the same canals, a specialist's
and an automatic one, lay 0.275 ± 0.475 mm apart (Dent Med Probl 2024, 61(6):893): root mean
square 0.55 mm, over sqrt(3) directions. That all of it is common to a course is common practice,
no source.
"""

COURSE_SOURCE = message("trust.source.course")
VOXEL_SOURCE = message("trust.source.voxel")
EDGE_SOURCE = message("trust.source.edge")
SIZE_SOURCE = message("trust.source.size")
FIT_SOURCE = message("trust.source.fit")
PLACEMENT_SOURCE = message("trust.source.placement")


@dataclass(frozen=True, slots=True, kw_only=True)
class Placement:
    """Standard deviation of one hand-placed mark, for each direction, mm.

    Parameters
    ----------
    seen_mm, faint_mm, not_seen_mm : float
        By how well the operator saw it.
    measured : bool
        From the operator's own repeat study: the spread then contains the voxel term.
    source : Words
    """

    seen_mm: float = 0.25
    faint_mm: float = 0.5
    not_seen_mm: float = 1.0
    measured: bool = False
    source: Words = PLACEMENT_SOURCE

    @classmethod
    def of_person(cls, spread_mm: float, *, source: Words) -> Placement:
        """From a repeat study; it shows scatter and no bias, so never below 0.2 mm."""
        seen = max(spread_mm, LEAST_SPREAD_MM)
        default = cls()
        return cls(
            seen_mm=seen,
            faint_mm=max(seen, default.faint_mm),
            not_seen_mm=max(seen, default.not_seen_mm),
            measured=True,
            source=source,
        )

    def tilted(self) -> Placement:
        """In a tilted section: at least 0.34 mm a mark (SD of a distance 0.48, Tomasi 2011)."""
        return replace(self, seen_mm=max(self.seen_mm, 0.34))

    def sd_mm(self, seen: str) -> float:
        """Standard deviation of a mark that was seen ``yes``, ``faint`` or ``no``."""
        return {"yes": self.seen_mm, "faint": self.faint_mm, "no": self.not_seen_mm}[seen]


@dataclass(frozen=True, slots=True, kw_only=True)
class Scale:
    """Relative standard uncertainty of lengths in the scan, and where it comes from."""

    relative_u: float = DEFAULT_SCALE
    source: Words = SCALE_SOURCE


DEFAULT_PLACEMENT = Placement()
DEFAULT_SCAN_SCALE = Scale()


def budget(
    reading: Reading,
    *,
    voxel_extents_mm: Sequence[float] = (),
    scale: Scale = DEFAULT_SCAN_SCALE,
    placement: Placement = DEFAULT_PLACEMENT,
    scale_length_mm: float | None = None,
    base_length_mm: float | None = None,
) -> Budget | None:
    """Standard uncertainty of a reading, term by term, in the reading's unit.

    Parameters
    ----------
    reading : Reading
        Gradients of its marks in mm per mm, or degrees per mm for an angle.
    voxel_extents_mm : sequence of float
        Extent of a voxel along the measured direction, once for each hand-placed end; for an
        angle across its base. Empty where both ends were found in the image.
    scale, placement
        What stands for the scan's scale and the operator's hand.
    scale_length_mm : float or None
        Length that a wrong scale stretches; the reading's own value when None. For a clearance
        it is longer than the gap: see `scale_lever_mm`.
    base_length_mm : float or None
        For an angle: length of the line between its two marks. Needed where voxel extents, edges,
        or further placement doubt in mm are to be turned into degrees.

    Returns
    -------
    Budget, or None where there is no value.

    Raises
    ------
    ValueError
        When an angle needs a base length and has none.
    """
    if reading.value is None:
        return None
    is_angle = reading.unit == "deg"
    per_mm = _degrees_per_mm(reading, voxel_extents_mm, base_length_mm) if is_angle else 1.0
    hand = math.hypot(placement_u(reading.marks, placement), per_mm * reading.extra_placement_sd_mm)
    terms = [
        Term(name="placement", u=hand, source=placement.source),
        Term(name="course", u=course_u(reading.marks), source=COURSE_SOURCE),
        Term(name="edge", u=per_mm * math.hypot(*reading.edge_sd_mm), source=EDGE_SOURCE),
        Term(name="size", u=reading.size_sd_mm, source=SIZE_SOURCE),
        Term(name="fit", u=reading.fit_sd, source=FIT_SOURCE),
    ]
    if not placement.measured:
        voxel = per_mm * math.hypot(*(rectangular_sd(e / 2) for e in voxel_extents_mm))
        terms.append(Term(name="voxel", u=voxel, source=VOXEL_SOURCE))
    if not is_angle:
        # One scale for all directions turns no line: an angle has no such term.
        length = abs(reading.value) if scale_length_mm is None else abs(scale_length_mm)
        terms.append(Term(name="scale", u=scale.relative_u * length, source=scale.source))
    return Budget(terms=tuple(t for t in terms if t.u > 0 or t.name == "scale"))


def placement_u(marks: Iterable[MarkInfluence], placement: Placement) -> float:
    """Standard uncertainty from hand-placed marks, in the value's unit.

    A mark that enters several times is one error: its gradients are added before they are
    squared (JCGM 100:2008, 5.2). Different marks are independent here; what the marks of a course
    have in common is `course_u`.
    """
    gradients: dict[str, Array] = {}
    spreads: dict[str, float] = {}
    for mark in marks:
        gradients[mark.mark] = gradients.get(mark.mark, np.zeros(3)) + mark.gradient
        spreads[mark.mark] = max(spreads.get(mark.mark, 0.0), placement.sd_mm(mark.seen))
    return combined(
        {key: float(np.linalg.norm(gradient)) for key, gradient in gradients.items()}, spreads
    )


def course_u(marks: Iterable[MarkInfluence]) -> float:
    """Standard uncertainty from what is common to all marks of a course, in the value's unit.

    One error moves every mark of a course alike, so that their gradients are added, however many
    there are (JCGM 100:2008, 5.2.2: fully correlated inputs). Different courses are independent.
    """
    gradients: dict[str, Array] = {}
    for mark in marks:
        if mark.course:
            gradients[mark.course] = gradients.get(mark.course, np.zeros(3)) + mark.gradient
    return COURSE_SD_MM * math.hypot(*(float(np.linalg.norm(g)) for g in gradients.values()))


def combined(sensitivities: Mapping[str, float], spreads: Mapping[str, float]) -> float:
    """Combined standard uncertainty of independent inputs (JCGM 100:2008, equation 10).

    u_c² is the sum of (sensitivity x standard uncertainty)² over the inputs.
    """
    return math.hypot(*(c * spreads[key] for key, c in sensitivities.items()))


def rectangular_sd(half_width: float) -> float:
    """Standard deviation of a rectangular distribution, a / sqrt(3) (JCGM 100:2008, 4.3.7)."""
    return half_width / math.sqrt(3.0)


def voxel_extent_mm(mm_from_ijk: ArrayLike, direction: ArrayLike) -> float:
    """How far a voxel reaches along a direction, mm: the width of its shadow on that line.

    Parameters
    ----------
    mm_from_ijk : (4, 4)
        Affine of the volume; sheared voxels are taken as they are.
    direction : (3,)
        Patient LPS, any length.
    """
    edges = np.asarray(mm_from_ijk, dtype=np.float64)[:3, :3]
    return float(np.abs(unit(direction) @ edges).sum())


def scale_lever_mm(witness: tuple[Array, Array], platform: Array) -> float:
    """Length along a clearance that a wrong scale stretches, mm.

    A fixture keeps its true size and is placed from the bone at its platform; what a wrong scale
    moves is the structure, by its distance from the platform along the measured direction. For
    structures beyond the apex that is fixture length plus gap, several times the gap alone.
    """
    on_fixture, on_structure = witness
    gap = on_structure - on_fixture
    length = float(np.linalg.norm(gap))
    away = on_structure - platform
    if length < 1e-9:
        return float(np.linalg.norm(away))
    return max(length, abs(float(away @ gap)) / length)


def _degrees_per_mm(
    reading: Reading, voxel_extents_mm: Sequence[float], base_length_mm: float | None
) -> float:
    """Turn of a line in degrees for one mm of movement of one of its ends across it."""
    in_mm = (*voxel_extents_mm, *reading.edge_sd_mm, reading.extra_placement_sd_mm)
    if base_length_mm is None:
        if any(in_mm):
            raise ValueError("an angle needs the length between its marks")
        return 0.0
    if not base_length_mm > 0:
        raise ValueError("the length between the marks of an angle must be positive")
    return math.degrees(1.0 / base_length_mm)
