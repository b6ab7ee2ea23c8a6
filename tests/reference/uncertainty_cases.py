"""Simulated measurements whose truth is known: what a hand, a voxel and a scale make of them.

Each case is a fixture and one structure with true marks. A draw moves every mark by the placement
spread in each direction, and all marks of a course together by one person's bias, stretches the
scan about the platform, redraws a size that was not measured and adds a voxel's rectangular
error: the inputs that the budget says it covers, each with the distribution that it says. So these
cases test its arithmetic and its linearisation, not whether 0.25 mm a mark or 0.32 mm a course is
right for anybody's hand. `course_coverage` draws a bias that is not the program's own.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from scipy.interpolate import RBFInterpolator
from scipy.spatial import Delaunay

from core.distances.clearance import clearance
from core.fixture import Fixture, FixtureSize
from core.geometry import unit
from core.measurement import Budget, Limit, Reading
from core.structures import Course, Floor, Foramen, PointMarks, Tapered
from core.trust.uncertainty import (
    COURSE_SD_MM,
    DEFAULT_PLACEMENT,
    DEFAULT_SCALE,
    budget,
    scale_lever_mm,
    voxel_extent_mm,
)
from core.trust.verdict import judge
from sample_volumes.distances import fixture_distance
from sample_volumes.shapes import through

VOXEL_MM = 0.25
AFFINE = np.diag([VOXEL_MM, VOXEL_MM, VOXEL_MM, 1.0])
CANAL_SD_MM = 0.35
SIZE = FixtureSize(
    diameter_mm=4.5,
    length_mm=10.0,
    platform_diameter_mm=4.2,
    apical_diameter_mm=3.2,
    taper_from_mm=4.0,
)


@dataclass(frozen=True)
class Case:
    """A fixture, one structure, and the limit between them."""

    name: str
    fixture: Fixture
    structure: Any
    limit_mm: float

    def reading(self, structure: Any | None = None) -> Reading:
        """The program's."""
        return clearance(self.fixture, self.structure if structure is None else structure)

    def extent(self) -> float:
        """Of a voxel along the measured way."""
        first, second = self.reading().witness
        return voxel_extent_mm(AFFINE, second - first)

    def true(self, structure: Any | None = None) -> float:
        """By brute force, apart from the program: dense points against the fixture's outline."""
        centres, radii = dense(self.structure if structure is None else structure)
        away = fixture_distance(
            centres, self.fixture.platform, self.fixture.towards_apex, self.fixture.size.profile
        )
        return float((away - radii).min())

    def budget(self, reading: Reading) -> Budget:
        way = reading.witness[1] - reading.witness[0]
        if np.linalg.norm(way) < 1e-9:
            way = reading.marks[0].gradient
        found = budget(
            reading,
            voxel_extents_mm=(voxel_extent_mm(AFFINE, way),),
            scale_length_mm=scale_lever_mm(reading.witness, self.fixture.platform),
        )
        assert found is not None
        return found


def dense(structure: Any) -> tuple[np.ndarray, np.ndarray]:
    """Centres 0.1 mm apart (a floor 0.3 mm) and radii of a structure."""
    if isinstance(structure, Foramen):
        half = np.linalg.norm(structure.distal - structure.mesial) / 2
        return 0.5 * (structure.mesial + structure.distal)[None], np.array([half])
    p = np.array(structure.points)
    if isinstance(structure, Floor):
        middle = p.mean(axis=0)
        axes = np.linalg.svd(p - middle)[2]
        flat = (p - middle) @ axes.T
        plate = RBFInterpolator(flat[:, :2], flat[:, 2], kernel="thin_plate_spline", degree=1)
        ends = zip(flat.min(axis=0)[:2], flat.max(axis=0)[:2], strict=True)
        ranges = (np.arange(low, high, 0.3) for low, high in ends)
        uv = np.stack([g.ravel() for g in np.meshgrid(*ranges)], axis=1)
        uv = uv[np.abs(uv).max(axis=1) < 5.5]
        uv = uv[Delaunay(flat[:, :2]).find_simplex(uv) >= 0]
        return middle + np.column_stack([uv, plate(uv)]) @ axes, np.zeros(len(uv))
    if isinstance(structure, Tapered):
        at = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(p, axis=0), axis=1))])
        t = np.linspace(0.0, at[-1], 150)
        line = np.stack([np.interp(t, at, p[:, i]) for i in range(3)], axis=1)
        first, last = structure.diameters_mm
        return line, 0.5 * (first + (last - first) * t / at[-1])
    if isinstance(structure, PointMarks):
        return p, np.zeros(len(p))
    line = through(p, 0.2)  # of twice the chord: every 0.1 mm
    width = structure.diameter_mm or (3.0 if structure.kind == "canal" else 0.0)
    return line, np.full(len(line), width / 2)


def moved(structure: Any, change: Callable[[np.ndarray], np.ndarray]) -> Any:
    """The structure with every mark changed."""
    if isinstance(structure, Foramen):
        marks = np.array([structure.mesial, structure.distal])
        mesial, distal = change(marks)
        return replace(structure, mesial=mesial, distal=distal)
    return replace(structure, points=change(np.array(structure.points)))


def drawn(
    case: Case,
    rng: np.random.Generator,
    extent: float,
    *,
    bias_sd_mm: float = COURSE_SD_MM,
    own_sd_share: float = 1.0,
) -> tuple[Any, float]:
    """One draw of the structure as somebody would have marked it, and the voxel's error.

    Parameters
    ----------
    bias_sd_mm : float
        Of what is common to all marks of a course, in each direction.
    own_sd_share : float
        Share of the program's placement spread that each mark errs by, by itself.
    """
    stretch = 1 + rng.normal(0, DEFAULT_SCALE)
    seen = np.array([DEFAULT_PLACEMENT.sd_mm(s) for s in getattr(case.structure, "seen", ())])
    platform = case.fixture.platform
    bias = rng.normal(0, bias_sd_mm, 3) if isinstance(case.structure, Course) else np.zeros(3)

    def change(marks: np.ndarray) -> np.ndarray:
        sd = seen[:, None] if len(seen) else DEFAULT_PLACEMENT.seen_mm
        own = own_sd_share * rng.normal(size=marks.shape) * sd
        return platform + stretch * (marks - platform) + bias + own

    structure = moved(case.structure, change)
    if isinstance(structure, Course):
        # What is fitted errs by its own spread, what is typed or assumed by the program's. Truth
        # keeps what the case says, or 3.0 mm; which one is drawn makes no difference.
        sd = CANAL_SD_MM if structure.diameter_sd_mm is None else structure.diameter_sd_mm
        drawn_mm = (structure.diameter_mm or 3.0) + rng.normal(0, sd)
        structure = replace(structure, diameter_mm=max(drawn_mm, 0.01))
    return structure, float(rng.uniform(-extent / 2, extent / 2))


def monte_carlo(case: Case, draws: int, seed: int) -> np.ndarray:
    """Values of many draws (JCGM 101:2008, propagation of distributions)."""
    rng = np.random.default_rng(seed)
    extent = case.extent()
    made = [drawn(case, rng, extent) for _ in range(draws)]
    lines = [dense(structure) for structure, _ in made]
    f = case.fixture
    away = fixture_distance(
        np.concatenate([c for c, _ in lines]), f.platform, f.towards_apex, f.size.profile
    )
    away -= np.concatenate([r for _, r in lines])
    starts = np.cumsum([0, *(len(r) for _, r in lines[:-1])])
    return np.minimum.reduceat(away, starts) + np.array([voxel for _, voxel in made])


def upright() -> Fixture:
    return Fixture(id="36", platform=np.zeros(3), towards_apex=np.array([0, 0, -1.0]), size=SIZE)


def level_case() -> Case:
    """A canal level with the fixture's flat end: the nearest place jumps along both."""
    x = np.arange(-13.5, 14.0, 4.5)
    points = np.column_stack([x, 0.003 * x**2 - 0.02 * x, -14.0 - 0.0025 * x**2])
    course = Course(id="c", kind="canal", points=points, diameter_mm=3.0)
    return Case("canal level with the flat end", upright(), course, 2.0)


def ten_cases() -> list[Case]:
    """Below, beside and across; splines, cones, a surface, points; a known and an assumed size."""
    f = upright()
    leaning = replace(f, towards_apex=unit([0.3, -0.15, -1.0]))
    x = np.arange(-13.5, 14.0, 4.5)
    level = np.column_stack([x, 0.003 * x**2 - 0.02 * x, -14.0 - 0.0025 * x**2])
    along = level + np.column_stack([0 * x, 0 * x, 0.35 * x])
    beside = level * [1, 1, 0.6] + [0, 6.2, 0]
    flat = [[x, y, -12.6 - 0.03 * x * x + 0.1 * y] for x in (-7, 0, 7) for y in (-6.5, 0, 6.5)]
    faint = ("yes", "yes", "yes", "faint", "faint", "yes", "yes")
    return [
        Case("canal below, fitted", f, Course(id="c", kind="canal", points=along,
                                              diameter_mm=3.0, diameter_sd_mm=0.2), 2.0),
        Case("canal below, size assumed", f, Course(id="c", kind="canal", points=along), 2.0),
        Case("canal below, partly faint", f, Course(id="c", kind="canal", points=along,
                                                    diameter_mm=3.0, seen=faint), 2.0),
        Case("canal beside a leaning fixture", leaning,
             Course(id="c", kind="canal", points=beside, diameter_mm=3.0), 2.0),
        Case("vessel in two marks", f, Course(id="v", kind="vessel", diameter_mm=1.0,
             points=[[-2.2, 1.0, -14.1], [2.3, -0.5, -12.4]]), 2.0),
        Case("root of two marks", f, Tapered(id="r", kind="root", tooth="35",
             points=[[5.6, 0.3, 1], [6.2, -0.2, -13]], diameters_mm=(5.4, 2.2)), 1.5),
        Case("bent root", f, Tapered(id="r", kind="root", tooth="35",
             points=[[6.4, 0.3, 1], [6.2, 0.1, -6], [5.0, 0.8, -12.5]],
             diameters_mm=(5.0, 2.4)), 1.5),
        Case("foramen", f, Foramen(id="f", mesial=[7.5, 3.0, -9.0], distal=[4.9, 4.6, -9.4]), 2.0),
        Case("sinus floor of nine marks", f, Floor(id="s", of="sinus", points=flat), 1.0),
        Case("mark", leaning, PointMarks(id="m", kind="mark", points=[[5.2, -3.9, -8.1]]), 1.0),
    ]  # fmt: skip


def nearest(case: Case) -> np.ndarray:
    """Centre of the structure that lies nearest to the fixture."""
    centres, radii = dense(case.structure)
    away = fixture_distance(
        centres, case.fixture.platform, case.fixture.towards_apex, case.fixture.size.profile
    )
    return centres[int(np.argmin(away - radii))]


def random_cases(count: int, seed: int) -> Iterator[tuple[Case, np.random.Generator]]:
    """Cases of every kind in random poses, their true gaps spread around the limits."""
    rng = np.random.default_rng(seed)
    templates = [*ten_cases(), level_case()]
    for number in range(count):
        case = templates[number % len(templates)]
        tilt = unit([*rng.normal(0, 0.12, 2), -1.0])
        fixture = replace(case.fixture, towards_apex=tilt)
        case = replace(case, fixture=fixture)
        # Moved along the way between the witnesses until the gap is what was drawn.
        wanted = case.limit_mm + rng.uniform(-1.2, 2.5)
        for _ in range(4):
            value, centre = case.true(), nearest(case)
            way = unit(centre - fixture.platform - 0.6 * SIZE.length_mm * tilt)
            shift = (wanted - value) * way
            case = replace(case, structure=moved(case.structure, lambda p, s=shift: p + s))
        yield case, rng


@dataclass(frozen=True)
class Outcome:
    """What the program said of one simulated case, and what was true."""

    true_mm: float
    value_mm: float
    limit_mm: float
    covered: bool
    verdict: str


def outcomes(count: int, seed: int) -> list[Outcome]:
    """Measure every random case once, as one person would have marked it."""
    found = []
    for case, rng in random_cases(count, seed):
        true = case.true()
        structure, voxel = drawn(case, rng, case.extent())
        if isinstance(structure, Course) and not case.structure.diameter_mm:
            # The person left the size open: the program assumes it, and the truth is what varies.
            true = case.true(replace(case.structure, diameter_mm=structure.diameter_mm))
            structure = replace(structure, diameter_mm=None)
        reading = case.reading(structure)
        value = reading.value + voxel
        reading = replace(reading, value=value, upper_bound=False)
        doubt = case.budget(reading)
        limit = Limit(key="canal", value=case.limit_mm, lower_line=None, source="simulated",
                      default=case.limit_mm)  # fmt: skip
        found.append(Outcome(
            true_mm=true, value_mm=value, limit_mm=case.limit_mm,
            covered=abs(value - true) <= doubt.expanded,
            verdict=str(judge(reading, doubt, limit)),
        ))  # fmt: skip
    return found


def course_coverage(count: int, seed: int, *, bias_sd_mm: float, own_sd_share: float) -> int:
    """How many of `count` courses marked by people with a bias hold the truth inside value ± U."""
    rng = np.random.default_rng(seed)
    templates = [c for c in [*ten_cases(), level_case()] if isinstance(c.structure, Course)]
    truths = {c.name: c.true() for c in templates}
    inside = 0
    for number in range(count):
        case = templates[number % len(templates)]
        structure, voxel = drawn(
            case, rng, case.extent(), bias_sd_mm=bias_sd_mm, own_sd_share=own_sd_share
        )
        if isinstance(case.structure, Course) and not case.structure.diameter_mm:
            true = case.true(replace(case.structure, diameter_mm=structure.diameter_mm))
            structure = replace(structure, diameter_mm=None)
        else:
            true = truths[case.name]
        reading = case.reading(structure)
        inside += abs(reading.value + voxel - true) <= case.budget(reading).expanded
    return inside
