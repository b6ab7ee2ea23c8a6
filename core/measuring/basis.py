"""What all measurements of a plan rest on: the arch, the grey levels, the doubts of the scan."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from core.arch import Arch
from core.bone.bone_levels import BoneLevels
from core.bone.cut_jaw import cut_bone_mm
from core.bone.edges import EdgeFinder, ScanEdges
from core.bone.image_faults import ImageFaults
from core.bone.level_learning import bone_levels
from core.bone.plate_fit import PlateFit
from core.direction import question_code
from core.errors import PlanError
from core.geometry import Array
from core.identity import Tooth
from core.image.volume import Volume
from core.level import MIN_SUPERIOR
from core.measurement import Limit, Measurement, Note, Reading
from core.measurement_kinds import Details, MeasurementKind
from core.measuring.row_cache import KeptRows
from core.plans.limits import limit_for
from core.plans.outside import within_scan
from core.plans.plan import Jaw, Plan, TissuePoint
from core.plans.plan_file import check_scan
from core.plans.side import arch_of, open_question
from core.trust.scale_check import NO_SCALE_CHECK, ScaleCheck, scale_check
from core.trust.uncertainty import (
    DEFAULT_PLACEMENT,
    DEFAULT_SCAN_SCALE,
    Placement,
    Scale,
    budget,
    scale_lever_mm,
    voxel_extent_mm,
)
from core.trust.verdict import Hindrance, judge, least_allowed, verdict_note
from core.words.catalogue import message
from core.words.numbers import Figure


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Basis:
    """Arch, levels and edges of one plan on one scan.

    Parameters
    ----------
    volume : Volume
    arch : Arch
    jaw : {'lower', 'upper'}
    levels : BoneLevels
    finder : EdgeFinder
    scale : ScaleCheck
        By the plan's scale objects; without any the usual allowance.
    hindrances : tuple of Hindrance
        What stops rows everywhere on this scan.
    faults : ImageFaults
        Found in the image itself.
    cut_mm : (n, 3) patient LPS mm
        Where the jaw's bone runs out of what was scanned.
    tissue_points : tuple of TissuePoint
        What a person pointed at when the levels were learnt.
    kept : KeptRows
        Rows that were measured on it, for as long as what they rest on stays.
    """

    volume: Volume
    arch: Arch
    jaw: Jaw
    levels: BoneLevels
    finder: EdgeFinder
    scale: ScaleCheck = NO_SCALE_CHECK
    hindrances: tuple[Hindrance, ...] = ()
    faults: ImageFaults = field(default_factory=ImageFaults)
    cut_mm: Array = field(default_factory=lambda: np.empty((0, 3)))
    tissue_points: tuple[TissuePoint, ...] = ()
    kept: KeptRows = field(default_factory=KeptRows)

    @classmethod
    def of(cls, plan: Plan, volume: Volume) -> Basis:
        """Lay the arch and estimate the scan's levels near it.

        Raises
        ------
        PlanError
            See `check_scan` and `settled_arch`.
        """
        check_scan(plan, volume.identity, fingerprint=volume.fingerprint())
        arch = settled_arch(plan)
        jaw = plan.known_jaw
        if jaw is None:
            raise PlanError("plan-not-ready", missing=message("measuring.missing.which-jaw"))
        levels = bone_levels(volume, arch, plan.tissue_points)
        return cls(
            volume=volume,
            arch=arch,
            jaw=jaw,
            levels=levels,
            finder=PlateFit.of(volume, arch, jaw, levels),
            faults=ImageFaults.of(volume, arch, levels),
            cut_mm=cut_bone_mm(volume, arch, jaw, levels),
            scale=scale_check(plan, volume),
            tissue_points=plan.tissue_points,
        )

    def fits(self, plan: Plan, volume: Volume) -> bool:
        """True while another plan has the same arch and scale objects on the same scan."""
        return (
            volume is self.volume
            and plan.known_jaw == self.jaw
            and plan.level is self.arch.level
            and plan.arch_points is not None
            and arch_of(plan).direction == self.arch.direction
            and self.scale.is_of(plan)
            and plan.tissue_points == self.tissue_points
            and np.array_equal(arch_of(plan).curve.points_mm, self.arch.curve.points_mm)
        )

    @property
    def edges(self) -> ScanEdges:
        """The edge finder bound to this scan."""
        return ScanEdges(volume=self.volume, levels=self.levels, finder=self.finder)


def settled_arch(plan: Plan) -> Arch:
    """The plan's arch, refused where side, jaw or up are in doubt.

    Raises
    ------
    PlanError
        ``plan-not-ready`` until jaw, jaw plane and arch are there: before that no number is
        given; ``level-upside-down`` where *up* does not point to the head; ``side-open`` while
        a person must say more about the side; ``jaw-against-tooth``;
        ``fixture-upside-down``.
    """
    arch = arch_of(plan)
    if arch.level.up[2] < MIN_SUPERIOR:
        raise PlanError("level-upside-down")
    question = open_question(plan, arch)
    if question is not None:
        raise PlanError("side-open", question=Note(question_code(question)))
    jaw = plan.known_jaw
    for subject, tooth in [(f.id, f.tooth) for f in plan.fixtures] + [
        (s.id, s.tooth) for s in plan.sites
    ]:
        if tooth and Tooth.of(tooth).jaw != jaw:
            raise PlanError(
                "jaw-against-tooth", subject=subject, jaw=jaw, tooth=Tooth.of(tooth).words()
            )
    apical = -arch.level.up if jaw == "lower" else arch.level.up
    for fixture in plan.fixtures:
        if float(fixture.towards_apex @ apical) < 0:
            raise PlanError("fixture-upside-down", fixture=fixture.id, jaw=jaw)
    return arch


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RowMaker:
    """Turns readings of one fixture or site into rows: doubt, limit, verdict.

    Parameters
    ----------
    plan : Plan
    volume : Volume
    subject : str
        Id of the fixture or site.
    is_fixture : bool
    tooth : Tooth or None
    hindrances : tuple of Hindrance
        What stops these rows from meeting a limit; see `core.measuring.hindrances`. Always named,
        so that no maker of rows can leave it out.
    platform : (3,) or None
        Of the fixture: a wrong scale moves structures by their distance from it.
    image_sd_mm : float
        What faults of the image add to the standard uncertainty of values that rest on it.
    """

    plan: Plan
    volume: Volume
    subject: str
    is_fixture: bool
    tooth: Tooth | None
    hindrances: tuple[Hindrance, ...]
    platform: Array | None = None
    image_sd_mm: float = 0.0
    placement: Placement = DEFAULT_PLACEMENT
    scale: Scale = DEFAULT_SCAN_SCALE

    def limit(self, key: str) -> Limit:
        """The limit in force here."""
        return limit_for(key, self.plan, tooth=self.tooth)

    def row(
        self,
        *,
        group: str,
        kind: MeasurementKind,
        target: str = "",
        parts: Sequence[str] = (),
        reading: Reading,
        limit_key: str | None = None,
        limit: Limit | None = None,
        details: Details | None = None,
        base_length_mm: float | None = None,
        hand_ends: int | tuple[float, ...] | None = None,
    ) -> Measurement:
        """One row of the ledger.

        Parameters
        ----------
        parts : sequence of str
            Further parts of the row's id.
        limit_key : str or None
            Of the limit in force here. Without key and limit there is no verdict.
        limit : Limit or None
            A limit that belongs to no plan.
        hand_ends : int, tuple of float or None
            Hand-placed ends of the value, or the extent of a voxel at each of them, mm; None: one
            where marks move it, else none.

        Raises
        ------
        ValueError
            Where the reading rests on marks and carries none: its budget would lack the hand; and
            where it names a mark that the plan does not have.
        """
        if reading.evidence.rests_on == "marks" and reading.value is not None and not reading.marks:
            raise ValueError(f"{kind}: it rests on marks and names none, so that no doubt of a "
                             "hand enters; what the plan alone gives is PLANNED")  # fmt: skip
        if limit_key is not None:
            limit = self.limit(limit_key)
        details = kind.row.details() if details is None else details
        found = reading.value is not None
        reading = within_scan(reading, self.plan, self.volume, (target,))
        reading = self._faulty(_proven(reading))
        if found and reading.value is None:
            details = details.without_value()
        if hand_ends is None:
            hand_ends = 1 if reading.marks else 0
        if isinstance(hand_ends, int):
            hand_ends = self._extents(reading, hand_ends)
        doubt = budget(
            reading,
            voxel_extents_mm=hand_ends,
            scale=self.scale,
            placement=self.placement,
            scale_length_mm=self._lever(kind, reading),
            base_length_mm=base_length_mm,
        )
        verdict = judge(reading, doubt, limit, hindrances=self.hindrances)
        # Harder words for a value below its lower line have no place where no verdict stands.
        hard = verdict_note(reading, limit) if verdict == "below limit" else None
        changed = () if limit is None or not limit.changed else (_changed_note(limit),)
        added = changed if hard is None else (hard, *changed)
        if reading.value is not None:
            stops = (n for n in self._stops(reading, limit) if n not in reading.notes)
            pointed = (Note("levels_pointed"),) if _pointed_at(reading) else ()
            added = (*stops, *pointed, *added)
        reading = replace(reading, notes=(*reading.notes, *added))
        if limit is None and reading.value is None:
            verdict = "not assessed"
        return Measurement(
            id="/".join((self.subject, kind, *((target,) if target else ()), *parts)),
            group=group,  # type: ignore[arg-type]
            kind=kind,
            target=target,
            fixture=self.subject if self.is_fixture else "",
            site="" if self.is_fixture else self.subject,
            reading=reading,
            budget=doubt,
            limit=limit,
            verdict=verdict,
            details=details,
        )

    def _stops(self, reading: Reading, limit: Limit | None) -> tuple[Note, ...]:
        """Why a value meets no limit, as its row says it; nothing where no limit is asked."""
        if limit is None:
            return ()
        stopped = tuple(h.note for h in self.hindrances if h.concerns(reading.evidence))
        return (*reading.evidence.lacking, *stopped)

    def _faulty(self, reading: Reading) -> Reading:
        """A value found in a faulty image is less sure by what the faults do to its edges."""
        if reading.value is None or reading.evidence.rests_on != "image" or not self.image_sd_mm:
            return reading
        return replace(reading, edge_sd_mm=(*reading.edge_sd_mm, self.image_sd_mm))

    def _extents(self, reading: Reading, hand_ends: int) -> tuple[float, ...]:
        """Extent of a voxel along the measured direction, once for each hand-placed end."""
        if reading.witness is None or hand_ends == 0:
            return ()
        way = reading.witness[1] - reading.witness[0]
        if float(np.linalg.norm(way)) < 1e-9:
            gradients = [m.gradient for m in reading.marks if np.any(m.gradient)]
            if not gradients:
                return ()
            way = gradients[0]
        return (voxel_extent_mm(self.volume.mm_from_ijk, way),) * hand_ends

    def _lever(self, kind: MeasurementKind, reading: Reading) -> float | None:
        if self.platform is None or reading.witness is None or reading.unit == "deg":
            return None
        if kind.row.within_jaw:
            return None
        return scale_lever_mm(reading.witness, self.platform)


def _pointed_at(reading: Reading) -> bool:
    """True for a value found by tissue levels that a person pointed at."""
    return reading.evidence.rests_on == "image" and reading.evidence.levels_from == "person"


def _proven(reading: Reading) -> Reading:
    """No value on tissue levels that are not proven to be this scan's: its edge may be anywhere."""
    unproven = reading.evidence.levels
    if reading.value is None or unproven is None:
        return reading
    return Reading(value=None, unit=reading.unit, notes=(unproven,))


def _changed_note(limit: Limit) -> Note:
    fields: dict[str, object] = {
        "value": Figure(f"{least_allowed(limit):.2f}"),
        "default": Figure(f"{limit.default:.2f}"),
        "by": limit.changed_by or message("measuring.said.nobody-named"),
        "reason": limit.reason or message("measuring.said.none-given"),
    }
    return Note("limit-changed-here", fields)
