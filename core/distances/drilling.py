"""How deep each drill goes, counted from what can be seen on the day.

Definition: depth from the buccal rim of the bone, its highest rim, the gum and the stent's top,
each along the fixture's axis to the apex; exact, and rounded *down* to the next mark of the
user's drill. Whether a drill's marks include its tip differs from drill to drill and is asked.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Literal, TypeAlias, get_args

import numpy as np

from core.distances.entry import height_over_platform
from core.fixture import Fixture
from core.geometry import Array
from core.measurement import MARKED, MarkInfluence, Note, Reading
from core.structures import PointMarks, Structure

DepthReference: TypeAlias = Literal["buccal rim", "highest rim", "gum", "stent top"]
ORIGINS: tuple[DepthReference, ...] = get_args(DepthReference)
"""Places that a depth can be counted from, in the order in which they are shown."""

MarksIncludeTip: TypeAlias = Literal["yes", "no", "don't know"]

UNKNOWN_TIP_MM = 1.5
"""Longest drill tip beyond its marks that is stated (Alhassani & AlGhamdi 2010, J Oral Implantol
36:401-407; from memory)."""

MARK_STEP_MM = 0.5

NEAR_AXIS_MM = 10.0
"""Marks without a tooth further off the axis belong to another place."""

_WHOLE_STEP = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DrillDepth:
    """Depth to drill to, from one place that can be seen.

    Parameters
    ----------
    counted_from : {'buccal rim', 'highest rim', 'gum', 'stent top'}
    reading : Reading
        The exact depth to the apex along the axis.
    mark_mm : float or None
        The last mark of the drill that does not go deeper; None where there is no depth.
    """

    counted_from: DepthReference
    reading: Reading
    mark_mm: float | None


def tip_allowance_mm(marks_include_tip: MarksIncludeTip, cone_mm: float | None = None) -> float:
    """How far the drill reaches beyond its depth mark; clearances are repeated with this tip.

    Parameters
    ----------
    marks_include_tip : {'yes', 'no', "don't know"}
        The user's answer for this drill.
    cone_mm : float, optional
        Height of its tip, where known.

    Returns
    -------
    float
        0 where the marks include the tip; its height where they do not; 1.5 mm or its height,
        whichever is larger, where nobody knows, or where the height is not known.

    Raises
    ------
    ValueError
        When the height is negative or not finite, or the answer is none of the three.
    """
    if marks_include_tip not in ("yes", "no", "don't know"):
        raise ValueError("the answer is one of yes, no, don't know")
    if cone_mm is not None and not (np.isfinite(cone_mm) and cone_mm >= 0):
        raise ValueError("the height of a tip is zero or a positive number of mm")
    if marks_include_tip == "yes":
        return 0.0
    if marks_include_tip == "no" and cone_mm is not None:
        return float(cone_mm)
    return max(UNKNOWN_TIP_MM, cone_mm or 0.0)


def round_down_to_mark(depth_mm: float, step_mm: float = MARK_STEP_MM) -> float:
    """Last mark of a drill that is not deeper than the depth.

    A depth a millionth of a mm short of a mark, by the rounding of binary numbers, is that mark.

    Raises
    ------
    ValueError
        When the step is not positive.
    """
    if not step_mm > 0:
        raise ValueError("the marks of a drill need a positive step")
    return float(np.floor(depth_mm / step_mm + _WHOLE_STEP) * step_mm)


def drill_depths(
    fixture: Fixture,
    *,
    platform_depths: Mapping[str, Reading],
    gum: PointMarks | None = None,
    stent_top: PointMarks | None = None,
    step_mm: float = MARK_STEP_MM,
) -> tuple[DrillDepth, ...]:
    """The four depths, in the order of `DepthReference`.

    Parameters
    ----------
    fixture : Fixture
    platform_depths : mapping of side to Reading
        Platform depth at the rim (``buccal``, ``lingual``, ``mesial``, ``distal``): + into bone,
        - above it, along the axis.
    gum, stent_top : PointMarks, optional
        Of several points the one nearest to the axis is used.
    step_mm : float
        Distance of the marks on the user's drill.
    """
    missing = Reading(value=None, notes=(Note("rim_not_found"),))
    buccal = platform_depths.get("buccal", missing)
    readings: tuple[tuple[DepthReference, Reading], ...] = (
        ("buccal rim", _from_rim(fixture, buccal)),
        ("highest rim", _from_rim(fixture, _highest(platform_depths))),
        ("gum", _from_marks(fixture, gum, Note("gum_not_marked"))),
        ("stent top", _from_marks(fixture, stent_top, Note("stent_top_not_marked"))),
    )
    return tuple(
        DrillDepth(
            counted_from=name,
            reading=reading,
            mark_mm=None if reading.value is None else round_down_to_mark(reading.value, step_mm),
        )
        for name, reading in readings
    )


def marks_at(fixture: Fixture, structures: Iterable[Structure], kind: str) -> PointMarks | None:
    """Marks of one kind that name this fixture's tooth, else unnamed ones within 10 mm.

    Of several those nearest to the axis. Marks that name another tooth never count.

    Parameters
    ----------
    fixture : Fixture
    structures : iterable of Structure
    kind : str
    """
    of_kind = [s for s in structures if isinstance(s, PointMarks) and s.kind == kind]
    named = [s for s in of_kind if s.tooth and s.tooth == fixture.tooth]
    near = [
        s for s in of_kind
        if not s.tooth and len(s.points) and off_axis_mm(fixture, s.points) < NEAR_AXIS_MM
    ]  # fmt: skip
    return min(named or near, key=lambda s: off_axis_mm(fixture, s.points), default=None)


def off_axis_mm(fixture: Fixture, points_mm: Array) -> float:
    """How far the nearest of (n, 3) patient points lies from the line of a fixture's axis, mm.

    Parameters
    ----------
    fixture : Fixture
    points_mm : (n, 3) patient LPS mm
    """
    offset = points_mm - fixture.platform
    along = offset @ fixture.towards_apex
    off = offset - along[:, None] * fixture.towards_apex
    return float(np.linalg.norm(off, axis=1).min())


def _highest(depths: Mapping[str, Reading]) -> Reading:
    """The rim that stands highest over the platform; unknown unless all four are known."""
    sides = [depths.get(side) for side in ("buccal", "lingual", "mesial", "distal")]
    known = [(r.value, r) for r in sides if r is not None and r.value is not None]
    if len(known) < len(sides):
        return Reading(value=None, notes=(Note("rim_not_found"),))
    return max(known, key=lambda entry: entry[0])[1]


def _from_rim(fixture: Fixture, platform_depth: Reading) -> Reading:
    if platform_depth.value is None:
        return platform_depth
    return replace(
        platform_depth,
        value=fixture.size.length_mm + platform_depth.value,
        witness=(fixture.on_axis(-platform_depth.value), fixture.apex),
    )


def _from_marks(fixture: Fixture, marks: PointMarks | None, missing: Note) -> Reading:
    if marks is None or len(marks.points) == 0:
        return Reading(value=None, notes=(missing,))
    height, index = height_over_platform(fixture, marks)
    return Reading(
        value=fixture.size.length_mm + height,
        witness=(fixture.on_axis(-height), fixture.apex),
        marks=(MarkInfluence(mark=f"{marks.id}/{index}", gradient=fixture.a),),
        evidence=MARKED,
    )
