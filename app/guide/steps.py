"""Steps of the guided first case: what to do, when it is done, and where on the bench it is done.

Facts of the program alone tick a step (a mark was set, an answer given, a file written); nothing
here judges. Where things are in the sample's invented jaw is known from the plan that comes with
it, so the guide can point at them.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache
from typing import TYPE_CHECKING

import numpy as np
from PySide6.QtCore import QPoint, QRect
from PySide6.QtWidgets import QWidget

import sample_volumes
from core import load_plan
from core.curve import Curve
from core.geometry import Array
from core.identity import declared_name
from core.plans.edit import find, with_structure
from core.plans.history import sign_off_state
from core.plans.plan import Plan
from core.structures import Course, Structure
from core.words.catalogue import Message, message

if TYPE_CHECKING:
    from app.case.session import Session
    from app.guide.page import GuidedPage

SAMPLE = "lower_left_36"
SITE_REACH_MM = 2.0
DROP_REACH_MM = 3.0
"""A fixture further from the gap's middle runs into a root there."""
FIRST_MARK_MM = -6.0
"""Where the canal is first marked, along the arch from the gap: behind its opening."""
FROM_MM, TO_MM = -5.0, 7.0
"""Marks must reach from here to here: to the opening, and 5 mm beyond the fixture's own width."""
IN_SECTION_MM = 1.0
SPOT_PX = 16
PUT_IN = ("foramen-left", "loop-left", "root-35", "root-37-mesial", "root-37-distal")


@dataclass(frozen=True, slots=True, eq=False)
class Moment:
    """What the steps look at: the bench now, and the plan when the step began."""

    page: GuidedPage
    session: Session
    plan: Plan
    sheet_written: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class Target:
    """A part of the bench to point at: a widget, or a spot in it."""

    widget: QWidget
    spot: QPoint | None = None

    def rect_in(self, page: QWidget) -> QRect:
        """What is framed, in the page's pixels; empty where it is not in sight."""
        if not self.widget.isVisible():
            return QRect()
        if self.spot is None:
            return QRect(self.widget.mapTo(page, QPoint(0, 0)), self.widget.size())
        if not self.widget.rect().contains(self.spot):
            return QRect()
        middle = self.widget.mapTo(page, self.spot)
        return QRect(middle - QPoint(SPOT_PX, SPOT_PX), middle + QPoint(SPOT_PX, SPOT_PX))


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One step.

    Parameters
    ----------
    title : Message
    words : Message
        One short sentence: what to do.
    done : callable
        A fact of the program.
    target : callable, optional
        Where it is done; the button of its offer where there is none.
    show : callable, optional
        Goes there and takes the tool; never does the step itself.
    offer : (Message, callable), optional
        A way to have it done: only for marks, of which the sample has its own.
    """

    title: Message
    words: Message
    done: Callable[[Moment], bool]
    stays: bool = False
    """True for what happened once; else the tick goes when the fact is undone."""
    target: Callable[[Moment], Target | None] | None = None
    show: Callable[[Moment], None] | None = None
    leads: str = ""
    """Tool that `show` takes: until it is taken the guide's own button for it is framed."""
    offer: tuple[Message, Callable[[Moment], None]] | None = None


@cache
def sample_plan() -> Plan:
    """The plan that comes with the sample: the places of its invented jaw."""
    return load_plan(sample_volumes.path(f"{SAMPLE}.plan.json"))


def is_sample(source: str) -> bool:
    """True where a case was opened from the sample."""
    return bool(source) and source == str(sample_volumes.path(SAMPLE))


# -- where things are --------------------------------------------------------------------------


def _site() -> Array:
    return sample_plan().fixtures[0].platform


def _site_station(m: Moment) -> float | None:
    return None if m.session.arch is None else m.session.arch.station(_site())


def _off_site(m: Moment) -> float:
    """How far the section is from the site along the arch, mm; far where there is no arch."""
    at = _site_station(m)
    return 1e3 if at is None else m.session.station_mm - at


def _go_to_site(m: Moment, off_mm: float = 0.0, tool: str = "") -> None:
    at = _site_station(m)
    if at is not None:
        m.session.go_to(station_mm=at + off_mm, across=True)
    if tool:
        m.page.take_tool(tool)


def _on_section(m: Moment, point_mm: Array) -> Target | None:
    view = m.page.pictures.section
    if not view.has_picture or abs(float(view.uv_mm(point_mm)[0, 2])) > IN_SECTION_MM:
        return None
    spot = view.screen_position(point_mm).toPoint()
    # A section meets the canal's other end too, out of sight: that is no place to point at.
    return Target(view, spot) if view.rect().contains(spot) else None


def _gap_on_map(m: Moment) -> Target | None:
    view = m.page.pictures.arch_map
    if not view.has_picture:
        return None
    return Target(view, view.screen_position(_site()).toPoint())


def _take_hold(m: Moment) -> None:
    """Back from the marks to the fixture, which the keys move then."""
    _go_to_site(m, tool="Adjust")
    fixture = m.session.fixture
    if fixture is not None:
        m.session.go_to(selected=fixture.id)


def _canal_here(m: Moment) -> Target | None:
    canal = find(sample_plan(), "canal-left")
    arch = m.session.arch
    if not isinstance(canal, Course) or arch is None:
        return None
    places = Curve.through(canal.points).polyline()[1]
    offs = np.abs(m.page.pictures.section.uv_mm(places)[:, 2])
    return _on_section(m, places[int(np.argmin(offs))])


# -- what is done ------------------------------------------------------------------------------


def _canal_marked(m: Moment) -> bool:
    arch, at = m.session.arch, _site_station(m)
    if arch is None or at is None:
        return False
    for s in m.session.plan.structures:
        if isinstance(s, Course) and s.kind == "canal":
            stations = [arch.station(p) - at for p in s.points]
            if min(stations) <= FROM_MM and max(stations) >= TO_MM:
                return True
    return False


def _put_canal(m: Moment) -> None:
    canal = find(sample_plan(), "canal-left")
    if isinstance(canal, Course):
        m.page.take_tool("Move")  # else the next click on a picture would begin another canal
        m.session.apply(
            message("guide.steps.canal-left-the-samples-own"), with_structure(m.session.plan, canal)
        )


def _rest_marked(m: Moment) -> bool:
    marked = {declared_name(s) for s in m.session.plan.structures}
    return marked >= {declared_name(s) for s in _rest()}


def _rest() -> tuple[Structure, ...]:
    return tuple(s for s in sample_plan().structures if s.id in PUT_IN)


def _put_rest(m: Moment) -> None:
    plan = m.session.plan
    things = tuple(s for s in _rest() if find(plan, s.id) is None)
    changed = replace(plan, structures=(*plan.structures, *things))
    m.session.apply(message("guide.steps.foramen-loop-and-roots-the"), changed)


def _dropped(m: Moment) -> bool:
    arch, at = m.session.arch, _site_station(m)
    if arch is None or at is None:
        return False
    if m.session.ledger_problem is not None or m.session.side.against:
        return False  # the wrong tooth, for one
    here = [f for f in m.session.plan.fixtures if f.tooth == sample_plan().fixtures[0].tooth]
    return any(abs(arch.station(f.platform) - at) <= DROP_REACH_MM for f in here)


def _moved(m: Moment) -> bool:
    before = {f.id: f for f in m.plan.fixtures}
    return any(f.id in before and f is not before[f.id] for f in m.session.plan.fixtures)


def _row_opened(m: Moment) -> bool:
    return m.session.ledger_is_whole and bool(getattr(m.page.panels["ledger"], "opened", ()))


def _on_patient_line(m: Moment, name: str) -> Target:
    return Target(getattr(m.page.panels["patient line"], name))


STEPS: tuple[Step, ...] = (
    Step(
        title=message("guide.steps.jaw-plane-and-arch"),
        words=message("guide.steps.see-that-the-arch-on"),
        done=lambda m: m.session.confirmed,
        target=lambda m: Target(m.page.proposed.for_lower),
    ),
    Step(
        title=message("guide.steps.go-to-the-gap"),
        words=message("guide.steps.click-the-gap-on-the"),
        done=lambda m: abs(_off_site(m)) <= SITE_REACH_MM,
        stays=True,
        target=_gap_on_map,
        show=lambda m: _go_to_site(m, tool="Move"),
    ),
    Step(
        title=message("guide.steps.drop-the-fixture"),
        words=message("guide.steps.take-fixture-follow-the-ring"),
        done=_dropped,
        target=lambda m: _on_section(m, _site()) or _gap_on_map(m),
        show=lambda m: _go_to_site(m, tool="Fixture"),
        leads="Fixture",
    ),
    Step(
        title=message("guide.steps.mark-the-canal"),
        words=message("guide.steps.press-show-me-then-click"),
        done=_canal_marked,
        # Elsewhere along the arch: back to the gap.
        target=lambda m: _canal_here(m) or _gap_on_map(m),
        show=lambda m: _go_to_site(m, FIRST_MARK_MM, tool="canal"),
        leads="canal",
        offer=(message("guide.steps.put-the-samples-in"), _put_canal),
    ),
    Step(
        title=message("guide.steps.mark-what-else-is-near"),
        words=message("guide.steps.foramen-loop-and-roots-are"),
        done=_rest_marked,
        offer=(message("guide.steps.put-the-samples-in"), _put_rest),
    ),
    Step(
        title=message("guide.steps.move-it"),
        words=message("guide.steps.hold-ctrl-and-press-an"),
        done=_moved,
        stays=True,
        target=lambda m: Target(m.page.pictures.section),
        show=_take_hold,
        leads="Adjust",
    ),
    Step(
        title=message("guide.steps.read-the-ledger"),
        words=message("guide.steps.what-is-not-met-stands"),
        done=_row_opened,
        stays=True,
        target=lambda m: Target(m.page.panels["ledger"]),
    ),
    Step(
        title=message("guide.steps.answer-the-side"),
        words=message("guide.steps.say-at-the-top-which"),
        done=lambda m: m.session.plan.side_check is not None,
        target=lambda m: _on_patient_line(m, "side"),
    ),
    Step(
        title=message("guide.steps.judge-the-image"),
        words=message("guide.steps.click-image-quality"),
        done=lambda m: m.session.plan.image_check is not None,
        target=lambda m: Target(m.page.panels["log"]),
    ),
    Step(
        title=message("guide.steps.whole-volume"),
        words=message("guide.steps.click-whole-volume"),
        done=lambda m: bool(m.session.plan.interpreted_by),
        target=lambda m: Target(m.page.panels["log"]),
    ),
    Step(
        title=message("guide.steps.sign-it"),
        words=message("guide.steps.press-draft-at-the-top"),
        done=lambda m: sign_off_state(m.session.plan) == "signed",
        target=lambda m: _on_patient_line(m, "state"),
    ),
    Step(
        title=message("guide.steps.take-the-sheet"),
        words=message("guide.steps.press-sheet-look-through-its"),
        done=lambda m: m.sheet_written,
        stays=True,
        target=lambda m: _on_patient_line(m, "sheet"),
    ),
)
