"""Edits of jaw plane, arch, midline, sites and fixtures: a plan in, another plan out."""

from __future__ import annotations

from dataclasses import replace
from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import ArrayLike

from core.errors import PlanError
from core.fixture import Fixture, FixtureSize
from core.geometry import Array, angle_deg, points, unit, vector
from core.identity import Tooth
from core.level import Level
from core.plans.edit import changed, new_id, numbered_id, refuse_locked, renamed
from core.plans.edit_marks import place_along
from core.plans.plan import Jaw, Plan, Site
from core.structures import StentAxis, Tapered
from core.words.catalogue import Words, message

About: TypeAlias = Literal["platform", "apex"]

# -- jaw plane, arch, midline, sites -------------------------------------------------------


def with_jaw(plan: Plan, jaw: Jaw) -> Plan:
    """Say which jaw the plan is for."""
    return replace(plan, jaw=jaw)


def with_level(plan: Plan, level: Level) -> Plan:
    """Set the jaw plane."""
    return replace(plan, level=level)


def level_from_stent(axis: StentAxis) -> Level:
    """Jaw plane across a stent axis, through its gingival end.

    Raises
    ------
    PlanError
        ``level-up-unclear``.
    """
    return Level.from_axes([axis.occlusal - axis.gingival], origin=axis.gingival)


def level_from_roots(roots: tuple[Tapered, ...]) -> Level:
    """Jaw plane across the mean of long axes of teeth, through the middle of their first marks.

    Raises
    ------
    PlanError
        ``level-up-unclear``.
    """
    axes = [root.points[0] - root.points[-1] for root in roots]
    return Level.from_axes(axes, origin=np.mean([root.points[0] for root in roots], axis=0))


def with_arch_point(plan: Plan, point_mm: ArrayLike) -> tuple[Plan, int]:
    """Add a point to the arch: between two, before the first or after the last, by its place.

    Returns
    -------
    plan, number of the new point from 0
    """
    refuse_locked(plan, "arch")
    marks = np.zeros((0, 3)) if plan.arch_points is None else plan.arch_points
    index = place_along(marks, point_mm)
    return replace(plan, arch_points=np.insert(marks, index, vector(point_mm), axis=0)), index


def with_arch_points(plan: Plan, points_mm: ArrayLike) -> Plan:
    """Lay the arch through other points."""
    refuse_locked(plan, "arch")
    return replace(plan, arch_points=points(points_mm))


def with_midline(plan: Plan, point_mm: ArrayLike) -> Plan:
    """Mark the midline."""
    refuse_locked(plan, "midline")
    return replace(plan, midline=vector(point_mm))


def with_site(plan: Plan, station_mm: float, *, tooth: str) -> tuple[Plan, Site]:
    """Add a site, or move the one of the same tooth.

    Parameters
    ----------
    plan : Plan
    station_mm : float
        Along the arch, mm.
    tooth : str
        ISO 3950; empty where nobody named it.

    Returns
    -------
    plan, the site
    """
    taken = {s.id for s in plan.sites}
    number = 1
    while f"site-{number}" in taken:
        number += 1
    site = Site(id=tooth or f"site-{number}", tooth=tooth, station_mm=float(station_mm))
    others = tuple(s for s in plan.sites if s.id != site.id)
    return replace(plan, sites=(*others, site)), site


def without_site(plan: Plan, site_id: str) -> Plan:
    """Delete a site."""
    return replace(plan, sites=tuple(s for s in plan.sites if s.id != site_id))


# -- fixtures ------------------------------------------------------------------------------


def with_new_fixture(
    plan: Plan, *, tooth: str, platform: ArrayLike, towards_apex: ArrayLike, size: FixtureSize
) -> tuple[Plan, Fixture]:
    """Add a fixture, called after its tooth.

    Parameters
    ----------
    plan : Plan
    tooth : str
        ISO 3950; empty where nobody named it.
    platform : (3,) patient LPS mm
    towards_apex : (3,) direction, patient LPS
    size : FixtureSize

    Returns
    -------
    plan, the fixture
    """
    fixture = Fixture(
        id=new_id(plan, tooth) if tooth else numbered_id(plan, "fixture"),
        tooth=tooth,
        platform=vector(platform),
        towards_apex=unit(towards_apex),
        size=size,
    )
    return replace(plan, fixtures=(*plan.fixtures, fixture)), fixture


def with_fixture_tooth(plan: Plan, fixture_id: str, tooth: str) -> tuple[Plan, str]:
    """Say which tooth a fixture is for; it is called after it from then on.

    Parameters
    ----------
    plan : Plan
    fixture_id : str
    tooth : str
        ISO 3950; empty where nobody named it.

    Returns
    -------
    plan, the fixture's id

    Raises
    ------
    PlanError
        ``edit-locked``; ``tooth-unknown`` for what is no permanent tooth.
    """
    number = Tooth.of(tooth).iso
    before = next(f for f in plan.fixtures if f.id == fixture_id)
    if before.tooth == number:
        return plan, fixture_id
    refuse_locked(plan, fixture_id)
    called = new_id(plan, number)
    plan = renamed(plan, fixture_id, called)
    fixtures = tuple(replace(f, tooth=number) if f.id == called else f for f in plan.fixtures)
    rooms = plan.document.get("entered_room")
    document = dict(plan.document)
    if isinstance(rooms, dict) and fixture_id in rooms:
        document["entered_room"] = {called if k == fixture_id else k: v for k, v in rooms.items()}
    return replace(plan, fixtures=fixtures, document=document), called


def axis_at(plan: Plan, platform: ArrayLike) -> tuple[Array, Words]:
    """Direction towards the apex for a new fixture, and where it comes from, for people.

    The stent axis whose gingival end is within 15 mm, else across the jaw plane, into the jaw.

    Raises
    ------
    PlanError
        ``plan-not-ready`` without jaw or jaw plane.
    """
    place = vector(platform)
    near = [a for a in plan.stent_axes if float(np.linalg.norm(a.gingival - place)) <= 15.0]
    if near:
        axis = min(near, key=lambda a: float(np.linalg.norm(a.gingival - place)))
        return unit(axis.gingival - axis.occlusal), message("plans.pose.along-stent")
    if plan.jaw is None or plan.level is None:
        key = "plans.missing.which-jaw" if plan.jaw is None else "plans.missing.jaw-plane"
        raise PlanError("plan-not-ready", missing=message(key))
    into = plan.level.up if plan.jaw == "upper" else -plan.level.up
    return unit(into), message("plans.pose.across-jaw-plane")


def fixture_moved(plan: Plan, fixture_id: str, shift_mm: ArrayLike) -> Plan:
    """Shift a fixture, its axis unchanged.

    Parameters
    ----------
    plan : Plan
    fixture_id : str
    shift_mm : (3,) patient LPS mm
    """
    by = vector(shift_mm)
    return changed(plan, fixture_id, Fixture, lambda f: replace(f, platform=f.platform + by))


def fixture_deepened(plan: Plan, fixture_id: str, deeper_mm: float) -> Plan:
    """Move a fixture along its axis, towards the apex.

    Parameters
    ----------
    plan : Plan
    fixture_id : str
    deeper_mm : float
        mm, + into the bone.
    """
    return changed(plan, fixture_id, Fixture, lambda f: replace(f, platform=f.on_axis(deeper_mm)))


def fixture_end_to(plan: Plan, fixture_id: str, end: About, place_mm: ArrayLike) -> Plan:
    """Tilt a fixture so that an end looks towards a place; the other end stays.

    Parameters
    ----------
    plan : Plan
    fixture_id : str
    end : About
    place_mm : (3,) patient LPS mm

    Raises
    ------
    ValueError
        When the place is the end that stays.
    """
    place = vector(place_mm)

    def change(f: Fixture) -> Fixture:
        way = place - f.platform if end == "apex" else f.apex - place
        return _aligned(f, unit(way), "platform" if end == "apex" else "apex")

    return changed(plan, fixture_id, Fixture, change)


def fixture_tilted(
    plan: Plan, fixture_id: str, towards: ArrayLike, angle_deg_: float, *, about: About
) -> Plan:
    """Tilt a fixture by an angle: its free end leans towards a direction, the other stays.

    Parameters
    ----------
    towards : (3,)
        Where the free end goes; the part along the axis does not count.
    angle_deg_ : float
    about : {'platform', 'apex'}
        The end that stays.
    """
    angle = np.radians(angle_deg_)

    def change(f: Fixture) -> Fixture:
        free = f.towards_apex if about == "platform" else f.a
        aside = unit(vector(towards) - free * float(vector(towards) @ free))
        leaned = np.cos(angle) * free + np.sin(angle) * aside
        return _aligned(f, leaned if about == "platform" else -leaned, about)

    return changed(plan, fixture_id, Fixture, change)


def fixture_resized(plan: Plan, fixture_id: str, size: FixtureSize) -> Plan:
    """Give a fixture another size; platform and axis stay.

    Parameters
    ----------
    plan : Plan
    fixture_id : str
    size : FixtureSize
    """
    return changed(plan, fixture_id, Fixture, lambda f: replace(f, size=size))


def with_other_size(plan: Plan, fixture_id: str, size: FixtureSize | None) -> Plan:
    """Lay another size beside a fixture's planned one, in the same place; None takes it away.

    Parameters
    ----------
    plan : Plan
    fixture_id : str
    size : FixtureSize or None
        The planned size itself is no other one: then there is none.
    """
    return changed(plan, fixture_id, Fixture, lambda f: replace(f, other_size=size))


def sizes_exchanged(plan: Plan, fixture_id: str) -> Plan:
    """Plan a fixture's other size; the one that was planned is the other one from then on.

    Parameters
    ----------
    plan : Plan
    fixture_id : str
        Of a fixture with another size; one without stays as it is.
    """

    def exchanged(f: Fixture) -> Fixture:
        return f if f.other_size is None else replace(f, size=f.other_size, other_size=f.size)

    return changed(plan, fixture_id, Fixture, exchanged)


def fixture_aligned(plan: Plan, fixture_id: str, axis: ArrayLike, *, about: About) -> Plan:
    """Lay a fixture's axis along a line, the way round that turns it less; an end stays.

    For the stent axis, the jaw plane's normal, another fixture, or a neighbour's axis.

    Parameters
    ----------
    plan : Plan
    fixture_id : str
    axis : (3,) direction, patient LPS
        Either way along it.
    about : About
    """
    along = unit(axis)

    def change(f: Fixture) -> Fixture:
        same_way = float(along @ f.towards_apex) >= 0
        return _aligned(f, along if same_way else -along, about)

    return changed(plan, fixture_id, Fixture, change)


def tilt_between_deg(before: Fixture, after: Fixture) -> float:
    """How far a fixture was turned, degrees."""
    return angle_deg(before.towards_apex, after.towards_apex)


def nudged(plan: Plan, fixture_id: str, direction: ArrayLike, step_mm: float) -> Plan:
    """Move a fixture by a small step in a direction.

    Parameters
    ----------
    plan : Plan
    fixture_id : str
    direction : (3,) direction, patient LPS
    step_mm : float
        mm.
    """
    return fixture_moved(plan, fixture_id, unit(direction) * step_mm)


def _aligned(f: Fixture, towards_apex: ArrayLike, about: About) -> Fixture:
    """The fixture along another axis, one end where it was."""
    axis = unit(towards_apex)
    platform = f.platform if about == "platform" else f.apex - f.size.length_mm * axis
    return replace(f, platform=platform, towards_apex=axis)
