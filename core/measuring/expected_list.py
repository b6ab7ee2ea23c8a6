"""What a fixture's tooth expects to be known near it: marked, declared, or still missing."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np

from core.arch import Arch, fixture_frame
from core.distances.floor_marks import floor_lacks
from core.distances.open_ends import TraceLack, trace_lacks
from core.distances.solid import FixtureSolid
from core.errors import PlanError
from core.fixture import Fixture
from core.geometry import Array
from core.identity import (
    Expected,
    Tooth,
    declared_name,
    expected_in_jaw,
    expected_structures,
    thing_words,
)
from core.measuring.nearness import Nearness
from core.plans.plan import MISSING, Declaration, Plan
from core.structures import Course, Floor, Foramen, Structure, Tapered, is_in_force
from core.words.catalogue import message

BESIDE_MM = 8.0
"""From the middle of a tooth to that of the next one, about (common practice, no source)."""

BETWEEN_PREMOLARS, TOOTH_MM = 4.5, 7.0
"""Where the mental foramen mostly lies, as a tooth's position, and from one tooth to the next there
(anatomy, from memory)."""

PAST_MM = 2.0
"""Past what is still asked for a canal is looked for: a mark just there would do for this very
axis alone (own choice, no source)."""

State: TypeAlias = Literal["marked", "declared", "missing", "sparse"]
"""*sparse*: marked, but too narrowly or too sparsely for this fixture."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ExpectedHere:
    """One thing that must be marked or declared.

    Parameters
    ----------
    expected : Expected
    state : {'marked', 'declared', 'missing', 'sparse'}
    station_mm : float
        About where along the arch it is to be looked for.
    """

    expected: Expected
    state: State
    station_mm: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class KnownHere(Nearness):
    """What is known near one fixture of what its tooth expects."""

    def is_marked(self, expected: Expected) -> bool:
        """Marked on this side; or a neighbour's place taken by a fixture or an existing implant."""
        for s in self.plan.structures:
            if expected.is_marked_by(s) and (isinstance(s, Tapered) or self.same_side(s)):
                return True
            stands_there = isinstance(s, Tapered) and s.kind == "existing" and s.tooth
            if stands_there and expected.name == f"root-{stands_there}":
                return True
        return any(expected.name == f"root-{f.tooth}" for f in self.plan.fixtures if f.tooth)

    def marked(self, expected: Expected) -> tuple[Structure, ...]:
        """What was marked of it on this side.

        Parameters
        ----------
        expected : Expected
        """
        return tuple(
            s for s in self.plan.structures if expected.is_marked_by(s) and self.same_side(s)
        )

    def declaration(self, names: tuple[str, ...]) -> Declaration | None:
        """What a person declared of one of these names on this side.

        Parameters
        ----------
        names : tuple of str
            As in ``declared.structure``.
        """
        here = {s.id: s for s in self.plan.structures if self.same_side(s)}
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
                        structure="loop",
                        state="looked for, not visible",
                        reason=message("measuring.said.of", id=thing_words(s.id)),
                    )
        return None


def expected_of(tooth: Tooth | None, jaw: Literal["lower", "upper"]) -> tuple[Expected, ...]:
    """What must be marked or declared at a tooth; without one what any fixture of the jaw needs."""
    return expected_in_jaw(jaw) if tooth is None else expected_structures(tooth)


def expected_list(plan: Plan, arch: Arch, fixture: Fixture) -> tuple[ExpectedHere, ...]:
    """Everything that a fixture's tooth expects, with its state, in the order of the measurements.

    Parameters
    ----------
    plan : Plan
    arch : Arch
    fixture : Fixture

    Returns
    -------
    tuple of ExpectedHere
        Empty while neither tooth nor jaw is known.
    """
    tooth = Tooth.of(fixture.tooth) if fixture.tooth else None
    jaw = plan.jaw if tooth is None else tooth.jaw
    if jaw is None:
        return ()
    known = KnownHere(plan=plan, arch=arch, fixture=fixture)
    found: list[ExpectedHere] = []
    for each in expected_of(tooth, jaw):
        state: State = "missing"
        if known.is_marked(each):
            state = "marked"
        elif _counts(known.declaration(each.any_of)):
            state = "declared"
        root = each.name.removeprefix("root-") if each.name.startswith("root-") else ""
        away = 0.0
        if tooth is not None and root:
            away = _towards(tooth, root) * BESIDE_MM
        elif tooth is not None and each.name == "foramen":
            away = _to_the_foramen(tooth)
        here = arch.station(fixture.platform) + away
        lacking = _lacking(known, each) if state == "marked" else None
        if lacking is not None:
            state, here = "sparse", arch.station(lacking)
        found.append(ExpectedHere(expected=each, state=state, station_mm=here))
    return tuple(found)


def _lacking(known: KnownHere, expected: Expected) -> Array | None:
    """(3,) where a floor or a canal that is marked needs more for the fixture; None: nowhere.

    A floor that is to be elevated is not judged. Of several canals of a side one is enough.
    """
    traces = traces_lacking(known, expected)
    if traces:
        lack = traces[0]
        return np.asarray(lack.end_mm + (lack.short_mm + PAST_MM) * lack.way)
    solid = FixtureSolid.of(known.fixture)
    try:
        frame = fixture_frame(known.fixture, known.arch)
    except PlanError:
        return None
    for floor in known.marked(expected):
        if isinstance(floor, Floor) and is_in_force(floor):
            lacks = floor_lacks(solid, floor.points, frame)
            return lacks[0].place_mm(solid) if lacks else None
    return None


def traces_lacking(known: KnownHere, expected: Expected) -> tuple[TraceLack, ...]:
    """On which sides of the fixture a canal that is marked is traced too short.

    Parameters
    ----------
    known : KnownHere
    expected : Expected

    Returns
    -------
    tuple of TraceLack
        Of the canal that lacks least; empty where one of them lacks nothing.
    """
    try:
        frame = fixture_frame(known.fixture, known.arch)
    except PlanError:
        return ()
    solid = FixtureSolid.of(known.fixture)
    found = [
        trace_lacks(solid, thing, frame=frame, others=known.plan.structures)
        for thing in known.marked(expected)
        if isinstance(thing, Course) and len(thing.points) > 1
    ]
    return min(found, key=len, default=())


def _to_the_foramen(tooth: Tooth) -> float:
    """From a tooth to between the premolars, + towards the patient's left."""
    forwards = -1.0 if tooth.side == "left" else 1.0
    return forwards * (tooth.position - BETWEEN_PREMOLARS) * TOOTH_MM


def _towards(tooth: Tooth, neighbour: str) -> float:
    """+1 where the neighbour stands towards the patient's left, as stations grow; else -1."""
    other = Tooth.of(neighbour)
    if other.side != tooth.side:
        return 1.0 if other.side == "left" else -1.0
    further_back = other.position > tooth.position
    return 1.0 if further_back == (tooth.side == "left") else -1.0


def _counts(declared: Declaration | None) -> bool:
    """False where nothing is declared, or *not near this site* without a reason."""
    if declared is None:
        return False
    return declared.state != "not near this site" or bool(str(declared.reason).strip())


def is_settled(declaration: Declaration) -> bool:
    """Only *not near this site*, with a reason, and a missing tooth leave the summary."""
    if declaration.state == MISSING:
        return True
    return declaration.state == "not near this site" and bool(str(declaration.reason).strip())
