"""Whether the axis agrees with the planned tooth, and what room its crown has.

Definitions: angle between fixture axis and stent axis; offset at the platform and at the occlusal
plane; where the screw's line leaves the occlusal plane; mesio-distal room at contact height; room
from platform to opponent; gum thickness. Information, but for the room for the crown.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from core.distances.entry import CrownFrame, height_over_platform
from core.fixture import Fixture
from core.geometry import Array, angle_deg, any_across, unit, vector
from core.level import Level
from core.measurement import ENTERED, MARKED, SEEN, MarkInfluence, Note, Reading
from core.structures import PointMarks, StentAxis

CROWN_ROOM_MM = 7.0
"""Room from platform to opponent for a crown (common practice, no source)."""

_LEVEL_COSINE = 0.2


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ScrewExit:
    """Where the screw's line leaves the occlusal plane.

    Parameters
    ----------
    point : (3,) patient LPS mm
    buccal, mesial : Reading
        Offset from the middle between the marked neighbours; negative is lingual, distal.
    """

    point: Array
    buccal: Reading
    mesial: Reading


def axis_angle(fixture: Fixture, stent: StentAxis) -> Reading:
    """Angle between the fixture's axis and the stent axis, as lines: 0 to 90 degrees.

    A stent axis set by hand rests on its two ends; the derivatives are in degrees per mm. One
    found in the image carries its own standard deviation.
    """
    way = stent.gingival - stent.occlusal
    angle = angle_deg(fixture.towards_apex, way)
    if stent.found:
        return Reading(
            value=min(angle, 180.0 - angle),
            unit="deg",
            fit_sd=stent.direction_sd_deg,
            evidence=SEEN,
        )
    sense = 1.0 if angle <= 90 else -1.0
    stent_way = unit(way)
    lean = fixture.towards_apex - stent_way * float(stent_way @ fixture.towards_apex)
    size = float(np.linalg.norm(lean))
    if size < 1e-9:
        # Parallel: any sideways shift of an end opens the angle alike.
        lean, size = any_across(stent_way), 1.0
    gradient = -sense * np.degrees(lean / size / float(np.linalg.norm(way)))
    return Reading(
        value=min(angle, 180.0 - angle),
        unit="deg",
        marks=(
            MarkInfluence(mark=f"{stent.id}/occlusal", gradient=-gradient),
            MarkInfluence(mark=f"{stent.id}/gingival", gradient=gradient),
        ),
        evidence=MARKED,
    )


def offset_at_platform(fixture: Fixture, stent: StentAxis) -> Reading:
    """Shortest distance of the platform's centre from the stent axis."""
    way = stent.gingival - stent.occlusal
    share = float((fixture.platform - stent.occlusal) @ way / (way @ way))
    return _offset(fixture.platform, stent.occlusal + share * way, share, stent)


def offset_at_occlusal_plane(fixture: Fixture, stent: StentAxis, plane: Level) -> Reading:
    """Distance between the points where fixture axis and stent axis pierce the occlusal plane.

    Parameters
    ----------
    fixture : Fixture
    stent : StentAxis
    plane : Level
    """
    exit_point = _pierce(fixture.platform, fixture.towards_apex, plane)
    way = stent.gingival - stent.occlusal
    stent_point = _pierce(stent.occlusal, way, plane)
    if exit_point is None or stent_point is None:
        return Reading(value=None, notes=(Note("axis_along_occlusal_plane"),))
    share = float((stent_point - stent.occlusal) @ way / (way @ way))
    return _offset(exit_point, stent_point, share, stent)


def occlusal_plane(cusps: Sequence[PointMarks], level: Level) -> Level | None:
    """Plane through the marked cusps; with one or two, parallel to the jaw plane through them.

    Returns
    -------
    Level or None
        Its *up* is the patient's up. None where no cusp is marked.
    """
    if not cusps:
        return None
    marks = np.vstack([group.points for group in cusps])
    centre = marks.mean(axis=0)
    if len(marks) >= 3:
        _, sizes, rows = np.linalg.svd(marks - centre)
        normal = rows[2] * (1.0 if float(rows[2] @ level.up) >= 0 else -1.0)
        # Cusps on one line leave the plane free to turn about it.
        if sizes[1] > 0.1 * np.sqrt(len(marks)):
            return Level(origin=centre, up=normal)
    return Level(origin=centre, up=level.up)


def screw_exit(
    fixture: Fixture,
    plane: Level,
    frame: CrownFrame,
    mesial_neighbour: PointMarks,
    distal_neighbour: PointMarks,
) -> ScrewExit | None:
    """Where the screw's line leaves the occlusal plane, from the middle between the neighbours.

    Parameters
    ----------
    mesial_neighbour, distal_neighbour : PointMarks
        Marks on the neighbours (cusps, or their contacts); the middle of each one's marks counts.

    Returns
    -------
    ScrewExit or None
        None where the axis runs along the plane.
    """
    point = _pierce(fixture.platform, fixture.towards_apex, plane)
    if point is None:
        return None
    groups = (mesial_neighbour, distal_neighbour)
    middle = np.mean([group.points.mean(axis=0) for group in groups], axis=0)

    def part(direction: Array) -> Reading:
        # Measured in the plane, so that a height difference of the marks does not enter.
        flat = unit(direction - plane.up * float(direction @ plane.up))
        return Reading(
            value=float((point - middle) @ flat),
            witness=(point, middle),
            marks=tuple(
                MarkInfluence(mark=f"{g.id}/{i}", gradient=-flat / (2 * len(g.points)))
                for g in groups
                for i in range(len(g.points))
            ),
            evidence=MARKED,
        )

    return ScrewExit(point=point, buccal=part(frame.b), mesial=part(frame.m))


def mesiodistal_room(first: PointMarks, second: PointMarks) -> Reading:
    """Shortest distance between the contact marks of the two neighbours."""
    apart = np.linalg.norm(first.points[:, None, :] - second.points[None, :, :], axis=2)
    i, j = (int(k) for k in np.unravel_index(int(np.argmin(apart)), apart.shape))
    return _between(first, i, second, j)


def opponent_room(
    fixture: Fixture,
    opponent: PointMarks | None,
    *,
    teeth_together: bool = False,
    entered_mm: float | None = None,
) -> Reading:
    """Room for the crown: along the axis from the platform to the nearest mark of the opponent.

    Parameters
    ----------
    teeth_together : bool
        A person confirmed that the teeth were together in this scan. Without that the room in
        the scan is the room of an open mouth, and only an entered one counts.
    entered_mm : float, optional
        Room that was measured in the mouth or on models; it rules.

    Raises
    ------
    ValueError
        When the entered room is not positive.
    """
    if entered_mm is not None:
        if not (np.isfinite(entered_mm) and entered_mm > 0):
            raise ValueError("the room that was entered must be a positive number of mm")
        return Reading(value=float(entered_mm), evidence=ENTERED, notes=(Note("room_entered"),))
    if not teeth_together:
        return Reading(value=None, notes=(Note("teeth_not_together"),))
    if opponent is None:
        return Reading(value=None, notes=(Note("opponent_not_marked"),))
    heights = (opponent.points - fixture.platform) @ fixture.a
    index = int(np.argmin(heights))
    value = float(heights[index])
    return Reading(
        value=value,
        witness=(fixture.on_axis(-value), opponent.points[index]),
        marks=(MarkInfluence(mark=f"{opponent.id}/{index}", gradient=fixture.a),),
        evidence=MARKED,
    )


def gum_thickness(
    fixture: Fixture,
    gum: PointMarks | None,
    platform_depth: Reading,
    *,
    gum_stands_free: bool = False,
    probed_mm: float | None = None,
) -> Reading:
    """Thickness of the gum over the bone, along the axis.

    Parameters
    ----------
    platform_depth : Reading
        Depth of the platform below the bone, + into bone, at the same place.
    gum_stands_free : bool
        Air or cotton separates lip and gum in the scan; else the gum's surface cannot be seen.
    probed_mm : float, optional
        Thickness that was probed; it rules.

    Raises
    ------
    ValueError
        When the probed thickness is negative or not finite.
    """
    if probed_mm is not None:
        if not (np.isfinite(probed_mm) and probed_mm >= 0):
            raise ValueError("the thickness that was probed is zero or a positive number of mm")
        return Reading(value=float(probed_mm), evidence=ENTERED, notes=(Note("gum_probed"),))
    if not gum_stands_free:
        return Reading(value=None, notes=(Note("gum_not_seen"),))
    if gum is None:
        return Reading(value=None, notes=(Note("gum_not_marked"),))
    if platform_depth.value is None:
        return platform_depth
    height, index = height_over_platform(fixture, gum)
    return Reading(
        value=height - platform_depth.value,
        witness=(fixture.on_axis(-platform_depth.value), fixture.on_axis(-height)),
        marks=(
            *(replace(m, gradient=-m.gradient) for m in platform_depth.marks),
            MarkInfluence(mark=f"{gum.id}/{index}", gradient=fixture.a),
        ),
        edge_sd_mm=platform_depth.edge_sd_mm,
        evidence=platform_depth.evidence.joined(MARKED),
        notes=platform_depth.notes,
    )


def _between(first: PointMarks, i: int, second: PointMarks, j: int) -> Reading:
    way = second.points[j] - first.points[i]
    length = float(np.linalg.norm(way))
    out = way / length if length > 1e-9 else np.zeros(3)
    return Reading(
        value=length,
        witness=(first.points[i], second.points[j]),
        marks=(
            MarkInfluence(mark=f"{first.id}/{i}", gradient=-out),
            MarkInfluence(mark=f"{second.id}/{j}", gradient=out),
        ),
        evidence=MARKED,
    )


def _pierce(point: Array, direction: Array, plane: Level) -> Array | None:
    """Where a line meets a plane; None where it runs (nearly) along it."""
    rise = float(unit(direction) @ plane.up)
    if abs(rise) < _LEVEL_COSINE:
        return None
    return vector(point + unit(direction) * (float((plane.origin - point) @ plane.up) / rise))


def _offset(point: Array, on_stent: Array, share: float, stent: StentAxis) -> Reading:
    """Distance from a fixed point to one of the stent axis, at a share of its length."""
    way = on_stent - point
    length = float(np.linalg.norm(way))
    if stent.found:
        return Reading(
            value=length,
            witness=(vector(point), vector(on_stent)),
            fit_sd=stent.sd_at_mm(share),
            evidence=SEEN,
        )
    # On the axis itself every way off it is alike: one of them stands for all.
    out = way / length if length > 1e-9 else any_across(stent.gingival - stent.occlusal)
    return Reading(
        value=length,
        witness=(vector(point), vector(on_stent)),
        marks=(
            MarkInfluence(mark=f"{stent.id}/occlusal", gradient=(1 - share) * out),
            MarkInfluence(mark=f"{stent.id}/gingival", gradient=share * out),
        ),
        evidence=MARKED,
    )
