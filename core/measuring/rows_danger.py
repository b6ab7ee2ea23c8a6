"""Rows of danger and roots: clearances to everything marked, and what was not marked."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass, replace

import numpy as np

from core.arch import FixtureFrame
from core.distances.by_hand import (
    FREE_HAND,
    FULL_GUIDE,
    OWN_SOURCE,
    PILOT_GUIDE,
    Series,
    least_clearance,
)
from core.distances.clearance import clearance, foramen_zone, length_beyond_floor
from core.distances.drilling import UNKNOWN_TIP_MM
from core.distances.first_hit import first_hit_along_axis
from core.distances.fixture_pair import angle_between, between_fixtures
from core.distances.floor_surface import FloorSurface
from core.distances.solid import FixtureSolid
from core.distances.tubes import tubes_of
from core.fixture import Fixture
from core.geometry import Array
from core.identity import Expected, declared_name, expected_in_jaw, expected_structures
from core.measurement import Measurement, Note, Reading
from core.measuring.basis import Basis, RowMaker
from core.measuring.nearness import Nearness
from core.plans.limits import zones_of
from core.plans.plan import Declaration, Plan
from core.structures import Course, Floor, Foramen, PointMarks, Structure, Tapered

_NEARER_MM = 0.005

_NOT_MET = {
    "looked for, not visible": "declared-not-visible",
    "outside the scanned region": "declared-outside",
}
"""Declared states that count as not met, and their sentences."""


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
        for structure in self.plan.structures:
            if structure.id not in without and self._near.concerns(structure):
                yield from self._of(structure)
        yield from self._unseen_loop()
        yield from self._fixtures()
        yield from self._expected()

    @property
    def _near(self) -> Nearness:
        return Nearness(plan=self.plan, arch=self.basis.arch, fixture=self.fixture)

    # -- marked structures ---------------------------------------------------------------

    def _of(self, structure: Structure) -> Iterator[Measurement]:
        match structure:
            case Course() | Foramen():
                kind = structure.kind if isinstance(structure, Course) else "foramen"
                yield from self._danger(structure, kind)
            case Floor(elevation_intended=True):
                yield from self._elevation(structure)
            case Floor():
                yield from self._danger(structure, "floor")
            case Tapered(to_be_removed=True):
                reading = self._clearance(structure)
                yield self.maker.row(
                    group="information",
                    kind="clearance",
                    target=structure.id,
                    reading=replace(reading, notes=(*reading.notes, Note("to-be-removed"))),
                )
            case Tapered():
                yield from self._zoned(structure)
            case PointMarks(kind="mark"):
                yield self.maker.row(
                    group="information",
                    kind="clearance",
                    target=structure.id,
                    reading=self._clearance(structure),
                    details={"label": structure.label} if structure.label else None,
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
        return self._as_declared(structure, reading)

    def _as_declared(self, structure: Structure, reading: Reading) -> Reading:
        """A marked structure that is declared not visible, or outside, counts as not met."""
        for declared in self.plan.declared:
            if declared.structure == structure.id and declared.state in _NOT_MET:
                fields = _declared_fields(declared, declared.structure)
                note = Note(_NOT_MET[declared.state], fields)
                return replace(reading, upper_bound=True, notes=(*reading.notes, note))
        return reading

    def _danger(self, structure: Course | Foramen | Floor, key: str) -> Iterator[Measurement]:
        reading = self._clearance(structure)
        details: dict[str, object] = {}
        if self.fine and reading.value is not None:
            details = self._by_hand(structure)
        yield self.maker.row(
            group="danger",
            kind="clearance",
            target=structure.id,
            reading=reading,
            limit_key=key,
            details=details,
        )
        yield from self._tip(structure, key, reading)

    def _by_hand(self, structure: Course | Foramen | Floor) -> dict[str, object]:
        """What placing by hand or by a guide would make of a clearance, mean deviations.

        The poses are tried on the structure as a cloud of balls 0.15 mm apart; the pose found is
        then measured exactly.
        """
        centres, radii = ball_cloud(structure, around=self.fixture.platform)
        if len(centres) == 0:
            return {}

        def at(moved: Fixture) -> float:
            return float((FixtureSolid.of(moved).signed_distance(centres) - radii).min())

        details: dict[str, object] = {}
        own = () if self.own is None else (self.own,)
        for series in (FREE_HAND, PILOT_GUIDE, FULL_GUIDE, *own):
            placed = least_clearance(self.fixture, series, buccal=self.frame.b, clearance_at=at)
            value = clearance(placed.fixture, structure).value
            if value is not None:
                details[f"{series.name.replace(' ', '_').replace('-', '_')}_at_least_mm"] = value
        if self.own is not None:
            details[OWN_SOURCE] = self.own.source
        return details

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
            group="roots" if isinstance(structure, Tapered) else "danger",
            kind="clearance",
            target=structure.id,
            parts=("tip",),
            reading=replace(reading, notes=(*reading.notes, note)),
            limit_key=key,
            details={"with_tip_mm": tip},
        )

    def _elevation(self, floor: Floor) -> Iterator[Measurement]:
        reading = self._clearance(floor)
        note = Note("floor-elevation-intended")
        yield self.maker.row(
            group="danger",
            kind="clearance",
            target=floor.id,
            reading=replace(reading, notes=(*reading.notes, note)),
        )
        radius = float(self.fixture.size.profile[:, 1].max())
        yield self.maker.row(
            group="bone",
            kind="ridge_height",
            target=floor.id,
            parts=("residual",),
            reading=first_hit_along_axis(
                self.fixture.platform, self.fixture.towards_apex, radius, floor
            ),
            details={"along": "axis", "from": "platform"},
        )
        yield self.maker.row(
            group="bone",
            kind="depth",
            target=floor.id,
            parts=("beyond",),
            reading=length_beyond_floor(self.fixture, floor),
            details={"of": "length beyond the floor"},
        )

    def _zoned(self, structure: Tapered) -> Iterator[Measurement]:
        """The shortest distance of all, judged by the zone it lies in; then the other zone.

        The shortest distance may lie deep, where it meets the smaller limit, while the shoulder
        misses the larger one: both are measured.
        """
        zones = zones_of("root" if structure.kind == "root" else "fixture", self._length)
        readings = [self._clearance(structure, part_mm=(z.from_mm, z.to_mm)) for z in zones]
        values = [np.inf if r.value is None else r.value for r in readings]
        tightest = int(np.argmin(values))
        whole = self._clearance(structure)
        yield from self._tip(structure, zones[-1].key, whole)
        for index, zone in enumerate(zones):
            name = "shoulder" if index == 0 else "deep"
            yield self.maker.row(
                group="roots",
                kind="clearance",
                target=structure.id,
                parts=() if index == tightest else (name,),
                reading=whole if index == tightest else readings[index],
                limit_key=zone.key,
                details={"zone": name},
            )

    @property
    def _length(self) -> float:
        return self.fixture.size.length_mm

    # -- what is not known ---------------------------------------------------------------

    def _unseen_loop(self) -> Iterator[Measurement]:
        """Parts mesial of a foramen need 5 mm along the arch while the loop is not known."""
        near = self._near
        if any(
            isinstance(s, Course) and s.kind == "loop" and near.same_side(s)
            for s in self.plan.structures
        ):
            return
        declared = self._declaration(("loop",))
        if declared is not None and _is_settled(declared):
            return
        for foramen in self.plan.structures:
            if not isinstance(foramen, Foramen) or not near.concerns(foramen):
                continue
            reading = foramen_zone(self.fixture, foramen, self.basis.arch, mesial=self._mesial)
            if reading is not None:
                yield self.maker.row(
                    group="danger",
                    kind="clearance",
                    target=foramen.id,
                    parts=("loop-unseen",),
                    reading=reading,
                    limit_key="loop-unseen",
                    details={"along": "arch"},
                )

    @property
    def _mesial(self) -> float | None:
        """Sense of mesial along the arch's travel; None where no tooth tells it."""
        if not self.frame.named_by_tooth:
            return None
        return float(np.sign(self.frame.m @ self.frame.station.travel))

    def _expected(self) -> Iterator[Measurement]:
        expected = (
            expected_in_jaw(self.basis.jaw)
            if self.maker.tooth is None
            else expected_structures(self.maker.tooth)
        )
        for each in expected:
            if not self._is_known(each):
                yield self._missing(each)

    def _is_known(self, expected: Expected) -> bool:
        """Marked on this side; or a neighbour's place taken by a fixture or an existing implant."""
        near = self._near
        for s in self.plan.structures:
            if expected.is_marked_by(s) and (isinstance(s, Tapered) or near.same_side(s)):
                return True
            stands_there = isinstance(s, Tapered) and s.kind == "existing" and s.tooth
            if stands_there and expected.name == f"root-{stands_there}":
                return True
        return any(expected.name == f"root-{f.tooth}" for f in self.plan.fixtures if f.tooth)

    def _missing(self, expected: Expected) -> Measurement:
        what = expected.words()[:1].upper() + expected.words()[1:]
        note = Note("not-marked", {"what": what})
        declared = self._declaration(expected.any_of)
        settled = False
        state = ""
        if declared is not None:
            state = declared.state
            settled = _is_settled(declared)
            code = _NOT_MET.get(declared.state, "declared-not-near")
            note = Note(code, _declared_fields(declared, what))
            if declared.state == "not near this site" and not settled:
                note = Note("declared-without-reason", {"what": what})
        row = self.maker.row(
            group="roots" if expected.name.startswith("root-") else "danger",
            kind="clearance",
            target=expected.name.replace(" ", "-"),
            reading=Reading(value=None, notes=(note,)),
            details={"expected": True, **({"declared": state} if state else {})},
        )
        return replace(row, verdict=None) if settled else row

    def _declaration(self, names: tuple[str, ...]) -> Declaration | None:
        """What a person declared of one of these names on this side."""
        near = self._near
        here = {s.id: s for s in self.plan.structures if near.same_side(s)}
        for declaration in self.plan.declared:
            marked = here.get(declaration.structure)
            if declaration.structure in names or (
                marked is not None and declared_name(marked) in names
            ):
                return declaration
        # A foramen whose loop was looked for and not seen says so itself.
        if "loop" in names:
            for s in here.values():
                if isinstance(s, Foramen) and s.loop == "not seen":
                    return Declaration(
                        structure="loop", state="looked for, not visible", reason=f"said of {s.id}"
                    )
        return None

    # -- other fixtures ------------------------------------------------------------------

    def _fixtures(self) -> Iterator[Measurement]:
        for other in self.plan.fixtures:
            if other.id == self.fixture.id:
                continue
            for index, zone in enumerate(zones_of("fixture", self._length)):
                yield self.maker.row(
                    group="roots",
                    kind="clearance",
                    target=other.id,
                    parts=(() if index == 0 else ("deep",)),
                    reading=between_fixtures(
                        self.fixture, other, first_part_mm=(zone.from_mm, zone.to_mm)
                    ),
                    limit_key=zone.key,
                    details={"zone": "shoulder" if index == 0 else "deep", "of": "fixture"},
                )
            yield from self._fixture_tip(other)
            yield self.maker.row(
                group="information",
                kind="angle",
                target=other.id,
                reading=angle_between(self.fixture, other),
                details={"of": "axes of both fixtures"},
            )

    def _fixture_tip(self, other: Fixture) -> Iterator[Measurement]:
        """The drill's tip and another fixture, where the tip comes nearer than the fixture."""
        tip = UNKNOWN_TIP_MM
        bare = between_fixtures(self.fixture, other).value
        reading = between_fixtures(self.fixture, other, tip_mm=tip)
        if bare is None or reading.value is None or reading.value > bare - _NEARER_MM:
            return
        note = Note("with-tip", {"tip": tip})
        yield self.maker.row(
            group="roots",
            kind="clearance",
            target=other.id,
            parts=("tip",),
            reading=replace(reading, notes=(*reading.notes, note)),
            limit_key=zones_of("fixture", self._length)[-1].key,
            details={"of": "fixture", "with_tip_mm": tip},
        )


def ball_cloud(
    structure: Course | Foramen | Floor, *, around: Array, reach_mm: float = 25.0
) -> tuple[Array, Array]:
    """Centres (n, 3) and radii (n,) of balls that stand close together along a structure.

    Only those within `reach_mm` of a point; a floor's balls have no radius.
    """
    if isinstance(structure, Floor):
        surface = FloorSurface.through(structure.points)
        centres = np.empty((0, 3)) if surface is None else surface.samples(0.25)
        radii = np.zeros(len(centres))
    else:
        (tube,) = tubes_of(structure)
        count = max(2, round(tube.length_mm / 0.15) + 1)
        centres, radii = tube.at(np.linspace(0.0, tube.length_mm, count))
    near = np.linalg.norm(centres - around, axis=1) <= reach_mm
    return centres[near], radii[near]


def _declared_fields(declared: Declaration, what: str) -> dict[str, object]:
    by, reason = declared.by or "nobody named", declared.reason or "no reason given"
    return {"what": what, "by": by, "reason": reason}


def _is_settled(declaration: Declaration) -> bool:
    """Only *not near this site*, with a reason, leaves the summary."""
    return declaration.state == "not near this site" and bool(declaration.reason.strip())
