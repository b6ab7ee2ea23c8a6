"""The arch: the curve along the jaw that stations, sections and sides are counted on.

Travel runs from the patient's right to the left, whatever the order of the points. Which way is
buccal follows from travel and *up*; `core.direction` weighs the signs for it. While they leave it
open a person is asked; while they disagree nothing that knows a side is believed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike

from core.curve import Curve
from core.direction import Direction, NamedPlace, Region, SideAnswers
from core.direction_signs import weigh
from core.errors import PlanError
from core.findings import Finding
from core.fixture import Fixture
from core.geometry import Array, across, points, unit, vector
from core.identity import Tooth
from core.level import Level
from core.words.catalogue import Message, message

MIN_AGREEMENT = 0.2
"""Least dot product of buccal and the direction that the tooth's number leads to expect."""

MIN_UPRIGHT = 1e-3
"""Least part of a fixture's axis along *up* for buccal and mesial to have a meaning there."""

NO_ANSWERS = SideAnswers()
"""Nobody was asked yet."""

_BEYOND_MM = 1e-6
_WEIGHED_MM = 0.01


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StationFrame:
    """Place and directions at a station of the arch.

    Parameters
    ----------
    station_mm : float
        Arc length from the patient's right end.
    origin : (3,) patient LPS mm
        The curve's point, on the jaw plane.
    travel : (3,)
        Unit tangent from the patient's right to the left.
    up : (3,)
        The jaw plane's.
    buccal : (3,)
        travel x up, in both jaws and on both sides.
    beyond : bool
        True beyond the traced arch, where the curve is only continued straight on.
    """

    station_mm: float
    origin: Array
    travel: Array
    up: Array
    buccal: Array
    beyond: bool


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Arch:
    """Curve through the traced points, on the jaw plane, from the patient's right to the left.

    Parameters
    ----------
    curve : Curve
    level : Level
    direction : Direction
        How the signs for its direction weigh.
    answers : SideAnswers
        What a person said about the side.
    """

    curve: Curve
    level: Level
    direction: Direction
    answers: SideAnswers = NO_ANSWERS

    @classmethod
    def trace(
        cls,
        points_mm: ArrayLike,
        *,
        level: Level,
        answers: SideAnswers = NO_ANSWERS,
        planned: Region | None = None,
        named: Sequence[NamedPlace] = (),
    ) -> Arch:
        """Lay the arch through traced points.

        Parameters
        ----------
        points_mm : (n, 3) patient LPS mm
            In their order along the jaw, from either end.
        level : Level
        answers : SideAnswers, optional
            What a person said about the side.
        planned : Region or None
            Where the planned teeth stand.
        named : sequence of (tooth, point)
            Marked roots with the tooth that a person named.

        Raises
        ------
        PlanError
            ``arch-too-short`` when fewer than two points stand apart on the jaw plane.
        """
        marks = level.project(points(points_mm))
        if len(marks) < 2:
            raise PlanError("arch-too-short")
        try:
            curve = Curve.through(marks)
            line = level.project(curve.polyline(_WEIGHED_MM)[1])
            direction = weigh(line, level, answers, planned=planned, named=named)
            if direction.way < 0:
                curve = Curve.through(marks[::-1])
        except ValueError as error:
            raise PlanError("arch-too-short") from error
        return cls(curve=curve, level=level, direction=direction, answers=answers)

    @property
    def length_mm(self) -> float:
        """Arc length from the first to the last traced point."""
        return self.curve.length_mm

    @property
    def side_is_open(self) -> bool:
        """True while no picture may say left or right, cheek or tongue."""
        return self.direction.state != "settled"

    def directions(self, stations_mm: ArrayLike) -> tuple[Array, Array, Array]:
        """(m,) stations → (m, 3) points on the jaw plane, (m, 3) travel, (m, 3) buccal."""
        up = self.level.up
        travel = self.curve.tangent(stations_mm)
        travel = travel - (travel @ up)[:, None] * up
        travel /= np.linalg.norm(travel, axis=1, keepdims=True)
        return self.level.project(self.curve.at(stations_mm)), travel, np.cross(travel, up)

    def frame(self, station_mm: float) -> StationFrame:
        """Place and directions at a station."""
        return _frame(self, float(station_mm))

    def station(self, point_mm: ArrayLike) -> float:
        """Station nearest to a patient point, measured on the jaw plane."""
        return _station(self, vector(point_mm).tobytes())


@lru_cache(maxsize=256)
def _frame(arch: Arch, station_mm: float) -> StationFrame:
    """Remembered: pictures and rows ask for the same few stations again and again."""
    origin, travel, buccal = arch.directions(station_mm)
    return StationFrame(
        station_mm=station_mm,
        origin=vector(origin[0]),
        travel=vector(travel[0]),
        up=arch.level.up,
        buccal=vector(buccal[0]),
        beyond=not -_BEYOND_MM <= station_mm <= arch.length_mm + _BEYOND_MM,
    )


@lru_cache(maxsize=256)
def _station(arch: Arch, point: bytes) -> float:
    """Remembered like `_frame`; the point is given as the bytes of its three numbers."""
    return arch.curve.nearest(arch.level.project(np.frombuffer(point))[0])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FixtureFrame:
    """Directions at a fixture.

    Parameters
    ----------
    station : StationFrame
        Of the platform's centre.
    a : (3,)
        Unit axis from apex to platform.
    b : (3,)
        Buccal, made perpendicular to a.
    m : (3,)
        Mesial, made perpendicular to a and b; without a tooth, towards the patient's left.
    named_by_tooth : bool
        False: m is no mesial; directions are called "towards the patient's right/left".
    """

    station: StationFrame
    a: Array
    b: Array
    m: Array
    named_by_tooth: bool

    def direction(self, turn_deg: float) -> Array:
        """Unit direction at turn φ: b cos φ + m sin φ; 0° buccal, 90° mesial."""
        phi = np.radians(turn_deg)
        return unit(self.b * np.cos(phi) + self.m * np.sin(phi))


def fixture_frame(fixture: Fixture, arch: Arch) -> FixtureFrame:
    """Directions at a fixture: a from apex to platform, b buccal, m mesial.

    Mesial is along travel in quadrants 1 and 4, against it in 2 and 3.

    Raises
    ------
    PlanError
        ``fixture-axis-level`` when the axis lies along the arch or straight towards the cheek,
        so that buccal and mesial have no meaning.
    """
    station = arch.frame(arch.station(fixture.platform))
    a = fixture.a
    sideways = np.cross(a, station.buccal)
    along_arch = float(sideways @ station.travel)
    if abs(along_arch) < MIN_UPRIGHT:
        raise PlanError("fixture-axis-level", fixture=fixture.id)
    b = across(station.buccal, a)
    left = unit(sideways * np.sign(along_arch))
    against = bool(fixture.tooth) and Tooth.of(fixture.tooth).quadrant in (2, 3)
    return FixtureFrame(
        station=station,
        a=a,
        b=b,
        m=vector(-left if against else left),
        named_by_tooth=bool(fixture.tooth),
    )


def expected_buccal(tooth: Tooth) -> Array:
    """Direction in patient space that buccal should have at a tooth.

    Teeth 3 to 8: −x on the patient's right, +x on the left; teeth 1 and 2: −y (forwards).
    """
    if tooth.position <= 2:
        return vector((0.0, -1.0, 0.0))
    return vector((-1.0 if tooth.side == "right" else 1.0, 0.0, 0.0))


def tooth_doubt(arch: Arch, station_mm: float, tooth: str) -> Finding | None:
    """Whether buccal at the station of a fixture or site disagrees with its tooth.

    Parameters
    ----------
    arch : Arch
    station_mm : float
    tooth : str
        ISO 3950; empty: nothing to compare.

    Returns
    -------
    Finding or None
        The tooth's number, or left and right of the scan, is wrong.
    """
    if not tooth:
        return None
    named = Tooth.of(tooth)
    agreement = float(arch.frame(station_mm).buccal @ expected_buccal(named))
    # A canine stands at the corner, where the cheek lies nearly as much forwards as aside.
    if agreement >= (0.0 if named.position == 3 else MIN_AGREEMENT):
        return None
    return Finding(
        "side-against-tooth",
        "caution",
        {"tooth": named.words(), "station": station_words(arch, station_mm, None)},
    )


def station_words(arch: Arch, station_mm: float, midline: ArrayLike | None) -> Message:
    """A station for people: ``21.4 mm left of the midline``; the patient's left.

    Without a midline it is counted along the arch from the patient's right end; while the side
    is open neither left nor right is said.

    Parameters
    ----------
    arch : Arch
    station_mm : float
        Along the arch, mm.
    midline : (3,) patient LPS mm or None
    """
    words = _along(arch, station_mm, midline)
    if arch.frame(station_mm).beyond:
        return message("things.station.beyond", station=words)
    return words


def _along(arch: Arch, station_mm: float, midline: ArrayLike | None) -> Message:
    if arch.side_is_open:
        return message("things.station.open", mm=station_mm)
    if midline is None:
        return message("things.station.from-right-end", mm=station_mm)
    off = station_mm - arch.station(midline)
    if round(abs(off), 1) == 0.0:
        return message("things.station.at-midline")
    key = "things.station.left" if off > 0 else "things.station.right"
    return message(key, mm=abs(off))
