"""Every size of a list at one pose against every limit: how many it meets, and what stops it.

The numbers are the ledger's: the same rows on the same rays. The rays of a pose are cast once,
for the largest size; structures that are far even from a fixture that contains every size are
not measured again for each. No size is recommended: the table keeps the list's own order.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from core.arch import FixtureFrame, fixture_frame
from core.bone.remaining_bone import remaining_bone_on
from core.bone.remaining_bone_rays import RemainingBoneRays, remaining_bone_rays
from core.bone.ridge import rims_at
from core.bone.surface import SurfaceCasts, surface_casts
from core.distances.drilling import UNKNOWN_TIP_MM
from core.fixture import Fixture, FixtureSize
from core.measurement import GUARD, Measurement, Note, VerdictCode
from core.measurement_kinds import ClearanceDetails
from core.measuring.basis import Basis, RowMaker
from core.measuring.ledger import worst_first
from core.measuring.row_makers import maker_at
from core.measuring.rows_beside import remaining_bone_rows, surface_rows
from core.measuring.rows_bone import nearer_unseen, rim_rows
from core.measuring.rows_danger import DangerRows
from core.measuring.unseen_ends import UnseenEnds
from core.plans.plan import Plan
from core.plans.sizes import ListedSize
from core.trust.operator_precision import placement_of
from core.trust.uncertainty import Placement
from core.trust.verdict import is_judged, least_allowed, target_words
from core.words.catalogue import message

_FAR_MM = 1.0
"""A structure whose every limit the largest size meets with this much to spare is met by all."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SizeRow:
    """One size at the pose.

    Parameters
    ----------
    listed : ListedSize
    limits : int
        Limits that apply: one for each thing and the limit that it is held to.
    met : int
        Limits that are met, doubt included.
    verdict : VerdictCode or None
        The worst; None where no limit applies.
    stopped_by : Measurement or None
        The row that stops the size; None where every limit is met.
    lacking_mm : float or None
        What that row lacks to its limit; for *too near to tell* what its *at least* figure
        lacks. None where nothing was measured.
    note : Note
        The sentence of the row.
    rows : tuple of Measurement
        Rows with a limit that were measured for this size, as the ledger has them.
    """

    listed: ListedSize
    limits: int
    met: int
    verdict: VerdictCode | None
    stopped_by: Measurement | None
    lacking_mm: float | None
    note: Note
    rows: tuple[Measurement, ...]


def try_sizes(
    plan: Plan,
    fixture_id: str,
    sizes: Sequence[ListedSize],
    basis: Basis,
    *,
    placement: Placement | None = None,
) -> tuple[SizeRow, ...]:
    """Measure every size at a fixture's pose, in the list's own order.

    Parameters
    ----------
    plan : Plan
    fixture_id : str
    sizes : sequence of ListedSize
    basis : Basis
    placement : Placement or None

    Raises
    ------
    KeyError
        When the plan has no such fixture.
    """
    return tuple(sizes_tried(plan, fixture_id, sizes, basis, placement=placement))


def sizes_tried(
    plan: Plan,
    fixture_id: str,
    sizes: Sequence[ListedSize],
    basis: Basis,
    *,
    placement: Placement | None = None,
) -> Iterator[SizeRow]:
    """The rows of `try_sizes` one by one, so that they can be shown, counted and broken off.

    Parameters
    ----------
    plan : Plan
    fixture_id : str
    sizes : sequence of ListedSize
    basis : Basis
    placement : Placement or None
    """
    by_id = {f.id: f for f in plan.fixtures}
    fixture = by_id[fixture_id]
    if sizes:
        trial = _Trial.of(plan, fixture, sizes, basis, placement or placement_of(plan))
        yield from (trial.row(listed) for listed in sizes)


def _unseen_by_platform(  # noqa: PLR0917 - what a trial has at hand
    plan: Plan,
    basis: Basis,
    fixture: Fixture,
    frame: FixtureFrame,
    maker: RowMaker,
    sizes: Sequence[ListedSize],
) -> dict[float, UnseenEnds]:
    """What may hide an edge, by the platform's diameter: the rim alone depends on the size."""
    everywhere = nearer_unseen(plan, basis, fixture, maker)
    sized = {listed.size.platform: replace(fixture, size=listed.size) for listed in sizes}
    return {
        platform: UnseenEnds(
            everywhere=everywhere,
            rims=rim_rows(
                rims_at(basis.edges, one, frame, basis.jaw, plan.structures), frame, maker
            ),
        )
        for platform, one in sized.items()
    }


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Trial:
    """What all sizes at a pose share."""

    plan: Plan
    basis: Basis
    fixture: Fixture
    frame: FixtureFrame
    maker: RowMaker
    rays: RemainingBoneRays
    surface: SurfaceCasts
    unseen: Mapping[float, UnseenEnds]
    far: tuple[Measurement, ...]

    @classmethod
    def of(
        cls,
        plan: Plan,
        fixture: Fixture,
        sizes: Sequence[ListedSize],
        basis: Basis,
        placement: Placement,
    ) -> _Trial:
        largest = _containing([listed.size for listed in sizes])
        radius = float(largest.profile[:, 1].max())
        frame = fixture_frame(fixture, basis.arch)
        maker = maker_at(plan, basis, fixture, placement)
        trial = cls(
            plan=plan,
            basis=basis,
            fixture=fixture,
            frame=frame,
            maker=maker,
            rays=remaining_bone_rays(
                basis.volume,
                fixture.platform,
                frame,
                basis.levels,
                basis.finder,
                plan.structures,
                length_mm=largest.length_mm,
                radius_mm=radius,
            ),
            surface=surface_casts(
                fixture,
                frame,
                basis.edges,
                deepest_mm=largest.length_mm + UNKNOWN_TIP_MM,
                radius_mm=radius,
                shallowest_mm=min(listed.size.length_mm for listed in sizes),
                upper=basis.jaw == "upper",
            ),
            unseen=_unseen_by_platform(plan, basis, fixture, frame, maker, sizes),
            far=(),
        )
        return replace(trial, far=trial._far_rows(largest))

    def row(self, listed: ListedSize) -> SizeRow:
        """One size of the table."""
        fixture = replace(self.fixture, size=listed.size)
        far = {m.target for m in self.far}
        rows = [*self._danger(fixture).rows(without=far)]
        remaining = remaining_bone_on(self.rays, fixture.size, self.basis.levels)
        beside = tuple(
            remaining_bone_rows(
                remaining,
                self.basis,
                fixture=fixture,
                frame=self.frame,
                unseen=self.unseen[fixture.size.platform],
                maker=self.maker,
            )
        )
        rows += beside
        rows += surface_rows(
            self.surface,
            self.plan,
            self.basis,
            fixture=fixture,
            frame=self.frame,
            remaining=beside,
            unseen=self.unseen[fixture.size.platform],
            maker=self.maker,
        )
        # What was expected and is not marked has no limit to meet, and is not assessed.
        judged = tuple(m for m in rows if is_judged(m))
        worst: dict[tuple[str, str, str], Measurement] = {}
        for m in (*judged, *self.far):
            known = worst.get(_limit_of(m))
            if known is None or _order(m) < _order(known):
                worst[_limit_of(m)] = m
        stop = min(worst.values(), key=_order, default=None)
        if stop is not None and stop.verdict == "meets limit":
            stop = None
        met = sum(m.verdict == "meets limit" for m in worst.values())
        return SizeRow(
            listed=listed,
            limits=len(worst),
            met=met,
            verdict=None if not worst else (stop.verdict if stop else "meets limit"),
            stopped_by=stop,
            lacking_mm=None if stop is None else lacking(stop),
            note=_note(stop, len(worst), jaw=self.basis.jaw),
            rows=judged,
        )

    def _danger(self, fixture: Fixture) -> DangerRows:
        return DangerRows(
            plan=self.plan,
            basis=self.basis,
            fixture=fixture,
            frame=self.frame,
            maker=self.maker,
            fine=False,
        )

    def _far_rows(self, largest: FixtureSize) -> tuple[Measurement, ...]:
        """Rows of structures that no size of the list comes near.

        A fixture inside another one is nowhere nearer to anything: what the containing one meets
        with room to spare, every size meets.
        """
        rows: dict[str, list[Measurement]] = {s.id: [] for s in self.plan.structures}
        for m in self._danger(replace(self.fixture, size=largest)).rows():
            if m.target in rows and m.limit is not None:
                rows[m.target].append(m)
        return tuple(
            m for of_one in rows.values() if of_one and all(map(_is_far, of_one)) for m in of_one
        )


def lacking(row: Measurement) -> float | None:
    """What a row lacks to its limit, mm; its *at least* figure where only doubt stands between."""
    if row.value is None or row.limit is None or row.verdict == "not assessed":
        return None
    least = least_allowed(row.limit)
    if row.verdict == "too near to tell" and row.budget is not None:
        return least - (row.value - GUARD * row.budget.u)
    return max(0.0, least - row.value)


def _containing(sizes: list[FixtureSize]) -> FixtureSize:
    """The smallest size of this shape inside which every size of the list lies."""
    widest = max(size.diameter_mm for size in sizes)
    return FixtureSize(
        diameter_mm=widest,
        length_mm=max(size.length_mm for size in sizes),
        platform_diameter_mm=max(size.platform for size in sizes),
    )


def _is_far(m: Measurement) -> bool:
    return (
        m.verdict == "meets limit"
        and m.limit is not None
        and m.value is not None
        and m.budget is not None
        and m.value - GUARD * m.budget.u - least_allowed(m.limit) > _FAR_MM
    )


def _limit_of(m: Measurement) -> tuple[str, str, str]:
    """What makes two rows one limit: the same thing held to the same limit; a tip adds none."""
    return m.target, "" if m.limit is None else m.limit.key, m.details.side


def _order(m: Measurement) -> tuple[int, float]:
    """Worst verdict first; the one that lacks most first among equals."""
    short = lacking(m)
    return worst_first(m), 0.0 if short is None else -short


def _note(stop: Measurement | None, limits: int, *, jaw: str) -> Note:
    if stop is None:
        return Note("size-meets" if limits else "size-no-limit", {"limits": limits})
    what = target_words(stop, jaw=jaw)
    if isinstance(stop.details, ClearanceDetails) and stop.details.with_tip_mm:
        what = message("measuring.size.with-tip", what=what)
    short = lacking(stop)
    if short is None:
        return Note("size-not-assessed", {"what": what})
    code = "size-near" if stop.verdict == "too near to tell" else "size-lacks"
    return Note(code, {"what": what, "lacking": _rounded_up(short)})


def _rounded_up(value_mm: float) -> float:
    """A tenth, never less than the value: what is lacking is not made smaller."""
    return math.ceil(value_mm * 10.0 - 1e-9) / 10.0
