"""Self-test of the rules: verdicts at their limits, uncertainty, limits, distances of known solids.

Every expected figure is worked out here by hand, apart from the functions that are tested.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from core.distances.clearance import clearance
from core.distances.fixture_pair import angle_between, between_fixtures
from core.fixture import Fixture, FixtureSize
from core.measurement import MARKED, Budget, Evidence, Limit, MarkInfluence, Note, Reading, Term
from core.measuring.self_test_check import Check, holds
from core.plans.limits import ROWS
from core.structures import Course, Floor, Foramen, Tapered
from core.trust.uncertainty import budget
from core.trust.verdict import Hindrance, judge, round_down, round_up
from core.words.catalogue import message

LIMITS_MM = {
    "canal": (2.0,), "loop": (2.0,), "foramen": (2.0,), "vessel": (2.0,), "root": (1.5,),
    "root-deep": (1.0,), "floor": (1.0,), "fixture": (3.0,), "fixture-deep": (2.0,),
    "wall-buccal": (2.0,), "wall-buccal-deep": (1.0,), "wall-lingual": (1.0,),
    "surface-lingual": (1.0,), "surface-apical": (2.0,), "border": (1.0,),
    "tip": (2.0,),
}  # fmt: skip
"""The limits that the program is shipped with, written a second time."""

_FOUND, _UNSURE = Evidence(rests_on="marks"), Note("evidence-none")
_EXACT_MM = 0.005


def rule_checks() -> Iterator[Check]:
    """Every rule that needs no scan."""
    yield from _verdicts()
    yield from _uncertainty()
    yield from _distances()
    yield holds(message("selftest.limits-known"), {row.key for row in ROWS} == set(LIMITS_MM))
    for key, values in LIMITS_MM.items():
        shipped = tuple(row.value for row in ROWS if row.key == key)
        yield holds(message("selftest.shipped-limit", key=key), shipped == values)
    yield Check(what=message("selftest.rounding"),
                found=round_down(2.39, 0.1) + 10 * round_up(0.31, 0.1), true=2.3 + 4.0,
                bound=1e-9)  # fmt: skip


def _verdicts() -> Iterator[Check]:
    limit = Limit(key="canal", value=2.0, lower_line=1.0, source="self-test", default=2.0)
    u = 0.2
    doubt = Budget(terms=(Term(name="placement", u=u, source="self-test"),))
    edge = 2.0 + 1.645 * u
    hindered = (Hindrance(note=_UNSURE),)
    cases = (
        ("selftest.case.under-limit", 1.999, _FOUND, False, (), "below limit"),
        ("selftest.case.at-limit", 2.0, _FOUND, False, (), "too near to tell"),
        ("selftest.case.under-guard", edge - 0.001, _FOUND, False, (), "too near to tell"),
        ("selftest.case.over-guard", edge + 0.001, _FOUND, False, (), "meets limit"),
        ("selftest.case.upper-bound", 9.0, _FOUND, True, (), "not assessed"),
        ("selftest.case.no-evidence", 9.0, Evidence(rests_on="nothing"), False, (), "not assessed"),
        ("selftest.case.levels", 9.0, Evidence(rests_on="image", levels=_UNSURE), False, (),
         "not assessed"),
        ("selftest.case.edge", 9.0, Evidence(rests_on="image", found=_UNSURE), False, (),
         "not assessed"),
        ("selftest.case.nearer", 9.0, Evidence(rests_on="image", nearer=_UNSURE), False, (),
         "not assessed"),
        ("selftest.case.hindrance", 9.0, _FOUND, False, hindered, "not assessed"),
        ("selftest.case.in-spite", 1.0, _FOUND, False, hindered, "below limit"),
    )  # fmt: skip
    for words, value, evidence, upper, stops, expected in cases:
        reading = Reading(value=value, evidence=evidence, upper_bound=upper)
        said = judge(reading, doubt, limit, hindrances=stops)
        yield Check(
            what=message("selftest.verdict", case=message(words)),
            found=float(said == expected),
            true=1.0,
            bound=0.0,
            unit="",
        )
    loosened = Limit(key="canal", value=0.5, lower_line=1.0, source="", default=2.0)
    said = judge(Reading(value=0.9, evidence=_FOUND), doubt, loosened)
    yield Check(what=message("selftest.verdict", case=message("selftest.case.absolute-minimum")),
                found=float(said == "below limit"), true=1.0, bound=0.0, unit="")  # fmt: skip


def _uncertainty() -> Iterator[Check]:
    x = np.array([1.0, 0.0, 0.0])
    alone = MarkInfluence(mark="a/0", gradient=0.6 * x)
    faint = MarkInfluence(mark="a/1", gradient=0.8 * x, seen="faint")
    reading = Reading(
        value=10.0, marks=(alone, faint), edge_sd_mm=(0.03, 0.04), size_sd_mm=0.1, evidence=MARKED
    )
    found = budget(reading, voxel_extents_mm=(0.3,), scale_length_mm=20.0)
    parts = (0.6 * 0.25, 0.8 * 0.5, 0.05, 0.1, 0.3 / math.sqrt(12), 0.14)
    true = math.sqrt(sum(p * p for p in parts))
    yield Check(what=message("selftest.combined"),
                found=None if found is None else found.u, true=true, bound=1e-6)  # fmt: skip
    yield Check(what=message("selftest.expanded"),
                found=None if found is None else found.expanded, true=2 * true,
                bound=1e-6)  # fmt: skip
    shared = tuple(MarkInfluence(mark=f"c/{i}", gradient=0.5 * x, course="c") for i in range(2))
    found = budget(Reading(value=1.0, marks=shared, evidence=MARKED), scale_length_mm=0.0)
    true = math.hypot(0.25 / math.sqrt(2), 0.32)
    yield Check(what=message("selftest.course"),
                found=None if found is None else found.u, true=true, bound=1e-6)  # fmt: skip


def _distances() -> Iterator[Check]:
    """An upright cylinder Ø 4 x 10 mm, its platform in the origin, pointing down."""
    size = FixtureSize(diameter_mm=4.0, length_mm=10.0)
    fixture = Fixture(
        id="one", platform=np.zeros(3), towards_apex=np.array([0.0, 0.0, -1.0]), size=size
    )
    ends = [[-9.0, 0.0, -15.0], [0.0, 0.0, -15.0], [9.0, 0.0, -15.0]]
    canal = Course(id="canal", kind="canal", points=np.array(ends), diameter_mm=3.0)
    aside = Tapered(id="root", kind="root", points=np.array([[6.0, 0, 2.0], [6.0, 0, -12.0]]),
                    diameters_mm=(3.0, 3.0))  # fmt: skip
    hole = Foramen(id="hole", mesial=np.array([0, 6.0, -5.0]), distal=np.array([0, 8.0, -5.0]))
    grid = [[x, y, -13.0] for x in (-6.0, 0.0, 6.0) for y in (-6.0, 0.0, 6.0)]
    floor = Floor(id="floor", of="sinus", points=np.array(grid))
    for words, thing, tip, true in (
        ("selftest.thing.canal", canal, 0.0, 3.5),
        ("selftest.thing.canal-tip", canal, 1.5, 2.0),
        ("selftest.thing.root", aside, 0.0, 2.5),
        ("selftest.thing.foramen", hole, 0.0, 4.0),
        ("selftest.thing.floor", floor, 0.0, 3.0),
        ("selftest.thing.floor-tip", floor, 1.5, 1.5),
    ):
        value = clearance(fixture, thing, tip_mm=tip).value
        yield Check(
            what=message("selftest.distance", thing=message(words)),
            found=value,
            true=true,
            bound=_EXACT_MM,
        )
    away = np.array([math.sin(math.radians(20.0)), 0.0, -math.cos(math.radians(20.0))])
    other = Fixture(id="two", platform=np.array([7.0, 0, 0]), towards_apex=away, size=size)
    beside = Fixture(id="three", platform=np.array([7.0, 0, 0]), towards_apex=fixture.towards_apex,
                     size=size)  # fmt: skip
    yield Check(
        what=message("selftest.between-fixtures"),
        found=between_fixtures(fixture, beside).value,
        true=3.0,
        bound=_EXACT_MM,
    )
    yield Check(what=message("selftest.angle-fixtures"), found=angle_between(fixture, other).value,
                true=20.0, bound=0.01, unit="deg")  # fmt: skip
