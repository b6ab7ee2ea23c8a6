"""What a sheet is made of: plan, scan and ledger, and what follows from them for every page."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field, replace

from core.arch import Arch
from core.bone.bone_levels import BoneLevels
from core.bone.level_learning import bone_levels
from core.errors import PlanError
from core.findings import Finding
from core.fixture import Fixture
from core.geometry import vector
from core.identity import Tooth
from core.image.volume import Volume
from core.measurement import Measurement
from core.measurement_kinds import MeasurementKind
from core.measuring.basis import Basis
from core.measuring.depth_rule import DepthRule, depth_rule
from core.measuring.ledger import Ledger
from core.measuring.row_names import row_words
from core.measuring.rows_rulers import NOWHERE
from core.plans.history import sign_off_state
from core.plans.plan import Plan, Site
from core.plans.plan_checks import side_findings
from core.plans.side import CONTRADICTIONS, contradictions, traced
from core.plans.sizes import ListedSize
from core.sheet.day import Day
from core.sheet.lasting import Facts
from core.sheet.patient_words import PatientWords, patient_words
from core.trust.figures import is_to_surface
from core.trust.verdict import is_judged, is_missed, worst_first
from core.words.catalogue import language, say
from core.words.numbers import Figure, date_words

SAME_PLACE_MM = 1.0
"""Along the arch: a site and a fixture closer than this stand at the same place."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Subject:
    """A fixture, a site, or the rulers of a plan without either: one part of the sheet."""

    id: str
    tooth: str
    fixture: Fixture | None = None
    site: Site | None = None

    @property
    def only_rulers(self) -> bool:
        """True where the plan holds rulers and angles, and neither fixture nor site."""
        return self.fixture is None and self.site is None

    @property
    def words(self) -> str:
        """The tooth in both systems, or the id where no tooth is named."""
        if self.only_rulers:
            return say("sheet.column.rulers")
        if not self.tooth:
            return say("sheet.budget.fixture" if self.fixture else "sheet.budget.site", id=self.id)
        return tooth_words(self.tooth)

    @property
    def size_words(self) -> str:
        """``Ø 4.5 × 8.0 mm``, or what stands in its place."""
        if self.only_rulers:
            return say("sheet.case.rulers-only")
        if self.fixture is None:
            return say("sheet.case.ridge-only")
        size = self.fixture.size
        diameter = Figure(f"{size.diameter_mm:.2f}".rstrip("0").rstrip("."))
        return say("sheet.case.size", diameter=diameter, length=Figure(f"{size.length_mm:g}"))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Case:
    """Everything that the pages of one sheet show.

    Parameters
    ----------
    plan, volume, ledger
    arch : Arch or None
        None where jaw plane or arch are missing, or the side is open: no section is shown.
    without_viewing : bool
        Made by the command line, without anybody looking at the pictures.
    window : (low, high)
    basis : Basis or None
        Of the measuring, where it is at hand; the remaining bone is drawn from it.
    levels : BoneLevels or None
        For the edges of the cortex on the pictures; see `ready`.
    sizes : tuple of ListedSize
        Tried at each fixture's pose; empty: none are.
    day : Day
        Drills, tube and pin of the practice.
    """

    plan: Plan
    volume: Volume
    ledger: Ledger
    arch: Arch | None
    patient: PatientWords
    without_viewing: bool
    window: tuple[float, float]
    basis: Basis | None = None
    levels: BoneLevels | None = None
    sizes: tuple[ListedSize, ...] = ()
    day: Day = field(default_factory=Day)

    @property
    def signed(self) -> bool:
        """True where the sign-off belongs to this very state of the plan."""
        return sign_off_state(self.plan) == "signed"

    @property
    def side_is_contradicted(self) -> bool:
        """True where tooth, answers, arch and scan disagree about the side."""
        plan, arch = self.plan, self.arch
        found = side_findings(plan) if arch is None else contradictions(plan, arch)
        return any(finding.code in CONTRADICTIONS for finding in found)

    @property
    def band(self) -> str:
        """Words of the band on every page and picture; empty on a signed sheet."""
        if self.side_is_contradicted:
            return f"{say('sheet.side-contradicted')} · {say('sheet.draft')}"
        if self.signed:
            return ""
        words = say("sheet.draft")
        sign = self.plan.sign_off
        if sign is not None:
            words = say(
                "sheet.draft-supersedes",
                draft=words,
                revision=self.plan.revision,
                signed=sign.revision,
                at=date_words(sign.at[:10]),
            )
        return say("sheet.without-viewing", draft=words) if self.without_viewing else words

    @property
    def findings(self) -> tuple[Finding, ...]:
        """Scan checks of the ledger, and what this sheet itself had to give."""
        own = () if self.patient.finding is None else (self.patient.finding,)
        return (*self.ledger.findings, *own)

    @property
    def subjects(self) -> tuple[Subject, ...]:
        """Fixtures, then sites; within each the one with the worst verdict first.

        A site at which a fixture stands is no subject of its own: see `sites_at`.
        """
        found = [Subject(id=f.id, tooth=f.tooth, fixture=f) for f in self.plan.fixtures]
        taken = {site.id for subject in found for site in self.sites_at(subject)}
        found += [
            Subject(id=s.id, tooth=s.tooth, site=s) for s in self.plan.sites if s.id not in taken
        ]
        if not found and any(m.site == NOWHERE for m in self.ledger.measurements):
            found.append(Subject(id=NOWHERE, tooth=""))
        ranks = {s.id: self._rank(s) for s in found}
        return tuple(sorted(found, key=lambda s: (s.fixture is None, ranks[s.id])))

    def sites_at(self, subject: Subject) -> tuple[Site, ...]:
        """Sites of a fixture's own tooth, or within 1 mm of its station along the arch."""
        if subject.fixture is None:
            return ()
        here = self.station(subject)
        return tuple(
            s
            for s in self.plan.sites
            if (s.tooth and s.tooth == subject.tooth)
            or (here is not None and abs(s.station_mm - here) < SAME_PLACE_MM)
        )

    def rows_at(self, site: Site) -> tuple[Measurement, ...]:
        """Ledger rows of a site."""
        return tuple(m for m in self.ledger.measurements if m.site == site.id)

    def rows(self, subject: Subject) -> tuple[Measurement, ...]:
        """Ledger rows of a subject, in ledger order."""
        if subject.fixture is not None:
            return tuple(m for m in self.ledger.measurements if m.fixture == subject.id)
        return tuple(m for m in self.ledger.measurements if m.site == subject.id)

    def name(self, measurement: Measurement) -> str:
        """What a row is called in this jaw."""
        return row_words(measurement, jaw=self.plan.known_jaw)

    def station(self, subject: Subject) -> float | None:
        """Station of a subject on the arch."""
        if self.arch is None:
            return None
        if subject.fixture is not None:
            return self.arch.station(subject.fixture.platform)
        if subject.site is not None:
            return subject.site.station_mm
        # The first one's middle: its section is shown, and that of no other.
        drawn = [mark.points for mark in self.plan.rulers]
        drawn += [mark.points for mark in self.plan.angles]
        return self.arch.station(vector(drawn[0].mean(axis=0))) if drawn else None

    def facts(self, title: str, *, of: str | None = None) -> Facts:
        """What a document of this case says of itself; its author is who signed it.

        Parameters
        ----------
        title : str
        of : str, optional
            Its language where that is not the one that is spoken; empty: nobody knows.
        """
        sign = self.plan.sign_off if self.signed else None
        return Facts(
            title=title,
            subject=f"plan {self.ledger.plan_fingerprint}",
            author="" if sign is None else sign.name,
            made_at=self.ledger.made_at,
            language=language() if of is None else of,
        )

    def depth_rule(self, subject: Subject) -> DepthRule:
        """Whether a drilling depth may be shown for a fixture, and what stands against it."""
        return depth_rule(self.rows(subject), side_contradicted=self.side_is_contradicted)

    def tightest(self, subject: Subject) -> Measurement | None:
        """The danger or root row that must be seen first.

        The worst of what is not met; where all of it is met the nearest vital structure, else the
        nearest root, else the bone's surface.
        """
        return seen_first(self.rows(subject))

    def nearest_vital(self, subject: Subject) -> Measurement | None:
        """The nearest vital structure that is measured; the bone's surface is none."""
        return closest_vital(self.rows(subject))

    def nearest_surface(self, subject: Subject) -> Measurement | None:
        """The smallest measured distance to the bone's outer surface, with a limit or without."""
        near = [m for m in self.rows(subject) if m.value is not None and is_to_surface(m)]
        return min(near, key=lambda m: m.value or 0.0, default=None)

    def _rank(self, subject: Subject) -> tuple[int, ...]:
        """The worst verdict, then how often it and the next ones were given."""
        order = ("below limit", "not assessed", "too near to tell", "meets limit")
        counts = [
            sum(m.verdict == verdict for m in self.rows(subject) if is_judged(m))
            for verdict in order
        ]
        first = next((n for n, count in enumerate(counts) if count), len(order))
        return first, *(-count for count in counts)


def seen_first(rows: Iterable[Measurement]) -> Measurement | None:
    """`Case.tightest` among any rows: page 1 and the drill card choose by the same rule."""
    danger = [m for m in rows if m.group in ("danger", "roots") and is_judged(m)]
    if not danger:
        return None
    worst = worst_first(danger)[0]
    return worst if is_missed(worst) else min(danger, key=_nearness)


def closest_vital(rows: Iterable[Measurement]) -> Measurement | None:
    """`Case.nearest_vital` among any rows."""
    near = [m for m in rows if m.value is not None and is_judged(m)]
    return min((m for m in near if _nearness(m)[0] == 0), key=_nearness, default=None)


def first_title(first: Measurement) -> str:
    """Key of the title of `seen_first`: closest only where it is that."""
    if is_missed(first):
        return "sheet.look-first"
    if is_to_surface(first):
        return surface_title(first)
    return "sheet.closest-root" if first.group == "roots" else "sheet.closest"


def surface_title(near: Measurement) -> str:
    """Key of the title of `Case.nearest_surface`: an upper bound is not called measured."""
    if near.reading.upper_bound:
        return "sheet.closest-surface-at-most"
    return "sheet.closest-surface"


def _nearness(m: Measurement) -> tuple[int, float]:
    """Vital structures, roots, then the bone's surface; the nearest of each first."""
    order = 2 if is_to_surface(m) else ("danger", "roots", "bone", "information").index(m.group)
    return order, math.inf if m.value is None else m.value


def tooth_words(iso: str) -> str:
    """A tooth number in words, or the bare text where it is no tooth."""
    try:
        return str(Tooth.of(iso).words())
    except PlanError:
        return iso


def case_of(
    plan: Plan,
    volume: Volume,
    ledger: Ledger,
    *,
    without_viewing: bool,
    window: tuple[float, float],
    basis: Basis | None = None,
    sizes: tuple[ListedSize, ...] = (),
    day: Day | None = None,
) -> Case:
    """Bundle what the pages need; `basis` is that of the measuring, where it is at hand.

    Parameters
    ----------
    plan : Plan
    volume : Volume
    ledger : Ledger
    without_viewing : bool
    window : (low, high)
        Grey values shown as black and white.
    basis : Basis or None
    sizes : tuple of ListedSize, optional
    day : Day or None
    """
    arch = None
    if plan.level is not None and plan.arch_points is not None:
        found = traced(plan)
        arch = None if found.direction.state == "open" else found
    return Case(
        plan=plan,
        volume=volume,
        ledger=ledger,
        arch=arch,
        patient=patient_words(volume.identity, ledger.made_at),
        without_viewing=without_viewing,
        window=window,
        basis=basis if basis is not None and basis.fits(plan, volume) else None,
        sizes=sizes,
        day=Day() if day is None else day,
    )


def ready(case: Case) -> Case:
    """With what the pictures need of the scan: grey levels, and the basis for remaining bone.

    The basis takes a second or two; it is only made where the ledger has remaining bone.
    """
    if case.arch is None or not case.subjects:
        return case
    basis = case.basis
    if basis is None and any(
        m.kind is MeasurementKind.REMAINING_BONE for m in case.ledger.measurements
    ):
        basis = Basis.of(case.plan, case.volume)
    levels = case.levels
    if levels is None:
        levels = (
            bone_levels(case.volume, case.arch, case.plan.tissue_points)
            if basis is None
            else basis.levels
        )
    return replace(case, basis=basis, levels=levels)
