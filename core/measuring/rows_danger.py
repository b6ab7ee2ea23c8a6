"""Rows of danger and roots: clearances to everything marked, and to the other fixtures."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass, replace
from typing import Literal, assert_never

import numpy as np

from core.arch import FixtureFrame
from core.distances.clearance import clearance, length_beyond_floor
from core.distances.drilling import UNKNOWN_TIP_MM
from core.distances.first_hit import first_hit_along_axis
from core.distances.fixture_pair import angle_between, zones_and_tip
from core.distances.floor_surface import FloorSurface
from core.distances.freehand import (
    FREE_HAND,
    FULL_GUIDE,
    PILOT_GUIDE,
    Series,
    least_clearance,
)
from core.distances.solid import FixtureSolid
from core.distances.tubes import balls_along, tubes_of
from core.fixture import Fixture
from core.geometry import Array
from core.measurement import Measurement, Note, Reading
from core.measurement_kinds import (
    ClearanceDetails,
    DepthDetails,
    Details,
    HeightDetails,
    MeasurementKind,
)
from core.measuring.basis import Basis, RowMaker
from core.measuring.nearness import Nearness
from core.measuring.rows_unmarked import UnmarkedRows, as_declared
from core.plans.limits import zones_of
from core.plans.plan import Plan
from core.structures import (
    Course,
    Floor,
    Foramen,
    KnownObject,
    PointMarks,
    Structure,
    Tapered,
    is_in_force,
    kind_of,
)
from core.words.catalogue import message

_NEARER_MM = 0.005


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DangerRows:
    """Makes the clearance rows of one fixture.

    Parameters
    ----------
    plan : Plan
    basis : Basis
    fixture : Fixture
    frame : FixtureFrame
    maker : RowMaker
    fine : bool
        With the lines for placement by hand, which take longer.
    own : Series or None
        The operator's own mean deviations, where there are films enough.
    """

    plan: Plan
    basis: Basis
    fixture: Fixture
    frame: FixtureFrame
    maker: RowMaker
    fine: bool
    own: Series | None = None

    def rows(self, *, without: Collection[str] = ()) -> Iterator[Measurement]:
        """Every clearance, then what is expected at the tooth and was not marked.

        Parameters
        ----------
        without : ids of structures whose own rows are left out
        """
        near = Nearness(plan=self.plan, arch=self.basis.arch, fixture=self.fixture)
        for structure in self.plan.structures:
            if structure.id not in without and near.concerns(structure):
                yield from self._of(structure)
        unmarked = UnmarkedRows(
            plan=self.plan,
            basis=self.basis,
            fixture=self.fixture,
            frame=self.frame,
            maker=self.maker,
        )
        yield from unmarked.unseen_loop()
        yield from self._fixtures()
        yield from unmarked.expected()

    # -- marked structures ---------------------------------------------------------------

    def _of(self, structure: Structure) -> Iterator[Measurement]:
        match structure:
            case Course() | Foramen():
                yield from self._danger(structure)
            case Floor():
                judged = is_in_force(structure)
                yield from (self._danger if judged else self._elevation)(structure)
            case Tapered():
                yield from (self._zoned if is_in_force(structure) else self._removed)(structure)
            case PointMarks():
                yield from self._marked(structure)
            case KnownObject():
                return
            case _:
                assert_never(structure)

    def _removed(self, structure: Tapered) -> Iterator[Measurement]:
        reading = self._clearance(structure)
        yield self.maker.row(
            group="information",
            kind=MeasurementKind.CLEARANCE,
            target=structure.id,
            reading=replace(reading, notes=(*reading.notes, Note("to-be-removed"))),
        )

    def _marked(self, structure: PointMarks) -> Iterator[Measurement]:
        if kind_of(structure).group == "information":
            yield self.maker.row(
                group="information",
                kind=MeasurementKind.CLEARANCE,
                target=structure.id,
                reading=self._clearance(structure),
                details=ClearanceDetails(label=structure.label),
            )

    def _clearance(
        self,
        structure: Course | Foramen | Tapered | Floor | PointMarks,
        *,
        tip_mm: float = 0.0,
        part_mm: tuple[float, float] | None = None,
    ) -> Reading:
        others = tuple(s for s in self.plan.structures if s is not structure)
        reading = clearance(
            self.fixture,
            structure,
            frame=self.frame,
            others=others,
            tip_mm=tip_mm,
            part_mm=part_mm,
        )
        return as_declared(self.plan, structure, reading)

    def _danger(self, structure: Course | Foramen | Floor) -> Iterator[Measurement]:
        kind = kind_of(structure)
        reading = self._clearance(structure)
        details = ClearanceDetails()
        if self.fine and reading.value is not None:
            details = self._by_hand(structure)
        yield self.maker.row(
            group=kind.group,
            kind=MeasurementKind.CLEARANCE,
            target=structure.id,
            reading=reading,
            limit_key=kind.limit,
            details=details,
        )
        yield from self._tip(structure, kind.limit, reading)

    def _by_hand(self, structure: Course | Foramen | Floor) -> ClearanceDetails:
        """What placing by hand or by a guide would make of a clearance, mean deviations.

        The poses are tried on the structure as a cloud of balls 0.15 mm apart; the pose found is
        then measured exactly.
        """
        centres, radii = ball_cloud(structure, around=self.fixture.platform)
        if len(centres) == 0:
            return ClearanceDetails()

        solid = FixtureSolid.of(self.fixture)

        def at(platforms: Array, axes: Array) -> Array:
            return solid.least_at_poses(platforms, axes, centres, radii)

        found: dict[str, float] = {}
        own = () if self.own is None else (self.own,)
        for series in (FREE_HAND, PILOT_GUIDE, FULL_GUIDE, *own):
            placed = least_clearance(self.fixture, series, buccal=self.frame.b, clearances_at=at)
            value = clearance(placed.fixture, structure).value
            if value is not None:
                found[f"{series.key}_at_least_mm"] = value
        source = "" if self.own is None else self.own.source
        return ClearanceDetails(by_hand_mm=found, own_figures=source)

    def _tip(
        self, structure: Course | Foramen | Floor | Tapered, key: str, bare: Reading
    ) -> Iterator[Measurement]:
        """The same with the drill's tip, where the tip comes nearer than the fixture."""
        tip = UNKNOWN_TIP_MM
        reading = self._clearance(structure, tip_mm=tip)
        if bare.value is None or reading.value is None or reading.value > bare.value - _NEARER_MM:
            return
        note = Note("with-tip", {"tip": tip})
        yield self.maker.row(
            group=kind_of(structure).group,
            kind=MeasurementKind.CLEARANCE,
            target=structure.id,
            parts=("tip",),
            reading=replace(reading, notes=(*reading.notes, note)),
            limit_key=key,
            details=ClearanceDetails(with_tip_mm=tip),
        )

    def _elevation(self, floor: Floor) -> Iterator[Measurement]:
        reading = self._clearance(floor)
        note = Note("floor-elevation-intended")
        yield self.maker.row(
            group="danger",
            kind=MeasurementKind.CLEARANCE,
            target=floor.id,
            reading=replace(reading, notes=(*reading.notes, note)),
        )
        radius = float(self.fixture.size.profile[:, 1].max())
        yield self.maker.row(
            group="bone",
            kind=MeasurementKind.RIDGE_HEIGHT,
            target=floor.id,
            parts=("residual",),
            reading=first_hit_along_axis(
                self.fixture.platform, self.fixture.towards_apex, radius, floor
            ),
            details=HeightDetails(along="axis", counted_from="platform"),
        )
        yield self.maker.row(
            group="bone",
            kind=MeasurementKind.DEPTH,
            target=floor.id,
            parts=("beyond",),
            reading=length_beyond_floor(self.fixture, floor),
            details=DepthDetails(of=message("measuring.of.beyond-floor")),
        )

    def _zoned(self, structure: Tapered) -> Iterator[Measurement]:
        """The shortest distance of all, judged by the zone it lies in; then the other zone.

        The shortest distance may lie deep, where it meets the smaller limit, while the shoulder
        misses the larger one: both are measured.
        """
        zones = zones_of(kind_of(structure).limit, self._length)
        readings = [self._clearance(structure, part_mm=(z.from_mm, z.to_mm)) for z in zones]
        values = [np.inf if r.value is None else r.value for r in readings]
        tightest = int(np.argmin(values))
        whole = self._clearance(structure)
        yield from self._tip(structure, zones[-1].key, whole)
        for index, zone in enumerate(zones):
            name: Literal["shoulder", "deep"] = "shoulder" if index == 0 else "deep"
            yield self.maker.row(
                group="roots",
                kind=MeasurementKind.CLEARANCE,
                target=structure.id,
                parts=() if index == tightest else (name,),
                reading=whole if index == tightest else readings[index],
                limit_key=zone.key,
                details=ClearanceDetails(zone=name),
            )

    @property
    def _length(self) -> float:
        return self.fixture.size.length_mm

    # -- other fixtures ------------------------------------------------------------------

    def _fixtures(self) -> Iterator[Measurement]:
        zones, tip = zones_of("fixture", self._length), UNKNOWN_TIP_MM
        depths = [(zone.from_mm, zone.to_mm) for zone in zones]
        for other in self.plan.fixtures:
            if other.id == self.fixture.id:
                continue
            readings, with_tip = zones_and_tip(
                self.fixture, other, depths, tip_mm=tip, nearer_by_mm=_NEARER_MM
            )
            for index, (zone, reading) in enumerate(zip(zones, readings, strict=True)):
                yield self.maker.row(
                    group="roots",
                    kind=MeasurementKind.CLEARANCE,
                    target=other.id,
                    parts=(() if index == 0 else ("deep",)),
                    reading=reading,
                    limit_key=zone.key,
                    details=ClearanceDetails(
                        zone="shoulder" if index == 0 else "deep", of="fixture"
                    ),
                )
            if with_tip is not None:
                note = Note("with-tip", {"tip": tip})
                yield self.maker.row(
                    group="roots",
                    kind=MeasurementKind.CLEARANCE,
                    target=other.id,
                    parts=("tip",),
                    reading=replace(with_tip, notes=(*with_tip.notes, note)),
                    limit_key=zones[-1].key,
                    details=ClearanceDetails(of="fixture", with_tip_mm=tip),
                )
            yield self.maker.row(
                group="information",
                kind=MeasurementKind.ANGLE,
                target=other.id,
                reading=angle_between(self.fixture, other),
                details=Details(of=message("measuring.of.both-axes")),
            )


def ball_cloud(
    structure: Course | Foramen | Floor, *, around: Array, reach_mm: float = 25.0
) -> tuple[Array, Array]:
    """Centres (n, 3) and radii (n,) of balls that stand close together along a structure.

    Only those within `reach_mm` of a point; a floor's balls have no radius.

    Parameters
    ----------
    structure : Structure
    around : (3,) patient LPS mm
    reach_mm : float, optional
        mm.
    """
    if isinstance(structure, Floor):
        surface = FloorSurface.through(structure.points)
        centres = np.empty((0, 3)) if surface is None else surface.samples(0.25)
        radii = np.zeros(len(centres))
    else:
        (tube,) = tubes_of(structure)
        centres, radii = balls_along(tube, 0.15)
    near = np.linalg.norm(centres - around, axis=1) <= reach_mm
    return centres[near], radii[near]
