"""A plan as a hand would make it for a random jaw: traced, marked and placed with some error."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from core.direction import CheekAnswer, SideAnswers, as_point
from core.fixture import Fixture, FixtureSize
from core.geometry import unit
from core.identity import Tooth
from core.level import Level
from core.plans.plan import Plan, Site
from core.plans.side import arch_of
from core.structures import Course, Floor, Structure, Tapered
from tests.reference.random_jaws import kernels as k
from tests.reference.random_jaws.draw import Choices
from tests.reference.random_jaws.shape import Shape, U

FIXTURE, SITE = "fixture", "site"


def plan_of(shape: Shape, c: Choices) -> Plan:
    """Arch, jaw plane, one fixture, one site, and the marks of what is near."""
    rng = np.random.default_rng([c.seed, 4])
    up = unit(shape.turn @ np.array([0.0, 0.0, 1.0]) + rng.normal(0.0, 0.02, 3))
    level = Level(origin=shape.patient(shape.place(0.0, 0.0, rng.normal(0.0, 0.5)))[0], up=up)
    reach = 0.5 * c.along - 0.5
    s = np.linspace(-reach, reach, int(rng.integers(5, 9)))
    w = shape.row(k.MIDDLE, s) + rng.normal(0.0, rng.uniform(0.3, 1.0), len(s))
    marks = shape.patient(shape.place(s, w, 0.0))
    fixture = _fixture(rng, shape, c)
    structures = [*_canal(rng, shape, reach), *_floor(rng, shape), *_roots(rng, shape, c)]
    plan = Plan(
        jaw=c.jaw,
        level=level,
        arch_points=marks,
        side_answers=told(
            marks, *shape.patient(shape.place(0.0, np.array([0.0, 1.0]), 0.0)), fixture
        ),
        midline=_midline(shape, fixture),
        fixtures=(fixture,),
        structures=tuple(structures),
    )
    return _with_site(rng, plan, fixture)


def marked_exactly(shape: Shape, c: Choices) -> tuple[Structure, ...]:
    """The structures of a case with every mark where it belongs, and their true diameters."""
    reach = 0.5 * c.along - 0.5
    hand = _Steady()
    return (*_canal(hand, shape, reach), *_floor(hand, shape), *_roots(hand, shape, c))


class _Steady:
    """A hand that never errs, in place of a random generator."""

    def normal(self, _mean, _sd, size=None):
        """No error."""
        return 0.0 if size is None else np.zeros(size)


def told(marks, inner, outer, fixture):
    """As a person who sees teeth, tongue and chart would answer; marks run to the left."""
    cheek = CheekAnswer(at=as_point(inner), towards=as_point(outer - inner))
    tooth = Tooth.of(fixture.tooth)
    if tooth.position <= 3:
        return SideAnswers(region="front", right_end=as_point(marks[0]), cheek=cheek)
    left = tooth.side == "left"
    return SideAnswers(
        region="left back" if left else "right back",
        front_end=as_point(marks[0 if left else -1]),
        cheek=cheek,
    )


def _midline(shape, fixture):
    """Front teeth are told apart by the midline; a person marks it for them."""
    if Tooth.of(fixture.tooth).position > 3:
        return None
    return shape.patient(shape.place(-shape.v[k.SITE], 0.0, 0.0))[0]


def _with_site(rng, plan, fixture):
    arch = arch_of(plan)
    station = arch.station(fixture.platform) + rng.uniform(-2.5, 2.5)
    return replace(plan, sites=(Site(id=SITE, tooth=fixture.tooth, station_mm=float(station)),))


def _fixture(rng, shape, c):
    v, bad = shape.v, rng.random() < 0.3
    diameter = float(np.clip(rng.normal(0.5 * c.width + 0.8, 0.5), 3.0, 5.0))
    length = float(rng.choice([6.0, 8.0, 10.0, 12.0]))
    tapered = rng.random() < 0.5
    size = FixtureSize(
        diameter_mm=round(diameter, 1),
        length_mm=length,
        apical_diameter_mm=round(0.75 * diameter, 1) if tapered else None,
        taper_from_mm=3.0 if tapered else None,
    )
    s, depth = rng.normal(0.0, 0.5), rng.uniform(-0.3, 2.0)
    w = shape.row(k.MIDDLE, s) + v[k.TILT] * depth + rng.normal(0.0, 1.3 if bad else 0.4)
    angle = (s + v[k.SITE]) / v[k.RADIUS]
    outwards = np.array([np.sin(angle), -np.cos(angle), 0.0])
    along = np.array([np.cos(angle), np.sin(angle), 0.0])
    spread = 0.2 if bad else 0.07
    apical = np.array([0.0, 0.0, -v[k.SIGN]])
    # Outwards by depth along the ridge's own slope, and what a hand adds.
    way = apical + (v[k.TILT] + rng.normal(0.0, spread)) * outwards
    way = way + rng.normal(0.0, spread) * along
    platform = shape.patient(shape.place(s, w, shape.row(k.TOP, s) - depth))[0]
    return Fixture(
        id=FIXTURE,
        tooth=c.tooth,
        platform=platform,
        towards_apex=shape.turn @ way,
        size=size,
    )


def _canal(rng, shape, reach):
    if shape.v[k.CANAL] <= 0:
        return
    s = np.arange(-reach + 0.5, reach, 3.0)
    line = shape.patient(shape.place(s, shape.row(k.CANAL_W, s), shape.row(k.CANAL_H, s)))
    # One person's bias along the whole course, and each mark's own scatter.
    marks = line + rng.normal(0.0, 0.25, 3) + rng.normal(0.0, 0.25, line.shape)
    true = 2.0 * shape.v[k.CANAL]
    yield Course(
        id="canal",
        kind="canal",
        points=marks,
        diameter_mm=float(max(true + rng.normal(0.0, 0.2), 1.0)),
        diameter_sd_mm=0.2,
    )


def _floor(rng, shape):
    v = shape.v
    if v[k.CAVITY] > k.FAR:
        return
    s, side = (a.ravel() for a in np.meshgrid(np.linspace(-8.0, 8.0, 5), [-0.75, 0.0, 0.75]))
    depth = v[k.CAVITY_ROUND] * (1.0 - np.sqrt(1.0 - side**2))
    u = shape.row(k.FLOOR, s) + depth
    half = np.where(
        side > 0, np.interp(u, U, shape.by_u[k.HALF_B]), np.interp(u, U, shape.by_u[k.HALF_L])
    )
    half = np.maximum(half * shape.row(k.WIDE, s) - v[k.CAVITY_WALL], 0.3)
    middle = shape.row(k.MIDDLE, s) + v[k.TILT] * u
    points = shape.patient(shape.place(s, middle + side * half, shape.row(k.TOP, s) - u))
    yield Floor(id="floor", of="sinus", points=points + rng.normal(0.0, 0.25, points.shape))


def _roots(rng, shape, c):
    for number, tooth in enumerate(shape.teeth):
        ends = np.array(
            [
                [tooth[k.T_X], tooth[k.T_Y], shape.v[k.SIGN] * tooth[k.T_NECK]],
                [tooth[k.T_X], tooth[k.T_Y], shape.v[k.SIGN] * tooth[k.T_APEX]],
            ]
        )
        marks = shape.patient(ends) + rng.normal(0.0, 0.25, (2, 3))
        at_the_site = c.teeth == "at the site" and number == 0
        yield Tapered(
            id=f"root-{number + 1}",
            kind="root",
            points=marks,
            diameters_mm=(2.0 * tooth[k.T_R_NECK], 2.0 * tooth[k.T_R_APEX]),
            to_be_removed=at_the_site,
        )
