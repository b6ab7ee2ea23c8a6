"""What follows from a plan and what is proposed: arch, side, places; each found once."""

from __future__ import annotations

from dataclasses import replace
from typing import TypeAlias

import numpy as np

from app.case.plan_diff import same_arch, traced
from app.case.side import SideState, side_state
from core.arch import Arch
from core.level import Level
from core.plans.plan import Plan
from core.proposing.crowns import Miss, misses
from core.proposing.proposal import Proposal

Subject: TypeAlias = tuple[float, str, str]
"""Station, id and tooth of a fixture or site."""


class Derived:
    """Remembers what was found last; plans are frozen, so the same one has the same of all."""

    def __init__(self) -> None:
        self._guide: tuple[Plan, Proposal, Plan] | None = None
        self._arch: tuple[Plan, Arch | None] | None = None
        self._side: tuple[Plan, Arch | None, SideState] | None = None
        self._misses: tuple[Level, Arch, tuple[Miss, ...]] | None = None
        self._subjects: tuple[Plan, Arch, tuple[Subject, ...]] | None = None

    def guide(self, plan: Plan, proposal: Proposal | None) -> Plan:
        """The plan, with jaw, jaw plane and arch of the proposal where it has none."""
        if proposal is None:
            return plan
        known = self._guide
        if known is None or known[0] is not plan or known[1] is not proposal:
            merged = replace(
                plan,
                jaw=plan.jaw or proposal.jaw,
                level=plan.level or proposal.level,
                arch_points=proposal.arch_points if plan.arch_points is None else plan.arch_points,
            )
            known = self._guide = (plan, proposal, merged)
        return known[2]

    def arch(self, guide: Plan) -> Arch | None:
        """Traced anew only where jaw plane, marks or side changed: every picture asks for it."""
        known = self._arch
        same = known is not None and same_arch(guide, known[0])
        self._arch = (guide, known[1] if known is not None and same else traced(guide))
        return self._arch[1]

    def plane_misses(
        self, guide: Plan, arch: Arch | None, proposal: Proposal | None
    ) -> tuple[Miss, ...]:
        """How far the jaw plane lies off the tips of the teeth; empty where none are known."""
        level = guide.level
        tips = None if proposal is None else proposal.crown_tips
        if level is None or arch is None or tips is None:
            return ()
        known = self._misses
        if known is None or known[0] is not level or known[1] is not arch:
            stations = np.array([arch.station(tip) for tip in tips])
            known = self._misses = (level, arch, misses(level, tips, stations))
        return known[2]

    def side(self, plan: Plan, arch: Arch | None) -> SideState:
        """How the side of the plan stands; weighed anew where plan or arch changed."""
        known = self._side
        if known is None or known[0] is not plan or known[1] is not arch:
            known = self._side = (plan, arch, side_state(plan, arch))
        return known[2]

    def subjects(self, plan: Plan, arch: Arch | None) -> tuple[Subject, ...]:
        """Every fixture, then every site, at its station; none without an arch."""
        if arch is None:
            return ()
        known = self._subjects
        if known is None or known[0] is not plan or known[1] is not arch:
            places = [(arch.station(f.platform), f.id, f.tooth) for f in plan.fixtures]
            places += [(s.station_mm, s.id, s.tooth) for s in plan.sites]
            known = self._subjects = (plan, arch, tuple(places))
        return known[2]
