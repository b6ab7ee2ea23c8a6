"""A fixture's place and lean as numbers of the jaw: what number boxes show and set.

Along the arch in mm, towards the cheek from the arch's curve, above the jaw plane; and the lean
of the axis against *up*, buccally and mesially. `placed` is the exact inverse of `pose_of`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from core.arch import Arch, FixtureFrame, StationFrame, fixture_frame
from core.fixture import Fixture
from core.geometry import Array, unit, vector
from core.identity import Tooth

MOST_LEAN_DEG = 60.0
"""Further than this a fixture is not typed but dragged; beyond 90 the numbers lose meaning."""

_ON_AXIS_MM = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class Pose:
    """Where a fixture stands and how it leans, from the arch and the jaw plane.

    Parameters
    ----------
    station_mm : float
        Of the platform's centre, along the arch from its right end.
    buccal_mm : float
        Of the platform's centre from the arch's curve, towards the cheek.
    height_mm : float
        Of the platform's centre above the jaw plane, along its *up*.
    lean_buccal_deg, lean_mesial_deg : float
        Of the axis from apex to platform against *up*, seen along and across the arch. In the
        upper jaw the axis from apex to platform points against *up*; the lean is that of its
        line, positive where the platform's end leans that way.
    """

    station_mm: float
    buccal_mm: float
    height_mm: float
    lean_buccal_deg: float
    lean_mesial_deg: float


def pose_of(fixture: Fixture, arch: Arch) -> Pose:
    """Place and lean of a fixture.

    Raises
    ------
    PlanError
        ``fixture-axis-level`` when the axis lies so that buccal and mesial have no meaning.
    """
    frame = fixture_frame(fixture, arch).station
    off = fixture.platform - frame.origin
    a = fixture.a
    upright = abs(float(a @ frame.up))
    return Pose(
        station_mm=frame.station_mm,
        buccal_mm=float(off @ frame.buccal),
        height_mm=float(off @ frame.up),
        lean_buccal_deg=_lean(float(a @ frame.buccal), upright),
        lean_mesial_deg=_lean(float(a @ _mesial(frame, fixture.tooth)), upright),
    )


def placed(fixture: Fixture, pose: Pose, arch: Arch) -> Fixture:
    """The fixture at a pose; it keeps pointing up or down as it did.

    Parameters
    ----------
    fixture : Fixture
    pose : Pose
    arch : Arch
    """
    frame = arch.frame(pose.station_mm)
    # From apex to platform is up in the lower jaw and down in the upper one.
    way = 1.0 if float(fixture.a @ frame.up) >= 0 else -1.0
    a = unit(
        way * frame.up
        + np.tan(np.radians(pose.lean_buccal_deg)) * frame.buccal
        + np.tan(np.radians(pose.lean_mesial_deg)) * _mesial(frame, fixture.tooth)
    )
    platform = frame.origin + pose.buccal_mm * frame.buccal + pose.height_mm * frame.up
    return replace(fixture, platform=platform, towards_apex=-a)


def turn_through(fixture: Fixture, frame: FixtureFrame, point_mm: ArrayLike) -> float:
    """Turn, from -90 to 90 degrees, of the plane through the axis that holds a point.

    0 where the point lies on the axis. Of the two turns that show the same plane the one with
    buccal on the right is taken.

    Parameters
    ----------
    fixture : Fixture
    frame : FixtureFrame
    point_mm : (3,) patient LPS mm
    """
    off = vector(point_mm) - fixture.platform
    to_buccal, to_mesial = float(off @ frame.b), float(off @ frame.m)
    if np.hypot(to_buccal, to_mesial) < _ON_AXIS_MM:
        return 0.0
    turn = float(np.degrees(np.arctan2(to_mesial, to_buccal)))
    if turn > 90.0:
        return turn - 180.0
    return turn + 180.0 if turn < -90.0 else turn


def _lean(sideways: float, upright: float) -> float:
    return float(np.degrees(np.arctan2(sideways, upright)))


def _mesial(frame: StationFrame, tooth: str) -> Array:
    """Along travel in quadrants 1 and 4, against it in 2 and 3; without a tooth to the left."""
    against = bool(tooth) and Tooth.of(tooth).quadrant in (2, 3)
    return -frame.travel if against else frame.travel
